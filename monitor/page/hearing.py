"""The page's end of the station's telling socket: words come in, the count of lit displays goes out, and nothing else ever does.

It is looked for twice a second where it is not there. Tests: tests/page/test_hearing.py.
"""

from __future__ import annotations

import contextlib
import json
import select
import socket
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from monitor.live.station.doors import short_path
from monitor.live.station.telling import NAME

LOOK_EVERY_S = 0.5
LONGEST_WORD = 1 << 20


class Hearing:
    """Never waits. `descriptor`: to be polled, None while there is no connection."""

    def __init__(self, state: Path) -> None:
        self._state = state
        self._end: socket.socket | None = None
        self._rest = b""
        self._look_s = float("-inf")
        self._counted: int | None = None

    @property
    def descriptor(self) -> int | None:
        """For `poll`."""
        return None if self._end is None else self._end.fileno()

    def look(self, now_s: float) -> None:
        """Connect, if it is time."""
        if self._end is not None or now_s < self._look_s:
            return
        self._look_s = now_s + LOOK_EVERY_S
        end = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM | socket.SOCK_CLOEXEC)
        end.setblocking(False)
        try:
            with short_path(self._state, NAME) as path:
                end.connect(path)
        except OSError:
            end.close()
            return
        self._end, self._rest, self._counted = end, b"", None

    def receive(self) -> Mapping[str, Any] | None:
        """The newest whole word that has come, None if none has."""
        if self._end is None:
            return None
        newest: Mapping[str, Any] | None = None
        try:
            while data := self._end.recv(1 << 16):
                self._rest += data
                if len(self._rest) > LONGEST_WORD:
                    break
            self.close()  # it has hung up, or says what no station says
        except BlockingIOError:
            pass
        except OSError:
            self.close()
        *lines, self._rest = self._rest.split(b"\n")
        for line in reversed(lines):
            with contextlib.suppress(ValueError, RecursionError):
                told = json.loads(line)
                if isinstance(told, dict):
                    newest = told
                    break
        return newest

    def count(self, lit: int) -> None:
        """Say on how many displays the word may be lit, where that has changed."""
        if self._end is None or lit == self._counted:
            return
        try:
            self._end.send(b"%d\n" % lit)
            self._counted = lit
        except OSError:
            self.close()

    def close(self) -> None:
        """Hang up."""
        if self._end is not None:
            self._end.close()
            self._end = None


def word_within(state: Path, wait_s: float) -> Mapping[str, Any] | None:
    """The station's word, waited for once for `wait_s` at most; None where it says nothing. It is told that nothing is lit by it here."""
    hearing = Hearing(state)
    try:
        hearing.look(0.0)
        hearing.count(0)
        if hearing.descriptor is None:
            return None
        poll = select.poll()
        poll.register(hearing.descriptor, select.POLLIN)
        poll.poll(wait_s * 1000.0)
        return hearing.receive()
    finally:
        hearing.close()
