"""A session is found by its id, whole or its end; a path goes before."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.cli.arguments.session_names import MOST_LISTED, find_journal
from monitor.cli.main import main
from monitor.core.errors import InputWrong
from tests.review.journals import play, recipe_data

IDS = ("260301-1904c7", "260302-2011c7", "260303-18304k", "260303-18304kc")


@pytest.fixture
def journals(tmp_path: Path) -> Path:
    """A state's journals, one judged."""
    folder = tmp_path / "state" / "journals"
    folder.mkdir(parents=True)
    for name in IDS:
        (folder / f"{name}.jsonl").write_text("")
    (folder / "260303-18304k.judgement.jsonl").write_text("")
    return folder


@pytest.mark.parametrize(
    ("name", "found"),
    [("260301-1904c7", 0), ("1904c7", 0), ("2011c7", 1), ("260303-18304k", 2), ("04k", 2), ("kc", 3)],
)
def test_a_whole_id_or_its_end_is_the_session(journals: Path, name: str, found: int) -> None:
    """A whole id is that session, although another id goes on after it; a judgement beside a journal is no session."""
    assert find_journal(name, journals) == journals / f"{IDS[found]}.jsonl"


def test_a_path_goes_before_an_id(journals: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file here that is called like the end of an id is that file."""
    monkeypatch.chdir(tmp_path)
    Path("1904c7").write_text("")
    assert find_journal("1904c7", journals) == Path("1904c7")
    assert find_journal(str(journals), journals) == journals


def test_an_end_that_fits_several_is_refused_in_one_line_that_lists_them(journals: Path) -> None:
    """With the ids; of very many the newest."""
    with pytest.raises(InputWrong) as refused:
        find_journal("c7", journals)
    (line,) = refused.value.lines
    assert "2 sessions" in line
    assert IDS[0] in line
    assert IDS[1] in line
    assert IDS[2] not in line
    assert refused.value.exit_status == 2
    for number in range(30):
        (journals / f"260304-{number:04}zz.jsonl").write_text("")
    with pytest.raises(InputWrong) as refused:
        find_journal("zz", journals)
    (line,) = refused.value.lines
    assert line.count("260304-") == MOST_LISTED
    assert "260304-0029zz" in line


@pytest.mark.parametrize("name", ["nowhere", "", "no/such/file", "260301-1904c7.jsonl", "*", "C7", "\u0663", "x" * 5000 + "/"])
def test_what_is_neither_is_refused(journals: Path, name: str) -> None:
    """One line that says what is allowed."""
    with pytest.raises(InputWrong, match=r"allowed: a path|allowed: a journal"):
        find_journal(name, journals)


def test_review_finds_the_session_where_the_station_keeps_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """By --state, by the station's file, in the default state folder; beside paths; two that end alike are exit status 2."""
    state = tmp_path / "state"
    (state / "journals").mkdir(parents=True)
    for name in ("260301-1904c7", "260302-2011c7"):
        play(recipe_data(time="1:00"), lambda _: 20.0, session=name).write(state / "journals" / f"{name}.jsonl")
    station = tmp_path / "station.toml"
    station.write_text(f'schema = 1\nname = "laundry"\nstate = "{state}"\n')
    monkeypatch.setenv("STATE_DIRECTORY", str(state))
    for words in (["--state", str(state)], ["--file", str(station)], []):
        assert main(["review", "1904c7", "--json", *words]) == 0
        assert '"session": "260301-1904c7"' in capsys.readouterr().out
    path = str(state / "journals" / "260302-2011c7.jsonl")
    assert main(["review", "1904c7", path, "--json"]) == 0
    assert len(capsys.readouterr().out.splitlines()) == 2
    assert main(["review", "c7"]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert "260301-1904c7, 260302-2011c7" in line
