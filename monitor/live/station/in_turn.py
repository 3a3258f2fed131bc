"""The films of an evening in turn: armed by themselves, or by a press when they are loaded, each when it is planned to begin.

The first film of a vessel arms itself, without a sound: what sounds unasked is a call (`core.session.sounds`), and a press of a second says
by its second click whether it has begun something. What the machine can check is checked again each time. Owned by the thread that owns
the state. Tests: tests/live/station/test_armed_in_turn.py.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from monitor.core.evening.turns import ARMED_BEFORE_S
from monitor.core.session.sounds import Vessel
from monitor.live.station.parts import Parts
from monitor.live.station.probes_now import ProbesNow
from monitor.live.station.running import Running, StartRequest
from monitor.live.station.sessions import Sessions
from monitor.live.station.side_by_side import ToArm
from monitor.live.station.to_come import FilmsToCome

Answer = Mapping[str, Any]
FIRST_READINGS_S = 4.0
"""So long a start waits for good readings of its probes before it says that there are none."""


class InTurn:
    """`what_stops` says what is in the way of a film to come, None where nothing is; `outside_data` what is only to be told of it."""

    def __init__(
        self,
        parts: Parts,
        sessions: Sessions,
        probes: ProbesNow,
        what_stops: Callable[[StartRequest], Answer | None],
        outside_data: Callable[[StartRequest], Sequence[str]],
    ) -> None:
        self._mono_s = parts.clock.mono_s
        self._say = parts.say
        self._sessions = sessions
        self._probes = probes
        self._what_stops = what_stops
        self._outside_data = outside_data
        self._not_armed: tuple[str, int] | None = None
        self.to_come = FilmsToCome(parts.config.state / "evening.json", parts.clock, parts.say)
        sessions.side.to_arm = self._to_arm
        sessions.side.arm = self._arm_by_foot

    def begin(self, evening: Sequence[StartRequest], answers: Mapping[str, Any]) -> Answer:
        """The first film of an evening is armed: arm the first one of the other vessel, if there is one that begins at once."""
        self.to_come.put(evening)
        for film in self._due():
            armed = self._sessions.start(film, answers, self._probes)
            if not armed["ok"]:
                return {"films": self._films, "remarks": list(armed["lines"])}
            self.to_come.taken(film)
        return {"films": self._films}

    def look(self) -> None:
        """Each second: arm the film whose turn has come, silently. Where the machine would not start it that is told once, as a FAULT
        of a film that runs, and tried again."""
        now_s = self._mono_s()
        self.to_come.follow(self._sessions.films, now_s)
        for film in self._due():
            self._arm_in_turn(film, now_s)

    def told(self) -> list[dict[str, Any]]:
        """The films to come, for `status` and the page: `begins_in_s` is None while nothing says when, `arms_itself` whether a press is
        wanted to arm it, `hold_s` how long one that arms it now would have to be, None where none does."""
        now_s, films = self._mono_s(), self._sessions.films
        next_in = {to_arm.vessel: to_arm for to_arm in self._to_arm()}
        told = []
        for film in self.to_come.films:
            if film.place is None:
                continue
            begin_s, to_arm = self.to_come.begin_s(film.place, films), next_in.get(film.place.number)
            is_next = to_arm is not None and self.to_come.next_in(film.place.number) is film
            hold_s = self._sessions.side.hold_s(to_arm, now_s) if to_arm is not None and is_next else None
            begins = {"begins_in_s": None if begin_s is None else begin_s - now_s, "armed_before_s": ARMED_BEFORE_S}
            told.append({**film.place.fields(), **begins, "arms_itself": self.to_come.arms_itself(film), "hold_s": hold_s})
        return told

    def next_ones(self) -> list[dict[str, Any]]:
        """The next film to come in each vessel."""
        told = self.told()
        return [film for i, film in enumerate(told) if all(before["vessel"] != film["vessel"] for before in told[:i])]

    def begins_in_s(self, film: Running) -> float | None:
        """How long it is until this film, which waits for its first stage, is to begin; None where it has begun, or nothing says."""
        begin_s = None if film.began_s is not None else self.to_come.begin_s(film.place)
        return None if begin_s is None else begin_s - self._mono_s()

    @property
    def _films(self) -> list[dict[str, Any]]:
        films = self._sessions.films
        return [{"session": f.name, "vessel": f.vessel, "what": f.recipe.name if f.place is None else f.place.what} for f in films]

    def _to_arm(self) -> list[ToArm]:
        """The vessels that are free and have a film to come: those whose turn has come first, each in the order of these films."""
        now_s = self._mono_s()
        taken = {film.number for film in self._sessions.films}
        places = [film.place.number for film in self.to_come.films if film.place is not None]
        free = [vessel for vessel in dict.fromkeys(places) if vessel not in taken]
        return sorted((ToArm(vessel, self._in_turn(vessel, now_s)) for vessel in free), key=lambda to_arm: not to_arm.in_turn)

    def _in_turn(self, vessel: Vessel, now_s: float) -> bool:
        film = self.to_come.next_in(vessel)
        arm_s = None if film is None else self.to_come.arm_s(film)
        return arm_s is not None and arm_s <= now_s

    def _due(self) -> list[StartRequest]:
        """The films that arm themselves, and whose turn has come."""
        found = [self.to_come.next_in(to_arm.vessel) for to_arm in self._to_arm() if to_arm.in_turn]
        return [film for film in found if film is not None and self.to_come.arms_itself(film)]

    def _arm_in_turn(self, film: StartRequest, now_s: float) -> None:
        place, arm_s = film.place, self.to_come.arm_s(film)
        answer = self._arm(film, {"armed by": "its turn"})
        if answer["ok"] or place is None or arm_s is None or now_s - arm_s < FIRST_READINGS_S or "wait_s" in answer:
            return
        if self._not_armed == (place.evening, place.film):
            return
        self._not_armed = (place.evening, place.film)
        self._tell_not_armed(place.number, answer)
        for running in self._sessions.films[:1]:
            running.fault(f"{place.what} cannot be armed: {answer['lines'][0]}", now_s)

    def _arm_by_foot(self, vessel: Vessel, mono_s: float) -> None:
        """A press that arms the film to come in this vessel: what the machine can check is checked, YES says that it is armed; else it
        limps, and the reason is in the other film's journal and on the station's output."""
        wanted = self.to_come.next_in(vessel)
        if wanted is None:
            return
        answer = self._arm(wanted, {"armed by": "foot"})
        if not answer["ok"]:
            self._tell_not_armed(vessel, answer)
        self._sessions.answer_foot(vessel, answer["ok"])

    def _arm(self, film: StartRequest, answers: Mapping[str, Any]) -> Answer:
        """A film to come, after what the machine can check of it. A developer outside its data withholds nothing here: a loaded film
        waits, and its FAULT will say so in the stage; it stands in the film's journal and on the station's output."""
        stopped = self._what_stops(film)
        if stopped is not None:
            return stopped
        outside = self._outside_data(film)
        answer = self._sessions.start(film, {**answers, **({"outside data": outside} if outside else {})}, self._probes)
        if answer["ok"]:
            self.to_come.taken(film)
            for said in outside:
                self._say(f"{film.recipe.name if film.place is None else film.place.what}: {said}")
        return answer

    def _tell_not_armed(self, vessel: Vessel, answer: Answer) -> None:
        for line in answer["lines"]:
            self._say(f"the next film is not armed: {line}")
            self._sessions.note("not armed", {"vessel": vessel, "why": line})
