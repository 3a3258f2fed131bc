"""What a press means, and how a stage goes through its moments: the tables of the session, in one place.

Rules of this file: nothing here holds state or does anything; `session` looks things up here and carries them out.
A press is a tap (released within 0.7 s), longer a question; where a begin is due a press of any length is a tap.
Decided in the project's contract, section 5. Tests: tests/core/session/test_session.py.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from monitor.core.recipe.values import Recipe, Stage
from monitor.core.session.agitation import Pace
from monitor.core.session.watch import Band

Phase = Literal["armed", "counting", "now", "due", "fixed", "entering", "unconfirmed"]
"""armed: before the first begin. counting: nothing is due. now: from NOW to 5 s before the planned end. due: from there on,
or after the minimum of an at-least stage. fixed: after the minimum of a fix, where a question must stay possible: it is
the only way to hear that the fixing minimum is over. entering: sheets are going in. unconfirmed: a begin was assumed, no tap yet."""

Length = Literal["tap", "question", "held"]
"""How long the press was: up to 0.7 s, up to 1 s, 1 s or more."""

Meaning = Literal["begin", "poured", "heard", "mark", "question"]

MEANING: dict[tuple[Phase, Length], Meaning] = {
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

AT_ONCE: frozenset[Phase] = frozenset({"due", "entering", "unconfirmed"})
"""Phases in which the length does not matter: the press acts when it comes, not when it ends."""

DUE_BEFORE_END_S = 5.0
GROUP_GAP_S = 60.0
PROGRESS_EVERY_S = 2.0
SECOND_QUESTION_S = 3.0
SHUFFLE_STEP_S = 5.0
NO_SWITCH_LEAD_S = 30.0


@dataclass(slots=True)
class Run:
    """One film's way through one stage: the stage itself, or one sheet of it.

    `end_s`: planned end (of an at-least stage: its minimum). `now_s`: NOW, None for at-least stages. `ready_s`: READY, None
    where it is left out. `frozen`: the three no longer move. `over`: the planned end has passed. `left`: the film has
    left it, by a tap or, with nothing to correct it, by assumption.
    """

    key: int
    stage: Stage
    sheet: int | None
    begin_s: float
    target_ref_s: float
    end_s: float = 0.0
    now_s: float | None = None
    ready_s: float | None = None
    end_sd_s: float = 0.0
    frozen: bool = False
    ready_said: bool = False
    ready_written: bool = False
    now_said: bool = False
    now_written: bool = False
    over: bool = False
    left: bool = False
    begin_seq: int = 0

    @property
    def counts_from_s(self) -> float:
        """When its integral begins: at the begin, or when the vessel is full."""
        return self.begin_s + (self.stage.fill_s if self.stage.counted == "full to empty" else 0.0)

    def plan(self, reached_s: float) -> None:
        """Set NOW, READY and the planned end from the moment when the target is reached."""
        stage = self.stage
        if stage.until == "at least":
            self.end_s, self.now_s, self.ready_s = reached_s, None, reached_s
            return
        if stage.counted == "full to empty":
            self.now_s, self.end_s = reached_s, reached_s + stage.drain_s
        else:
            self.now_s, self.end_s = reached_s - stage.drain_s, reached_s
        self.ready_s = self.now_s - stage.ready_s


@dataclass(slots=True)
class Current:
    """The stage that the film is in now. `begin_s`: what its clock and its ticks count from."""

    stage: Stage
    begin_s: float
    runs: list[Run]
    pace: Pace
    entered: int = 0
    tick_after_s: float = 0.0
    band: Band = field(default_factory=Band)
    at_most_said: bool = False


def is_counted(stage: Stage) -> bool:
    """Whether its temperature is integrated: a developer always, another bath where its recipe lets temperature move its end."""
    return stage.role == "develop" or stage.steer


def has_no_clock(stage: Stage) -> bool:
    """Loading without a time: dark and silent, over when the hands say so and never assumed to be."""
    return stage.role == "load" and stage.target_ref_s == 0


def pace_of(recipe: Recipe, stage: Stage) -> Pace:
    """The movement of a stage. Sheets and drums move every 5 s, a double tick for the first sheet of each round (practice
    of this project); everything else each second while it moves."""
    if not stage.continuous:
        return Pace(bursts=stage.agitation)
    if recipe.sheets is not None:
        entering_s = (recipe.sheets.count - 1) * recipe.sheets.interval_s if stage.role == "develop" else 0.0
        return Pace(step_s=SHUFFLE_STEP_S, round_of=recipe.sheets.count, shift_s=entering_s + SHUFFLE_STEP_S)
    return Pace(step_s=SHUFFLE_STEP_S if recipe.vessel == "drum" else 1.0)
