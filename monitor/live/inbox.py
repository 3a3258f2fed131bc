"""The station's inbox: the only way in which another thread reaches the thread that owns the state.

`put` never blocks and never fails, whoever calls it: any thread, a pin's callback, a signal handler. Messages are frozen values
that say what happened and when, and nothing more. Tests: tests/live/test_inbox.py.
"""

from __future__ import annotations

import queue
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from hardware.ports import Sample
from monitor.core.session.cues import Sound

Reply = Callable[[Mapping[str, Any]], None]


@dataclass(frozen=True, slots=True)
class Edge:
    """A raw edge of the foot switch, bounces included."""

    mono_s: float
    down: bool


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


Message = Edge | Sampled | Sounded | Unsounded | Trouble | MachineHealth | Request | HungUp | Stop


class Inbox:
    """First in, first out. A `SimpleQueue`, because its `put` is reentrant: a signal handler may interrupt a `put`."""

    def __init__(self) -> None:
        self._queue: queue.SimpleQueue[Message] = queue.SimpleQueue()

    def put(self, message: Message) -> None:
        """Never blocks."""
        self._queue.put(message)

    def get(self, timeout_s: float) -> Message | None:
        """The next message, or None after `timeout_s` seconds (0 or less: do not wait)."""
        try:
            return self._queue.get(timeout=timeout_s) if timeout_s > 0 else self._queue.get_nowait()
        except queue.Empty:
            return None
