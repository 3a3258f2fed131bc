"""The journals on the disk as a page sees them: which sessions are closed, which one may have film bare, and what a journal has grown by.

A session is found by its id in the folder's listing; nothing from a request ever becomes a path. Tests: tests/page/test_journals.py.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from monitor.core.errors import EvenbathError
from monitor.core.journal.check import LONGEST_LINE
from monitor.core.journal.records import is_close
from monitor.core.recipe.reader import recipe_from_data
from monitor.live.disk.own_files import first_line, is_session_name, open_regular

SUFFIX = ".jsonl"
TAIL_BYTES = 64 * 1024
MOST_AT_ONCE = 4 << 20
NEWEST = 4
"""So many of the newest journals are looked at where the station is silent: a station runs two sessions at most."""


@dataclass(frozen=True, slots=True)
class Ended:
    """A session on the disk. `opening`: its first record, `close`: its last one where that closes it, else None. `changed`: what tells
    one state of the file from another."""

    session: str
    opening: Mapping[str, Any]
    close: Mapping[str, Any] | None
    changed: tuple[int, int]

    @property
    def bares_film(self) -> bool:
        """Whether the recipe bares film at any time; one that cannot be read counts as if it did. A dry run has none."""
        if self.opening.get("mode") == "rehearsal":
            return False
        try:
            return bool(recipe_from_data(self.opening["recipe"]).open_film)
        except (EvenbathError, KeyError, TypeError, ValueError):
            return True


def session_names(folder: Path) -> list[str]:
    """The ids of all sessions in the folder, the newest first. Raises OSError where it cannot be read."""
    found = [name.removesuffix(SUFFIX) for name in os.listdir(folder) if name.endswith(SUFFIX)]  # noqa: PTH208
    return sorted((name for name in found if is_session_name(name)), reverse=True)


def read_session(folder: Path, session: str) -> Ended | None:
    """A session of the listing; None where its file is no journal. Raises OSError where it cannot be read."""
    if not is_session_name(session):
        return None
    descriptor = open_regular(folder / f"{session}{SUFFIX}")
    try:
        stat = os.fstat(descriptor)
        opening = _record(first_line(descriptor))
        tail = os.pread(descriptor, TAIL_BYTES, max(0, stat.st_size - TAIL_BYTES))
    finally:
        os.close(descriptor)
    if opening is None or opening.get("session") != session:
        return None
    last = _record(tail.splitlines()[-1] if tail.endswith(b"\n") else b"")
    return Ended(session, opening, last if last is not None and is_close(last) else None, (stat.st_size, stat.st_mtime_ns))


def film_may_be_bare(folder: Path) -> bool:
    """Whether one of the newest journals has no close and a recipe that bares film. What cannot be read counts as bare."""
    found = _left_open(folder)
    return found is None or any(ended.bares_film for ended in found)


def open_sessions(folder: Path) -> bool:
    """Whether one of the newest journals has no close, whatever its recipe; or nobody can tell."""
    found = _left_open(folder)
    return found is None or bool(found)


def _left_open(folder: Path) -> list[Ended] | None:
    """The newest journals without a close; none where the folder is not there yet, None where it cannot be read."""
    try:
        newest = [read_session(folder, session) for session in session_names(folder)[:NEWEST]]
    except FileNotFoundError:
        return []
    except OSError:
        return None
    return [found for found in newest if found is not None and found.close is None]


def _record(line: bytes) -> dict[str, Any] | None:
    try:
        record = json.loads(line)
    except (ValueError, RecursionError):
        return None
    return record if isinstance(record, dict) else None


class Growing:
    """A journal that somebody else writes: `more` gives the whole records that have come since."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._at = 0
        self._seq = 0

    def more(self) -> list[dict[str, Any]]:
        """In the order of the file, each once. A file that is not there, or not readable now, has grown by nothing."""
        try:
            descriptor = open_regular(self._path)
        except OSError:
            return []
        try:
            size = os.fstat(descriptor).st_size
            if size < self._at:
                self._at = 0  # written anew by the station: what was seen is known by its `seq`
            block = os.pread(descriptor, MOST_AT_ONCE, self._at)
        except OSError:
            return []
        finally:
            os.close(descriptor)
        whole = block[: block.rfind(b"\n") + 1]
        if not whole and len(block) > LONGEST_LINE:
            whole = block  # no line of ours
        self._at += len(whole)
        found = []
        for line in whole.splitlines():
            record = _record(line)
            if record is None or not {"seq", "t_s", "kind"} <= record.keys() or not isinstance(record["seq"], int):
                continue
            if record["seq"] > self._seq:
                self._seq = record["seq"]
                found.append(record)
        return found
