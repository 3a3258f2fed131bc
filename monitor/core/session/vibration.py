"""The same calls for the skin: a vibrating motor beside the sounder, for ears that do not hear it.

A motor needs 50 to 100 ms to spin up, so pulses last at least 120 ms and gaps at least 180 ms, and movement is told every 5 s at
most (practice of this project, section 4.2; spin-up times from memory). Which of two calls wins is the mixer's to decide, as for
the sounder. Pure; tests: tests/core/session/test_vibration.py.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import replace

from monitor.core.journal.words import Cue
from monitor.core.session.sounds import Mixer, MixerStep, Sound, Vessel

PULSE_LEAST_S = 0.120
GAP_LEAST_S = 0.180
TICK_EVERY_S = 5.0


def stretched(pattern: tuple[float, ...]) -> tuple[float, ...]:
    """A pattern (on and off in turn, seconds) that a motor can follow."""
    return tuple(max(part, GAP_LEAST_S if k % 2 else PULSE_LEAST_S) for k, part in enumerate(pattern))


class Vibration:
    """Takes the sounds that the sounder takes, and says what the motor does. Times given to `step` never fall."""

    def __init__(self) -> None:
        self._mixer = Mixer()
        self._tick_s = -math.inf

    def add(self, sound: Sound, t_s: float) -> None:
        """A sound that is to begin at its onset; a tick too soon after the last is left out."""
        if sound.cue == "tick":
            if sound.onset_s < self._tick_s + TICK_EVERY_S - 1e-6:
                return
            self._tick_s = sound.onset_s
        self._mixer.add(replace(sound, pattern=stretched(sound.pattern)), t_s)

    def hush(self, families: Collection[Cue], t_s: float, vessel: Vessel = 1) -> None:
        """Silence these families at once, those of this vessel's film."""
        self._mixer.hush(families, t_s, vessel)

    def step(self, t_s: float) -> MixerStep:
        """Go on to `t_s`."""
        return self._mixer.step(t_s)
