"""What the station answers to a line of its control socket: status, readings, starts, keys, following, abandoning.

Decides which request is refused in which state. The pre-flight of a start is in `monitor.live.station.starting`. Owned by the
thread that owns the state. Tests: tests/live/station/test_daemon.py, tests/live/station/test_preflight.py.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict
from typing import Any

from monitor import __version__
from monitor.core.errors import EvenbathError
from monitor.core.session.sounds import length_s
from monitor.live.inbox import Request
from monitor.live.station.ended import ids_named
from monitor.live.station.followers import Keyboard
from monitor.live.station.lags import known_lags
from monitor.live.station.left_bare import left_as, left_bare
from monitor.live.station.lines_in import plain_words
from monitor.live.station.machine import Machine
from monitor.live.station.parts import Parts
from monitor.live.station.probes_now import KEPT_S, ProbesNow, Told
from monitor.live.station.requests import RequestRefused, pattern_of
from monitor.live.station.running import Running
from monitor.live.station.sessions import Sessions
from monitor.live.station.starting import Starting

ABANDON_SAFE_S = 2.0
"""`abandon` is answered once its `close` is safe, or after this long."""
OUR_FAULT: Mapping[str, Any] = {"ok": False, "status": 1, "lines": ["a fault of the station itself; what was asked for was not done"]}
LESSON_AFTER_S = 0.2
"""A lesson's sound begins so long after it was asked for: no first edge is late."""

Answer = Mapping[str, Any]


