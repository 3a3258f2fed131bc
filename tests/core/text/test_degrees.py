"""A person who reads Fahrenheit gets Fahrenheit; what is kept stays in Celsius."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.errors import InputWrong
from monitor.core.text import degrees as d


@pytest.fixture
def fahrenheit() -> Iterator[None]:
    """For one test."""
    d.show_in("F")
    yield
    d.show_in(None)


def test_celsius_is_what_is_shown_where_nobody_chose() -> None:
    """Temperature, difference and rate."""
    assert (d.unit(), d.degrees(20.46), d.difference(-0.5, "+.2f"), d.plain(20.0)) == ("C", "20.5 C", "-0.50 C", "20 C")
    assert d.in_unit_shown("developer 24.21 C, wanted 24 within 0.15 C") == "developer 24.21 C, wanted 24 within 0.15 C"


@pytest.mark.usefixtures("fahrenheit")
def test_fixed_points_of_the_two_scales() -> None:
    """The definition: ice at 32 F, 100 C at 212 F, equal at -40; a difference of 5 C is one of 9 F."""
    assert [d.degrees(c, ".0f") for c in (0.0, 20.0, 38.0, 100.0, -40.0)] == ["32 F", "68 F", "100 F", "212 F", "-40 F"]
    assert [d.plain(c) for c in (20.0, 24.0, 20.5)] == ["68 F", "75.2 F", "68.9 F"]
    assert (d.plain_difference(5.0), d.difference(0.5, "+.1f"), d.plain_difference(0.15)) == ("9 F", "+0.9 F", "0.27 F")
    assert d.example("20.1 C") == "68.2 F"


@given(st.floats(-40.0, 110.0))
def test_a_number_of_an_axis_goes_both_ways(celsius: float) -> None:
    """To the last digits."""
    d.show_in("F")
    try:
        assert d.celsius_of(d.figure(celsius)) == pytest.approx(celsius, abs=1e-12)
    finally:
        d.show_in(None)


@pytest.mark.usefixtures("fahrenheit")
def test_a_bare_number_at_a_prompt_is_read_in_the_unit_shown() -> None:
    """One with a unit is read in its own."""
    assert d.typed_temperature("68") == pytest.approx(20.0)
    assert d.typed_temperature(" 20.5 C ") == 20.5
    assert d.typed_difference("0.9") == pytest.approx(0.5)
    with pytest.raises(InputWrong):
        d.typed_temperature("warm")


def test_a_bare_number_without_a_choice_is_asked_again() -> None:
    """68 may be meant in either; whoever has chosen Celsius may leave the unit out as well."""
    with pytest.raises(InputWrong):
        d.typed_temperature("20.1")
    d.show_in("C")
    assert d.typed_temperature("20.1") == 20.1
    d.show_in(None)


TOLD = {
    "developer 24.21 C, wanted 24 within 0.15 C, outside for 10 s": "developer 75.58 F, wanted 75.2 within 0.27 F, outside for 10 s",
    "outside data: 26.3 C, the recipe's data go from 18 C to 24 C; outside them the rate": (
        "outside data: 79.3 F, the recipe's data go from 64 F to 75 F; outside them the rate"
    ),
    "reading fell 9.0 C a minute, like a probe in air": "reading fell 16.2 F a minute, like a probe in air",
    "drifts +0.2 C a minute from what bath and vessel's lag say": "drifts +0.4 F a minute from what bath and vessel's lag say",
    "1.0 C below what bath and vessel's lag say": "1.8 F below what bath and vessel's lag say",
    "+1.0 C off what the bath and the vessel's lag say": "+1.8 F off what the bath and the vessel's lag say",
    "the developer 1.5 C above what this probe reads": "the developer 2.7 F above what this probe reads",
    "for 12 s up to 2.0 C above its line, then back on it": "for 12 s up to 3.6 F above its line, then back on it",
    "steady for 60 s, 0.5 C below the estimate": "steady for 60 s, 0.9 F below the estimate",
    "within 0.3 C of the estimate for 30 s": "within 0.5 F of the estimate for 30 s",
    "the same value for 90 s while the liquid has moved 0.5 C": "the same value for 90 s while the liquid has moved 0.9 F",
    "poured at 20 C": "poured at 68 F",
    "a sound one moves in steps of 0.0625 C": "a sound one moves in steps of 0.1125 F",
    "no reading for 60 s since the start": "no reading for 60 s since the start",
    "Colour 2+C 20 Cables": "Colour 2+C 20 Cables",
}


@pytest.mark.usefixtures("fahrenheit")
@pytest.mark.parametrize("told", TOLD)
def test_a_sentence_of_a_record_comes_out_in_the_unit_shown(told: str) -> None:
    """Temperatures, differences and rates, each as what it is."""
    assert d.in_unit_shown(told) == TOLD[told]


def test_what_is_no_unit_is_refused_in_one_line() -> None:
    """What is wrong and what is allowed."""
    assert d.unit_from(" f", "EVENBATH_UNITS") == "F"
    with pytest.raises(InputWrong) as wrong:
        d.unit_from("kelvin", "EVENBATH_UNITS")
    assert wrong.value.lines == ('EVENBATH_UNITS: "kelvin" is no unit of temperature; allowed: C or F',)
