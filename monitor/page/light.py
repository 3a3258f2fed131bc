"""Whether a display may be lit by what a journal alone says of a session: the station's own rule, and dark where it cannot be known.

Tests: tests/page/test_class_board.py.
"""

from __future__ import annotations

from monitor.live.station.word import may_be_lit
from monitor.page.film import Film


def may_be_lit_by(film: Film) -> bool:
    """A session that is over lights; one whose journal cannot be read yet does not."""
    if film.closed:
        return True
    state = film.state
    return state is not None and film.recipe is not None and may_be_lit(film.recipe, state.seen.stage, film.mode)
