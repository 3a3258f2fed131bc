"""Traces of the acceptance scenarios as CSV, and a way to rehearse them in one call."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

from monitor.cli.main import main

Record = dict[str, Any]
Liquid = Callable[[float], float]

BOWL_ROOM_C, BOWL_TAU_S = 8.0, 49 * 60.0


def bowl_c(t_s: float) -> float:
    """The bowl of the project's practice, session (a): 20.5 C falling towards a room of 8 C with 49 minutes."""
    return BOWL_ROOM_C + (20.5 - BOWL_ROOM_C) * math.exp(-t_s / BOWL_TAU_S)


def tank_c(lag_s: float = 360.0) -> Liquid:
    """The liquid in a lidded tank in that bowl, begun at 20.5 C: the exact first-order answer to an exponential."""
    rate = 1.0 / BOWL_TAU_S
    gain = (20.5 - BOWL_ROOM_C) / (1.0 - rate * lag_s)

    def liquid(t_s: float) -> float:
        own = 20.5 - BOWL_ROOM_C - gain
        return BOWL_ROOM_C + gain * math.exp(-t_s * rate) + own * math.exp(-t_s / lag_s)

    return liquid


def trace(
    path: Path, developer: Liquid, bath: Liquid, upto_s: int, room_c: float | None = None, faults: dict[int, str] | None = None
) -> Path:
    """A trace with a row every 5 s; `faults` are words for the developer's probe by second."""
    changes = faults or {}
    rows = ["t_s,developer_c,bath_c" + (",room_c" if room_c is not None else "") + ",developer_fault"]
    now = ""
    for t_s in sorted({*range(0, upto_s, 5), *changes}):
        now = changes.get(t_s, now)
        cells = [f"{t_s}", f"{developer(t_s):.6f}", f"{bath(t_s):.6f}", *([f"{room_c}"] if room_c is not None else []), now]
        rows.append(",".join(cells))
    path.write_text("\n".join(rows) + "\n")
    return path


def rehearse(folder: Path, recipe: str, trace_path: Path, *options: str, name: str = "out") -> list[Record]:
    """Rehearse through the command, as a person would; the records of its journal."""
    (folder / f"{name}.toml").write_text(recipe)
    out = folder / f"{name}.jsonl"
    status = main(["rehearse", str(folder / f"{name}.toml"), "--trace", str(trace_path), "--journal", str(out), *options])
    assert status == 0
    return [json.loads(line) for line in out.read_text().splitlines()]


def moment(records: list[Record], stage: int, event: str, **fields: Any) -> float:
    """When the one stage record like this was."""
    found = [
        r["t_s"]
        for r in records
        if r["kind"] == "stage" and r["stage"] == stage and r["event"] == event and all(r.get(k) == v for k, v in fields.items())
    ]
    assert len(found) == 1, found
    return float(found[0])


def delivered_ref_s(liquid: Liquid, begin_s: float, end_s: float, per_10_c: float = 2.5, step_s: float = 0.5) -> float:
    """The true integral of the rate from begin to end, by the trapezoid in small steps: independent of the project's own."""
    count = max(1, math.ceil((end_s - begin_s) / step_s))
    times = [begin_s + (end_s - begin_s) * k / count for k in range(count + 1)]
    rates = [per_10_c ** ((liquid(t) - 20.0) / 10.0) for t in times]
    return float((end_s - begin_s) / count * (math.fsum(rates) - (rates[0] + rates[-1]) / 2))
