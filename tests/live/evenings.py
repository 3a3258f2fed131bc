"""Evenings of short films for tests: two vessels, one sounder, one foot, driven without files."""

from __future__ import annotations

import math
from typing import Any

from hardware.simulated.probes import ProbeOptions, SimulatedProbes
from hardware.simulated.trace import Trace, load_trace
from monitor.core.development.beliefs import Beliefs, ProbeModel
from monitor.core.evening.reader import RecipeText, load_evening
from monitor.core.evening.values import Evening, Film
from monitor.core.probes.readings import Role
from monitor.core.session.session import Options, Session
from monitor.core.session.sounds import Vessel
from monitor.live.evening import Armed, EveningRehearsal

Record = dict[str, Any]
ROLL = """schema = 1
name = "Short roll"
film = "panchromatic"
vessel = "lidded tank"
[[stage]]
name = "develop"
role = "develop"
time = "{develop}"
reference = "20 C"
rate = {{ law = "coefficient", per_10_c = 2.5, sd = 0.1 }}
drain = "0:15"
agitation = [{{ from = "0:00", for = "0:30" }}, {{ every = "1:00", for = "0:10" }}]
[[stage]]
name = "stop"
role = "stop"
time = "0:30"
[[stage]]
name = "fix"
role = "fix"
time = "1:00"
"""
SAME = "t_s,developer_c,bath_c,developer_2_c\n0,20,20,20\n3600,19,19,19\n"
DEVELOPERS: dict[Vessel, str] = {1: "developer", 2: "developer_2"}


def evening(films: str, develop: str = "4:00", between: str = "1:00") -> Evening:
    """An evening of films that are written as `left`, `right` or `right +1:30`, divided by commas."""
    text = f'schema = 1\nname = "Test"\nbetween = "{between}"\n'
    for number, words in enumerate(films.split(","), start=1):
        vessel, _, start = words.strip().partition(" ")
        text += f'[[film]]\nrecipe = "roll.toml"\nwhat = "roll {number}"\nvessel = "{vessel}"\n'
        text += f'start = "{start}"\n' if start else ""
    return load_evening(text.encode(), "evening.toml", lambda name: RecipeText(ROLL.format(develop=develop).encode(), name))


class Played:
    """An evening that has been rehearsed: the records of each film by its `what`."""

    def __init__(
        self, films: Evening, trace: str | Trace = SAME, foot: list[tuple[float, float]] | None = None,
        options: ProbeOptions | None = None, until_s: float = math.inf,
    ) -> None:  # fmt: skip
        liquids = load_trace(trace.encode()) if isinstance(trace, str) else trace
        self.records: dict[str, list[Record]] = {}
        self.sessions: dict[str, Session] = {}
        both: dict[Vessel, dict[str, Role]] = {v: {DEVELOPERS[v]: "developer", "bath": "bath"} for v in DEVELOPERS}
        roles = {v: named for v, named in both.items() if v <= len(films.vessels)}
        self.play = EveningRehearsal(films, SimulatedProbes(liquids, options), roles, self._arm, liquids.end_s, foot)
        while self.play.t_s < until_s and self.play.step():
            pass
        if not self.play.over:
            self.play.abandon("the test has seen enough")

    def _arm(self, film: Film, vessel: Vessel) -> Armed:
        self.records[film.what] = []
        probes = (ProbeModel(DEVELOPERS[vessel], "developer", 8.0), ProbeModel("bath", "bath", 0.0))
        session = Session(film.recipe, Beliefs(20.0, probes, None, None), Options("rehearsal", vessel=vessel))
        self.sessions[film.what] = session
        return Armed(session, self.records[film.what].append, {})

    def of(self, what: str, kind: str, **fields: Any) -> list[Record]:
        """The records of one film of this kind with these fields."""
        return [r for r in self.records[what] if r["kind"] == kind and all(r.get(k) == v for k, v in fields.items())]

    def begins(self, what: str) -> list[float]:
        """When each of its stages began."""
        return [r["t_s"] for r in self.of(what, "stage", event="begin")]
