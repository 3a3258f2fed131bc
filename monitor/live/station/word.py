"""The station's word: everything that a page shows of it, made anew each time, and whether anything may be lit by it.

Decides when a page must be black: as long as film is bare or will be, which is from the arming of such a recipe to the end of its
session; where film is bare for its loading alone, until the stage after that; and for an hour after a close that left it bare
(`left_bare`). A dry run is made with scrap film, in the light. In a dark word there is nothing but that. Owned by the thread that owns
the state. Tests: tests/live/station/test_word.py.
"""

from __future__ import annotations

from typing import Any, Protocol

from monitor import __version__
from monitor.live.station.left_bare import may_be_lit
from monitor.live.station.parts import Parts
from monitor.live.station.probes_now import ProbesNow
from monitor.live.station.running import Running
from monitor.live.station.sessions import Sessions

TOLD_EVERY_S = 0.5
"""A word is told so often while somebody reads."""


class Turns(Protocol):
    """When the films of an evening are to begin."""

    def begins_in_s(self, film: Running) -> float | None:
        """How long it is until this film is to begin; None where it has begun, or nothing says."""
        ...

    def next_ones(self) -> list[dict[str, Any]]:
        """The next film to come in each vessel."""
        ...


class GoingDark(Protocol):
    """Whoever is about to bare film."""

    @property
    def turns(self) -> Turns:
        """The films to come."""
        ...

    def going_dark(self, now_s: float) -> bool:
        """Whether somebody has asked for a start with bare film and waits for the displays to go black."""
        ...


def _lit(running: Running) -> bool:
    return may_be_lit(running.recipe, running.session.snapshot.stage, running.session.options.mode)


def _film(running: Running) -> dict[str, Any]:
    session = running.session
    what = None if running.place is None else running.place.what
    told = {"session": running.name, "recipe": running.recipe.name, "vessel": running.vessel, "what": what, "mode": session.options.mode}
    return {**told, "view": session.view}


class Teller:
    """Call `look` at every turn; `due_s` is when it is wanted although nothing else happens."""

    def __init__(self, parts: Parts, sessions: Sessions, probes: ProbesNow, starting: GoingDark) -> None:
        self._telling = parts.telling
        self._name = parts.config.name
        self._sessions = sessions
        self._probes = probes
        self._starting = starting
        self._next_s = parts.clock.mono_s()

    @property
    def due_s(self) -> float | None:
        """The moment of the next word, monotonic; None while nobody reads."""
        return self._next_s if self._telling is not None and self._telling.listeners else None

    def look(self, now_s: float) -> None:
        """Tell, if it is time."""
        if self._telling is None or not self._telling.listeners:
            return
        if now_s >= self._next_s:
            self._next_s = now_s + TOLD_EVERY_S
            self._telling.tell(self.word(now_s))

    @property
    def _films(self) -> list[Running]:
        """The sessions that run."""
        return self._sessions.films

    def light(self, now_s: float) -> bool:
        """Whether anything may be lit: all films together decide, and one that was left bare."""
        if self._starting.going_dark(now_s) or self._sessions.left.bare(now_s):
            return False
        return all(_lit(running) for running in self._films)

    def word(self, now_s: float) -> dict[str, Any]:
        """All that is told, at this moment. `films`: one object for each session that runs."""
        if not self.light(now_s):
            return {"station": self._name, "light": False}
        return {
            "station": self._name,
            "light": True,
            **self._sessions.side.tap(now_s),
            "version": __version__,
            "films": [{**_film(running), "begins_in_s": self._starting.turns.begins_in_s(running)} for running in self._films],
            "clash": self._sessions.side.clash(now_s),
            "to_come": self._starting.turns.next_ones(),
            "probes": [probe.as_json() for probe in self._probes.status(now_s, steps=False)],
        }
