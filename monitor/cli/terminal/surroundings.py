"""What a follower asks of the machine: the station's socket, the keyboard, the clock, the journals. The seam of its tests.

Decides that a screen is a light and a pipe is none. Tests: tests/cli/test_develop.py, tests/cli/terminal/test_following.py.
"""

from __future__ import annotations

import os
import select
import sys
from collections.abc import Iterator, Mapping
from contextlib import AbstractContextManager
from typing import TYPE_CHECKING, Any, Protocol

from monitor.cli.terminal.keyboard import raw_keyboard

if TYPE_CHECKING:
    from monitor.live.station.control import StationLink
    from monitor.live.station.station_file import StationConfig

ANSWERS_S = 2.0
"""Whoever follows waits no longer for an answer: the screen must not stand still."""


class Link(Protocol):
    """A connection to the station (monitor.live.station.control.StationLink)."""

    @property
    def pending(self) -> bool:
        """Whether a whole object has arrived already."""

    def ask(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """A request and its answer."""

    def send(self, request: Mapping[str, Any]) -> None:
        """A request whose answer comes among the events."""

    def receive(self) -> dict[str, Any]:
        """The next object."""

    def close(self) -> None:
        """Hang up."""


class Surroundings(Protocol):
    """See the module. `screen`: what is written can be seen in the room. `keyboard`: there are keys. `journals`: the folder's name."""

    screen: bool
    keyboard: bool

    def connect(self) -> Link:
        """A new connection. Raises `NotThere`."""

    def wait(self, link: Link | None, seconds: float) -> tuple[bool, bytes]:
        """Until the station has said something, keys were pressed or the time is over: whether it has, and the keys."""

    def now_s(self) -> float:
        """Monotonic, s."""

    def time_of_day(self) -> str:
        """Such as 21:04:07, where the clock on the wall hangs."""

    def journal(self, session: str) -> str:
        """The path of a session's journal."""

    def records_after(self, session: str, seq: int) -> Iterator[dict[str, Any]]:
        """What stands in its journal after this record. Raises OSError."""

    def keys_one_by_one(self) -> AbstractContextManager[None]:
        """While a session is followed."""

    def write(self, text: str) -> None:
        """On the screen, at once."""


class RealSurroundings:
    """The real ones."""

    def __init__(self, config: StationConfig) -> None:
        from monitor.live.clock import RealClock

        self._config = config
        self._clock = RealClock()
        self.screen = sys.stdout.isatty()
        self.keyboard = self.screen and sys.stdin.isatty()

    def connect(self) -> StationLink:
        """As `Surroundings`."""
        from monitor.live.station.control import StationLink

        return StationLink(self._config.state, ANSWERS_S)

    def wait(self, link: Link | None, seconds: float) -> tuple[bool, bytes]:
        """As `Surroundings`; a keyboard that is gone is not listened to any more."""
        ends: list[Any] = ([] if link is None else [link]) + ([sys.stdin] if self.keyboard else [])
        ready, _, _ = select.select(ends, [], [], seconds)
        keys = os.read(sys.stdin.fileno(), 64) if sys.stdin in ready else b""
        if sys.stdin in ready and not keys:
            self.keyboard = False
        return link is not None and link in ready, keys

    def now_s(self) -> float:
        """As `Surroundings`."""
        return self._clock.mono_s()

    def time_of_day(self) -> str:
        """As `Surroundings`."""
        return self._clock.wall().astimezone().strftime("%H:%M:%S")

    def journal(self, session: str) -> str:
        """As `Surroundings`."""
        return str(self._config.journals / f"{session}.jsonl")

    def records_after(self, session: str, seq: int) -> Iterator[dict[str, Any]]:
        """As `Surroundings`."""
        from monitor.live.disk.journal_tail import records_after

        return records_after(self._config.journals / f"{session}.jsonl", seq)

    def keys_one_by_one(self) -> AbstractContextManager[None]:
        """As `Surroundings`."""
        return raw_keyboard(self.keyboard)

    def write(self, text: str) -> None:
        """As `Surroundings`."""
        sys.stdout.write(text)
        sys.stdout.flush()
