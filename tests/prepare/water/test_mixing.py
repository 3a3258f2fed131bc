"""Dilutions are exact, enough for tank and film, and measured with the right graduate."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.errors import InputWrong
from monitor.prepare.water.mixing import (
    Graduate,
    best_graduate,
    check_enough,
    mix,
    parts_from_percent,
    powder_g,
    read_graduates,
    read_parts,
    read_percent,
    rounded,
)

PARTS = st.fractions(min_value=Fraction(1, 4), max_value=400, max_denominator=20)


@pytest.mark.parametrize(
    ("dilution", "total_ml", "stock_ml", "water_ml"),
    [("1+31", 500.0, 15.625, 484.375), ("1+50", 600.0, 600 / 51, 600 * 50 / 51), ("1+9", 600.0, 60.0, 540.0), ("stock", 250.0, 250.0, 0.0)],
)
def test_the_worked_dilutions(dilution: str, total_ml: float, stock_ml: float, water_ml: float) -> None:
    """500 ml at 1+31 is 15.6 + 484.4 ml, 600 ml at 1+50 is 11.8 + 588.2 ml, 1+9 for 600 ml is 60 + 540 (practice 3, facts 4)."""
    found = mix(*read_parts(dilution), total_ml=total_ml)
    assert float(found.stock_ml) == pytest.approx(stock_ml, rel=1e-12)
    assert float(found.water_ml) == pytest.approx(water_ml, rel=1e-12, abs=1e-12)


def test_a_given_stock_makes_its_total() -> None:
    """16 ml at 1+31 is 512 ml."""
    assert mix(*read_parts("1+31"), stock_ml=16.0).total_ml == 512


def test_several_stocks_share_in_order() -> None:
    """1+1+100: A and B alike, water last."""
    found = mix(*read_parts("1+1+100"), total_ml=1020.0)
    assert found.stocks_ml == (Fraction(10), Fraction(10))
    assert found.water_ml == 1000
    assert mix(*read_parts("1+2+100"), stock_ml=10.0).stocks_ml == (Fraction(10), Fraction(20))
    assert read_parts("1 + 2 + 47") == ((Fraction(1), Fraction(2)), Fraction(47))


@given(st.lists(PARTS, min_size=1, max_size=3), st.fractions(min_value=0, max_value=400, max_denominator=20), st.floats(0.01, 1e5))
def test_amounts_are_exact_fractions_of_the_total(stocks: list[Fraction], water: Fraction, total_ml: float) -> None:
    """Nothing is lost or gained, and every ratio is as asked, to the last digit."""
    found = mix(stocks, water, total_ml=total_ml)
    assert found.total_ml == Fraction(total_ml)
    for part, amount in zip(stocks, found.stocks_ml, strict=True):
        assert amount * water == found.water_ml * part
        assert amount * stocks[0] == found.stocks_ml[0] * part


@given(
    PARTS, st.fractions(min_value=0, max_value=400, max_denominator=20), st.floats(1.0, 1e4), st.sampled_from([None, 25.0, 100.0, 600.0])
)
def test_rounding_keeps_the_ratio_and_never_makes_less(
    stock: Fraction, water: Fraction, total_ml: float, graduate_ml: float | None
) -> None:
    """The first stock goes up to a mark; the water follows."""
    found = mix([stock], water, total_ml=total_ml)
    near = rounded(found, None if graduate_ml is None else Graduate(graduate_ml, 0.01 * graduate_ml))
    assert near.stocks_ml[0] >= found.stocks_ml[0] - Fraction(1, 10**8)
    assert near.stocks_ml[0] * water == near.water_ml * stock


def test_a_colon_is_refused_with_both_its_meanings() -> None:
    """1:31 is either 1+31 or 1+30; nobody guesses."""
    with pytest.raises(InputWrong, match=r"1\+31.*1\+30"):
        read_parts("1:31")
    for wrong in ("31", "1+", "0+1+9", "1+1+1+1+1+1+1", "", "one+nine"):
        with pytest.raises(InputWrong):
            read_parts(wrong)


def test_strengths_by_volume_and_by_weight() -> None:
    """28 % to 2 % is 1+13; a stronger one is refused; 5 % of 500 ml is 25 g."""
    assert parts_from_percent(read_percent("28 %"), read_percent("2%")) == 13
    assert powder_g(500.0, read_percent("5 %")) == 25.0
    with pytest.raises(InputWrong, match="cannot be made"):
        parts_from_percent(Fraction(2), Fraction(28))
    for wrong in ("28", "0 %", "101 %", "-2 %", "x %"):
        with pytest.raises(InputWrong, match="strength"):
            read_percent(wrong)


@pytest.mark.parametrize("volume_ml", [0.0, -5.0, 2e9])
def test_no_volume_and_too_much_are_refused(volume_ml: float) -> None:
    """Above zero and up to a thousand litres."""
    with pytest.raises(InputWrong, match="above zero"):
        mix([Fraction(1)], Fraction(31), total_ml=volume_ml)


def test_too_little_for_the_tank_or_the_film_is_refused_with_what_would_do() -> None:
    """Both at once; the total that carries enough stock is named."""
    found = mix(*read_parts("1+50"), total_ml=300.0)
    with pytest.raises(InputWrong) as refused:
        check_enough(found, tank_minimum_ml=500.0, area_units=1.0, stock_per_unit_ml=8.0)
    assert len(refused.value.lines) == 2
    assert "500 ml" in refused.value.lines[0]
    assert "408 ml" in refused.value.lines[1]
    check_enough(mix(*read_parts("1+50"), total_ml=510.0), tank_minimum_ml=500.0, area_units=1.0, stock_per_unit_ml=8.0)
    with pytest.raises(InputWrong, match="belong together"):
        check_enough(found, tank_minimum_ml=None, area_units=1.0, stock_per_unit_ml=None)
    with pytest.raises(InputWrong, match="80 sq in"):
        check_enough(found, tank_minimum_ml=None, area_units=-1.0, stock_per_unit_ml=8.0)


def test_exactly_enough_is_enough() -> None:
    """The tank's minimum to the millilitre, and the film's stock to the last drop; a little less is refused."""
    check_enough(mix(*read_parts("1+31"), total_ml=500.0), tank_minimum_ml=500.0, area_units=None, stock_per_unit_ml=None)
    check_enough(mix(*read_parts("1+50"), stock_ml=12.0), tank_minimum_ml=None, area_units=1.5, stock_per_unit_ml=8.0)
    with pytest.raises(InputWrong, match="the tank needs"):
        check_enough(mix(*read_parts("1+31"), total_ml=499.0), tank_minimum_ml=500.0, area_units=None, stock_per_unit_ml=None)
    with pytest.raises(InputWrong, match="of film need"):
        check_enough(mix(*read_parts("1+50"), stock_ml=11.9), tank_minimum_ml=None, area_units=1.5, stock_per_unit_ml=8.0)


@pytest.mark.parametrize(("graduates", "percent"), [("600 ml", 156.25), ("100 ml", 6.25), ("25 ml", 3.125)])
def test_the_reading_errors_of_the_practice(graduates: str, percent: float) -> None:
    """16 ml in a 600 ml jug is 156 %, in a 100 ml graduate 6 %, in a 25 ml graduate 3 % off."""
    best = best_graduate(16.0, read_graduates(graduates))
    assert best is not None
    assert best.error_percent == pytest.approx(percent)


def test_the_smallest_graduate_that_holds_it_is_named() -> None:
    """Out of three: 16 ml in the 25 ml one, 90 in the 100, a litre of water not in ten fillings of a small one."""
    mine = read_graduates("25 ml, 100 ml, 600 ml +/- 5 ml")
    assert [best_graduate(v, mine).graduate.holds_ml for v in (16.0, 90.0, 480.0)] == [25.0, 100.0, 600.0]  # type: ignore[union-attr]
    assert best_graduate(0.0, mine) is None
    assert best_graduate(16.0, ()) is None
    for wrong in ("25", "0 ml", "25 ml,,"):
        with pytest.raises(InputWrong):
            read_graduates(wrong)


def test_errors_of_several_fillings_combine_as_a_root_of_squares() -> None:
    """480 ml in a 250 ml graduate, 2.5 ml off at each of two fillings: 3.5 ml, not 5."""
    best = best_graduate(480.0, read_graduates("250 ml"))
    assert best is not None
    assert best.fills == 2
    assert best.error_percent == pytest.approx(100.0 * 2.5 * 2**0.5 / 480.0)


def test_a_graduate_is_filled_as_seldom_as_it_goes() -> None:
    """Once where the amount is all that it holds; three times only where no graduate does with two; ten times at most."""
    exactly = best_graduate(100.0, read_graduates("100 ml"))
    assert exactly is not None
    assert exactly.fills == 1
    rough = best_graduate(75.0, read_graduates("25 ml, 100 ml +/- 5 ml"))
    assert rough is not None
    assert rough.graduate.holds_ml == 100.0
    often = best_graduate(250.0, read_graduates("25 ml"))
    assert often is not None
    assert often.fills == 10
    assert best_graduate(251.0, read_graduates("25 ml")) is None


@pytest.mark.parametrize(("holds_ml", "error_ml"), [(25.0, 0.5), (50.0, 1.0), (100.0, 1.0), (250.0, 2.5), (600.0, 25.0)])
def test_a_graduate_without_an_error_of_its_own_has_the_usual_one(holds_ml: float, error_ml: float) -> None:
    """2 % up to 50 ml, 1 % up to 250 ml, a mark of a kitchen jug above."""
    assert read_graduates(f"{holds_ml} ml")[0].error_ml == pytest.approx(error_ml)


def test_a_rounded_amount_can_be_read_twice_over() -> None:
    """Its mark is twice the graduate's error: 11.3 ml in a graduate good to 0.5 ml is 12 ml, not 11.5."""
    near = rounded(mix(*read_parts("1+50"), total_ml=578.0), Graduate(25.0, 0.5))
    assert near.stocks_ml[0] == 12
    assert rounded(mix(*read_parts("1+50"), total_ml=600.0), None).stocks_ml[0] == Fraction(118, 10)


def test_a_thousand_litres_and_a_strength_of_one_hundred_are_the_most() -> None:
    """Both are taken."""
    assert mix([Fraction(1)], Fraction(31), total_ml=1e6).total_ml == 1_000_000
    assert read_percent("100 %") == 100
