"""What plays the sounds of a lesson: the running station, or the bell of this terminal.

`play` comes back when the sound is over. Tests: tests/cli/terminal/test_voices.py.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Protocol

from monitor.cli.terminal.refusals import told

if TYPE_CHECKING:
    from monitor.live.clock import Clock

BELL = "\a"
BELL_S = 0.1
"""A bell has no length: a tone is one bell after another, so far apart (own choice; a terminal that rings longer blurs it)."""
AFTER_S = 0.3
"""Silence after a sound before anything is written."""


class Voice(Protocol):
    """Something that can be heard."""

    def play(self, pattern: Sequence[float]) -> None:
        """Let a pattern sound (seconds, on and off in turn), and wait until it is over."""


class Bell:
    """The terminal's bell: the rhythm of the onsets is right, the lengths are told by how often it rings."""

    def __init__(self, clock: Clock, write: Callable[[str], None]) -> None:
        self._clock = clock
        self._write = write

    def play(self, pattern: Sequence[float]) -> None:
        """Ring through the pattern. The terminal itself may be late."""
        at_s = self._clock.mono_s()
        for i, part_s in enumerate(pattern):
            end_s = at_s + part_s
            if i % 2 == 0:
                for k in range(max(1, round(part_s / BELL_S))):
                    wait_until(self._clock, at_s + k * BELL_S)
                    self._write(BELL)
            wait_until(self._clock, end_s)
            at_s = end_s
        wait_until(self._clock, at_s + AFTER_S)


class StationVoice:
    """The running station's sounder. `ask` sends it one request."""

    def __init__(self, clock: Clock, ask: Callable[[Mapping[str, Any]], Mapping[str, Any]]) -> None:
        self._clock = clock
        self._ask = ask

    def play(self, pattern: Sequence[float]) -> None:
        """Raises `InputWrong` where the station has something else to do, `NotThere` where none answers."""
        answer = told(self._ask({"verb": "sound", "on_off_ms": [round(1000 * part) for part in pattern]}))
        wait_until(self._clock, self._clock.mono_s() + float(answer["sounds_for_s"]) + AFTER_S)


def wait_until(clock: Clock, until_s: float) -> None:
    """Wait for a moment of the monotonic clock. Ctrl-C ends it."""
    condition = threading.Condition()
    with condition:
        while clock.mono_s() < until_s:
            clock.wait(condition, until_s)
