"""`evenbath bottle`: the ledger from the command line."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from monitor.cli.main import main
from tests.prepare.bottles.test_booking import journal


@pytest.fixture(autouse=True)
def state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A state folder of the test's own."""
    folder = tmp_path / "state"
    monkeypatch.setenv("STATE_DIRECTORY", str(folder))
    return folder


def bottle(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    """Run one action with --json; its one object."""
    assert main(["bottle", *words, "--json"]) == 0
    out = capsys.readouterr().out
    assert out.count("\n") == 1
    found: dict[str, Any] = json.loads(out)
    return found


def refused(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    """Run one action that is refused; its one line."""
    assert main(["bottle", *words]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1, said
    return said


def test_an_evening_with_a_fixer(capsys: pytest.CaptureFixture[str]) -> None:
    """Added, six 4x5 through it twice, tested, taken back, discarded."""
    words = ["--volume", "1 l", "--role", "fix", "--dilution", "1+4", "--per-litre", "20", "--fresh", "0:40"]
    assert bottle(capsys, "add", "fixer", *words)["remaining_units"] == 20.0
    bottle(capsys, "use", "fixer", "--sheets", "4x5", "--count", "6")
    found = bottle(capsys, "use", "fixer", "--units", "1.5")
    fields = ("name", "volume_ml", "units", "remaining_units", "state")
    assert [found[field] for field in fields] == ["fixer", 1000.0, 3.0, 17.0, "good"]
    found = bottle(capsys, "test", "fixer", "--clearing", "1:20")
    assert (found["state"], found["last_test"]["failed"]) == ("dead", True)
    assert bottle(capsys, "undo")["state"] == "good"
    assert [b["name"] for b in bottle(capsys, "list")["bottles"]] == ["fixer"]
    assert bottle(capsys, "discard", "fixer")["state"] == "discarded"
    assert bottle(capsys, "list")["bottles"] == []
    assert len(bottle(capsys, "list", "--all")["bottles"]) == 1


def test_discarding_what_carries_silver_says_where_it_may_not_go(capsys: pytest.CaptureFixture[str]) -> None:
    """And that local codes rule."""
    bottle(capsys, "add", "fixer", "--volume", "1 l", "--role", "fix")
    assert main(["bottle", "discard", "fixer"]) == 0
    out = capsys.readouterr().out
    assert "silver" in out
    assert "septic" in out
    assert "local codes" in out


def test_replenishment_is_said_in_millilitres(capsys: pytest.CaptureFixture[str]) -> None:
    """8 units x 70 ml = 560 ml."""
    bottle(capsys, "add", "tank", "--volume", "2 l", "--replenish", "70 ml")
    assert main(["bottle", "use", "tank", "--units", "8"]) == 0
    assert "replenish: 560 ml in; 560 ml poured off" in capsys.readouterr().out


def test_a_session_is_booked_from_its_journal_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Only because the person says so; a rehearsal never."""
    bottle(capsys, "add", "developer A", "--volume", "600 ml", "--one-shot", "--role", "develop")
    path = str(journal(tmp_path / "j.jsonl"))
    found = bottle(capsys, "use", "developer A", "--journal", path)
    assert (found["units"], found["state"], found["sessions"]) == (1.0, "used up", ["20261125-1900"])
    assert "booked" in refused(capsys, "use", "developer A", "--journal", path)
    assert "rehearsal" in refused(capsys, "use", "--journal", str(journal(tmp_path / "r.jsonl", mode="rehearsal")))


def test_a_damaged_last_line_is_told_in_one_line_and_nothing_is_lost(state: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit status 0: the ledger can be used."""
    bottle(capsys, "add", "fixer", "--volume", "1 l")
    with (state / "ledger" / "bottles.jsonl").open("ab") as file:
        file.write(b'{"seq":2,"en')
    assert main(["bottle", "list"]) == 0
    told = capsys.readouterr()
    assert told.err.count("\n") == 1
    assert "bottles.jsonl:2: " in told.err
    assert "fixer" in told.out
    assert main(["bottle", "use", "fixer", "--units", "1"]) == 0
    assert (state / "ledger" / "bottles.jsonl.damaged").exists()


def test_a_damaged_line_in_the_middle_stops_everything(state: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit status 2, by file and line."""
    bottle(capsys, "add", "fixer", "--volume", "1 l")
    file = state / "ledger" / "bottles.jsonl"
    file.write_bytes(b"rubbish\n" + file.read_bytes())
    assert "bottles.jsonl:1: " in refused(capsys, "list")


@pytest.mark.parametrize(
    "words",
    [
        ["add", "x", "--volume", "1"],
        ["add", "x", "--volume", "-1 l"],
        ["add", "x", "--volume", "0 ml"],
        ["add", "", "--volume", "1 l"],
        ["add", "x", "--volume", "1 l", "--dilution", "1:4"],
        ["add", "x", "--volume", "1 l", "--keeps-full", "6"],
        ["add", "x", "--volume", "1 l", "--mixed", "2999-01-01"],
        ["add", "x", "--volume", "1 l", "--mixed", "2026-01-02", "--opened", "2026-01-01"],
        ["add", "x", "--volume", "1 l", "--per-litre", "-2"],
        ["add", "x", "--volume", "1 l", "--one-shot", "--per-litre", "20"],
        ["add", "x", "--volume", "1 l", "--replenisher", "y"],
        ["add", "there", "--volume", "1 l"],
        ["use", "there"],
        ["use", "nobody", "--units", "1"],
        ["use", "there", "--units", "nan"],
        ["use", "there", "--units", "0.001"],
        ["use", "there", "--units", "1", "--sheets", "4x5"],
        ["use", "there", "--count", "6"],
        ["use", "there", "--sheets", "4x5", "--count", "-6"],
        ["use", "there", "--take", "501 ml"],
        ["use", "--units", "1"],
        ["use", "there", "--journal", "/nowhere/j.jsonl"],
        ["test", "there", "--clearing", "0:40"],
        ["test", "there", "--clearing", "0:00", "--fresh", "0:40"],
        ["discard", "nobody"],
        ["list", "nobody"],
    ],
)
def test_what_is_wrong_is_one_line_and_nothing_is_written(words: list[str], state: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit status 2, with what is allowed."""
    bottle(capsys, "add", "there", "--volume", "500 ml")
    file = state / "ledger" / "bottles.jsonl"
    before = file.read_bytes()
    assert "allowed: " in refused(capsys, *words)
    assert file.read_bytes() == before


def test_an_empty_ledger_says_how_to_begin(capsys: pytest.CaptureFixture[str]) -> None:
    """And undo has nothing to undo."""
    assert main(["bottle", "list"]) == 0
    assert "bottle add" in capsys.readouterr().out
    assert "nothing to undo" in refused(capsys, "undo")


@pytest.mark.parametrize("command", [["bottle", "list"], ["clearing", "--fresh", "0:40", "--today", "1:00"], ["darkness", "status"]])
def test_a_short_command_loads_nothing_heavy(command: list[str], state: Path) -> None:
    """No pandas, no numpy, no daemon: what makes it answer at once."""
    code = (
        f"import sys; from monitor.cli.main import main; assert main({command!r}) == 0; "
        "heavy = {'pandas', 'numpy', 'matplotlib', 'gpiozero', 'paho', 'rich'} & set(sys.modules); assert not heavy, heavy"
    )
    env = {**os.environ, "STATE_DIRECTORY": str(state)}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, env=env)
    assert done.returncode == 0, done.stderr


def test_opened_before_today_asks_for_the_day_of_mixing(state: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """--mixed would be today, and nothing is opened before it is mixed: the message says which option is missing."""
    message = refused(capsys, "add", "x", "--volume", "1 l", "--opened", "2026-01-01")
    assert "--mixed" in message
    assert "defaults to today" in message
    bottle(capsys, "add", "x", "--volume", "1 l", "--opened", "2026-01-01", "--mixed", "2026-01-01")


def test_a_fixer_that_nobody_tested_is_untested_and_one_unit_is_one(state: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Good is said after a test: of a fixer by its clearing time, of a developer that is used again by a piece of leader."""
    assert main(["bottle", "add", "fixer", "--role", "fix", "--volume", "1 l"]) == 0
    assert "fixer: untested; no limit of area entered" in capsys.readouterr().out
    assert main(["bottle", "add", "brew", "--role", "develop", "--volume", "1 l"]) == 0
    assert "brew: untested;" in capsys.readouterr().out
    assert main(["bottle", "add", "once", "--role", "develop", "--volume", "1 l", "--one-shot"]) == 0
    assert "once: good; one-shot, not used yet" in capsys.readouterr().out
    assert main(["bottle", "use", "fixer", "--units", "1"]) == 0
    said = capsys.readouterr().out
    assert "booked: 1 unit through it" in said
    assert "1 unit through it" in said.splitlines()[-1]
    assert main(["bottle", "test", "fixer", "--clearing", "0:30", "--is-fresh"]) == 0
    assert "fixer: good" in capsys.readouterr().out


def test_an_action_that_is_none_is_told_with_those_there_are(capsys: pytest.CaptureFixture[str]) -> None:
    """In words, without the brackets and bars of its usage."""
    assert main(["bottle", "dicsard"]) == 2
    said = capsys.readouterr().err
    assert said.startswith("evenbath bottle: action: invalid choice: 'dicsard' (choose from ")
    assert 'did you mean "discard"?' in said
