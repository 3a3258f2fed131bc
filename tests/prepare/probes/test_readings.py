"""Readings come out of journals whole, apart by probe, or are refused by file and line."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.core.errors import FileWrong, InputWrong, NotThere
from monitor.prepare.probes.readings import from_station, read_journal
from tests.prepare.probes.water import series, write_journal

READING = (
    '{"seq":1,"session":"s","wall":"w","t_s":%s,"kind":"reading","probe":"bowl","role":"bath","raw_c":20.0,"celsius":%s,"quality":"%s"}\n'
)


def test_readings_come_apart_by_probe_in_the_order_of_time(tmp_path: Path) -> None:
    """Each probe has its own series, with its role."""
    path = write_journal(tmp_path / "j.jsonl", series([20.0, 20.1], "jug"), series([19.0, 19.5, 20.0], "bowl", "bath"))
    source = read_journal(path)
    assert source.probe("jug").celsius == (20.0, 20.1)
    assert source.needed("bath").t_s == (0.0, 1.0, 2.0)
    assert source.role("room") is None


def test_bad_and_repeated_readings_are_left_out(tmp_path: Path) -> None:
    """No number is made of a bad reading, and time does not stand still."""
    path = tmp_path / "j.jsonl"
    path.write_text(READING % (1, 20.0, "good") + READING % (2, "null", "crc") + READING % (2, 85.0, "reset") + READING % (1, 21.0, "good"))
    assert read_journal(path).probe("bowl").celsius == (20.0,)


def test_all_damaged_lines_are_told_together_and_a_torn_last_one_is_not(tmp_path: Path) -> None:
    """FILE:LINE for each; a power cut in the last line is no fault."""
    path = tmp_path / "j.jsonl"
    path.write_text(
        READING % (1, 20.0, "good") + "rubbish\n" + READING % ('"soon"', 20.0, "good") + READING % (3, 20.0, "good") + '{"seq":9,"kin'
    )
    with pytest.raises(FileWrong) as refused:
        read_journal(path)
    assert [line.split(": ")[0] for line in refused.value.lines] == [f"{path}:2", f"{path}:3"]
    path.write_text(READING % (1, 20.0, "good") + '{"seq":9,"kind":"reading","t')
    assert len(read_journal(path).probe("bowl").t_s) == 1


def test_a_probe_that_is_not_there_is_told_with_those_that_are(tmp_path: Path) -> None:
    """One line, what was asked for and what there is."""
    source = read_journal(write_journal(tmp_path / "j.jsonl", series([20.0], "jug")))
    with pytest.raises(InputWrong, match=r'"bowl".*jug \(developer\)'):
        source.probe("bowl")
    with pytest.raises(InputWrong, match=r"bath.*jug \(developer\)"):
        source.needed("bath")
    with pytest.raises(InputWrong, match="cannot be read"):
        read_journal(tmp_path / "nowhere.jsonl")
    with pytest.raises(InputWrong, match="not a file"):
        read_journal(tmp_path)


def test_a_stations_answer_becomes_the_same_series() -> None:
    """Good readings alone; an answer without readings is something that is not there."""
    rows = [
        {"probe": "bowl", "role": "bath", "t_s": 1.0, "celsius": 20.0, "quality": "good"},
        {"probe": "bowl", "role": "bath", "t_s": 2.0, "celsius": None, "quality": "missing"},
    ]
    assert from_station("laundry", {"readings": rows}).needed("bath").celsius == (20.0,)
    with pytest.raises(NotThere, match=r"laundry.*no such verb"):
        from_station("laundry", {"ok": False, "status": 2, "lines": ["no such verb"]})
    with pytest.raises(NotThere, match="laundry"):
        from_station("laundry", {"readings": [3]})
