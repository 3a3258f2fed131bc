"""A file of JSON objects, one per line, that is only ever appended to: safe against several shells writing and against power cuts.

A writer holds a lock from reading to the end of writing; what was written is on the disk when the call returns; a damaged
last line is copied to FILE.damaged and cut off before the next line is written; a damaged line anywhere else is refused with
file and line. A symbolic link is never followed, neither the file nor its folder. What the lines mean is not its business.
Tests: tests/prepare/state/test_kept_lines.py.
"""

from __future__ import annotations

import fcntl
import json
import os
import stat
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from monitor.core.errors import FileWrong, KeptWrong, Problem

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
    """All rows; none if there is no file. Raises `FileWrong` for damaged lines before the last, `KeptWrong` where it cannot be read."""
    try:
        with _own_folder(path.parent) as folder, _own_file(folder, path, os.O_RDONLY) as descriptor:
            return _parsed(path, _content(descriptor))
    except FileNotFoundError:
        return KeptLines((), None, 0)
    except OSError as wrong:
        raise KeptWrong(f"{path}: cannot be read ({wrong.strerror}); allowed: a state folder of your own") from None


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
    """Lock the file, repair its end and hand it over. Raises as `read_lines`, and `KeptWrong` if it cannot be written."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with _own_folder(path.parent) as folder:
            _refuse_special(folder, path)
            with _own_file(folder, path.with_name(f".{path.name}.lock"), os.O_RDWR | os.O_CREAT) as lock:
                fcntl.flock(lock, fcntl.LOCK_EX)
                new = not path.exists()
                with _own_file(folder, path, os.O_RDWR | os.O_CREAT | os.O_APPEND) as descriptor:
                    if os.fstat(descriptor).st_nlink > 1:
                        raise KeptWrong(f"{path}: has a second name (a hard link); nothing was stored; allowed: a file of its own")
                    if new:
                        os.fsync(folder)
                    yield Writing(_mended(path, folder, descriptor), descriptor)
    except OSError as wrong:
        raise KeptWrong(f"{path}: cannot be written ({wrong.strerror}); nothing was stored; allowed: a state folder of your own") from None


@contextmanager
def _own_folder(path: Path) -> Iterator[int]:
    """The folder, opened; a link in its place is not followed. Raises OSError, `KeptWrong` for a link."""
    if path.is_symlink():
        raise KeptWrong(f"{path}: a symbolic link, which is not followed; allowed: a state folder of your own")
    descriptor = os.open(path, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW | os.O_CLOEXEC)
    try:
        yield descriptor
    finally:
        os.close(descriptor)


@contextmanager
def _own_file(folder: int, path: Path, flags: int) -> Iterator[int]:
    """A regular file in this folder, opened; a link in its place is not followed and a FIFO not waited for.

    Raises OSError, `KeptWrong` for what is no file.
    """
    _refuse_special(folder, path)
    descriptor = os.open(path.name, flags | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC, 0o666, dir_fd=folder)
    try:
        yield descriptor
    finally:
        os.close(descriptor)


def _refuse_special(folder: int, path: Path) -> None:
    """Raise `KeptWrong` where something stands there that is no file: a FIFO would be waited for, a link leads to what is not ours."""
    try:
        mode = os.stat(path.name, dir_fd=folder, follow_symlinks=False).st_mode
    except FileNotFoundError:
        return
    if stat.S_ISLNK(mode):
        raise KeptWrong(f"{path}: a symbolic link, which is not followed; allowed: a state folder of your own")
    if not stat.S_ISREG(mode):
        raise KeptWrong(f"{path}: not a file; allowed: a state folder of your own")


def _content(descriptor: int) -> bytes:
    with open(descriptor, "rb", closefd=False) as file:
        file.seek(0)
        return file.read()


def _mended(path: Path, folder: int, descriptor: int) -> KeptLines:
    """Make the file end with a whole line; a damaged end is copied aside first."""
    data = _content(descriptor)
    kept = _parsed(path, data)
    if kept.damaged is not None:
        with _own_file(folder, path.with_name(f"{path.name}.damaged"), os.O_WRONLY | os.O_CREAT | os.O_APPEND) as aside:
            with open(aside, "ab", closefd=False) as file:
                file.write(data[kept.whole_bytes :].rstrip(b"\n") + b"\n")
            os.fsync(aside)
        os.fsync(folder)
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
