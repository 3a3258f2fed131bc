"""A file of JSON objects, one a line, that is only ever appended to: for what several shells write and a power cut may tear.

Decides that a writer holds a lock from reading to the end of its writing, that what was written is on the disk when the
call returns, that a damaged last line is kept aside in FILE.damaged and cut off before the next line, and that a damaged
line anywhere else is refused by file and line. It knows nothing of what the lines mean.
Tests: tests/prepare/state/test_kept_lines.py.
"""

from __future__ import annotations

import fcntl
import json
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from monitor.core.errors import FileWrong, InputWrong, Problem

ALLOWED = "allowed: one JSON object a line, as evenbath writes them"


@dataclass(frozen=True, slots=True)
class Row:
    """One line: its number in the file, from 1, and the object on it."""

    line: int
    data: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class KeptLines:
    """A file's rows. `damaged`: a sentence about a last line that was left out, None if all is whole.

    `whole_bytes`: up to there the file is sound.
    """

    rows: tuple[Row, ...]
    damaged: str | None
    whole_bytes: int


def read_lines(path: Path) -> KeptLines:
    """All rows; none where there is no file. Raises `FileWrong` for damaged lines before the last, `InputWrong` where it cannot be read."""
    try:
        return _parsed(path, path.read_bytes())
    except FileNotFoundError:
        return KeptLines((), None, 0)
    except OSError as wrong:
        raise InputWrong(f"{path}: cannot be read ({wrong.strerror}); allowed: a state folder of your own") from None


@dataclass(frozen=True, slots=True)
class Writing:
    """A file that is locked for writing: what stands in it, and the way to add to it."""

    kept: KeptLines
    _descriptor: int

    def append(self, *rows: Mapping[str, Any]) -> None:
        """Write these rows, all or none, and wait until they are on the disk. Raises OSError; the file is then as it was."""
        text = "".join(json.dumps(row, ensure_ascii=False, allow_nan=False, separators=(",", ":")) + "\n" for row in rows).encode()
        size = os.fstat(self._descriptor).st_size
        try:
            written = 0
            while written < len(text):
                written += os.write(self._descriptor, text[written:])
            os.fsync(self._descriptor)
        except OSError:
            with suppress(OSError):
                os.ftruncate(self._descriptor, size)
            raise


@contextmanager
def writing(path: Path) -> Iterator[Writing]:
    """Hold the file's lock, mend its end, hand it over. Raises as `read_lines`, and `InputWrong` where it cannot be written."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.with_name(f".{path.name}.lock").open("ab") as lock:
            fcntl.flock(lock.fileno(), fcntl.LOCK_EX)
            new = not path.exists()
            with path.open("a+b") as file:
                if new:
                    _sync_folder(path.parent)
                yield Writing(_mended(path, file.fileno()), file.fileno())
    except OSError as wrong:
        if isinstance(wrong, InputWrong):
            raise
        raise InputWrong(f"{path}: cannot be written ({wrong.strerror}); nothing stored; allowed: a state folder of your own") from None


def _sync_folder(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _mended(path: Path, descriptor: int) -> KeptLines:
    """Read the file and make it end after a whole line: what is damaged is first kept aside."""
    data = path.read_bytes()
    kept = _parsed(path, data)
    if kept.damaged is not None:
        with path.with_name(f"{path.name}.damaged").open("ab") as aside:
            aside.write(data[kept.whole_bytes :].rstrip(b"\n") + b"\n")
            aside.flush()
            os.fsync(aside.fileno())
        os.ftruncate(descriptor, kept.whole_bytes)
    elif data and not data.endswith(b"\n"):
        os.write(descriptor, b"\n")
    return kept


def _no_number(word: str) -> None:
    raise ValueError(f"{word} is no number")


def _parsed(path: Path, data: bytes) -> KeptLines:
    rows: list[Row] = []
    problems: list[Problem] = []
    damaged: str | None = None
    lines = data.split(b"\n")
    if lines[-1] == b"":
        lines.pop()
    position = whole = 0
    for number, line in enumerate(lines, 1):
        position = min(position + len(line) + 1, len(data))
        try:
            value = json.loads(line, parse_constant=_no_number) if line.strip() else None
            if value is not None and not isinstance(value, dict):
                raise ValueError("not an object")
        except (ValueError, RecursionError):
            if number < len(lines):
                problems.append(Problem(str(path), number, "a damaged line", ALLOWED))
                continue
            aside = f"{path.name}.damaged"
            damaged = f"{path}:{number}: the last line is damaged and left out; all before it stands, the next writing keeps it in {aside}"
            break
        whole = position
        if value is not None:
            rows.append(Row(number, value))
    if problems:
        raise FileWrong(problems)
    return KeptLines(tuple(rows), damaged, whole)
