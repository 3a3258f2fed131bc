"""The station's inbox: the only way in which another thread reaches the thread that owns the state.

`put` never blocks and never fails, whoever calls it: any thread, a pin's callback, a signal handler. Messages are frozen values
that say what happened and when, and nothing more. Tests: tests/live/test_inbox.py.
"""

from __future__ import annotations

import queue
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from hardware.ports import Sample
from monitor.core.probes.learned import Learned
from monitor.core.session.sounds import Sound

Reply = Callable[[Mapping[str, Any]], None]


@dataclass(frozen=True, slots=True)
class Edge:
    """A raw edge of a foot switch, bounces included. `switch`: 2 is the second vessel's own."""

    mono_s: float
    down: bool
    switch: Literal[1, 2] = 1


@dataclass(frozen=True, slots=True)
class Sampled:
    """One attempt to read one probe. `arrived_s`: when it ended, monotonic."""

    probe: str
    sample: Sample
    arrived_s: float


@dataclass(frozen=True, slots=True)
class Sounded:
    """A sound began, at `onset_s` of session time. `generation` tells from which start of the player."""

    generation: int
    sound: Sound
    onset_s: float


@dataclass(frozen=True, slots=True)
class Unsounded:
    """A sound that will not be heard: another one took its place, or the sounder failed."""

    generation: int
    sound: Sound


@dataclass(frozen=True, slots=True)
class Trouble:
    """A part of the station failed, or works again. `part` is a word such as `disk` or `sounder`."""

    part: str
    well: bool
    why: str


@dataclass(frozen=True, slots=True)
class Relearned:
    """What was learned of probes and vessels, where it is not what it was."""

    learned: Learned


@dataclass(frozen=True, slots=True)
class MachineHealth:
    """What the keeper found: free bytes on the state folder's disk (None if the disk does not answer) and the board's throttling word."""

    free_bytes: int | None
    throttled: int | None


@dataclass(frozen=True, slots=True)
class Request:
    """A line received on the control socket, and how to answer it. `line`: the number of the connection."""

    line: int
    body: Mapping[str, Any]
    reply: Reply


@dataclass(frozen=True, slots=True)
class HungUp:
    """A connection to the control socket was closed."""

    line: int


@dataclass(frozen=True, slots=True)
class Stop:
    """The station is asked to end. A running session gets no `close`."""

    why: Literal["signal", "keyboard", "test"] = "signal"


Message = Edge | Sampled | Sounded | Unsounded | Trouble | MachineHealth | Relearned | Request | HungUp | Stop


MOST = 50_000
"""More messages than this wait only where nobody takes them out any more: a switch that chatters sends some thousands a second."""
PATIENCE = 50
"""So many others come before a request of the control socket at most: it waits for hands and probes, but not for ever."""


class Inbox:
    """First in, first out; requests of the control socket wait for everything else. `lost`: messages that found no room.

    A `SimpleQueue` is the bell, because its `put` is reentrant: a signal handler may interrupt a `put`.
    """

    def __init__(self) -> None:
        self._bell: queue.SimpleQueue[None] = queue.SimpleQueue()
        self._first: deque[Message] = deque()
        self._later: deque[Message] = deque()
        self._passed = 0
        self.lost = 0

    def put(self, message: Message) -> None:
        """Never blocks."""
        waiting = self._later if isinstance(message, (Request, HungUp)) else self._first
        if len(waiting) >= MOST and not isinstance(message, Stop):
            self.lost += 1
            return
        waiting.append(message)
        self._bell.put(None)

    def get(self, timeout_s: float) -> Message | None:
        """The next message, or None after `timeout_s` seconds (0 or less: do not wait)."""
        try:
            self._bell.get(timeout=timeout_s) if timeout_s > 0 else self._bell.get_nowait()
        except queue.Empty:
            return None
        if self._later and (not self._first or self._passed >= PATIENCE):
            self._passed = 0
            return self._later.popleft()
        self._passed = self._passed + 1 if self._later else 0
        return self._first.popleft()
