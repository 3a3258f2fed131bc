"""Names of sessions: they sort by time and are short enough to write on a sleeve. Tests: tests/live/disk/test_session_id.py."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

_DIGITS = "0123456789abcdefghjkmnpqrstvwxyz"
"""Thirty-two characters, without those that look like others (i l o u), in the order in which computers sort them."""
_PARTS = len(_DIGITS) ** 2


def session_id(wall: datetime, taken: Callable[[str], bool]) -> str:
    """Such as `261125-1904c7`: year, month, day, hour, minute (UTC), and two characters for the part of the minute (59 ms each).

    A later moment sorts later. Where `taken` says that the name is in use, one more character is added.
    """
    utc = wall.astimezone(UTC)
    part = int((utc.second + utc.microsecond / 1e6) / 60.0 * _PARTS)
    name = utc.strftime("%y%m%d-%H%M") + _DIGITS[part // len(_DIGITS)] + _DIGITS[part % len(_DIGITS)]
    if not taken(name):
        return name
    return next(name + sign for sign in _DIGITS if not taken(name + sign))
