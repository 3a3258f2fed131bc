"""One film's way through one stage, as plain state: what is planned, and how far it has come.

Nothing here decides; `monitor.core.session.passage` does. Tests: tests/core/session/test_session.py.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum

from monitor.core.recipe.values import Recipe, Stage
from monitor.core.session.agitation import Pace
from monitor.core.session.fixed_times import SHUFFLE_STEP_S
from monitor.core.session.watch import Band


class RunStep(IntEnum):
    """How far a run has come; each step includes those before it."""

    COUNTING = 0
    """The end may still move."""
    FIXED = 1
    """READY, NOW and the end no longer move."""
    READY = 2
    """READY is in the journal."""
    CALLED = 3
    """NOW is with the player."""
    NOW = 4
    """NOW is in the journal."""
    OVER = 5
    """The planned end has passed."""
    LEFT = 6
    """The film has left the stage: a press said so, or it was assumed."""


@dataclass(slots=True)
class Run:
    """One film in one stage: the stage itself, or one sheet of it. Times are session seconds.

    `key`: the number of its integral in the estimator. `end_s`: planned end (of an at-least stage: its minimum). `now_s`: NOW, None
    for at-least stages. `ready_s`: READY, None where it is left out. `steady_ready_s`: READY as last planned while no reading was odd.
    `end_sd_s`: standard deviation of the end. `begin_seq`: of its begin
    in the journal. `told`: somebody has said when it began; `again`: that begin may be taken again. `settled`: a tap has said that the
    next begin is at the planned end. `appeared`: a tap has said that a print's first trace is there.
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
    steady_ready_s: float | None = None
    step: RunStep = RunStep.COUNTING
    begin_seq: int = 0
    told: bool = True
    settled: bool = False
    again: bool = False
    appeared: bool = False

    @property
    def awaits_appearance(self) -> bool:
        """A print whose first trace has not been told yet, while its end may still move."""
        return self.stage.appearance_factor is not None and not self.appeared and not self.frozen

    @property
    def frozen(self) -> bool:
        """READY, NOW and the end no longer move."""
        return self.step >= RunStep.FIXED

    @property
    def over(self) -> bool:
        """The planned end has passed."""
        return self.step >= RunStep.OVER

    @property
    def left(self) -> bool:
        """The film has left the stage."""
        return self.step is RunStep.LEFT

    @property
    def first_call_s(self) -> float:
        """Its first call: READY, NOW where there is none, the minimum where there is neither."""
        return next((x for x in (self.ready_s, self.now_s) if x is not None), self.end_s)

    def reach(self, step: RunStep) -> None:
        """It has come at least so far."""
        self.step = max(self.step, step)

    @property
    def counts_from_s(self) -> float:
        """When its integral begins."""
        return counts_from_s(self.stage, self.begin_s)

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
    """The stage that the film is in now. `begin_s`: what its clock and its ticks count from; `last_exit_now_s`: NOW of
    the last exit that is fixed, for telling groups of sheets apart. `at_most_called`, `at_most_said`: NOW at the longest time is with the
    player, in the journal."""

    stage: Stage
    begin_s: float
    runs: list[Run]
    pace: Pace
    tick_after_s: float = 0.0
    band: Band = field(default_factory=Band)
    at_most_called: bool = False
    at_most_said: bool = False
    last_exit_now_s: float | None = None

    @property
    def at_most_at_s(self) -> float | None:
        """When the longest time of the stage is over, None where it has none."""
        return None if self.stage.at_most_s is None else self.begin_s + self.stage.at_most_s


def counts_from_s(stage: Stage, begin_s: float) -> float:
    """When the integral of a stage begins: at its begin, or when the vessel is full."""
    return begin_s + stage.fills_s


def is_counted(stage: Stage) -> bool:
    """Whether its temperature is integrated: a developer always, another bath where its recipe lets temperature move its end."""
    return stage.role == "develop" or stage.steer


def pace_of(recipe: Recipe, stage: Stage) -> Pace:
    """The movement of a stage. Sheets and drums move every 5 s, a double tick for the first sheet of each round (practice
    of this project); everything else each second while it moves."""
    if not stage.continuous:
        return Pace(bursts=stage.agitation)
    if recipe.sheets is not None:
        entering_s = (recipe.sheets.count - 1) * recipe.sheets.interval_s if stage.role == "develop" else 0.0
        return Pace(step_s=SHUFFLE_STEP_S, round_of=recipe.sheets.count, shift_s=entering_s + SHUFFLE_STEP_S)
    return Pace(step_s=SHUFFLE_STEP_S if recipe.vessel == "drum" else 1.0)
