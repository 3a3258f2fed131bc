"""`evenbath clearing`: the fixing time as data and in words, and what is refused."""

from __future__ import annotations

import json

import pytest

from monitor.cli.main import main


def test_the_data_say_how_long_to_fix_and_whether_to_discard(capsys: pytest.CaptureFixture[str]) -> None:
    """Fresh 40 s, today 75 s: 150 s; three times: 225 s; 80 s: discard."""
    for words, fix_s, discard in ((["1:15"], 150.0, False), (["1:15", "--times", "3"], 225.0, False), (["1:20"], 160.0, True)):
        assert main(["clearing", "--fresh", "0:40", "--today", *words, "--json"]) == 0
        out = capsys.readouterr().out
        assert out.count("\n") == 1
        found = json.loads(out)
        assert (found["fix_s"], found["discard"]) == (fix_s, discard)


def test_the_words_are_those_of_the_sink(capsys: pytest.CaptureFixture[str]) -> None:
    """2:30, or 3:45 for flat-grain films."""
    assert main(["clearing", "--fresh", "0:40", "--today", "1:15"]) == 0
    out = capsys.readouterr().out
    assert "2:30" in out
    assert "3:45" in out


@pytest.mark.parametrize(
    "words",
    [
        ["--fresh", "40", "--today", "1:15"],
        ["--fresh", "0:00", "--today", "1:15"],
        ["--fresh", "0:40", "--today", "1:15", "--times", "1"],
        ["--fresh", "0:40", "--today", "1:15", "--times", "nan"],
        ["--fresh", "0:40", "--today", "1:15", "--times", "two"],
    ],
)
def test_what_is_wrong_is_one_line_and_exit_2(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """A bare number, a zero, less than twice, no number."""
    assert main(["clearing", *words]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "allowed: " in said


@pytest.mark.parametrize("text", ["two", "nan", "inf"])
def test_a_multiple_that_is_no_number_is_told_as_it_was_typed(text: str, capsys: pytest.CaptureFixture[str]) -> None:
    """And what is allowed."""
    assert main(["clearing", "--fresh", "0:40", "--today", "1:15", "--times", text]) == 2
    assert capsys.readouterr().err == f'--times "{text}": not a number; allowed: 2 to 5\n'


def test_help_says_how_the_test_is_done(capsys: pytest.CaptureFixture[str]) -> None:
    """The clearing test's own help and that of the ledger's tests."""
    assert main(["clearing", "--help"]) == 0
    assert "drop of fixer" in " ".join(capsys.readouterr().out.split())
    assert main(["bottle", "test", "--help"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "drop of fixer" in said
    assert "film leader" in said
