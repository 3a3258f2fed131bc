"""Developer's probe and bath beside each other: who is wrong? Courses by the vessel's own equation, in closed form or small steps."""

from __future__ import annotations

import math
import random
from collections.abc import Callable

import pytest

from monitor.core.development.crosswatch import Disagreement, Pair, disagreement

LAG_S = 360.0
VARIANCE = (0.03**2 + 0.0625**2 / 12.0) / 4.0


def bath(t: float) -> float:
    """Falls by 0.2 C a minute."""
    return 21.0 - 0.2 * t / 60.0


def said(wrong: Callable[[float], float], seconds: int = 240, lag_s: float = LAG_S, heat: Callable[[float], float] = lambda t: 0.0) -> (
    Disagreement | None
):  # fmt: skip
    """What is said of a liquid of 20 C in that bath (`heat`: C a second that it gains besides), its probe off by `wrong`."""
    rng, liquid_c, pairs = random.Random(4), 20.0, []
    for t in range(seconds):
        if t % 4 == 0:
            pairs.append(Pair(float(t), liquid_c + wrong(t) + rng.gauss(0.0, math.sqrt(VARIANCE)), bath(t) + rng.gauss(0.0, 0.01)))
        liquid_c += (bath(t) - liquid_c) / lag_s + heat(t)
    return disagreement(pairs, LAG_S, 0.02 * LAG_S, 8.0, VARIANCE)


@pytest.mark.parametrize("per_min", [0.2, -0.2, 0.4, -0.4])
def test_a_sensor_that_drifts_is_told_with_its_beginning_and_size(per_min: float) -> None:
    """From the second minute on: since when to 20 s, by how much to a quarter."""
    found = said(lambda t: per_min / 60.0 * max(t - 100.0, 0.0))
    assert found is not None
    assert found.ahead > 5.0
    assert found.cause == "drift"
    assert found.since_t_s == pytest.approx(100.0, abs=20.0)
    assert found.off_c == pytest.approx(per_min * 136.0 / 60.0, rel=0.25)


@pytest.mark.parametrize("off_c", [0.5, -0.5, -1.2])
def test_a_probe_half_in_air_is_told_because_it_stays_off(off_c: float) -> None:
    """Two minutes after it came to hang so."""
    found = said(lambda t: off_c * (1.0 - math.exp(-max(t - 100.0, 0.0) / 8.0)))
    assert found is not None
    assert found.ahead > 5.0
    assert found.off_c == pytest.approx(off_c, rel=0.2)


def test_all_is_well() -> None:
    """A sound probe is not blamed, however long it is watched."""
    for seconds in range(60, 300, 20):
        found = said(lambda _: 0.0, seconds)
        assert found is not None
        assert found.ahead < -3.0


@pytest.mark.parametrize("by_c", [1.0, -1.0])
def test_water_stirred_in_goes_back_towards_the_bath(by_c: float) -> None:
    """So the probe is right."""
    found = said(lambda _: 0.0, heat=lambda t: by_c / 5.0 if 60 <= t < 65 else 0.0)
    assert found is not None
    assert found.ahead < 3.0


@pytest.mark.parametrize("factor", [0.5, 2.0])
def test_a_false_lag_is_no_false_probe(factor: float) -> None:
    """The liquid keeps to another lag from the start: that one is named, to a third."""
    found = said(lambda _: 0.0, lag_s=factor * LAG_S)
    assert found is not None
    assert found.ahead < 0.0
    assert found.cause == "lag"
    assert found.lag_s == pytest.approx(factor * LAG_S, rel=0.35)


def test_a_warm_hand_is_no_false_probe() -> None:
    """0.05 C a minute all the time."""
    found = said(lambda _: 0.0, heat=lambda _: 0.05 / 60.0)
    assert found is not None
    assert found.ahead < 3.0


def test_few_pairs_tell_nothing() -> None:
    """Fewer than a minute's."""
    assert said(lambda _: 5.0, 40) is None
