"""`evenbath rehearse EVENING.toml`: one journal a film, all on the trace's clock."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from monitor.cli.main import main
from tests.live.evenings import ROLL, SAME

EVENING = """schema = 1
name = "Two tanks"
between = "1:00"
[[film]]
recipe = "roll.toml"
what = "roll 14"
vessel = "left"
[[film]]
recipe = "roll.toml"
what = "roll 15"
vessel = "right"
start = "+1:00"
[[film]]
recipe = "roll.toml"
what = "roll 16"
vessel = "left"
"""


def play(folder: Path, evening: str = EVENING, trace: str = SAME, *options: str) -> int:
    """Rehearse this evening in this folder."""
    (folder / "roll.toml").write_text(ROLL.format(develop="4:00"))
    (folder / "evening.toml").write_text(evening)
    (folder / "t.csv").write_text(trace)
    chosen = options or ("--journal-dir", str(folder / "journals"))
    return main(["rehearse", str(folder / "evening.toml"), "--trace", str(folder / "t.csv"), *chosen])


def test_each_film_has_a_session_and_a_journal_of_its_own(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """They sort in the order of arming, tell which film they are, and each can be reviewed."""
    assert play(tmp_path) == 0
    said = capsys.readouterr().out
    assert [line for line in said.splitlines() if line.startswith("Film ")] == [
        "Film 1 of 3: roll 14, left", "Film 2 of 3: roll 15, right", "Film 3 of 3: roll 16, left",
    ]  # fmt: skip
    paths = sorted((tmp_path / "journals").iterdir())
    journals = [[json.loads(line) for line in path.read_text().splitlines()] for path in paths]
    assert [records[0]["evening"]["what"] for records in journals] == ["roll 14", "roll 15", "roll 16"]
    assert [records[0]["evening"]["vessel_number"] for records in journals] == [1, 2, 1]
    assert {r["probe"] for r in journals[1] if r["kind"] == "reading"} == {"developer_2", "bath"}
    for path, records in zip(paths, journals, strict=True):
        assert {r["session"] for r in records} == {path.stem}
        assert [r["seq"] for r in records] == list(range(1, len(records) + 1))
        assert records[-1]["why"] == "finished"
    assert main(["review", *map(str, paths), "--json"]) == 0
    reviewed = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert all(abs(film["stages"][0]["done_percent"] - 100.0) < 1.0 for film in reviewed)
    assert all(film["max_cue_lateness_s"] is None for film in reviewed)


def test_a_recipe_is_an_evening_of_one_film(tmp_path: Path) -> None:
    """With --journal-dir its journal goes there."""
    assert play(tmp_path, ROLL.format(develop="4:00"), SAME) == 0
    (path,) = (tmp_path / "journals").iterdir()
    assert '"finished"' in path.read_text().splitlines()[-1]


@pytest.mark.parametrize(
    ("trace", "options", "says"),
    [
        ("t_s,developer_c,bath_c\n0,20,20\n", (), "no developer_2_c"),
        (SAME, ("--journal", "one.jsonl"), "--journal-dir DIR"),
        (SAME, ("--journal-dir", "/proc/nowhere"), "a folder that you may write"),
    ],
)
def test_what_does_not_fit_an_evening_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], trace: str, options: tuple[str, ...], says: str
) -> None:
    """One line, exit 2."""
    assert play(tmp_path, EVENING, trace, *options) == 2
    assert says in capsys.readouterr().err


def test_an_evening_that_is_wrong_is_refused_by_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """As a recipe is."""
    assert play(tmp_path, EVENING.replace('vessel = "right"', 'vessel = "Right!"')) == 2
    assert "evening.toml:11: " in capsys.readouterr().err
