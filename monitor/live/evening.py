"""An evening of several films on simulated liquids: their sessions side by side, one sounder, one foot switch, one person.

The sessions, the mixer and the rule of whose a press is are those of the station; only clock, probes and hands are simulated. Of things
due at the same moment readings come first, then sounds, then the person, then the sessions in the order of the vessels. The person
begins each film when the evening's file says, and goes on as in a rehearsal of one film; or, with a list of presses, does those and
nothing else. Tests: tests/live/test_evening.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from monitor.core.evening.turns import Turn, Turns
from monitor.core.evening.values import Evening, Film
from monitor.core.journal.words import CUES
from monitor.core.probes.classify import Classifier
from monitor.core.probes.readings import Reading, Role
from monitor.core.session.clashes import LOOK_AHEAD_S, ClashWatch
from monitor.core.session.effects import Effect, Hush, Play, Write
from monitor.core.session.fixed_times import BEGIN_HOLD_S
from monitor.core.session.presses import ALL_LENGTHS, Length
from monitor.core.session.session import GapDoubt, Session
from monitor.core.session.shared_fault import OneFault
from monitor.core.session.sounds import Mixer, Sound, Vessel
from monitor.core.session.whose_press import own_lengths
from monitor.live.rehearsal import FOOT_PATIENCE_S, GATE_PATIENCE_S, GIVE_UP_AFTER_S, READING_EVERY_S, TAP_LENGTH_S, Probes, Writer

WAITED_S = 1e-6

Roles = dict[str, Role]


@dataclass(frozen=True, slots=True)
class Armed:
    """A film that has been armed: its session, where its records go, and the fields of its open record."""

    session: Session
    write: Writer
    opening: dict[str, Any]


Arm = Callable[[Film, Vessel], Armed]


@dataclass(slots=True)
class _Seat:
    """A film of the evening: when it is armed and begun at the earliest (None: not known yet), and what became of it."""

    film: Film
    vessel: Vessel
    arm_s: float | None = None
    start_s: float | None = None
    armed: Armed | None = None
    begun_s: float | None = None
    over_s: float | None = None

    @property
    def session(self) -> Session | None:
        """Its session while it is open."""
        return self.armed.session if self.armed is not None and self.over_s is None else None


class EveningRehearsal:
    """One rehearsal of an evening, step by step. `arm` makes the session of a film when its turn has come; `roles` gives for each vessel
    the role of each probe that its film has; `foot`: all presses of the evening as (down, up); None for a person who does what the
    recipes want; `forgets`: films and stages, by their numbers, whose end that person does not tap.
    """

    def __init__(
        self, evening: Evening, probes: Probes, roles: dict[Vessel, Roles], arm: Arm, give_up_s: float,
        foot: Sequence[tuple[float, float]] | None = None, forgets: Collection[tuple[int, int]] = (),
    ) -> None:  # fmt: skip
        vessels = evening.vessels
        self._evening = evening
        self._probes = probes
        self._roles = roles
        self._arm = arm
        self._forgets = frozenset(forgets)
        self._seats = [_Seat(film, 2 if vessels.index(film.vessel) else 1) for film in evening.films]
        known = {name: role for named in roles.values() for name, role in named.items()}
        self._names = [(name, known[name]) for name in probes.names if name in known]
        self._classifier = Classifier(dict(self._names))
        self._mixer = Mixer()
        self._one_fault = OneFault()
        self._clashes = ClashWatch()
        self._reading_s = 0.0
        self._down_at_s: float | None = None
        self._up_at_s: float | None = None
        self._foot = None if foot is None else list(reversed(foot))
        self._pressed: list[tuple[_Seat, frozenset[Length]]] = []
        self._happened_s = 0.0
        self._afterwards: list[Callable[[], None]] = []
        self._give_up_s = max(give_up_s, 0.0) + GATE_PATIENCE_S
        self.t_s = 0.0
        self._turns = Turns(evening.between_s, [Turn(seat.vessel, seat.film.start_s) for seat in self._seats])
        self._plan_turns()

    @property
    def over(self) -> bool:
        """Whether every film has been closed."""
        return all(seat.over_s is not None for seat in self._seats)

    def _open(self) -> list[_Seat]:
        return [seat for seat in self._seats if seat.session is not None]

    # -- time -------------------------------------------------------------------------------------------------------

    def step(self) -> bool:
        """Advance to the next thing that happens. False once every film is closed."""
        if self.over:
            return False
        while self._afterwards:
            self._afterwards.pop(0)()
        self._person()
        sound_s = self._mixer.next_onset_s
        wakes = [(wake_s, i) for i, s in enumerate(self._open()) if s.session is not None and (wake_s := s.session.next_wake_s) is not None]
        wake = min(wakes, default=None)
        arm_s = min((s.arm_s for s in self._seats if s.armed is None and s.arm_s is not None), default=None)
        due = (self._reading_s, self._down_at_s, self._up_at_s, None if wake is None else wake[0], sound_s, arm_s)
        self.t_s = at_s = max(self.t_s, min(x for x in due if x is not None))
        if arm_s is not None and arm_s <= at_s:
            self._arm_next(at_s)
        elif self._reading_s <= at_s:
            self._read(at_s)
        elif sound_s is not None and sound_s <= at_s:
            self._sound(at_s)
        elif self._up_at_s is not None and self._up_at_s <= at_s and (wake is None or wake[0] > at_s):
            self._up_at_s = None
            for seat, _ in self._pressed:
                if seat.session is not None:
                    self._carry_out(seat, seat.session.press(at_s, False))
            self._pressed = []
        elif self._down_at_s is not None and self._down_at_s <= at_s:
            self._press(at_s)
        elif wake is not None:
            seat = self._open()[wake[1]]
            if seat.session is not None:
                self._carry_out(seat, seat.session.wake(at_s))
        self._give_up(at_s)
        return not self.over

    def _give_up(self, at_s: float) -> None:
        """End what will never be over."""
        if self._foot is not None and (self._foot or self._up_at_s is not None or self._comes_by_itself()):
            self._happened_s = at_s
        for seat in self._open():
            session = seat.session
            if session is None:
                continue
            why = None
            if at_s > self._give_up_s and session.waits_for_gate:
                why = "the gate stayed closed to the end of the trace"
            elif self._foot is not None and at_s - self._happened_s > FOOT_PATIENCE_S:
                why = "the presses are over, and nothing more could happen"
            elif at_s > GIVE_UP_AFTER_S:
                why = "not over after a day"
            if why is not None:
                self._carry_out(seat, session.abandon(at_s, why))

    def _comes_by_itself(self) -> bool:
        waiting = any(s.armed is None and s.arm_s is not None for s in self._seats)
        return waiting or any(s.session is not None and s.session.next_moment_s is not None for s in self._open())

    def abandon(self, why: str) -> None:
        """End all that is open now, and arm no more."""
        for seat in self._seats:
            if seat.session is not None:
                self._carry_out(seat, seat.session.abandon(self.t_s, why))
        for seat in self._seats:
            seat.over_s = self.t_s if seat.over_s is None else seat.over_s

    def come_back(self, t_s: float, rebuild: Callable[[Film, Armed], Session], gap_s: float | None, doubt: GapDoubt) -> None:
        """The program was killed, or the power was gone (`gap_s` None), and is back at `t_s`. `rebuild` makes the session of a film anew
        from what it has written."""
        self._mixer, self._one_fault, self._clashes = Mixer(), OneFault(), ClashWatch()
        self._down_at_s = self._up_at_s = None
        self._pressed, self._afterwards = [], []
        self.t_s = t_s
        self._reading_s = math.ceil(t_s / READING_EVERY_S) * READING_EVERY_S
        for seat in self._open():
            if seat.armed is not None:
                session = rebuild(seat.film, seat.armed)
                seat.armed = replace(seat.armed, session=session)
                self._carry_out(seat, session.resume(t_s, gap_s, gap_s is not None, doubt))

    # -- films ------------------------------------------------------------------------------------------------------

    def _arm_next(self, at_s: float) -> None:
        seat = min((s for s in self._seats if s.armed is None and s.arm_s is not None), key=lambda s: s.arm_s or 0.0)
        seat.armed = self._arm(seat.film, seat.vessel)
        self._carry_out(seat, seat.armed.session.open(at_s, seat.armed.opening))

    def _begun(self, seat: _Seat, at_s: float) -> None:
        """A film's first stage has begun: the next one may count from it."""
        seat.begun_s = at_s
        self._turns.began(self._seats.index(seat) + 1, at_s)
        self._plan_turns()

    def _over(self, seat: _Seat) -> None:
        """A film has left its vessel: the next one there may be armed."""
        seat.over_s = self.t_s
        seat.begun_s = self.t_s if seat.begun_s is None else seat.begun_s
        self._turns.ended(self._seats.index(seat) + 1, self.t_s)
        self._plan_turns()
        self._mixer.hush(CUES, self.t_s, seat.vessel)
        self._clashes.forget(str(seat.film.vessel))

    def _plan_turns(self) -> None:
        for number, seat in enumerate(self._seats, start=1):
            if seat.begun_s is None:
                seat.start_s, arm_s = self._turns.start_s(number), self._turns.arm_s(number)
                seat.arm_s = None if arm_s is None else max(arm_s, self.t_s)

    # -- the person -------------------------------------------------------------------------------------------------

    def _person(self) -> None:
        """When the simulated foot comes down next, and for whom."""
        if self._up_at_s is not None:
            return
        if self._foot is not None:
            self._down_at_s = self._foot[-1][0] if self._foot else None
            return
        times = [at_s for seat in self._open() if (at_s := self._wanted_s(seat)) is not None]
        self._down_at_s = None if not times else max(min(times), self.t_s)

    def _wanted_s(self, seat: _Seat) -> float | None:
        """When this film wants a press; the first one not before the film's own time."""
        session = seat.session
        if session is None:
            return None
        awaits = session.awaits
        if awaits.what == "nothing" or awaits.at_s is None:
            return None
        if awaits.what == "pour" and (seat.film.number, session.stage) in self._forgets:
            return None
        if seat.begun_s is None:
            return None if seat.start_s is None else max(awaits.at_s, seat.start_s)
        return awaits.at_s

    def _press(self, at_s: float) -> None:
        self._down_at_s = None
        seats = self._open()
        if self._foot is not None:
            _, self._up_at_s = self._foot.pop()
        else:
            wanted = [(when_s, i) for i, seat in enumerate(seats) if (when_s := self._wanted_s(seat)) is not None]
            session = seats[min(wanted)[1]].session
            holds = session is not None and session.awaits.what in ("begin", "lid on")
            self._up_at_s = at_s + (BEGIN_HOLD_S if holds else TAP_LENGTH_S)
        if len(seats) == 1:
            owns = [ALL_LENGTHS]
        else:
            owns = own_lengths([seat.session.stand(at_s) for seat in seats if seat.session is not None])
        self._pressed = [(seat, own) for seat, own in zip(seats, owns, strict=True) if own]
        for seat, own in self._pressed:
            if seat.session is not None:
                self._carry_out(seat, seat.session.press(at_s, True, own))

    # -- the world --------------------------------------------------------------------------------------------------

    def _read(self, at_s: float) -> None:
        self._reading_s = math.floor(at_s / READING_EVERY_S + 1e-9) * READING_EVERY_S + READING_EVERY_S
        for name, role in self._names:
            sample = self._probes.sample(name, at_s)
            quality = self._classifier.classify(name, sample.t_s, sample.raw_c, sample.fault, at_s)
            celsius = sample.raw_c if quality == "good" else None
            reading = Reading(sample.t_s, name, role, sample.raw_c, celsius, quality)
            for seat in self._open():
                if seat.session is not None and name in self._roles[seat.vessel]:
                    self._carry_out(seat, seat.session.take(reading, at_s))
        self._look_for_clashes(at_s)

    def _look_for_clashes(self, at_s: float) -> None:
        seats = {str(seat.film.vessel): seat for seat in self._open()}
        if len(seats) < 2:
            return
        soon_s = at_s + LOOK_AHEAD_S
        hands = {vessel: seat.session.hands_ahead(soon_s) for vessel, seat in seats.items() if seat.session is not None}
        for vessel, told in self._clashes.look(hands, at_s):
            session = seats[vessel].session
            if session is not None:
                self._carry_out(seats[vessel], session.note("clash", told, at_s))

    def _sound(self, at_s: float) -> None:
        step = self._mixer.step(at_s)
        for sound in step.began:
            seat = self._seat_of(sound)
            if sound.cue == "fault":
                for beside in self._one_fault.began(at_s):
                    self._sounded(self._seat_of(beside), beside, at_s)
            self._sounded(seat, sound, at_s)
        for sound in step.dropped:
            if sound.cue == "fault":
                for beside in self._one_fault.dropped():
                    self._dropped(beside, at_s)
            self._dropped(sound, at_s)

    def _sounded(self, seat: _Seat | None, sound: Sound, at_s: float) -> None:
        """What had to wait for the other film's sound is told as its lateness; nothing else is late here."""
        if seat is not None and seat.session is not None:
            late_s = at_s - sound.onset_s
            self._carry_out(seat, seat.session.sounded(sound, at_s, late_s if late_s > WAITED_S else None))

    def _dropped(self, sound: Sound, at_s: float) -> None:
        seat = self._seat_of(sound)
        if seat is not None and seat.session is not None:
            self._carry_out(seat, seat.session.dropped(sound, at_s))

    def _seat_of(self, sound: Sound) -> _Seat | None:
        return next((seat for seat in self._open() if seat.vessel == sound.vessel), None)

    def _carry_out(self, seat: _Seat, effects: list[Effect]) -> None:
        assert seat.armed is not None
        for effect in effects:
            if isinstance(effect, Write):
                seat.armed.write(effect.record)
                record = effect.record
                if seat.begun_s is None and record["kind"] == "stage" and record["event"] == "begin":
                    self._begun(seat, record["t_s"])
            elif isinstance(effect, Play):
                self._play(seat, effect.sound)
            elif isinstance(effect, Hush):
                self._mixer.hush(effect.cues, self.t_s, effect.vessel)
        if seat.over_s is None and seat.armed.session.closed:
            self._over(seat)

    def _play(self, seat: _Seat, sound: Sound) -> None:
        verdict = "sounds" if sound.cue != "fault" else self._one_fault.heard(sound, max(sound.onset_s, self.t_s))
        begun_s = self._one_fault.begun_s
        if verdict == "sounds":
            self._mixer.add(sound, self.t_s)
        elif verdict == "waits":  # later: what is being carried out comes first
            self._afterwards.append(partial(self._dropped, sound, self.t_s))
        elif begun_s is not None:
            for beside in self._one_fault.began(begun_s):
                self._afterwards.append(partial(self._sounded, seat, beside, begun_s))
