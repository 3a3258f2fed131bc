"""The recipe chosen for next time: the name of a file beside the station's. `evenbath develop --chosen` takes it, and asks as ever.

Tests: tests/prepare/logbook/test_logbook.py.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from pathlib import Path

from monitor.prepare.logbook.book import Entry, add, moment, rows_of, words
from monitor.prepare.state.kept_lines import Row

FILE = "chosen.jsonl"


def chosen(state: Path) -> str | None:
    """The file's name; None where none is chosen. Raises `FileWrong` for lines that are none."""
    return _last(state, rows_of(state, FILE))


def choose(state: Path, now: dt.datetime, recipe: str | None, before: Callable[[], None] = lambda: None) -> None:
    """This one from now on, or none. `before`: called under the lock; what it raises, stops it. The caller knows the recipes."""

    def make(rows: Sequence[Row]) -> Entry | None:
        before()
        return None if _last(state, rows) == recipe else {"recipe": recipe}

    add(state, FILE, now, make)


def _last(state: Path, rows: Sequence[Row]) -> str | None:
    if not rows:
        return None
    moment(state, FILE, rows[-1])
    return None if rows[-1].data.get("recipe") is None else words(state, FILE, rows[-1], "recipe")
