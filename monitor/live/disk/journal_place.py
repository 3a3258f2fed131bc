"""The place of a running journal: its path must lead to a file that holds every record of the session, whatever others do to it.

Decides what is done when the file was deleted, moved, replaced or edited meanwhile: what was written is kept in memory too, so a
file that holds a part of it is completed, and any other that stands there is called otherwise and left as it is, while the journal is
written anew. Somebody else's file is never written to. When to write is decided in monitor.live.disk.journal, whose thread
alone comes here. Tests: tests/live/disk/test_disturbed.py, tests/live/disk/test_journal.py.
"""

from __future__ import annotations

import contextlib
import errno
import os
import stat
from collections.abc import Callable, Iterator
from itertools import chain
from pathlib import Path

from monitor.live.disk.disk import Disk
from monitor.live.disk.own_files import BLOCK_BYTES, kind_of, open_regular, rename_aside
from monitor.live.disk.packed import BLOCK_BYTES as PACKED_BLOCK_BYTES
from monitor.live.disk.packed import PackedBytes
from monitor.live.disk.whole_lines import end_of_whole_lines

TRIES = 3
"""So often a write is tried against somebody who writes into the same file; then it is tried again a second later."""

Seen = tuple[int, int, int, int]
"""Device, inode, size and moment of the last change: what tells a file that only we wrote to from any other."""


