"""Ticks of a recipe's checklist, made while one walks through the room. They are a help to memory: the station asks all the same.

A tick counts for an evening, until the next session is armed or `HOLD` is over. Tests: tests/prepare/logbook/test_logbook.py.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from pathlib import Path

from monitor.prepare.logbook.book import Entry, add, moment, rows_of, words, wrong_row
from monitor.prepare.state.kept_lines import Row

FILE = "ticks.jsonl"
HOLD = dt.timedelta(hours=6)
"""Longer than an evening, shorter than a day (no source)."""


def ticked(state: Path, recipe: str, now: dt.datetime, armed: dt.datetime | None) -> frozenset[str]:
    """The items of the checklist that are ticked for a recipe, by its file's name. `armed`: when the newest session was, None if never.

    Raises `FileWrong` for lines that are none.
    """
    return _standing(state, rows_of(state, FILE), recipe, now, armed)


def tick(
    state: Path, now: dt.datetime, recipe: str, item: str, on: bool, armed: dt.datetime | None, before: Callable[[], None] = lambda: None
) -> None:
    """Tick an item, or take its tick back. `before`: called under the lock; what it raises, stops it. The caller knows the items."""

    def make(rows: Sequence[Row]) -> Entry | None:
        before()
        return None if (item in _standing(state, rows, recipe, now, armed)) is on else {"recipe": recipe, "item": item, "on": on}

    add(state, FILE, now, make)


def _standing(state: Path, rows: Sequence[Row], recipe: str, now: dt.datetime, armed: dt.datetime | None) -> frozenset[str]:
    found: dict[str, bool] = {}
    for row in rows:
        if words(state, FILE, row, "recipe") != recipe:
            continue
        at, item, on = moment(state, FILE, row), words(state, FILE, row, "item"), row.data.get("on")
        if not isinstance(on, bool):
            raise wrong_row(state, FILE, row)
        found[item] = on and dt.timedelta(0) <= now - at <= HOLD and (armed is None or at > armed)
    return frozenset(item for item, on in found.items() if on)
