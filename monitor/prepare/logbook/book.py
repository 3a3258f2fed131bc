"""The files of the logbook: only ever appended to, each write under a lock, and no longer than can be read at a glance by a small board.

Tests: tests/prepare/logbook/test_logbook.py.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from monitor.core.errors import FileWrong, InputWrong, Problem
from monitor.prepare.state.kept_lines import Row, read_lines, writing

FOLDER = "logbook"
MOST_BYTES = 1 << 20
"""Of one file. A note a minute for a week is less."""
Entry = dict[str, Any]
Making = Callable[[Sequence[Row]], Entry | None]
"""Makes one more entry, without its time, of the rows that there are; None where there is nothing to add. May raise `InputWrong`."""
_ALLOWED = "allowed: lines as evenbath writes them"


def rows_of(state: Path, file: str) -> tuple[Row, ...]:
    """The rows of a file of the logbook; none where there is none. Raises `FileWrong` and `InputWrong`."""
    return read_lines(state / FOLDER / file).rows


def add(state: Path, file: str, now: dt.datetime, make: Making) -> None:
    """Append what `make` returns, with its moment. Raises `InputWrong`; then nothing is written."""
    path = state / FOLDER / file
    with writing(path) as opened:
        entry = make(opened.kept.rows)
        if entry is None:
            return
        if opened.kept.whole_bytes > MOST_BYTES:
            raise InputWrong(f"{path}: full, above {MOST_BYTES >> 20} MiB; allowed: move it away and begin a new one")
        opened.append({"at": now.astimezone(dt.UTC).isoformat(timespec="seconds"), **entry})


def moment(state: Path, file: str, row: Row) -> dt.datetime:
    """When a row was written. Raises `FileWrong`."""
    try:
        at = dt.datetime.fromisoformat(row.data["at"])
    except (KeyError, TypeError, ValueError):
        at = None
    if at is None or at.tzinfo is None or not 1970 < at.year < 9000:  # any zone can show it
        raise wrong_row(state, file, row)
    return at


def words(state: Path, file: str, row: Row, name: str) -> str:
    """A text of a row. Raises `FileWrong` where it has none."""
    told = row.data.get(name)
    if not isinstance(told, str) or not _utf_8(told):
        raise wrong_row(state, file, row)
    return told


def _utf_8(text: str) -> bool:
    """Half a surrogate pair, which JSON can carry, is no text that can be shown."""
    return text == text.encode("utf-8", "ignore").decode()


def wrong_row(state: Path, file: str, row: Row) -> FileWrong:
    """The error for a row that is not as it is written."""
    return FileWrong([Problem(str(state / FOLDER / file), row.line, "not a line of the logbook", _ALLOWED)])


