"""Names of sessions: sortable by time, short enough to write on a sleeve. Tests: tests/live/test_session_id.py."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

_DIGITS = "0123456789abcdefghjkmnpqrstvwxyz"
"""Thirty-two signs without those that look like others (i l o u), in the order in which computers sort them."""


def session_id(wall: datetime, taken: Callable[[str], bool]) -> str:
    """Such as `261125-1904c`: year, month, day, hour, minute (UTC) and two seconds a sign, so that a later one sorts later.

    Where `taken` knows the name already, one sign more.
    """
    utc = wall.astimezone(UTC)
    name = utc.strftime("%y%m%d-%H%M") + _DIGITS[utc.second // 2]
    if not taken(name):
        return name
    return next(name + sign for sign in _DIGITS if not taken(name + sign))
