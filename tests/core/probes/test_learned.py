"""What was learned of a probe: how its correction is undone, and how far it may be trusted where and when."""

from __future__ import annotations

import datetime as dt

import pytest

from monitor.core.probes.learned import DEFAULT_LAG_S, NOT_COMPARED_SD_C, Comparison, ComparisonPoint, apply


def line(slope_per_c: float = -0.004) -> Comparison:
    """Compared in waters of 20 and 38 C; certain to 0.1 C at 29 C and to 0.01 C a degree, by a reference of 0.3 C."""
    points = (ComparisonPoint(20.0, 0.4, 0.1), ComparisonPoint(38.0, 0.33, 0.1))
    return Comparison("jug", None, 29.0, 0.37, slope_per_c, 0.1, 0.01, "glass", 0.3, "M", "2026-03-01", points)


@pytest.mark.parametrize("slope_per_c", [0.0, -0.004, 0.02])
@pytest.mark.parametrize("true_c", [0.0, 20.0, 29.0, 60.0])
def test_a_correction_undoes_the_offset_exactly(slope_per_c: float, true_c: float) -> None:
    """Raw is true plus the offset at the true temperature."""
    comparison = line(slope_per_c)
    raw_c = true_c + 0.37 + slope_per_c * (true_c - 29.0)
    assert comparison.offset_at(true_c) == pytest.approx(raw_c - true_c)
    assert apply(comparison, raw_c) == pytest.approx(true_c, abs=1e-12)


@pytest.mark.parametrize(("celsius", "sd_c"), [(29.0, 0.1), (39.0, 0.1414214), (9.0, 0.2236068)])
def test_a_corrected_reading_is_as_unsure_as_line_and_reference_make_it(celsius: float, sd_c: float) -> None:
    """In quadrature: offset, slope times the distance, reference."""
    assert line().sd_at(celsius) ** 2 == pytest.approx(sd_c**2 + 0.3**2, rel=1e-5)


def test_a_comparison_holds_two_degrees_beyond_its_points() -> None:
    """20 and 38 C: from 18 to 40 C."""
    assert line().valid_c == (18.0, 40.0)
    assert (line().kind, line(0.0).kind) == ("line", "offset")


def test_a_comparison_counts_for_ninety_days_or_a_year() -> None:
    """Colour developer, others; days of age are never negative."""
    comparison = line()
    assert comparison.expires(narrow=True) - dt.date(2026, 3, 1) == dt.timedelta(days=90)
    assert comparison.expires(narrow=False) - dt.date(2026, 3, 1) == dt.timedelta(days=365)
    assert comparison.age_days(dt.date(2026, 3, 11)) == 10
    assert comparison.age_days(dt.date(2026, 2, 1)) == 0


def test_what_is_taken_for_a_probe_of_which_nothing_was_learned() -> None:
    """Half a degree by the data sheet, uniform; 8 s."""
    assert pytest.approx(0.5 / 3.0**0.5, abs=0.002) == NOT_COMPARED_SD_C
    assert DEFAULT_LAG_S == 8.0
