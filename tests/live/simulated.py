"""A whole station on a clock that jumps: the real Station, Player, Journal and session, driven step by step without threads.

Only the seams are fakes: the clock, the bus, the panel, the disk. Used by the tests of the daemon, of the pre-flight, of
resume, and by the fault storm.
"""

from __future__ import annotations

import errno
import json
import os
import random
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from hardware.ports import PanelConfig, Sample, SampleFault
from hardware.simulated.panel import RecordingPanel
from monitor.core.probes.learned import Learned
from monitor.live.disk.disk import Disk
from monitor.live.inbox import Edge, HungUp, Inbox, MachineHealth, Request
from monitor.live.station.daemon import Station
from monitor.live.station.keeper import Keeper
from monitor.live.station.parts import Displays, Parts, Telemetry
from monitor.live.station.player import Player
from monitor.live.station.readers import READ_EVERY_S, Reader
from monitor.live.station.sdnotify import Notifier
from monitor.live.station.station_file import ProbeConfig, StationConfig
from monitor.prepare.probes.learned_store import load_learned, save_lag
from tests.fake_clock import FakeClock

MIB = 1 << 20
JUG, BOWL, WALL, JUG_2 = "28-000000000a01", "28-000000000a02", "28-000000000a03", "28-000000000a04"

SHORT = """
schema = 1
name = "short"
film = "panchromatic"
vessel = "lidded tank"
[[stage]]
name = "develop"
role = "develop"
time = "2:00"
reference = "20 C"
rate = { law = "coefficient", per_10_c = 2.5 }
drain = "0:10"
agitation = [{ from = "0:00", for = "0:10" }, { every = "1:00", for = "0:10" }]
[[stage]]
name = "stop"
role = "stop"
time = "0:30"
[[stage]]
name = "fix"
role = "fix"
time = "1:00"
"""

DARK = SHORT.replace("lidded tank", "open tray")


class FakeBus:
    """Temperatures as functions of the monotonic clock; faults by probe. A read takes `takes_s`, and the sample lies in its middle."""

    def __init__(self, clock: FakeClock, liquids: Mapping[str, Callable[[float], float]]) -> None:
        self._clock = clock
        self.liquids = dict(liquids)
        self.faults: dict[str, SampleFault] = {}
        self.frozen: dict[str, float] = {}
        self.raises: dict[str, Exception] = {}

    def ids(self) -> tuple[str, ...]:
        """All that are not missing."""
        return tuple(sorted(i for i in self.liquids if self.faults.get(i) != "missing"))

    def read(self, probe_id: str) -> Sample:
        """A sample, 12 bits."""
        if probe_id in self.raises:
            raise self.raises[probe_id]
        now_s = self._clock.mono_s()
        fault = self.faults.get(probe_id)
        if fault in ("missing", "crc") or probe_id not in self.liquids:
            return Sample(probe_id, now_s, None, fault or "missing")
        if fault == "reset":
            return Sample(probe_id, now_s, 85.0, "reset")
        raw_c = self.frozen.get(probe_id, round(self.liquids[probe_id](now_s) * 16) / 16)
        if fault == "stale":
            return Sample(probe_id, now_s - 8.0, raw_c, None)
        return Sample(probe_id, now_s, raw_c, fault)


