"""`evenbath rehearse --foot`: the presses of a file, and what is refused."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from monitor.cli.main import main

RECIPE = """schema = 1
name = "short"
film = "panchromatic"
vessel = "lidded tank"
[[stage]]
name = "develop"
role = "develop"
time = "2:00"
reference = "20 C"
rate = { law = "coefficient", per_10_c = 2.5 }
[[stage]]
name = "stop"
role = "stop"
time = "0:30"
"""


def rehearse(tmp_path: Path, foot: str) -> tuple[int, list[dict[str, object]]]:
    """Exit status and records."""
    (tmp_path / "r.toml").write_text(RECIPE)
    (tmp_path / "t.csv").write_text("t_s,developer_c,bath_c\n0,20,20\n600,20,20\n")
    (tmp_path / "foot.csv").write_text(foot)
    out = tmp_path / "out.jsonl"
    args = ["rehearse", str(tmp_path / "r.toml"), "--trace", str(tmp_path / "t.csv"), "--journal", str(out), "--speed", "max"]
    status = main([*args, "--foot", str(tmp_path / "foot.csv"), "--seed", "7", "--overwrite"])
    return status, [json.loads(line) for line in out.read_text().splitlines()] if out.exists() else []


def test_the_person_does_these_presses_and_nothing_else(tmp_path: Path) -> None:
    """Begun at 5.5 s; nobody answers for the stop, so its begin stays assumed, and the last timed stage closes the session."""
    status, records = rehearse(tmp_path, "down_s,up_s\n5.5,7.0\n")
    assert status == 0
    begins = [(r["t_s"], r.get("assumed", False)) for r in records if r["kind"] == "stage" and r["event"] == "begin"]
    assert begins[0] == (5.5, False)
    assert begins[1] == (pytest.approx(125.5, abs=0.5), True)
    assert records[-1]["why"] == "finished"


def test_a_stage_that_waits_for_a_press_waits_and_it_is_over_ten_minutes_later(tmp_path: Path) -> None:
    """No press at all: nothing begins."""
    status, records = rehearse(tmp_path, "down_s,up_s\n")
    assert status == 0
    assert [r for r in records if r["kind"] == "stage"] == []
    assert float(str(records[-1]["t_s"])) == pytest.approx(600.0, abs=2.0)


@pytest.mark.parametrize(
    ("foot", "line"),
    [
        ("down_s,up_s\n5,4\n", 2),
        ("down_s,up_s\n5,7\n6,8\n", 3),
        ("down_s,up_s\n5,7\n3,4\n", 3),
        ("up_s,down_s\n5,7\n", 1),
        ("down_s,up_s\n5\n", 2),
        ("down_s,up_s\nnan,7\n", 2),
        ("", 1),
    ],
)
def test_presses_that_overlap_or_run_backward_are_refused_by_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], foot: str, line: int
) -> None:
    """Exit 2, one line with file and line, no journal."""
    status, records = rehearse(tmp_path, foot)
    assert (status, records) == (2, [])
    (said,) = capsys.readouterr().err.splitlines()
    assert said.startswith(f"{tmp_path / 'foot.csv'}:{line}: ")
    assert "allowed" in said


@pytest.mark.parametrize("rows", ["5,5,7,0\n65,5,67,0\n", '"5,5","7,0"\n"65,5","67,0"\n'])
def test_decimal_commas_are_told_in_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str], rows: str) -> None:
    """However many rows there are."""
    status, records = rehearse(tmp_path, "down_s,up_s\n" + rows)
    assert (status, records) == (2, [])
    err = capsys.readouterr().err
    assert "foot.csv:2: numbers with decimal commas" in err
    assert err.count("\n") == 1
