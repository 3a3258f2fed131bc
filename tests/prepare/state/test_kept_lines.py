"""Files of JSON lines that are only appended to: nothing lost, damage kept aside, refusals by file and line."""

from __future__ import annotations

import errno
import fcntl
import json
import os
from pathlib import Path

import pytest

from monitor.core.errors import FileWrong, InputWrong
from monitor.prepare.state.kept_lines import read_lines, writing


def put(path: Path, *rows: dict[str, object]) -> None:
    """Append rows as one writer."""
    with writing(path) as file:
        file.append(*rows)


def values(path: Path) -> list[object]:
    """What is on each line, in the order of the file."""
    return [dict(row.data) for row in read_lines(path).rows]


def test_what_was_appended_is_read_back_in_its_order(tmp_path: Path) -> None:
    """Two writers one after the other, folders made on the way."""
    path = tmp_path / "a" / "b" / "lines.jsonl"
    assert values(path) == []
    put(path, {"n": 1}, {"n": 2})
    put(path, {"n": 3})
    assert values(path) == [{"n": 1}, {"n": 2}, {"n": 3}]
    assert path.read_bytes().count(b"\n") == 3


@pytest.mark.parametrize("tail", [b'{"n": 3', b"\x00\x00\x00\x00", b"rubbish\n", b"[1, 2]\n", b'{"n": NaN}\n'])
def test_a_damaged_last_line_is_left_out_in_reading_and_kept_aside_in_writing(tmp_path: Path, tail: bytes) -> None:
    """Reading changes nothing; the next writer moves the damage into FILE.damaged and goes on after the last whole line."""
    path = tmp_path / "lines.jsonl"
    put(path, {"n": 1}, {"n": 2})
    whole = path.read_bytes()
    path.write_bytes(whole + tail)
    kept = read_lines(path)
    assert [row.line for row in kept.rows] == [1, 2]
    assert kept.damaged is not None
    assert kept.damaged.startswith(f"{path}:3: ")
    assert path.read_bytes() == whole + tail
    put(path, {"n": 4})
    assert values(path) == [{"n": 1}, {"n": 2}, {"n": 4}]
    assert (tmp_path / "lines.jsonl.damaged").read_bytes() == tail.rstrip(b"\n") + b"\n"
    assert read_lines(path).damaged is None


def test_a_whole_last_line_without_its_newline_counts(tmp_path: Path) -> None:
    """Only the newline was torn off: nothing is lost and nothing is glued together."""
    path = tmp_path / "lines.jsonl"
    path.write_bytes(b'{"n":1}\n{"n":2}')
    put(path, {"n": 3})
    assert values(path) == [{"n": 1}, {"n": 2}, {"n": 3}]
    assert not (tmp_path / "lines.jsonl.damaged").exists()


def test_a_damaged_line_in_the_middle_is_refused_with_its_line_and_nothing_is_written(tmp_path: Path) -> None:
    """All such lines together."""
    path = tmp_path / "lines.jsonl"
    damaged = b'{"n":1}\nrubbish\n{"n":3}\n{{\n{"n":5}\n'
    path.write_bytes(damaged)
    with pytest.raises(FileWrong) as refused:
        put(path, {"n": 6})
    assert [line.split(": ")[0] for line in refused.value.lines] == [f"{path}:2", f"{path}:4"]
    assert path.read_bytes() == damaged


def test_a_row_that_cannot_be_written_leaves_the_file_as_it_was(tmp_path: Path) -> None:
    """A number that is not finite, in the second of two rows: neither is written."""
    path = tmp_path / "lines.jsonl"
    put(path, {"n": 1})
    with pytest.raises(ValueError, match="JSON"):
        put(path, {"n": 2}, {"n": float("nan")})
    assert values(path) == [{"n": 1}]


def test_a_place_that_cannot_be_written_is_told_in_one_line(tmp_path: Path) -> None:
    """A file stands where the folder should be."""
    (tmp_path / "a").write_text("", encoding="utf-8")
    with pytest.raises(InputWrong) as refused:
        put(tmp_path / "a" / "lines.jsonl", {"n": 1})
    assert len(refused.value.lines) == 1
    assert "cannot be written" in refused.value.lines[0]


def test_letters_of_every_alphabet_survive(tmp_path: Path) -> None:
    """UTF-8, also a line separator of Unicode, which must not break the line."""
    path = tmp_path / "lines.jsonl"
    put(path, {"n": "Entwickler \u2028 \u00e4\u00f6"})
    assert json.loads(path.read_bytes())["n"] == "Entwickler \u2028 \u00e4\u00f6"
    assert values(path) == [{"n": "Entwickler \u2028 \u00e4\u00f6"}]


class Disk:
    """A disk that keeps, over a power cut, only what was synced: contents by a sync of the file, names by a sync of the folder."""

    def __init__(self, patch: pytest.MonkeyPatch) -> None:
        self.contents: dict[Path, bytes] = {}
        self.names: set[Path] = set()
        self.before_the_cut: dict[Path, bytes] | None = None
        sync, cut = os.fsync, os.ftruncate

        def fsync(descriptor: int) -> None:
            sync(descriptor)
            path = Path(f"/proc/self/fd/{descriptor}").readlink()
            if path.is_dir():
                self.names |= set(path.iterdir())
            else:
                self.contents[path] = path.read_bytes()

        def ftruncate(descriptor: int, length: int) -> None:
            self.before_the_cut = self.after_a_power_cut()
            cut(descriptor, length)

        patch.setattr(os, "fsync", fsync)
        patch.setattr(os, "ftruncate", ftruncate)

    def after_a_power_cut(self) -> dict[Path, bytes]:
        """The files that are there when the power comes back, with what stands in them."""
        return {path: content for path, content in self.contents.items() if path in self.names}


