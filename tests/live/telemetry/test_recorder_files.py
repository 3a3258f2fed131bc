"""The folder of a recorder: what it finds there, and what it does to it."""

from __future__ import annotations

import os
import resource
from pathlib import Path
from typing import Any

import pytest

from monitor.core.errors import InputWrong
from monitor.live.telemetry import kept as kept_module
from monitor.live.telemetry.kept import FileGone, Shelf
from tests.live.disk.disks import Platter
from tests.live.telemetry.publishers import closing, journal, opening, record


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


def test_a_torn_last_line_is_put_aside_and_told(folder: Path) -> None:
    """As a loss of power leaves it; everything before stays, and what is cut off stands beside it."""
    body = journal("a1", 10, closed=False)
    path = put(folder, body + record("a1", 11)[:33])
    shelf = Shelf(folder)
    assert shelf.find("laundry", "a1").next_seq == 11
    assert path.read_bytes() == body
    assert (path.parent / "a1.jsonl.torn-1").read_bytes() == record("a1", 11)[:33]
    assert len(shelf.told) == 1
    shelf.close()


def test_a_file_that_is_one_torn_line_begins_anew(folder: Path) -> None:
    """And so does an empty one."""
    path = put(folder, b'{"seq":1,"sess')
    put(folder, b"", session="a2")
    shelf = Shelf(folder)
    assert shelf.find("laundry", "a1").next_seq == 1
    assert shelf.find("laundry", "a2").next_seq == 1
    assert path.read_bytes() == b""
    assert (path.parent / "a1.jsonl.torn-1").read_bytes() == b'{"seq":1,"sess'
    shelf.close()


FOREIGN = {
    "a judgement": b'{"schema":1,"wall":"w","session":"a1","density":"thin"}\n',
    "data": b'{"prompt":"x","completion":"y"}\n{"prompt":"z"',
    "text": b"no journal at all",
    "another session": opening("b9") + record("b9", 2)[:30],
    "a first record that opens nothing": record("a1", 1, kind="tap", meaning="mark") + b'{"seq":2,',
    "a session from its second record on": record("a1", 2) + record("a1", 3)[:20],
    "an opening without a newline": opening("b9")[:-1],
    "deep": b"[" * 100_000,
    "a line without end": b"x" * 1_200_000,
}


@pytest.mark.parametrize("name", FOREIGN)
def test_what_is_no_journal_of_its_session_is_left_alone(folder: Path, name: str) -> None:
    """Only a file whose first record opens the session that it is named after is ours; nothing is written to any other."""
    path = put(folder, FOREIGN[name])
    shelf = Shelf(folder)
    kept = shelf.find("laundry", "a1")
    with pytest.raises(OSError, match="no journal of this session"):
        shelf.append(kept, opening("a1")[:-1], closes=False)
    assert path.read_bytes() == FOREIGN[name]
    assert [entry.name for entry in path.parent.iterdir()] == ["a1.jsonl"]
    assert shelf.unclosed() == []
    assert len(shelf.told) == 1
    assert str(path) in shelf.told[0]
    path.rename(path.with_name("mine.txt"))
    shelf.append(shelf.find("laundry", "a1"), opening("a1")[:-1], closes=False)
    assert path.read_bytes() == opening("a1")
    shelf.close()


def test_a_judgement_beside_a_session_is_neither_read_nor_told(folder: Path) -> None:
    """It has its own name, and no station may open a session of such a name."""
    path = put(folder, b'{"schema":1', session="a1.judgement")
    shelf = Shelf(folder)
    assert path.read_bytes() == b'{"schema":1'
    assert shelf.told == []
    shelf.close()


@pytest.mark.parametrize("what", ["file", "dangling", "folder"])
def test_no_symbolic_link_is_followed(folder: Path, tmp_path: Path, what: str) -> None:
    """Neither to be repaired nor to be written to, be it the session's file or the station's folder."""
    outside = tmp_path / "outside"
    outside.mkdir()
    target = outside / "a1.jsonl"
    body = journal("a1", 3, closed=False) + b'{"torn'
    if what != "dangling":
        target.write_bytes(body)
    if what == "folder":
        folder.mkdir()
        (folder / "laundry").symlink_to(outside)
    else:
        (folder / "laundry").mkdir(parents=True)
        (folder / "laundry" / "a1.jsonl").symlink_to(target)
    shelf = Shelf(folder)
    with pytest.raises(OSError, match="symbolic link"):
        shelf.append(shelf.find("laundry", "a1"), record("a1", 4)[:-1], closes=False)
    assert [path.name for path in outside.iterdir()] == ([] if what == "dangling" else ["a1.jsonl"])
    assert what == "dangling" or target.read_bytes() == body
    assert shelf.told
    shelf.close()


def test_a_lock_that_is_a_link_is_refused(folder: Path, tmp_path: Path) -> None:
    """It would make a file elsewhere."""
    folder.mkdir()
    (folder / ".lock").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(InputWrong):
        Shelf(folder)
    assert not (tmp_path / "elsewhere").exists()


