"""With hindsight: leaps by the clock are layers that hands have mixed; others are a doubt, or the liquid."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Sequence

import numpy as np
import pytest

from monitor.review.layers import Layers, layers
from monitor.review.smoother import Measurement

LAG_S = 8.0


def read(seen_c: Callable[[float], float], seed: int = 1) -> list[Measurement]:
    """A probe in a liquid that it sees so, for 500 s."""
    rng, chip, found = random.Random(seed), seen_c(0.0), []
    for t in range(500):
        chip += (seen_c(float(t)) - chip) * (1.0 - math.exp(-1.0 / LAG_S))
        found.append(Measurement(float(t), round(16.0 * (chip + rng.gauss(0.0, 0.02))) / 16.0, 0.03, 0))
    return found


def layered(mixed_s: Sequence[float], apart_c: float) -> Callable[[float], float]:
    """The lower of two layers, which by each mixing has gone so far from the whole; that warms slowly."""
    every = [0.0, *mixed_s, math.inf]

    def seen_c(t: float) -> float:
        last, following = max(m for m in every if m <= t), min(m for m in every if m > t)
        span = following - last if math.isfinite(following) else 150.0
        return 20.0 + 0.0004 * t + apart_c * (1.0 - math.exp(-(t - last) / 250.0)) / (1.0 - math.exp(-span / 250.0))

    return seen_c


@pytest.mark.parametrize(("every_s", "apart_c"), [(65.0, -0.15), (140.0, 0.2), (180.0, -0.4)])
def test_leaps_by_the_clock_are_layers_and_the_whole_is_known(every_s: float, apart_c: float) -> None:
    """To half of what the probe is off at any moment, to a fifth of that over the stage; with what is left of doubt."""
    mixed = [every_s * k for k in range(1, int(499.0 / every_s) + 1)]
    measured = read(layered(mixed, apart_c))
    found = layers(measured, LAG_S, 0.0, 499.0)
    assert found.mixed_s == pytest.approx([0.0, *mixed], abs=6.0)
    times = np.arange(0.0, 499.0)
    truth = np.array([layered(mixed, apart_c)(t) - 20.0 - 0.0004 * t for t in times.tolist()])
    off, sd = found.off(times)
    near = np.array([min(abs(t - m) for m in mixed) > 8.0 for t in times.tolist()])
    assert np.abs(off - truth)[near].max() < 0.5 * abs(apart_c)
    assert abs((off - truth).mean()) < 0.2 * abs(apart_c)
    assert 0.0 < sd.max() < 0.5 * abs(apart_c)
    whole = found.without(measured, LAG_S)
    assert abs(np.mean([m.celsius - 20.0 - 0.0004 * m.t_s for m in whole])) < 0.2 * abs(apart_c)


@pytest.mark.parametrize("mixed_s", [(110.0, 190.0, 355.0), (230.0,)])
def test_leaps_at_any_time_or_one_alone_move_nothing(mixed_s: tuple[float, ...]) -> None:
    """Whoever warms a tray by the thermometer makes the same leaps. A doubt stays: four in ten that it was layers, off by 0.8 of a leap."""
    measured = read(layered(mixed_s, -0.3))
    found = layers(measured, LAG_S, 0.0, 499.0)
    assert found.mixed_s == ()
    assert found.without(measured, LAG_S) == measured
    mean, sd = found.off(np.array([50.0, 300.0]))
    assert mean.tolist() == [0.0, 0.0]
    assert sd.tolist() == pytest.approx([0.8 * math.sqrt(0.4) * 0.3] * 2, rel=0.2)


@pytest.mark.parametrize(
    "seen_c",
    [
        lambda t: 20.0,
        lambda t: 20.0 + 0.002 * t,
        lambda t: 20.0 + 3.0 * math.exp(-t / 200.0),
        lambda t: 20.0 + 0.3 * math.sin(t / 60.0),
    ],
)
def test_a_liquid_without_leaps_by_the_clock_is_one_liquid(seen_c: Callable[[float], float]) -> None:
    """Nothing is moved."""
    for seed in range(3):
        assert layers(read(seen_c, seed), LAG_S, 0.0, 499.0) == Layers()


def test_a_liquid_that_leaps_there_and_back_is_one_liquid_and_doubted() -> None:
    """Nothing is moved."""
    for seed in range(3):
        found = layers(read(lambda t: 20.0 + (0.3 if 150 < t < 250 else 0.0), seed), LAG_S, 0.0, 499.0)
        assert found.mixed_s == ()
        assert 0.1 < found.doubt_c < 0.2


def test_a_probe_that_settles_slowly_has_not_leapt() -> None:
    """It comes from 6 C away with a lag of 30 s."""
    measured = read(lambda t: 20.0 + 6.0 * math.exp(-t / 30.0))
    assert layers(measured, 30.0, 0.0, 499.0) == Layers()
