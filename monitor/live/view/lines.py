"""A session in plain lines, for a pipe or a file: one when something changes, and each whole minute once.

The count of minutes never goes back: where the end has moved, that is said once. They hang on the records alone, so the same
records give the same lines. Times are on the clock at the left. Pure. Tests: tests/live/view/test_screen.py, tests/cli/test_demo.py.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

from monitor.core.journal.records import (
    Anything,
    Appeared,
    Closed,
    Corrected,
    CueSounded,
    GateChanged,
    LagFound,
    Note,
    Resumed,
    StageBegun,
    StageMoment,
    Tapped,
    ToolFault,
    TrustChanged,
)
from monitor.core.journal.snapshot import Snapshot
from monitor.core.journal.trusted import news
from monitor.core.journal.words import INSIDE_DATA, OUTSIDE_DATA
from monitor.core.recipe.kinds import VesselKind
from monitor.core.recipe.values import Stage
from monitor.core.text.degrees import in_unit_shown
from monitor.core.text.doubt import said_once
from monitor.core.text.quantities import format_duration
from monitor.live.view import words
from monitor.live.view.hands import off
from monitor.live.view.state import Watched


class PlainLines:
    """Give it every record in order; it gives the lines that these are worth."""

    def __init__(self, watched: Watched) -> None:
        self._watched = watched
        self._minute: tuple[Any, int] | None = None
        self._now_for: tuple[Any, Any] | None = None
        self._doubt_said = False

    def record(self, record: Mapping[str, Any]) -> list[str]:
        """The lines for one record."""
        told = self._watched.record(record)
        said = [] if told is None else [line for line in self._of(told) if line]
        if self._watched.take_moved():
            state = self._watched.state
            said.append(f"{words.moved(state.moved_s or 0.0)}: {self._end(state.seen)}")
        minute = self._whole_minute()
        if minute is not None:
            said.append(minute)
        return [f"{format_duration(float(record['t_s'])):>8}  {self._doubt_once(line)}" for line in said]

    def _doubt_once(self, line: str) -> str:
        """The line; where it has the first +/- of all, with what that means."""
        told = line if self._doubt_said else said_once(line)
        self._doubt_said |= told != line
        return told

    def _of(self, told: Anything) -> Iterator[str | None]:
        if isinstance(told, StageBegun):
            yield self._begun(told)
        elif isinstance(told, StageMoment):
            yield self._moment(told)
        elif isinstance(told, CueSounded):
            yield self._cue(told)
        elif isinstance(told, TrustChanged):
            yield self._trust(told)
        elif isinstance(told, GateChanged):
            yield f"gate {words.GATES.get(told.state, told.state)}" + ("" if told.why is None else f": {in_unit_shown(told.why)}")
        elif isinstance(told, Corrected):
            yield f"the begin of stage {told.stage} is put right by the tap: {format_duration(told.begin_t_s)}"
        elif isinstance(told, Tapped) and told.meaning == "lid on":
            following = self._stage((self._watched.seen.stage or 0) + 1)
            yield f"the lid is on{_next(following, self._watched.state.vessel)}: it waits for a press of a second"
        elif isinstance(told, LagFound):
            yield f"learned: {told.sentence}"
        elif isinstance(told, ToolFault):
            yield f"the tool: {told.why}"
        elif isinstance(told, Note) and told.named == "trouble":
            yield f"{told.told.get('part', 'the tool')}: {told.told['why']}"
        elif isinstance(told, Resumed):
            known = "; nobody knows for how long" if told.gap_s is None else f" for {told.gap_s:.0f} s"
            gap = "" if told.same_boot else f"; the power was gone{known}: count on the second clock"
            yield f"taken up again{gap}"
        elif isinstance(told, Appeared):
            yield f"the first trace was told; done at {format_duration(told.target_ref_s)} of development"
        elif isinstance(told, Closed):
            yield f"closed: {told.why}"

    def _begun(self, told: StageBegun) -> str:
        stage, following = self._stage(told.stage), self._stage(told.stage + 1)
        name, vessel = _name(told), self._watched.state.vessel
        if stage is None:
            return f"{name} begins"
        if stage.has_no_clock:
            return f"{name} begins: {words.loading(following)}"
        assumed = " (assumed: no tap said so)" if told.assumed else ""
        if told.target_ref_s is None:
            return f"{name} begins{assumed}"
        where, then = words.jug(stage, vessel), _next(following, vessel)
        if stage.appearance_factor is not None:
            longest = format_duration(told.target_ref_s)
            return f"{name} begins{assumed}: {where}, TAP when the first trace appears; at most {longest}{then}"
        least = "at least " if stage.until == "at least" else ""
        return f"{name} begins{assumed}: {where}, {least}{format_duration(told.target_ref_s)}{then}"

    def _moment(self, told: StageMoment) -> str | None:
        stage, name = self._stage(told.stage), _name(told)
        following = _next(self._stage(told.stage + 1), self._watched.state.vessel)
        if told.moment == "ready" and told.now_t_s is not None and told.end_t_s is not None:
            now, end = format_duration(told.now_t_s, 1), format_duration(told.end_t_s, 1)
            return f"READY, {name}: {self._off(told.sheet)} at {now}, end {end}, neither will move again{following}"
        if told.moment == "minimum":
            return None if stage is not None and stage.has_no_clock else f"{name}: the minimum is over{following}"
        if told.moment == "end":
            return None if stage is not None and stage.until == "at least" else f"{name}: the end"
        return None

    def _stage(self, number: int) -> Stage | None:
        stages = self._watched.stages
        return stages[number - 1] if number <= len(stages) else None

    def _cue(self, told: CueSounded) -> str | None:
        if told.cue in ("tick", "click"):
            return None
        if told.cue == "now":
            film = (self._watched.seen.stage, told.sheet)
            if film == self._now_for:
                return None  # a repeat
            self._now_for = film
            return f"sounded {self._now(told.sheet)}"
        if told.cue == "fault" and self._watched.faults.newest is not None:
            fault = self._watched.faults.newest
            return f"sounded FAULT: {in_unit_shown(fault.why)}. {fault.do}"
        return f"sounded {words.SOUNDS.get(told.cue, told.cue)}"

    def _off(self, sheet: int | None) -> str:
        return off(self._watched.state, sheet).lower()

    def _now(self, sheet: int | None) -> str:
        """What NOW asks for: to pour, or, in a stage that is past its longest time, to take the film out."""
        state = self._watched.state
        stage, began_s = state.stage, state.seen.began_s
        if stage is None or stage.at_most_s is None or began_s is None:
            return f"NOW: {self._off(sheet)}"
        return "NOW: " + words.limit_passed(stage.at_most_s, max(0.0, state.t_s - began_s - stage.at_most_s), state.following, state.vessel)

    def _trust(self, told: TrustChanged) -> str:
        since = format_duration(told.t_s if told.since_t_s is None else told.since_t_s)
        if told.why == INSIDE_DATA or told.why.startswith(OUTSIDE_DATA):
            return in_unit_shown(told.why)
        what = news(told.why)
        if what is not None:
            return f"{told.probe} {in_unit_shown(what)}"
        if told.believed:
            return f"{told.probe} believed, since {since}: {in_unit_shown(told.why)}"
        instead = ""
        if told.source is not None:
            instead = f"; from here on {words.source(told.source, self._watched.state.coupled_to)}; time goes on"
        return f"{told.probe} NOT believed, since {since}: {in_unit_shown(told.why)}{instead}"

    def _whole_minute(self) -> str | None:
        """A whole minute to the end, each once and only downwards."""
        seen, left_s = self._watched.standing(), self._watched.left_s
        if left_s is None or seen.stage is None or seen.target_ref_s is None or seen.target_ref_s < 60.0:
            return None
        film, minute = (seen.stage, seen.sheet, seen.began_s), int(left_s // 60.0)
        if self._minute is None or self._minute[0] != film:
            self._minute = (film, math.ceil(left_s / 60.0) - 1)
            return None
        if minute >= self._minute[1]:
            return None
        self._minute = (film, minute)
        state = self._watched.state
        seen, left = state.seen, f"{minute + 1} min left"
        if seen.role != "develop":
            return f"{left} in {seen.name}" if seen.until == "time" else f"{minute + 1} min to the minimum of {seen.name}"
        figure, where = words.developer(seen, state.coupled_to)
        limit = words.limit(seen.compared, state.colour)
        done = words.done(seen)
        told = [f"developer {figure}" + (f" ({where})" if where else ""), done and f"done {done}", self._end(seen), limit]
        return f"{left}: " + "; ".join(part for part in told if part)

    @staticmethod
    def _end(seen: Snapshot) -> str:
        return f"end {words.end(seen, from_s=0.0).removeprefix('at ')}"


def _name(told: StageBegun | StageMoment) -> str:
    return told.name.upper() + ("" if told.sheet is None else f", sheet {told.sheet}")


def _next(following: Stage | None, vessel: VesselKind) -> str:
    return "; the last stage" if following is None else f"; next {words.next_pour(following, vessel)}"
