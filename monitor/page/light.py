"""Whether a display may be lit by what a journal alone says of a session: the station's own rule, and dark where it cannot be known.

Tests: tests/page/test_class_board.py.
"""

from __future__ import annotations

from monitor.live.station.left_bare import LEFT_S, left_bare, may_be_lit
from monitor.page.film import Film


def may_be_lit_by(film: Film, quiet_s: float) -> bool:
    """A session that is over lights, for an hour not where it left film bare; one whose journal cannot be read yet does not. `quiet_s`:
    since its journal has grown."""
    state = film.state
    if film.closed and state is not None:
        return quiet_s >= LEFT_S or not left_bare(film.recipe, state.seen.stage, film.mode, str(state.closed))
    return state is not None and film.recipe is not None and may_be_lit(film.recipe, state.seen.stage, film.mode)
