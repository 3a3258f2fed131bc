"""The socket that only tells: whoever reads it gets the station's whole word, one JSON object a line, about twice a second.

Nothing that comes in over it can do anything, and nobody waits for a reader. Of a word only the newest is kept, so there is no queue
that could grow: a reader gets the next word once it has taken the last one, and one that takes nothing for `DEAF_S` is dropped.
The one thing that a reader may say is a count, digits and a newline: on how many displays this word may be lit now. A reader that
has not said it counts as one. `lit` is what the station asks before film is bared. Tests: tests/live/station/test_telling.py.
"""

from __future__ import annotations

import contextlib
import json
import os
import select
import socket
import struct
import threading
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from monitor.live.clock import Clock, RealClock
from monitor.live.station.control import Peer, trusted
from monitor.live.station.doors import open_door

NAME = "telling.sock"
MOST_READERS = 4
DEAF_S = 5.0
LEASE_S = 20.0
"""A display that was allowed to be lit is black after this at the latest, whatever has happened to it or to the station (page.md 2)."""
LONGEST_COUNT = 8
"""Bytes of a count. A reader that says more without a newline is dropped."""
PIECE = 64 * 1024


class _Reader:
    """`lit`: displays, None until it has told."""

    def __init__(self, end: socket.socket, now_s: float) -> None:
        self.end = end
        self.took_s = now_s
        self.outgoing = b""
        self.told = 0
        self.incoming = b""
        self.lit: int | None = None

    @property
    def may_be_lit(self) -> int:
        """Nobody who is silent counts as dark."""
        return 1 if self.lit is None else self.lit


