"""The journals on the disk as a page sees them: which sessions are closed, which one may have film bare, and what a journal has grown by.

Tests: tests/page/test_journals.py.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from monitor.core.journal.check import LONGEST_LINE
from monitor.live.disk.own_files import open_regular
from monitor.live.station.ended import Ended, read_session, record_in, session_names

MOST_AT_ONCE = 4 << 20
NEWEST = 4
"""So many of the newest journals are looked at where the station is silent: a station runs two sessions at most."""


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
            record = record_in(line)
            if record is None or not {"seq", "t_s", "kind"} <= record.keys() or not isinstance(record["seq"], int):
                continue
            if record["seq"] > self._seq:
                self._seq = record["seq"]
                found.append(record)
        return found
