"""In which state of the table of presses a session stands at a moment, and whom a press is about then.

The states are those of `monitor.core.session.presses`; nothing is decided or changed here. Tests: tests/core/session/test_presses.py.
"""

from __future__ import annotations

import math

from monitor.core.session.fixed_times import DUE_BEFORE_END_S, EARLIEST_APPEARANCE_S, EPS_S
from monitor.core.session.offers import Offer
from monitor.core.session.passage import Film
from monitor.core.session.presses import State
from monitor.core.session.runs import Run
from monitor.core.session.whose_press import Stand


def state_at(film: Film, withheld: bool, t_s: float) -> tuple[State, Run | None, Offer | None]:
    """The state, the run that a press is about, and the assumed begin that it answers. `withheld`: a gate holds the next begin back."""
    if film.current is None:
        return ("held back" if withheld else "waiting"), None, None
    if film.current.stage.role == "load":
        return "loading", film.runs[0], None
    if film.entry is not None:
        return "entering", None, None
    if film.offers.now is not None and t_s < film.offers.end_s - EPS_S:
        return "unanswered", film.offers.now.left, film.offers.now
    run = film.called_run(t_s)
    return ("counting" if run is None or run.left or run.settled else _state_of(film, run, t_s)), run, None


def stand_at(film: Film, withheld: bool, t_s: float) -> Stand:
    """The same for whoever has to tell whose a press is: the state, and since when what matters about it has lasted."""
    state, run, offer = state_at(film, withheld, t_s)
    begun_s = -math.inf if film.current is None else film.current.begin_s
    called_s, since_s = None, begun_s
    if state in ("now", "due") and run is not None:
        called_s = run.now_s if run.now_s is not None and t_s >= run.now_s - EPS_S else None  # a short drain is due before its NOW
    elif state == "unanswered" and offer is not None:
        called_s, since_s = (offer.left.now_s if offer.nags else None), offer.left.end_s
    elif state == "past minimum" and run is not None:
        at_most_s = None if film.current is None or not film.current.at_most_said else film.current.at_most_at_s
        called_s, since_s = at_most_s, run.end_s
    calls_s = None if film.current is None else film.current.at_most_at_s
    return Stand(state, called_s, since_s, begun_s, None if offer is None else offer.index, calls_s)


def _state_of(film: Film, run: Run, t_s: float) -> State:
    if run.stage.until == "at least":
        if run.over or t_s >= run.end_s - EPS_S:
            return "past minimum"
    elif run.frozen and t_s >= run.end_s - DUE_BEFORE_END_S - EPS_S:
        return "due"
    elif run.frozen and run.now_s is not None and t_s >= run.now_s - EPS_S:
        return "now"
    again = film.may_begin_again(run, t_s)
    if run.awaits_appearance and t_s >= run.begin_s + EARLIEST_APPEARANCE_S:
        return "just in" if again else "appearing"
    return "just begun" if again else "counting"
