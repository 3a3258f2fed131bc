"""A file of JSON objects, one per line, that is only ever appended to: safe against several shells writing and against power cuts.

A writer holds a lock from reading to the end of writing; what was written is on the disk when the call returns; a damaged
last line is copied to FILE.damaged and cut off before the next line is written; a damaged line anywhere else is refused with
file and line. What the lines mean is not its business.
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
    """One line: its 1-based number in the file, and the object on it."""

    line: int
    data: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class KeptLines:
    """A file's rows. `damaged`: a sentence about a last line that was left out; None if the file is whole.

    `whole_bytes`: length of the sound part of the file.
    """

    rows: tuple[Row, ...]
    damaged: str | None
    whole_bytes: int


def read_lines(path: Path) -> KeptLines:
    """All rows; none if there is no file. Raises `FileWrong` for damaged lines before the last, `InputWrong` where it cannot be read."""
    try:
        _refuse_special(path)
        return _parsed(path, path.read_bytes())
    except FileNotFoundError:
        return KeptLines((), None, 0)
    except OSError as wrong:
        raise InputWrong(f"{path}: cannot be read ({wrong.strerror}); allowed: a state folder of your own") from None


@dataclass(frozen=True, slots=True)
class Writing:
    """A file that is locked for writing: its content, and how to add to it."""

    kept: KeptLines
    _descriptor: int

    def append(self, *rows: Mapping[str, Any]) -> None:
        """Write these rows, all or none, and wait until they are on the disk. Raises OSError, and leaves the file as it was."""
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
    """Lock the file, repair its end and hand it over. Raises as `read_lines`, and `InputWrong` if it cannot be written."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        _refuse_special(path)
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
        raise InputWrong(f"{path}: cannot be written ({wrong.strerror}); nothing was stored; allowed: a state folder of your own") from None


def _refuse_special(path: Path) -> None:
    """Raise `InputWrong` where something stands there that is no file: a FIFO would be waited for."""
    if path.exists() and not path.is_file():
        raise InputWrong(f"{path}: not a file; allowed: a state folder of your own")


def _sync_folder(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _mended(path: Path, descriptor: int) -> KeptLines:
    """Read the file and make it end with a whole line; a damaged end is copied aside first."""
    data = path.read_bytes()
    kept = _parsed(path, data)
    if kept.damaged is not None:
        with path.with_name(f"{path.name}.damaged").open("ab") as aside:
            aside.write(data[kept.whole_bytes :].rstrip(b"\n") + b"\n")
            aside.flush()
            os.fsync(aside.fileno())
        _sync_folder(path.parent)
        os.ftruncate(descriptor, kept.whole_bytes)
    elif data and not data.endswith(b"\n"):
        os.write(descriptor, b"\n")
    return kept


def _no_number(word: str) -> None:
    raise ValueError(f"{word} is not a number")


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
            damaged = f"{path}:{number}: the last line is damaged and was left out; the next write moves it to {aside}"
            break
        whole = position
        if value is not None:
            rows.append(Row(number, value))
    if problems:
        raise FileWrong(problems)
    return KeptLines(tuple(rows), damaged, whole)
