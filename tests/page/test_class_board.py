"""A class: the rows, their order, and when the screen must be black."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path

from monitor.page.class_board import LOST_S, SILENT_S, ClassBoard
from tests.page.test_journals import put

WALL = datetime(2026, 11, 6, 20, 0, tzinfo=UTC)


def station(folder: Path, name: str, journal: str, until_s: float, *, closed: bool = False) -> None:
    """What `record` keeps of a station."""
    (folder / name).mkdir()
    session = put(folder / name, journal, closed=closed, until_s=until_s)
    os.utime(folder / name / f"{session}.jsonl", (WALL.timestamp(), WALL.timestamp()))


def board(folder: Path) -> ClassBoard:
    """It has looked once, at 100 s."""
    made = ClassBoard(folder, lambda: WALL)
    made.turn(100.0)
    return made


def test_whose_hands_are_wanted_next_goes_first(tmp_path: Path) -> None:
    """NOW before READY before the others; what is over goes last."""
    station(tmp_path, "bench-1", "02-probe-knocked-out", 425.0)
    station(tmp_path, "bench-2", "01-cold-laundry", 661.0)
    station(tmp_path, "bench-3", "01-cold-laundry", 689.0)
    station(tmp_path, "bench-4", "04-colour-left-its-band", 1e9, closed=True)
    told = board(tmp_path).snapshot(100.0)
    assert [row["station"] for row in told["rows"]] == ["bench-3", "bench-2", "bench-1", "bench-4"]
    assert [row["frame"] for row in told["rows"]] == ["thick", "thin", "", ""]
    assert told["rows"][2]["fault"].startswith("FAULT")
    assert not any(row["silent"] for row in told["rows"])


def test_a_station_whose_journal_no_longer_grows_is_called_silent(tmp_path: Path) -> None:
    """Unless its session is over."""
    station(tmp_path, "bench-1", "01-cold-laundry", 300.0)
    station(tmp_path, "bench-2", "04-colour-left-its-band", 1e9, closed=True)
    rows = {row["station"]: row for row in board(tmp_path).snapshot(101.0 + SILENT_S)["rows"]}
    assert rows["bench-1"]["silent"]
    assert rows["bench-1"]["word"] == "no word for 0:11"
    assert not rows["bench-2"]["silent"]


def test_one_station_with_bare_film_makes_all_black(tmp_path: Path) -> None:
    """Also once it is silent, until it has been for hours; not after its close."""
    station(tmp_path, "bench-1", "01-cold-laundry", 300.0)
    assert board(tmp_path).snapshot(100.0)["light"] is True
    station(tmp_path, "bench-2", "03-six-sheets", 100.0)
    made = board(tmp_path)
    assert made.snapshot(100.0) == {"light": False}
    assert made.snapshot(100.0 + 3600.0) == {"light": False}
    assert made.snapshot(100.0 + LOST_S)["light"] is True
    put(tmp_path / "bench-2", "03-six-sheets", closed=True)
    made = board(tmp_path)
    assert made.snapshot(100.0)["light"] is True


def test_a_journal_that_cannot_be_understood_is_dark(tmp_path: Path) -> None:
    """Nobody knows what lies there."""
    (tmp_path / "bench-1").mkdir()
    (tmp_path / "bench-1" / "261106-1910a.jsonl").write_text('{"seq":1,"kind":"later","t_s":0}\n')
    assert board(tmp_path).snapshot(100.0) == {"light": False}


def test_what_is_no_station_is_no_row(tmp_path: Path) -> None:
    """Names that no station has, files, links; and an empty folder has no rows."""
    (tmp_path / "UPPER").mkdir()
    (tmp_path / "file").write_text("")
    (tmp_path / "link").symlink_to(tmp_path)
    assert board(tmp_path).snapshot(100.0)["rows"] == []
