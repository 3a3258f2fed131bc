"""`evenbath note`, and what else of the logbook the commands read: ticks in `checklist`, the chosen recipe in `develop`."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

from monitor.cli.main import main
from monitor.live.clock import RealClock
from monitor.prepare.logbook.chosen import choose
from monitor.prepare.logbook.notes import read_notes
from monitor.prepare.logbook.ticks import tick
from tests.page.served import DEMO
from tests.page.test_journals import put

NOW = datetime(2026, 11, 26, 19, 0, tzinfo=UTC)


def test_a_note_is_kept_and_read_again(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The words as they stand, with the session that they are about."""
    state = ("--state", str(tmp_path))
    (tmp_path / "journals").mkdir()
    session = put(tmp_path / "journals", "01-cold-laundry", closed=True)
    assert main(["note", *state]) == 0
    assert "There is no note" in capsys.readouterr().out
    assert main(["note", "the", "tap drips", *state]) == 0
    assert main(["note", "thin", "--session", session, *state]) == 0
    assert [(note.text, note.session) for note in read_notes(tmp_path)] == [("the tap drips", None), ("thin", session)]
    capsys.readouterr()
    assert main(["note", "--session", session, *state]) == 0
    assert capsys.readouterr().out.endswith(f"{session}  thin\n")


@pytest.mark.parametrize("session", ["261101-1900aa", "../x", ""])
def test_a_session_that_is_not_there_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str], session: str) -> None:
    """In a line; nothing is kept."""
    assert main(["note", "x", "--session", session, "--state", str(tmp_path)]) == 2
    assert "allowed:" in capsys.readouterr().err
    assert read_notes(tmp_path) == ()


def test_what_was_ticked_on_a_phone_is_ticked_in_the_list(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """This evening, for a file of this name."""
    roll = shutil.copy(DEMO / "roll.toml", tmp_path / "roll.toml")
    words = ["checklist", str(roll), "--state", str(tmp_path)]
    assert main(words) == 0
    assert "[x]" not in capsys.readouterr().out
    tick(tmp_path, RealClock().wall(), "roll.toml", "jugs", True, None)
    assert main(words) == 0
    assert "[x] Are the jugs lined up" in capsys.readouterr().out


def _develop(folder: Path, *words: str) -> int:
    (folder / "laundry.toml").write_text(f'schema = 1\nstate = "{folder / "state"}"\n')
    return main(["develop", *words, "--file", str(folder / "laundry.toml")])


def test_the_chosen_recipe_is_the_one_beside_the_station_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It is named, and goes the way of every other one: a person answers, or nothing starts."""
    choose(tmp_path / "state", NOW, "roll.toml")
    assert _develop(tmp_path, "--chosen") == 2
    assert "roll.toml: cannot be read" in capsys.readouterr().err
    shutil.copy(DEMO / "roll.toml", tmp_path / "roll.toml")
    assert _develop(tmp_path, "--chosen") == 2
    told = capsys.readouterr()
    assert told.out == "chosen: roll.toml\n"
    assert "a person must answer the pre-flight" in told.err


def test_a_chosen_recipe_is_never_waived(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A phone has named it: a person reads it back, or nothing is asked of the station."""
    choose(tmp_path / "state", NOW, "roll.toml")
    shutil.copy(DEMO / "roll.toml", tmp_path / "roll.toml")
    assert _develop(tmp_path, "--chosen", "--waive", "x") == 2
    told = capsys.readouterr()
    assert "so that a person reads the recipe back" in told.err
    assert told.out == ""


@pytest.mark.parametrize("words", [(), ("roll.toml", "--chosen"), ("--chosen",)])
def test_one_recipe_is_needed(tmp_path: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...]) -> None:
    """None, two, none chosen."""
    assert _develop(tmp_path, *words) == 2
    assert capsys.readouterr().err.count("allowed:") == 1


@pytest.mark.parametrize("name", ["../roll.toml", "/etc/passwd", ""])
def test_what_was_chosen_is_a_name_and_no_path(tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str) -> None:
    """Whatever somebody has written into the file."""
    choose(tmp_path / "state", NOW, name)
    assert _develop(tmp_path, "--chosen") == 2
    assert "no recipe was chosen" in capsys.readouterr().err


@pytest.mark.parametrize("words", [(), ("x",)])
def test_notes_that_are_spoilt_are_told_with_file_and_line_and_left_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...]
) -> None:
    """A line that is none, then a link to a file of somebody else: exit 2, shown or added to."""
    notes, foreign = tmp_path / "logbook" / "notes.jsonl", tmp_path / "foreign"
    notes.parent.mkdir()
    notes.write_text('{"x": 1}\n')
    assert main(["note", *words, "--state", str(tmp_path)]) == 2
    assert f"{notes}:1: not a line of the logbook; allowed: " in capsys.readouterr().err
    assert notes.read_text() == '{"x": 1}\n'
    notes.unlink()
    foreign.write_text("a letter")
    notes.symlink_to(foreign)
    assert main(["note", *words, "--state", str(tmp_path)]) == 2
    told = capsys.readouterr().err
    assert (told.count("\n"), f"{notes}: a symbolic link" in told) == (1, True)
    assert foreign.read_text() == "a letter"
