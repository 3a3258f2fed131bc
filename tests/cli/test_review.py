"""`evenbath review` as a person runs it: what it prints, what it writes, and its exit status for good and bad files."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from monitor.cli.main import main
from tests.review.journals import Played, play, recipe_data


@pytest.fixture(scope="module")
def played() -> Played:
    """A short session."""
    return play(recipe_data(time="4:00"), lambda t: 20.5 - 0.002 * t, bath=lambda t: 20.5 - 0.004 * t, late_s={3: 8.0})


@pytest.fixture(scope="module")
def brief() -> Played:
    """A shorter one."""
    return play(recipe_data(time="2:00"), lambda _: 20.0)


@pytest.fixture
def journal(played: Played, tmp_path: Path) -> Path:
    """Its file."""
    return played.write(tmp_path / "260301-1.jsonl")


def review(*words: Any) -> int:
    """Run the command."""
    return main(["review", *map(str, words)])


def test_json_is_one_object_a_session_a_line_each(
    journal: Path, played: Played, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With the fields that are promised, unrounded."""
    second = play(recipe_data(time="3:00"), lambda _: 20.0, session="260302-1", mode="rehearsal").write(tmp_path / "260302-1.jsonl")
    assert review(journal, second, "--json") == 0
    rows = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [r["session"] for r in rows] == ["260301-1", "260302-1"]
    develop = rows[0]["stages"][1]
    assert develop["name"] == "develop"
    assert develop["sheet"] is None
    assert develop["planned_s"] == 240.0
    assert develop["actual_s"] == pytest.approx(played.begins[3, None] - played.begins[2, None])
    assert develop["done_ref_s"] == pytest.approx(played.true_done_ref_s[2, None], rel=1e-3)
    assert develop["done_percent"] == pytest.approx(100 * develop["done_ref_s"] / develop["target_ref_s"])
    assert rows[0]["max_cue_lateness_s"] == pytest.approx(0.006)
    assert rows[1]["max_cue_lateness_s"] is None