class Telling:
    """The server. `tell`, `lit` and `listeners` may be called from the station's thread; none of them waits for a reader."""

    def __init__(
        self, state: Path, allow: Callable[[Peer], bool] = trusted, clock: Clock | None = None, lease_s: float = LEASE_S
    ) -> None:
        self.lease_s = lease_s
        self._mono_s = (RealClock() if clock is None else clock).mono_s
        self._path = state / NAME
        self._state = state
        self._allow = allow
        self._lock = threading.Lock()
        self._readers: dict[int, _Reader] = {}
        self._word: Mapping[str, Any] | None = None
        self._number = 0
        self._lit_until_s = 0.0
        self._ending = False
        self._door: socket.socket | None = None
        self._bell_in, self._bell_out = os.pipe2(os.O_NONBLOCK | os.O_CLOEXEC)
        self._thread: threading.Thread | None = None

    def open(self) -> None:
        """Create the socket. One that a dead station left is removed. Raises OSError, where anything else of this name stands there too."""
        self._door = open_door(self._state, NAME, MOST_READERS)

    def start(self) -> None:
        """Serve in a thread until `stop`."""
        self._thread = threading.Thread(target=self._run, name="telling", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End, and remove the socket."""
        self._ending = True
        self._ring()
        if self._thread is not None:
            self._thread.join(2.0)
            if self._thread.is_alive():
                return  # a daemon thread: it ends with the process
        if self._door is not None:
            self._door.close()
            self._path.unlink(missing_ok=True)
        for bell in (self._bell_in, self._bell_out):
            with contextlib.suppress(OSError):
                os.close(bell)

    @property
    def listeners(self) -> bool:
        """Whether anybody reads: where nobody does no word has to be made."""
        return bool(self._readers)

    def tell(self, word: Mapping[str, Any]) -> None:
        """This is the word now. What was not taken of the one before is not told any more."""
        with self._lock:
            self._word = word
            self._number += 1
        self._ring()

    def lit(self, now_s: float) -> int:
        """On how many displays the word may be lit: those that are told, and those of readers that are gone for less than the lease."""
        with self._lock:
            told = sum(reader.may_be_lit for reader in self._readers.values())
        return told or int(now_s < self._lit_until_s)

    def _ring(self) -> None:
        with contextlib.suppress(OSError):
            os.write(self._bell_out, b"!")

    # -- the thread -------------------------------------------------------------------------------------------------

    def _run(self) -> None:
        while not self._ending:
            self.turn(1.0)
        for descriptor, reader in list(self._readers.items()):
            self._last_count(descriptor, reader)

    def turn(self, timeout_s: float) -> None:
        """Wait for a reader, a word or for `timeout_s`; then do what can be done without waiting."""
        now_s = self._mono_s()
        poll = select.poll()
        poll.register(self._bell_in, select.POLLIN)
        if self._door is not None and len(self._readers) < MOST_READERS:
            poll.register(self._door, select.POLLIN)
        for descriptor, reader in list(self._readers.items()):
            if reader.outgoing and now_s - reader.took_s > DEAF_S:
                self._drop(descriptor)
                continue
            poll.register(descriptor, select.POLLIN | (select.POLLOUT if reader.outgoing else 0))
        for descriptor, events in poll.poll(timeout_s * 1000.0):
            if descriptor == self._bell_in:
                os.read(self._bell_in, 4096)
            elif descriptor in self._readers:
                self._serve(descriptor, events)
            else:
                self._accept()
        self._hand_out()

    def _accept(self) -> None:
        assert self._door is not None
        try:
            end, _address = self._door.accept()
        except OSError:
            return
        end.setblocking(False)
        peer = struct.unpack("3i", end.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, 12))
        if not self._allow((peer[0], peer[1], peer[2])):
            end.close()
            return
        with self._lock:
            self._readers[end.fileno()] = _Reader(end, self._mono_s())

    def _hand_out(self) -> None:
        """The newest word to each reader that has taken its last one."""
        with self._lock:
            word, number = self._word, self._number
        if word is None:
            return
        line: bytes | None = None
        for descriptor, reader in list(self._readers.items()):
            if reader.outgoing or reader.told == number:
                continue
            if line is None:
                line = json.dumps(word, ensure_ascii=False, separators=(",", ":")).encode() + b"\n"
            reader.outgoing, reader.told, reader.took_s = line, number, self._mono_s()
            self._serve(descriptor, select.POLLOUT)

    def _serve(self, descriptor: int, events: int) -> None:
        reader = self._readers[descriptor]
        try:
            if events & select.POLLOUT and reader.outgoing:
                reader.outgoing = reader.outgoing[reader.end.send(reader.outgoing[:PIECE]) :]
                reader.took_s = self._mono_s()
            if events & select.POLLIN:
                self._count(descriptor, reader, reader.end.recv(64))
            elif events & (select.POLLHUP | select.POLLERR | select.POLLNVAL):
                self._drop(descriptor)
        except BlockingIOError:
            return
        except OSError:
            self._last_count(descriptor, reader)

    def _last_count(self, descriptor: int, reader: _Reader) -> None:
        """It is gone, or we are about to go: it may have said before that nothing is lit."""
        try:
            self._count(descriptor, reader, reader.end.recv(64))
        except OSError:
            self._drop(descriptor)
            return
        if descriptor in self._readers:
            self._drop(descriptor)

    def _count(self, descriptor: int, reader: _Reader, said: bytes) -> None:
        reader.incoming += said
        *lines, reader.incoming = reader.incoming.split(b"\n")
        if not said or len(reader.incoming) > LONGEST_COUNT or not all(line.isdigit() and len(line) <= LONGEST_COUNT for line in lines):
            self._drop(descriptor)
        elif lines:
            with self._lock:
                reader.lit = int(lines[-1])

    def _drop(self, descriptor: int) -> None:
        """Whoever is gone may still show what it was told last: its displays count for the length of the lease."""
        with self._lock:
            reader = self._readers.pop(descriptor)
            if reader.may_be_lit and reader.told:
                self._lit_until_s = max(self._lit_until_s, self._mono_s() + self.lease_s)
        reader.end.close()
