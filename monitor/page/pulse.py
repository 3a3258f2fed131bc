"""The page's one clockwork: hears the station, makes a whole snapshot about once a second, and writes it to every open stream.

A snapshot goes out at once where the state, the light or a measurement is new, else once a second. What may be lit is counted for the
station: every stream that was told light within the lease. Owned by its own thread; `newest`, `lit` and `add` are for the server's.
Tests: tests/page/test_pulse.py.
"""

from __future__ import annotations

import contextlib
import json
import math
import os
import select
import socket
import threading
from collections.abc import Callable, Mapping
from typing import Any, Protocol

from monitor.live.station.telling import LEASE_S
from monitor.page.streams import Streams

TELL_EVERY_S = 0.95
TURN_S = 0.25
STUCK_S = 2.5
"""Where this thread has not moved for so long nothing is lit: what it told last may be wrong by now."""


class Source(Protocol):
    """Where snapshots come from. No method waits."""

    @property
    def descriptor(self) -> int | None:
        """For `poll`; None where there is nothing to wait for."""
        ...

    def turn(self, now_s: float) -> bool:
        """Take what has come. True if there is something new to tell."""
        ...

    def snapshot(self, now_s: float) -> Mapping[str, Any]:
        """All that is shown now."""
        ...

    def count(self, lit: int) -> None:
        """On so many displays it may be lit."""
        ...

    @property
    def busy(self) -> bool:
        """Whether a session is armed or runs."""
        ...

    def awake(self, now_s: float) -> bool:
        """Whether the station itself says, now, that something may be lit."""
        ...

    def free(self, now_s: float) -> bool:
        """Whether it says, too, that nothing is armed and nothing runs: then a paired phone may write."""
        ...


class Pulse:
    """Start it, add streams, ask it for the newest snapshot."""

    def __init__(self, source: Source, streams: Streams, mono_s: Callable[[], float]) -> None:
        self.streams = streams
        self._source = source
        self._mono_s = mono_s
        self._newest: bytes = b'{"light":false}'
        self._lit = False
        self._made_s = -math.inf
        self._shone_s = -math.inf
        self._ending = False
        self._bell_in, self._bell_out = os.pipe2(os.O_NONBLOCK | os.O_CLOEXEC)
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Beat in a thread until `stop`."""
        self.turn(0.0)
        self._thread = threading.Thread(target=self._run, name="pulse", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End, and hang up on everybody."""
        self._ending = True
        self._ring()
        if self._thread is not None:
            self._thread.join(2.0)
        self.streams.close()

    @property
    def lit(self) -> bool:
        """Whether a page may be served that can light."""
        return self._lit and self._mono_s() - self._made_s < STUCK_S

    @property
    def busy(self) -> bool:
        """Whether a session is armed or runs: what can wait, waits."""
        return self._source.busy

    @property
    def awake(self) -> bool:
        """Whether a note may be written: lit, by the station's own fresh word."""
        return self.lit and self._source.awake(self._mono_s())

    @property
    def free(self) -> bool:
        """Whether anything else may be written: no session is armed and none runs, by the station's own fresh word."""
        return self.lit and self._source.free(self._mono_s())

    def newest(self) -> bytes:
        """The newest snapshot as JSON; asking for it may light a display."""
        if not self.lit:
            return b'{"light":false}'
        self._shone_s = self._mono_s()
        return self._newest

    def add(self, end: socket.socket, peer: str) -> bool:
        """A stream more; False where there is no room. It gets the newest snapshot at once."""
        if not self.streams.has_room(peer):
            return False
        self.streams.add(end, peer, self._mono_s())
        self._ring()
        return True

    def _ring(self) -> None:
        with contextlib.suppress(OSError):
            os.write(self._bell_out, b"!")

    def _run(self) -> None:
        while not self._ending:
            try:
                self.turn(TURN_S)
            except Exception:  # the supervisor: a fault of ours makes no light, and the next turn may be well
                self._lit = False
                select.select([], [], [], TURN_S)

    def turn(self, timeout_s: float) -> None:
        """Wait for something to happen, or for `timeout_s`; then do it."""
        poll, now_s = select.poll(), self._mono_s()
        poll.register(self._bell_in, select.POLLIN)
        if self._source.descriptor is not None:
            poll.register(self._source.descriptor, select.POLLIN)
        self.streams.register(poll, now_s)
        came = False
        for descriptor, events in poll.poll(timeout_s * 1000.0):
            if descriptor == self._bell_in:
                os.read(self._bell_in, 4096)
                came = True
            else:
                self.streams.serve(descriptor, events, self._mono_s())
        now_s = self._mono_s()
        if self._source.turn(now_s) or came or now_s - self._made_s >= TELL_EVERY_S:
            self._tell(now_s)
        lit = max(1, len(self.streams)) if now_s - self._shone_s < LEASE_S else 0
        self._source.count(lit)

    def _tell(self, now_s: float) -> None:
        told = self._source.snapshot(now_s)
        self._newest = json.dumps(told, ensure_ascii=False, separators=(",", ":"), allow_nan=False).encode()
        self._lit, self._made_s = told.get("light") is True, now_s
        if self._lit and len(self.streams):
            self._shone_s = now_s
        number = str(told.get("id", ""))
        head = b"id: " + number.encode() + b"\n" if number else b""
        self.streams.register(select.poll(), now_s)
        self.streams.tell(head + b"data: " + self._newest + b"\n\n", now_s)
