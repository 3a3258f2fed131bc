"""What a press means: one table of the state in which the foot came down against how long it stayed there.

Nothing is decided elsewhere. `Foot` captures the state when the foot comes down, answers while it is held where the table says
so, and at release hands on the meaning, dated to the press. A press of over 10 s is a stuck switch and means nothing.
The diagram in DEVELOPERS.md is `table_lines()`. Contract, section 5. Tests: tests/core/session/test_presses.py.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, get_args

from monitor.core.journal import records
from monitor.core.journal.words import Meaning
from monitor.core.session import sounds
from monitor.core.session.desk import Desk
from monitor.core.session.fixed_times import AGAIN_HOLD_S, BEGIN_HOLD_S, EPS_S, STUCK_HOLD_S, TAP_HOLD_S
from monitor.core.session.offers import Offer
from monitor.core.session.runs import Run

State = Literal[
    "waiting", "held back", "loading", "entering", "counting", "just begun", "appearing", "just in", "now", "due", "past minimum",
    "unanswered",
]  # fmt: skip
STATES: tuple[State, ...] = get_args(State)

SAYS: dict[State, str] = {
    "waiting": "the next stage waits for its begin",
    "held back": "it waits, and its gate is withheld",
    "loading": "a reel is being loaded",
    "entering": "sheets are going in",
    "counting": "a stage runs, nothing is due",
    "just begun": "the same, within two minutes of a begin that may be taken again",
    "appearing": "a print is in, and its first trace is awaited",
    "just in": "the same, within two minutes of a begin that may be taken again",
    "now": "from NOW to 5 s before the planned end",
    "due": "from 5 s before the planned end",
    "past minimum": "the minimum of an at-least stage is over",
    "unanswered": "a begin was assumed, and nobody has answered yet",
}

Length = Literal["tap", "long", "second", "three"]
"""Released within 0.7 s, within 1 s, within 3 s, later."""
FROM_S: dict[Length, float] = {"tap": 0.0, "long": TAP_HOLD_S, "second": BEGIN_HOLD_S, "three": AGAIN_HOLD_S}

ALL_LENGTHS = frozenset(FROM_S)
"""With one film every press is its own, however long it is; with two, `monitor.core.session.whose_press` says which are."""

Sound = Literal["", "second click", "minutes", "specks"]
"""What is heard beside the first click: nothing; a click when the second is full; the answer to the question; YES."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a press comes to. `held`: the sound comes while the foot is still down, else at release. `next`: the state that follows
    in words, "" where nothing changes."""

    meaning: Meaning
    sound: Sound = ""
    held: bool = False
    next: str = ""


_MARK = Outcome("mark")
_SILENT = Outcome("question")
_ANSWERED = Outcome("question", "minutes", held=True)
_BEGIN = Outcome("begin", "second click", held=True, next="the stage runs")
_LID_ON = Outcome("lid on", "second click", held=True, next="waiting")
_POURED = Outcome("poured", next="the next stage runs")
_APPEARED = Outcome("appeared", next="NOW comes at that time multiplied by the factor")
_AGAIN = Outcome("again", "specks", held=True, next="the stage runs from this press on")
_ON_TIME = Outcome("on time", "specks", next="counting")


def _row(tap: Outcome, long: Outcome, second: Outcome | None = None, three: Outcome | None = None) -> dict[Length, Outcome]:
    second = second or long
    return {"tap": tap, "long": long, "second": second, "three": three or second}


TABLE: dict[State, dict[Length, Outcome]] = {
    "waiting": _row(_MARK, _SILENT, _BEGIN),
    "held back": _row(_MARK, _SILENT),
    "loading": _row(_MARK, Outcome("question", "minutes"), _LID_ON),
    "entering": _row(Outcome("begin", next="one sheet more is in"), _ANSWERED),
    "counting": _row(_MARK, _ANSWERED),
    "just begun": _row(_MARK, Outcome("question", "minutes"), three=_AGAIN),
    "appearing": _row(_APPEARED, _ANSWERED),
    "just in": _row(_APPEARED, Outcome("question", "minutes"), three=_AGAIN),
    "now": _row(Outcome("heard", next="the next stage begins at the planned end"), _ANSWERED),
    "due": _row(_POURED, _ANSWERED),
    "past minimum": _row(_POURED, _ANSWERED),
    "unanswered": _row(Outcome("poured", next="the begin moves to this press"), _ON_TIME),
}


TAUGHT: tuple[tuple[str, str], ...] = (
    ("press for a second, until the second click", "what waits begins; while loading: the lid is on"),
    ("press for three seconds, within two minutes of a begin", "it begins now after all"),
    ("tap when NOW sounds", "heard: silence; the next stage begins at the planned end"),
    ("tap from 5 s before the end on, or past a minimum", "poured: the next stage begins now"),
    ("forgot to tap? tap after the end", "it went in now"),
    ("forgot to tap? hold after the end", "it went in on time"),
    ("tap once for each sheet, in or out", "this sheet is in, or out"),
    ("a print is in: tap when its first trace appears", "NOW comes at that time multiplied by the recipe's factor"),
    ("hold", "where am I? in a fix: is its minimum over?"),
    ("hold twice", "is the temperature trusted? two specks: yes; limping: look when you can"),
)
"""The same table as it is taught: what the foot does, and what it means. The README has it."""
FOOT_IN_BRIEF = (
    "Foot: hold a second: begin, or lid on; three: it begins now after all. Tap at NOW: heard; at the end: poured. Forgot? Tap: now;"
    " hold: on time."
)
"""For the wall card, where there is little room."""


def length_of(held_s: float) -> Length:
    """How long a press of this many seconds is."""
    return next(length for length in reversed(FROM_S) if held_s >= FROM_S[length])


def table_lines() -> list[str]:
    """The table as lines of Markdown, for DEVELOPERS.md."""
    spans: dict[Length, str] = {"tap": "under 0.7 s", "long": "0.7 to 1 s", "second": "1 to 3 s", "three": "3 s and more"}
    lines = ["| foot down while | " + " | ".join(spans.values()) + " |", "|---|" + "---|" * len(spans)]
    for state, row in TABLE.items():
        cells = [_cell(row[length]) for length in spans]
        lines.append(f"| **{state}**: {SAYS[state]} | " + " | ".join(cells) + " |")
    return lines


def _cell(outcome: Outcome) -> str:
    heard = f" ({outcome.sound}{', held' if outcome.held else ''})" if outcome.sound else ""
    return f"{outcome.meaning}{heard}{' -> ' + outcome.next if outcome.next else ''}"


@dataclass(slots=True)
class Press:
    """One press. `state`: in which it went down; `run`: whom that state was about, None where it was about none; `offer`: the assumed
    begin that it may answer.

    `own`: the lengths with which it is this film's. `answered`: its sound has been given while it was held. `stuck`: it has lasted too
    long to mean anything.
    """

    down_s: float
    state: State
    run: Run | None = None
    offer: Offer | None = None
    own: frozenset[Length] = ALL_LENGTHS
    answered: bool = False
    stuck: bool = False


class Foot:
    """The switch under the foot. `state_at` tells the state at a moment and whom it is about; `sound` gives what the table calls
    for; `act` carries out what a press means."""

    def __init__(
        self,
        desk: Desk,
        state_at: Callable[[float], tuple[State, Run | None, Offer | None]],
        sound: Callable[[Sound, Press, float], None],
        act: Callable[[Meaning, Press, float], None],
    ) -> None:
        self._desk = desk
        self._state_at = state_at
        self._sound = sound
        self._act = act
        self._press: Press | None = None

    @property
    def undecided(self) -> bool:
        """Whether the foot is down and may still mean something."""
        return self._press is not None and not self._press.stuck

    def may_answer_now(self, t_s: float) -> bool:
        """Whether the foot is down and may, at this moment, still be the answer to NOW: a tap, or what answers an assumed begin."""
        press = self._press
        if press is None or not self.undecided or "tap" not in press.own:
            return False
        return press.state == "unanswered" or t_s - press.down_s < TAP_HOLD_S

    def decides_over(self, run: Run) -> bool:
        """Whether the press that is going on may say that this run's film goes on."""
        return self.undecided and self._press is not None and self._press.run is run and self._press.state == "due"

    @property
    def next_s(self) -> float | None:
        """When holding on brings a sound or makes it a stuck switch; None while the foot is up."""
        press = self._press
        if press is None or press.stuck:
            return None
        sound_s = self._held_sound_s(press)
        return press.down_s + (STUCK_HOLD_S + 2 * EPS_S if press.answered or sound_s is None else sound_s)

    @staticmethod
    def _held_sound_s(press: Press) -> float | None:
        """How long this press must be held for the sound that its row has in store, None if it has none. A question is answered at its
        release where a longer press would be the other film's."""
        for length, outcome in TABLE[press.state].items():
            longer = {other for other in FROM_S if FROM_S[other] > FROM_S[length]}
            if outcome.held and length in press.own and (outcome.meaning != "question" or longer <= press.own):
                return FROM_S[length]
        return None

    def down(self, t_s: float, own: frozenset[Length] = ALL_LENGTHS) -> None:
        """The foot has come down: a click at once, whatever it means. `own`: the lengths with which it is this film's."""
        state, run, offer = self._state_at(t_s)
        self._press = Press(t_s, state, run, offer, own)
        if "tap" not in own:
            return
        if state in ("now", "due", "unanswered"):
            self._desk.calls.pause_now(t_s)  # if the press turns out to be a question, NOW goes on with its next repeat
        self._desk.calls.play("click", t_s, sounds.CLICK)

    def held(self, t_s: float) -> Press | None:
        """It is still down at `next_s`. The press where it has just been taken for stuck."""
        press = self._press
        assert press is not None
        sound_s = self._held_sound_s(press)
        if not press.answered and sound_s is not None:
            press.answered = True
            self._sound(TABLE[press.state][length_of(sound_s)].sound, press, t_s)
            return None
        press.stuck = True
        if "three" not in press.own:
            return None
        self._desk.write(records.Tapped(t_s=press.down_s, meaning="mark"))
        return press

    def up(self, t_s: float) -> None:
        """The foot is gone: now it is known what the press meant."""
        press, self._press = self._press, None
        if press is None or press.stuck:
            return
        length = length_of(t_s - press.down_s + EPS_S)
        if length not in press.own:
            return
        outcome = TABLE[press.state][length]
        self._desk.write(records.Tapped(t_s=press.down_s, meaning=outcome.meaning))
        self._act(outcome.meaning, press, t_s)
        if outcome.sound and not press.answered:
            self._sound(outcome.sound, press, t_s)
