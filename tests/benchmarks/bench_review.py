"""Figures of the review: its accuracy, a one-hour journal to its page, a thousand sessions compared, plain pandas on the same files.

Run by hand: `python -m tests.benchmarks.bench_review [--sessions 1000] [--truths 200]`. Each time is of a whole process, started anew.
"""

from __future__ import annotations

import argparse
import math
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from tests.review.journals import play, recipe_data
from tests.review.test_measures import drift_errors_percent, errors_by_their_sd

SAY_MEMORY = "    import resource, sys; sys.stderr.write(f'PEAK {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss}\\n')"


def timed(code: str) -> tuple[float, float, float]:
    """(seconds, MiB at the peak, seconds of processor with all its children) of a Python process of its own.

    The second kind of seconds is what stays the same on a busy machine. Modules come compiled, as they do after an install or a first run.
    """
    before, began = os.times(), time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", f"if __name__ == '__main__':\n{code}\n{SAY_MEMORY}"],
        env={name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"},
        check=True,
        capture_output=True,
        text=True,
    )
    took, after = time.perf_counter() - began, os.times()
    work = after.children_user + after.children_system - before.children_user - before.children_system
    return took, int(done.stderr.rsplit("PEAK ", 1)[1]) / 1024, work


def command(*words: str) -> str:
    """Code that runs one command."""
    return f"    from monitor.cli.main import main\n    assert main({['review', *words]!r}) == 0"


def told(what: str, code: str, times: int) -> str:
    """A line of figures: median time, greatest memory, median work. The first of several runs compiles and is left out."""
    if times > 1:
        timed(code)
    runs = [timed(code) for _ in range(times)]
    took, work = (statistics.median(r[i] for r in runs) for i in (0, 2))
    return f"{what}: {took:.2f} s ({work:.2f} s of processor), {max(r[1] for r in runs):.0f} MiB, median of {times}\n"


def hour(path: Path) -> Path:
    """A stand development of 45 minutes with an hour of readings of three probes."""
    data = recipe_data(time="45:00")
    return play(data, lambda t: 20.5 - 0.0003 * t, bath=lambda t: 20.4 - 0.0004 * t, room=lambda _: 17.0, wash_s=500.0).write(path)


def _rms(values: Sequence[float]) -> float:
    return math.sqrt(sum(value * value for value in values) / len(values))


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--sessions", type=int, default=1000)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--truths", type=int, default=200)
    args = parser.parse_args()
    say = sys.stdout.write
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        errors = drift_errors_percent(folder, args.truths)
        say(f"{args.truths} drifts recomputed: {_rms(errors):.3f} % of the target rms, {max(map(abs, errors)):.3f} % at worst\n")
        sizes = errors_by_their_sd(folder, args.truths)
        inside = 100 * sum(abs(size) < 2 for size in sizes) / len(sizes)
        say(f"{args.truths} offsets and laws drawn: 2 sd hold in {inside:.1f} %, errors {_rms(sizes):.2f} times their sd\n")
        journal = hour(folder / "hour.jsonl")
        records = journal.read_bytes().count(b"\n")
        say(f"one hour: {records} records, {journal.stat().st_size / 1e6:.1f} MB, {len(os.sched_getaffinity(0))} processors\n")
        page = folder / "page.html"
        say(told("journal to page", command(str(journal), "--report", str(page)), args.runs))
        say(f"  the page: {page.stat().st_size / 1e3:.0f} kB (goals: 60 kB, 1 s on a quiet machine, 90 MiB)\n")
        assert page.stat().st_size < 60_000
        say(told("journal to JSON", command(str(journal), "--json"), args.runs))
        plain = (
            f"    import pandas as pd; frame = pd.read_json({str(journal)!r}, lines=True); frame[frame.kind == 'reading'].celsius.mean()"
        )
        say(told("plain pandas.read_json and a mean", plain, args.runs))
        text = play(recipe_data(), lambda t: 20.5 - 0.002 * t, bath=lambda t: 20.4 - 0.004 * t, wash_s=900.0).lines()
        whole = b"".join(text)
        say(f"sessions: {len(text)} records, {len(whole) / 1e6:.2f} MB each (an 11-minute developer, half an hour in all)\n")
        for count in sorted({max(1, args.sessions // 10), args.sessions}):
            many = folder / f"first-{count}"
            many.mkdir()
            for i in range(count):
                (many / f"{i:04d}.jsonl").write_bytes(whole)
            say(told(f"{count} sessions compared", command(str(many), "--season"), 1))
        plain = (
            "    import pandas as pd, pathlib\n    means = [pd.read_json(p, lines=True).query(\"kind == 'progress'\").done_ref_s.max() "
            f"for p in pathlib.Path({str(many)!r}).glob('*.jsonl')]"
        )
        say(told("plain pandas.read_json of the same, one number each", plain, 1))


if __name__ == "__main__":
    main()
