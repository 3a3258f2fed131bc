"""The sessions of a folder by the two ends of their journals: how each was opened, and whether and how it was closed.

A session is found by its id in the folder's listing; nothing from a request ever becomes a path. Tests: tests/page/test_journals.py.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from monitor.core.journal.records import is_close
from monitor.core.recipe.reader import recipe_from_data
from monitor.core.recipe.values import Recipe
from monitor.live.clock import read_stamp
from monitor.live.disk.own_files import first_line, is_session_name, open_regular

SUFFIX = ".jsonl"
TAIL_BYTES = 64 * 1024


@dataclass(frozen=True, slots=True)
class Ended:
    """A session on the disk. `opening`: its first record, `close`: its last one where that closes it, else None. `changed`: what tells
    one state of the file from another. `stage`: the last one that began, None where none did or its record is far from the end."""

    session: str
    opening: Mapping[str, Any]
    close: Mapping[str, Any] | None
    changed: tuple[int, int]
    stage: int | None = None

    @property
    def bares_film(self) -> bool:
        """Whether the recipe bares film at any time; one that cannot be read counts as if it did. A dry run has none."""
        if self.opening.get("mode") == "rehearsal":
            return False
        recipe = self.recipe
        return recipe is None or bool(recipe.open_film)

    @property
    def recipe(self) -> Recipe | None:
        """What was developed; None where it cannot be read."""
        try:
            return recipe_from_data(self.opening["recipe"])
        except Exception:  # whatever somebody has made of it, this program cannot read it
            return None


def session_names(folder: Path) -> list[str]:
    """The ids of all sessions in the folder, the newest first. Raises OSError where it cannot be read."""
    found = [name.removesuffix(SUFFIX) for name in os.listdir(folder) if name.endswith(SUFFIX)]  # noqa: PTH208
    return sorted((name for name in found if is_session_name(name)), reverse=True)


def ids_named(name: str, ids: Iterable[str]) -> list[str]:
    """The ids that a person means by this name: each that ends so, of a whole id that one alone. None by an empty name."""
    return [session for session in ids if name and session.endswith(name)]


def read_session(folder: Path, session: str) -> Ended | None:
    """A session of the listing; None where its file is no journal. Raises OSError where it cannot be read."""
    if not is_session_name(session):
        return None
    descriptor = open_regular(folder / f"{session}{SUFFIX}")
    try:
        stat = os.fstat(descriptor)
        opening = record_in(first_line(descriptor))
        tail = os.pread(descriptor, TAIL_BYTES, max(0, stat.st_size - TAIL_BYTES))
    finally:
        os.close(descriptor)
    if opening is None or opening.get("session") != session:
        return None
    lines = tail.splitlines()
    last = record_in(lines[-1] if tail.endswith(b"\n") else b"")
    if last is None or not is_close(last):
        return Ended(session, opening, None, (stat.st_size, stat.st_mtime_ns))
    return Ended(session, opening, last, (stat.st_size, stat.st_mtime_ns), _last_begun(lines))


def newest_armed(folder: Path) -> datetime | None:
    """When the newest session of a folder was armed; None where none was, or where its journal does not say."""
    try:
        names = session_names(folder)[:1]
        newest = read_session(folder, names[0]) if names else None
    except OSError:
        return None
    return None if newest is None else read_stamp(str(newest.opening.get("wall")))


def _last_begun(lines: Sequence[bytes]) -> int | None:
    for line in reversed(lines):
        record = record_in(line) if b'"begin"' in line else None
        if record is not None and record.get("kind") == "stage" and record.get("event") == "begin" and isinstance(record.get("stage"), int):
            return int(record["stage"])
    return None


def record_in(line: bytes) -> dict[str, Any] | None:
    """A line as a record, None for any other."""
    try:
        record = json.loads(line)
    except (ValueError, RecursionError):
        return None
    return record if isinstance(record, dict) else None
