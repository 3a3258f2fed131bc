"""The program is back after a time in which it was away: FAULT first where something was missed, then the newest call that still holds.

Contract, section 5. Tests: tests/core/session/test_session_fold.py.
"""

from __future__ import annotations

from collections.abc import Sequence

from monitor.core.session import sounds
from monitor.core.session.calls import NowCall
from monitor.core.session.desk import Desk
from monitor.core.session.fixed_times import CLEAR_S, NOW_LATER_S, NOW_REPEAT_S, NOW_REPEATS
from monitor.core.session.passage import Film
from monitor.core.session.sounds import Sound


def call_after_return(desk: Desk, film: Film, t_s: float, missed: list[Sound], why: str | None) -> None:
    """Sounds of the return at `t_s`. `missed`: READY and NOW that fell due meanwhile; `why`: from `why_away`."""
    calls = desk.calls
    if why is None and calls.fault_s is None:
        return
    free_s = calls.fault_first(why or "the program was away; the probes were not read meanwhile", t_s) + CLEAR_S
    newest = max(missed, key=lambda sound: sound.onset_s, default=None)
    if newest is None:
        return
    late_s = free_s - newest.onset_s
    if newest.cue == "ready":
        run = film.called_run(t_s) or film.due_run
        room = run is not None and (run.now_s is None or run.now_s > free_s + sounds.length_s(sounds.READY))
        if room and late_s < NOW_LATER_S:  # later than that it would be taken for another one
            calls.play("ready", free_s, sounds.READY, newest.sheet, late_s=late_s)
    elif calls.now is not None:
        run = calls.now.run
        first_s = newest.onset_s if run.now_s is None else run.now_s
        slowly = run.over and run.now_s is not None
        calls.play("now", free_s, sounds.NOW, run.sheet, late_s=free_s - first_s)
        calls.now = NowCall(run, NOW_REPEATS if slowly else 1, free_s + (NOW_LATER_S if slowly else NOW_REPEAT_S))
    elif any(run.now_s == newest.onset_s and not run.left and not run.settled for run in film.runs):
        calls.play("now", free_s, newest.pattern, newest.sheet, late_s=late_s)


def why_away(gap_s: float | None, same_boot: bool, missed: Sequence[str]) -> str | None:
    """Why FAULT sounds at the return; None where nothing was missed."""
    if not same_boot:
        known = "; nobody knows for how long" if gap_s is None else f" for {gap_s:.0f} s"
        return f"the power was gone{known}: count on the second clock"
    if not missed:
        return None
    away = "" if gap_s is None else f" for {gap_s:.0f} s"
    return f"the program was away{away}, and {' and '.join(cue.upper() for cue in missed)} fell due meanwhile"
