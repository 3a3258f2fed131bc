"""Reading on in a journal that is being written."""

import os
from pathlib import Path

import pytest

from monitor.live.disk.journal_tail import records_after


def test_it_reads_on_after_a_record_and_passes_over_what_is_not_whole(tmp_path: Path) -> None:
    """A last line that is being written, a damaged one, a line that is no record."""
    path = tmp_path / "s.jsonl"
    whole = [f'{{"seq": {n}, "t_s": {n}.0, "kind": "reading"}}\n' for n in range(1, 6)]
    rubbish = '{broken\n[1]\n{"seq": "9", "t_s": 1.0, "kind": "x"}\n{"seq": 7}\n'
    path.write_text("".join(whole[:3]) + rubbish + whole[3] + whole[4][:-1])
    assert [r["seq"] for r in records_after(path, 0)] == [1, 2, 3, 4]
    assert [r["seq"] for r in records_after(path, 2)] == [3, 4]
    assert not list(records_after(path, 4))


def test_a_journal_that_is_not_there_is_an_error(tmp_path: Path) -> None:
    """The caller decides what that means."""
    with pytest.raises(OSError, match="No such file"):
        list(records_after(tmp_path / "s.jsonl", 0))


def test_a_line_without_end_and_a_fifo_hold_nobody_up(tmp_path: Path) -> None:
    """What follows the one is found; the other is no file."""
    path = tmp_path / "s.jsonl"
    path.write_bytes(b"x" * 3_000_000 + b"\n" + b'{"seq":2,"t_s":1.0,"kind":"tap"}\n')
    assert [record["seq"] for record in records_after(path, 0)] == [2]
    path.unlink()
    os.mkfifo(path)
    with pytest.raises(OSError, match="FIFO"):
        list(records_after(path, 0))
