"""With hindsight: what left its line and came back to it was not the liquid; what went to another line was."""

from __future__ import annotations

import math
import random
from collections.abc import Callable

import pytest

from monitor.review.elsewhere import elsewhere, without
from monitor.review.smoother import Measurement

LAG_S = 8.0


def read(
    liquid_c: Callable[[float], float], air_c: float | None = None, air_s: tuple[float, float] = (0.0, 0.0), seed: int = 1
) -> list[Measurement]:
    """A probe in this liquid for 500 s, between `air_s` in wet air that is so cold."""
    rng, chip, found = random.Random(seed), liquid_c(0.0), []
    for t in range(500):
        away = air_c is not None and air_s[0] <= t < air_s[1]
        towards, lag_s = (air_c, 50.0) if away and air_c is not None else (liquid_c(float(t)), LAG_S)
        chip += (towards - chip) * (1.0 - math.exp(-1.0 / lag_s))
        found.append(Measurement(float(t), round(16.0 * (chip + rng.gauss(0.0, 0.02))) / 16.0, 0.03, 0))
    return found


def drifting(t: float) -> float:
    """A liquid that warms slowly."""
    return 19.0 + 0.0003 * t


@pytest.mark.parametrize(("air_c", "until_s"), [(17.0, 216.0), (21.5, 180.0), (17.8, 330.0)])
def test_a_probe_that_was_lifted_and_put_back_is_found(air_c: float, until_s: float) -> None:
    """Its readings in air are left out, and most of those after it until it has settled; the others stay."""
    measured = read(drifting, air_c, (82.0, until_s))
    (found,) = elsewhere(measured, LAG_S)
    assert found.left_out
    assert 76.0 <= found.from_s <= 92.0
    assert until_s + 5.0 <= found.to_s <= until_s + 5.0 * LAG_S
    left = without(measured, [found])
    assert all(abs(m.celsius - drifting(m.t_s)) < 0.5 for m in left)
    assert len(left) > 500 - (found.to_s - found.from_s) - 2


@pytest.mark.parametrize(
    "liquid_c",
    [
        drifting,
        lambda t: 20.0 if t < 150 else 21.0,  # hot water
        lambda t: 20.0 + min(max(t - 150.0, 0.0) / 40.0, 1.0),  # stirred in slowly
        lambda t: 20.0 if t < 150 else 21.0 - 0.5 * min((t - 150.0) / 300.0, 1.0),  # and cooling again
        lambda t: 20.0 + 3.0 * math.exp(-t / 200.0),  # a warm jug
        lambda t: 20.0 + 0.6 * math.sin(t / 80.0),  # a bath that swings
        lambda t: 20.0 if t < 150 else 21.0 if t < 280 else 20.3,  # hot water, later cold
        lambda t: 20.0 - 1.5 * math.exp(-(((t - 250.0) / 50.0) ** 2)),  # there and back without a kink
    ],
)
def test_a_liquid_that_moves_is_believed(liquid_c: Callable[[float], float]) -> None:
    """Also one that was moved there and nearly back."""
    for seed in range(3):
        measured = read(liquid_c, seed=seed)
        assert without(measured, elsewhere(measured, LAG_S)) == measured


def test_a_probe_that_never_came_back_cannot_be_told_from_a_liquid_that_moved() -> None:
    """Nothing is left out for a line that is not met again."""
    measured = read(drifting, 17.0, (300.0, 1000.0))
    assert elsewhere(measured, LAG_S) == []
