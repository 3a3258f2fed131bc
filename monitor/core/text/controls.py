"""Characters that do something where they are shown: they move a cursor, ring, hide text or turn its direction.

Decides which they are (contract, section 14) and what stands in their place. Tests: tests/core/text/test_controls.py.
"""

from __future__ import annotations

import re
from typing import Any

INSTEAD = "\ufffd"
CONTROLS = "\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028\u2029\u202a-\u202e\u2066-\u2069\ufff9-\ufffb"
"""As a class of characters of a regular expression: C0 and C1 but tab and line feed, line and paragraph separators, and what changes the
direction of text (Unicode 15, sections 23.1 and 23.2)."""
SURROGATES = "\ud800-\udfff"
"""Halves of a character, which cannot be written; Python makes them of bytes that are no UTF-8."""
FORMULA_SIGNS = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20", "|", "%")
"""What begins a formula or a command in some spreadsheet, full-width forms among them (common practice, no source)."""
_ALL = re.compile(f"[{CONTROLS}{SURROGATES}\t\n]")
_LINES = re.compile(f"[{CONTROLS}{SURROGATES}]")


def one_line(text: str) -> str:
    """The text without any control character or surrogate, tab and line feed among them."""
    return _ALL.sub(INSTEAD, text)


def for_terminal(text: str) -> str:
    """The text as it may be written to a terminal: lines and tabs stay, other control characters and lone surrogates are replaced."""
    return _LINES.sub(INSTEAD, text)


def for_json(text: str) -> str:
    """JSON as it may be written to a terminal: the same characters, written as JSON escapes them, so that nothing is lost."""
    return _LINES.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def without_controls(value: Any) -> Any:
    """Values of JSON with `one_line` of every text in them, keys too. Raises RecursionError where they are nested too deep."""
    if isinstance(value, str):
        return one_line(value)
    if isinstance(value, dict):
        return {one_line(key): without_controls(item) for key, item in value.items()}
    return [without_controls(item) for item in value] if isinstance(value, list) else value
