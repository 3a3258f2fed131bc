"""The one module that reads clocks. Everything else is handed a `Clock`, or a time.

Durations are seconds of CLOCK_MONOTONIC, which is not affected when the wall clock is set, and which keeps running when the
station restarts on the same boot (`boot_id`). Wall time is a label and never part of a duration. Tests:
tests/live/test_clock.py.
"""

from __future__ import annotations

import os
import threading
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Protocol

BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
SYNCHRONISED = Path("/run/systemd/timesync/synchronized")
"""Created by the usual network time service once it has really set the clock (systemd-timesyncd(8), section Files)."""
BUILT = datetime(2025, 1, 1, tzinfo=UTC)
"""A wall clock that shows an earlier time is wrong: this program did not exist then. A board without a battery-backed clock may start in
1970."""


class Clock(Protocol):
    """What the station may ask about time."""

    def mono_s(self) -> float:
        """Seconds of the monotonic clock; only differences mean anything, within one boot."""
        ...

    def wall(self) -> datetime:
        """The wall clock, aware, UTC. A label."""
        ...

    def wall_set(self) -> bool:
        """Whether the wall clock is known to have been set by network time since the boot."""
        ...

    def boot_id(self) -> str:
        """The id of this boot of the machine; every boot has a different one."""
        ...

    def zone(self) -> str:
        """The local time zone: its name where the machine knows it, else the offset from UTC."""
        ...

    def wait(self, condition: threading.Condition, until_s: float | None) -> None:
        """Wait on `condition`, whose lock is held, until it is notified or until `until_s`; None: until notified."""
        ...


class RealClock:
    """The machine's clocks."""

    def mono_s(self) -> float:
        """CLOCK_MONOTONIC, seconds."""
        return time.monotonic()

    def wall(self) -> datetime:
        """Now, UTC."""
        return datetime.now(UTC)

    def wall_set(self) -> bool:
        """Whether the network time service says that it has set the clock."""
        return SYNCHRONISED.exists()

    def boot_id(self) -> str:
        """The kernel's id of this boot; `unknown` where it gives none, and then no session is resumed as being on the same boot."""
        try:
            return BOOT_ID.read_text(encoding="ascii").strip()
        except OSError:
            return "unknown"

    def zone(self) -> str:
        """From $TZ, else from the link that names the zone, else the offset, such as +01:00."""
        given = os.environ.get("TZ", "").lstrip(":")
        if given:
            return given
        link = Path("/etc/localtime").resolve()
        if "zoneinfo" in link.parts:
            return "/".join(link.parts[link.parts.index("zoneinfo") + 1 :])
        return datetime.now().astimezone().isoformat()[-6:]

    def wait(self, condition: threading.Condition, until_s: float | None) -> None:
        """Wait on the condition."""
        if until_s is None:
            condition.wait()
            return
        left_s = until_s - time.monotonic()
        if left_s > 0:
            condition.wait(left_s)


def stamp(wall: datetime) -> str:
    """RFC 3339, UTC, milliseconds, such as 2026-11-25T19:00:00.000Z."""
    return wall.astimezone(UTC).isoformat(timespec="milliseconds").removesuffix("+00:00") + "Z"


def read_stamp(text: str) -> datetime | None:
    """The moment that `stamp` wrote, None for anything else."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return None
    return moment if moment.tzinfo is not None else None
