"""`evenbath archive` as a person runs it: a film gets its number, notes, a strip for its sleeve, and is found again."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from monitor.cli.main import main
from tests.review.journals import play, recipe_data


@pytest.fixture
def state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A state folder with one live session and one rehearsal."""
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path))
    (tmp_path / "journals").mkdir()
    play(recipe_data(time="6:00"), lambda _: 20.0, session="260301-k1").write(tmp_path / "journals" / "260301-k1.jsonl")
    play(recipe_data(time="6:00"), lambda _: 20.0, session="260301-k2", mode="rehearsal").write(tmp_path / "journals" / "260301-k2.jsonl")
    return tmp_path


def archive(*words: object) -> int:
    """Run the command."""
    return main(["archive", *map(str, words)])


def test_a_film_takes_from_its_session_what_that_knows_and_the_journal_is_not_touched(
    state: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its day, its developer, how long it was in and what that came to."""
    journal = state / "journals" / "260301-k1.jsonl"
    before = journal.read_bytes()
    assert archive("add", "k1", "--film", "pan 125", "--index", 100) == 0
    assert capsys.readouterr().out.splitlines() == [
        "added: 2026-001  2026-03-01  pan 125, index 100",
        "  developer A, 6:00, 100.0 % +/- 1.8 of the wanted development",
        "  session 260301-k1",
    ]
    assert journal.read_bytes() == before
    assert sorted(p.name for p in (state / "journals").iterdir()) == ["260301-k1.jsonl", "260301-k2.jsonl"]
    assert archive("add", "k2", "--film", "pan 125") == 2
    assert "a rehearsal, no film was in it" in capsys.readouterr().err


def test_a_note_is_worked_out_written_down_and_found(state: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By the person's own table."""
    assert archive("table", "pan 400", "1 s=1 s", "10 s=20 s", "100 s=10:00") == 0
    assert archive("add", "--film", "pan 400", "--day", "2026-03-02", "--words", "churchyard") == 0
    assert archive("add", "--film", "pan 125", "--day", "2025-03-02") == 0
    note = ("--metered", "8 s", "--filter", "2x", "--focal", "150 mm", "--extension", "210 mm", "--reciprocity", "pan 400")
    assert archive("note", "2026-001", "12A", *note, "--aperture", "f/22", "--words", "door") == 0
    assert "expose 1:48" in capsys.readouterr().out
    assert archive("find", "DOOR") == 0
    assert capsys.readouterr().out.splitlines() == ["2026-001  2026-03-02  pan 400", "  12A: 1:48, f/22, filter 2x, bellows 2x, door"]
    assert archive("find", "--film", "pan", "--date", "2025", "--json") == 0
    assert [n["number"] for n in json.loads(capsys.readouterr().out)["negatives"]] == ["2025-001"]
    assert archive("exposure", *note, "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert told["bellows_factor"] == pytest.approx(1.96)
    assert told["needed_s"] == pytest.approx(108.2, abs=0.1)
    assert archive("undo") == 0
    capsys.readouterr()
    assert archive("find", "door") == 0
    assert capsys.readouterr().out == "nothing found\n"


def test_the_sleeve_is_printed_and_written_as_a_page(state: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Text, page and JSON have the same lines."""
    assert archive("add", "--film", "pan 125", "--day", "2026-03-02", "--number", "box7/3") == 0
    capsys.readouterr()
    page = state / "sleeve.html"
    assert archive("sleeve", "box7/3", "--html", page) == 0
    assert capsys.readouterr().out == "box7/3  2026-03-02  pan 125\n"
    assert "pan 125" in page.read_text(encoding="utf-8")
    assert archive("sleeve", "box7/3", "--json") == 0
    assert json.loads(capsys.readouterr().out)["lines"] == ["box7/3  2026-03-02  pan 125"]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("add", "--film", "=1"), "begins like a formula"),
        (("add", "--film", "a\tb"), "does not fit"),
        (("add", "--film", "pan", "--day", "2999-01-01"), "is still to come"),
        (("add", "--film", "pan", "--number", "a b"), "is not a number for a negative"),
        (("add", "--film", "pan", "--index", "fast"), "is not an exposure index"),
        (("sleeve", "2026-001"), "there is no negative"),
        (("note", "2026-001", "--words", "x"), "there is no negative"),
        (("note", "2026-001"), "nothing to write down"),
        (("note", "2026-001", "--filter", "2x"), "without a time"),
        (("exposure", "--metered", "8 s", "--focal", "150 mm"), "belong together"),
        (("exposure", "--metered", "8 s", "--reciprocity", "pan"), "there is no reciprocity table"),
        (("table", "pan"), "there is no reciprocity table"),
        (("find", "--date", "26"), "is not a date"),
        (("fnd",), "did you mean"),
    ],
)
def test_bad_input_is_one_line_and_writes_nothing(
    state: Path, words: tuple[str, ...], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit status 2."""
    assert archive(*words) == 2
    err = capsys.readouterr().err
    assert says in err
    assert len(err.splitlines()) == 1
    assert not (state / "archive" / "negatives.jsonl").exists() or not (state / "archive" / "negatives.jsonl").read_bytes()


def test_an_empty_archive_says_how_to_begin(state: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """And reading makes no file."""
    assert archive("find") == 0
    assert "evenbath archive add --film WORDS begins it" in capsys.readouterr().out
    assert not (state / "archive").exists()


def test_the_time_of_a_print_is_not_told_what_film_needs(state: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Twelve seconds are the enlarger's, not a camera's: reciprocity of film has nothing to say."""
    assert archive("add", "--film", "print of the footbridge") == 0
    assert archive("note", "1", "--metered", "12 s") == 0
    assert "most films" not in capsys.readouterr().out
    assert archive("add", "--film", "pan 125") == 0
    assert archive("note", "2", "--metered", "12 s") == 0
    assert "most films" in capsys.readouterr().out
