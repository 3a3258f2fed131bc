"""`evenbath judge` as a person runs it."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest

from monitor.cli.main import main
from tests.review.journals import Played, play, recipe_data


@pytest.fixture(scope="module")
def played() -> list[Played]:
    """Four sessions of 4, 5, 6 and 7 minutes."""
    return [play(recipe_data(time=f"{n}:00"), lambda _: 20.0, session=f"26030{n}-k{n}") for n in (4, 5, 6, 7)]


@pytest.fixture
def journals(played: list[Played], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """Their journals in a station's state folder."""
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path))
    folder = tmp_path / "journals"
    folder.mkdir()
    return [made.write(folder / f"{made.records[0]['session']}.jsonl") for made in played]


def judge(*words: Any) -> int:
    """Run the command."""
    return main(["judge", *map(str, words)])


def test_it_is_written_beside_the_journal_and_read_back(journals: list[Path], capsys: pytest.CaptureFixture[str]) -> None:
    """By the end of the session's id."""
    before = journals[0].read_bytes()
    assert judge("k4", "--density", "thin", "--base-fog", 0.28, "--seen", "thin-all", "--notes", "edge numbers thin") == 0
    out = capsys.readouterr().out
    assert "260304-k4.judgement.jsonl" in out
    assert "too little development: too short a time (development)" in out
    assert "one change for next time: develop longer" in out
    assert journals[0].read_bytes() == before
    assert judge(journals[0], "--json") == 0
    shown = json.loads(capsys.readouterr().out)
    assert shown["judgement"]["base_fog"] == 0.28
    assert shown["judgement"]["wall"].endswith("Z")


def test_nothing_written_yet_is_said(journals: list[Path], capsys: pytest.CaptureFixture[str]) -> None:
    """And no file is made by asking."""
    assert judge("k5") == 0
    assert "nothing is written down yet" in capsys.readouterr().out
    assert not list(journals[0].parent.glob("*.judgement.jsonl"))


def test_a_sight_that_contradicts_what_is_written_down_is_refused_until_that_is_taken_back(
    journals: list[Path], capsys: pytest.CaptureFixture[str]
) -> None:
    """And nothing is written meanwhile."""
    assert judge("k4", "--seen", "thin-all") == 0
    file = journals[0].with_name("260304-k4.judgement.jsonl")
    before = file.read_bytes()
    assert judge("k4", "--seen", "dense-highlights") == 2
    assert "--not-seen takes back" in capsys.readouterr().err
    assert file.read_bytes() == before
    assert judge("k4", "--not-seen", "thin-all", "--seen", "dense-highlights") == 0
    out = capsys.readouterr().out
    assert "seen: dense-highlights" in out
    assert "too little development" not in out


def test_the_change_has_a_number(journals: list[Path], capsys: pytest.CaptureFixture[str]) -> None:
    """15 per cent of 4:00, to the nearest five seconds; the usual step of 10 to 20 per cent is common practice, no source."""
    assert judge("k4", "--seen", "thin-all") == 0
    assert "develop longer, 4:35 at 20 C in place of 4:00" in capsys.readouterr().out
    assert judge("k5", "--seen", "dense-highlights") == 0
    assert "develop for less time, 4:15 at 20 C in place of 5:00" in capsys.readouterr().out


def test_a_folder_is_listed_and_never_trips_over_its_own_files(journals: list[Path], capsys: pytest.CaptureFixture[str]) -> None:
    """A line for each film; judgements are no journals."""
    assert judge("k4", "--seen", "thin-all") == 0
    capsys.readouterr()
    assert judge(journals[0].parent) == 0
    assert capsys.readouterr().out.splitlines() == [
        "260304-k4: seen: thin-all",
        "260305-k5: nothing is written down yet",
        "260306-k6: nothing is written down yet",
        "260307-k7: nothing is written down yet",
    ]


