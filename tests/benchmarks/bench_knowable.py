"""What could be known at best, where a row of `bench_doubt` or a family of `bench_estimator` is not reached. Prints figures.

Run: python -m tests.benchmarks.bench_knowable [--liquids 100] [--seed 11]

Drum: nothing hangs in it, so all that there is to go by is the temperature in the jug, the surroundings' probe and a lag. Development is
then forecast by the vessel's own equation with the true lag, with the one that was told, with all lags that a telling so false may stand
for, and with those of them that the row draws from, which nobody tells.

Held: a probe is lost, and the liquid goes on as it likes. The level at the loss is known; the slope is the best one in hindsight that any
weights of the slopes give that the readings had by then (straight lines over several windows; least squares over all these liquids).
"""

from __future__ import annotations

import argparse
import math
import random
import sys
from collections.abc import Sequence

import numpy as np

from monitor.core.development.filter import HELD_FADE_S
from tests.benchmarks import liquids
from tests.benchmarks.physics import STEP_S, Array
from tests.benchmarks.troubles import ROWS, Case, done_course, times

DRUM = "drum, lag wrong"
BENCH_S, BATH_S = (1800.0, 5400.0), (90.0, 420.0)
FALSE = 2.5
"""What `troubles.drum` draws from."""
WINDOWS_S = (30, 60, 120, 180, 280)
"""Slopes over so long before the loss."""


def rms_worst(errors: Sequence[float]) -> str:
    """rms/worst."""
    return f"{math.sqrt(math.fsum(e * e for e in errors) / len(errors)):.2f}/{max(map(abs, errors)):.1f}"


def by_lags(case: Case, around: Array, lags_s: Sequence[float]) -> float:
    """Error of the development, per cent, at the end that these lags (each as likely) forecast on average."""
    t, begin = times(case.film_c), round(case.begin_s / STEP_S)
    done = np.zeros(len(t))
    for lag_s in lags_s:
        keep, liquid_c, course = math.exp(-STEP_S / lag_s), case.jug_c, np.full(len(t), case.jug_c)
        for k in range(begin + 1, len(t)):
            liquid_c = float(around[k]) + (liquid_c - float(around[k])) * keep
            course[k] = liquid_c
        done += done_course(course, case.law, case.begin_s) / len(lags_s)
    end_s = float(np.interp(case.target_ref_s, done, t))
    return 100.0 * (float(np.interp(end_s, t, done_course(case.film_c, case.law, case.begin_s))) / case.target_ref_s - 1.0)


def drum(count: int, seed: int) -> dict[str, list[float]]:
    """The errors of each way of knowing the lag."""
    found: dict[str, list[float]] = {}
    for number in range(count):
        case = ROWS[DRUM](random.Random(f"{seed} {DRUM} {number}"))
        read = [(r.t_s, r.celsius) for _, r in case.heard if r.celsius is not None]
        around: Array = np.interp(times(case.film_c), [t for t, _ in read], [c for _, c in read])
        told, true = float(str(case.parts["told"])), float(str(case.parts["lag"]))
        low, high = BENCH_S if case.parts["bench"] else BATH_S
        ways = {
            "the true lag": [true],
            "the lag that was told": [told],
            "all that it may stand for": np.geomspace(told / FALSE, told * FALSE, 11).tolist(),
            "those of them that there are": np.linspace(max(low, told / FALSE), min(high, told * FALSE), 11).tolist(),
        }
        for way, lags_s in ways.items():
            found.setdefault(way, []).append(by_lags(case, around, lags_s))
    return found


def held(count: int) -> list[float]:
    """Errors with the best weights of the slopes before the loss, per cent, for the first `count` liquids of the family."""
    rows: list[list[float]] = []
    missed: list[float] = []
    for number in range(count):
        rng = random.Random(f"held {number}")
        liquid = liquids.FAMILIES["held"](rng)
        lost_s, end_s = int(liquid.faults[-1][0]), int(liquid.true_end())
        at = liquid.temps_c
        read = [liquids.quantised(v + rng.gauss(0.0, liquid.noise_c)) for v in at[: lost_s + 1]]
        slopes = [float(np.polyfit(range(len(part)), part, 1)[0]) for part in (read[-window_s:] for window_s in WINDOWS_S)]
        carried = math.fsum(HELD_FADE_S * (1.0 - math.exp(-(t - lost_s) / HELD_FADE_S)) for t in range(lost_s, end_s))
        per_c = 100.0 * math.log(liquid.law.per_10_c) / 10.0 / liquid.target_ref_s
        rows.append([per_c * carried * slope for slope in slopes])
        missed.append(per_c * math.fsum(v - at[lost_s] for v in at[lost_s:end_s]))
    weights = np.linalg.lstsq(np.array(rows), np.array(missed), rcond=None)[0]
    left: list[float] = (np.array(missed) - np.array(rows) @ weights).tolist()
    return left


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--liquids", type=int, default=100)
    parser.add_argument("--seed", type=int, default=11)
    args = parser.parse_args()
    say = sys.stdout.write
    say(f"development given, per cent of what was due: rms/worst\n{DRUM}, {args.liquids} liquids, seed {args.seed}\n")
    for way, errors in drum(args.liquids, args.seed).items():
        say(f"  {way:30s} {rms_worst(errors)}\n")
    say(f"held, 200 liquids\n  level exact, slopes weighed in hindsight {rms_worst(held(200))}\n")


if __name__ == "__main__":
    main()
