"""What the session asks of the sounder: soundings by number, NOW and its repeats, and room for one FAULT at a time.

Decides when a sound is due, never what it means; what sounds share the sounder is `sounds.Mixer`'s. Pure, part of one session.
Tests: tests/core/session/test_session.py (repeats, FAULT), tests/core/session/test_sounds.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from monitor.core.journal.words import Cue
from monitor.core.session import sounds
from monitor.core.session.effects import Effect, Hush, Play
from monitor.core.session.fixed_times import CLEAR_S, FAULT_APART_S, NOW_LATER_S, NOW_REPEAT_S, NOW_REPEATS
from monitor.core.session.runs import Run
from monitor.core.session.sounds import Sound, Vessel

Span = tuple[float, float]


@dataclass(slots=True)
class NowCall:
    """NOW that is being repeated for one run: how often it has sounded, and when it sounds next."""

    run: Run
    count: int
    next_s: float

    @classmethod
    def taken_up(cls, run: Run, begin_s: float, t_s: float) -> NowCall:
        """The repeats that began at `begin_s`, as they stand at `t_s`. What began after the planned end is slow from its first."""
        slowly = run.now_s is not None and begin_s >= run.end_s
        call = cls(run, NOW_REPEATS if slowly else 1, begin_s)
        call.go_on()
        while call.next_s <= t_s:
            call.count += 1
            call.go_on()
        return call

    def go_on(self) -> None:
        """One has sounded, or was left out."""
        self.next_s += NOW_REPEAT_S if self.count < NOW_REPEATS else NOW_LATER_S


class Calls:
    """The sounds of one session on their way out. `emit` takes each effect; `vessel`: which of two the film is in."""

    def __init__(self, emit: Callable[[Effect], None], vessel: Vessel = 1) -> None:
        self._emit = emit
        self._vessel: Vessel = vessel
        self._number = 0
        self.now: NowCall | None = None
        self.fault_s: float | None = None
        """When a FAULT that is wanted will sound, None if none is."""
        self.fault_why = ""
        self.last_fault_s = -math.inf
        self._back_s: float | None = None
        self._missed: list[Sound] = []
        self._first: Sound | None = None

    # -- a time in which the program was away -----------------------------------------------------------------------

    def go_away(self, back_s: float) -> None:
        """From here on what falls due before `back_s` does not sound: the program was away."""
        self._back_s = back_s

    @property
    def back_s(self) -> float | None:
        """When the program came back, while the time before that is gone through; None otherwise."""
        return self._back_s

    def come_back(self) -> list[Sound]:
        """READY and NOW that fell due meanwhile."""
        missed, self._missed, self._back_s = self._missed, [], None
        return missed

    def miss_now(self, onset_s: float, sheet: int | None, pattern: tuple[float, ...]) -> None:
        """A NOW that was due, and that no record says has sounded."""
        self._missed.append(Sound(0, "now", onset_s, pattern, sheet))

    # -- single sounds ----------------------------------------------------------------------------------------------

    def play(
        self, cue: Cue, onset_s: float, pattern: tuple[float, ...], sheet: int | None = None, late_s: float | None = None,
        why: str | None = None,
    ) -> Sound:  # fmt: skip
        """One sounding. `late_s`: how much later than it was due, because the program was away. `why`: of a FAULT."""
        self._number += 1
        pattern = sounds.of_vessel(cue, pattern, self._vessel)
        sound = Sound(self._number, cue, onset_s, pattern, sheet, late_s, why, self._vessel)
        if self._back_s is None or onset_s >= self._back_s:
            self._emit(Play(sound))
        elif cue in ("ready", "now"):
            self._missed.append(sound)
        return sound

    def hush(self, *families: Cue) -> None:
        """Silence these at once."""
        self._emit(Hush(frozenset(families), self._vessel))

    def lasts_s(self, cue: Cue, pattern: tuple[float, ...]) -> float:
        """How long this pattern takes in this session."""
        return sounds.length_s(sounds.of_vessel(cue, pattern, self._vessel))

    # -- NOW --------------------------------------------------------------------------------------------------------

    def call_now(self, run: Run, onset_s: float, pattern: tuple[float, ...], repeats: bool) -> None:
        """The first NOW of a run: from here on only this one is repeated."""
        if self.now is not None and self.now.run is not run:
            self.silence_now()
        self._first = self.play("now", onset_s, pattern, run.sheet)
        if repeats:
            self.now = NowCall(run, 1, onset_s + NOW_REPEAT_S)

    def pause_now(self, t_s: float) -> None:
        """A press that may be the answer: what sounds is silent at once. A first call that has not begun yet is another run's."""
        self.hush("now")
        if self._first is not None and self._first.onset_s > t_s:
            self._emit(Play(self._first))

    def repeat_now(self, answered_at: Callable[[float], bool]) -> None:
        """The next repeat is due; under a foot whose press may be its answer by then it keeps silent."""
        call = self.now
        assert call is not None
        if not answered_at(call.next_s):
            self.play("now", call.next_s, sounds.NOW, call.run.sheet)
        call.count += 1
        call.go_on()

    def silence_now(self, run: Run | None = None) -> None:
        """NOW has been obeyed, heard, or is over: that of this run, any where none is named."""
        if self.now is not None and (run is None or self.now.run is run):
            self.now = self._first = None
            self.hush("now")

    # -- FAULT ------------------------------------------------------------------------------------------------------

    def want_fault(self, why: str, t_s: float, runs: Iterable[Run]) -> None:
        """One FAULT as soon as there is room for it: not within 60 s of the last, not in the way of READY or NOW of these runs."""
        self.fault_why = why
        at_s = max(t_s, self.last_fault_s + FAULT_APART_S)
        length_s = sounds.length_s(sounds.FAULT)
        for begin_s, end_s in sorted(self._busy(runs, t_s)):
            if at_s + length_s > begin_s - CLEAR_S and at_s < end_s:
                at_s = end_s + CLEAR_S
        self.fault_s = at_s

    def fault_first(self, why: str, t_s: float) -> float:
        """A FAULT at once, whatever sounded before: the program was away. When it is over."""
        self.fault_why, self.fault_s, self.last_fault_s = why, None, t_s
        self.play("fault", t_s, sounds.FAULT, why=why)
        return t_s + sounds.length_s(sounds.FAULT)

    def sound_fault(self, t_s: float, runs: Iterable[Run]) -> None:
        """It is due, unless something has come in its way meanwhile."""
        assert self.fault_s is not None
        wanted_s = max(self.fault_s, t_s)
        self.want_fault(self.fault_why, wanted_s, runs)
        if self.fault_s > wanted_s + 2 * CLEAR_S:
            return
        self.play("fault", wanted_s, sounds.FAULT, why=self.fault_why)
        self.last_fault_s = wanted_s
        self.fault_s = None

    def _busy(self, runs: Iterable[Run], t_s: float) -> Iterable[Span]:
        """When READY and NOW will sound, as far as is known."""
        for run in runs:
            if not run.left and run.ready_s is not None:
                yield run.ready_s, run.ready_s + self.lasts_s("ready", sounds.READY)
            if not run.left and run.now_s is not None:
                yield run.now_s, run.now_s + self.lasts_s("now", sounds.NOW)
        if self.now is not None:
            quick = NOW_REPEATS - self.now.count
            begin_s = t_s if quick > 0 else self.now.next_s
            yield begin_s, self.now.next_s + max(0, quick - 1) * NOW_REPEAT_S + self.lasts_s("now", sounds.NOW)
