"""How late cues are with two films side by side on a rig and busy processes beside the station, by the station's own word.

    python -m tests.benchmarks.bench_lateness_two [MINUTES] [BUSY]

Both vessels tick each second and have a NOW about every 36 s, a second or two apart, over one foot and one sounder. What a cue had to wait
for the other film's call (`waited_s`) is told apart from what the machine was late. Asserted: no NOW waited longer than 2.4 s, none is
missing, and every call has its own tap.
"""

from __future__ import annotations

import multiprocessing
import sys
import tempfile
from pathlib import Path
from typing import Any

from tests.benchmarks.bench_lateness import busy, recipe
from tests.cli.test_develop_evening import TwoVessels

MOST_WAIT_S = 2.4
TAPS_AFTER_S = 2.5
"""Slow enough for both films to call at once."""
EVENING = """schema = 1
name = "Lateness"
[[film]]
recipe = "roll.toml"
what = "left one"
vessel = "left"
[[film]]
recipe = "roll.toml"
what = "right one"
vessel = "right"
start = "+0:01"
"""


def measure(minutes: float, processes: int) -> bool:
    """One run, printed. Whether all holds."""
    others = [multiprocessing.Process(target=busy, daemon=True) for _ in range(processes)]
    for other in others:
        other.start()
    rigged = TwoVessels(Path(tempfile.mkdtemp(prefix="evenbath-two-")))
    try:
        rigged.start()
        done = rigged.run(
            "develop", rigged.evening(recipe(minutes), EVENING), "--file", str(rigged.file), "--detach", "--waive", "a bench"
        )
        names = [line.removeprefix("armed: ") for line in done.stdout.splitlines()]
        rigged.press(1.2)
        rigged.wait(lambda: bool(rigged.records(names[0], kind="stage", event="begin")))
        rigged.press(1.2)
        tapped = dict.fromkeys(names, 0)
        while not all(rigged.records(name, kind="session", event="close") for name in names):
            for name in names:
                called = len(rigged.records(name, kind="stage", event="now"))
                if called > tapped[name] and rigged.records(name, kind="cue", cue="now"):
                    tapped[name] = called
                    rigged.pause(TAPS_AFTER_S)
                    rigged.tap()
            rigged.pause(0.2)
        told = [report(rigged.records(name), processes) for name in names]
        return all(told)
    finally:
        for other in others:
            other.terminate()
        if rigged.process is not None:
            rigged.stop()


def report(records: list[dict[str, Any]], processes: int) -> bool:
    """One film's lateness; whether no NOW waited too long or is missing."""
    cues = [r for r in records if r["kind"] == "cue"]
    print(f"{records[0]['evening']['vessel']}: {len(cues)} cues beside another film and {processes} busy processes")
    print(f"{'cue':<8}{'n':>6}{'waited':>8}{'longest s':>11}   machine: {'p50 ms':>9}{'p99 ms':>9}{'max ms':>9}")
    for cue in ("tick", "now", "ready", "click", "all"):
        chosen = [c for c in cues if cue in (c["cue"], "all")]
        if not chosen:
            continue
        waited = [c["waited_s"] for c in chosen if c.get("waited_s")]
        own = sorted(1000 * (c["lateness_s"] - c.get("waited_s", 0.0)) for c in chosen)
        row = f"{cue:<8}{len(chosen):>6}{len(waited):>8}{max(waited, default=0.0):>11.2f}            "
        print(f"{row}{own[len(own) // 2]:>9.2f}{own[int(0.99 * (len(own) - 1))]:>9.2f}{own[-1]:>9.2f}")
    nows = [r["stage"] for r in records if r["kind"] == "stage" and r["event"] == "now"]
    sounded = [c for c in cues if c["cue"] == "now"]
    late = [c for c in sounded if c.get("waited_s", 0.0) > MOST_WAIT_S]
    heard = [r for r in records if r["kind"] == "tap" and r["meaning"] in ("heard", "poured")]
    print(f"{len(nows)} NOWs planned, {len(sounded)} soundings, {len(late)} waited longer than {MOST_WAIT_S} s; {len(heard)} taps answered")
    return not late and len(sounded) >= len(nows) > 0 and len(heard) <= len(nows)


if __name__ == "__main__":
    well = measure(float(sys.argv[1]) if len(sys.argv) > 1 else 3.0, int(sys.argv[2]) if len(sys.argv) > 2 else 2)
    assert well, "a NOW waited too long, or is missing"
