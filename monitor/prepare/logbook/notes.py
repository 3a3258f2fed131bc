"""Notes on an evening, in a line each: what nobody will remember tomorrow. They may belong to a session; they never stand in its journal.

Tests: tests/prepare/logbook/test_logbook.py.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from monitor.core.errors import InputWrong
from monitor.core.text.controls import one_line
from monitor.prepare.logbook.book import Entry, add, moment, rows_of, words
from monitor.prepare.state.kept_lines import Row

FILE = "notes.jsonl"
LONGEST = 500


@dataclass(frozen=True, slots=True)
class Note:
    """`at`: when it was written. `session`: the one that it is about, None for the evening."""

    at: dt.datetime
    text: str
    session: str | None


def read_notes(state: Path) -> tuple[Note, ...]:
    """All notes, the oldest first. Raises `FileWrong` for lines that are none."""
    return tuple(_note(state, row) for row in rows_of(state, FILE))


def add_note(
    state: Path, now: dt.datetime, text: str, session: str | None = None, key: str | None = None,
    before: Callable[[], None] = lambda: None,
) -> None:  # fmt: skip
    """Keep a note. `key`: of one that may be sent twice, and is kept once. `before`: called under the lock; what it raises, stops it.

    Raises `InputWrong` for no text or one that is too long, `FileWrong` where what is there could not be read back.
    """
    told = one_line(" ".join(text.split()))
    if not 0 < len(told) <= LONGEST:
        raise InputWrong(f"a note of {len(told)} characters; allowed: 1 to {LONGEST}")

    def make(rows: Sequence[Row]) -> Entry | None:
        before()
        for row in rows:
            _note(state, row)
        if key is not None and any(row.data.get("key") == key for row in rows):
            return None
        return {"text": told, "session": session, **({} if key is None else {"key": key})}

    add(state, FILE, now, make)


def _note(state: Path, row: Row) -> Note:
    session = row.data.get("session")
    return Note(moment(state, FILE, row), words(state, FILE, row, "text"), None if session is None else words(state, FILE, row, "session"))
