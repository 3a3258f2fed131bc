"""Watches what may block, in a thread of its own: free space on the state's disk, and the board's word on its power supply.

Looks every ten seconds and puts what it found into the inbox; a card that hangs holds up this thread and no other. Tests:
tests/live/station/test_keeper.py.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from pathlib import Path

from monitor.live.clock import Clock
from monitor.live.inbox import MachineHealth, Message

EVERY_S = 10.0
THROTTLED = Path("/sys/devices/platform/soc/soc:firmware/get_throttled")
"""The firmware's word on under-voltage and throttling, hexadecimal, 0 if all is well (from memory, not verified)."""


def look(state: Path, throttled_word: Path = THROTTLED) -> MachineHealth:
    """Look at both now."""
    try:
        disk = os.statvfs(state)
        free: int | None = disk.f_bavail * disk.f_frsize
    except OSError:
        free = None
    try:
        throttled: int | None = int(throttled_word.read_text(encoding="ascii").strip(), 16)
    except (OSError, ValueError):
        throttled = None
    return MachineHealth(free, throttled)


class Keeper:
    """The thread that looks."""

    def __init__(self, clock: Clock, state: Path, post: Callable[[Message], None]) -> None:
        self._clock = clock
        self._state = state
        self._post = post
        self._condition = threading.Condition()
        self._ending = False

    def start(self) -> None:
        """Run until `stop`."""
        threading.Thread(target=self._run, name="keeper", daemon=True).start()

    def stop(self) -> None:
        """End; does not wait for a disk that hangs."""
        with self._condition:
            self._ending = True
            self._condition.notify_all()

    def _run(self) -> None:
        while not self._ending:
            self._post(look(self._state))
            until_s = self._clock.mono_s() + EVERY_S
            with self._condition:
                while not self._ending and self._clock.mono_s() < until_s:
                    self._clock.wait(self._condition, until_s)
