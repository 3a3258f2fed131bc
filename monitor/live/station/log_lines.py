"""Says lines to whoever watches the daemon, in a thread of its own: nobody waits for a terminal, a pager or a log.

A line that cannot be written is dropped: a terminal that hung up, a closed pipe. Where nobody reads, the newest lines wait, bounded.
What a terminal would obey is made plain (contract, section 14). Tests: tests/cli/test_station_terminal.py.
"""

from __future__ import annotations

import contextlib
import os
import threading
from collections import deque
from collections.abc import Mapping

OUT, ERRORS = 1, 2
STANDARD: Mapping[int, int] = {OUT: OUT, ERRORS: ERRORS}
_PLAIN = {code: "\ufffd" for code in [*range(32), *range(127, 160)] if chr(code) not in "\n\t"}


def keep_standard_descriptors() -> None:
    """Give 0, 1 and 2 to /dev/null where the caller has closed them: a journal that got such a number would have log lines in it."""
    for number in (0, OUT, ERRORS):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # takes the lowest free number, which is this one


class LogLines:
    """Lines on their way out. `descriptors`: where standard output and the errors really go."""

    MOST = 200
    """So many lines wait for a reader; then the oldest are dropped."""

    def __init__(self, descriptors: Mapping[int, int] = STANDARD) -> None:
        self._descriptors = descriptors
        self._condition = threading.Condition()
        self._waiting: deque[tuple[int, str]] = deque(maxlen=self.MOST)
        self._writing = False
        self._ending = False
        threading.Thread(target=self._run, name="log", daemon=True).start()

    @property
    def waiting(self) -> int:
        """How many lines nobody has taken yet."""
        return len(self._waiting)

    def say(self, line: str, to: int = ERRORS) -> None:
        """One line, or several. Never waits, never raises."""
        with self._condition:
            self._waiting.append((to, line))
            self._condition.notify_all()

    def close(self, timeout_s: float = 0.5) -> None:
        """Write what waits, for so long at most, and end."""
        with self._condition:
            self._condition.wait_for(lambda: not (self._waiting or self._writing), timeout_s)
            self._ending = True
            self._condition.notify_all()

    def _run(self) -> None:
        while True:
            with self._condition:
                self._writing = False
                self._condition.notify_all()
                while not self._waiting and not self._ending:
                    self._condition.wait()
                if self._ending:
                    return
                to, line = self._waiting.popleft()
                self._writing = True
            with contextlib.suppress(OSError):  # nobody is there; that is no trouble of ours
                self._write(to, f"{line.translate(_PLAIN)}\n".encode("utf-8", "replace"))

    def _write(self, to: int, data: bytes) -> None:
        while data:
            data = data[os.write(self._descriptors[to], data) :]
