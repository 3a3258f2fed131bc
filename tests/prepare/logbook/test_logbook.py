"""The logbook: what is written is read again, once and in order; what is spoiled is told by line; what must not be written is not."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from monitor.core.errors import FileWrong, InputWrong
from monitor.prepare.logbook import book
from monitor.prepare.logbook.chosen import choose, chosen
from monitor.prepare.logbook.notes import LONGEST, add_note, read_notes
from monitor.prepare.logbook.ticks import HOLD, tick, ticked

NOW = dt.datetime(2026, 11, 26, 19, 0, tzinfo=dt.UTC)


def test_a_note_is_kept_in_one_line_with_its_moment_and_its_session(tmp_path: Path) -> None:
    """Without control characters, in the order of writing."""
    add_note(tmp_path, NOW, "  thin\r\nnegatives\x1b[2J ", "261106-1910a")
    add_note(tmp_path, NOW + dt.timedelta(minutes=1), "left the fan on")
    first, second = read_notes(tmp_path)
    assert (first.text, first.session, first.at) == ("thin negatives\ufffd[2J", "261106-1910a", NOW)
    assert (second.text, second.session) == ("left the fan on", None)


@pytest.mark.parametrize("text", ["", " \n ", "x" * (LONGEST + 1)])
def test_no_note_and_one_that_is_too_long_are_refused(tmp_path: Path, text: str) -> None:
    """In one line."""
    with pytest.raises(InputWrong, match="allowed: 1 to 500"):
        add_note(tmp_path, NOW, text)
    assert read_notes(tmp_path) == ()


def test_a_note_that_is_sent_twice_is_kept_once(tmp_path: Path) -> None:
    """By its key: the answer to the first may have been lost."""
    for text in ("x", "x", "y"):
        add_note(tmp_path, NOW, text, key="k" * 32)
    assert [note.text for note in read_notes(tmp_path)] == ["x"]


def test_two_who_write_at_once_are_both_kept(tmp_path: Path) -> None:
    """Each line whole."""
    with ThreadPoolExecutor(8) as pool:
        list(pool.map(lambda k: add_note(tmp_path, NOW, f"note {k}"), range(40)))
    assert {note.text for note in read_notes(tmp_path)} == {f"note {k}" for k in range(40)}


def test_a_tick_counts_for_an_evening_and_its_own_recipe(tmp_path: Path) -> None:
    """Until it is taken back, until the next session, and for six hours at most; a clock that went back counts as long ago."""
    tick(tmp_path, NOW, "roll.toml", "jugs", True, None)
    tick(tmp_path, NOW, "roll.toml", "plan", True, None)
    assert ticked(tmp_path, "roll.toml", NOW, None) == {"jugs", "plan"}
    assert ticked(tmp_path, "sheets.toml", NOW, None) == frozenset()
    tick(tmp_path, NOW, "roll.toml", "jugs", False, None)
    assert ticked(tmp_path, "roll.toml", NOW + HOLD, None) == {"plan"}
    assert ticked(tmp_path, "roll.toml", NOW + HOLD + dt.timedelta(seconds=1), None) == frozenset()
    assert ticked(tmp_path, "roll.toml", NOW - dt.timedelta(days=1), None) == frozenset()
    assert ticked(tmp_path, "roll.toml", NOW, NOW) == frozenset()
    assert ticked(tmp_path, "roll.toml", NOW, NOW - dt.timedelta(hours=1)) == {"plan"}


def test_a_tick_that_stands_is_not_written_twice(tmp_path: Path) -> None:
    """And one that held last week is made anew."""
    for _ in range(3):
        tick(tmp_path, NOW, "roll.toml", "jugs", True, None)
    assert len(book.rows_of(tmp_path, "ticks.jsonl")) == 1
    tick(tmp_path, NOW + dt.timedelta(days=7), "roll.toml", "jugs", True, None)
    assert ticked(tmp_path, "roll.toml", NOW + dt.timedelta(days=7), None) == {"jugs"}


def test_the_recipe_that_was_chosen_last_counts(tmp_path: Path) -> None:
    """Or none."""
    assert chosen(tmp_path) is None
    for name in ("roll.toml", "roll.toml", "sheets.toml"):
        choose(tmp_path, NOW, name)
    assert chosen(tmp_path) == "sheets.toml"
    assert len(book.rows_of(tmp_path, "chosen.jsonl")) == 2
    choose(tmp_path, NOW, None)
    assert chosen(tmp_path) is None


def _refuse() -> None:
    raise InputWrong("not now")


@pytest.mark.parametrize(
    "write",
    [
        lambda state: add_note(state, NOW, "x", before=_refuse),
        lambda state: tick(state, NOW, "roll.toml", "jugs", True, None, before=_refuse),
        lambda state: choose(state, NOW, "roll.toml", before=_refuse),
    ],
)
def test_what_is_asked_last_under_the_lock_stops_it(tmp_path: Path, write: Callable[[Path], None]) -> None:
    """Nothing is written then."""
    with pytest.raises(InputWrong, match="not now"):
        write(tmp_path)
    assert all(path.stat().st_size == 0 for path in (tmp_path / "logbook").glob("*.jsonl"))


@pytest.mark.parametrize(
    ("file", "line", "read"),
    [
        ("notes.jsonl", '{"text":"x","session":null}', read_notes),
        ("notes.jsonl", '{"at":"2026-11-26T19:00:00","text":"x","session":null}', read_notes),
        ("notes.jsonl", '{"at":"2026-11-26T19:00:00+00:00","text":7,"session":null}', read_notes),
        ("notes.jsonl", '{"at":"2026-11-26T19:00:00+00:00","text":"x","session":7}', read_notes),
        ("ticks.jsonl", '{"at":"2026-11-26T19:00:00+00:00","recipe":"r","item":"i","on":1}', lambda state: ticked(state, "r", NOW, None)),
        ("chosen.jsonl", '{"at":"2026-11-26T19:00:00+00:00","recipe":["x"]}', chosen),
        ("chosen.jsonl", '{"at":7,"recipe":"x"}', chosen),
    ],
)  # fmt: skip
def test_a_line_that_is_none_is_told_by_its_place(tmp_path: Path, file: str, line: str, read: Callable[[Path], object]) -> None:
    """File and line."""
    (tmp_path / "logbook").mkdir()
    (tmp_path / "logbook" / file).write_text(f"\n{line}\n")
    with pytest.raises(FileWrong, match=rf"{file}:2: not a line of the logbook; allowed"):
        read(tmp_path)


def test_it_never_grows_without_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Then a line says which file to move away."""
    monkeypatch.setattr(book, "MOST_BYTES", 300)
    for k in range(5):
        add_note(tmp_path, NOW, f"note {k}")
    with pytest.raises(InputWrong, match=r"notes\.jsonl: full"):
        add_note(tmp_path, NOW, "one more")
    assert len(read_notes(tmp_path)) == 5
