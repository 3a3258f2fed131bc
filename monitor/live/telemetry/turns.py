"""Which journal line goes to the broker next: new ones and those asked for again take turns, each at a rate of its own.

Neither waits for the other: a recorder far behind delays no record of the running session, and is not delayed by it.
Belongs to the publisher's thread. Tests: tests/live/telemetry/test_publisher_wire.py.
"""

from __future__ import annotations

from monitor.live.telemetry.outbox import JournalLine, Outbox, Replays
from monitor.live.telemetry.token_bucket import TokenBucket

SAVED_S = 0.2
"""After a pause what this many seconds allow may be sent at once."""


class Turns:
    """`live_per_s` and `again_per_s`: lines a second."""

    def __init__(self, outbox: Outbox, replays: Replays, live_per_s: float, again_per_s: float) -> None:
        self._outbox, self._replays = outbox, replays
        self._live, self._again = (TokenBucket(per_s, per_s * SAVED_S) for per_s in (live_per_s, again_per_s))
        self._again_first = False

    def refill(self, now_s: float) -> None:
        """Time has passed."""
        self._live.refill(now_s)
        self._again.refill(now_s)

    @property
    def held_back(self) -> bool:
        """Whether only a rate keeps lines back."""
        return self._live.empty or (self._again.empty and len(self._replays) > 0)

    def next_line(self) -> JournalLine | None:
        """The next line, None if there is none or the rates allow none."""
        self._again_first = not self._again_first
        if self._again_first:
            return self._next_again() or self._next_live()
        return self._next_live() or self._next_again()

    def _next_live(self) -> JournalLine | None:
        if self._live.empty:
            return None
        line = self._outbox.next_line()
        if line is not None:
            self._live.take()
        return line

    def _next_again(self) -> JournalLine | None:
        if self._again.empty or not self._replays:
            return None
        before = self._replays.cost
        line = self._replays.next_line()
        self._again.take(self._replays.cost - before)
        return line
