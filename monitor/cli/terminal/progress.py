"""How far a command is that goes through many things: one line on a terminal, gone when it is done; nothing in a pipe or a file.

Tests: tests/cli/terminal/test_progress.py.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator
from typing import TextIO, TypeVar

MANY = 20
"""Fewer are through before one has read the line."""
LINES = 100
"""So often at most the line is written anew."""
Thing = TypeVar("Thing")


def counted(things: Iterable[Thing], of: int, what: str, to: TextIO | None = None) -> Iterator[Thing]:
    """The `of` things, one after the other, and meanwhile `what` and how many of them are done, on `to` (default: stderr)."""
    out = sys.stderr if to is None else to
    told = of >= MANY and out.isatty()
    every = max(1, of // LINES)
    try:
        for done, thing in enumerate(things, 1):
            if told and done % every == 0:
                out.write(f"\r{what}: {done} of {of}\x1b[K")
                out.flush()
            yield thing
    finally:
        if told:
            out.write("\r\x1b[K")
            out.flush()
