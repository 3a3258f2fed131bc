"""The fault storm, an hour of simulated time a seed.

    python -m tests.benchmarks.bench_storm [SEEDS] [FIRST] [kills]

Budgets: no exception, no NOW later than 0.1 s, no lamp in the dark, no gap in seq.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from tests.live.station.storm import storm


def run(seeds: int, first: int, kills: bool) -> int:
    """All seeds; how many had something wrong."""
    bad = records = sessions = lives = 0
    worst_s = 0.0
    for seed in range(first, first + seeds):
        with tempfile.TemporaryDirectory(prefix="evenbath-storm-") as folder:
            result = storm(Path(folder), seed, kills=kills)
        records, sessions, lives = records + result.records, sessions + result.sessions, lives + result.lives
        worst_s = max(worst_s, result.worst_now_s)
        if result.wrong:
            bad += 1
            print(f"seed {seed}: {len(result.wrong)} wrong, such as {result.wrong[0][-400:]}")
    print(f"{seeds} seeds, {sessions} sessions, {lives} lives, {records} records: {bad} with something wrong")
    print(f"worst NOW {1000 * worst_s:.1f} ms late")
    return bad


if __name__ == "__main__":
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    sys.exit(min(1, run(seeds, int(sys.argv[2]) if len(sys.argv) > 2 else 1, "kills" in sys.argv)))
