"""No good reading of the developer's probe is left out for more than a minute without a word about it in the journal."""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest

from tests.core.development.scenes import DEVELOPER, LAW, Watched

LONGEST_S = 60.0
Course = Callable[[float, random.Random], float]


def leaves(t: float, _: random.Random) -> float:
    """It reads 55 C from one moment on, which no liquid reaches."""
    return 20.0 if t < 100.0 else 55.0


def flickers(t: float, rng: random.Random) -> float:
    """Every second reading or so is 30 C too high."""
    return 20.0 if t < 100.0 or rng.random() < 0.5 else 50.0


def wanders(t: float, rng: random.Random) -> float:
    """Another level every few seconds."""
    return 20.0 if t < 100.0 else 20.0 + 3.0 * random.Random(int(t / rng.choice((5, 7, 11)))).random()


def climbs(t: float, _: random.Random) -> float:
    """As fast as a kettle would, and back."""
    return 20.0 + max(0.0, min(t - 100.0, 260.0 - t)) * 0.2


def sticks(t: float, _: random.Random) -> float:
    """Falls steadily, sticks to one value, and is where it should be two minutes later."""
    return 22.0 - 0.006 * (t if not 100.0 <= t < 220.0 else 100.0)


def comes_and_goes(t: float, _: random.Random) -> float:
    """Two degrees off for forty seconds of each eighty."""
    return 20.0 + (2.0 if t > 100.0 and t % 80.0 < 40.0 else 0.0)


@pytest.mark.parametrize("course", [leaves, flickers, wanders, climbs, sticks, comes_and_goes])
@pytest.mark.parametrize("lag_s", [2.0, 20.0])
def test_nothing_good_is_ignored_for_a_minute_without_being_said(course: Course, lag_s: float) -> None:
    """At each reading: the estimate has taken one within the last minute, or the last word about the probe is that it is not believed."""
    watched, rng = Watched(), random.Random(3)
    watched.trust(DEVELOPER).learn_lag(lag_s, 0.05)
    for t in range(400):
        if t == 30:
            watched.estimator.begin(0, 30.0, LAW, 20.0)
        watched.hear(float(t), round(16.0 * (course(float(t), rng) + rng.gauss(0.0, 0.025))) / 16.0)
        used = watched.replay.moment.drift == "liquid" and t - watched.replay.moment.t <= LONGEST_S
        told = [c.believed for c in watched.changes if c.probe == DEVELOPER.name]
        assert used or (told and not told[-1]) or t < LONGEST_S