class JournalPlace:
    """`safe_bytes`: the length of what is safe on the disk. `tell` is called with a line once a disturbance has been put right.

    `given_up`: nothing is put right any more.
    """

    def __init__(self, path: Path, disk: Disk, tell: Callable[[str], None]) -> None:
        self._path = path
        self._disk = disk
        self._tell = tell
        self._copy: PackedBytes | None = None
        self._descriptor: int | None = None
        self._seen: Seen | None = None
        self._what = ""
        self._next_block = 0
        self.given_up = False
        self.safe_bytes = _whole_bytes(path)

    def write(self, rest: bytes) -> None:
        """Write behind what is safe, wherever an earlier attempt stopped, and make it safe. Raises OSError."""
        copy = self._copy if self._copy is not None else self._read_copy()
        self._open(rest)
        for _ in range(TRIES):
            self.look(rest)
            assert self._descriptor is not None
            self._put(self._descriptor, rest, self.safe_bytes)
            wrote = _seen_of(os.fstat(self._descriptor))
            self._disk.sync(self._descriptor)
            seen, there, length = _seen_of(os.fstat(self._descriptor)), _seen(self._path), self.safe_bytes + len(rest)
            if there is None or there[:2] != seen[:2] or (self._is_file() and (seen != wrote or seen[2] != length or not self._sound())):
                self._mend(rest)
                if self._seen is None or self._seen[2] != length:
                    continue
                seen = self._seen
            self._seen = seen
            copy.add(rest)
            self.safe_bytes = length
            return
        raise OSError(errno.EBUSY, "somebody else writes into the journal")

    def look(self, rest: bytes = b"") -> None:
        """Notice what others did to the file, and put it right. `rest`: what may stand there behind what is safe. Raises OSError."""
        if self._seen is None or (self._descriptor is None and rest):
            return
        if _seen(self._path) != self._seen or not self._sound():
            self._mend(rest)

    def _sound(self) -> bool:
        """Whether the end of the file and one older block, in turn, are what was written: two hands at the same moment, a tick of the
        kernel's clock, leave no other trace."""
        if self._descriptor is None or self._copy is None or not self._is_file():
            return True
        self._next_block = (self._next_block + 1) % self._copy.blocks
        return all(self._block_is_sound(self._copy, n) for n in {self._next_block, max(0, self._copy.blocks - 2), self._copy.blocks - 1})

    def _block_is_sound(self, copy: PackedBytes, number: int) -> bool:
        assert self._descriptor is not None
        at = number * PACKED_BLOCK_BYTES
        return copy.agrees(number, os.pread(self._descriptor, min(PACKED_BLOCK_BYTES, copy.length - at), at))

    def close(self) -> None:
        """Close the file; what is in it is remembered, so that a change is noticed when it is opened again."""
        if self._descriptor is None:
            return
        descriptor, self._descriptor = self._descriptor, None
        with contextlib.suppress(OSError):  # the same card; what was not safe is still in memory
            if self._seen is not None and self._seen[:2] == _seen_of(os.fstat(descriptor))[:2]:
                self._seen = _seen_of(os.fstat(descriptor))
        with contextlib.suppress(OSError):
            os.close(descriptor)

    def remove(self) -> None:
        """Remove the file, if it is ours."""
        with contextlib.suppress(OSError):
            if self._seen is None or (_seen(self._path) or ())[:2] == self._seen[:2]:
                self._path.unlink()

    def _is_file(self) -> bool:
        assert self._descriptor is not None
        return stat.S_ISREG(os.fstat(self._descriptor).st_mode)

    def _read_copy(self) -> PackedBytes:
        """What an earlier life of the session wrote."""
        copy = PackedBytes()
        if self.safe_bytes:
            descriptor = open_regular(self._path)
            try:
                while copy.length < self.safe_bytes:
                    block = os.pread(descriptor, min(BLOCK_BYTES, self.safe_bytes - copy.length), copy.length)
                    if not block:
                        raise OSError(errno.EIO, "shorter than it was")
                    copy.add(block)
            finally:
                os.close(descriptor)
        self._copy = copy
        return copy

    def _open(self, rest: bytes) -> None:
        if self._descriptor is not None:
            return
        if self._seen is not None and _seen(self._path) != self._seen:
            self._mend(rest)
            return
        self._descriptor = self._disk.open(self._path)
        if self._seen is None:
            seen = _seen_of(os.fstat(self._descriptor))
            self._seen = seen
            if seen[2] != self.safe_bytes and self._is_file():
                self._mend(rest)

    def _put(self, descriptor: int, data: bytes, at: int) -> None:
        view = memoryview(data)
        while view:
            count = self._disk.write(descriptor, view, at)
            if count <= 0:
                raise OSError(errno.EIO, "the disk takes nothing")
            at, view = at + count, view[count:]

    def _mend(self, rest: bytes) -> None:
        """Make the path lead to a file that holds all that is safe, and tell what was wrong."""
        assert self._copy is not None
        if self.given_up:
            raise OSError(errno.ECANCELED, "given up")
        self.close()
        before, there = self._seen, _seen(self._path)
        descriptor, begin = None, None
        if there is None:
            self._what = self._what or "was deleted or moved away"
            self._path.parent.mkdir(mode=0o750, parents=True, exist_ok=True)
        else:
            descriptor, begin = self._agreeing(rest)
            if begin is None:
                kind = kind_of(os.lstat(self._path).st_mode)
                aside = rename_aside(self._path, "changed")
                self._what = f"was changed by somebody else, whose version ({kind}) is called {aside.name} now"
            elif before is None or there[:2] != before[:2] or begin < self.safe_bytes:
                self._what = self._what or "was replaced or cut short"
        if descriptor is None:
            descriptor, begin = self._disk.open(self._path), 0
        try:
            at = 0
            for piece in self._copy.pieces():
                if at + len(piece) > (begin or 0):
                    self._put(descriptor, piece, at)
                at += len(piece)
            self._disk.sync(descriptor)
            self._disk.sync_folder(self._path.parent)
        except OSError:
            os.close(descriptor)
            raise
        self._descriptor, self._seen = descriptor, _seen_of(os.fstat(descriptor))
        if self._what:
            what, self._what = self._what, ""
            self._tell(f"{self._path}: {what}; every record stands in it again")

    def _agreeing(self, rest: bytes) -> tuple[int | None, int | None]:
        """The file that stands there, open, and its length, if it is the beginning of what we wrote; (None, None) for any other."""
        if not stat.S_ISREG(os.lstat(self._path).st_mode):
            return None, None
        try:
            descriptor = self._disk.open(self._path)
        except PermissionError:
            return None, None
        size, at = os.fstat(descriptor).st_size, 0
        for piece in self._all(rest):
            piece = piece[: size - at]
            if os.pread(descriptor, len(piece), at) != piece:
                break
            at += len(piece)
            if at == size:
                return descriptor, size
        if size == 0:
            return descriptor, 0
        os.close(descriptor)
        return None, None

    def _all(self, rest: bytes) -> Iterator[bytes]:
        assert self._copy is not None
        return chain(self._copy.pieces(), (rest,))


def _whole_bytes(path: Path) -> int:
    size = path.stat().st_size
    if not size:
        return 0
    descriptor = open_regular(path)
    try:
        return end_of_whole_lines(descriptor, size)
    finally:
        os.close(descriptor)


def _seen(path: Path) -> Seen | None:
    """How a path looks, links not followed; None if nothing stands there."""
    try:
        return _seen_of(os.lstat(path))
    except (FileNotFoundError, NotADirectoryError):
        return None


def _seen_of(status: os.stat_result) -> Seen:
    return status.st_dev, status.st_ino, status.st_size, status.st_mtime_ns
