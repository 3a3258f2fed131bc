"""The twin of `monitor.live.clock.RealClock` for tests and for simulated time: it jumps, and it never goes back."""

from __future__ import annotations

import threading
from datetime import UTC, datetime, timedelta


class FakeClock:
    """Time that passes only when told to. `wait` jumps to its deadline at once."""

    def __init__(self, mono_s: float = 1000.0, wall: datetime | None = None, boot: str = "boot-1") -> None:
        self._mono_s = mono_s
        self._wall = wall or datetime(2026, 11, 25, 19, 0, tzinfo=UTC)
        self._boot = boot
        self.set_by_network = True

    def mono_s(self) -> float:
        """Seconds."""
        return self._mono_s

    def wall(self) -> datetime:
        """The wall clock, which passes with the monotonic one and can be set apart from it by `step_wall`."""
        return self._wall

    def wall_set(self) -> bool:
        """As the test says."""
        return self.set_by_network

    def boot_id(self) -> str:
        """As the test says."""
        return self._boot

    def zone(self) -> str:
        """Always UTC."""
        return "UTC"

    def wait(self, condition: threading.Condition, until_s: float | None) -> None:
        """Jump to the deadline. Without one there is nothing that could ever end the waiting: refused."""
        if until_s is None:
            raise RuntimeError("waiting without a deadline on a clock that nobody moves")
        if until_s > self._mono_s:
            self.advance(until_s - self._mono_s)

    def advance(self, seconds: float) -> None:
        """Time passes. Raises ValueError for less than nothing: no monotonic clock goes back."""
        if seconds < 0:
            raise ValueError(f"the monotonic clock cannot go back by {-seconds} s")
        self._mono_s += seconds
        self._wall += timedelta(seconds=seconds)

    def to(self, mono_s: float) -> None:
        """Time passes until this moment; a moment that is over changes nothing."""
        if mono_s > self._mono_s:
            self.advance(mono_s - self._mono_s)

    def step_wall(self, seconds: float) -> None:
        """Somebody sets the wall clock by so much, forward or back."""
        self._wall += timedelta(seconds=seconds)

    def reboot(self, away_s: float, boot: str, wall_lost: bool = False) -> None:
        """The machine was off: the monotonic clock begins anew, the wall clock went on unless it was lost."""
        self._mono_s = 5.0
        self._boot = boot
        if not wall_lost:
            self._wall += timedelta(seconds=away_s)
