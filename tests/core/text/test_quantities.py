"""Quantities as text: what is read, what is refused, and that what is written can be read again."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.errors import InputWrong
from monitor.core.text.quantities import (
    ML_PER_US_FL_OZ,
    Dilution,
    format_duration,
    format_number,
    format_temperature,
    format_volume,
    read_dilution,
    read_duration,
    read_temperature,
    read_temperature_difference,
    read_volume,
    shown,
)


@pytest.mark.parametrize(
    ("text", "celsius"),
    [("20 C", 20.0), ("20.5 C", 20.5), ("68 F", 20.0), ("100 F", 340 / 9), ("-4 F", -20.0), (" 20C ", 20.0), ("20 °C", 20.0)],
)
def test_temperatures_are_read_with_their_unit(text: str, celsius: float) -> None:
    """C and F, with or without space and degree sign, come out in Celsius."""
    assert read_temperature(text) == pytest.approx(celsius, abs=1e-12)


def test_absolute_zero_and_a_thousand_degrees_are_the_ends_of_the_scale() -> None:
    """Both are read; a hundredth beyond is refused."""
    assert (read_temperature("-273.15 C"), read_temperature("1000 C")) == (-273.15, 1000.0)
    for beyond in ("-273.16 C", "1000.01 C"):
        with pytest.raises(InputWrong, match=r"from -273\.15 C to 1000 C"):
            read_temperature(beyond)


def test_a_quantity_has_at_most_forty_characters() -> None:
    """Forty are read, one more is not."""
    assert read_temperature("0" * 36 + "20 C") == 20.0
    with pytest.raises(InputWrong):
        read_temperature("0" * 37 + "20 C")


def test_a_difference_in_fahrenheit_is_scaled_but_not_shifted() -> None:
    """A band of 1 F is 5/9 C; reading it as a temperature would make it -17 C."""
    assert read_temperature_difference("1 F") == pytest.approx(5 / 9)
    assert read_temperature_difference("0.5 C") == 0.5


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("10:00", 600.0), ("0:15.5", 15.5), ("1:02:30", 3750.0), ("90:00", 5400.0), ("0:00", 0.0), ("24:00:00", 86400.0)],
)
def test_durations_are_read(text: str, seconds: float) -> None:
    """Minutes and seconds, tenths, and hours come out in seconds."""
    assert read_duration(text) == seconds


@pytest.mark.parametrize(
    ("text", "volume_ml"),
    [("500 ml", 500.0), ("1 l", 1000.0), ("16 fl oz", 16 * ML_PER_US_FL_OZ), ("0.5l", 500.0), ("0 ml", 0.0)],
)
def test_volumes_are_read(text: str, volume_ml: float) -> None:
    """Millilitres, litres and US fluid ounces come out in millilitres."""
    assert read_volume(text) == pytest.approx(volume_ml, rel=1e-12)


def test_a_fluid_ounce_is_the_128th_part_of_231_cubic_inches() -> None:
    """The unit by its definition: NIST Handbook 44, appendix C."""
    assert pytest.approx(231 * 2.54**3 / 128, rel=1e-12) == ML_PER_US_FL_OZ


@pytest.mark.parametrize(
    ("text", "parts"),
    [("1+31", Fraction(31)), ("1 + 9", Fraction(9)), ("1+0", Fraction(0)), ("stock", Fraction(0)), ("1+1.5", Fraction(3, 2))],
)
def test_dilutions_are_read_exactly(text: str, parts: Fraction) -> None:
    """1+N and stock come out as exact fractions."""
    assert read_dilution(text).parts_water == parts


def test_a_colon_dilution_is_refused_with_both_meanings() -> None:
    """1:31 is 1+31 to one person and 1+30 to another; both are named."""
    with pytest.raises(InputWrong) as refused:
        read_dilution("1:31")
    assert '"1+31"' in str(refused.value)
    assert '"1+30"' in str(refused.value)


def test_one_to_one_is_one_and_one_or_stock() -> None:
    """1 part in 1 altogether is the stock itself."""
    with pytest.raises(InputWrong, match=r'"1\+1" .* or "stock"'):
        read_dilution("1:1")


RUBBISH: list[tuple[Callable[[object], object], object]] = [
    *[(read_temperature, x) for x in (20, 20.0, None, True)],
    *[(read_temperature, x) for x in ("20", "20 K", "20 c", "twenty C", "", "20 C 30 C", "1e2 C", "-300 C", "nan C", "٢٠ C")],
    *[(read_duration, x) for x in (600, 600.5, None)],
    *[(read_duration, x) for x in ("600", "10:60", "1:60:00", "1:2:30", "-1:00", "10:0", "", "9" * 5000 + ":00", "10:00\n10:00", "١٠:٠٠")],
    (read_duration, []),
    (read_duration, {}),
    *[(read_volume, x) for x in (500, "500", "-1 ml", "500 cc", "1 pint", "16 oz", "1e3 ml", "9" * 400 + " l")],
    *[(read_dilution, x) for x in (31, "31", "2+1", "1+", "1:0.5.5", "1+-3", "2:3", "neat", "1+" + "9" * 5000)],
    *[(read_temperature_difference, x) for x in (0.5, "0.5", "0.5 K", "99999 C")],
]


@pytest.mark.parametrize(("read", "text"), RUBBISH)
def test_everything_else_is_refused_with_what_was_read_and_what_is_allowed(read: Callable[[object], object], text: object) -> None:
    """Bare numbers, wrong units, other digits and endless digits get one plain line, never another exception."""
    with pytest.raises(InputWrong) as refused:
        read(text)
    assert "; allowed: " in str(refused.value)
    assert "\n" not in str(refused.value)
    assert len(str(refused.value)) < 300


@given(st.text(max_size=60))
def test_no_text_at_all_gets_anything_but_a_value_or_a_refusal(text: str) -> None:
    """Whatever is typed, the readers answer or refuse."""
    readers: list[Callable[[object], object]] = [
        read_temperature, read_temperature_difference, read_duration, read_volume, read_dilution,
    ]  # fmt: skip
    for read in readers:
        try:
            value = read(text)
        except InputWrong as refused:
            value = str(refused)
        assert not isinstance(value, str) or "; allowed: " in value


@given(st.integers(min_value=0, max_value=10**6))
def test_a_written_duration_reads_back(seconds: int) -> None:
    """format_duration and read_duration are each other's inverse on whole seconds."""
    assert read_duration(format_duration(seconds)) == seconds


