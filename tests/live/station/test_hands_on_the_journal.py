"""Somebody lays hands on the journal of the running session: an editor that saves it, `mv journals`, `rm`."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.review.check import check
from monitor.review.load import load
from monitor.review.measures import measure
from tests.live.disk.test_disturbed import WAYS
from tests.live.simulated import SHORT, World
from tests.live.station.test_resume import begun, finish

BRIEF = SHORT.replace('"1:00"\n', '"0:20"\n').replace('"0:30"', '"0:15"').replace('"2:00"', '"1:00"')


def disturbed(tmp_path: Path, way: str) -> tuple[World, str, int]:
    """A session in its development whose journal was disturbed two seconds ago. The last: its newest seq before that."""
    world, name = begun(tmp_path / "state", BRIEF, 25.0)
    before = world.records(name)[-1]["seq"]
    WAYS[way](world.journal(name), world.journal(name).read_bytes())
    world._known.clear()
    world.go(2)
    return world, name, before


@pytest.mark.parametrize("way", WAYS)
def test_it_is_noticed_told_and_written_on(tmp_path: Path, way: str) -> None:
    """Within two seconds: a record, status, one FAULT; to its end nothing is missing, and review reads all of it."""
    world, name, before = disturbed(tmp_path, way)
    told = world.records(name, "trouble", part="journal")
    assert len(told) == 1
    assert told[0]["well"] is False
    assert len(world.records(name, "cue", cue="fault")) == 1
    assert world.ask(verb="status")["journal_disturbed"] == told[0]["why"]
    finish(world, name)
    records = world.records(name)
    assert [r["seq"] for r in records] == list(range(1, len(records) + 1))
    assert records[-1]["event"] == "close"
    assert len(records) > before
    assert len(world.records(name, "cue", cue="fault")) == 1
    journal = load(world.journal(name))
    assert journal.findings.lines() == []
    assert not check(journal, measure(journal)).disagree


@pytest.mark.parametrize("way", ["folder moved", "saved by an editor that had read less", "emptied", "edited", "moved"])
def test_after_a_kill_no_seq_is_used_twice(tmp_path: Path, way: str) -> None:
    """The next life finds the whole journal, goes on from its last record, and FAULT speaks of it no more."""
    world, name, before = disturbed(tmp_path, way)
    written = world.records(name)
    assert written[-1]["seq"] > before
    world.life()
    assert world.station.running is not None
    assert world.station.running.name == name
    world.go(3)
    records = world.records(name)
    assert records[: len(written)] == written
    assert [r["seq"] for r in records] == list(range(1, len(records) + 1))
    assert len(world.records(name, "cue", cue="fault")) == 1


def test_hands_again_and_again_are_noted_each_time_and_sound_once(tmp_path: Path) -> None:
    """Nobody needs to hear it twice."""
    world, name, _ = disturbed(tmp_path, "deleted")
    for _ in range(4):
        world.journal(name).unlink()
        world._known.clear()
        world.go(70)
    assert len(world.records(name, "trouble", part="journal")) == 5
    assert len(world.records(name, "fault")) == 1
    assert len(world.records(name, "cue", cue="fault")) == 1


def test_an_undisturbed_session_says_nothing_of_it(tmp_path: Path) -> None:
    """Null in status."""
    world, name = begun(tmp_path)
    world.journal(name).touch()
    world.go(3)
    assert world.ask(verb="status")["journal_disturbed"] is None
    assert not world.records(name, "trouble")
