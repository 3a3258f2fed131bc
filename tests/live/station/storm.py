"""An hour of simulated time in which everything goes wrong at random: probes, feet, disk, broker, wall clock, the process itself.

`storm` returns what it found wrong, in words; nothing is the only good answer. Used by tests/live/station/test_fault_storm.py (a few
seeds) and by tests/benchmarks/bench_storm.py (two hundred).
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from monitor.core.journal.check import Findings, read_records
from tests.live.simulated import BOWL, JUG, WALL, World

LIDDED = """
schema = 1
name = "roll"
film = "panchromatic"
vessel = "lidded tank"
[[stage]]
name = "presoak"
role = "presoak"
time = "2:00"
[[stage]]
name = "develop"
role = "develop"
time = "11:00"
reference = "20 C"
rate = { law = "coefficient", per_10_c = 2.5 }
drain = "0:15"
band = "0.5 C"
agitation = [{ from = "0:00", for = "0:30" }, { every = "1:00", for = "0:10" }]
[[stage]]
name = "stop"
role = "stop"
time = "0:45"
[[stage]]
name = "fix"
role = "fix"
time = "5:00"
at_most = "12:00"
[[stage]]
name = "wash"
role = "wash"
time = "5:00"
"""

TRAY = """
schema = 1
name = "six sheets"
film = "panchromatic"
vessel = "open tray"
[[stage]]
name = "presoak"
role = "presoak"
time = "3:00"
agitation = "continuous"
[[stage]]
name = "develop"
role = "develop"
time = "8:00"
reference = "20 C"
rate = { law = "arrhenius", activation_energy_kj_mol = 70.6 }
agitation = "continuous"
[[stage]]
name = "stop"
role = "stop"
time = "1:00"
agitation = "continuous"
[[stage]]
name = "fix"
role = "fix"
time = "5:00"
agitation = "continuous"
[sheets]
count = 6
interval = "0:10"
"""

COLOUR = """
schema = 1
name = "colour"
film = "colour"
vessel = "lidded tank"
[[stage]]
name = "load"
role = "load"
[[stage]]
name = "develop"
role = "develop"
time = "3:15"
reference = "20 C"
gate = { band = "0.5 C", for = "0:20" }
band = "0.15 C"
agitation = [{ from = "0:00", for = "0:30" }, { every = "0:30", for = "0:05" }]
[[stage]]
name = "bleach-fix"
role = "bleach-fix"
time = "6:30"
[[stage]]
name = "wash"
role = "wash"
time = "3:15"
"""

RECIPES = (LIDDED, TRAY, COLOUR)
OPEN = {LIDDED: False, TRAY: True, COLOUR: False}


@dataclass
class Result:
    """What a storm did and what was wrong."""

    wrong: list[str] = field(default_factory=list)
    records: int = 0
    sessions: int = 0
    lives: int = 1
    worst_now_s: float = 0.0


class Broker:
    """A publisher whose broker comes and goes."""

    def __init__(self) -> None:
        self.up = True
        self.safe_bytes: dict[str, int] = {}

    def safe(self, session: str, offset: int) -> None:
        """What is safe never becomes less."""
        assert offset >= self.safe_bytes.get(session, 0)
        self.safe_bytes[session] = offset

    def probe(self, name: str, payload: Any) -> None:
        """Dropped while it is away."""

    def progress(self, payload: Any) -> None:
        """Dropped while it is away."""

    def vessel(self, name: str, payload: Any) -> None:
        """Dropped while it is away."""

    def counters(self) -> dict[str, Any]:
        """Numbers."""
        return {"connected": self.up}


def storm(state: Path, seed: int, hour_s: float = 3600.0, kills: bool = False) -> Result:
    """One storm."""
    dice = random.Random(seed)
    drift = dice.uniform(-0.2, 0.2) / 60
    liquids = {
        JUG: lambda t: 20.0 + drift * (t - 1000) + 0.03 * math.sin(t * 7.1),
        BOWL: lambda t: 20.0 + 1.5 * drift * (t - 1000) + 0.03 * math.sin(t * 5.3),
        WALL: lambda t: 15.0,
    }
    broker = Broker()
    world = World(state, liquids, room=True, seed=seed, publisher=broker)
    world.late_by_s = lambda: dice.random() ** 8 * 0.02
    result = Result()
    end_s = world.clock.mono_s() + hour_s
    names: list[str] = []
    recipe = LIDDED
    world.go(8)
    while world.clock.mono_s() < end_s:
        if world.station.running is None:
            name, recipe = _start(world, dice)
            if name is not None:
                names.append(name)
        _blow(world, broker, dice)
        world.go(dice.expovariate(1 / 4.0))
        lamp = world.panel.lamp
        if OPEN[recipe] and world.station.running is not None and lamp is not None and not lamp.closed:
            result.wrong.append("the lamp's pin was opened")
        if kills and dice.random() < 0.01:
            world.disk.full = world.disk.broken = False
            result.wrong += world.station.sessions.mishaps
            world.life()
            result.lives += 1
    world.disk.full = world.disk.broken = False
    if world.station.running is not None:
        world.ask(verb="abandon", why="the storm is over")
    world.write()
    result.wrong += world.station.sessions.mishaps
    result.sessions = len(names)
    for name in names:
        _check(world.journal(name), result)
    return result


def _start(world: World, dice: random.Random) -> tuple[str | None, str]:
    """Somebody wants a session; it may well be refused while everything is broken."""
    world.bus.faults.clear()
    world.bus.raises.clear()
    world.bus.frozen.clear()
    assert world.panel.switch is not None
    world.panel.switch.move(False)
    world.go(3)
    recipe = dice.choice(RECIPES)
    lamp = recipe is LIDDED and dice.random() < 0.5
    answer = world.ask(verb="develop", recipe=recipe, file="r", waive="a storm", lamp=lamp)
    return (str(answer["armed"]) if answer["ok"] else None), recipe


def _blow(world: World, broker: Broker, dice: random.Random) -> None:
    """Something happens."""
    probe = dice.choice((JUG, BOWL, WALL))
    what = dice.random()
    switch = world.panel.switch
    assert switch is not None
    if what < 0.15:
        world.bus.faults[probe] = dice.choice(("missing", "crc", "reset", "implausible", "stale"))
    elif what < 0.35:
        world.bus.faults.clear()
        world.bus.frozen.clear()
        world.bus.raises.clear()
    elif what < 0.40:
        world.bus.frozen[probe] = dice.choice((20.0, 15.0, 0.0, 59.9, 20.0625))
    elif what < 0.43:
        world.bus.raises[probe] = dice.choice((RuntimeError("?"), IndexError("list index out of range"), OSError(5, "?")))
    elif what < 0.70:
        for _ in range(dice.choice((1, 1, 1, 2, 7))):  # bounces and stumbles
            switch.move(not switch.is_down())
            world.go(dice.choice((0.001, 0.004, 0.05, 0.3, 0.9)))
        if dice.random() < 0.9:
            switch.move(False)
    elif what < 0.74:
        switch.move(True)
        world.go(dice.choice((1.1, 3.0, 12.0)))
        switch.move(False)
    elif what < 0.78:
        world.disk.full = dice.random() < 0.5
        world.disk.broken = not world.disk.full and dice.random() < 0.5
    elif what < 0.82:
        world.disk.full = world.disk.broken = False
    elif what < 0.88:
        broker.up = not broker.up
    elif what < 0.91:
        world.clock.step_wall(dice.choice((-3600, 3600, 86400, -5, 5)))
    elif what < 0.94:
        world.ask(dice.randint(1, 5), verb=dice.choice(("status", "readings", "follow", "arm", "answer", "press", "nonsense")))
    elif what < 0.97:
        world.ask(verb="develop", recipe=dice.choice((LIDDED, "not toml [", "")), file="r", waive="x")
    else:
        world.hang_up(dice.randint(1, 5))


def _check(path: Path, result: Result) -> None:
    """The journal is whole, and NOW was on time."""
    findings = Findings(path.name)
    with path.open("rb") as lines:
        records = [record for _, record in read_records(lines, findings)]
    result.records += len(records)
    result.wrong += findings.lines() + ([findings.torn] if findings.torn else [])
    if [r["seq"] for r in records] != list(range(1, len(records) + 1)):
        result.wrong.append(f"{path.name}: seq has gaps")
    back_s = -math.inf
    for record in records:
        if record["kind"] == "session" and record["event"] == "resume":
            back_s = record["t_s"]
        if record["kind"] == "cue" and record["cue"] == "now" and record["t_s"] > back_s + 1.0:
            result.worst_now_s = max(result.worst_now_s, record["lateness_s"])
    if result.worst_now_s > 0.1:
        result.wrong.append(f"{path.name}: a NOW {result.worst_now_s:.3f} s late")
