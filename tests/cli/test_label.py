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
