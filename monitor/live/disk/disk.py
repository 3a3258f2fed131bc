"""What a journal asks of the operating system. Tests: tests/live/disk/test_journal.py; disks that fail: tests/live/disk/disks.py."""

from __future__ import annotations

import os
from pathlib import Path


class Disk:
    """What a journal asks of the operating system; tests replace it by disks that fail on purpose. All methods raise OSError."""

    def create(self, path: Path) -> None:
        """Create an empty file and make its name safe too, so that it is still there after a power cut. Raises FileExistsError."""
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o640))
        self.sync_folder(path.parent)

    def open(self, path: Path) -> int:
        """Open for writing; returns a descriptor."""
        return os.open(path, os.O_WRONLY | os.O_CREAT | os.O_CLOEXEC, 0o640)

    def write(self, descriptor: int, data: memoryview, at: int) -> int:
        """Write bytes at an offset; returns how many were written."""
        return os.pwrite(descriptor, data, at)

    def sync(self, descriptor: int) -> None:
        """Make what was written safe."""
        os.fdatasync(descriptor)

    def sync_folder(self, folder: Path) -> None:
        """Make the names in a folder safe."""
        descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
