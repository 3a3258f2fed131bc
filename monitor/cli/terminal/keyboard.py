"""The keyboard of a terminal: lines that answer a question, single keys while a session is followed, deafness in the dark.

Decides that nothing counts as an answer that was typed before its question stood on the screen.
Tests: tests/cli/terminal/test_keyboard.py, tests/cli/test_develop.py.
"""

from __future__ import annotations

import os
import select
import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from monitor.core.errors import InputWrong

MOST_SHOWN = 40
"""Of what was typed too early so many characters are shown."""
_READ_BYTES = 4096


class AnswerLines:
    """Lines typed at the terminal `file` (a descriptor), each read only after what it answers has been written by `write`."""

    def __init__(self, file: int, write: Callable[[str], None]) -> None:
        self._file = file
        self._write = write
        self._rest = b""

    def ask(self, question: str) -> str:
        """Write the question and read the line that answers it. What was typed before is taken away, and said.

        Raises `InputWrong` where the person leaves (end of file).
        """
        early = self._typed_ahead()
        if early:
            self._write(f"     typed before this question stood here, so it does not count: {early}\n")
        return self.more(question)

    def more(self, prompt: str) -> str:
        """Ask once more for the answer to a question that stands there already. Raises as `ask`."""
        self._write(prompt)
        while b"\n" not in self._rest:
            data = os.read(self._file, _READ_BYTES)
            if not data:
                raise InputWrong("the pre-flight was left without an answer; nothing is armed")
            self._rest += data
        line, self._rest = self._rest.split(b"\n", 1)
        return line.decode("utf-8", "replace").strip()

    def _typed_ahead(self) -> str:
        """Take away what waits, whole lines and the beginning of one; what can be shown of it."""
        import termios

        typed, self._rest = self._rest, b""
        before = termios.tcgetattr(self._file)
        at_once = [*before[:6], [*before[6]]]
        at_once[3] &= ~(termios.ICANON | termios.ECHO)  # only so is a line readable that no Enter has ended
        at_once[6][termios.VMIN] = at_once[6][termios.VTIME] = 0
        termios.tcsetattr(self._file, termios.TCSANOW, at_once)
        try:
            while select.select([self._file], [], [], 0.0)[0] and (data := os.read(self._file, _READ_BYTES)):
                typed += data
        finally:
            termios.tcsetattr(self._file, termios.TCSANOW, before)
        words = " ".join(typed.decode("utf-8", "replace").split())
        shown = "".join(c for c in words if c.isprintable())
        return shown if len(shown) <= MOST_SHOWN else f"{shown[:MOST_SHOWN]} ..."


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
