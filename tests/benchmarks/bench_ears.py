"""Plays every sound in a simulated bathroom with running water to an independent ear, and prints what it was taken for.

`python -m tests.benchmarks.bench_ears [--plays 200] [--seed 1] [--rooms 5] [--jobs 2]`. At 10 dB above the water's noise 95 of 100 must
be right, of each signal, and no FAULT may be taken for NOW; below that the figures are printed.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor

import numpy as np

from monitor.core.session.sounds import SIGNALS, answer
from tests.benchmarks.bathroom import FAR_M, NEAR_M, RATE_HZ, in_the_bathroom, somewhere
from tests.benchmarks.ears import UNHEARD, listen

MUST_DB, MUST_BE_RIGHT = 10.0, 0.95
ROOMS = ((MUST_DB, NEAR_M), (5.0, NEAR_M), (0.0, NEAR_M), (-5.0, NEAR_M), (MUST_DB, FAR_M))
"""Tone above water, dB (water from 10 dB below to 5 dB above the tone), and ear to sounder, m."""


def play(name: str, chance: np.random.Generator) -> tuple[tuple[float, ...], str]:
    """One sounding of a signal, and what a good ear calls it: a few ticks in a row, an answer of any minutes."""
    minutes = {"answer": (1, 20), "answer-tens": (20, 121), "answer-none": (0, 1)}.get(name)
    if minutes is not None:
        number = int(chance.integers(*minutes))
        return answer(number), f"minutes {number}"
    pattern = next(signal.pattern for signal in SIGNALS if signal.name == name)
    if name == "tick":
        return (*pattern, 1.0 - pattern[0]) * 3 + pattern, name
    return pattern, name


def family(heard: str) -> str:
    """The signal to which a name of the ear belongs."""
    if not heard.startswith("minutes "):
        return heard
    number = int(heard.removeprefix("minutes "))
    return "answer-none" if number == 0 else "answer" if number < 20 else "answer-tens"


def confusion(
    name: str, signal_to_noise_db: float, plays: int, seed: int, distance_m: tuple[float, float] = NEAR_M
) -> tuple[Counter[str], int]:
    """What `plays` soundings of one signal were taken for, and how many were right to the minute."""
    chance = np.random.default_rng([seed, *name.encode(), round(signal_to_noise_db) + 100])
    taken: Counter[str] = Counter()
    right = 0
    for _ in range(plays):
        pattern, called = play(name, chance)
        heard = listen(in_the_bathroom(pattern, somewhere(chance, signal_to_noise_db, distance_m), chance), RATE_HZ).name
        taken[family(heard)] += 1
        right += heard == called
    return taken, right


def table(rows: dict[str, tuple[Counter[str], int]], plays: int) -> str:
    """The confusion matrix: a row a signal, a column what it was taken for."""
    names = [*rows, UNHEARD]
    lines = [f"{'played':12}{'right %':>8}" + "".join(f"{name[:11]:>12}" for name in names)]
    for name, (taken, right) in rows.items():
        lines.append(f"{name:12}{100 * right / plays:8.1f}" + "".join(f"{taken[other] or '.':>12}" for other in names))
    return "\n".join(lines)


def main() -> int:
    """Print a matrix for each noise; 1 if what must hold does not."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--plays", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--rooms", type=int, default=len(ROOMS), help="only the first of them")
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    names = [signal.name for signal in SIGNALS]
    wrong = []
    with ProcessPoolExecutor(args.jobs) as pool:
        for noise_db, distance_m in ROOMS[: args.rooms]:
            tasks = {name: pool.submit(confusion, name, noise_db, args.plays, args.seed, distance_m) for name in names}
            rows = {name: task.result() for name, task in tasks.items()}
            head = f"tone {noise_db:+.0f} dB to the water, {distance_m[0]} to {distance_m[1]} m, {args.plays} plays each, seed {args.seed}"
            sys.stdout.write(f"{head}\n{table(rows, args.plays)}\n\n")
            if (noise_db, distance_m) == ROOMS[0]:
                wrong += [f"{name}: {right} of {args.plays}" for name, (_, right) in rows.items() if right < MUST_BE_RIGHT * args.plays]
                wrong += ["FAULT taken for NOW"] * rows["fault"][0]["now"]
    held = f"at {MUST_DB:+.0f} dB at least {MUST_BE_RIGHT:.0%} right of each, no FAULT taken for NOW"
    sys.stdout.write("\n".join(wrong or [held]) + "\n")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
