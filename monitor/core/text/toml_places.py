"""The line of each table, key and array element of a TOML text. `tomllib` does not give any.

It only finds lines: it reads no values and checks no grammar; `tomllib` does both. On text that `tomllib` refuses the
answer may be incomplete, but there always is one, in time proportional to the length of the text. A path is a
tuple of keys and indices: `("stage", 0, "rate", "pairs", 2)`. Tests: tests/core/text/test_toml_places.py.
"""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Mapping
from dataclasses import dataclass

Path = tuple[str | int, ...]

MAX_DEPTH = 64
"""Anything deeper gets the line of the nearest table around it. This keeps the work linear when a file is nothing but brackets."""

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_SPACE = re.compile(r"[ \t]*")
_BLANK = re.compile(r"(?:[ \t\r\n]++|#[^\n]*+)*+")
_SCALAR = re.compile(r"[^,\]}#\r\n]*+")
_BASIC = re.compile(r'"(?:[^"\\\n]++|\\.)*+"')
_LITERAL = re.compile(r"'[^'\n]*+'")
_LONG_BASIC = re.compile(r'"""(?:[^"\\]++|\\[\s\S]|"(?!""))*+"""(?:"{0,2})')
_LONG_LITERAL = re.compile(r"'''(?:[^']++|'(?!''))*+'''(?:'{0,2})")
_ESCAPE = re.compile(r"\\(?:u([0-9A-Fa-f]{4})|U([0-9A-Fa-f]{8})|(.))")
_SHORT_ESCAPES = {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r", "e": "\x1b"}


@dataclass(frozen=True, slots=True)
class Places:
    """Line of everything that was found, 1-based. A table's line is its header's, or its first key's if it has no header."""

    lines: Mapping[Path, int]

    def line(self, path: Path) -> int:
        """The line of this path, or of the nearest enclosing table that was found; 1 for the whole text."""
        while path and path not in self.lines:
            path = path[:-1]
        return self.lines[path] if path else 1


def find_places(text: str) -> Places:
    """Locate every table, key and array element. Never raises."""
    scan = _Scan(text)
    scan.run()
    return Places(scan.lines)


def _unescape(match: re.Match[str]) -> str:
    code = match[1] or match[2]
    if code is None:
        return _SHORT_ESCAPES.get(match[3], match[3])
    return chr(int(code, 16)) if int(code, 16) <= 0x10FFFF else "\ufffd"


class _Scan:
    """One pass over the text. `_stop` is set at the first thing that is not TOML; what was found before it is kept."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._newlines = [m.start() for m in re.finditer("\n", text)]
        self.lines: dict[Path, int] = {}
        self._lengths: dict[Path, int] = {}  # arrays of tables: how many so far
        self._at = 0
        self._stop = False

    def run(self) -> None:
        table: Path = ()
        while not self._stop:
            self._skip(_BLANK)
            if self._at >= len(self._text):
                break
            if self._peek() == "[":
                table = self._header()
            else:
                self._assignment(table)

    def _peek(self) -> str:
        return self._text[self._at : self._at + 1]

    def _skip(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self._text, self._at)
        if match is None:
            self._stop = True
            return ""
        self._at = match.end()
        return match[0]

    def _take(self, mark: str) -> None:
        if self._text.startswith(mark, self._at):
            self._at += len(mark)
        else:
            self._stop = True

    def _note(self, path: Path, at: int) -> None:
        if len(path) <= MAX_DEPTH:
            self.lines.setdefault(path, bisect_left(self._newlines, at) + 1)

    def _key(self) -> list[str]:
        parts: list[str] = []
        while not self._stop:
            self._skip(_SPACE)
            first = self._peek()
            if first == '"':
                parts.append(_ESCAPE.sub(_unescape, self._skip(_BASIC)[1:-1]))
            elif first == "'":
                parts.append(self._skip(_LITERAL)[1:-1])
            else:
                parts.append(self._skip(_BARE_KEY))
            self._skip(_SPACE)
            if self._peek() != ".":
                break
            self._at += 1
        return parts[: MAX_DEPTH + 1]

    def _header(self) -> Path:
        """`[a.b]` or `[[a.b]]`: the path to which the following keys belong."""
        begin, mark = self._at, "[[" if self._text.startswith("[[", self._at) else "["
        self._at += len(mark)
        parts = self._key()
        self._take("]" * len(mark))
        path: Path = ()
        for i, part in enumerate(parts):
            path = (*path, part)
            self._note(path, begin)
            if mark == "[[" and i == len(parts) - 1:
                self._lengths[path] = self._lengths.get(path, 0) + 1
            if path in self._lengths:
                path = (*path, self._lengths[path] - 1)
                self._note(path, begin)
        if mark == "[":
            self.lines.pop(path, None)  # known so far only from a table inside it: its own header counts
            self._note(path, begin)
        return path

    def _named(self, table: Path) -> Path:
        """A key, dotted or not, and its equals sign."""
        begin, path = self._at, table
        for part in self._key():
            path = (*path, part)
            self._note(path, begin)
        self._take("=")
        return path

    def _assignment(self, table: Path) -> None:
        path = self._named(table)
        self._skip(_SPACE)
        self._value(path)

    def _value(self, path: Path) -> None:
        """One value and everything in it. It keeps its own stack, so that no text can exhaust Python's."""
        frames: list[tuple[str, Path, int]] = []  # closing bracket, path of the array or table, index of the next element
        opened = self._open(path, frames)
        while not self._stop and frames:
            close, at_path, index = frames[-1]
            self._skip(_BLANK)
            if not opened and self._peek() == ",":
                self._at += 1
                self._skip(_BLANK)
                opened = True
            if self._peek() == close:
                self._at += 1
                frames.pop()
                opened = False
            elif not opened or not self._peek():
                self._stop = True
            elif close == "]":
                frames[-1] = (close, at_path, index + 1)
                self._note((*at_path, index), self._at)
                opened = self._open((*at_path, index), frames)
            else:
                inner = self._named(at_path)
                self._skip(_BLANK)
                opened = self._open(inner, frames)

    def _open(self, path: Path, frames: list[tuple[str, Path, int]]) -> bool:
        """Step over a scalar (returns False), or into an array or inline table (True)."""
        first = self._peek()
        if first and first in "[{":
            if len(frames) > MAX_DEPTH:
                self._stop = True
            frames.append(("]" if first == "[" else "}", path, 0))
            self._at += 1
            return True
        if first == '"':
            self._skip(_LONG_BASIC if self._text.startswith('"""', self._at) else _BASIC)
        elif first == "'":
            self._skip(_LONG_LITERAL if self._text.startswith("'''", self._at) else _LITERAL)
        else:
            self._skip(_SCALAR)
        return False
