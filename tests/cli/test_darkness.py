"""`evenbath darkness`: guide, record, change, status."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from monitor.cli.main import main
from tests.core.recipe.samples import ROLL, TRAY


def data(capsys: pytest.CaptureFixture[str], state: Path, *words: str) -> dict[str, Any]:
    """Run one action with --json; its one object."""
    assert main(["darkness", *words, "--state", str(state), "--json"]) == 0
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def test_a_film_is_never_tested_until_somebody_did(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Recorded, it covers half of its time; a change makes it due again."""
    recipe = tmp_path / "r.toml"
    recipe.write_text(TRAY, encoding="utf-8")
    found = data(capsys, tmp_path, "status", str(recipe))
    assert (found["status"], found["covered"], found["open_s"]) == ("never tested for this film", False, 750.0)
    found = data(capsys, tmp_path, "record", "--film", "panchromatic", "--place", "tray", "--ran", "26:00", "--shows", "none")
    assert (found["status"], found["test"]["safe_open_s"]) == ("tested", 780.0)
    assert data(capsys, tmp_path, "status", str(recipe))["covered"] is True
    data(capsys, tmp_path, "changed", "new box")
    assert data(capsys, tmp_path, "status", str(recipe))["status"] == "due again"
    assert {film["status"] for film in data(capsys, tmp_path, "status")["films"]} == {"due again", "never tested for this film"}


def test_the_guide_counts_twice_the_open_time_of_the_recipe(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """8:00 and 0:30 and 4:00 open: 25:00."""
    recipe = tmp_path / "r.toml"
    recipe.write_text(TRAY, encoding="utf-8")
    assert main(["darkness", "guide", str(recipe)]) == 0
    assert "25:00" in capsys.readouterr().out


@pytest.mark.parametrize(
    "words",
    [
        ["guide", "--film", "orange"],
        ["record", "--film", "orange", "--place", "tray", "--ran", "30:00", "--shows", "none"],
        ["record", "--film", "colour", "--place", "tray", "--ran", "30", "--shows", "none"],
        ["record", "--film", "colour", "--place", "tray", "--ran", "30:00", "--shows", "3:00"],
        ["record", "--film", "colour", "--place", "tray", "--ran", "30:00", "--shows", "none", "--day", "2999-01-01"],
        ["record", "--film", "colour", "--place", "tray", "--ran", "30:00", "--shows", "none", "--distance-cm", "-1"],
    ],
)
def test_what_is_wrong_is_one_line(
    words: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit status 2, and nothing is recorded."""
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path))
    assert main(["darkness", *words]) == 2
    assert capsys.readouterr().err.count("\n") == 1
    assert not (tmp_path / "learned").exists()


def test_a_tank_that_is_loaded_in_the_dark_is_not_said_to_lie_open_for_no_time(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Loading has no clock: the guide speaks of what it takes, and the status does not say "0:00"."""
    recipe = tmp_path / "r.toml"
    recipe.write_text(ROLL, encoding="utf-8")
    assert main(["darkness", "guide", str(recipe)]) == 0
    assert "bare only while you load it: let it lie at least twice as long as that takes you" in capsys.readouterr().out
    assert main(["darkness", "status", str(recipe), "--state", str(tmp_path)]) == 0
    said = capsys.readouterr().out
    assert "0:00" not in said
    assert "film is bare only while you load it" in said
    assert data(capsys, tmp_path, "status", str(recipe))["covered"] is None
