"""Which characters are kept from a terminal, a page or a table."""

from __future__ import annotations

import json
import unicodedata

import pytest

from monitor.core.text.controls import for_json, for_terminal, one_line, without_controls

EVERY = "".join(map(chr, range(0x3000)))


def test_no_control_character_is_left() -> None:
    """C0, C1, separators of lines, and what turns the direction of text; letters, marks and signs of every script stay."""
    left = one_line(EVERY)
    assert not [c for c in left if unicodedata.category(c) in ("Cc", "Zl", "Zp")]
    assert not [c for c in left if unicodedata.bidirectional(c) in ("LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI")]
    assert one_line("Läufer 20 \u00b0C \u0639\u0631\u0628\u064a") == "Läufer 20 \u00b0C \u0639\u0631\u0628\u064a"
    assert for_terminal("a\tb\nc\x1bd\ud800") == "a\tb\nc\ufffdd\ufffd"


def test_json_says_the_same_in_escapes() -> None:
    """Whoever reads it gets every character back."""
    text = json.dumps({"a": EVERY + "\ud800"}, ensure_ascii=False)
    assert json.loads(for_json(text)) == {"a": EVERY + "\ud800"}
    assert for_terminal(for_json(text)) == for_json(text)


def test_values_are_cleaned_through_and_through() -> None:
    """Keys, lists, objects in objects; numbers stay what they are."""
    assert without_controls({"a\x1b": [1, 2.5, None, True, {"b": "\n"}]}) == {"a\ufffd": [1, 2.5, None, True, {"b": "\ufffd"}]}
    deep: list[object] = []
    for _ in range(100_000):
        deep = [deep]
    with pytest.raises(RecursionError):
        without_controls(deep)
