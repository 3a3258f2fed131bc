"""How late cues are with two busy processes beside the station: by the station's own word and by an observer of its pins.

    python -m tests.benchmarks.bench_lateness [MINUTES] [BUSY]

A rig session with a tick each second, a NOW about every 36 s and a tap after each. The observer reads panel.jsonl, whose
lines are stamped where the mock pin changes. Both must agree. Budgets: NOW within 0.1 s always, p99 of all cues below 20 ms,
the answer to the switch below 100 ms.
"""

from __future__ import annotations

import multiprocessing
import sys
import tempfile
from pathlib import Path
from typing import Any

from tests.cli.rigged import Rigged

STAGE = '[[stage]]\nname = "bath {n}"\nrole = "stop"\ntime = "0:40"\ndrain = "0:05"\nagitation = "continuous"\n'
TICK_S = 1.0


def busy() -> None:
    """Never rests."""
    n = 0
    while True:
        n = (n * 31 + 7) % 1_000_003


def recipe(minutes: float) -> str:
    """As many baths as fit."""
    head = 'schema = 1\nname = "lateness"\nfilm = "panchromatic"\nvessel = "lidded tank"\n'
    return head + "".join(STAGE.format(n=n + 1) for n in range(max(2, round(minutes * 60 / 36.0))))


def measure(minutes: float, processes: int) -> None:
    """One run, printed."""
    others = [multiprocessing.Process(target=busy, daemon=True) for _ in range(processes)]
    for other in others:
        other.start()
    rigged = Rigged(Path(tempfile.mkdtemp(prefix="evenbath-lateness-")))
    try:
        rigged.start()
        name = rigged.arm(recipe(minutes))
        rigged.hold(name)
        stage = 1
        while not rigged.records(name, kind="session", event="close"):
            said = rigged.records(name, kind="cue", cue="now")
            if len(said) >= stage:
                rigged.pause(0.6)
                rigged.tap()
                stage = len(rigged.records(name, kind="cue", cue="now")) + 1
            rigged.pause(0.2)
        report(rigged, name, minutes, processes)
    finally:
        for other in others:
            other.terminate()
        if rigged.process is not None:
            rigged.stop()


def report(rigged: Rigged, name: str, minutes: float, processes: int) -> None:
    """The two observers side by side."""
    cues = rigged.records(name, kind="cue")
    mono0_s = rigged.records(name)[0]["mono0_s"]
    ons = sorted(e["mono_s"] - mono0_s for e in rigged.edges() if e["output"] == "sounder" and e["on"])
    print(f"{minutes:g} minutes, {processes} busy processes, {len(cues)} cues")
    print(f"{'cue':<8}{'n':>6}{'p50 ms':>9}{'p99 ms':>9}{'max ms':>9}   pins: {'p50 ms':>9}{'p99 ms':>9}{'max ms':>9}{'apart ms':>9}")
    for cue in ("tick", "now", "ready", "click", "all"):
        chosen = [c for c in cues if cue in (c["cue"], "all")]
        if not chosen:
            continue
        said = sorted(1000 * c["lateness_s"] for c in chosen)
        seen, apart = [], []
        for c in chosen:
            on_s = nearest(ons, c["t_s"])
            seen.append(1000 * (on_s - (c["t_s"] - c["lateness_s"])))
            apart.append(1000 * abs(on_s - c["t_s"]))
        seen.sort()
        print(f"{cue:<8}{len(said):>6}{row(said)}         {row(seen)}{max(apart):>9.2f}")
    late = rigged.records(name, kind="late")
    print(f"records of a late loop: {len(late)}")


def nearest(ons: list[float], t_s: float) -> float:
    """The edge nearest to a moment."""
    from bisect import bisect_left

    at = bisect_left(ons, t_s)
    return min(ons[max(0, at - 1) : at + 1], key=lambda on: abs(on - t_s))


def row(values: list[Any]) -> str:
    """Median, 99th percentile, worst."""
    return "".join(f"{values[min(len(values) - 1, int(len(values) * q))]:>9.2f}" for q in (0.5, 0.99, 1.0))


if __name__ == "__main__":
    measure(float(sys.argv[1]) if len(sys.argv) > 1 else 20.0, int(sys.argv[2]) if len(sys.argv) > 2 else 2)
