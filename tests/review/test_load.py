"""Loading: what becomes of a journal's records, in arrays and in DataFrames."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from monitor.core.errors import InputWrong
from monitor.core.journal.check import Findings
from monitor.review.load import COLUMNS, FIRST_COLUMNS, frames, journal_files, load
from tests.review.journals import Fault, play, recipe_data


def steady(_: float) -> float:
    """A liquid that stands still."""
    return 20.0


@pytest.fixture(scope="module")
def journal(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One session with a probe that was unreadable for a while."""
    made = play(recipe_data(time="3:00"), steady, bath=steady, faults=[Fault("crc", 100.0, 120.0)])
    return made.write(tmp_path_factory.mktemp("journals") / "260301-1.jsonl")


def test_every_kind_becomes_a_frame_with_the_documented_columns_and_types(journal: Path) -> None:
    """The types are the promise, also for kinds that did not happen."""
    made = frames(journal)
    assert set(made) == set(COLUMNS)
    for kind, frame in made.items():
        wanted = {name: dtype for name, (dtype, _) in (FIRST_COLUMNS | COLUMNS[kind]).items()}
        assert {name: str(dtype) for name, dtype in frame.dtypes.items()} == wanted, kind
    assert len(made["gate"]) == 0


def test_frames_hold_every_record_that_the_file_holds(journal: Path) -> None:
    """Counted against the lines of the file themselves."""
    import pandas as pd

    raw = [json.loads(line) for line in journal.read_bytes().splitlines()]
    made = frames(journal)
    for kind, frame in made.items():
        assert frame["seq"].tolist() == [r["seq"] for r in raw if r["kind"] == kind]
    assert made["reading"]["raw_c"].isna().sum() == 20
    assert made["reading"].loc[0, "wall"] == pd.Timestamp("2026-03-01T19:00:00Z")
    assert made["stage"]["sheet"].isna().all()


def test_a_bad_reading_has_no_number(journal: Path) -> None:
    """NaN in the arrays, never a stand-in."""
    series = load(journal).readings["developer"]
    bad = [i for i, quality in enumerate(series.quality) if quality != "good"]
    assert len(bad) == 20
    assert all(series.celsius[i] != series.celsius[i] for i in bad)


def test_a_field_of_the_wrong_kind_is_missing_in_the_frame_and_does_not_stop_it(tmp_path: Path) -> None:
    """Fields that the checker does not look at may be anything."""
    made = play(recipe_data(time="3:00"), steady)
    for record in made.records:
        if record["kind"] == "cue":
            record["lateness_s"] = "late"
    frame = frames(made.write(tmp_path / "a.jsonl"))["cue"]
    assert frame["lateness_s"].isna().all()
    assert len(frame) > 0


def test_what_is_wrong_with_the_file_stands_in_the_findings(tmp_path: Path) -> None:
    """Frames of what can be used, problems beside them."""
    made = play(recipe_data(time="3:00"), steady)
    lines = made.lines()
    path = tmp_path / "a.jsonl"
    path.write_bytes(b"".join(lines[:50] + lines[60:]))
    findings = Findings(str(path))
    assert sum(map(len, frames(path, findings).values())) == len(lines) - 10
    assert [p.line for p in findings.problems] == [51]


def test_a_folder_gives_its_journals_in_order_without_the_judgements(tmp_path: Path) -> None:
    """Folders below it too."""
    (tmp_path / "b").mkdir()
    for name in ("z.jsonl", "a.jsonl", "b/m.jsonl", "a.judgement.jsonl", "a.txt"):
        (tmp_path / name).write_text("")
    assert [p.relative_to(tmp_path).as_posix() for p in journal_files([tmp_path])] == ["a.jsonl", "b/m.jsonl", "z.jsonl"]


def test_what_is_not_there_is_said_in_one_line(tmp_path: Path) -> None:
    """For a file, and for a folder without journals."""
    with pytest.raises(InputWrong, match="there is no such file"):
        load(tmp_path / "x.jsonl")
    with pytest.raises(InputWrong, match="no journal in this folder"):
        list(journal_files([tmp_path]))


def test_a_recipe_that_cannot_be_read_is_told_and_the_rest_is_kept(tmp_path: Path) -> None:
    """With the line of the opening."""
    made = play(recipe_data(time="3:00"), steady)
    made.records[0]["recipe"]["stage"][1]["time"] = "ten"
    journal = load(made.write(tmp_path / "a.jsonl"))
    assert journal.recipe is None
    assert str(journal.findings.problems[0]).split(": ")[0].endswith("a.jsonl:1")
    assert len(journal.readings["developer"].t_s) > 100
