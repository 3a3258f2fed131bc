"""A share of the benchmark of ears: what an ear that never saw the table takes the sounds for, in a tiled room with water running."""

from __future__ import annotations

import numpy as np

from monitor.core.session.sounds import SIGNALS
from tests.benchmarks.bathroom import RATE_HZ, Place, in_the_bathroom
from tests.benchmarks.bench_ears import MUST_BE_RIGHT, MUST_DB, confusion
from tests.benchmarks.ears import KNOWN, UNHEARD, listen

PLAYS = 3


def test_an_independent_ear_tells_the_sounds_apart_in_a_bathroom_with_the_water_10_db_below() -> None:
    """Three plays of each; the benchmark does two hundred. No FAULT is ever taken for NOW."""
    rows = {signal.name: confusion(signal.name, MUST_DB, PLAYS, seed=3) for signal in SIGNALS}
    assert sum(right for _, right in rows.values()) >= MUST_BE_RIGHT * PLAYS * len(SIGNALS), rows
    assert rows["fault"][0]["now"] == 0


def test_the_ear_does_not_guess() -> None:
    """Water alone, and rhythms that are none of ours, are like nothing it knows."""
    chance = np.random.default_rng(1)
    place = Place(1200.0, 0.4, 0.4, 10.0)
    assert listen(chance.standard_normal((2, 3 * RATE_HZ)), RATE_HZ).name == UNHEARD
    for strange_s in ((0.3, 0.3, 0.3, 0.3, 0.3), (1.6,), (0.7, 0.7, 0.7)):
        assert listen(in_the_bathroom(strange_s, place, chance), RATE_HZ).name == UNHEARD, strange_s


def test_the_ear_has_a_form_for_every_signal_and_every_minute_up_to_two_hours() -> None:
    """Nothing is right because nothing else could be answered."""
    assert {signal.name for signal in SIGNALS if signal.cue != "answer"} <= set(KNOWN)
    assert all(f"minutes {number}" in KNOWN for number in range(121))
