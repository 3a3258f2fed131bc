"""Does what may block, in a thread of its own: looks at free space, at the board's word on its supply and at what was learned, and stores
lags that a session told.

Looks every ten seconds and puts what it found into the inbox; what could not be stored is told once and tried again every ten
seconds. A card that hangs holds up this thread and no other. Tests: tests/live/station/test_keeper.py,
tests/live/station/test_lags_kept.py.
"""

from __future__ import annotations

import math
import os
import threading
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from monitor.core.errors import EvenbathError
from monitor.core.probes.learned import Learned, ProbeLag, VesselLag
from monitor.live.clock import Clock
from monitor.live.inbox import MachineHealth, Message, Relearned, Trouble

Lag = ProbeLag | VesselLag

EVERY_S = 10.0
LAGS = "lags"
"""The part that is in trouble where a lag cannot be stored."""
THROTTLED = Path("/sys/devices/platform/soc/soc:firmware/get_throttled")
"""The firmware's word on under-voltage and throttling, hexadecimal, 0 if all is well (from memory, not verified)."""


def look(state: Path, throttled_word: Path = THROTTLED) -> MachineHealth:
    """Look at both now."""
    try:
        disk = os.statvfs(state)
        free: int | None = disk.f_bavail * disk.f_frsize
    except OSError:
        free = None
    try:
        throttled: int | None = int(throttled_word.read_text(encoding="ascii").strip(), 16)
    except (OSError, ValueError):
        throttled = None
    return MachineHealth(free, throttled)


def store_nothing(_: Lag) -> None:
    """Where nobody has said how a lag is stored."""


class Keeper:
    """The thread that looks and stores. `learn` reads what was learned, `store` adds one lag to it; both raise OSError or `EvenbathError`
    where they cannot."""

    def __init__(
        self, clock: Clock, state: Path, post: Callable[[Message], None],
        learn: Callable[[], Learned] = Learned, store: Callable[[Lag], None] = store_nothing,
    ) -> None:  # fmt: skip
        self._clock = clock
        self._state = state
        self._post = post
        self._learn = learn
        self._store = store
        self._learned: Learned | None = None
        self._condition = threading.Condition()
        self._waiting: deque[Lag] = deque()
        self._failing = ""
        self._ending = False
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Run until `stop`."""
        self._thread = threading.Thread(target=self._run, name="keeper", daemon=True)
        self._thread.start()

    def stop(self, timeout_s: float = 2.0) -> None:
        """End. What is still to be stored is tried once more; does not wait longer than this for a disk that hangs."""
        with self._condition:
            self._ending = True
            self._condition.notify_all()
        if self._thread is not None and self._waiting:
            self._thread.join(timeout_s)

    def keep(self, lag: Lag) -> None:
        """Store this as soon as the disk takes it; nobody waits for that."""
        with self._condition:
            self._waiting.append(lag)
            self._condition.notify_all()

    def step(self) -> None:
        """Store what waits, in its order, as far as the disk takes it; tell what has been learned where that is new."""
        self._store_what_waits()
        with suppress(OSError, EvenbathError):  # a damaged file is told by whoever needs it
            learned = self._learn()
            if learned != self._learned:
                self._learned = learned
                self._post(Relearned(learned))

    def _store_what_waits(self) -> None:
        while self._waiting:
            try:
                self._store(self._waiting[0])
            except (OSError, EvenbathError) as wrong:
                self._tell(wrong.strerror or str(wrong) if isinstance(wrong, OSError) else str(wrong))
                return
            self._waiting.popleft()
        if self._failing:
            self._failing = ""
            self._post(Trouble(LAGS, True, "what the session told of lags is stored"))

    def _tell(self, why: str) -> None:
        if why != self._failing:
            self._failing = why
            again = f"it is tried again every {EVERY_S:.0f} s"
            self._post(Trouble(LAGS, False, f"what the session told of lags cannot be stored ({why}); {again}"))

    def _run(self) -> None:
        looked_s = -math.inf
        while True:
            with self._condition:
                last = self._ending
            if not last and self._clock.mono_s() >= looked_s + EVERY_S:
                looked_s = self._clock.mono_s()
                self._post(look(self._state))
            self.step()
            if last:
                return
            until_s, known = looked_s + EVERY_S, len(self._waiting)
            with self._condition:
                while not self._ending and self._clock.mono_s() < until_s and len(self._waiting) <= known:
                    self._clock.wait(self._condition, until_s)
