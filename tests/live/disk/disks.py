"""Disks that fail in the ways in which real ones do: power cuts, cards that go, and a clock that stands still for their writers."""

from __future__ import annotations

import errno
import os
import threading
from pathlib import Path

from monitor.live.disk.disk import Disk
from tests.fake_clock import FakeClock


class PowerCutDisk(Disk):
    """Forgets at a power cut what was not synced: bytes of files, and names of files in a folder."""

    def __init__(self) -> None:
        self._paths: dict[int, Path] = {}
        self._synced: dict[Path, bytes] = {}
        self._unnamed: set[Path] = set()

    def create(self, path: Path) -> None:
        """The name is lost at a cut unless the folder is synced."""
        self._unnamed.add(path)
        self._synced[path] = b""
        super().create(path)

    def open(self, path: Path) -> int:
        """What was there before this disk was watched counts as synced."""
        if path.exists():
            self._synced.setdefault(path, path.read_bytes())
        descriptor = super().open(path)
        self._paths[descriptor] = path
        return descriptor

    def sync(self, descriptor: int) -> None:
        """All bytes of this file are safe from now on."""
        super().sync(descriptor)
        path = self._paths[descriptor]
        self._synced[path] = path.read_bytes()

    def sync_folder(self, folder: Path) -> None:
        """All names in this folder are safe from now on."""
        super().sync_folder(folder)
        self._unnamed = {path for path in self._unnamed if path.parent != folder}

    def cut(self) -> None:
        """The power goes."""
        for path in self._unnamed:
            path.unlink()
        for path, content in self._synced.items():
            if path not in self._unnamed:
                path.write_bytes(content)


class Platter:
    """What a power cut leaves of files that were synced through it: the bytes at their last sync, nothing of the others."""

    def __init__(self) -> None:
        self._synced: dict[int, bytes] = {}

    def sync(self, descriptor: int) -> None:
        """All bytes of this file are safe now."""
        self._synced[os.fstat(descriptor).st_ino] = Path(f"/proc/self/fd/{descriptor}").read_bytes()

    def cut(self, path: Path) -> None:
        """The power goes, and this file is what was synced of it."""
        path.write_bytes(self._synced.get(path.stat().st_ino, b""))


class PulledCard(Disk):
    """A card that can be pulled out (`out`). What was open then is dead for ever; what is opened after it came back works."""

    def __init__(self) -> None:
        self.out = False
        self._dead: set[int] = set()

    def open(self, path: Path) -> int:
        """Works only while the card is in."""
        if self.out:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        descriptor = super().open(path)
        self._dead.discard(descriptor)
        return descriptor

    def write(self, descriptor: int, data: memoryview, at: int) -> int:
        """Fails for what was open when the card was pulled."""
        if self.out:
            self._dead.add(descriptor)
        if descriptor in self._dead:
            raise OSError(errno.ENODEV, os.strerror(errno.ENODEV))
        return super().write(descriptor, data, at)


class StandingClock(FakeClock):
    """Time that does not pass while somebody waits for it: only `advance_and_wake` moves it."""

    def __init__(self) -> None:
        super().__init__()
        self.waited_for = threading.Event()
        self._condition: threading.Condition | None = None

    def wait(self, condition: threading.Condition, until_s: float | None) -> None:
        """Until notified."""
        self._condition = condition
        self.waited_for.set()
        condition.wait(5.0)

    def advance_and_wake(self, seconds: float) -> None:
        """Time passes, and whoever waits for it looks at the clock."""
        assert self._condition is not None
        with self._condition:
            self.advance(seconds)
            self._condition.notify_all()
