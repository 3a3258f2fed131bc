"""Files of JSON lines that are only appended to: nothing lost, damage kept aside, refusals by file and line."""

from __future__ import annotations

import json
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
