"""What a journal asks of the operating system. Tests: tests/live/disk/test_journal.py; disks that fail: tests/live/disk/disks.py."""

from __future__ import annotations

import os
from pathlib import Path

from monitor.live.disk.own_files import PRIVATE, sync_folder


class Disk:
    """What a journal asks of the operating system; tests replace it by disks that fail on purpose. All methods raise OSError."""

    def create(self, path: Path) -> None:
        """Create an empty file and make its name safe too, so that it is still there after a power cut. Raises FileExistsError."""
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, PRIVATE))
        self.sync_folder(path.parent)

    def open(self, path: Path) -> int:
        """Open for reading and writing, and create it if it is not there; returns a descriptor. Follows no link and waits for no FIFO."""
        return os.open(path, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC, PRIVATE)

    def write(self, descriptor: int, data: memoryview, at: int) -> int:
        """Write bytes at an offset; returns how many were written."""
        return os.pwrite(descriptor, data, at)

    def sync(self, descriptor: int) -> None:
        """Make what was written safe."""
        os.fdatasync(descriptor)

    def sync_folder(self, folder: Path) -> None:
        """Make the names in a folder safe."""
        sync_folder(folder)