@given(st.floats(min_value=0, max_value=1e5), st.integers(min_value=0, max_value=3))
def test_a_rounded_duration_is_near_and_never_says_sixty(seconds: float, places: int) -> None:
    """Rounding happens once, so 59.96 s does not become 0:60.0, and what is read back is within half a last place."""
    text = format_duration(seconds, places)
    assert abs(read_duration(text) - seconds) <= 0.5 * 10**-places + 1e-9


@given(st.fractions(min_value=0, max_value=1000))
def test_stock_and_water_make_the_whole(parts: Fraction) -> None:
    """Share of stock times the number of parts is one, exactly."""
    assert Dilution(parts).stock_fraction * (1 + parts) == 1


def test_numbers_are_written_plainly() -> None:
    """No trailing zeros, no minus before a rounded nothing, volumes in the unit that reads best."""
    assert format_number(20.0) == "20"
    assert format_number(-0.0001) == "0"
    assert format_temperature(20.04) == "20.0 C"
    assert format_duration(-0.2) == "0:00"
    assert format_duration(-61) == "-1:01"
    assert format_duration(float("inf")) == "never"
    assert format_duration(3600) == "1:00:00"
    assert (format_volume(15.625), format_volume(99.5), format_volume(484.375)) == ("15.6 ml", "99.5 ml", "484 ml")
    assert (format_volume(999.0), format_volume(1000), format_volume(1500)) == ("999 ml", "1 l", "1.5 l")


def test_shown_values_stay_on_one_short_line() -> None:
    """Control characters, long text, nested data and huge numbers cannot break a message."""
    assert "\x1b" not in shown("\x1b[31mred")
    deep: list[object] = []
    for _ in range(100_000):
        deep = [deep]
    for value in ("x" * 1000, deep, {"a": 1}, 10**5000, "a\nb", float("nan")):
        assert len(shown(value)) <= 62
        assert "\n" not in shown(value)
    assert shown("x" * 60) == '"' + "x" * 60 + '"'
    assert shown("x" * 61) == '"' + "x" * 57 + '..."'
