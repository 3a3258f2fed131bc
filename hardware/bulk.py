"""One conversion for all probes of a bus, through the kernel's `therm_bulk_read` where it has that and this user may write it.

The kernel holds its bus through each probe's conversion, so that five probes read one by one are four to seven seconds old (own
measurement on a virtual board); after one conversion for all, each is read in some hundredths of a second. Decides who starts the next
conversion: the first reader that has had its value of the last. Where it cannot be done, each probe is read by itself as ever. Not tried
on a real bus. Tests: tests/hardware/test_bulk.py.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from pathlib import Path

FILES = "w1_bus_master*/therm_bulk_read"
FRESH_S = 0.5
"""A conversion that ended longer ago is not read any more: the next one is begun."""
AGAIN_S = 60.0
"""Where it did not work it is tried again after this."""
LONGEST_WAIT_S = 3.0
"""The longest wait for a conversion that another reader has begun; it takes 0.75 s (DS18B20 data sheet, 12 bit)."""

Span = tuple[float, float]


def trigger(file: Path) -> None:
    """Begin a conversion on one bus; returns when it is over. Raises OSError."""
    descriptor = os.open(file, os.O_WRONLY | os.O_CLOEXEC)
    try:
        os.write(descriptor, b"trigger\n")
    finally:
        os.close(descriptor)


class BulkConversion:
    """The conversions of the buses below `base`. Any number of threads may ask."""

    def __init__(self, base: Path, clock: Callable[[], float], begin: Callable[[Path], None] = trigger) -> None:
        self._base = base
        self._clock = clock
        self._begin = begin
        self._condition = threading.Condition()
        self._converting = False
        self._span: Span | None = None
        self._taken: set[str] = set()
        self._off_until_s = -1e9
        self._begun = 0
        self._read: dict[str, int] = {}

    def conversion(self, probe_id: str) -> Span | None:
        """When the conversion began and ended whose value this probe holds now; waits for it. None: read the probe by itself."""
        with self._condition:
            if self._clock() < self._off_until_s:
                return None
            while self._converting:
                if not self._condition.wait(LONGEST_WAIT_S):
                    return None
            if self._span is not None and probe_id not in self._taken and self._clock() - self._span[1] <= FRESH_S:
                return self._take(probe_id, self._span)
            self._converting = True
        begin_s, done = self._clock(), False
        try:
            done = self._convert()
        finally:
            with self._condition:
                end_s = self._clock()
                self._converting = False
                self._span = (begin_s, end_s) if done else None
                self._taken.clear()
                if done:
                    self._begun += 1
                else:
                    self._off_until_s = end_s + AGAIN_S
                self._condition.notify_all()
                if self._span is not None:
                    self._take(probe_id, self._span)
        return (begin_s, end_s) if done else None

    def holds_an_old_value(self, probe_id: str) -> bool:
        """Whether the next read of this probe alone would bring the value of a conversion that it was not read after. Said once."""
        with self._condition:
            old = self._read.get(probe_id, 0) < self._begun
            self._read[probe_id] = self._begun
            return old

    def _take(self, probe_id: str, span: Span) -> Span:
        self._taken.add(probe_id)
        self._read[probe_id] = self._begun
        return span

    def _convert(self) -> bool:
        """On all buses. False where there is none that this user may begin one on."""
        files = [file for file in sorted(self._base.glob(FILES)) if os.access(file, os.W_OK)]
        try:
            for file in files:
                self._begin(file)
        except OSError:
            return False
        return bool(files)