def test_what_was_appended_outlives_a_power_cut(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When the call returns, row and file name are on the disk."""
    disk = Disk(monkeypatch)
    path = tmp_path / "lines.jsonl"
    put(path, {"n": 1})
    assert disk.after_a_power_cut()[path] == b'{"n":1}\n'
    put(path, {"n": 2})
    assert disk.after_a_power_cut()[path] == b'{"n":1}\n{"n":2}\n'


def test_a_damaged_end_is_safe_elsewhere_before_it_is_cut_off(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A power cut between the two loses nothing."""
    path = tmp_path / "lines.jsonl"
    path.write_bytes(b'{"n":1}\n{"n": 2')
    disk = Disk(monkeypatch)
    put(path, {"n": 3})
    assert disk.before_the_cut is not None
    assert disk.before_the_cut[tmp_path / "lines.jsonl.damaged"] == b'{"n": 2\n'


def test_a_write_that_fails_half_way_leaves_the_file_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The disk is full after three bytes: no part of the row stays."""
    path = tmp_path / "lines.jsonl"
    put(path, {"n": 1})
    write = os.write

    def full(descriptor: int, data: bytes) -> int:
        if len(data) < 8:
            raise OSError(errno.ENOSPC, "No space left on device")
        return write(descriptor, data[:3])

    monkeypatch.setattr(os, "write", full)
    with pytest.raises(InputWrong, match="nothing was stored"):
        put(path, {"n": 2})
    assert path.read_bytes() == b'{"n":1}\n'


def test_a_writer_holds_the_lock_until_it_has_written(tmp_path: Path) -> None:
    """Another one that asked meanwhile would have to wait."""
    path = tmp_path / "lines.jsonl"
    with writing(path) as file, (tmp_path / ".lines.jsonl.lock").open("ab") as other:
        with pytest.raises(BlockingIOError):
            fcntl.flock(other.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
        file.append({"n": 1})
    with (tmp_path / ".lines.jsonl.lock").open("ab") as other:
        fcntl.flock(other.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)


@pytest.mark.parametrize("what", ["FIFO", "folder"])
def test_what_is_no_file_is_refused_and_waited_for_by_nobody(tmp_path: Path, what: str) -> None:
    """Read or written."""
    path = tmp_path / "lines.jsonl"
    if what == "FIFO":
        os.mkfifo(path)
    else:
        path.mkdir()
    with pytest.raises(InputWrong, match="not a file"):
        read_lines(path)
    with pytest.raises(InputWrong, match="not a file"), writing(path):
        pass


def _link(link: Path, target: Path) -> None:
    link.parent.mkdir(parents=True, exist_ok=True)
    link.symlink_to(target)


@pytest.mark.parametrize("name", ["lines.jsonl", ".lines.jsonl.lock", "lines.jsonl.damaged"])
@pytest.mark.parametrize("foreign", [None, b"", b'{"n":1}\n', b"a letter, and no newline", b'{"n":1}\na torn en'])
def test_nothing_foreign_is_written_through_a_link(tmp_path: Path, name: str, foreign: bytes | None) -> None:
    """In place of the file, its lock or what is kept aside; dangling or not. The refusal is one line."""
    path, target = tmp_path / "own" / "lines.jsonl", tmp_path / "foreign"
    if foreign is not None:
        target.write_bytes(foreign)
    _link(path.with_name(name), target)
    if path.name != name:
        path.write_bytes(b'{"n":1}\n{"n":')
    with pytest.raises(InputWrong, match="a symbolic link") as refused:
        put(path, {"n": 2})
    assert len(refused.value.lines) == 1
    assert (target.read_bytes() if target.exists() else None) == foreign
    if path.name != name:
        assert path.read_bytes() == b'{"n":1}\n{"n":', "what is damaged is not cut off before it was kept"
    else:
        with pytest.raises(InputWrong, match="a symbolic link"):
            read_lines(path)


def test_a_folder_that_is_a_link_is_not_followed(tmp_path: Path) -> None:
    """To somebody else's, which stays empty, or to one that is not there, which is not made."""
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    for link, target in ((tmp_path / "own", elsewhere), (tmp_path / "dangling", tmp_path / "none")):
        _link(link, target)
        with pytest.raises(InputWrong):
            put(link / "lines.jsonl", {"n": 1})
    with pytest.raises(InputWrong, match="a symbolic link"):
        read_lines(tmp_path / "own" / "lines.jsonl")
    assert list(elsewhere.iterdir()) == []
    assert not (tmp_path / "none").exists()


def test_a_file_with_a_second_name_is_read_and_not_written(tmp_path: Path) -> None:
    """The other name may be a file of somebody else, or a copy that was meant to stay as it was."""
    path, other = tmp_path / "lines.jsonl", tmp_path / "other"
    other.write_bytes(b'{"n":1}\ntorn')
    path.hardlink_to(other)
    with pytest.raises(InputWrong, match="a second name"):
        put(path, {"n": 2})
    assert other.read_bytes() == b'{"n":1}\ntorn'
    assert values(path) == [{"n": 1}]