class Answers:
    """`answer` replies to one request: at once, or for a start as soon as its pre-flight allows."""

    def __init__(
        self, parts: Parts, sessions: Sessions, probes: ProbesNow, machine: Machine, starting: Starting, keyboard: Keyboard
    ) -> None:
        self._parts = parts
        self._sessions = sessions
        self._probes = probes
        self._machine = machine
        self._starting = starting
        self._keyboard = keyboard
        self._up_s = parts.clock.mono_s()
        self._verbs: Mapping[str, Callable[[Request], Answer | None]] = {
            "status": self._status,
            "readings": self._readings,
            "develop": self._develop,
            "answer": starting.answer,
            "arm": starting.arm,
            "press": self._press,
            "sound": self._sound,
            "follow": self._follow,
            "abandon": self._abandon,
        }

    def answer(self, request: Request) -> None:
        """Do what is asked, or say why not."""
        verb = request.body.get("verb")
        answer: Answer | None
        try:
            if not isinstance(verb, str) or verb not in self._verbs:
                raise RequestRefused(f"no such verb; allowed: {', '.join(self._verbs)}")
            answer = self._verbs[verb](request)
        except EvenbathError as wrong:
            answer = {"ok": False, "status": wrong.exit_status, "lines": list(wrong.lines)}
        except Exception:  # told to whoever asked, and to the supervisor
            request.reply(OUR_FAULT)
            raise
        if answer is not None:
            request.reply(answer)

    def _status(self, request: Request) -> Answer:
        now_s = self._parts.clock.mono_s()
        running = self._sessions.running
        view = None if running is None else running.session.view
        return {
            "ok": True,
            "station": self._parts.config.name,
            "version": __version__,
            "up_s": now_s - self._up_s,
            "session": None if running is None else running.name,
            "recipe": None if running is None else running.recipe.name,
            "view": view,
            "source": None if view is None else view["source"],
            "probes": [probe.as_json() for probe in self._probes.status(now_s)],
            **self._machine.status(),
            "lags": [lag.as_json() for lag in known_lags(self._parts.config, self._probes.learned)],
            "lags_not_kept": self._sessions.not_kept,
            "unsafe_records": None if running is None else running.journal.backlog,
            "journal_disturbed": None if running is None else running.journal.disturbed or None,
            "bare_now": self._sessions.bare_now,
            "films": [{**_film(film, now_s), "begins_in_s": self._starting.turns.begins_in_s(film)} for film in self._sessions.films],
            "clash": self._sessions.side.clash(now_s),
            **self._sessions.side.tap(now_s),
            "to_come": self._starting.turns.told(),
            "mishaps": self._sessions.mishap_count,
        }

    def _readings(self, request: Request) -> Answer:
        """The readings of every probe over the last half hour, or over `minutes`. Times are monotonic; `now_s` is this moment."""
        now_s, minutes = self._parts.clock.mono_s(), request.body.get("minutes")
        since_s = now_s - (60.0 * minutes if isinstance(minutes, (int, float)) else KEPT_S)
        return {"ok": True, "now_s": now_s, "readings": Told(self._probes.since(since_s))}

    def _develop(self, request: Request) -> None:
        running = self._sessions.running
        if running is not None:
            raise RequestRefused(f"session {running.name} is armed or running; allowed: one session at a time (evenbath status shows it)")
        self._starting.develop(request)

    def _press(self, request: Request) -> Answer:
        """A key that stands for the switch: only in the light, and only where there is no switch."""
        self._running("nothing is armed; allowed: develop first")
        if self._parts.config.panel.switch is not None:
            raise RequestRefused("this station has a foot switch; allowed: keys only where there is none")
        if self._sessions.bare_now:
            raise RequestRefused("film or paper is bare: no keys and no screen now; begins are assumed")
        self._keyboard.press(str(request.body.get("kind")), self._parts.clock.mono_s())
        return {"ok": True}

    def _sound(self, request: Request) -> Answer:
        """One sound for a lesson, at once: only while nothing else may sound. Nothing is written down."""
        running = self._sessions.running
        if running is not None:
            raise RequestRefused(f"session {running.name} is armed or running; allowed: a lesson before or after it")
        if self._starting.going_on:
            raise RequestRefused("somebody goes through the pre-flight; allowed: a lesson before or after it")
        pattern = pattern_of(request.body)
        self._sessions.sound([(LESSON_AFTER_S, pattern)])
        return {"ok": True, "sounds_for_s": LESSON_AFTER_S + length_s(pattern)}

    def _follow(self, request: Request) -> Answer:
        running = self._running("no session is running; allowed: develop first", request.body.get("session"))
        self._sessions.followers.add(request.line, running.name)
        beliefs = running.session.beliefs
        told: dict[str, Any] = {"ok": True, "session": running.name, "view": running.session.view, "recipe": running.recipe.data}
        vessel = None if beliefs.vessel is None else asdict(beliefs.vessel)
        told["bare_now"] = self._sessions.bare_now
        others = [film.recipe for film in self._sessions.films if film is not running]
        others += [film.recipe for film in self._starting.turns.to_come.films]
        told["beside_open"] = any(recipe.open_film for recipe in others)
        return {**told, "probes": [asdict(probe) for probe in beliefs.probes], "vessel": vessel}

    def _abandon(self, request: Request) -> Answer:
        named = request.body.get("session")
        running = self._running("no session is running; nothing to abandon", named)
        ending = list(self._sessions.films) if named is None else [running]
        if named is None:
            self._starting.turns.to_come.put(())
        why = request.body.get("why")
        if not isinstance(why, str) or not why.strip():
            raise RequestRefused("no reason; allowed: a few words that will be written into the journal")
        words, now_s = plain_words(why.strip()), self._parts.clock.mono_s()
        left = [_left(film) for film in ending]
        for film in ending:
            film.note("abandon", {"why": words, "by": "this machine"}, now_s)
            film.abandon(words, now_s)
        for film in ending if self._parts.threads else ():
            film.journal.wait_safe(ABANDON_SAFE_S)
        bare = any(left_bare(film.recipe, *film.ended) for film in ending)
        return {"ok": True, "session": running.name, "sessions": [film.name for film in ending], "left_bare": bare, "left": left}

    def _running(self, else_say: str, named: object = None) -> Running:
        running = self._sessions.running
        if running is None:
            raise RequestRefused(else_say)
        if named is None:
            return running
        found = ids_named(str(named), [film.name for film in self._sessions.films])
        if len(found) == 1:
            return next(film for film in self._sessions.films if film.name == found[0])
        here = ", ".join(_named(film) for film in self._sessions.films)
        why = "names both films" if found else "does not run"
        raise RequestRefused(f"session {plain_words(str(named))} {why}; allowed: {here}, or the end of one of these ids")


def _left(film: Running) -> Mapping[str, Any]:
    """How a film is left that is ended now."""
    view, session = film.session.view, film.session
    told = left_as(film.recipe, view["stage"], (view["stage"] or view["waits_for"] - 1), session.options.mode)
    return {"session": film.name, "vessel": film.vessel, **told}


def _named(film: Running) -> str:
    """Its name with what tells it from the other one's, which may differ by one character."""
    return film.name if film.place is None else f"{film.name} ({film.place.vessel or 'the only vessel'}, {plain_words(film.place.what)})"


def _film(film: Running, now_s: float) -> Mapping[str, Any]:
    """One of the films, for `status`. `assumed`: the stage whose begin was assumed and waits for an answer, "" for the film's end."""
    assumed, stages = film.stand_seen(now_s).assumed, film.recipe.stages
    view, place = film.session.view, film.place
    return {
        "session": film.name, "recipe": film.recipe.name, "vessel": film.vessel, "what": None if place is None else place.what,
        "view": view, "source": view["source"], "bare_now": film.bare_now, "lifted": film.recipe.lifted,
        "assumed": None if assumed is None else stages[assumed].name if assumed < len(stages) else "",
    }  # fmt: skip
