"""Cooling of what was mixed hot: Newton's law with a stated constant, never a time where it cannot get there."""

from __future__ import annotations

import math

import pytest

from monitor.core.errors import InputWrong
from monitor.prepare.water.powders import cooling, cooling_lag_s, cooling_lines, steps


def test_the_time_is_that_of_newtons_law() -> None:
    """1 l mixed to 40 C in a room of 18 C with a lag of 100 min: at 20.5 C after 100 min x ln(22/2.5)."""
    result = cooling(1000.0, 45.0, 25.0, 20.0, "air", 18.0, lag_s=6000.0)
    assert result.start_c == pytest.approx(40.0)
    assert result.usable_after_s == pytest.approx(6000.0 * math.log(22.0 / 2.5))
    assert result.earliest_s == result.latest_s == result.usable_after_s


def test_the_estimate_in_air_is_the_heat_balance_of_a_cylinder() -> None:
    """As high as wide: d = (4V/pi)^(1/3), surface 1.5 pi d^2, 12 W for each m2 and K."""
    d = (4e-3 / math.pi) ** (1 / 3)
    assert cooling_lag_s(1000.0, "air") == pytest.approx(4180.0 / (12.0 * 1.5 * math.pi * d * d))
    assert 5400 < cooling_lag_s(1000.0, "air") < 7200
    assert cooling_lag_s(1000.0, "bath") < cooling_lag_s(1000.0, "air") / 3
    assert cooling_lag_s(8000.0, "air") == pytest.approx(2 * cooling_lag_s(1000.0, "air"))


def test_an_estimate_says_that_it_is_one() -> None:
    """Earliest and latest a third away, and the words say measure."""
    result = cooling(1000.0, 45.0, 15.0, 20.0, "bath", 12.0)
    assert result.latest_s == pytest.approx(result.usable_after_s * 4 / 3)
    assert "Measure before use" in " ".join(cooling_lines(result))


def test_what_is_near_enough_at_once_takes_no_time() -> None:
    """Mixed to 20 C."""
    assert cooling(1000.0, 22.0, 14.0, 20.0, "air", 20.0).usable_after_s == 0.0


@pytest.mark.parametrize("around_c", [24.0, 20.5])
def test_a_room_that_is_too_warm_never_gets_there(around_c: float) -> None:
    """Refused with the way out."""
    with pytest.raises(InputWrong, match="--bath"):
        cooling(1000.0, 45.0, 15.0, 20.0, "air", around_c)


def test_it_warms_as_it_cools() -> None:
    """Colder than wanted in a warm bath: the same law."""
    result = cooling(1000.0, 22.0, 22.0, 38.0, "bath", 40.0, lag_s=1000.0)
    assert result.usable_after_s == pytest.approx(1000.0 * math.log(18.0 / 2.5))


def test_the_order_begins_with_gloves_and_ends_with_crystals() -> None:
    """Three quarters of the water first."""
    order = list(steps(2000.0, 45.0))
    assert "Gloves" in order[0]
    assert "1.5 l" in order[1]
    assert "Crystals" in order[-1]


def test_a_measured_lag_has_no_spread() -> None:
    """Earliest and latest are the time itself; an estimate lies between them."""
    measured = cooling(1000.0, 45.0, 15.0, 20.0, "bath", 12.0, lag_s=1500.0)
    assert (measured.earliest_s, measured.latest_s) == (measured.usable_after_s, measured.usable_after_s)
    estimated = cooling(1000.0, 45.0, 15.0, 20.0, "bath", 12.0)
    assert (estimated.earliest_s, estimated.latest_s) == pytest.approx((estimated.usable_after_s * 0.75, estimated.usable_after_s * 4 / 3))


def test_what_can_burn_the_eyes_is_told_before_it_is_touched() -> None:
    """Goggles first; a hydroxide apart, slowly, into cold water; acid into water (old chemists' rules, no source)."""
    told = list(steps(1000.0, 45.0))
    assert "goggles" in told[0]
    apart = next(step for step in told if "hydroxide" in step)
    assert "cold water, never into warm" in apart
    assert "never water into the acid" in apart
