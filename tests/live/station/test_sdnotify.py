"""What the service manager hears."""

import os
import socket
from pathlib import Path

from monitor.live.station.sdnotify import Notifier


def test_states_reach_the_managers_socket(tmp_path: Path) -> None:
    """One datagram each; the variables are not inherited by a child."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        manager.settimeout(5.0)
        environment = {"NOTIFY_SOCKET": str(tmp_path / "notify"), "WATCHDOG_USEC": "10000000", "WATCHDOG_PID": str(os.getpid())}
        notifier = Notifier(environment)
        assert environment == {}
        notifier.ready("station laundry")
        notifier.alive()
        notifier.stopping()
        assert [manager.recv(100) for _ in range(3)] == [
            b"READY=1\nSTATUS=station laundry", b"WATCHDOG=1", b"STOPPING=1",
        ]  # fmt: skip
        notifier.close()


def test_without_a_manager_nothing_happens(tmp_path: Path) -> None:
    """Also where its socket has gone."""
    Notifier({}).alive()
    gone = Notifier({"NOTIFY_SOCKET": str(tmp_path / "gone")})
    gone.alive()
    gone.close()
