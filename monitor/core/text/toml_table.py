"""A TOML file, read key by key with types and bounds; every problem is collected with its line and reading goes on.

What a file may say is declared where it is used: each getter names the key, its type and its bounds, and `finish`
reports every key that nobody asked for. A getter returns None for a key that is missing or wrong; a wrong
one has been reported by then. Lines: a wrong value's and an unknown key's own; a missing key's is that of its
table's header (the contract, section 2). Only a syntax error stops the reading at once. No I/O. Tests: tests/core/text/test_toml_table.py.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from difflib import get_close_matches
from typing import Any, TypeVar

from monitor.core.errors import FileWrong, Problem
from monitor.core.text.quantities import QuantityWrong, read_duration, read_temperature, read_temperature_difference, shown
from monitor.core.text.toml_places import Path, Places, find_places

MAX_BYTES = 256 * 1024
"""A longer file is refused unread: no recipe or station file needs more than a few hundred lines."""

_LINE_COLUMN = re.compile(r"^(.*) \(at line (\d+), column (\d+)\)$", re.DOTALL)
_END = re.compile(r"^(.*) \(at end of document\)$", re.DOTALL)
_TOML_ALLOWED = 'allowed: TOML 1.0, such as name = "text", [table] and [[table]]'

Chosen = TypeVar("Chosen", bound=str)


class Document:
    """A parsed file, where its parts stand, and the problems found so far."""

    def __init__(self, data: Mapping[str, Any], places: Places | None, file: str) -> None:
        self.data = data
        self.file = file
        self._places = places
        self._problems: list[Problem] = []

    def line(self, path: Path) -> int:
        """1-based line of a path; 0 if the data did not come from a text."""
        return self._places.line(path) if self._places is not None else 0

    def problem(self, path: Path, what: str, allowed: str) -> None:
        """Report one problem. `allowed` follows the word "allowed: "."""
        self._problems.append(Problem(self.file, self.line(path), what, f"allowed: {allowed}"))

    def root(self) -> Table:
        """The top-level table."""
        return Table(self, self.data, (), "the file")

    @property
    def sound(self) -> bool:
        """Whether no problem has been found yet."""
        return not self._problems

    def raise_problems(self) -> None:
        """Raise `FileWrong` with all problems, sorted by line, if there are any."""
        if self._problems:
            raise FileWrong(sorted(self._problems, key=lambda p: p.line))


def parse(text: bytes, file: str) -> Document:
    """Read TOML. Raises `FileWrong` with one problem for text that is too long, not UTF-8 or not TOML."""

    def refuse(line: int, what: str, allowed: str) -> FileWrong:
        return FileWrong([Problem(file, line, what, allowed)])

    if len(text) > MAX_BYTES:
        raise refuse(1, f"longer than {MAX_BYTES // 1024} KiB", f"allowed: at most {MAX_BYTES // 1024} KiB of TOML")
    try:
        words = text.decode("utf-8").removeprefix("\ufeff")
    except UnicodeDecodeError as wrong:
        line = text.count(b"\n", 0, wrong.start) + 1
        raise refuse(line, f"byte 0x{text[wrong.start]:02x} is not UTF-8", "allowed: text saved as UTF-8") from None
    try:
        data = tomllib.loads(words)
    except RecursionError:
        raise refuse(_deepest_line(words), "brackets nested too deeply", "allowed: a list of lists at most") from None
    except ValueError as wrong:  # TOMLDecodeError, and what Python itself refuses, such as a number of 5000 digits
        line, what = _syntax_place(str(wrong), words)
        raise refuse(line, f"not TOML: {what}", _TOML_ALLOWED) from None
    return Document(data, find_places(words), file)


def _deepest_line(words: str) -> int:
    """The line with the most opening brackets: close enough for a text that is nothing but brackets."""
    lines = words.split("\n")
    return 1 + max(range(len(lines)), key=lambda i: lines[i].count("[") + lines[i].count("{"))


def _syntax_place(message: str, words: str) -> tuple[int, str]:
    """Line and message of a syntax error."""
    at = _LINE_COLUMN.match(message)
    if at is not None:
        return int(at[2]), f"{_one_line(at[1])} (column {at[3]})"
    end = _END.match(message)
    if end is not None:
        return max(1, words.rstrip().count("\n") + 1), f"{_one_line(end[1])} at the end of the file"
    digits = re.search(r"\d{4000}", words)
    return (words.count("\n", 0, digits.start()) + 1 if digits else 1), _one_line(message)


def _one_line(message: str) -> str:
    text = " ".join("".join(c if c.isprintable() else " " for c in message[:200]).split())
    return text[:1].lower() + text[1:]


class Table:
    """One table of a document. `name` is what messages call it."""

    def __init__(self, document: Document, data: Mapping[str, Any], path: Path, name: str) -> None:
        self.document = document
        self.path = path
        self.name = name
        self._data = data
        self._asked: list[str] = []

    def __contains__(self, key: str) -> bool:
        return key in self._data

    def wrong(self, key: str, what: str, allowed: str) -> None:
        """Report a problem with a key's value, on the key's own line if it has one, else its table's."""
        self.document.problem((*self.path, key), what, allowed)

    def _get(self, key: str, required: bool) -> Any:
        if key not in self._asked:
            self._asked.append(key)
            if key in self._data and self._data[key] is None:  # TOML has no null, a journal's JSON may
                self.wrong(key, f"{key}: null is not a value", f"{key} with a value, or left out")
        if key not in self._data and required:
            self.document.problem(self.path, f"{self.name} has no {key}", f"{key} = ... in it")
        return self._data.get(key)

    def raw(self, key: str, required: bool = False) -> Any:
        """The value as it is, of any type; None if it is missing."""
        return self._get(key, required)

    def quantity(
        self, key: str, read: Callable[[object], float], low: float, high: float, says: str, *, required: bool = False
    ) -> float | None:
        """A quantity with its unit, from `low` to `high`; `says` names the range."""
        value = self._get(key, required)
        if value is None:
            return None
        try:
            number = read(value)
        except QuantityWrong as wrong:
            self.wrong(key, f"{key}: {wrong.what}", wrong.allowed.removeprefix("allowed: "))
            return None
        if not low <= number <= high:
            self.wrong(key, f"{key}: {shown(value)} is out of range", says)
            return None
        return number

    def duration(self, key: str, low_s: float, high_s: float, says: str, *, required: bool = False) -> float | None:
        """Seconds."""
        return self.quantity(key, read_duration, low_s, high_s, says, required=required)

    def temperature(self, key: str, low_c: float, high_c: float, says: str, *, required: bool = False) -> float | None:
        """Celsius."""
        return self.quantity(key, read_temperature, low_c, high_c, says, required=required)

    def difference(self, key: str, low_c: float, high_c: float, says: str, *, required: bool = False) -> float | None:
        """A difference of temperatures, C."""
        return self.quantity(key, read_temperature_difference, low_c, high_c, says, required=required)

    def number(self, key: str, low: float, high: float, says: str, *, required: bool = False, above: bool = False) -> float | None:
        """A number without a unit, from `low` to `high`; with `above`, `low` itself is not allowed."""
        value = self._get(key, required)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            self.wrong(key, f"{key}: {shown(value)} is not a number", says)
            return None
        if not low <= value <= high or (above and value == low):  # nan is in no range
            self.wrong(key, f"{key}: {shown(value)} is out of range", says)
            return None
        return float(value)

    def whole(self, key: str, low: int, high: int, says: str, *, required: bool = False) -> int | None:
        """A whole number from `low` to `high`."""
        value = self._get(key, required)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int):
            self.wrong(key, f"{key}: {shown(value)} is not a whole number", says)
            return None
        if not low <= value <= high:
            self.wrong(key, f"{key}: {shown(value)} is out of range", says)
            return None
        return value

    def flag(self, key: str, *, required: bool = False) -> bool | None:
        """True or false."""
        value = self._get(key, required)
        if value is None or isinstance(value, bool):
            return value
        self.wrong(key, f"{key}: {shown(value)} is neither true nor false", "true or false, without quotes")
        return None

    def text(self, key: str, *, required: bool = False, longest: int = 200) -> str | None:
        """One line of printable text, not empty."""
        value = self._get(key, required)
        if value is None:
            return None
        if not isinstance(value, str):
            self.wrong(key, f"{key}: {shown(value)} is not text", "text in quotes")
            return None
        if not value.strip() or len(value) > longest or not value.isprintable():
            self.wrong(key, f"{key}: {shown(value)} is empty, too long or not one printable line", f"one line of 1 to {longest} characters")
            return None
        return value

    def choice(self, key: str, among: tuple[Chosen, ...], *, required: bool = False) -> Chosen | None:
        """One of the given words."""
        value = self._get(key, required)
        if value is None:
            return None
        for word in among:
            if isinstance(value, str) and value == word:
                return word
        self.wrong(key, f"{key}: {shown(value)} is not a known value", ", ".join(f'"{word}"' for word in among))
        return None

    def table(self, key: str, name: str, *, required: bool = False) -> Table | None:
        """A table inside this one."""
        value = self._get(key, required)
        if value is None:
            return None
        if isinstance(value, dict):
            return Table(self.document, value, (*self.path, key), name)
        self.wrong(key, f"{key}: {shown(value)} is not a table", f"{name} as a table of keys")
        return None

    def tables(self, key: str, name: str, *, required: bool = False) -> Iterator[Table]:
        """Every table of an array of tables, named `name` and its number."""
        value = self._get(key, required)
        if value is None:
            return
        if not isinstance(value, list):
            self.wrong(key, f"{key}: {shown(value)} is not a list of tables", f"{name} for each")
            return
        for i, item in enumerate(value):
            path = (*self.path, key, i)
            if isinstance(item, dict):
                yield Table(self.document, item, path, f"{name} {i + 1}")
            else:
                self.document.problem(path, f"{key}: {shown(item)} is not a table", f"{name} for each")

    def finish(self) -> None:
        """Report every key that nobody asked for, on its own line, with the nearest known key if one is close."""
        for key in self._data:
            if key not in self._asked:
                near = get_close_matches(key, self._asked, n=1)
                nearest = f' (nearest: "{near[0]}")' if near else ""
                self.document.problem((*self.path, key), f"unknown key {shown(key)} in {self.name}{nearest}", ", ".join(self._asked))
