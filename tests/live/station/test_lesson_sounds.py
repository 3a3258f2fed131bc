"""A sound that a lesson asks of the station: the pattern as asked for, nothing while a session is armed, nothing in a journal."""

from __future__ import annotations

import itertools
from pathlib import Path
from typing import Any

import pytest

from monitor.core.session.sounds import SIGNALS, Signal
from tests.live.simulated import SHORT, World


@pytest.fixture
def world(tmp_path: Path) -> World:
    """A station without a session."""
    world = World(tmp_path / "state")
    world.go(3)
    return world


def heard_ms(world: World, before: int) -> list[int]:
    """Pulses and gaps of the sounder since that many edges."""
    edges = [at_s for at_s, _ in world.panel.sounder.edges[before:]]
    return [round(1000 * (b - a)) for a, b in itertools.pairwise(edges)]


@pytest.mark.parametrize("signal", SIGNALS, ids=lambda signal: signal.name)
def test_the_station_plays_each_signal_of_the_table(world: World, signal: Signal) -> None:
    """On its own sounder, to the millisecond; it says how long that takes, and the lamp stays dark."""
    answer = world.ask(verb="sound", on_off_ms=list(signal.on_off_ms))
    assert answer["ok"]
    world.go(answer["sounds_for_s"])
    parts = list(signal.on_off_ms)
    assert heard_ms(world, 0) == (parts if len(parts) % 2 else parts[:-1])
    assert not world.panel.sounder.on
    assert world.panel.lamp is None or not world.panel.lamp.edges


def test_one_sound_after_the_other_and_the_newer_one_breaks_off_the_older(world: World) -> None:
    """Whoever asks again has heard enough of the first."""
    world.ask(verb="sound", on_off_ms=[3000])
    world.go(1.2)
    before = len(world.panel.sounder.edges)
    world.ask(verb="sound", on_off_ms=[90, 90, 90])
    world.go(2)
    assert heard_ms(world, before + 1) == [90, 90, 90]
    assert not world.panel.sounder.on


def test_nothing_is_played_while_a_session_is_armed_and_nothing_is_written_down(world: World) -> None:
    """One line, status 2; the session's own sounds are its own."""
    name = world.develop()
    records, before = len(world.records(name)), len(world.panel.sounder.edges)
    refused = world.ask(2, verb="sound", on_off_ms=[900])
    assert (refused["ok"], refused["status"], len(refused["lines"])) == (False, 2, 1)
    assert name in refused["lines"][0]
    assert len(world.panel.sounder.edges) == before
    assert {r["kind"] for r in world.records(name)[records:]} <= {"reading"}


def test_nothing_is_played_into_somebodys_pre_flight(world: World) -> None:
    """Its own ticks are counted there."""
    answer = world.ask(verb="develop", recipe=SHORT, file="recipe.toml")
    assert answer["questions"]
    assert world.ask(2, verb="sound", on_off_ms=[900])["status"] == 2
    world.hang_up(1)
    assert world.ask(2, verb="sound", on_off_ms=[900])["ok"]


def test_a_session_that_is_armed_while_a_lesson_sounds_silences_it(world: World) -> None:
    """Its begin is heard without another sound in it, and no `cue` tells of the lesson."""
    world.ask(verb="sound", on_off_ms=[3000])
    world.go(1)
    name = world.develop()
    assert not world.panel.sounder.on
    world.go(5)
    assert world.records(name, "cue") == []
    assert not list((world.state / "journals").glob("*")) or [p.stem for p in (world.state / "journals").glob("*.jsonl")] == [name]


@pytest.mark.parametrize("wrong", [None, [], "900", [0], [900.0], [True], [5001], [-3, 90], [100] * 65, [5000] * 13, {"on": 3}], ids=str)
def test_what_is_no_sound_is_refused(world: World, wrong: Any) -> None:
    """In one line; the sounder stays silent."""
    refused = world.ask(verb="sound", on_off_ms=wrong)
    assert (refused["ok"], refused["status"], len(refused["lines"])) == (False, 2, 1)
    world.go(2)
    assert world.panel.sounder.edges == []
