"""Prints the estimator's figures: error of development given over random liquids beside simpler ways, coverage of the +/-, speed.

`python -m tests.benchmarks.bench_estimator [--count 200] [--family NAME]... [--coverage 200]`
"""

from __future__ import annotations

import argparse
import math
import random
import sys
import time
from collections.abc import Sequence
from dataclasses import replace

from monitor.core.development.moment import BATH_START_SD_C
from monitor.core.development.rate import Coefficient
from tests.benchmarks import liquids
from tests.benchmarks.liquids import BUDGETS, FAMILIES, Liquid, develop


def rms(values: Sequence[float]) -> float:
    """Root mean square."""
    return math.sqrt(math.fsum(v * v for v in values) / len(values))


def _pair(values: Sequence[float]) -> str:
    return f"{rms(values):6.3f}/{max(abs(v) for v in values):6.2f}"


def family(name: str, count: int) -> str:
    """One line of the table."""
    delivered, counted, others = [], [], [[], [], [], []]  # type: ignore[var-annotated]
    changes = 0
    simulated = 0.0
    ours_s = 0.0
    for n in range(count):
        liquid = FAMILIES[name](random.Random(f"{name} {n}"))
        begun = time.perf_counter()
        outcome = develop(liquid, random.Random(n))
        ours_s += time.perf_counter() - begun
        simulated += outcome.end_s
        delivered.append(outcome.delivered_percent)
        counted.append(outcome.counted_percent)
        changes += len(outcome.changes)
        if liquid.probe:
            ends = (
                liquids.steady(liquid, liquid.temps_c[0]),
                liquids.steady(liquid, liquids.first_reading(liquid, random.Random(n))),
                liquids.naive(liquid, random.Random(n), 0.0),
                liquids.naive(liquid, random.Random(n), 5.0),
            )
            for column, end in zip(others, ends, strict=True):
                at = min(end, len(liquid.temps_c) - 2.0)
                column.append(100 * (liquid.true_done(at) / liquid.target_ref_s - 1))
    budget = BUDGETS.get(name, (math.inf, math.inf))
    mark = " " if rms(delivered) <= budget[0] and max(map(abs, delivered)) <= budget[1] else "!"
    shown = "  ".join(_pair(c) if c else "      -      " for c in others)
    return (
        f"{name:17s} {_pair(delivered)} {mark} ({budget[0]:g}/{budget[1]:g})  {_pair(counted)}  {shown}  "
        f"{changes / count:4.1f}  {simulated / ours_s:7.0f}"
    )


def coverage(count: int) -> str:
    """Share of sessions whose truth lies inside 2 sd, probe offset and law drawn from what the station believes."""
    lines = []
    for name in ("clean", "settling", "probe in air", "lost, bath known", "held", "bath with lag"):
        inside = 0
        scores = []
        for n in range(count):
            rng = random.Random(f"coverage {name} {n}")
            liquid: Liquid = FAMILIES[name](rng) if name != "bath with lag" else liquids.bath_and_lag(rng, BATH_START_SD_C)
            law = liquid.law
            assert isinstance(law, Coefficient)
            liquid.offset_c = rng.gauss(0.0, liquid.comparison_sd_c)
            if liquid.bath_c is not None and not liquid.probe:
                off = rng.gauss(0.0, liquid.comparison_sd_c)
                liquid.bath_c = [v + off for v in liquid.bath_c]
            outcome = develop(liquid, random.Random(n), replace(law, per_10_c=rng.gauss(law.per_10_c, law.sd)))
            score = outcome.done_error_ref_s / outcome.done_sd_ref_s
            scores.append(score)
            inside += abs(score) <= 2.0
        lines.append(f"{name:17s} inside 2 sd {100 * inside / count:5.1f} %   rms of error/sd {rms(scores):.2f}")
    return "\n".join(lines)


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--count", type=int, default=40)
    parser.add_argument("--family", action="append")
    parser.add_argument("--coverage", type=int, default=0)
    args = parser.parse_args()
    out = sys.stdout
    out.write(
        "per cent of the target, rms/worst   (budget)        counted        told the start  one reading    "
        "trapezoid      smoothed 5 s   trust  s/s\n"
    )
    for name in args.family or FAMILIES:
        out.write(family(name, args.count) + "\n")
        out.flush()
    if args.coverage:
        out.write(coverage(args.coverage) + "\n")


if __name__ == "__main__":
    main()
