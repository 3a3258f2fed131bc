"""Makes the journals of the wash-house evenings from the recipes and traces that stand beside this file.

Run `python demo_logs/make.py` to write them anew, with their pictures; the same input gives the same bytes (tests/test_demo_logs.py
replays them).
The people, the house and the films are invented; nothing here was measured. The clock of the labels is made up as well.
"""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from hardware.simulated.probes import ProbeOptions, SimulatedProbes
from hardware.simulated.trace import load_trace
from monitor.cli.arguments.recipe_file import open_evening
from monitor.cli.evening_play import DEVELOPERS
from monitor.cli.rehearse import DEMO_COMPARISON_SD_C, ROLES
from monitor.core.development.beliefs import Beliefs, ProbeModel, Vessel
from monitor.core.evening.values import Film
from monitor.core.journal.records import encode
from monitor.core.probes.learned import NOT_COMPARED_SD_C
from monitor.core.probes.readings import Role
from monitor.core.recipe.reader import load_recipe
from monitor.core.recipe.values import Recipe
from monitor.core.session.session import GapDoubt, Options, Session
from monitor.core.session.sounds import Vessel as VesselNumber
from monitor.live.clock import stamp
from monitor.live.evening import Armed, EveningRehearsal
from monitor.live.rehearsal import Rehearsal
from monitor.live.station.resume import UNSURE_S

HERE = Path(__file__).parent
VERSION = "demo"
ROOM_C, BOWL_TAU_S, TANK_LAG_S, POURED_C, BOWL_C = 6.0, 2700.0, 360.0, 20.0, 20.2
"""The laundry, its bowl and the tank in it, all invented."""


@dataclass(frozen=True, slots=True)
class Evening:
    """One journal: what is rehearsed, and what the core is told."""

    name: str
    recipe: str
    session: str
    start: datetime
    comparison_sd_c: float = DEMO_COMPARISON_SD_C
    start_c: float | None = None
    vessel: Vessel | None = None
    pour_c: float | None = None
    override_gate: str | None = None
    power_cut_s: tuple[float, float] | None = None


def at(day: int, hour: int, minute: int) -> datetime:
    """A label's moment in the invented November."""
    return datetime(2026, 11, day, hour, minute, tzinfo=UTC)


TWO = "07-two-tanks"
TWO_SESSIONS = {1: "261127-1900a", 2: "261127-1900b", 3: "261127-1918a", 4: "261127-1921a"}
TWO_START = at(27, 19, 0)
FORGOTTEN, KILLED_S = (3, 2), (500.0, 504.0)
"""Of the evening with two tanks: the film and the stage whose pour nobody taps, and from when to when the program is gone."""

EVENINGS = (
    Evening("01-cold-laundry", "roll", "261106-1910a", at(6, 19, 10), start_c=16.5),
    Evening("02-probe-knocked-out", "roll", "261106-2005a", at(6, 20, 5), vessel=Vessel(TANK_LAG_S, 18.0)),
    Evening("03-six-sheets", "sheets", "261113-1920a", at(13, 19, 20)),
    Evening("04-colour-left-its-band", "colour", "261113-2040a", at(13, 20, 40), NOT_COMPARED_SD_C, override_gate="the kettle is empty"),
    Evening("05-bath-only", "roll", "261120-1900a", at(20, 19, 0), vessel=Vessel(TANK_LAG_S, 18.0), pour_c=20.0),
    Evening("06-power-cut", "roll", "261120-2010a", at(20, 20, 10), power_cut_s=(240.0, 264.0)),
)


def bowl_c(t_s: float) -> float:
    """A bowl of water that cools towards the laundry."""
    return ROOM_C + (BOWL_C - ROOM_C) * math.exp(-t_s / BOWL_TAU_S)


def tank_c(t_s: float) -> float:
    """What is in the tank that stands in that bowl: first-order lag behind it, exact for this bowl."""
    gain_c = (BOWL_C - ROOM_C) / (1.0 - TANK_LAG_S / BOWL_TAU_S)
    return ROOM_C + gain_c * math.exp(-t_s / BOWL_TAU_S) + (POURED_C - ROOM_C - gain_c) * math.exp(-t_s / TANK_LAG_S)


