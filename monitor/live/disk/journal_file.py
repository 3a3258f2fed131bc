"""The journal of a rehearsal: one file, written in order, closed with its reason even when the disk is full.

Live sessions have a writer thread (`monitor.live.disk.journal`); nobody waits for a rehearsal, so it may block. Tests:
tests/cli/test_rehearse.py.
"""

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from monitor.core.errors import InputWrong
from monitor.core.journal.records import encode
from monitor.live.disk.own_files import kind_of


class JournalFile:
    """Writes records to `path`. Raises `InputWrong` where the file cannot be created, or exists and may not be overwritten."""

    def __init__(self, path: Path, overwrite: bool) -> None:
        self.path = path
        try:
            if overwrite and os.path.lexists(path) and not stat.S_ISREG(mode := os.lstat(path).st_mode):
                raise InputWrong(f"{path}: {kind_of(mode)}, which is not overwritten; allowed: another name")
            flags = os.O_WRONLY | os.O_CREAT | os.O_NOFOLLOW | os.O_CLOEXEC
            self._file = open(os.open(path, flags | (os.O_TRUNC if overwrite else os.O_EXCL), 0o666), "wb")  # noqa: PTH123, SIM115
        except FileExistsError:
            raise InputWrong(f"{path}: exists already; allowed: another name, or --overwrite") from None
        except OSError as wrong:
            raise InputWrong(f"{path}: cannot be written ({wrong.strerror}); allowed: a file in a folder that you may write") from None

    def write(self, record: Mapping[str, Any]) -> None:
        """Append one record. Raises OSError when the disk is full."""
        self._file.write(encode(record).encode())

    def finish(self) -> None:
        """Make everything safe on the disk, and close."""
        self._file.flush()
        os.fsync(self._file.fileno())
        self._file.close()

    def close_on_full_disk(self, closing: Mapping[str, Any]) -> str:
        """The disk is full: keep as many whole records as leave room for `closing`, numbered on. Returns what was done, in words."""
        fd = os.open(self.path, os.O_RDWR | os.O_NOFOLLOW | os.O_CLOEXEC)
        try:
            self._file.raw.close() if hasattr(self._file, "raw") else None
        except OSError as wrong:
            if wrong.errno != errno.ENOSPC:
                raise
        try:
            kept = os.pread(fd, os.fstat(fd).st_size, 0)
            lines = kept[: kept.rfind(b"\n") + 1].splitlines(keepends=True)
            while lines:
                last = encode({**closing, "seq": len(lines) + 1}).encode()
                os.ftruncate(fd, sum(map(len, lines)))
                try:
                    os.pwrite(fd, last, sum(map(len, lines)))
                    os.fsync(fd)
                    return f"{len(lines) + 1} records kept, closed with the reason"
                except OSError as wrong:
                    if wrong.errno != errno.ENOSPC:
                        raise
                    del lines[-max(1, len(last) // 80) :]
            return "nothing could be kept"
        finally:
            os.close(fd)
