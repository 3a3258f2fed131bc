"""`evenbath checklist`: the list on paper and as data."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from monitor.cli.main import main
from tests.core.recipe.samples import ROLL, TRAY


def test_the_list_holds_questions_waits_and_cautions(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The alarm stands before the table of what may wait; the rule about data sheets ends it."""
    recipe = tmp_path / "r.toml"
    recipe.write_text(TRAY, encoding="utf-8")
    state = ["--state", str(tmp_path)]
    assert main(["checklist", str(recipe), *state]) == 0
    lines = capsys.readouterr().out.splitlines()
    text = "\n".join(lines)
    assert text.index("smoke or gas alarm always comes first") < text.index("develop: Never wait")
    assert "the station checks: " in text
    assert max(map(len, lines)) <= 110
    assert "data sheet" in text[text.rindex("  - ") :].replace("\n    ", " ")
    assert "if not:" not in text, "the question alone"
    assert main(["checklist", str(recipe), *state, "--if-not", "--cautions"]) == 0
    longer = capsys.readouterr().out
    assert longer.count("if not: ") == text.count("[ ]")
    assert longer.count("\n  - ") > text.count("\n  - ")
    assert main(["checklist", str(recipe), *state, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert {item["asked_of"] for item in found["items"]} == {"person", "machine"}
    assert [wait["stage"] for wait in found["waits"]] == [1, 2, 3, 4]
    assert found["cautions"][-1]["id"] == "the rule"


def test_whoever_chose_fahrenheit_is_asked_in_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """On the screen and on paper."""
    recipe, card = tmp_path / "r.toml", tmp_path / "list.html"
    recipe.write_text(ROLL, encoding="utf-8")
    monkeypatch.setenv("EVENBATH_UNITS", "F")
    assert main(["checklist", str(recipe), "--state", str(tmp_path), "--card", str(card)]) == 0
    for text in (capsys.readouterr().out, card.read_text(encoding="utf-8")):
        assert "do the probes agree within 0.4 F?" in " ".join(text.split())
        assert "0.2 C" not in text


def test_a_card_is_written_beside_the_list(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Its path is told; a name that is no page is refused."""
    recipe, card = tmp_path / "r.toml", tmp_path / "list.html"
    recipe.write_text(ROLL, encoding="utf-8")
    assert main(["checklist", str(recipe), "--state", str(tmp_path), "--card", str(card)]) == 0
    assert capsys.readouterr().out.endswith(f"The checklist on paper: {card}\n")
    assert "<h1>Before Roll film" in card.read_text(encoding="utf-8")
    assert main(["checklist", str(recipe), "--state", str(tmp_path), "--card", str(recipe)]) == 2


def test_the_list_shows_what_is_on_record(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The bottle that bears a solution's name, and the room for film that lies open."""
    recipe, state = tmp_path / "r.toml", ["--state", str(tmp_path)]
    recipe.write_text(ROLL, encoding="utf-8")
    assert main(["bottle", "add", "Developer A", "--volume", "1 l", "--discard-at", "10", *state]) == 0
    capsys.readouterr()
    assert main(["checklist", str(recipe), *state, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["on_record"] == ["developer A: good; 10 of 10 units left"]
    recipe.write_text(TRAY, encoding="utf-8")
    assert main(["checklist", str(recipe), *state]) == 0
    assert "darkness, panchromatic film: never tested for this film" in capsys.readouterr().out


def test_a_recipe_that_is_not_there_is_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit status 2."""
    assert main(["checklist", str(tmp_path / "none.toml")]) == 2
    assert capsys.readouterr().err.count("\n") == 1