Liquid = Callable[[float], float]
TRACES: dict[str, tuple[Liquid, Liquid, float, int, dict[int, str]]] = {
    "01-cold-laundry": (tank_c, bowl_c, ROOM_C, 1500, {}),
    "02-probe-knocked-out": (tank_c, bowl_c, ROOM_C, 1500, {365: "air", 545: ""}),
    "03-six-sheets": (lambda t: 20.0 + 0.12 * t / 60, lambda t: 20.3 + 0.12 * t / 60, 24.0, 1200, {}),
    "04-colour-left-its-band": (lambda t: 37.75 - 0.9 * (1 - math.exp(-t / 200.0)), lambda t: 38.1 - t / 1500.0, 19.0, 900, {}),
    "05-bath-only": (tank_c, bowl_c, ROOM_C, 1500, {0: "missing"}),
    "06-power-cut": (tank_c, bowl_c, ROOM_C, 1500, {}),
}


def write_traces() -> None:
    """The traces, a row every 15 s and at each fault."""
    for name, (developer, bath, room, upto_s, faults) in TRACES.items():
        rows, now = ["t_s,developer_c,bath_c,room_c,developer_fault"], ""
        for t_s in sorted({*range(0, upto_s, 15), *faults}):
            now = faults.get(t_s, now)
            rows.append(f"{t_s},{developer(t_s):.4f},{bath(t_s):.4f},{room:.1f},{now}")
        (HERE / f"{name}.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")


def write_two_traces() -> None:
    """The liquids of the evening with two tanks: the left one cools, the right one warms, and its probe dies in the last film."""
    rows = ["t_s,developer_c,bath_c,developer_2_c,developer_2_fault"]
    for t_s in range(0, 3000, 30):
        left = 20.4 - 0.7 * (t_s if t_s < 900 else t_s - 1000) / 650  # each film has fresh developer
        right = 19.7 + 0.5 * (t_s - 240 if t_s < 1150 else t_s - 1250) / 650
        rows.append(f"{t_s},{left:.4f},{20.6 - t_s / 1800:.4f},{right:.4f},{'missing' if t_s >= 1590 else ''}")
    (HERE / f"{TWO}.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")


def two_tanks() -> dict[int, bytes]:
    """The journals of the evening with two tanks, by the number of their film."""
    evening = open_evening(str(HERE / f"{TWO}.toml"))
    trace = load_trace((HERE / f"{TWO}.csv").read_bytes())
    lines: dict[int, list[bytes]] = {}

    def session_of(film: Film, number: VesselNumber) -> tuple[Session, tuple[ProbeModel, ...]]:
        sd_c = DEMO_COMPARISON_SD_C
        probes = (ProbeModel(DEVELOPERS[number], "developer", 8.0, sd_c), ProbeModel("bath", "bath", 0.0, sd_c))
        beliefs = Beliefs(film.recipe.stages[0].reference_c, probes, Vessel(TANK_LAG_S, 18.0), None)
        return Session(film.recipe, beliefs, Options("rehearsal", vessel=number)), probes

    def arm(film: Film, number: VesselNumber) -> Armed:
        session, probes = session_of(film, number)
        own = lines.setdefault(film.number, [])

        def write(record: dict[str, Any]) -> None:
            wall = stamp(TWO_START + timedelta(seconds=record["t_s"]))
            full = {"seq": record["seq"], "session": TWO_SESSIONS[film.number], "t_s": record["t_s"], "wall": wall}
            own.append(encode(full | record).encode())

        place = {"name": evening.name, "film": film.number, "of": len(evening.films), "what": film.what, "vessel": film.vessel}
        opening = {
            "version": VERSION, "zone": "UTC", "probes": [p.opening for p in probes], "compared": True,
            "vessel": asdict(Vessel(TANK_LAG_S, 18.0)), "pour_c": None, "trace": f"{TWO}.csv",
            "evening": {**place, "vessel_number": number},
        }  # fmt: skip
        return Armed(session, write, opening)

    def rebuild(film: Film, armed: Armed) -> Session:
        session, _ = session_of(film, armed.session.options.vessel)
        for line in lines[film.number]:
            session.fold(json.loads(line))
        return session

    roles: dict[VesselNumber, dict[str, Role]] = {
        1: {"developer": "developer", "bath": "bath"}, 2: {"developer_2": "developer", "bath": "bath"}
    }  # fmt: skip
    play = EveningRehearsal(evening, SimulatedProbes(trace), roles, arm, trace.end_s, forgets=[FORGOTTEN])
    while play.t_s < KILLED_S[0]:
        play.step()
    play.come_back(KILLED_S[1], rebuild, KILLED_S[1] - KILLED_S[0], GapDoubt())
    while play.step():
        pass
    return {number: b"".join(own) for number, own in lines.items()}


