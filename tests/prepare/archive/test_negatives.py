"""The archive's file: only appended to, words that can be printed anywhere, numbers that are given once."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

import pytest

from monitor.core.errors import FileWrong, InputWrong
from monitor.prepare.archive.negatives import (
    Archive,
    Entry,
    archive_file,
    copied_words,
    find,
    plain_words,
    read_archive,
    read_date,
    read_index,
    sleeve_lines,
    undo_entry,
    write_entry,
)

NOW = dt.datetime(2026, 11, 26, 20, 0, tzinfo=dt.UTC)


def add(state: Path, **words: object) -> Entry:
    """One film, numbered by itself."""

    def make(archive: Archive) -> Entry:
        day = str(words.get("day", "2026-11-26"))
        return {"entry": "negative", "number": archive.next_number(int(day[:4])), "day": day, "film": "pan 125", **words}

    return write_entry(state, NOW, make)[1]


def note(state: Path, number: str, **words: object) -> None:
    """One note."""
    write_entry(state, NOW, lambda _: {"entry": "note", "number": number, **words})


def test_numbers_count_up_by_themselves_each_year(tmp_path: Path) -> None:
    """An own number does not disturb them, and none is given twice."""
    assert [add(tmp_path)["number"], add(tmp_path, number="box7/3")["number"], add(tmp_path)["number"]] == [
        "2026-001",
        "box7/3",
        "2026-002",
    ]
    assert add(tmp_path, day="2025-02-03")["number"] == "2025-001"
    with pytest.raises(InputWrong, match="there is a negative 2026-001 already"):
        add(tmp_path, number="2026-001")


def test_the_file_is_only_appended_to_and_an_undo_is_an_entry(tmp_path: Path) -> None:
    """What was written before stays byte for byte."""
    add(tmp_path)
    note(tmp_path, "2026-001", frame="3", words="gate")
    before = archive_file(tmp_path).read_bytes()
    assert [json.loads(line)["seq"] for line in before.splitlines()] == [1, 2]
    write_entry(tmp_path, NOW, undo_entry)
    after = archive_file(tmp_path).read_bytes()
    assert after.startswith(before)
    assert read_archive(tmp_path).negatives["2026-001"].notes == ()
    note(tmp_path, "2026-001", frame="4", words="wall")
    assert [json.loads(line)["seq"] for line in archive_file(tmp_path).read_bytes().splitlines()] == [1, 2, 3, 4]
    assert [n.line() for n in read_archive(tmp_path).negatives["2026-001"].notes] == ["4: wall"]
    write_entry(tmp_path, NOW, undo_entry)
    write_entry(tmp_path, NOW, undo_entry)
    assert not read_archive(tmp_path).negatives
    with pytest.raises(InputWrong, match="nothing to undo"):
        write_entry(tmp_path, NOW, undo_entry)


def test_a_table_belongs_to_its_film_whatever_the_capitals_and_a_newer_one_replaces_it(tmp_path: Path) -> None:
    """And nothing is left of one that was taken back."""

    def table(needed_s: float) -> Entry:
        return {"entry": "table", "film": "Pan 400", "points": [[1.0, 1.0], [10.0, needed_s]]}

    write_entry(tmp_path, NOW, lambda _: table(20.0))
    write_entry(tmp_path, NOW, lambda _: table(30.0))
    assert read_archive(tmp_path).table("pan 400").needed_s(10.0) == pytest.approx(30.0)
    write_entry(tmp_path, NOW, undo_entry)
    assert read_archive(tmp_path).table("PAN 400").needed_s(10.0) == pytest.approx(20.0)
    assert not read_archive(tmp_path).negatives
    with pytest.raises(InputWrong, match='there is no reciprocity table for "ortho"; allowed: pan 400'):
        read_archive(tmp_path).table("ortho")


@pytest.mark.parametrize("text", ["fast", "0", "-100", "1e3", "102401", "100.25", ""])
def test_an_exposure_index_is_a_number_above_nothing(text: str) -> None:
    """As on a meter's dial."""
    with pytest.raises(InputWrong, match="is not an exposure index"):
        read_index(text)
    assert [read_index(t) for t in ("100", " 12.5 ", "102400")] == [100.0, 12.5, 102400.0]


def test_a_refused_entry_writes_nothing(tmp_path: Path) -> None:
    """A note on a negative that is not there."""
    add(tmp_path)
    before = archive_file(tmp_path).read_bytes()
    with pytest.raises(InputWrong, match="there is no negative"):
        note(tmp_path, "2026-009", words="gate")
    assert archive_file(tmp_path).read_bytes() == before


