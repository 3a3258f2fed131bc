"""One FAULT for two films: what troubles both is heard once, and FAULTs of either lie a minute apart.

Each session keeps its own FAULTs a minute apart (`calls`); this keeps them so across sessions. Times are of a clock that the films
share. Pure; tests: tests/core/session/test_shared_fault.py.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from monitor.core.session.fixed_times import FAULT_APART_S
from monitor.core.session.sounds import Sound, Vessel

SAME_FAULT_S = 5.0
"""A FAULT this soon after the other film's is heard as the same one (this project's own choice)."""

Verdict = Literal["sounds", "said", "waits"]


@dataclass(slots=True)
class OneFault:
    """`heard` is asked before a FAULT is handed to the player; `began` and `dropped` are told what became of it."""

    _last_s: float | None = None
    _why: str | None = None
    _vessel: Vessel = 1
    _beside: list[Sound] = field(default_factory=list)
    begun_s: float | None = None
    """When the one that was judged last began to sound; None until then."""

    def heard(self, sound: Sound, onset_s: float) -> Verdict:
        """Whether this FAULT sounds; or is said by the other film's, and will be given back by `began`; or has to be tried again later."""
        if self._last_s is None or sound.vessel == self._vessel or onset_s - self._last_s >= FAULT_APART_S:
            self._last_s, self._why, self._vessel, self.begun_s = onset_s, sound.why, sound.vessel, None
            return "sounds"
        if sound.why == self._why or onset_s - self._last_s < SAME_FAULT_S:
            self._beside.append(sound)
            return "said"
        return "waits"

    def began(self, onset_s: float) -> list[Sound]:
        """It sounds since `onset_s`: the other film's FAULTs that it speaks for, those that come later too."""
        self.begun_s = onset_s
        beside, self._beside = self._beside, []
        return beside

    def dropped(self) -> list[Sound]:
        """The one that was to sound will not: those that it was to speak for have to be tried again."""
        self._last_s, beside = None, self._beside
        self._beside = []
        return beside
