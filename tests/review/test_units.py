"""Whoever has chosen Fahrenheit reads it in every text, table and picture of the review; data stay in Celsius."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from monitor.cli.main import main

DEMOS = Path(__file__).parents[2] / "demo_logs"
ROLL, COLOUR = next(DEMOS.glob("02-*.jsonl")), next(DEMOS.glob("04-*.jsonl"))


@pytest.fixture
def fahrenheit(monkeypatch: pytest.MonkeyPatch) -> None:
    """The person's own choice."""
    monkeypatch.setenv("EVENBATH_UNITS", "F")


@pytest.mark.usefixtures("fahrenheit")
@pytest.mark.parametrize("journal", [ROLL, COLOUR], ids=["roll", "colour"])
def test_a_review_is_in_fahrenheit(journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Temperatures, differences and rates, reasons out of the record too; only the recipe and its name are as they were written."""
    page = tmp_path / "page.html"
    assert main(["review", str(journal), "--long", "--report", str(page)]) == 0
    text = capsys.readouterr().out.replace("Colour negative at 37.8 C", "")
    names = r"<h1>.*?</h1>|<title>.*?</title>|<pre.*?</pre>|Colour negative at 37.8\u00a0°C"
    shown = re.sub(names, "", page.read_text("utf-8"), flags=re.S)
    assert not re.findall(r"[^,;]*\d C\b", text)
    assert not re.findall(r"[^>]*\d\s?°?C\b", shown)
    assert "F" in text


@pytest.mark.usefixtures("fahrenheit")
def test_the_numbers_are_those_of_the_unit(capsys: pytest.CaptureFixture[str]) -> None:
    """20 C are 68 F; 1.68 C below is 3.03 F below."""
    main(["review", str(ROLL), "--long"])
    said = capsys.readouterr().out
    assert "planned 11:00 at 68 F" in said
    assert "as it cooled 3.0 F" in said
    assert re.search(r"worst 64\.9\d F \+/- 0\.3\d at 11:37 \(3\.0\d F below the reference\)", said)
    assert "the band of 68 F, 0.9 F either way" in said
    assert "reading fell 11.0 F a minute" in said


@pytest.mark.usefixtures("fahrenheit")
def test_data_stay_in_celsius(capsys: pytest.CaptureFixture[str]) -> None:
    """JSON and rows."""
    main(["review", str(ROLL), "--json"])
    assert json.loads(capsys.readouterr().out)["stages"][0]["mean_c"] == pytest.approx(19.39, abs=0.02)
    main(["review", str(ROLL), str(COLOUR), "--compare"])
    assert "66.90 F" in capsys.readouterr().out


def test_without_a_choice_it_is_celsius(capsys: pytest.CaptureFixture[str]) -> None:
    """As in every record."""
    main(["review", str(ROLL)])
    assert "as it cooled 1.7 C" in capsys.readouterr().out