@pytest.mark.parametrize("text", ["=1+1", "+41", "-dev", "@x", "|x", "%x", " =x", "'=x", "\uff1dx"])
def test_words_that_begin_like_a_formula_are_refused(text: str) -> None:
    """They would be one in a spreadsheet."""
    with pytest.raises(InputWrong, match="begins like a formula"):
        plain_words(text, "film")
    copied = copied_words(text)
    assert copied is None or plain_words(copied, "film") == copied


@pytest.mark.parametrize("text", ["a\x1b[31mb", "a\nb", "a\u202eb", "a\x9bb", "\x07", "", "  ", "x" * 121])
def test_control_characters_are_refused(text: str) -> None:
    """On paper and on a terminal they do something."""
    with pytest.raises(InputWrong, match="does not fit"):
        plain_words(text, "film")
    copied = copied_words(text)
    assert copied is None or plain_words(copied, "film") == copied


@pytest.mark.parametrize(
    "change",
    [
        {"film": "=cmd"},
        {"film": "a\x1bb"},
        {"number": "a b"},
        {"day": "26.11."},
        {"index": "fast"},
        {"index": True},
        {"seq": 7},
        {"entry": "other"},
        {"developer": 3},
        {"entry": "table", "film": "=x", "points": [[1, 1], [10, 20]]},
        {"entry": "table", "film": "x", "points": [[1, 1]]},
        {"entry": "table", "film": "x", "points": [[1, 1], ["x", 2]]},
        {"entry": "undo", "undoes": 1},
        {"entry": "note", "number": "2026-001", "words": "x"},
    ],
)
def test_an_edited_file_is_refused_by_line(tmp_path: Path, change: dict[str, object]) -> None:
    """What stands in it is checked as if it were typed."""
    add(tmp_path)
    path = archive_file(tmp_path)
    row = json.loads(path.read_text(encoding="utf-8")) | change
    path.write_text(json.dumps(row) + "\n" + json.dumps(row) + "\n", encoding="utf-8")
    with pytest.raises(FileWrong, match=r"negatives\.jsonl:1: not an entry of the archive"):
        read_archive(tmp_path)


@pytest.mark.parametrize("points", ["[[1,1],[1e400,1e400]]", "[[1,1],[10,1e400]]", "[[0,1],[10,20]]", "[[-1,1],[10,20]]"])
def test_a_table_of_numbers_that_no_exposure_has_is_refused(tmp_path: Path, points: str) -> None:
    """1e400 is read as infinite."""
    path = archive_file(tmp_path)
    path.parent.mkdir()
    path.write_text(f'{{"seq":1,"entry":"table","film":"pan","points":{points}}}\n\n', encoding="utf-8")
    with pytest.raises(FileWrong, match=r"negatives\.jsonl:1: not an entry of the archive"):
        read_archive(tmp_path)


def test_films_are_found_by_film_developer_date_and_words(tmp_path: Path) -> None:
    """Capital letters do not matter; the oldest comes first."""
    add(tmp_path, film="Pan 400", developer="developer B", day="2026-12-01")
    add(tmp_path, film="pan 125", developer="developer A 1+31", day="2026-11-26", words="rain")
    add(tmp_path, film="ortho 25", developer="developer A", day="2025-11-26")
    note(tmp_path, "2026-002", frame="12A", words="Church door")
    archive = read_archive(tmp_path)

    def found(**by: str) -> list[str]:
        return [n.number for n in find(archive, **by)]

    assert found() == ["2025-001", "2026-002", "2026-001"]
    assert found(film="PAN") == ["2026-002", "2026-001"]
    assert found(developer="developer a") == ["2025-001", "2026-002"]
    assert found(date="2026-11") == ["2026-002"]
    assert [n.number for n in find(archive, ["church", "RAIN"])] == ["2026-002"]
    assert not find(archive, ["church"], film="400")
    assert sleeve_lines(archive.negatives["2026-002"])[0] == "2026-002  2026-11-26  pan 125"


@pytest.mark.parametrize("text", ["26", "2026-13", "2026-02-30", "2026-1", "1.2.2026"])
def test_a_date_is_a_year_a_month_or_a_day(text: str) -> None:
    """As it stands in the archive."""
    with pytest.raises(InputWrong, match="is not a date"):
        read_date(text)
    assert [read_date(t) for t in ("2026", "2026-02", "2026-02-28")] == ["2026", "2026-02", "2026-02-28"]


def test_a_bare_number_means_the_newest_years(tmp_path: Path) -> None:
    """On the sleeve in the hand stands 1; nobody types the year."""
    add(tmp_path, number="2024-001")
    add(tmp_path, number="2026-001")
    add(tmp_path, number="2025-002")
    archive = read_archive(tmp_path)
    assert archive.negative("1").number == "2026-001"
    assert archive.negative("001").number == "2026-001"
    assert archive.negative("2").number == "2025-002"
    with pytest.raises(InputWrong, match="there is no negative"):
        archive.negative("3")
