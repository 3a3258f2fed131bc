"""What is answered to a question of the foot: whole minutes to the end, whether the temperature is trusted, or that a fix is over.

Tests: tests/core/session/test_session.py, tests/core/session/test_presses.py.
"""

from __future__ import annotations

from monitor.core.recipe.kinds import FIXING_ROLES
from monitor.core.session import sounds
from monitor.core.session.desk import Desk
from monitor.core.session.fixed_times import SECOND_QUESTION_S
from monitor.core.session.passage import Film
from monitor.core.session.presses import Press


class FootAnswers:
    """Remembers when the last question was."""

    def __init__(self, desk: Desk, film: Film) -> None:
        self._desk = desk
        self._film = film
        self._question_s: float | None = None

    def answer(self, press: Press, t_s: float) -> None:
        """Whole minutes to the end, rounded down; a second question within 3 s: the state of the temperature."""
        desk, film = self._desk, self._film
        calls = desk.calls
        before_s, self._question_s = self._question_s, press.down_s
        calls.hush("answer", "yes", "over")
        if before_s is not None and press.down_s - before_s <= SECOND_QUESTION_S:
            self._question_s = None
            good = not desk.lost and not (film.current is not None and film.current.band.told)
            calls.play("yes" if good else "answer", t_s + sounds.AGAIN_S, sounds.YES if good else sounds.FAULT)
            return
        run = press.run if press.run is not None and not press.run.left else film.due_run
        if run is None or run.stage.has_no_clock:
            return
        if run.stage.role in FIXING_ROLES and press.state == "past minimum":
            if run.told:
                calls.play("over", t_s, sounds.OVER)
            return
        calls.play("answer", t_s, sounds.answer(int(max(0.0, run.end_s - press.down_s) // 60)))
