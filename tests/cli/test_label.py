"""`evenbath label`: text and page for a bottle of the ledger."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from monitor.cli.main import main


def test_a_label_is_printed_and_written_as_a_page(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The bottle must stand in the ledger."""
    state = ["--state", str(tmp_path)]
    assert main(["label", "fixer", *state]) == 2
    assert main(["bottle", "add", "fixer", "--volume", "1 l", "--role", "fix", *state]) == 0
    capsys.readouterr()
    page = tmp_path / "label.html"
    assert main(["label", "fixer", *state, "--html", str(page)]) == 0
    assert "NEVER FOOD OR DRINK" in capsys.readouterr().out
    assert "NEVER FOOD OR DRINK" in page.read_text(encoding="utf-8")
    assert main(["label", "fixer", *state, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["lines"][0] == "fixer"
    assert main(["label", "fixer", *state, "--html", str(tmp_path / "label.txt")]) == 2


def test_what_is_dangerous_says_so_on_its_bottle_and_when_it_is_thrown_away(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By its name or by what is in it; the general line about bleaches would be wrong here, since it has a strong acid in it."""
    state = ["--state", str(tmp_path)]
    bottle = ["--volume", "1 l", "--role", "bleach", "--what", "permanganate with sulphuric acid"]
    assert main(["bottle", "add", "reversal", *bottle, *state]) == 0
    capsys.readouterr()
    assert main(["label", "reversal", *state]) == 0
    label = capsys.readouterr().out
    assert "its crystals explode with strong acid" in label
    assert "no strong acid" not in label
    assert main(["bottle", "discard", "reversal", *state]) == 0
    assert "its crystals explode with strong acid: dissolve them first" in capsys.readouterr().out
