"""Whether a display may be lit by what a journal alone says of a session: the station's own rule, and dark where it cannot be known.

Tests: tests/page/test_class_board.py, tests/cli/test_page_pairing.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from monitor.live.station.left_bare import LEFT_S, left_bare, left_bare_s, may_be_lit
from monitor.page.film import Film
from monitor.page.journals import open_sessions


def may_be_lit_by(film: Film, quiet_s: float) -> bool:
    """A session that is over lights, for an hour not where it left film bare; one whose journal cannot be read yet does not. `quiet_s`:
    since its journal has grown."""
    state = film.state
    if film.closed and state is not None:
        return quiet_s >= LEFT_S or not left_bare(film.recipe, state.seen.stage, film.mode, str(state.closed))
    return state is not None and film.recipe is not None and may_be_lit(film.recipe, state.seen.stage, film.mode)


def nothing_is_out(journals: Path, word: Mapping[str, Any] | None, wall: datetime) -> bool:
    """Whether a bright patch, such as a QR code, may be shown: no session is open, no film was left bare, and the station, if it says
    anything, says that nothing is armed. `word`: its newest, None where it is silent."""
    if word is not None and (word.get("light") is not True or word.get("films") != [] or word.get("to_come")):
        return False
    return not open_sessions(journals) and left_bare_s(journals, wall) <= 0.0
