"""What the record of a session says to the causes of what was seen: for one, against it, or nothing. Pure.

A record can know what was called, told, measured and counted; it never knows what hands did. Tests: tests/review/test_record_says.py.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from monitor.core.recipe.kinds import FIXING_ROLES
from monitor.core.recipe.warnings import BATHS_WITHIN_C
from monitor.core.text.degrees import degrees, difference
from monitor.core.text.quantities import format_duration
from monitor.review.numbers import SessionMeasures, StageMeasures
from monitor.review.sight import Cause, Evidence, Sight

HARDLY_PERCENT = 25.0
"""Film with less development than this looks blank (a choice, no source)."""
LONG_ENOUGH_PERCENT = 103.0
"""Film that had more development than this was not developed for too short a time (a choice, no source)."""
MISSED_S = 5.0
"""More movement than this that nobody called is worth a word: a single tick may fall into another call (a drum's stands for 5 s)."""
OFF_BAND_S = 15.0
"""A first developer that was longer than this outside its band speaks (as a session sounds FAULT; the project's practice)."""
OFF_TIME_PERCENT = 3.0
"""A first development that is farther off than this, in time or in what was done, speaks (as for `LONG_ENOUGH_PERCENT`: a choice)."""
STILL_SHARE = 0.05
"""Film that is moved for less of its development, all baths together, hangs nearly still; 5 s a minute is 8 per cent (a choice)."""


@dataclass(frozen=True, slots=True)
class Finding:
    """`bears`: the record speaks for the cause (True), against it (False), or cannot tell (None). `says`: in words."""

    bears: bool | None
    says: str


Findings = Mapping[Evidence, Finding]


def findings(session: SessionMeasures) -> Findings:
    """What this record can say; an evidence that it has nothing to is left out."""
    found = {
        "hardly developed": _hardly_developed(session),
        "movement": _movement(session),
        "fixing": _fixing(session),
        "jump": _jump(session),
        "restart": _restart(session),
        "long enough": _long_enough(session),
        "first developer less": _first_developer(session, less=True),
        "first developer more": _first_developer(session, less=False),
        "lifted early": _lifted_early(session),
        "colour developer off": _colour_developer(session),
        "tray": Finding(True, "the sheets were in an open tray") if session.vessel == "open tray" else None,
    }
    return {key: finding for key, finding in found.items() if finding is not None}  # type: ignore[misc]


def leading(sight: Sight, found: Findings) -> Cause:
    """The cause to act on: one that the record speaks for, else the likeliest that it does not speak against."""
    said = [(cause, found.get(cause.evidence) if cause.evidence is not None else None) for cause in sight.causes]
    return next(
        (cause for cause, finding in said if finding is not None and finding.bears),
        next((cause for cause, finding in said if finding is None or finding.bears is None), sight.causes[0]),
    )


def ruled_out(cause: Cause, found: Findings) -> bool:
    """The record speaks against this cause."""
    finding = found.get(cause.evidence) if cause.evidence is not None else None
    return finding is not None and finding.bears is False


def _hardly_developed(session: SessionMeasures) -> Finding | None:
    done = [s.done_percent for s in session.stages if s.role == "develop" and s.end_told and s.done_percent is not None]
    if not done or max(done) >= HARDLY_PERCENT:
        return Finding(False, f"development came to {max(done):.0f} %") if done else None
    return Finding(True, f"development came to {max(done):.0f} % when the developer was left")


def _long_enough(session: SessionMeasures) -> Finding | None:
    """More development than was wanted speaks against too short a time: less than that is said as a number alone."""
    done = [s.done_percent for s in session.stages if s.role == "develop" and s.end_told and s.rate_law and s.done_percent is not None]
    if not done or min(done) <= LONG_ENOUGH_PERCENT:
        return None
    return Finding(False, "the time was not too short")


def _first_developer(session: SessionMeasures, less: bool) -> Finding | None:
    """Whether the first of the developers was colder or shorter (`less`), or warmer or longer, than was wanted; None: not that way."""
    stage = next((s for s in session.stages if s.role == "develop"), None)
    if stage is None:
        return None
    sign = -1.0 if less else 1.0
    if stage.rate_law is not None and stage.end_told and stage.done_percent is not None:
        if sign * (stage.done_percent - 100.0) > OFF_TIME_PERCENT:
            return Finding(True, f"development in {stage.name} came to {stage.done_percent:.0f} %")
        return None
    outside = _outside_band(stage, "below" if less else "above")
    if outside is not None:
        return outside
    if stage.end_told and stage.planned_s and sign * (stage.actual_s / stage.planned_s - 1.0) * 100.0 > OFF_TIME_PERCENT:
        return Finding(
            True,
            f"{_it(session)} was {format_duration(stage.actual_s)} in {stage.name}; {format_duration(stage.planned_s)} were planned",
        )
    return None


def _it(session: SessionMeasures) -> str:
    return "the print" if session.medium == "paper" else "the film"


def _outside_band(stage: StageMeasures, where: Literal["below", "above"]) -> Finding | None:
    outside_s = stage.below_band_s if where == "below" else stage.above_band_s
    if outside_s is None or outside_s <= OFF_BAND_S:
        return None
    mean = "" if stage.mean_c is None else f", at {degrees(stage.mean_c)} on average"
    return Finding(True, f"{stage.name} was {where} its band for {format_duration(outside_s)} of {format_duration(stage.actual_s)}{mean}")


def _lifted_early(session: SessionMeasures) -> Finding | None:
    """Whether the development ended sooner than its end was called."""
    stage = next((s for s in session.stages if s.role == "develop" and s.overrun_s is not None and s.planned_s), None)
    if stage is None or stage.overrun_s is None or not stage.planned_s:
        return None
    if stage.overrun_s < -stage.planned_s * OFF_TIME_PERCENT / 100.0:
        return Finding(True, f"{_it(session)} left {stage.name} {format_duration(-stage.overrun_s)} before its end was called")
    return Finding(False, f"{_it(session)} was in {stage.name} until its end was called")


def _colour_developer(session: SessionMeasures) -> Finding | None:
    """The bath that makes the dyes, by where it stands: the last developer of colour film or paper."""
    stages = [s for s in session.stages if s.role == "develop"] if session.film == "colour" else []
    return (_outside_band(stages[-1], "below") or _outside_band(stages[-1], "above")) if stages else None


def _movement(session: SessionMeasures) -> Finding | None:
    stages = [s for s in session.stages if s.role == "develop" and s.movement_due_s is not None]
    if not stages:
        return None
    worst = max(stages, key=lambda s: s.movement_missed_s)
    if worst.movement_missed_s > MISSED_S:
        missed, due = format_duration(worst.movement_missed_s), format_duration(worst.movement_due_s or 0.0)
        return Finding(True, f"{missed} of the {due} of movement in {worst.name} were never called")
    moved_s, whole_s = sum(s.movement_due_s or 0.0 for s in stages), sum(s.actual_s for s in stages)
    if moved_s < STILL_SHARE * whole_s:
        return Finding(
            True, f"the recipe moves the film for {format_duration(moved_s)} of the {format_duration(whole_s)} of its development"
        )
    return Finding(None, "every movement of the development was called; whether the hands followed, the record does not know")


def _fixing(session: SessionMeasures) -> Finding | None:
    if not session.stages:
        return None
    fixes = [s for s in session.stages if s.role in FIXING_ROLES]
    if not fixes:
        return Finding(True, f"no stage fixed {_it(session)}")
    short = next((s for s in fixes if s.end_told and s.planned_s and s.actual_s < s.planned_s - 1.0), None)
    if short is not None:
        return Finding(
            True,
            f"{_it(session)} was {format_duration(short.actual_s)} in {short.name}; {format_duration(short.planned_s or 0.0)} were planned",
        )
    untold = next((s for s in fixes if not s.end_told), None)
    if untold is not None:
        return Finding(True, f"nobody told when {_it(session)} left {untold.name}: how long it was in is not known")
    return Finding(
        False,
        f"{_it(session)} was {format_duration(sum(s.actual_s for s in fixes))} in the fixer, as long as planned: it may have been tired",
    )


def largest_step_c(session: SessionMeasures) -> float | None:
    """Largest step between the mean temperatures of two stages in a row, C; None if fewer than two were measured."""
    means = [s.mean_c for s in session.stages if s.mean_c is not None]
    return max((abs(b - a) for a, b in itertools.pairwise(means)), default=None)


def _jump(session: SessionMeasures) -> Finding | None:
    step_c = largest_step_c(session)
    if step_c is None:
        return None
    return Finding(step_c > BATHS_WITHIN_C, f"the largest step of the mean between two stages was {difference(step_c)}")


def _restart(session: SessionMeasures) -> Finding | None:
    """The program went away and came back while film was in a developer or before: a board that starts lights its lamps."""
    if session.vessel not in ("open tray", "open tank"):
        return None
    bare_until_s = max((s.actual_end_s for s in session.stages if s.role in ("load", "presoak", "develop", "stop")), default=0.0)
    back = next((r["t_s"] for r in session.resumes if isinstance(r.get("t_s"), (int, float)) and r["t_s"] <= bare_until_s), None)
    if back is None:
        return None
    return Finding(True, f"the station started again at {format_duration(back)}, with the film bare: a board that starts lights its lamps")