def test_a_series_gives_a_time_with_its_interval(journals: list[Path], capsys: pytest.CaptureFixture[str]) -> None:
    """Contrast that rises with ln of time by 0.25: 0.56 wanted lies between the second and third film."""
    for journal, minutes, error in zip(journals, (4, 5, 6, 7), (0.002, -0.002, 0.001, -0.001), strict=True):
        assert judge(journal, "--contrast", round(0.25 * math.log(minutes / 5.0) + 0.52 + error, 4)) == 0
    capsys.readouterr()
    assert judge(*journals, "--series", "contrast", "--want", 0.54, "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert told["time_ref_s"] == pytest.approx(300 * math.exp(0.02 / 0.25), rel=0.02)
    assert told["time_low_ref_s"] < told["time_ref_s"] < told["time_high_ref_s"]
    assert not told["outside_data"]
    assert judge(*journals, "--series", "contrast", "--want", 0.9) == 0
    assert "outside your data (4:00 to 7:00), do not rest on it" in capsys.readouterr().out


def test_fewer_than_three_judged_sessions_are_refused(journals: list[Path], capsys: pytest.CaptureFixture[str]) -> None:
    """Those that were not judged are named and left out."""
    for journal in journals[:2]:
        judge(journal, "--contrast", 0.5)
    capsys.readouterr()
    assert judge(*journals, "--series", "contrast") == 2
    err = capsys.readouterr().err
    assert err.count("left out, no contrast written down") == 2
    assert "2 judged sessions with contrast; allowed: 3 or more" in err


def test_the_own_law_is_told_as_a_line_for_the_recipe(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Three films at three temperatures, each ended where 2.5 per 10 C says."""
    paths = []
    for i, celsius in enumerate((18.0, 20.0, 23.0)):
        made = play(recipe_data(time="6:00"), lambda _, c=celsius: c, session=f"s{i}")  # type: ignore[misc]
        paths.append(made.write(tmp_path / f"s{i}.jsonl"))
    assert judge(*paths, "--law") == 0
    out = capsys.readouterr().out
    assert 'rate = { law = "arrhenius", activation_energy_kj_mol = 65.' in out
    assert "2.5" in out
    assert "on your word" in out


@pytest.mark.parametrize(
    ("words", "status", "says"),
    [
        ((), 2, "no session named"),
        (("nowhere",), 2, "no such file, and no session"),
        (("a/b.jsonl",), 2, "there is no such file"),
        (("k4", "--grade", "7"), 2, "7 is out of range; allowed: 0 to 5"),
        (("k4", "--grade", "soft"), 2, '"soft" is not a number'),
        (("k4", "--seen", "ghosts"), 2, "argument --seen: invalid choice: 'ghosts' (choose from"),
        (("k4", "--want", "0.5"), 2, "--want belongs to --series"),
        (("k4", "k5", "--grade", "2"), 2, "one session, or --series or --law"),
        (("k4", "--not-seen", "list"), 2, "argument --not-seen: invalid choice"),
        (("k4", "--seen", "thin-all", "--seen", "dense-highlights"), 2, "cannot both be seen on one film"),
        (("k4", "--seen", "thin-all", "--density", "dense"), 2, "does not go with a density called dense"),
    ],
)
def test_what_is_asked_for_wrongly_is_said(
    journals: list[Path], capsys: pytest.CaptureFixture[str], words: tuple[str, ...], status: int, says: str
) -> None:
    """In a line, with what is allowed."""
    assert judge(*words) == status
    assert says in capsys.readouterr().err


def test_the_sights_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    """Each with its word, by what is looked at."""
    assert judge("--seen", "list") == 0
    out = capsys.readouterr().out
    assert "air-bells" in out
    assert out.index("On a negative") < out.index("On a positive, from reversal") < out.index("slide-dark") < out.index("On a print")


def test_the_list_of_sights_is_folded(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """No line is wider than the terminal."""
    monkeypatch.setenv("COLUMNS", "50")
    assert judge("--seen", "list") == 0
    assert max(map(len, capsys.readouterr().out.splitlines())) <= 50


def test_a_damaged_judgement_is_told_before_anything_is_added(journals: list[Path], capsys: pytest.CaptureFixture[str]) -> None:
    """By file and line."""
    beside = journals[0].with_name("260304-k4.judgement.jsonl")
    beside.write_text("nonsense\n")
    assert judge("k4", "--grade", "2") == 2
    assert "260304-k4.judgement.jsonl:1: not a judgement" in capsys.readouterr().err
    assert beside.read_text() == "nonsense\n"


def test_a_sight_alone_says_what_it_may_come_from_and_writes_nothing(journals: list[Path], capsys: pytest.CaptureFixture[str]) -> None:
    """No session is needed to ask."""
    assert judge("--seen", "blank") == 0
    out = capsys.readouterr().out.splitlines()
    assert out[0] == "clear film, and no edge numbers either"
    assert out[1].startswith("  1. the developer was dead")
    assert out[4].startswith("  Ask: ")
    assert out[5].startswith("  One change for 1: ")
    assert judge("--seen", "blank", "--json") == 0
    told = json.loads(capsys.readouterr().out)["sights"]
    assert [s["sight"] for s in told] == ["blank"]
    assert told[0]["causes"][1]["cause"] == "fixer or stop bath went in before the developer"
    assert not list(journals[0].parent.glob("*.judgement.jsonl"))


def test_what_contradicts_or_is_mistyped_is_refused_without_a_session_too(capsys: pytest.CaptureFixture[str]) -> None:
    """With the word that was meant."""
    assert judge("--seen", "blank", "--seen", "black") == 2
    assert "cannot both be seen" in capsys.readouterr().err
    assert judge("--seen", "blnk") == 2
    assert 'did you mean "blank"?' in capsys.readouterr().err
    assert judge("--seen", "blank", "--density", "thin") == 2
    assert "no session named" in capsys.readouterr().err


def test_the_record_of_a_session_is_asked(journals: list[Path], capsys: pytest.CaptureFixture[str]) -> None:
    """The journals of these tests have ticks for the first half minute alone: the rest was never called."""
    assert judge("k6", "--seen", "streaks") == 0
    assert "of movement in develop were never called" in capsys.readouterr().out


def test_a_print_refuses_what_is_seen_on_a_negative_and_writes_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One line that says what is allowed."""
    path = play(recipe_data(time="4:00") | {"film": "paper"}, lambda _: 20.0).write(tmp_path / "print.jsonl")
    for words in (("--seen", "thin-all"), ("--density", "thin")):
        assert judge(path, *words) == 2
        wrong = capsys.readouterr().err
        assert "allowed for a print: --seen print-white" in wrong
        assert wrong.count("\n") == 1
    assert not list(tmp_path.glob("*.judgement.jsonl"))
    assert judge(path, "--seen", "print-flat") == 0


def test_a_number_of_a_negative_that_is_written_down_already_does_not_lock_a_print(tmp_path: Path) -> None:
    """Earlier versions took it, and nothing takes a number back."""
    path = play(recipe_data(time="4:00") | {"film": "paper"}, lambda _: 20.0).write(tmp_path / "print.jsonl")
    (tmp_path / "print.judgement.jsonl").write_text('{"schema": 1, "wall": "", "session": "s", "density": "thin"}\n')
    assert judge(path, "--seen", "print-flat") == 0


def test_a_rehearsal_is_said_to_have_developed_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """On stderr: it is a way to learn the command, and no error."""
    path = play(recipe_data(time="4:00"), lambda _: 20.0, mode="rehearsal").write(tmp_path / "dry.jsonl")
    assert judge(path, "--seen", "thin-all", "--json") == 0
    told = capsys.readouterr()
    assert "was a rehearsal: nothing was developed" in told.err
    assert json.loads(told.out)["judgement"]["seen"] == ["thin-all"]
    assert "nothing is written down" in told.err
    assert judge(path, "--seen", "thin-all") == 0
    assert "written to" not in capsys.readouterr().out
    assert not list(tmp_path.glob("*.judgement.jsonl"))


def test_the_vessel_of_the_session_chooses_the_words(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The same sight, in a tank with a lid and in an open tray."""
    played = play(recipe_data(time="4:00"), lambda _: 20.0)
    for vessel, says in (("lidded tank", "knock the tank"), ("open tray", "soak the sheets in water first")):
        path = played.write(tmp_path / f"{vessel}.jsonl")
        path.write_text(path.read_text().replace('"lidded tank"', f'"{vessel}"'))
        assert judge(path, "--seen", "air-bells") == 0
        assert says in capsys.readouterr().out


def test_a_live_session_has_no_such_line(journals: list[Path], capsys: pytest.CaptureFixture[str]) -> None:
    """Film was in it."""
    assert judge("k6", "--seen", "thin-all") == 0
    assert capsys.readouterr().err == ""
