"""What stands in STATE/journals when a station starts: the sessions without a `close`, and what is none of ours.

Decides which entries are journals of this station: regular files, named after the session that their first record opens. Of
those a torn last line is cut off, after a copy of it was made. Everything else is said in one line and left alone, whatever it
is: it must neither stop the start nor take a session from its journal. Tests: tests/live/station/test_unfinished.py.
"""

from __future__ import annotations

import errno
import json
import os
import re
from collections.abc import Callable, Iterator
from pathlib import Path

from monitor.core.errors import InputWrong
from monitor.core.journal.check import LONGEST_LINE
from monitor.core.journal.records import is_close
from monitor.core.recipe.reader import recipe_from_data
from monitor.core.recipe.values import Recipe
from monitor.live.disk.journal import SUFFIX
from monitor.live.disk.own_files import JUDGEMENT, copy_aside, first_line, is_session_name, open_regular, opens, rename_aside, torn_opening
from monitor.live.disk.whole_lines import end_of_whole_lines
from monitor.live.station.resume import Record, UnfinishedSession

TAIL_BYTES = 64 * 1024
_OWN_NAME = re.compile(r"\d{6}-\d{4}[0-9a-z]{2,3}", re.ASCII)
"""As `monitor.live.disk.session_id` makes them: an empty file of such a name was made by a station that then stopped."""
MOST_BYTES = 128 << 20
"""Forty hours of three probes; a journal is held in memory while it is taken up, in several times its size."""
_MOST_S, _MOST_SEQ = 1e12, 1 << 53

Say = Callable[[str], None]


class _NotOurs(Exception):
    """An entry that is left alone, and why in words."""


def unfinished_sessions(journals: Path, say: Say) -> list[UnfinishedSession]:
    """The sessions whose last record is not a `close`, the oldest first, their journals repaired. Of closed ones only the ends are read.

    Raises `InputWrong` where the folder itself cannot be read.
    """
    try:
        names = sorted(os.listdir(journals))  # noqa: PTH208
    except OSError as wrong:
        raise InputWrong(f"{journals}: cannot be read ({wrong.strerror}); allowed: a folder that the station may read") from None
    found = []
    for name in names:
        session = name.removesuffix(SUFFIX)
        if session == name or session.endswith(JUDGEMENT):
            continue
        path = journals / name
        try:
            earlier = _look(path, session, say)
        except _NotOurs as wrong:
            say(f"{_printable(path)}: {wrong}; left alone")
        except OSError as wrong:
            say(f"{_printable(path)}: {wrong.strerror or wrong}; left alone")
        except Exception as wrong:  # one strange entry must not stop the start
            say(f"{_printable(path)}: cannot be read ({type(wrong).__name__}); left alone")
        else:
            if earlier is not None:
                found.append(earlier)
    return found


def _printable(path: Path) -> str:
    return "".join(sign if sign.isprintable() else "\ufffd" for sign in str(path))


def _look(path: Path, session: str, say: Say) -> UnfinishedSession | None:
    """The session in this file; None if it is closed, or was never told to anybody. Raises `_NotOurs` and OSError."""
    if not is_session_name(session):
        raise _NotOurs("not called as a session can be")
    descriptor = open_regular(path)
    try:
        size = os.fstat(descriptor).st_size
        if size == 0:
            _remove_empty(path, session)
            return None
        head = first_line(descriptor)
        if not opens(head, session):
            if size <= LONGEST_LINE and torn_opening(os.pread(descriptor, size, 0), session):
                aside = rename_aside(path, "torn")
                say(f"{path}: only the beginning of a first record; it is called {aside.name} now")
                return None
            raise _NotOurs(_what_else(head))
        if _closed(descriptor, size, session):
            return None
        if size > MOST_BYTES:
            raise _NotOurs(f"longer than {MOST_BYTES >> 20} MiB, which no session fills")
        whole = _repair(path, descriptor, size, session, say)
        records = tuple(_records(descriptor, whole, session))
    finally:
        os.close(descriptor)
    if not records or records[0].get("event") != "open":
        raise _NotOurs("its first record cannot be used")
    return None if is_close(records[-1]) else UnfinishedSession(path, records, _recipe(records[0]))


def _remove_empty(path: Path, session: str) -> None:
    """Made, and never written to: nobody was told of this session."""
    if _OWN_NAME.fullmatch(session) is None:
        raise _NotOurs("empty, and no name that a station gives")
    path.unlink()


def _what_else(head: bytes) -> str:
    try:
        other = json.loads(head)["session"]
    except (ValueError, RecursionError, KeyError, TypeError):
        other = None
    if isinstance(other, str) and opens(head, other) and is_session_name(other):
        return f"a journal of session {other} under another name"
    return "no journal: its first record does not open this session"


def _recipe(opening: Record) -> Recipe | None:
    try:
        return recipe_from_data(opening["recipe"])
    except Exception:  # whatever somebody has made of it, this program cannot read it
        return None


def _closed(descriptor: int, size: int, session: str) -> bool:
    """Whether the last record is a `close`, as far as the end of the file tells."""
    tail = os.pread(descriptor, TAIL_BYTES, max(0, size - TAIL_BYTES))
    for line in reversed(tail.split(b"\n")):
        record = record_of(line, session)
        if record is not None:
            return is_close(record)
    return False


def record_of(line: bytes, session: str) -> Record | None:
    """A line as a record of this session that can be gone on from, None for any other."""
    try:
        record = json.loads(line)
    except (ValueError, RecursionError):
        return None
    if not isinstance(record, dict) or record.get("session") != session or not isinstance(record.get("kind"), str):
        return None
    seq, t_s = record.get("seq"), record.get("t_s")
    if type(seq) is not int or not 0 < seq < _MOST_SEQ or isinstance(t_s, bool) or not isinstance(t_s, (int, float)):
        return None
    return record if -_MOST_S < t_s < _MOST_S else None


def _repair(path: Path, descriptor: int, size: int, session: str, say: Say) -> int:
    """Cut off a torn last line after copying it, or complete a whole one with its newline. Returns how many bytes may be read.

    Nothing before the last line changes. Where it cannot be done the file stays as it is: whoever goes on with it writes it anew.
    """
    begin = end_of_whole_lines(descriptor, size)
    if begin == size:
        return size
    rest = os.pread(descriptor, min(size - begin, LONGEST_LINE), begin)
    try:
        writable = open_regular(path, os.O_RDWR)
        try:
            if record_of(rest, session) is not None:
                if os.pwrite(writable, b"\n", size) != 1:
                    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
                os.fsync(writable)
                return size + 1
            aside = copy_aside(descriptor, begin, size, path, "torn")
            os.ftruncate(writable, begin)
            os.fsync(writable)
        finally:
            os.close(writable)
        say(f"{path}: a torn last record, {size - begin} bytes, cut off; a copy is {aside.name}")
    except OSError as wrong:
        say(f"{path}: a torn last record, {size - begin} bytes, cannot be put aside ({wrong.strerror}); it is passed over")
    return begin


def _records(descriptor: int, size: int, session: str) -> Iterator[Record]:
    """The records up to this byte; a line that is none is passed over."""
    with open(os.dup(descriptor), "rb") as file:  # noqa: PTH123
        file.seek(0)
        while file.tell() < size and (line := file.readline(LONGEST_LINE + 1)):
            record = record_of(line, session) if line.endswith(b"\n") else None
            if record is not None:
                yield record
