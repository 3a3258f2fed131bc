"""One line of the control socket: a JSON object within bounds, or what is wrong with it in a sentence.

Decides what reaches the thread that owns the state: no half characters, no number that is none or too large, nothing deep. The reason
of `abandon` is cleaned and never refused: whoever ends a session must not fail at a byte. Tests: tests/live/station/test_control_flood.py.
"""

from __future__ import annotations

import json
import math
from typing import Any

LARGEST = 1e15
"""No number that a request needs is larger; a double is exact up to 9e15."""
DEEPEST = 16
LONGEST_WHY = 500
ONE_OBJECT = "allowed: one JSON object a line, UTF-8"


class LineWrong(Exception):
    """The message says what is wrong and what is allowed."""


def read_line(line: bytes) -> dict[str, Any]:
    """The request in a line. Raises `LineWrong`."""
    try:
        body = json.loads(line, parse_constant=_no_constant)
    except RecursionError:
        raise LineWrong(_too_deep()) from None
    except ValueError as wrong:
        if "digits" in str(wrong):  # the interpreter converts no number of more than 4300
            raise LineWrong(_too_large()) from None
        raise LineWrong(ONE_OBJECT) from None
    if not isinstance(body, dict):
        raise LineWrong(ONE_OBJECT)
    if body.get("verb") == "abandon":
        named = {"session": plain_words(body["session"])} if isinstance(body.get("session"), str) else {}
        return {"verb": "abandon", "why": plain_words(body["why"]) if isinstance(body.get("why"), str) else None, **named}
    _look_at(body, 1)
    return body


def plain_words(text: str) -> str:
    """One line of printable text; what is not printable becomes the replacement character."""
    return "".join(c if c.isprintable() else " " if c.isspace() else "\ufffd" for c in text[: 4 * LONGEST_WHY])[:LONGEST_WHY]


def _no_constant(word: str) -> float:
    raise LineWrong(f"{word} is no number of JSON; allowed: numbers up to {LARGEST:g}")


def _too_deep() -> str:
    return f"it is nested too deep; allowed: {DEEPEST} levels"


def _too_large() -> str:
    return f"a number is too large; allowed: up to {LARGEST:g}"


def _look_at(value: Any, depth: int) -> None:
    if depth > DEEPEST:
        raise LineWrong(_too_deep())
    if isinstance(value, str):
        try:
            value.encode()
        except UnicodeEncodeError:
            raise LineWrong("a text has half a character in it (a lone surrogate); allowed: text that can be written as UTF-8") from None
    elif isinstance(value, dict):
        for key, item in value.items():
            _look_at(key, depth)
            _look_at(item, depth + 1)
    elif isinstance(value, list):
        for item in value:
            _look_at(item, depth + 1)
    elif isinstance(value, (int, float)) and not -LARGEST <= value <= LARGEST:
        raise LineWrong(_too_large() if not (isinstance(value, float) and math.isnan(value)) else _no_number())


def _no_number() -> str:
    return f"a number that is none; allowed: up to {LARGEST:g}"
