"""Tells a service manager through its notification socket (sd_notify(3)): ready, still alive, stopping.

Without $NOTIFY_SOCKET nothing is sent. Whether the station is still alive is decided by `monitor.live.station.machine`. Tests:
tests/live/station/test_sdnotify.py.
"""

from __future__ import annotations

import contextlib
import os
import socket
from collections.abc import MutableMapping


class Notifier:
    """Sends states to the manager. Removes its variables from `environment`, so that no child process inherits them."""

    def __init__(self, environment: MutableMapping[str, str] = os.environ) -> None:
        address = environment.pop("NOTIFY_SOCKET", "")
        for name in ("WATCHDOG_USEC", "WATCHDOG_PID"):
            environment.pop(name, None)
        self._socket: socket.socket | None = None
        if address[:1] in ("/", "@"):
            self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC)
            self._socket.setblocking(False)
            self._address = "\0" + address[1:] if address[0] == "@" else address

    def ready(self, status: str) -> None:
        """The station is up."""
        self._send(f"READY=1\nSTATUS={status}")

    def alive(self) -> None:
        """Feed the watchdog."""
        self._send("WATCHDOG=1")

    def stopping(self) -> None:
        """The station ends, on purpose."""
        self._send("STOPPING=1")

    def close(self) -> None:
        """Close the socket."""
        if self._socket is not None:
            self._socket.close()
            self._socket = None

    def _send(self, state: str) -> None:
        if self._socket is None:
            return
        with contextlib.suppress(OSError):  # a manager that does not listen is no reason to lose a session
            self._socket.sendto(state.encode(), self._address)
