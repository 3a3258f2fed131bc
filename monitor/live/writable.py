"""A value as JSON can say it, as nearly as can be: a record must never be lost to one number or one character in it.

Tests: tests/live/disk/test_journal.py, tests/live/station/test_control_flood.py.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

DEEPEST = 64


def writable(value: Any, depth: int = 0) -> Any:
    """Numbers that are none become None, half characters `?`; what is no value of JSON, or too deep in others, becomes its text."""
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, str):
        return value.encode("utf-8", "replace").decode()
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, int):
        return value if abs(value) < 10**18 else str(value.bit_length()) + " bits"
    if depth < DEEPEST and isinstance(value, Mapping):
        return {writable(str(key)): writable(item, depth + 1) for key, item in value.items()}
    if depth < DEEPEST and isinstance(value, (list, tuple)):
        return [writable(item, depth + 1) for item in value]
    return writable(str(value)) if depth < DEEPEST else "..."
