"""What the station hands to its telemetry, and when."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from hardware.ports import Sample
from monitor.live.inbox import Sampled
from tests.live.simulated import JUG, World


class Voice:
    """Telemetry that writes down what it is told."""

    def __init__(self) -> None:
        self.safe_to: list[tuple[str, int]] = []
        self.probes: list[tuple[str, Mapping[str, Any]]] = []
        self.progressed: list[Mapping[str, Any] | None] = []
        self.in_vessels: list[tuple[str, Mapping[str, Any] | None]] = []

    def safe(self, session: str, offset: int) -> None:
        """A journal is safe up to here."""
        self.safe_to.append((session, offset))

    def probe(self, name: str, payload: Mapping[str, Any]) -> None:
        """The newest reading."""
        self.probes.append((name, payload))

    def progress(self, payload: Mapping[str, Any] | None) -> None:
        """The newest progress."""
        self.progressed.append(payload)

    def vessel(self, name: str, payload: Mapping[str, Any] | None) -> None:
        """The newest progress of a vessel."""
        self.in_vessels.append((name, payload))

    def counters(self) -> dict[str, Any]:
        """Connected, all the time."""
        return {"connected": True}


@pytest.fixture
def voice() -> Voice:
    """Telemetry."""
    return Voice()


@pytest.fixture
def world(tmp_path: Path, voice: Voice) -> World:
    """A station with telemetry that has watched its bath for a while."""
    world = World(tmp_path, publisher=voice)
    world.go(10)
    return world


def test_a_station_without_a_session_takes_the_old_progress_away(world: World, voice: Voice) -> None:
    """The broker may still hold that of an earlier run."""
    assert voice.progressed == [None]


def test_the_newest_reading_of_each_probe_is_told_with_its_age(world: World, voice: Voice) -> None:
    """Outside a session without session time; in one with both."""
    name, told = voice.probes[-1]
    assert (name, told["celsius"], told["quality"], told["session"], told["t_s"]) == ("bowl", 20.0, "good", None, None)
    assert told["age_s"] < 1.0
    session = world.develop()
    world.go(3)
    _, told = voice.probes[-1]
    assert told["session"] == session
    assert told["t_s"] == world.records(session, "reading", probe="bowl")[-1]["t_s"]


def test_an_older_reading_than_the_newest_is_not_told(world: World, voice: Voice) -> None:
    """A slow read that comes back last is over."""
    count = len(voice.probes)
    world.station.turn(Sampled("jug", Sample(JUG, world.clock.mono_s() - 5.0, 25.0), world.clock.mono_s()))
    assert len(voice.probes) == count


def test_progress_is_the_journals_own_record_and_nothing_remains_at_the_close(world: World, voice: Voice) -> None:
    """In the order of the journal; None once the session is over."""
    name = world.develop()
    world.press(1.2)
    world.go(20)
    told = [p for p in voice.progressed if p is not None]
    assert told == world.records(name, "progress")
    assert len(told) > 5
    world.ask(verb="abandon", why="enough")
    assert voice.progressed[-1] is None
    assert voice.progressed.count(None) == 2


def test_only_what_is_safe_on_the_disk_is_told_as_safe(world: World, voice: Voice) -> None:
    """Up to whole records, and never further than the file while the disk takes nothing."""
    name = world.develop()
    world.press(1.2)
    world.go(10)
    world.disk.full = True
    world.go(10)
    session, length = voice.safe_to[-1]
    assert session == name
    whole = world.journal(name).read_bytes()[:length]
    assert whole.endswith(b"\n")
    seqs = [json.loads(line)["seq"] for line in whole.splitlines()]
    assert seqs == list(range(1, len(seqs) + 1))
    before = len(voice.safe_to)
    world.go(5)
    assert len(voice.safe_to) == before
    world.disk.full = False
    world.go(2)
    assert voice.safe_to[-1] == (name, world.journal(name).stat().st_size)
