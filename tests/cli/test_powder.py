"""`evenbath powder`: order, estimate, cautions."""

from __future__ import annotations

import json

import pytest

from monitor.cli.main import main


def test_a_litre_in_a_cold_bath(capsys: pytest.CaptureFixture[str]) -> None:
    """Steps, seconds with earliest and latest, and the cautions about powders with the rule last."""
    assert main(["powder", "--volume", "1 l", "--bath", "12 C", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["earliest_s"] < found["usable_after_s"] < found["latest_s"]
    assert found["start_c"] == 37.5
    assert "Pregnancy" in found["cautions"][-2]["text"]
    assert "data sheet" in found["cautions"][-1]["text"]


def test_too_hot_water_is_remarked_on(capsys: pytest.CaptureFixture[str]) -> None:
    """Above 55 C, not at it."""
    assert main(["powder", "--volume", "1 l", "--hot", "55.5 C"]) == 0
    assert "spoils" in capsys.readouterr().out
    assert main(["powder", "--volume", "1 l", "--hot", "55 C"]) == 0
    assert "spoils" not in capsys.readouterr().out


@pytest.mark.parametrize(
    "words",
    [
        ["--volume", "1"],
        ["--volume", "0 ml"],
        ["--volume", "1 l", "--room", "25 C"],
        ["--volume", "1 l", "--within", "0 C"],
        ["--volume", "1 l", "--lag", "0:00"],
    ],
)
def test_what_is_wrong_is_one_line(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """Exit status 2."""
    assert main(["powder", *words]) == 2
    assert capsys.readouterr().err.count("\n") == 1
