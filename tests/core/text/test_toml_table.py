"""Typed reading of TOML: what ends the reading at once, and what is written down with its line."""

from __future__ import annotations

import pytest

from monitor.core.errors import FileWrong, Problem
from monitor.core.text.toml_table import MAX_BYTES, Document, parse


def problem(text: bytes) -> Problem:
    """The single problem that ends the reading of this text."""
    with pytest.raises(FileWrong) as refused:
        parse(text, "f.toml")
    (only,) = refused.value.problems
    return only


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        (b"a = 1\nb = \n", 2, "not TOML"),
        (b"a = 1\n[b\nc = 1\n", 2, "not TOML"),
        (b"a = 1\na = 2\n", 2, "overwrite"),
        (b'a = """\nnever closed\n\n', 2, "at the end of the file"),
        (b"a = 1\nb = '\xff'\n", 2, "0xff is not UTF-8"),
        (b"a = 1\n\nb = 'x\x00y'\n", 3, "not TOML"),
        (b"a = " + b"9" * 5000, 1, "digit"),
        (b"x = 1\na = " + b"[" * 100_000, 2, "nested too deeply"),
        (b"x = 1\na = " + b"[" * 5000 + b"]" * 5000, 2, "nested too deeply"),
        (b"x = 1\na = " + b"{a=" * 30_000, 2, "nested too deeply"),
        (b"[" * 10_000_000, 1, "longer than 256 KiB"),
        (b"a = 2026-02-30\n", 1, "not TOML"),
        (b"a = 1\r\nb = \r\n", 2, "not TOML"),
    ],
)
def test_text_that_is_no_toml_is_one_problem_with_its_line(text: bytes, line: int, words: str) -> None:
    """Syntax, encoding, nesting and length end the reading with one line of words."""
    found = problem(text)
    assert (found.file, found.line) == ("f.toml", line)
    assert words in found.what
    assert found.allowed.startswith("allowed: ")
    assert "\n" not in str(found)


def test_a_byte_order_mark_is_no_problem() -> None:
    """Some editors put one before the first key."""
    assert parse(b"\xef\xbb\xbfa = 1\n", "f.toml").data == {"a": 1}


def test_the_longest_text_is_still_read() -> None:
    """The limit itself is allowed."""
    assert parse(b"#" * MAX_BYTES, "f.toml").data == {}


def declared(text: str) -> Document:
    """A document after a small declaration has asked for its keys."""
    document = parse(text.encode(), "f.toml")
    root = document.root()
    root.text("name", required=True)
    root.whole("count", 1, 10, "1 to 10")
    root.number("share", 0, 1, "above 0, at most 1", above=True)
    root.flag("on")
    root.choice("kind", ("plain", "fancy"))
    root.duration("time", 1, 60, '"0:01" to "1:00"')
    table = root.table("table", "[table]")
    if table is not None:
        table.temperature("warm", 5, 50, '"5 C" to "50 C"', required=True)
        table.finish()
    for item in root.tables("item", "[[item]]"):
        item.text("name", required=True)
        item.finish()
    root.finish()
    return document


def problems(text: str) -> list[Problem]:
    """All problems of such a document, by line."""
    with pytest.raises(FileWrong) as refused:
        declared(text).raise_problems()
    return list(refused.value.problems)


def test_a_sound_document_has_no_problem() -> None:
    """Every kind of key, rightly filled."""
    text = 'name = "n"\ncount = 3\nshare = 0.5\non = true\nkind = "plain"\ntime = "0:30"\n[table]\nwarm = "20 C"\n[[item]]\nname = "a"\n'
    document = declared(text)
    assert document.sound
    document.raise_problems()


@pytest.mark.parametrize(
    "key",
    ["count = 1", "count = 10", "share = 1", 'time = "0:01"', 'time = "1:00"', '[table]\nwarm = "5 C"', '[table]\nwarm = "50 C"'],
)
def test_the_ends_of_a_range_belong_to_it(key: str) -> None:
    """The lowest and the highest value that the message allows."""
    assert declared(f'name = "{"x" * 200}"\n{key}\n').sound


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("count = 1.5", "not a whole number"),
        ("count = true", "not a whole number"),
        ("count = 11", "out of range"),
        ("share = 0", "out of range"),
        ("share = nan", "out of range"),
        ("share = inf", "out of range"),
        ('share = "1"', "not a number"),
        ("share = false", "not a number"),
        ("on = 1", "neither true nor false"),
        ('kind = "other"', "not a known value"),
        ("kind = 1979-05-27", "not a known value"),
        ("time = 30", "not a duration"),
        ('time = "2:00"', "out of range"),
        ("table = 3", "not a table"),
        ("item = 3", "not a list of tables"),
        ("item = [3]", "not a table"),
        ("other = 1", "unknown key"),
    ],
)
def test_a_wrong_value_is_named_on_its_line(key: str, words: str) -> None:
    """Kind and range, with what is allowed."""
    (found,) = problems(f'\nname = "n"\n\n{key}\n')
    assert found.line == 4
    assert words in found.what
    assert found.allowed != "allowed: "


@pytest.mark.parametrize("name", ['""', '"  "', '"a\\u001bb"', '"a\\nb"', f'"{"x" * 201}"', "3", "[]"])
def test_text_is_one_printable_line(name: str) -> None:
    """Nothing that could move a cursor or fill a screen gets into a journal or a terminal."""
    (found,) = problems(f"name = {name}\n")
    assert found.line == 1


def test_a_missing_key_has_the_line_of_its_tables_header_and_an_unknown_one_its_own() -> None:
    """A table inside says its own header, an array of tables the header of the one that is meant; the nearest key is named."""
    text = 'name = "n"\n[table]\n\ncold = "20 C"\n[[item]]\nname = "a"\n[[item]]\n\nnmae = "b"\n[item.sub]\nx = 1\n'
    found = [(p.line, p.what, p.allowed) for p in problems(text)]
    assert found == [
        (2, "[table] has no warm", "allowed: warm = ... in it"),
        (4, 'unknown key "cold" in [table]', "allowed: warm"),
        (7, "[[item]] 2 has no name", "allowed: name = ... in it"),
        (9, 'unknown key "nmae" in [[item]] 2 (nearest: "name")', "allowed: name"),
        (10, 'unknown key "sub" in [[item]] 2', "allowed: name"),
    ]


def test_an_unknown_key_of_an_inline_table_has_its_own_line_too() -> None:
    """Wherever in the brackets it stands."""
    (found,) = problems('name = "n"\ntable = { warm = "20 C", wrm = "20 C" }\n')
    assert (found.line, found.what) == (2, 'unknown key "wrm" in [table] (nearest: "warm")')


def test_an_unknown_table_has_the_line_of_its_own_header() -> None:
    """Both kinds of header, and a key before any header its own line."""
    found = problems('name = "n"\nodd = 1\n[other]\nx = 1\n[[others]]\ny = 1\n')
    assert [p.line for p in found] == [2, 3, 5]


def test_all_problems_come_together_in_the_order_of_the_lines() -> None:
    """One reading tells everything."""
    found = problems('count = "x"\ntime = 5\n[table]\nwarm = 20\n[[item]]\n')
    assert [p.line for p in found] == [1, 1, 2, 4, 5]


def test_a_key_found_late_is_told_in_its_place() -> None:
    """What nobody asked for is known only at the end, and still comes by its line."""
    found = problems('name = "n"\nodd = 1\n[table]\nwarm = 20\n')
    assert [p.line for p in found] == [2, 4]
