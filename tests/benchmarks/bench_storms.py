"""Prints what hundreds of storms did to the estimator: errors raised, physically impossible answers.

`python -m tests.benchmarks.bench_storms [--count 400] [--from 0]`
"""

from __future__ import annotations

import argparse
import sys
import traceback

from tests.benchmarks.storms import storm


def main() -> None:
    """Run the storms and print one line for each that was not calm."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--count", type=int, default=400)
    parser.add_argument("--from", type=int, default=0, dest="first")
    args = parser.parse_args()
    raised = odd = 0
    for seed in range(args.first, args.first + args.count):
        try:
            outcome = storm(seed)
        except Exception:  # whatever it is, it is what is looked for
            raised += 1
            sys.stdout.write(f"storm {seed} raised\n{traceback.format_exc()}\n")
            continue
        if outcome.wrong:
            odd += 1
            sys.stdout.write(f"storm {seed}: {len(outcome.wrong)} times, first: {outcome.wrong[0]}\n")
    sys.stdout.write(f"{args.count} storms: {raised} raised an error, {odd} gave a physically impossible answer\n")


if __name__ == "__main__":
    main()
