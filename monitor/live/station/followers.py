"""Connections that follow a session, and the keyboard that stands for a foot switch where there is none.

Tests: tests/live/station/test_daemon.py.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

KEYS_S = {"tap": 0.15, "question": 0.85, "hold": 1.2}
"""How long a key closes the switch: for a tap, for a question, which begins nothing, and for a press that begins what waits (contract,
section 5)."""


class Followers:
    """The connections that asked to follow. One that does not read is dropped; nobody waits for it."""

    def __init__(self, send: Callable[[int, Mapping[str, Any]], bool]) -> None:
        self._send = send
        self._lines: dict[int, str] = {}

    def __bool__(self) -> bool:
        return bool(self._lines)

    def add(self, line: int, session: str) -> None:
        """Tell this connection everything of this session from now on."""
        self._lines[line] = session

    def discard(self, line: int) -> None:
        """This connection was closed."""
        self._lines.pop(line, None)

    def clear(self, session: str) -> None:
        """The session is over: nobody follows it any more."""
        self._lines = {line: followed for line, followed in self._lines.items() if followed != session}

    def tell(self, session: str, body: Mapping[str, Any]) -> None:
        """Send to all that follow this session."""
        for line, followed in list(self._lines.items()):
            if followed == session and not self._send(line, body):
                self._lines.pop(line, None)


class Keyboard:
    """Turns keys into edges of a switch: one press at a time; keys during a press are ignored."""

    def __init__(self) -> None:
        self._edges: list[tuple[float, bool]] = []

    @property
    def next_s(self) -> float | None:
        """The moment of the next edge, monotonic; None if there is none."""
        return self._edges[0][0] if self._edges else None

    def press(self, kind: str, now_s: float) -> None:
        """A key went down now; a kind that is not one of `KEYS_S` is a tap."""
        if not self._edges:
            self._edges = [(now_s, True), (now_s + KEYS_S.get(kind, KEYS_S["tap"]), False)]

    def due(self, now_s: float) -> list[tuple[float, bool]]:
        """The edges up to now, (monotonic, down); each is given once."""
        found = [edge for edge in self._edges if edge[0] <= now_s]
        self._edges = self._edges[len(found) :]
        return found

    def clear(self) -> None:
        """Forget a press that is not over."""
        self._edges.clear()
