"""Speed and memory of a rehearsal, and how long `evenbath --version` takes. Prints figures; asserts only ratios taken in one run.

Run: python -m tests.benchmarks.bench_rehearsal
"""

from __future__ import annotations

import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.live.liquids import bowl_c, tank_c, trace
from tests.live.test_rehearsal import PLAN


def whole_process(words: list[str]) -> float:
    """Median seconds of nine runs."""
    times = []
    for _ in range(9):
        start = time.perf_counter()
        subprocess.run([sys.executable, *words], check=True, capture_output=True)
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def rehearse(folder: Path, hours: float) -> tuple[float, float]:
    """(real seconds, resident MiB at the most) of one rehearsal with a develop stage of so many hours, as a child process."""
    minutes = int(hours * 60)
    plan = folder / "plan.toml"
    plan.write_text(PLAN.replace('"11:00"', f'"{minutes // 60}:{minutes % 60:02d}:00"'))
    liquids = trace(folder / "t.csv", lambda t: tank_c()(t) + 1.5, lambda t: bowl_c(t) + 1.5, 900)
    start = time.perf_counter()
    code = (
        "import resource, sys; from monitor.cli.main import main;"
        f"main(['rehearse', {str(plan)!r}, '--trace', {str(liquids)!r}, '--journal', {str(folder / 'o.jsonl')!r}, '--overwrite']);"
        "sys.stderr.write(str(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss))"
    )
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    return time.perf_counter() - start, int(done.stderr) / 1024


def main() -> None:
    """Print the figures."""
    with tempfile.TemporaryDirectory() as name:
        for hours in (1, 10):
            seconds, mib = rehearse(Path(name), hours)
            records = sum(1 for _ in (Path(name) / "o.jsonl").open())
            last = (Path(name) / "o.jsonl").read_text().splitlines()[-1]
            t_s = float(last.split('"t_s":')[1].split(",")[0])
            print(f"rehearsal of {hours} h: {seconds:.2f} s, {t_s / seconds:.0f} times real time, {records} records, {mib:.0f} MiB")
    bare, version = whole_process(["-c", "pass"]), whole_process(["-m", "monitor.cli.main", "--version"])
    print(f"python -c pass {bare * 1000:.0f} ms, evenbath --version {version * 1000:.0f} ms: {1000 * (version - bare):.0f} ms more")
    print(f"this process {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MiB")


if __name__ == "__main__":
    main()
