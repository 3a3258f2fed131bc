"""Simulated waters and probes with known truth, for the tests and benchmarks of monitor.prepare. No clock."""

from __future__ import annotations

import json
import math
import random
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

from monitor.prepare.probes.readings import ProbeReadings

Truth = Callable[[float], float]
STEP_C = 0.0625


def newton(start_c: float, room_c: float, tau_s: float) -> Truth:
    """Water that goes exponentially towards its room."""
    return lambda t_s: room_c + (start_c - room_c) * math.exp(-t_s / tau_s)


def steady(celsius: float, c_per_min: float = 0.0) -> Truth:
    """Water that stays, or moves straight."""
    return lambda t_s: celsius + c_per_min * t_s / 60.0


def jump(before_c: float, after: Truth, at_s: float) -> Truth:
    """What surrounds a probe that is dipped at `at_s`."""
    return lambda t_s: before_c if t_s < at_s else after(t_s)


def lagged(truth: Truth, lag_s: float, seconds: int, start_c: float | None = None, fine: int = 20) -> list[float]:
    """What follows `truth` with a lag, at 0, 1 .. seconds; small steps, so that it does not share the closed form under test."""
    value = truth(0.0) if start_c is None else start_c
    values = [value]
    h = 1.0 / fine
    share = 1.0 - math.exp(-h / lag_s) if lag_s > 0 else 1.0
    for second in range(seconds):
        for k in range(fine):
            value += share * (truth(second + (k + 0.5) * h) - value)
        values.append(value)
    return values


def shown(values: Iterable[float], rng: random.Random, noise_c: float = 0.02, offset_c: float = 0.0, step_c: float = STEP_C) -> list[float]:
    """What the register says: offset, noise, rounded to the nearest step."""
    noisy = (v + offset_c + rng.gauss(0.0, noise_c) for v in values)
    return [round(v / step_c) * step_c if step_c else v for v in noisy]


def series(
    values: Sequence[float], probe: str = "jug", role: str = "developer", every_s: float = 1.0, begin_s: float = 0.0
) -> ProbeReadings:
    """A probe's readings at equal times."""
    t_s = tuple(begin_s + i * every_s for i in range(len(values)))
    return ProbeReadings(probe, role, t_s, tuple(values), tuple(values))


def write_journal(path: Path, *probes: ProbeReadings) -> Path:
    """A journal of nothing but an opening and readings, in the order of time."""
    rows: list[dict[str, object]] = [
        {"kind": "session", "event": "open", "mode": "rehearsal", "version": "0", "zone": "UTC", "recipe": {}, "t_s": 0.0}
    ]
    readings = [(t, s.probe, s.role, r, c) for s in probes for t, r, c in zip(s.t_s, s.raw_c, s.celsius, strict=True)]
    rows += [
        {"kind": "reading", "t_s": t, "probe": probe, "role": role, "raw_c": raw, "celsius": celsius, "quality": "good"}
        for t, probe, role, raw, celsius in sorted(readings)
    ]
    with path.open("w", encoding="utf-8") as file:
        for seq, row in enumerate(rows, 1):
            file.write(json.dumps({"seq": seq, "session": "20260101-0900", "wall": "2026-01-01T09:00:00Z", **row}) + "\n")
    return path
