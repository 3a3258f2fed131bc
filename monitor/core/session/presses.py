"""What a press means: one table of the state in which the foot came down against how long it stayed.

Nothing is decided elsewhere: `Foot` finds the state and the length, looks the meaning up, and hands it on. Contract, section 5.
Tests: tests/core/session/test_session.py.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from monitor.core.journal import records
from monitor.core.journal.words import Meaning
from monitor.core.session import cues
from monitor.core.session.desk import Desk
from monitor.core.session.foot import BEGIN_S, STUCK_S, TAP_S
from monitor.core.session.limits import SECOND_QUESTION_S

State = Literal["armed", "counting", "now", "due", "fixed", "entering", "unconfirmed"]
"""armed: before the first begin. counting: nothing is due. now: from NOW to 5 s before the planned end. due: from there on,
or after the minimum of an at-least stage. fixed: after the minimum of a fix, where a question must stay possible: it is
the only way to hear that the fixing minimum is over. entering: sheets are going in. unconfirmed: a begin was assumed, no tap yet."""

Length = Literal["tap", "question", "held"]
"""How long the press was: up to 0.7 s, up to 1 s, 1 s or more."""

MEANING: dict[tuple[State, Length], Meaning] = {
    ("armed", "tap"): "mark",
    ("armed", "question"): "question",
    ("armed", "held"): "begin",
    ("counting", "tap"): "mark",
    ("counting", "question"): "question",
    ("counting", "held"): "question",
    ("now", "tap"): "heard",
    ("now", "question"): "question",
    ("now", "held"): "question",
    ("due", "tap"): "poured",
    ("due", "question"): "poured",
    ("due", "held"): "poured",
    ("fixed", "tap"): "poured",
    ("fixed", "question"): "question",
    ("fixed", "held"): "question",
    ("entering", "tap"): "begin",
    ("entering", "question"): "begin",
    ("entering", "held"): "begin",
    ("unconfirmed", "tap"): "poured",
    ("unconfirmed", "question"): "poured",
    ("unconfirmed", "held"): "poured",
}

ANY_LENGTH: frozenset[State] = frozenset({"due", "entering", "unconfirmed"})
"""States in which the length does not matter: the press acts when it comes, not when it ends."""


@dataclass(slots=True)
class Press:
    """One press. `state`: in which it went down. `settled`: its meaning is known. `stuck`: it has lasted too long to mean anything."""

    down_s: float
    state: State
    settled: bool = False
    stuck: bool = False


class Foot:
    """The switch under the foot. `state_at` tells the state at a moment, `act` carries out what a press means."""

    def __init__(self, desk: Desk, state_at: Callable[[float], State], act: Callable[[Meaning, Press, float], None]) -> None:
        self._desk = desk
        self._state_at = state_at
        self._act = act
        self._press: Press | None = None
        self._question_s: float | None = None
        self._second_question = False

    @property
    def undecided(self) -> bool:
        """Whether the foot is down and it is not known yet what that means."""
        return self._press is not None and not self._press.settled

    @property
    def next_s(self) -> float | None:
        """When holding on changes what the press means; None while the foot is up or nothing changes any more."""
        press = self._press
        if press is None or press.stuck:
            return None
        if press.settled:
            return press.down_s + STUCK_S
        return press.down_s + (BEGIN_S if press.state == "armed" else TAP_S)

    def down(self, t_s: float) -> None:
        """The foot has come down: a click at once, whatever it means."""
        press = self._press = Press(t_s, self._state_at(t_s))
        if press.state in ("now", "due", "unconfirmed"):
            self._desk.calls.hush("now")  # if the press turns out to be a question, NOW goes on with its next repeat
        self._desk.calls.play("click", t_s, cues.CLICK)
        if press.state in ANY_LENGTH:
            self._settle(press, "tap", t_s)

    def up(self, t_s: float) -> None:
        """The foot is gone."""
        press, self._press = self._press, None
        if press is not None and not press.settled and not press.stuck:
            self._settle(press, "tap" if t_s - press.down_s < TAP_S else "question", t_s)

    def held(self, t_s: float) -> Press | None:
        """It is still down at `next_s`. The press where it has just been taken for stuck."""
        press = self._press
        assert press is not None
        if not press.settled:
            self._settle(press, "held" if press.state == "armed" else "question", t_s)
            return None
        press.stuck = True
        return press

    def is_second_question(self, press_s: float) -> bool:
        """Whether this question follows another one so soon that it asks for the temperature."""
        second = self._question_s is not None and press_s - self._question_s <= SECOND_QUESTION_S and not self._second_question
        self._second_question, self._question_s = second, press_s
        return second

    def _settle(self, press: Press, length: Length, t_s: float) -> None:
        press.settled = True
        meaning = MEANING[press.state, length]
        if meaning == "begin" and press.state == "armed" and self._desk.gate.closed_for(0):
            meaning = "mark"
        self._desk.write(records.Tapped(t_s=press.down_s, meaning=meaning))
        self._act(meaning, press, t_s)
