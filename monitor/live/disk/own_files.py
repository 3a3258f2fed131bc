"""Which files are ours. Only those are ever written to, cut or closed; everything else in our folders is somebody else's.

Decides that a symbolic link is never followed, that a folder, FIFO or device is no journal, and that a journal is ours by its name
and its first record alone. What is cut off a file is copied beside it first. Tests: tests/live/disk/test_own_files.py.
"""

from __future__ import annotations

import errno
import json
import os
import stat
from pathlib import Path

from monitor.core.journal.check import LONGEST_LINE
from monitor.live.broker import SESSION

PRIVATE = 0o640
"""Files of ours: written by their owner, read by the group, whatever the umask allows."""
JUDGEMENT = ".judgement"
BLOCK_BYTES = 1 << 18


def kind_of(mode: int) -> str:
    """What a path is, in words, by its `st_mode`."""
    kinds = ((stat.S_ISREG, "a file"), (stat.S_ISDIR, "a folder"), (stat.S_ISLNK, "a symbolic link"), (stat.S_ISFIFO, "a FIFO"))
    return next((words for test, words in kinds if test(mode)), "a socket" if stat.S_ISSOCK(mode) else "a device")


def open_regular(path: Path, flags: int = os.O_RDONLY) -> int:
    """Open a regular file that is there; never waits, never follows a link in the last part of the path.

    Raises FileNotFoundError, and OSError with words for what is no regular file.
    """
    mode = os.lstat(path).st_mode
    if not stat.S_ISREG(mode):
        raise OSError(errno.EINVAL, f"{kind_of(mode)}, not a file")
    descriptor = os.open(path, flags | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
    if not stat.S_ISREG(os.fstat(descriptor).st_mode):
        os.close(descriptor)
        raise OSError(errno.EINVAL, "not a file")
    return descriptor


def is_session_name(name: str) -> bool:
    """Whether a journal may be called so: a session's id, and not the judgement of one."""
    return SESSION.fullmatch(name) is not None and not name.endswith(JUDGEMENT)


def first_line(descriptor: int) -> bytes:
    """The first line with its newline; all there is, where there is no newline, and at most one byte more than a record may have."""
    head = os.pread(descriptor, 1 << 14, 0)
    if b"\n" not in head:
        head = os.pread(descriptor, LONGEST_LINE + 1, 0)
    return head[: head.find(b"\n") + 1] or head


def opens(line: bytes, session: str) -> bool:
    """Whether this is the first record of this session."""
    try:
        record = json.loads(line) if line.endswith(b"\n") else None
    except (ValueError, RecursionError):
        return False
    if not isinstance(record, dict) or record.get("session") != session:
        return False
    return record.get("kind") == "session" and record.get("event") == "open" and record.get("seq") == 1


def torn_opening(rest: bytes, session: str) -> bool:
    """Whether these bytes, all that a file has, can be the beginning of this session's first record as we write it."""
    head = f'{{"seq":1,"session":"{session}",'.encode()
    return b"\n" not in rest and (rest.startswith(head) or head.startswith(rest))


def copy_aside(descriptor: int, begin: int, end: int, path: Path, word: str) -> Path:
    """Copy bytes of an open file to a new file beside `path`, called PATH.WORD-1, -2 ..., safe on the disk when this returns.

    Raises OSError; then nothing may be cut.
    """
    number = 1
    while True:
        aside = path.with_name(f"{path.name}.{word}-{number}")
        try:
            copy = os.open(aside, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW | os.O_CLOEXEC, PRIVATE)
            break
        except FileExistsError:
            number += 1
    try:
        while begin < end and (block := os.pread(descriptor, min(BLOCK_BYTES, end - begin), begin)):
            write_all(copy, block)
            begin += len(block)
        os.fsync(copy)
    except OSError:
        aside.unlink(missing_ok=True)
        raise
    finally:
        os.close(copy)
    sync_folder(path.parent)
    return aside


def rename_aside(path: Path, word: str) -> Path:
    """Give what stands at `path` a free name beside it, PATH.WORD-1, -2 ..., which is returned. Raises OSError."""
    number = 1
    while os.path.lexists(aside := path.with_name(f"{path.name}.{word}-{number}")):
        number += 1
    return path.rename(aside)


def write_all(descriptor: int, data: bytes) -> None:
    """Write all of it. Raises OSError."""
    while data:
        count = os.write(descriptor, data)
        if count <= 0:
            raise OSError(errno.EIO, "the disk takes nothing")
        data = data[count:]


def sync_folder(folder: Path) -> None:
    """Make the names in a folder safe on the disk. Raises OSError."""
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
