"""An object of the control socket as text, piece by piece: half an hour of readings is a megabyte, and nobody may wait for it.

A long list is encoded element by element, so that a thread whose turn it is gets it in between. What JSON cannot say is said as nearly
as can be: the door stays open. Tests: tests/live/station/test_control_flood.py.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from monitor.live.writable import writable

LONG = 64
"""A list longer than this is encoded in pieces."""
AT_ONCE = 32


def pieces(body: Mapping[str, Any]) -> Iterator[bytes]:
    """One line, newline included."""
    head = b"{"
    for key, value in body.items():
        yield head + _text(str(key)) + b":"
        head = b","
        if isinstance(value, Sequence) and not isinstance(value, str) and len(value) > LONG:
            yield from _list(value)
        else:
            yield _text(value)
    yield (b"}" if body else b"{}") + b"\n"


def _list(values: Sequence[Any]) -> Iterator[bytes]:
    for begin in range(0, len(values), AT_ONCE):
        some = b",".join(_text(values[i]) for i in range(begin, min(begin + AT_ONCE, len(values))))
        yield (b"[" if begin == 0 else b",") + some
    yield b"]"


def _text(value: Any) -> bytes:
    if isinstance(value, Sequence) and not isinstance(value, (str, list, tuple)):
        value = list(value)
    try:
        return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()
    except (ValueError, TypeError, RecursionError):
        return json.dumps(writable(value), ensure_ascii=False, separators=(",", ":")).encode()
