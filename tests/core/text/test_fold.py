"""Lines folded to a width, and the commands whose words fit a terminal."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.cli.main import main
from monitor.core.text.fold import fold
from tests.core.recipe.samples import ROLL


@pytest.mark.parametrize(
    ("head", "hangs"),
    [("  1. ", "     "), ("  - ", "    "), ("  12  ", "      "), ("- ", "  "), ("", "  "), ("    said: ", "      ")],
)
def test_a_folded_line_hangs_under_its_own_beginning(head: str, hangs: str) -> None:
    """Below its number or its dash, else two columns in; nothing is lost."""
    line = head + "word " * 20 + "end"
    folded = fold(line, 50)
    assert len(folded) > 1
    assert folded[0].startswith(head)
    assert all(len(part) <= 50 for part in folded)
    assert all(part.startswith((hangs + "w", hangs + "e")) for part in folded[1:])
    assert " ".join(folded).split() == line.split()


def test_a_line_that_fits_stays_as_it_is() -> None:
    """Two blanks in a row too."""
    assert fold("  1  a  b", 80) == ["  1  a  b"]


@pytest.mark.parametrize(
    "words",
    [
        ("plan", "roll.toml"),
        ("checklist", "roll.toml"),
        ("judge", "--seen", "thin-all"),
        ("judge", "--seen", "fog-all"),
        ("wash", "--tests"),
        ("wash", "--water", "9 C", "--fixer", "20 C"),
        ("wash", "--jug", "1 l", "--fills-in", "0:25", "--aid"),
    ],
)
def test_words_fit_a_terminal_of_eighty_columns(
    words: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """And a pipe gets the same words, a line for each fact."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path / "state"))
    (tmp_path / "roll.toml").write_text(ROLL, encoding="utf-8")
    monkeypatch.delenv("COLUMNS", raising=False)
    assert main(list(words)) == 0
    piped = capsys.readouterr().out
    monkeypatch.setenv("COLUMNS", "80")
    assert main(list(words)) == 0
    fitted = capsys.readouterr().out
    assert max(map(len, fitted.splitlines())) <= 80
    assert fitted.split() == piped.split()
