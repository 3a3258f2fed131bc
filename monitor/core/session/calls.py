"""What the session asks of the sounder: soundings by number, NOW and its repeats, and room for one FAULT at a time.

Decides when a sound is due, never what it means; what sounds share the sounder is `cues.Mixer`'s. Pure, part of one session.
Tests: tests/core/session/test_session.py (repeats, FAULT), tests/core/session/test_cues.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from monitor.core.journal.words import Cue
from monitor.core.session import cues
from monitor.core.session.cues import Sound
from monitor.core.session.effects import Effect, Hush, Play
from monitor.core.session.limits import CLEAR_S, FAULT_APART_S, NOW_LATER_S, NOW_REPEAT_S, NOW_REPEATS
from monitor.core.session.runs import Run

Span = tuple[float, float]


@dataclass(slots=True)
class NowCall:
    """NOW that is being repeated for one run: how often it has sounded, and when it sounds next (None: silenced)."""

    run: Run
    count: int
    next_s: float | None


class Calls:
    """The sounds of one session on their way out. `emit` takes each effect."""

    def __init__(self, emit: Callable[[Effect], None]) -> None:
        self._emit = emit
        self._number = 0
        self.now: NowCall | None = None
        self.fault_s: float | None = None
        """When a FAULT that is wanted will sound, None if none is."""
        self.fault_why = ""
        self.last_fault_s = -math.inf

    def play(self, cue: Cue, onset_s: float, pattern: tuple[float, ...], sheet: int | None = None) -> None:
        """One sounding."""
        self._number += 1
        self._emit(Play(Sound(self._number, cue, onset_s, pattern, sheet)))

    def hush(self, *families: Cue) -> None:
        """Silence these at once."""
        self._emit(Hush(frozenset(families)))

    # -- NOW --------------------------------------------------------------------------------------------------------

    def call_now(self, run: Run, onset_s: float, pattern: tuple[float, ...], repeats: bool) -> None:
        """The first NOW of a run."""
        self.play("now", onset_s, pattern, run.sheet)
        if repeats:
            self.now = NowCall(run, 1, onset_s + NOW_REPEAT_S)

    def repeat_now(self, foot_is_down: bool) -> None:
        """The next repeat is due; under a foot whose press may still be a tap it keeps silent."""
        call = self.now
        assert call is not None
        assert call.next_s is not None
        if not foot_is_down:
            self.play("now", call.next_s, cues.NOW, call.run.sheet)
        call.count += 1
        call.next_s += NOW_REPEAT_S if call.count < NOW_REPEATS else NOW_LATER_S

    def keep_calling(self, run: Run, t_s: float) -> None:
        """The begin was assumed: NOW goes on every 10 s until a tap says that it was poured."""
        if self.now is None or self.now.next_s is None:
            self.now = NowCall(run, NOW_REPEATS, t_s + NOW_LATER_S)

    def heard(self) -> None:
        """A tap silences NOW until the planned end."""
        if self.now is not None:
            self.now.next_s = None

    def silence_now(self) -> None:
        """NOW has been obeyed."""
        if self.now is not None:
            self.now = None
            self.hush("now")

    def count_sounded_now(self, onset_s: float) -> None:
        """A NOW that an earlier life of this session sounded."""
        if self.now is not None and self.now.next_s is not None:
            self.now.count += 1
            self.now.next_s = onset_s + (NOW_LATER_S if self.now.count >= NOW_REPEATS else NOW_REPEAT_S)

    # -- FAULT ------------------------------------------------------------------------------------------------------

    def want_fault(self, why: str, t_s: float, runs: Iterable[Run]) -> None:
        """One FAULT as soon as there is room for it: not within 60 s of the last, not in the way of READY or NOW of these runs."""
        self.fault_why = why
        at_s = max(t_s, self.last_fault_s + FAULT_APART_S)
        length_s = cues.length_s(cues.FAULT)
        for begin_s, end_s in sorted(self._busy(runs, t_s)):
            if at_s + length_s > begin_s - CLEAR_S and at_s < end_s:
                at_s = end_s + CLEAR_S
        self.fault_s = at_s

    def sound_fault(self, t_s: float, runs: Iterable[Run]) -> None:
        """It is due, unless something has come in its way meanwhile."""
        assert self.fault_s is not None
        wanted_s = max(self.fault_s, t_s)
        self.want_fault(self.fault_why, wanted_s, runs)
        if self.fault_s > wanted_s + 2 * CLEAR_S:
            return
        self.play("fault", wanted_s, cues.FAULT)
        self.last_fault_s = wanted_s
        self.fault_s = None

    def _busy(self, runs: Iterable[Run], t_s: float) -> Iterable[Span]:
        """When READY and NOW will sound, as far as is known."""
        for run in runs:
            if not run.left and run.ready_s is not None:
                yield run.ready_s, run.ready_s + cues.length_s(cues.READY)
            if not run.left and run.now_s is not None:
                yield run.now_s, run.now_s + cues.length_s(cues.NOW)
        if self.now is not None and self.now.next_s is not None:
            quick = max(0, NOW_REPEATS - self.now.count)
            last_s = self.now.next_s + quick * NOW_REPEAT_S
            yield t_s, last_s - NOW_REPEAT_S + cues.length_s(cues.NOW)
