"""How long things keep: spans such as "6 months", and the day on which they end. Pure; the day is an argument.

Months and years follow the calendar (31 January plus a month is the last day of February). Tests: tests/prepare/test_days.py.
"""

from __future__ import annotations

import datetime as dt
import re
from calendar import monthrange
from dataclasses import dataclass
from typing import Literal

from monitor.core.text.quantities import QuantityWrong, shown

Unit = Literal["day", "week", "month", "year"]
ALLOWED = 'allowed: "10 days", "3 weeks", "6 months" or "2 years"'
_SPAN = re.compile(r"(\d{1,4})\s+(day|week|month|year)s?", re.ASCII)
_DAY = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
_UNITS: dict[str, Unit] = {"day": "day", "week": "week", "month": "month", "year": "year"}


@dataclass(frozen=True, slots=True)
class CalendarSpan:
    """A whole number of days, weeks, months or years, above zero."""

    count: int
    unit: Unit

    def __str__(self) -> str:
        return f"{self.count} {self.unit}{'' if self.count == 1 else 's'}"

    def after(self, day: dt.date) -> dt.date:
        """The day on which a span that begins on `day` ends."""
        if self.unit == "day":
            return _later(day, self.count)
        if self.unit == "week":
            return _later(day, 7 * self.count)
        months = day.year * 12 + day.month - 1 + self.count * (12 if self.unit == "year" else 1)
        year, month = divmod(months, 12)
        if year > dt.MAXYEAR:
            return dt.date.max
        return dt.date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))


def _later(day: dt.date, days: int) -> dt.date:
    return dt.date.max if days > (dt.date.max - day).days else day + dt.timedelta(days=days)


def read_span(text: object) -> CalendarSpan:
    """A span from text such as "6 months". Raises `InputWrong`; zero is refused."""
    match = _SPAN.fullmatch(text.strip().lower()) if isinstance(text, str) else None
    if match is None or int(match[1]) == 0:
        raise QuantityWrong(f"{shown(text)} is not a span of time", ALLOWED)
    return CalendarSpan(int(match[1]), _UNITS[match[2]])


def read_day(text: object) -> dt.date:
    """A day from text such as "2026-11-25". Raises `InputWrong`."""
    try:
        if isinstance(text, str) and _DAY.fullmatch(text):
            return dt.date.fromisoformat(text)
    except ValueError:
        pass
    raise QuantityWrong(f"{shown(text)} is not a day", 'allowed: year, month and day, such as "2026-11-25"')
