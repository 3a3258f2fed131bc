"""What the station's threads leave for the publisher's thread: numbers and newest values, behind a lock never held during I/O.

Tests: tests/live/telemetry/test_mqtt.py.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

MOST_PROBES = 32


@dataclass(frozen=True, slots=True)
class Delivery:
    """What was left since the last time. `progress`: that of each vessel whose is news, under None that of the station; None as a value
    means that a session closed."""

    safe: Mapping[str, int]
    probes: Mapping[str, Mapping[str, Any]]
    progress: Mapping[str | None, Mapping[str, Any] | None]
    stop: bool


class Mailbox:
    """Every method may be called from any thread; none blocks or raises."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._safe: dict[str, int] = {}
        self._probes: dict[str, Mapping[str, Any]] = {}
        self._names: set[str] = set()
        self._progress: dict[str | None, Mapping[str, Any] | None] = {}
        self._stop = False

    def safe(self, session: str, offset: int) -> None:
        """This journal is safe on the disk up to byte `offset`."""
        with self._lock:
            self._safe[session] = offset

    def probe(self, name: str, payload: Mapping[str, Any]) -> None:
        """The newest reading of a probe; an older one that was not taken yet is replaced."""
        with self._lock:
            if name in self._names or len(self._names) < MOST_PROBES:
                self._names.add(name)
                self._probes[name] = payload

    def progress(self, payload: Mapping[str, Any] | None, vessel: str | None = None) -> None:
        """The newest progress, of the film in this vessel where one is named; None when a session closes."""
        with self._lock:
            if vessel in self._progress or len(self._progress) < MOST_PROBES:
                self._progress[vessel] = payload

    def stop(self) -> None:
        """The station wants to end; said by every delivery from now on."""
        with self._lock:
            self._stop = True

    @property
    def stopping(self) -> bool:
        """Whether the station wants to end."""
        return self._stop

    def take(self) -> Delivery:
        """Everything left since the last time."""
        with self._lock:
            taken = Delivery(self._safe, self._probes, self._progress, self._stop)
            self._safe, self._probes, self._progress = {}, {}, {}
        return taken
