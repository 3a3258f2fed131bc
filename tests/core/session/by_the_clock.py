"""Stages that go by the clock, so that a test can say to the hundredth when something must come."""

from __future__ import annotations

from collections.abc import Sequence

from monitor.core.journal.history import History
from monitor.core.session.effects import Effect, Play
from monitor.core.session.sounds import Sound
from tests.evening import Evening, Record, recipe


def timed(role: str, time: str, more: str = "") -> str:
    """A stage of this role that temperature does not move."""
    steer = "steer = false\n" if role == "develop" else ""
    return f'name = "{role}"\nrole = "{role}"\ntime = "{time}"\n{steer}{more}'


DEVELOP = timed("develop", "2:00", 'drain = "0:15"')
"""Begun at 0: READY 75, NOW 105, `due` from 115, end 120."""
STOP = timed("stop", "1:00")
"""Begun at 120: READY 140, NOW 170, end 180."""
FIX = timed("fix", "5:00", 'at_most = "8:00"')
LOAD = 'name = "load"\nrole = "load"'
FEW_S = 4.0
"""Often enough for a probe to be believed, and not to be missed."""


class Listened(Evening):
    """An evening that also remembers what it asked the sounder to play. Its readings are few, since they move nothing."""

    def __init__(self, *args: object, **options: object) -> None:
        self.played: list[Sound] = []
        super().__init__(*args, **{"reading_every_s": FEW_S, **options})  # type: ignore[arg-type]

    def _do(self, effects: Sequence[Effect]) -> None:
        self.played += [effect.sound for effect in effects if isinstance(effect, Play)]
        super()._do(effects)


def evening(*stages: str, tail: str = "", vessel: str = "lidded tank", **options: object) -> Listened:
    """Armed at 0, nothing begun."""
    return Listened(recipe(*stages, vessel=vessel, tail=tail), **options).open()


def begun(*stages: str, tail: str = "", vessel: str = "lidded tank") -> Listened:
    """Its first stage begun at 0."""
    return evening(*stages, tail=tail, vessel=vessel).press(0.0, 1.2)


def taps(an_evening: Evening) -> list[tuple[float, str]]:
    """What the presses meant, without the one at 0."""
    return [(r["t_s"], r["meaning"]) for r in an_evening.kind("tap") if r["t_s"] > 0.0]


def begins(an_evening: Evening) -> dict[int, tuple[float, str]]:
    """The begin of each stage that counts, and how it is known."""
    return {p.stage: (round(p.begin_s, 3), p.begun_by) for p in History.of(an_evening.records).passages}


def close(an_evening: Evening) -> Record | None:
    """The close, None while the session goes on."""
    found = an_evening.kind("session", event="close")
    return found[0] if found else None


def nows(an_evening: Evening, after_s: float = 0.0) -> list[float]:
    """When NOW sounded."""
    return [round(t, 3) for t in an_evening.cues("now") if t > after_s]
