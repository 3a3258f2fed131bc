"""Spans of time by the calendar."""

from __future__ import annotations

import datetime as dt

import pytest

from monitor.core.errors import InputWrong
from monitor.prepare.days import read_day, read_span


@pytest.mark.parametrize(
    ("span", "day", "after"),
    [
        ("10 days", "2026-11-25", "2026-12-05"),
        ("2 weeks", "2026-11-25", "2026-12-09"),
        ("1 month", "2027-01-31", "2027-02-28"),
        ("1 month", "2028-01-31", "2028-02-29"),
        ("6 months", "2026-11-25", "2027-05-25"),
        ("2 years", "2028-02-29", "2030-02-28"),
        ("9999 years", "2026-11-25", "9999-12-31"),
    ],
)
def test_a_span_ends_on_the_day_of_the_calendar(span: str, day: str, after: str) -> None:
    """Months keep the day, or take the last of a shorter month."""
    assert read_span(span).after(dt.date.fromisoformat(day)).isoformat() == after


@pytest.mark.parametrize("text", ["", "6", "0 days", "six months", "-1 days", "1.5 years", "3 fortnights", None, 6])
def test_a_span_without_its_unit_is_refused(text: object) -> None:
    """A bare number is refused here too."""
    with pytest.raises(InputWrong, match="allowed: "):
        read_span(text)


@pytest.mark.parametrize("text", ["2026-02-30", "25.11.2026", "20261125", "2026-W48-3", "", None])
def test_a_day_that_is_none_is_refused(text: object) -> None:
    """Only year, month and day with hyphens."""
    with pytest.raises(InputWrong, match="is not a day"):
        read_day(text)
    assert read_day("2026-11-25") == dt.date(2026, 11, 25)
