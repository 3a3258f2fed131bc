"""The locator: the line of every table, key and element, in every construct of TOML, and an answer for any text at all."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.text.toml_places import Path, find_places

EVERYTHING = '''\
# a comment with [brackets] and "quotes"
top = 1
"quoted key" = "a ] } # = inside"
'literal key' = 'C:\\path [x]'
dotted . "inner part" . deep = true
[table]  # a comment after a header
plain = """
first line of text
[not.a.table]
key = "no key"
"""   # four quotes follow
quotes = """a""\\"""""
literal = \'\'\'
[[not.an.array]]
\'\'\'
after = 2026-11-25T12:00:00Z
date_with_space = 1979-05-27 07:32:00
[table.sub]
x = [
  1, 2,   # two on one line
  [3,
   4],
  { a = 1, b = { c = [
    5 ] } },
  "]", \'[\',
]
y = { p.q = 1, "r s" = [ ] , t = {} }
[[stage]]
name = "one"
rate = { law = "pairs", pairs = [
  ["18 C", "12:10"],
  ["20 C", "10:00"] ] }
[stage.extra]
z = 1
[[stage.part]]
n = 1
[[stage.part]]
n = 2
[[stage]]
name = "two"
[ spaced . "ta ble" ]
e = -inf
[later.child]
a = 1
[later]
b = 2
'''

LINES: list[tuple[Path, int]] = [
    (("top",), 2),
    (("quoted key",), 3),
    (("literal key",), 4),
    (("dotted",), 5),
    (("dotted", "inner part", "deep"), 5),
    (("table",), 6),
    (("table", "plain"), 7),
    (("table", "quotes"), 12),
    (("table", "literal"), 13),
    (("table", "after"), 16),
    (("table", "date_with_space"), 17),
    (("table", "sub"), 18),
    (("table", "sub", "x"), 19),
    (("table", "sub", "x", 0), 20),
    (("table", "sub", "x", 1), 20),
    (("table", "sub", "x", 2), 21),
    (("table", "sub", "x", 2, 0), 21),
    (("table", "sub", "x", 2, 1), 22),
    (("table", "sub", "x", 3, "a"), 23),
    (("table", "sub", "x", 3, "b", "c", 0), 24),
    (("table", "sub", "x", 4), 25),
    (("table", "sub", "y", "p", "q"), 27),
    (("table", "sub", "y", "t"), 27),
    (("stage",), 28),
    (("stage", 0), 28),
    (("stage", 0, "name"), 29),
    (("stage", 0, "rate", "law"), 30),
    (("stage", 0, "rate", "pairs", 0), 31),
    (("stage", 0, "rate", "pairs", 1, 1), 32),
    (("stage", 0, "extra"), 33),
    (("stage", 0, "part", 0, "n"), 36),
    (("stage", 0, "part", 1), 37),
    (("stage", 0, "part", 1, "n"), 38),
    (("stage", 1), 39),
    (("stage", 1, "name"), 40),
    (("spaced", "ta ble", "e"), 42),
    (("later", "child"), 43),
    (("later",), 45),
    (("later", "b"), 46),
]


@pytest.mark.parametrize(("path", "line"), LINES)
def test_every_construct_is_found_on_its_line(path: Path, line: int) -> None:
    """Headers, dotted and quoted keys, inline tables over lines, nested arrays, strings that look like TOML."""
    assert find_places(EVERYTHING).lines[path] == line


def all_paths(value: Any, path: Path = ()) -> list[Path]:
    """Every path in parsed data."""
    inside: list[tuple[str | int, Any]] = []
    if isinstance(value, dict):
        inside = list(value.items())
    elif isinstance(value, list):
        inside = list(enumerate(value))
    return [p for key, item in inside for p in ((*path, key), *all_paths(item, (*path, key)))]


def test_nothing_that_the_parser_reads_is_missed_and_nothing_else_is_found() -> None:
    """The set of located paths is exactly that of the standard reader's data."""
    assert set(find_places(EVERYTHING).lines) == set(all_paths(tomllib.loads(EVERYTHING)))


def test_windows_line_ends_count_as_one_line() -> None:
    """The same lines come out with CRLF."""
    assert find_places(EVERYTHING.replace("\n", "\r\n")).lines == find_places(EVERYTHING).lines


def test_an_unknown_path_gets_the_line_of_what_is_around_it() -> None:
    """A missing key gets its table's line, a missing top-level key the first."""
    places = find_places(EVERYTHING)
    assert places.line(("stage", 1, "role")) == 39
    assert places.line(("nothing", "here")) == 1
    assert places.line(()) == 1


KEYS = st.one_of(st.sampled_from(["a", "b-c", "d_1", "9"]), st.text(st.characters(exclude_categories=["Cs"]), max_size=4))
SCALARS = st.one_of(st.integers(-99, 99), st.booleans(), st.text(st.characters(exclude_categories=["Cs"]), max_size=8))


def quoted(text: str) -> str:
    """A basic string with everything escaped that must be."""
    return '"' + "".join(c if c.isprintable() and c not in '"\\' else f"\\U{ord(c):08x}" for c in text) + '"'


def inline(value: Any) -> str:
    """A value on as many lines as TOML allows it."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{quoted(k)} = {inline(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[ # [ {\n" + "".join(f" {inline(v)},\n" for v in value) + "]"
    return quoted(value) if isinstance(value, str) else str(value).lower()


VALUES = st.recursive(SCALARS, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=3), max_leaves=8)


@given(st.dictionaries(KEYS, VALUES, max_size=4), st.lists(st.dictionaries(KEYS, VALUES, max_size=2), max_size=3))
def test_any_data_written_as_toml_is_found_whole(root: dict[str, Any], stages: list[dict[str, Any]]) -> None:
    """For generated data in arrays, inline tables and arrays of tables the located paths are the parser's paths, lines never going back."""
    text = "".join(f"{quoted(k)} = {inline(v)}\n" for k, v in root.items())
    if "stage" not in root:
        text += "".join("[[stage]]\n" + "".join(f"{quoted(k)} = {inline(v)}\n" for k, v in stage.items()) for stage in stages)
    lines = find_places(text).lines
    assert set(lines) == set(all_paths(tomllib.loads(text)))
    assert list(lines.values()) == sorted(lines.values())


@given(st.text(st.sampled_from(list("[]{}=.,#\"'\\\n\r \tab1")), max_size=200))
def test_any_text_gets_an_answer(text: str) -> None:
    """Text that is no TOML at all neither raises nor hangs."""
    find_places(text)


@pytest.mark.parametrize(
    "text",
    [
        "[" * 2_000_000,
        "a=" + "[" * 2_000_000,
        "a=" + "[]" * 1_000_000,
        "a={b=" * 100_000,
        "a." * 100_000,
        'a="""' + '"' * 2_000_000,
        "a=1\n" * 100_000,
        "[a]\n" * 100_000,
        "[[a]]\n" * 100_000,
    ],
    ids=["brackets", "arrays", "pairs", "tables", "dots", "quotes", "assignments", "headers", "arrays of tables"],
)
def test_megabytes_of_nothing_are_over_in_a_moment(text: str) -> None:
    """Work grows with the length and no further: a quadratic scan would take hours, and the time limit of every test would end it."""
    places = find_places(text)
    assert len(places.lines) <= 100_001
