"""`rehearse --state`: what the ledger says of the film is said, used where agreed, and in the record."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from monitor.cli.main import main
from tests.core.recipe.samples import ROLL, changed

TRACE = "t_s,developer_c,bath_c\n0,20,20\n4000,20,20\n"
SHORT = changed(ROLL, 'gate = { band = "0.15 C", for = "1:00" }\n =>')


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A recipe, a trace, and a developer through which three films have gone."""
    (tmp_path / "roll.toml").write_text(SHORT, encoding="utf-8")
    (tmp_path / "still.csv").write_text(TRACE, encoding="utf-8")
    state = ["--state", str(tmp_path / "state")]
    assert main(["bottle", "add", "developer A", "--volume", "1 l", "--longer", "10", "--per-litre", "6", *state]) == 0
    assert main(["bottle", "use", "developer A", "--units", "3", *state]) == 0
    return tmp_path


def rehearsed(folder: Path, *more: str) -> list[dict[str, Any]]:
    """The records of one rehearsal."""
    words = ["rehearse", str(folder / "roll.toml"), "--trace", str(folder / "still.csv"), "--journal", str(folder / "out.jsonl")]
    assert main([*words, "--overwrite", *more]) == 0
    return [json.loads(line) for line in (folder / "out.jsonl").read_text(encoding="utf-8").splitlines()]


@pytest.mark.parametrize(
    ("more", "used", "target_s"), [((), False, 600.0), (("--ledger", "apply"), True, 780.0), (("--ledger", "ignore"), False, 600.0)]
)
def test_the_ledger_is_said_and_used_where_that_was_agreed(
    folder: Path, capsys: pytest.CaptureFixture[str], more: tuple[str, ...], used: bool, target_s: float
) -> None:
    """Factor, films left and age; the open record has the solution, and whether its time was used."""
    records = rehearsed(folder, "--state", str(folder / "state"), *more)
    out = capsys.readouterr().out
    assert "note: developer A: time x 1.3 (3 units through it, 10 % each), good for 3 films like this one, mixed today" in out
    assert ("its times are used" in out) is used
    (row,) = records[0]["solutions"]
    assert (row["time_factor"], row["applied"], row["films_left"]) == (pytest.approx(1.3), used, 3.0)
    progress = [r for r in records if r["kind"] == "progress"]
    assert progress[-1]["target_ref_s"] == pytest.approx(target_s)


def test_without_a_state_folder_nothing_is_said(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """And --ledger needs one."""
    capsys.readouterr()
    records = rehearsed(folder)
    assert "solutions" not in records[0]
    assert "developer A" not in capsys.readouterr().out
    assert main(["rehearse", str(folder / "roll.toml"), "--trace", str(folder / "still.csv"), "--ledger", "apply"]) == 2


def test_films_of_one_evening_count_one_after_the_other(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """1.3 for the first, 1.4 for the second, in their own journals."""
    film = '[[film]]\nrecipe = "roll.toml"\n'
    (folder / "evening.toml").write_text(f'schema = 1\nname = "two"\nbetween = "1:00"\n{film}{film}', encoding="utf-8")
    words = ["rehearse", str(folder / "evening.toml"), "--trace", str(folder / "still.csv"), "--journal-dir", str(folder / "journals")]
    assert main([*words, "--state", str(folder / "state"), "--ledger", "apply"]) == 0
    assert "note: film 2 (one 36-exposure roll, marked 14): developer A: time x 1.4" in capsys.readouterr().out
    opened = [json.loads(path.read_text().splitlines()[0]) for path in sorted((folder / "journals").glob("*.jsonl"))]
    factors = {record["evening"]["film"]: record["recipe"]["stage"][0]["factor"] for record in opened}
    assert factors == {1: pytest.approx(1.3), 2: pytest.approx(1.4)}
