"""`evenbath plan --card`: the page is written, and what differs from the last session is told beside it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from monitor.cli.main import main
from tests.core.recipe.samples import ROLL, changed
from tests.prepare.bottles.test_booking import journal


def test_a_card_is_one_file_that_stands_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Beside the plan in words."""
    recipe, card = tmp_path / "r.toml", tmp_path / "card.html"
    recipe.write_text(ROLL, encoding="utf-8")
    assert main(["plan", str(recipe), "--card", str(card), "--state", str(tmp_path)]) == 0
    assert "Start the second clock" in card.read_text(encoding="utf-8")
    assert str(card) in capsys.readouterr().out


@pytest.mark.parametrize("name", ["r.toml", "no/such/folder/card.html", "bad\0name.html"])
def test_a_place_that_cannot_be_written_is_one_line(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit status 2; the recipe is not overwritten by a slip."""
    recipe = tmp_path / "r.toml"
    recipe.write_text(ROLL, encoding="utf-8")
    assert main(["plan", str(recipe), "--card", str(tmp_path / name), "--state", str(tmp_path)]) == 2
    assert capsys.readouterr().err.count("\n") == 1
    assert recipe.read_text(encoding="utf-8") == ROLL


def test_the_plan_tells_what_differs_from_the_last_session(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """In words and as data; nothing is said where there was none."""
    recipe = tmp_path / "r.toml"
    recipe.write_text(ROLL, encoding="utf-8")
    assert main(["plan", str(recipe), "--state", str(tmp_path), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["last_session"] is None
    (tmp_path / "journals").mkdir()
    journal(tmp_path / "journals" / "20261101.jsonl", changed(ROLL, "factor = 1.0 => factor = 1.2"))
    assert main(["plan", str(recipe), "--state", str(tmp_path), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["differences"] == ["develop, factor: 1, was 1.2"]
    assert main(["plan", str(recipe), "--state", str(tmp_path)]) == 0
    assert "develop, factor: 1, was 1.2" in capsys.readouterr().out