def test_without_options_it_is_a_line_five_rows_and_the_solution(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What it came to first; `--long` has all of it in sentences below."""
    assert review(journal) == 0
    short = capsys.readouterr().out
    rows = ["260301-1:", "Time", "Hands", "Estimated", "Verified", "Solution", "Next", "Per"]
    assert [line.split()[0] for line in short.splitlines()] == rows
    assert review(journal, "--long") == 0
    long = capsys.readouterr().out
    assert long.startswith(short)
    assert "Develop: planned 4:00 at 20 C" in long


@pytest.mark.parametrize("how", [(), ("--long",), ("--compare",), ("--season",)])
def test_what_a_per_cent_holds_is_said_once_where_there_is_one(
    how: tuple[str, ...], journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Temperature's part, of however many sessions; of a film by the clock there is no per cent to speak of."""
    assert review(journal, journal, *how) == 0
    assert capsys.readouterr().out.count("Per cent: temperature's part of the development; agitation, age of the bath and water") == 1
    clock = play(recipe_data(time="2:00", steer=False, rate=None), lambda _: 20.0).write(tmp_path / "260303-1.jsonl")
    assert review(clock, *how) == 0
    assert "temperature's part" not in capsys.readouterr().out


def test_json_says_what_the_doubt_of_a_development_holds(journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Beside its standard deviation, in each stage that has one, and in each row of a comparison."""
    assert review(journal, "--json") == 0
    stages = {s["name"]: s["done_sd_is"] for s in json.loads(capsys.readouterr().out)["stages"]}
    assert stages.pop("develop") == "temperature's part of the development; agitation, age of the bath and water are not in it"
    assert set(stages.values()) == {None}
    assert review(journal, journal, "--json", "--csv", tmp_path / "both.csv") == 0
    rows = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert all(row["done_sd_is"].startswith("temperature's part") for row in rows)


def test_a_report_is_written_where_it_is_asked_for(journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Beside the text; several journals make a comparison, or a season."""
    page = tmp_path / "page.html"
    assert review(journal, "--report", page) == 0
    assert "<h1>Roll film, cold laundry" in page.read_text(encoding="utf-8")
    assert review(journal, journal, "--report", page) == 0
    assert "<h1>2 sessions side by side" in page.read_text(encoding="utf-8")
    assert review(journal, journal, "--season", "--report", page) == 0
    assert "<h1>The season: 2 sessions" in page.read_text(encoding="utf-8")
    assert str(page) in capsys.readouterr().err


def test_csv_and_parquet_of_one_and_of_several(journal: Path, tmp_path: Path) -> None:
    """One: the working. Several: a row a stage."""
    one, several = tmp_path / "one.csv", tmp_path / "several.csv"
    assert review(journal, "--csv", one) == 0
    assert one.read_text().startswith("session,stage,name,sheet,t_s,")
    assert review(journal, journal, "--csv", several) == 0
    lines = several.read_text().splitlines()
    assert len(lines) == 3
    assert "mean_c" in lines[0]
    pytest.importorskip("pyarrow")
    import pandas as pd

    assert review(journal, journal, "--parquet", tmp_path / "several.parquet") == 0
    assert len(pd.read_parquet(tmp_path / "several.parquet")) == 2


def test_parquet_without_pyarrow_is_said_in_one_line(journal: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any) -> None:
    """Before anything is computed."""
    import importlib.util

    monkeypatch.setattr(importlib.util, "find_spec", lambda name, *_: None)
    assert review(journal, "--parquet", tmp_path / "x.parquet") == 2
    assert capsys.readouterr().err.strip() == "--parquet needs pyarrow, which is not installed; allowed: --csv, or: pip install pyarrow"


def test_compare_and_season_are_tables(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Of a folder, too."""
    assert review(journal.parent, "--compare") == 0
    assert "took" in capsys.readouterr().out
    assert review(journal.parent, "--season") == 0
    assert "probe compared" in capsys.readouterr().out


def test_check_says_what_agrees_and_fails_where_something_does_not(
    journal: Path, played: Played, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit 0, and 2."""
    assert review(journal, "--check") == 0
    assert "0 do not" in capsys.readouterr().out
    for line in (text := journal.read_text().splitlines(keepends=True)):
        if '"kind":"progress"' in line:
            text[text.index(line)] = line.replace('"target_ref_s":240.0', '"target_ref_s":200.0')
    journal.write_text("".join(text))
    assert review(journal, "--check") == 2
    assert "DOES NOT AGREE: develop: target 200 s" in capsys.readouterr().out


def _cut_tail(lines: list[bytes]) -> bytes:
    return b"".join(lines)[:-30]


def _half_in_the_middle(lines: list[bytes]) -> bytes:
    return b"".join([*lines[:99], lines[99][:40] + b"\n", *lines[100:]])


def _gap(lines: list[bytes]) -> bytes:
    return b"".join(lines[:99] + lines[120:])


def _two(lines: list[bytes]) -> bytes:
    return b"".join([*lines, *(line.replace(b"260301-1", b"260302-1") for line in lines)])


def _newer(lines: list[bytes]) -> bytes:
    return b"".join([lines[0].replace(b'"schema":1', b'"schema":99', 1), *lines[1:]])


def _clock_back(lines: list[bytes]) -> bytes:
    at = next(i for i in range(150, len(lines)) if b'"reading"' in lines[i])
    return b"".join([*lines[:at], lines[at].replace(b'"t_s":', b'"t_s":-', 1), *lines[at + 1 :]])


@pytest.mark.parametrize(
    ("harm", "status", "says", "shown"),
    [
        (_cut_tail, 0, "the last record was cut off", True),
        (_half_in_the_middle, 2, ":100: not JSON", True),
        (_gap, 2, ":100: seq 121 after seq 99", True),
        (_two, 2, "session 260302-1 in a file of session 260301-1", True),
        (_clock_back, 2, ": the clock went back: t_s -", True),
        (_newer, 2, ":1: a journal of format 99", False),
        (lambda _: b"", 2, ":1: an empty file", False),
        (lambda _: b"t_s,developer_c\n0,20\n", 2, ":1: not a journal", False),
        (lambda _: bytes(range(256)) * 50, 2, ":1: not a journal", False),
    ],
)
def test_bad_files_are_told_by_file_and_line_and_what_can_be_shown_is_shown(
    brief: Played, tmp_path: Path, capsys: pytest.CaptureFixture[str], harm: Any, status: int, says: str, shown: bool
) -> None:
    """The exit status is 2 but for a tail that a loss of power tore."""
    path = tmp_path / "bad.jsonl"
    path.write_bytes(harm(brief.lines()))
    assert review(path, "--json") == status
    captured = capsys.readouterr()
    assert says in captured.err
    assert "bad.jsonl" in captured.err
    assert "Traceback" not in captured.err
    assert bool(captured.out) == shown
    if shown:
        assert json.loads(captured.out)["stages"]
    assert review(path, "--report", tmp_path / "bad.html") == status


def test_a_file_that_is_not_there_and_a_place_that_cannot_be_written(
    journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line each; a journal is never written over."""
    assert review(tmp_path / "none.jsonl") == 2
    assert review(journal, "--report", tmp_path / "no" / "x.html") == 2
    before = journal.read_bytes()
    assert review(journal, "--csv", journal) == 2
    assert journal.read_bytes() == before
    assert capsys.readouterr().err.count("\n") == 3


def test_json_and_pages_need_neither_pandas_nor_a_plotting_library(journal: Path, tmp_path: Path) -> None:
    """They cost a second; only frames and exports load pandas, and pictures are written by our own hand."""
    code = (
        "import sys\nfrom monitor.cli.main import main\n"
        f"assert main(['review', {str(journal)!r}, '--json']) == 0\n"
        f"assert main(['review', {str(journal)!r}, '--report', {str(tmp_path / 'page.html')!r}]) == 0\n"
        f"assert main(['review', {str(journal)!r}, {str(journal)!r}, '--report', {str(tmp_path / 'both.html')!r}]) == 0\n"
        "assert not {'pandas', 'matplotlib'} & set(sys.modules), sorted(m for m in sys.modules if m in ('pandas', 'matplotlib'))"
    )
    subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, timeout=60)
