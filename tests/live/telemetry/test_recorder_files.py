"""The folder of a recorder: what it finds there, and what it does to it."""

from __future__ import annotations

import os
import resource
from pathlib import Path

import pytest

from monitor.core.errors import InputWrong
from monitor.live.telemetry import kept as kept_module
from monitor.live.telemetry.kept import Shelf
from tests.live.disk.disks import Platter
from tests.live.telemetry.publishers import closing, journal, record


def put(folder: Path, body: bytes, session: str = "a1", station: str = "laundry") -> Path:
    """A file as an earlier recorder left it."""
    (folder / station).mkdir(parents=True, exist_ok=True)
    path = folder / station / f"{session}.jsonl"
    path.write_bytes(body)
    return path


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """An empty folder."""
    return tmp_path / "kept"


def test_goes_on_where_the_file_ends(folder: Path) -> None:
    """The number of records and the last one tell what comes next."""
    put(folder, journal("a1", 100, closed=False))
    put(folder, journal("a2", 50), session="a2")
    shelf = Shelf(folder)
    assert (shelf.find("laundry", "a1").next_seq, shelf.find("laundry", "a1").closed) == (101, False)
    assert (shelf.find("laundry", "a2").next_seq, shelf.find("laundry", "a2").closed) == (51, True)
    assert shelf.unclosed() == [("laundry", "a1")]
    shelf.close()


def test_a_session_that_was_told_complete_is_there_after_a_power_cut(folder: Path) -> None:
    """`--until-closed` ends with 0 on this word."""
    platter = Platter()
    shelf = Shelf(folder, platter.sync)
    body = journal("a1", 30)
    kept = shelf.find("laundry", "a1")
    for line in body.splitlines(keepends=True):
        shelf.append(kept, line[:-1], line.endswith(body.splitlines(keepends=True)[-1]))
    assert kept.closed
    platter.cut(shelf.path("laundry", "a1"))
    assert shelf.path("laundry", "a1").read_bytes() == body
    shelf.close()


def test_a_torn_last_line_is_taken_away_and_told(folder: Path) -> None:
    """As a loss of power leaves it; everything before stays."""
    body = journal("a1", 10, closed=False)
    path = put(folder, body + record("a1", 11)[:33])
    shelf = Shelf(folder)
    assert shelf.find("laundry", "a1").next_seq == 11
    assert path.read_bytes() == body
    assert len(shelf.repaired) == 1
    shelf.close()


def test_a_file_that_is_one_torn_line_begins_anew(folder: Path) -> None:
    """And so does an empty one."""
    path = put(folder, b'{"seq":1,"sess')
    put(folder, b"", session="a2")
    shelf = Shelf(folder)
    assert shelf.find("laundry", "a1").next_seq == 1
    assert shelf.find("laundry", "a2").next_seq == 1
    assert path.read_bytes() == b""
    shelf.close()


@pytest.mark.parametrize("damage", ["hole", "zeros", "other session", "repeat"])
def test_a_damaged_file_is_kept_aside_and_gone_on_with_before_the_damage(folder: Path, damage: str) -> None:
    """Nothing is thrown away; the station is asked for what follows the damage."""
    lines = journal("a1", 10, closed=False).splitlines(keepends=True)
    if damage == "hole":
        del lines[4]
    elif damage == "zeros":
        lines[4] = b"\0" * 40 + b"\n"
        del lines[7]
    elif damage == "other session":
        lines.append(record("b9", 11))
    else:
        lines.insert(4, lines[3])
    body = b"".join(lines)
    path = put(folder, body)
    shelf = Shelf(folder)
    assert shelf.find("laundry", "a1").next_seq == (11 if damage == "other session" else 5)
    assert (path.parent / "a1.jsonl.damaged-1").read_bytes() == body
    assert body.startswith(path.read_bytes())
    shelf.close()


def test_a_second_recorder_in_the_folder_is_refused(folder: Path) -> None:
    """Two would write each record twice."""
    first = Shelf(folder)
    with pytest.raises(InputWrong, match="another recorder"):
        Shelf(folder)
    first.close()
    Shelf(folder).close()


def test_a_folder_that_cannot_be_made_is_refused(tmp_path: Path) -> None:
    """In words."""
    (tmp_path / "file").write_text("")
    with pytest.raises(InputWrong, match="cannot be written"):
        Shelf(tmp_path / "file" / "kept")


def test_a_full_disk_leaves_the_file_as_it_was(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A record of which only a part could be written is taken back, and can be written later."""
    shelf = Shelf(folder)
    kept = shelf.find("laundry", "a1")
    shelf.append(kept, record("a1", 1)[:-1], closes=False)
    real_write = os.write
    monkeypatch.setattr("os.write", lambda fd, data: real_write(fd, data[:20]))
    with pytest.raises(OSError, match="no space"):
        shelf.append(kept, record("a1", 2)[:-1], closes=False)
    assert shelf.path("laundry", "a1").read_bytes() == record("a1", 1)
    monkeypatch.undo()
    shelf.append(kept, closing("a1", 2)[:-1], closes=True)
    assert shelf.path("laundry", "a1").read_bytes() == record("a1", 1) + closing("a1", 2)
    shelf.close()


def test_many_stations_need_few_open_files_and_few_numbers(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With room for 8 sessions and 4 files, 40 sessions of 20 stations are kept whole, interleaved as they come."""
    monkeypatch.setattr(kept_module, "MOST_KNOWN", 8)
    monkeypatch.setattr(kept_module, "MOST_OPEN", 4)
    before = len(list(Path("/proc/self/fd").iterdir()))
    shelf = Shelf(folder)
    for seq in range(1, 6):
        for number in range(40):
            session = f"s{number}"
            kept = shelf.find(f"st{number % 20}", session)
            assert kept.next_seq == seq
            line = closing(session, seq) if seq == 5 else record(session, seq)
            shelf.append(kept, line[:-1], closes=seq == 5)
    assert len(list(Path("/proc/self/fd").iterdir())) - before <= 6
    assert resource.getrlimit(resource.RLIMIT_NOFILE)[0] > kept_module.MOST_OPEN
    assert shelf.path("st7", "s27").read_bytes() == b"".join(record("s27", seq) for seq in range(1, 5)) + closing("s27", 5)
    assert shelf.unclosed() == []
    shelf.close()


def test_strangers_are_forgotten_first(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Names that somebody makes up push no kept session out of memory and make no file."""
    monkeypatch.setattr(kept_module, "MOST_STRANGERS", 10)
    shelf = Shelf(folder)
    true = shelf.find("laundry", "a1")
    shelf.append(true, record("a1", 1)[:-1], closes=False)
    for number in range(1000):
        shelf.find("laundry", f"made-up-{number}")
    assert shelf.find("laundry", "a1") is true
    assert len(list(shelf.busy())) <= 11
    assert [path.name for path in (folder / "laundry").iterdir()] == ["a1.jsonl"]
    shelf.close()
