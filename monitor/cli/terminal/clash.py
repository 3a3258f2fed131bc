"""Two films that want the hands at once, in words. Tests: tests/live/station/test_two_vessels.py."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from monitor.core.text.quantities import format_duration


def clash_words(told: Mapping[str, Any], in_s: float) -> str:
    """A clash for a person: `told` as `ClashWatch` told it, `in_s` seconds before it."""
    when = "now" if in_s <= 0.0 else f"in {format_duration(in_s)}"
    return f"{when} both films want your hands: {told['first']} first, then {told['then']} ({told['why']})"
