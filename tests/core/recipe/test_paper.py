"""Colour paper is called colour in a recipe: what is in the vessel says that it is paper, and the words say so too."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from monitor.cli.main import main
from monitor.core.recipe.kinds import is_paper

SET = [word for answer in ("time=1:00", "reference=35 C", "volume=100 ml") for word in ("--set", answer)]


@pytest.mark.parametrize(
    ("film", "what", "paper"),
    [
        ("paper", None, True),
        ("colour", "one 8x10 print", True),
        ("colour", "two Prints", True),
        ("colour", "8x10 paper", True),
        ("colour", "one 36-exposure roll", False),
        ("colour", "film printed on a spool", False),
        ("colour", None, False),
        ("panchromatic", "one 8x10 print", False),
        (None, None, False),
    ],
)
def test_paper_is_told_from_film(film: str | None, what: str | None, paper: bool) -> None:
    """By the recipe's word for film, and for colour by what is in the vessel."""
    assert is_paper(film, what) is paper


@pytest.fixture
def words(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> dict[str, str]:
    """What `plan`, its card and `checklist` say of colour prints in a drum."""
    recipe, card = tmp_path / "drum.toml", tmp_path / "card.html"
    assert main(["new", "--from", "colour-print", "--out", str(recipe), "--usual", *SET]) == 0
    capsys.readouterr()
    assert main(["plan", str(recipe)]) == 0
    plan = capsys.readouterr().out
    assert main(["plan", str(recipe), "--card", str(card)]) == 0
    capsys.readouterr()
    assert main(["checklist", str(recipe), "--state", str(tmp_path)]) == 0
    return {"plan": plan, "card": card.read_text(encoding="utf-8"), "checklist": capsys.readouterr().out}


def test_colour_prints_are_called_paper(words: dict[str, str]) -> None:
    """Its dark is that of film all the same: colour paper has no safelight here."""
    assert "Light: paper is bare during stage 1 (load): no lamp of any colour" in words["plan"]
    assert "Paper: one 8x10 print; colour, in a drum" in words["plan"]
    assert "colour paper, drum; no light of any colour on bare paper; lid on until fixed." in words["card"]
    assert "darkness, colour paper: never tested for this paper" in words["checklist"]


def test_nothing_calls_a_print_film(words: dict[str, str], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Neither plan nor card, checklist or darkness; one question names both."""
    capsys.readouterr()
    assert main(["darkness", "guide", str(tmp_path / "drum.toml")]) == 0
    assert main(["darkness", "status", str(tmp_path / "drum.toml"), "--state", str(tmp_path)]) == 0
    dark = capsys.readouterr().out
    for said in (words["plan"], re.sub(r"<[^>]*>", "", words["card"]), words["checklist"], dark):
        assert not re.search(r"\bfilms?\b", said.replace("this film or paper", "").replace("--film", ""))
