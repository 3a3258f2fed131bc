"""The day of a session as a person says it, in the zone of its record. Tests: tests/review/test_days.py."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo


def local(wall: str, zone: str | None) -> datetime | None:
    """A label's moment in the zone of the record; in UTC where that zone is not known here; None where the label is no time."""
    try:
        moment = datetime.fromisoformat(wall)
    except ValueError:
        return None
    if moment.tzinfo is None:
        return moment
    try:
        return moment.astimezone(ZoneInfo(zone) if zone else UTC)
    except (ValueError, OSError, KeyError):  # KeyError: ZoneInfoNotFoundError
        return moment.astimezone(UTC)


def day_in_words(wall: str, zone: str | None) -> str:
    """Such as "Friday 6 November 2026, 19:10"; the label itself where it is no time."""
    moment = local(wall, zone)
    if moment is None:
        return wall or "no date in the record"
    unsure = " UTC" if not zone and moment.tzinfo is not None else ""
    return f"{DAYS[moment.weekday()]} {moment.day} {MONTHS[moment.month - 1]} {moment.year}, {moment:%H:%M}{unsure}"


def short_day(wall: str, zone: str | None) -> str:
    """Such as "6 Nov 2026"."""
    moment = local(wall, zone)
    return "no date" if moment is None else f"{moment.day} {MONTHS[moment.month - 1][:3]} {moment.year}"


DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
MONTHS = (
    *("January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December"),
)  # fmt: skip
"""In English whatever the machine's language."""
