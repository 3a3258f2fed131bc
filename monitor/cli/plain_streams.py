"""What a command writes reaches the terminal without control characters, wherever the text came from (contract, section 14).

Names, reasons, journals and the network may hold escape sequences; every line that is written goes through here. A live view, which
draws on its terminal itself, cleans what it shows itself. Tests: tests/cli/test_plain_streams.py.
"""

from __future__ import annotations

import io
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any, TextIO, cast

from monitor.core.text.controls import for_json, for_terminal

VIEWS = frozenset({"develop", "status", "rehearse", "lesson"})
"""Commands that draw on the terminal, or ring its bell."""


class PlainStream:
    """A stream for text that writes no control character but line feed and tab."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        """Write it; JSON keeps what it says, by escapes."""
        return self._stream.write(for_json(text) if text.startswith(("{", "[")) else for_terminal(text))

    def writelines(self, lines: Iterable[str]) -> None:
        """Write them one by one."""
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


@contextmanager
def plain_streams(command: str) -> Iterator[None]:
    """Standard output and error are plain meanwhile, but for the terminal of a command that draws on it."""
    before = sys.stdout, sys.stderr
    for stream in before:
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")  # what this terminal has no character for is no reason to stop
    sys.stderr = cast(TextIO, PlainStream(before[1]))
    if not (command in VIEWS and before[0].isatty()):
        sys.stdout = cast(TextIO, PlainStream(before[0]))
    try:
        yield
    finally:
        sys.stdout, sys.stderr = before
