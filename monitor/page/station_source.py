"""Snapshots of one station: its telling socket and its journals. Tests: tests/page/test_hearing.py."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from monitor.page.board import Board
from monitor.page.hearing import Hearing


class StationSource:
    """Joins what is heard with what is shown."""

    def __init__(self, hearing: Hearing, board: Board) -> None:
        self._hearing = hearing
        self._board = board
        self._told: object = None

    @property
    def descriptor(self) -> int | None:
        """That of the station's socket."""
        return self._hearing.descriptor

    def turn(self, now_s: float) -> bool:
        """Take a word, if one has come. New is a light, a state of a film or a measurement, not that time has gone on."""
        self._hearing.look(now_s)
        word = self._hearing.receive()
        if word is None:
            return False
        self._board.word(word, now_s)
        about = _about(word, now_s)
        new, self._told = about != self._told, about
        return new

    def snapshot(self, now_s: float) -> Mapping[str, Any]:
        """All that is shown now."""
        return self._board.snapshot(now_s)

    def count(self, lit: int) -> None:
        """Tell the station."""
        self._hearing.count(lit)

    @property
    def busy(self) -> bool:
        """Whether a session is armed or runs."""
        return self._board.session_runs

    def awake(self, now_s: float) -> bool:
        """Whether the station says, now, that something may be lit."""
        return self._board.awake(now_s)

    def free(self, now_s: float) -> bool:
        """Whether the station says, now, that nothing is armed and nothing runs."""
        return self._board.free(now_s)


def _about(word: Mapping[str, Any], now_s: float) -> object:
    """What makes a word a new one: light, sessions and stages, and when each probe was read, to a fifth of a second."""
    films = tuple(
        (film["session"], film["view"]["stage"], film["view"]["gate"], film["view"]["frozen"], str(film["view"]["last_cue"]))
        for film in word.get("films", ())
    )
    own = [p["age_s"] for p in word.get("probes", ()) if p["role"] == "developer"]
    read = tuple(None if age_s is None else round((now_s - age_s) * 5.0) for age_s in own)
    return word.get("light"), films, read