def recipe_of(evening: Evening) -> Recipe:
    """The recipe that stands beside."""
    path = HERE / f"{evening.recipe}.toml"
    return load_recipe(path.read_bytes(), path.name)


def journal(evening: Evening) -> bytes:
    """The journal of one evening, as it would be written."""
    lines: list[bytes] = []

    def write(record: dict[str, Any]) -> None:
        wall = stamp(evening.start + timedelta(seconds=record["t_s"]))
        full = {"seq": record["seq"], "session": evening.session, "t_s": record["t_s"], "wall": wall}
        lines.append(encode(full | record).encode())

    play = opened(evening, write)
    if evening.power_cut_s is not None:
        _through_the_cut(evening.power_cut_s, play, lines, write)
    else:
        while play.rehearsal.step():
            pass
    return b"".join(lines)


@dataclass(frozen=True, slots=True)
class Play:
    """A rehearsal and what it was made of. `end_s`: where its trace ends."""

    recipe: Recipe
    beliefs: Beliefs
    options: Options
    simulated: SimulatedProbes
    end_s: float
    session: Session
    rehearsal: Rehearsal


def opened(evening: Evening, write: Callable[[dict[str, Any]], None]) -> Play:
    """The rehearsal of one evening, armed."""
    recipe = recipe_of(evening)
    trace = load_trace((HERE / f"{evening.name}.csv").read_bytes())
    probes = [
        ProbeModel("developer", "developer", 8.0, evening.comparison_sd_c),
        ProbeModel("bath", "bath", 0.0, evening.comparison_sd_c),
        ProbeModel("room", "room", 0.0),
    ]
    reference_c = next(s.reference_c for s in recipe.stages if s.role == "develop")
    beliefs = Beliefs(reference_c, tuple(probes), evening.vessel, evening.pour_c)
    options = Options("rehearsal", override_gate=evening.override_gate)
    simulated = SimulatedProbes(trace, ProbeOptions(start_c=evening.start_c))
    session = Session(recipe, beliefs, options)
    rehearsal = Rehearsal(session, simulated, ROLES, write, trace.end_s)
    rehearsal.open(
        {
            "version": VERSION,
            "zone": "UTC",
            "probes": [p.opening for p in probes],
            "compared": probes[0].was_compared,
            "vessel": None if evening.vessel is None else asdict(evening.vessel),
            "pour_c": evening.pour_c,
            "trace": f"{evening.name}.csv",
        }
    )
    return Play(recipe, beliefs, options, simulated, trace.end_s, session, rehearsal)


def _through_the_cut(cut_s: tuple[float, float], play: Play, lines: list[bytes], write: Callable[[dict[str, Any]], None]) -> None:
    """The power goes at the first moment and is back at the second; the station takes the session up from its own journal."""
    while play.rehearsal.t_s < cut_s[0]:
        play.rehearsal.step()
    session = Session(play.recipe, play.beliefs, play.options)
    for line in lines:
        session.fold(json.loads(line))
    again = Rehearsal(session, play.simulated, ROLES, write, play.end_s)
    again.resume(cut_s[1], None, False, GapDoubt(longer_s=UNSURE_S))
    while again.step():
        pass


def main() -> int:
    """Write everything anew."""
    write_traces()
    for evening in EVENINGS:
        (HERE / f"{evening.name}.jsonl").write_bytes(journal(evening))
        sys.stdout.write(f"{evening.name}.jsonl\n")
    write_two_traces()
    for number, text in two_tanks().items():
        (HERE / f"{TWO}-{number}.jsonl").write_bytes(text)
        sys.stdout.write(f"{TWO}-{number}.jsonl\n")
    import pictures  # beside this file

    return int(pictures.main())


if __name__ == "__main__":
    sys.exit(main())
