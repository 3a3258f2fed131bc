"""From a request to start to an armed session: the machine's checks, the questions, one start at a time.

Decides who may go on with which start, and when readings have been waited for long enough. What is found and asked stands in
`preflight`, the facts in `machine`, the arming itself in `sessions`. Owned by the thread that owns the state.
Tests: tests/live/station/test_preflight.py, tests/live/station/test_daemon.py.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from monitor.core.recipe.values import Recipe
from monitor.live.inbox import Request
from monitor.live.station.in_turn import FIRST_READINGS_S, InTurn
from monitor.live.station.ledger_word import agreed, remark, told_solution, with_word
from monitor.live.station.machine import Machine
from monitor.live.station.parts import Parts
from monitor.live.station.preflight import (
    CONTINUES_S,
    FRESH_S,
    FilmNow,
    Finding,
    Preflight,
    PreflightFacts,
    PreflightQuestion,
    grave_questions,
    ledger_questions,
    machine_findings,
    outside_of,
    questions_for,
    stopping,
)
from monitor.live.station.probes_now import ProbesNow
from monitor.live.station.requests import RequestRefused, start_request_of
from monitor.live.station.running import StartRequest
from monitor.live.station.sessions import Sessions
from monitor.live.station.telling import LEASE_S

DARK_FOR_S = 60.0
"""A start with bare film that was put off for lit displays and never came again: after this they may be lit again."""

Answer = Mapping[str, Any]


@dataclass(slots=True)
class _Pending:
    """A start whose probes have not all answered yet."""

    request: Request
    wanted: StartRequest
    until_s: float


@dataclass(slots=True)
class _Yeses:
    """What was answered yes for this recipe, question by question, with the monotonic moment of the answer."""

    recipe: Mapping[str, Any]
    at_s: dict[str, float]

    def fresh(self, recipe: Recipe, now_s: float) -> dict[str, float]:
        """Those that still count for a start with this recipe."""
        return {number: at_s for number, at_s in self.at_s.items() if now_s - at_s <= CONTINUES_S} if recipe.data == self.recipe else {}


class Starting:
    """At most one start at a time. One that was left is gone on with: what was answered yes is not asked again for a while."""

    def __init__(self, parts: Parts, sessions: Sessions, probes: ProbesNow, machine: Machine) -> None:
        self._mono_s = parts.clock.mono_s
        self._has_lamp = parts.config.panel.lamp is not None
        self._dice = parts.dice
        self._sessions = sessions
        self._probes = probes
        self._machine = machine
        self._pending: _Pending | None = None
        self._asked: tuple[Preflight, StartRequest] | None = None
        self._yeses = _Yeses({}, {})
        self._telling = parts.telling
        self._lease_s = LEASE_S if parts.telling is None else parts.telling.lease_s
        self._dark_since_s: float | None = None
        self._vessels = parts.config.vessels
        self.turns = InTurn(parts, sessions, probes, self._what_stops, self._outside_data)

    def going_dark(self, now_s: float) -> bool:
        """Whether a start with bare film waits for the displays to go black."""
        return self._dark_since_s is not None and now_s - self._dark_since_s < DARK_FOR_S

    @property
    def until_s(self) -> float | None:
        """When the waiting for readings ends, None if nobody waits."""
        return None if self._pending is None else self._pending.until_s

    @property
    def going_on(self) -> bool:
        """Whether somebody waits for readings or has questions before them."""
        return self._pending is not None or self._asked is not None

    def develop(self, request: Request) -> None:
        """Somebody wants to start. Answered now or, at the latest, when `until_s` has come. Raises `RequestRefused` and `FileWrong`."""
        if self._pending is not None or (self._asked is not None and self._asked[0].line != request.line):
            raise RequestRefused("another start is going through its pre-flight; allowed: one at a time")
        wanted = start_request_of(request.body, self._has_lamp, self._vessels)
        self._asked = None
        self._pending = _Pending(request, wanted, self._mono_s() + FIRST_READINGS_S)
        self.look()

    def look(self) -> None:
        """Go on once all probes answer, or once they have had their time."""
        pending = self._pending
        if pending is None:
            return
        try:
            self._look(pending)
        except Exception:
            self._pending = None
            pending.request.reply({"ok": False, "status": 1, "lines": ["a fault of the station itself; nothing is armed"]})
            raise

    def _look(self, pending: _Pending) -> None:
        wanted, reply = pending.wanted, pending.request.reply
        facts = self._machine.facts(self._probes, wanted)
        findings = _findings(wanted, facts)
        if self._mono_s() < pending.until_s and any(f.item == "probes" for f in stopping(findings)):
            return
        self._pending = None
        stopped = self._stopped(wanted, facts)
        if stopped is not None:
            reply(stopped)
            return
        remarks = [f.said for f in findings if f.said]
        lit = self._lit(wanted)
        if wanted.waived is not None:
            if (later := self._later(lit)) is not None:
                reply(later)
                return
            remarks += [said for _, said in outside_of(self._films_now(wanted))]
            if wanted.ledger is not None:
                remarks.append(remark(wanted.ledger, agreed(wanted.ledger, {})))
            reply({**self._start(wanted, {}), "remarks": remarks})
            return
        remarks += [f"{_pages(lit)}: put phones and displays out of the room before the film is bare"] if lit else []
        questions = _questions(wanted, facts, self._films_now(wanted))
        answer = self._ask(Preflight(pending.request.line, questions, remarks), pending.request, wanted)
        reply({**answer, "remarks": remarks, "has_switch": facts.has_switch})

    def _ask(self, preflight: Preflight, request: Request, wanted: StartRequest) -> dict[str, Any]:
        """The questions that are open, and how many an earlier pre-flight has answered."""
        now_s, numbers = self._mono_s(), {q.id for q in preflight.questions}
        fresh = {} if request.body.get("afresh") is True else self._yeses.fresh(wanted.recipe, now_s)
        self._yeses = _Yeses(wanted.recipe.data, {number: at_s for number, at_s in fresh.items() if number in numbers})
        preflight.answers.update(dict.fromkeys(self._yeses.at_s, True))
        self._asked = (preflight, wanted)
        answer: dict[str, Any] = {"ok": True, "questions": [q.as_json() for q in preflight.open], "of": len(preflight.questions)}
        if self._yeses.at_s:
            answer["continued"] = {"answered": len(self._yeses.at_s), "age_s": now_s - max(self._yeses.at_s.values())}
        return answer

    def _start(self, wanted: StartRequest, answers: Mapping[str, Any]) -> Answer:
        """Arm. From then on the answers belong to that session: the next one asks all of them."""
        self._dark_since_s = None
        used = agreed(wanted.ledger, answers)
        solutions = tuple(told_solution(solution, used) for solution in wanted.solutions)
        followed = replace(wanted, recipe=with_word(wanted.recipe, wanted.ledger, answers), solutions=solutions)
        answer = {**self._sessions.start(followed, answers, self._probes), "ledger_used": used}
        if answer["ok"]:
            self._yeses = _Yeses({}, {})
            answer |= self.turns.begin((wanted, *wanted.others), answers)
        return answer

    def _films_now(self, wanted: StartRequest) -> list[FilmNow]:
        """Every film that is asked for, each with the facts for its own vessel; named where there are several."""
        films = (wanted, *wanted.others)
        places = [film.place if wanted.others else None for film in films]
        return [
            FilmNow(film.recipe, self._machine.facts(self._probes, film), *((place.film, place.what) if place is not None else ()))
            for film, place in zip(films, places, strict=True)
        ]

    def _outside_data(self, film: StartRequest) -> list[str]:
        """What is said of a developer outside the data of a film to come: nobody can be asked any more, so it withholds nothing."""
        return [said for _, said in outside_of(self._films_now(replace(film, others=())))]

    def _what_stops(self, film: StartRequest) -> Answer | None:
        """What is in the way of a film to come, for which nobody is asked any more: by the machine's checks, and by the rule of light."""
        return self._stopped(replace(film, others=()), self._machine.facts(self._probes, film)) or self._later(self._lit(film))

    def _lit(self, wanted: StartRequest) -> int:
        """How many displays are lit that this start would have to find black."""
        if self._telling is None or wanted.rehearsal or not any(film.recipe.open_film for film in (wanted, *wanted.others)):
            return 0
        return self._telling.lit(self._mono_s())

    def _later(self, lit: int) -> Answer | None:
        """The start is put off until every display is black, whether it has heard of it or not; None where nothing is lit any more."""
        now_s = self._mono_s()
        if not lit and not self.going_dark(now_s):
            return None
        if not self.going_dark(now_s):
            self._dark_since_s = now_s
        assert self._dark_since_s is not None
        left_s = self._dark_since_s + self._lease_s - now_s
        if left_s <= 0:
            return None
        said = f"{_pages(lit)} and is told to go black; nothing is armed for {left_s:.0f} s, by when it has. Put phones out of the room"
        return {"ok": False, "status": 2, "wait_s": left_s, "lines": [said]}

    @staticmethod
    def _stopped(wanted: StartRequest, facts: PreflightFacts) -> Answer | None:
        """The refusal for what the machine found; None if nothing stops."""
        stops = stopping(_findings(wanted, facts))
        if not stops:
            return None
        return {"ok": False, "status": max(f.status for f in stops), "lines": [f"pre-flight: {f.said}" for f in stops]}

    def answer(self, request: Request) -> Answer:
        """One question: answered, begun to be tried, or looked at. Raises `RequestRefused` where the answer ends the start."""
        preflight, question = self._question(request)
        phase = request.body.get("phase")
        answer: dict[str, Any] = {"ok": True}
        if question.kind == "yes":
            yes = request.body.get("yes") is True
            preflight.answer_yes(question, yes)
            if not yes:
                answer["if_no"] = question.if_no
        elif phase == "begin":
            answer |= self._begin(preflight, question)
        elif question.kind == "press":
            answer["well"] = preflight.look_press(question)
        elif question.kind == "lift":
            answer["moved"] = preflight.look_lift(question, self._good_now())
        else:
            typed = request.body.get("count")
            answer["right"], answer["well"] = preflight.look_count(question, typed if isinstance(typed, int) else None)
        self._keep(preflight, question)
        if preflight.refused is not None:
            self._asked = None
            raise RequestRefused(f"pre-flight: {preflight.refused}")
        return {**answer, "left": preflight.left}

    def _keep(self, preflight: Preflight, question: PreflightQuestion) -> None:
        """Remember a yes for the next start, and forget those that have been taken back."""
        kept = {number: at_s for number, at_s in self._yeses.at_s.items() if preflight.answers.get(number) is True}
        if preflight.answers.get(question.id) is True:
            kept[question.id] = self._mono_s()
        self._yeses.at_s = kept

    def _begin(self, preflight: Preflight, question: PreflightQuestion) -> dict[str, Any]:
        if question.kind == "press":
            preflight.begin_press()
            return {}
        if question.kind == "lift":
            preflight.begin_lift(question, self._good_now(), self._mono_s())
            return {}
        sounds = preflight.begin_count(self._dice.randint(1, 4))
        self._sessions.sound(sounds)
        return {"sounds_for_s": max(after_s for after_s, _ in sounds)}

    def _good_now(self) -> dict[str, float]:
        return self._probes.good(self._mono_s(), FRESH_S)

    def _mine(self, request: Request) -> tuple[Preflight, StartRequest]:
        if self._asked is None or self._asked[0].line != request.line:
            raise RequestRefused("no pre-flight is going on here; allowed: develop first")
        return self._asked

    def _question(self, request: Request) -> tuple[Preflight, PreflightQuestion]:
        preflight, _ = self._mine(request)
        question = preflight.find(request.body.get("id"))
        if question is None:
            raise RequestRefused("no such question in this pre-flight")
        return preflight, question

    def arm(self, request: Request) -> Answer:
        """All has been answered: arm. What the machine can check is checked once more. Raises `RequestRefused`."""
        preflight, wanted = self._mine(request)
        if not preflight.passed:
            raise RequestRefused(f"{preflight.left} questions are still open; allowed: arm after the last one")
        facts = self._machine.facts(self._probes, wanted)
        stopped = self._stopped(wanted, facts)
        if stopped is not None:
            return stopped
        if (later := self._later(self._lit(wanted))) is not None:
            return later
        self._asked = None
        remarks = [f.said for f in _findings(wanted, facts) if f.said and f.said not in preflight.remarks]
        return {**self._start(wanted, preflight.answers), "remarks": remarks}

    def pressed(self) -> None:
        """The switch went down, and no session runs."""
        if self._asked is not None:
            self._asked[0].pressed()

    def hung_up(self, line: int) -> None:
        """Whoever asked is gone: nothing is armed, and the next one can begin."""
        if self._asked is not None and self._asked[0].line == line:
            self._asked = None
        if self._pending is not None and self._pending.request.line == line:
            pending, self._pending = self._pending, None
            pending.request.reply({"ok": False, "status": 1, "lines": ["whoever asked is gone"]})  # nobody hears it; the line is free


def _questions(wanted: StartRequest, facts: PreflightFacts, evening: Sequence[FilmNow]) -> tuple[PreflightQuestion, ...]:
    """The questions of every film that is asked for, each once: what is grave first, then the ledger's, then the list's."""
    films = (wanted, *wanted.others)
    asked = [question for film in films for question in grave_questions(film.recipe)]
    asked += [question for film in films for question in ledger_questions(film.recipe, film.ledger)]
    asked += [question for film in films for question in questions_for(film.recipe, facts, evening)]
    return tuple({question.id: question for question in reversed(asked)}[number] for number in dict.fromkeys(q.id for q in asked))


def _findings(wanted: StartRequest, facts: PreflightFacts) -> list[Finding]:
    """What the machine finds for every film that is asked for, each thing once."""
    found = [finding for film in (wanted, *wanted.others) for finding in machine_findings(film.recipe, facts)]
    return list(dict.fromkeys(found))


def _pages(lit: int) -> str:
    return "a page shows its light" if lit <= 1 else f"light comes from {lit} pages"
