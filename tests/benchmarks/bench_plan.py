"""Random evenings of one to four films in two vessels: how long a plan takes, and whether its clashes are those of playing every drift.

    python -m tests.benchmarks.bench_plan [how many]

Whether rehearsals meet a clash that the plan did not foresee is told by bench_evenings.
"""

from __future__ import annotations

import sys
from random import Random
from time import perf_counter

from monitor.prepare.evening.clashes import clashes, shift_for
from monitor.prepare.evening.hands import moments
from monitor.prepare.evening.timeline import timeline
from tests.prepare.evening.test_clashes import random_evening, reference


def planned_figures(count: int) -> None:
    """Time of a plan, agreement with the reference pair by pair."""
    dice = Random(2026)
    evenings = [random_evening(dice) for _ in range(count)]
    begin_s = perf_counter()
    found = []
    for one in evenings:
        films = timeline(one, [f.recipe for f in one.films])
        hands = moments(films)
        met = clashes(hands)
        shift_for(one, films, hands, met)
        found.append((hands, met))
    took_s = perf_counter() - begin_s
    pairs = agreed = 0
    for one, (hands, met) in zip(evenings, found, strict=True):
        places = {id(m): i for i, m in enumerate(hands)}
        mine = {tuple(sorted((places[id(c.first)], places[id(c.second)]))) for c in met}
        theirs = reference(one, hands)
        pairs += len(theirs | mine)
        agreed += len(theirs & mine)
    clear = sum(not met for _, met in found)
    print(f"{count} random evenings planned in {took_s:.2f} s, {1000 * took_s / count:.1f} ms each; {clear} without a clash")
    print(f"clashes: {agreed} of {pairs} pairs as in a reference that plays every corner of the drift")


if __name__ == "__main__":
    planned_figures(int(sys.argv[1]) if len(sys.argv) > 1 else 100)
