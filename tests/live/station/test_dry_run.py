"""A dry run at the station: the same session, recorded as a rehearsal, and no film that light could harm."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.core.errors import InputWrong
from monitor.prepare.bottles.booking import read_booking
from tests.live.simulated import DARK, World
from tests.live.station.test_resume import finish


def begun(tmp_path: Path, **more: bool) -> tuple[World, str]:
    """A tray in the dark, its developer running."""
    world = World(tmp_path)
    world.go(5)
    name = world.develop(DARK, **more)
    world.go(2)
    world.press(1.2)
    world.go(20)
    return world, name


def test_its_record_is_a_rehearsal_that_no_ledger_takes(tmp_path: Path) -> None:
    """From begin to end; the sounds are those of a real session."""
    world, name = begun(tmp_path, rehearsal=True)
    finish(world, name)
    assert world.records(name)[0]["mode"] == "rehearsal"
    assert world.records(name, "session", event="close")
    assert {cue["cue"] for cue in world.records(name, "cue")} >= {"tick", "ready", "now", "click"}
    with pytest.raises(InputWrong, match="rehearsal"):
        read_booking(world.journal(name))


def test_it_stays_one_when_the_station_dies_in_it(tmp_path: Path) -> None:
    """What goes on after a kill -9 is the same dry run."""
    world, name = begun(tmp_path, rehearsal=True)
    world.life()
    running = world.station.running
    assert running is not None
    assert running.name == name
    assert running.session.options.mode == "rehearsal"
    assert not running.bare_now


def test_its_film_is_scrap_and_the_screen_may_tell_of_it(tmp_path: Path) -> None:
    """With real film in the same tray nothing would be shown."""
    for number, rehearsal in enumerate((True, False)):
        world, name = begun(tmp_path / str(number), rehearsal=rehearsal)
        assert world.ask(verb="status")["bare_now"] is not rehearsal
        assert world.records(name)[0]["mode"] == ("rehearsal" if rehearsal else "live")


def test_only_true_makes_a_dry_run(tmp_path: Path) -> None:
    """A word in its place does not: the record of a real film must not be lost to the ledger."""
    world = World(tmp_path)
    world.go(5)
    assert world.records(world.develop(rehearsal="yes"))[0]["mode"] == "live"
