"""The keyboard of a terminal that follows a session. Tests: tests/cli/test_develop.py."""

from __future__ import annotations

import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any


@contextmanager
def raw_keyboard(terminal: bool) -> Iterator[None]:
    """Keys one by one and unseen, while a session is followed."""
    if not terminal:
        yield
        return
    import termios
    import tty

    before = termios.tcgetattr(sys.stdin.fileno())
    tty.setcbreak(sys.stdin.fileno())
    try:
        yield
    finally:
        termios.tcsetattr(sys.stdin.fileno(), termios.TCSADRAIN, before)


class Interrupts:
    """In the dark the keyboard cannot end the program: its last words, and the prompt, would be light."""

    def __init__(self) -> None:
        self._held: dict[signal.Signals, Any] = {}

    def hold(self) -> None:
        """Deaf from here on."""
        self._held = {number: signal.signal(number, signal.SIG_IGN) for number in (signal.SIGINT, signal.SIGTSTP, signal.SIGQUIT)}

    def let_go(self) -> None:
        """As before."""
        while self._held:
            signal.signal(*self._held.popitem())