@pytest.mark.parametrize("what", ["fifo", "folder"])
def test_what_is_no_file_is_told_and_waited_for_by_nobody(folder: Path, what: str) -> None:
    """A FIFO would hold up everybody."""
    path = folder / "laundry" / "a1.jsonl"
    path.parent.mkdir(parents=True)
    os.mkfifo(path) if what == "fifo" else path.mkdir()
    shelf = Shelf(folder)
    with pytest.raises(OSError, match="a FIFO" if what == "fifo" else "a folder"):
        shelf.append(shelf.find("laundry", "a1"), opening("a1")[:-1], closes=False)
    shelf.close()


def test_a_copy_stands_on_the_disk_before_anything_is_cut(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where it cannot be made nothing is cut, and the session waits."""
    body = journal("a1", 5, closed=False)
    damaged = b"".join(body.splitlines(keepends=True)[i] for i in (0, 1, 3, 4))
    for name, content in (("a1", body + b'{"torn'), ("a2", damaged.replace(b'"a1"', b'"a2"'))):
        put(folder, content, session=name)

    def full(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    shelf = Shelf(folder)
    monkeypatch.undo()
    assert (folder / "laundry" / "a1.jsonl").read_bytes() == body + b'{"torn'
    assert (folder / "laundry" / "a2.jsonl").read_bytes() == damaged.replace(b'"a1"', b'"a2"')
    assert len(shelf.told) == 2
    shelf.close()
    shelf = Shelf(folder)
    assert shelf.unclosed() == [("laundry", "a1"), ("laundry", "a2")]
    shelf.close()


@pytest.mark.parametrize("how", ["deleted", "moved", "replaced", "folder moved"])
def test_a_file_that_goes_while_it_is_written_is_noticed_at_the_next_record(folder: Path, how: str) -> None:
    """What stands there then is what is kept; the rest is asked for again."""
    shelf = Shelf(folder)
    kept = shelf.find("laundry", "a1")
    lines = journal("a1", 9).splitlines()
    for line in lines[:4]:
        shelf.append(kept, line, closes=False)
    path = shelf.path("laundry", "a1")
    if how == "deleted":
        path.unlink()
    elif how == "moved":
        path.rename(path.with_name("old.txt"))
    elif how == "folder moved":
        path.parent.rename(folder / "elsewhere")
    else:
        path.with_name("fresh").write_bytes(lines[0] + b"\n" + lines[1] + b"\n")
        path.with_name("fresh").replace(path)
    with pytest.raises(FileGone):
        shelf.append(kept, lines[4], closes=False)
    kept = shelf.find("laundry", "a1")
    assert kept.next_seq == (3 if how == "replaced" else 1)
    for seq in range(kept.next_seq, 10):
        shelf.append(kept, lines[seq - 1], closes=seq == 9)
    assert path.read_bytes() == journal("a1", 9)
    shelf.close()


def test_the_last_record_is_no_completion_where_the_file_has_gone(folder: Path) -> None:
    """Deleted at the very end: between writing the close and saying that all is there."""

    def sync(descriptor: int) -> None:
        path.unlink(missing_ok=True)

    shelf = Shelf(folder, sync)
    path = shelf.path("laundry", "a1")
    kept = shelf.find("laundry", "a1")
    shelf.append(kept, opening("a1")[:-1], closes=False)
    with pytest.raises(FileGone):
        shelf.append(kept, closing("a1", 2)[:-1], closes=True)
    assert not shelf.find("laundry", "a1").closed
    shelf.close()


def test_few_descriptors_are_enough(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where no more files may be opened, one that was open longest is closed for it."""
    shelf = Shelf(folder)
    real, least = os.open, len(list(Path("/proc/self/fd").iterdir())) + 3

    def scarce(*args: Any, **more: Any) -> int:
        fd = real(*args, **more)
        if len(list(Path("/proc/self/fd").iterdir())) > least + 3:
            os.close(fd)
            raise OSError(24, "Too many open files")
        return fd

    monkeypatch.setattr(os, "open", scarce)
    for seq in (1, 2):
        for number in range(12):
            session = f"s{number}"
            shelf.append(shelf.find("laundry", session), record(session, seq)[:-1], closes=False)
    monkeypatch.undo()
    assert all(shelf.path("laundry", f"s{n}").read_bytes() == record(f"s{n}", 1) + record(f"s{n}", 2) for n in range(12))
    shelf.close()


def test_files_are_private_whatever_the_umask(folder: Path) -> None:
    """Nobody else reads them, and nobody else writes them."""
    before = os.umask(0)
    try:
        shelf = Shelf(folder)
        shelf.append(shelf.find("laundry", "a1"), opening("a1")[:-1], closes=False)
        shelf.close()
    finally:
        os.umask(before)
    for path in (folder, *folder.rglob("*")):
        assert path.stat().st_mode & 0o027 == 0, path


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
