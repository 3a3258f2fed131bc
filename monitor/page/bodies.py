"""What a page sends to be written: one JSON object with exactly the fields that are declared, each of its kind. Pure.

Tests: tests/page/test_posts.py.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from monitor.core.errors import InputWrong
from monitor.core.text.controls import one_line
from monitor.page import sentences


@dataclass(frozen=True, slots=True)
class Text:
    """A text of `longest` characters at most, in one line: white space becomes single blanks."""

    longest: int
    least: int = 1

    def read(self, value: object) -> str:
        """Raises ValueError."""
        if not isinstance(value, str) or len(value) > 4 * self.longest:
            raise ValueError
        told = one_line(" ".join(value.split()))
        if not self.least <= len(told) <= self.longest:
            raise ValueError
        return told

    def __str__(self) -> str:
        return f"a text of {self.least} to {self.longest} characters"


@dataclass(frozen=True, slots=True)
class Whole:
    """A whole number within bounds, both included."""

    least: int
    most: int

    def read(self, value: object) -> int:
        """Raises ValueError."""
        if type(value) is not int or not self.least <= value <= self.most:
            raise ValueError
        return value

    def __str__(self) -> str:
        return f"a whole number from {self.least} to {self.most}"


@dataclass(frozen=True, slots=True)
class YesNo:
    """True or false."""

    def read(self, value: object) -> bool:
        """Raises ValueError."""
        if type(value) is not bool:
            raise ValueError
        return value

    def __str__(self) -> str:
        return "true or false"


@dataclass(frozen=True, slots=True)
class OrNone:
    """Null, or another kind."""

    kind: Text | Whole

    def read(self, value: object) -> str | int | None:
        """Raises ValueError."""
        return None if value is None else self.kind.read(value)

    def __str__(self) -> str:
        return f"{self.kind} or null"


Kind = Text | Whole | YesNo | OrNone


def fields(body: bytes, declared: Mapping[str, Kind]) -> dict[str, Any]:
    """The declared fields. Raises `InputWrong`, in one sentence, for anything else: no JSON, no object, a field more, less or twice."""
    try:
        told = json.loads(body.decode("utf-8"), object_pairs_hook=_once, parse_constant=_no_number)
    except (ValueError, RecursionError):
        raise InputWrong(sentences.BODY_NO_JSON) from None
    if not isinstance(told, dict):
        raise InputWrong(sentences.BODY_NO_JSON)
    allowed = ", ".join(declared)
    for name in told:
        if name not in declared:
            raise InputWrong(sentences.BODY_UNKNOWN.format(name=one_line(name)[:40], allowed=allowed))
    for name in declared:
        if name not in told:
            raise InputWrong(sentences.BODY_MISSING.format(name=name, allowed=allowed))
    found = {}
    for name, kind in declared.items():
        try:
            found[name] = kind.read(told[name])
        except ValueError:
            raise InputWrong(sentences.BODY_WRONG.format(name=name, allowed=kind)) from None
    return found


def _once(pairs: Sequence[tuple[str, Any]]) -> dict[str, Any]:
    told = dict(pairs)
    if len(told) != len(pairs):
        raise ValueError("a name twice")
    return told


def _no_number(word: str) -> None:
    raise ValueError(f"{word} is not a number")
