"""Random evenings in two vessels: clashes that the plan did not foresee, the longest wait of a NOW, and the speed of the rehearsal.

    python -m tests.benchmarks.bench_evenings [--count 100] [--from 0]
"""

from __future__ import annotations

import argparse
import sys
import time

from tests.benchmarks.random_evenings import compare
from tests.live.evenings import Played, evening


def main() -> None:
    """Print one line for each evening that had an unforeseen clash, and the sums."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--from", type=int, default=0, dest="first")
    args = parser.parse_args()
    outcomes = []
    for seed in range(args.first, args.first + args.count):
        outcome = compare(seed)
        outcomes.append(outcome)
        for words in outcome.unforeseen:
            sys.stdout.write(f"evening {seed}: {words}\n")
    unforeseen = sum(bool(o.unforeseen) for o in outcomes)
    sys.stdout.write(
        f"{len(outcomes)} evenings, {sum(o.films for o in outcomes)} films, {sum(o.planned_clashes for o in outcomes)} clashes planned, "
        f"{sum(o.met_clashes for o in outcomes)} met; {sum(o.drifted for o in outcomes)} drifted by more than the bound; "
        f"{unforeseen} with an unforeseen clash, "
        f"{sum(o.extra for o in outcomes)} clashes with a turn that only a longer stage has; "
        f"the longest wait of a NOW {max(o.worst_now_s for o in outcomes):.2f} s\n"
    )
    films = evening("left, right +1:00", develop="30:00")
    begin_s = time.process_time()
    played = Played(films)
    took_s = time.process_time() - begin_s
    times = played.play.t_s / took_s
    sys.stdout.write(f"two vessels: {played.play.t_s:.0f} s in {took_s:.2f} s of one processor, {times:.0f} times real time\n")


if __name__ == "__main__":
    main()