class FakeDisk(Disk):
    """The real disk until it is `full` or `broken`; then it takes half a line at most."""

    def __init__(self) -> None:
        self.full = False
        self.broken = False
        self.torn = 0

    def write(self, descriptor: int, data: memoryview, at: int) -> int:
        """Half of it, then nothing."""
        if self.full or self.broken:
            if self.torn == 0 and len(data) > 1:
                self.torn = 1
                return os.pwrite(descriptor, data[: len(data) // 2], at)
            raise OSError(errno.ENOSPC if self.full else errno.EIO, "No space left on device" if self.full else "Input/output error")
        self.torn = 0
        return super().write(descriptor, data, at)

    def sync(self, descriptor: int) -> None:
        """Safe at once: no power is lost here, and waiting for a real disk would be most of a test's time."""


def config_for(state: Path, *, room: bool = False, has_switch: bool = True) -> StationConfig:
    """A station with a developer and a bath probe, and a room's if wanted."""
    probes = [ProbeConfig("jug", JUG, "developer", 8.0, 5), ProbeConfig("bowl", BOWL, "bath", None, 8)]
    if room:
        probes.append(ProbeConfig("wall", WALL, "room", None, 11))
    panel = PanelConfig("lgpio", "GPIO18", "GPIO23", "GPIO24" if has_switch else None)
    return StationConfig("station.toml", "laundry", state, 3, tuple(probes), panel, None)


def with_two_vessels(config: StationConfig, own_switches: bool) -> StationConfig:
    """The same with a second vessel, and its own switch and sounder if wanted."""
    jug, *rest = config.probes
    probes = (replace(jug, vessel="left"), ProbeConfig("jug2", JUG_2, "developer", 8.0, 14, "right"), *rest)
    own = replace(config.panel, switch_2="GPIO17", sounder_2="GPIO27") if own_switches else config.panel
    return replace(config, probes=probes, panel=own)


class World:
    """The station and everything around it. `life` begins another life of the station on the same state folder."""

    def __init__(
        self,
        state: Path,
        liquids: Mapping[str, Callable[[float], float]] | None = None,
        *,
        has_switch: bool = True,
        room: bool = False,
        learned: Learned | None = None,
        seed: int = 1,
        publisher: Telemetry | None = None,
        notifier: Notifier | None = None,
        disk: Disk | None = None,
        telling: Displays | None = None,
        two_vessels: bool = False,
        own_switches: bool = False,
    ) -> None:
        self.state = state
        (state / "journals").mkdir(parents=True, exist_ok=True)
        self.clock = FakeClock()
        self.bus = FakeBus(self.clock, liquids or {JUG: lambda t: 20.3, JUG_2: lambda t: 19.8, BOWL: lambda t: 20.0, WALL: lambda t: 15.0})
        self.disk = FakeDisk()
        self._disk = disk or self.disk
        self.config = config_for(state, room=room, has_switch=has_switch)
        self._own_switches = own_switches
        if two_vessels:
            self.config = with_two_vessels(self.config, own_switches)
        self.known_before = learned
        self.answers: list[dict[str, Any]] = []
        self.sent: list[tuple[int, dict[str, Any]]] = []
        self.deaf: set[int] = set()
        self.health = MachineHealth(1000 * MIB, None)
        self.late_by_s: Callable[[], float] = lambda: 0.0
        self._seed = seed
        self._has_switch = has_switch
        self._publisher = publisher
        self._notifier = notifier
        self._telling = telling
        self.life()

    def life(self) -> None:
        """Begin anew with what is on the disk, as after a kill -9: nothing of the old one is asked to stop."""
        self._known: dict[Path, tuple[int, dict[str | None, list[dict[str, Any]]]]] = {}
        self.inbox = Inbox()
        self.panel = RecordingPanel(self.clock.mono_s, self._has_switch, second=self._own_switches)
        self.player = Player(self.clock, self.panel.sounder, self.inbox.put, sounder_2=self.panel.sounder_2)
        self.said: list[str] = []
        self.readers = [Reader(self.clock, self.bus, p.name, p.id, self.inbox.put) for p in self.config.probes]
        self.keeper = Keeper(self.clock, self.state, self.inbox.put, self._learn, lambda lag: save_lag(self.state, lag))
        self.station = Station(
            Parts(
                self.config, self.clock, self.inbox, self.panel, self.player, self.readers, self._learn, self._send,
                self.said.append, self._publisher, self._notifier, random.Random(self._seed), self._disk, threads=False,
                telling=self._telling, keep=self.keeper.keep,
            )
        )  # fmt: skip
        self._read_s = self.clock.mono_s()
        self._write_s = self.clock.mono_s()
        self._health_s = self.clock.mono_s()
        if self.panel.switch is not None:
            self.panel.switch.listen(lambda at_s, down: self.inbox.put(Edge(at_s, down)))
        if self.panel.switch_2 is not None:
            self.panel.switch_2.listen(lambda at_s, down: self.inbox.put(Edge(at_s, down, 2)))
        self.station.sessions.take_up()
        self.settle()

    def _learn(self) -> Learned:
        """As the test gave it, else what stands in the state folder."""
        return load_learned(self.state) if self.known_before is None else self.known_before

    def _send(self, line: int, body: Mapping[str, Any]) -> bool:
        if line in self.deaf:
            return False
        self.sent.append((line, dict(body)))
        return True

    # -- time -------------------------------------------------------------------------------------------------------

    def settle(self) -> None:
        """Everything that is due now, until nothing is."""
        for _ in range(1000):
            moved = False
            while (message := self.inbox.get(0)) is not None:
                self.station.turn(message)
                moved = True
            if self.station.due_s <= self.clock.mono_s():
                self.station.turn(None)
                moved = True
            next_s = self.player.step()
            if not moved and (next_s is None or next_s > self.clock.mono_s()):
                return
        raise AssertionError("the station never comes to rest")

    def go(self, seconds: float) -> None:
        """Let time pass."""
        self.go_to(self.clock.mono_s() + seconds)

    def go_to(self, until_s: float) -> None:
        """Let time pass until this moment of the monotonic clock."""
        while True:
            now_s = self.clock.mono_s()
            player_s = self.player.step()
            times = [until_s, self.station.due_s, self._read_s, self._write_s, self._health_s]
            if player_s is not None:
                times.append(player_s)
            at_s = max(min(times), now_s)
            self.clock.to(at_s + (self.late_by_s() if at_s < until_s else 0.0))
            now_s = self.clock.mono_s()
            if now_s >= self._health_s:
                self._health_s = now_s + 10.0
                self.inbox.put(self.health)
                self.keeper.step()
            if now_s >= self._read_s:
                self._read_s += READ_EVERY_S
                for reader in self.readers:
                    reader.step()
            self.settle()
            if now_s >= self._write_s:
                self._write_s = now_s + 0.5
                self.write()
                self.settle()
            if now_s >= until_s:
                return

    def write(self) -> None:
        """The journals' threads have had their turn."""
        for journal in self.station.sessions.journals:
            journal.step()

    def go_until(self, what: Callable[[], bool], most_s: float = 3600.0) -> None:
        """Let time pass until something is so."""
        until_s = self.clock.mono_s() + most_s
        while not what():
            assert self.clock.mono_s() < until_s, "it never came"
            self.go(0.25)

    # -- hands and socket -------------------------------------------------------------------------------------------

    def press(self, seconds: float = 0.2, second: bool = False) -> None:
        """The foot goes down and up again. `second`: on the second vessel's own switch."""
        switch = self.panel.switch_2 if second else self.panel.switch
        assert switch is not None
        switch.move(True)
        self.settle()
        self.go(seconds)
        switch.move(False)
        self.settle()

    def ask(self, line: int = 1, **body: Any) -> dict[str, Any]:
        """One request; waits for its answer."""
        got: list[dict[str, Any]] = []
        self.inbox.put(Request(line, body, lambda answer: got.append(dict(answer))))
        self.settle()
        for _ in range(40):
            if got:
                return got[0]
            self.go(0.25)
        raise AssertionError("no answer")

    def hang_up(self, line: int = 1) -> None:
        """A connection is gone."""
        self.inbox.put(HungUp(line))
        self.settle()

    def develop(self, recipe: str = SHORT, **more: Any) -> str:
        """Arm a session, nobody asked. Returns its name."""
        answer = self.ask(verb="develop", recipe=recipe, file="recipe.toml", waive="a test", **more)
        assert answer["ok"], answer
        return str(answer["armed"])

    # -- what stands on the disk ------------------------------------------------------------------------------------

    def journal(self, name: str) -> Path:
        """The journal's file."""
        return self.state / "journals" / f"{name}.jsonl"

    def records(self, name: str, kind: str | None = None, **fields: Any) -> list[dict[str, Any]]:
        """Records on the disk, of one kind if given, with these fields."""
        self.write()
        found = self._read(self.journal(name)).get(kind, [])
        for key, value in fields.items():
            found = [record for record in found if record.get(key) == value]
        return list(found)

    def _read(self, path: Path) -> dict[str | None, list[dict[str, Any]]]:
        """The records of each kind, and under None all, of a file that only grows during a life; what was read once is not read again."""
        length, read = self._known.get(path, (0, {None: []}))
        with path.open("rb") as file:
            file.seek(length)
            fresh = file.read()
        whole = fresh[: fresh.rfind(b"\n") + 1]
        for line in whole.splitlines():
            record = json.loads(line)
            read[None].append(record)
            read.setdefault(record.get("kind"), []).append(record)
        self._known[path] = (length + len(whole), read)
        return read
