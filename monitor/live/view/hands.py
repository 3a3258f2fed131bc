"""The next thing for the hands, in words, from what a view knows. Times are those of the stage's own clock. Pure.

It says what the session has decided; it decides nothing. Tests: tests/live/view/test_state.py, tests/live/view/test_screen.py.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from monitor.core.journal.snapshot import Snapshot
from monitor.core.recipe.kinds import VesselKind
from monitor.core.recipe.values import Burst, Stage
from monitor.core.session.agitation import QUIET_S
from monitor.core.text.degrees import plain, plain_difference
from monitor.core.text.doubt import two_sd
from monitor.core.text.quantities import format_duration, format_number
from monitor.live.view import words
from monitor.live.view.state import ViewState

INTO: Final[Mapping[VesselKind, str]] = {"open tray": "LAY IT IN", "open tank": "LOWER IT IN"}
"""How it goes into a bath that is not poured: by open vessel. Out of these it is lifted."""


@dataclass(frozen=True, slots=True)
class Hands:
    """What comes next. `figure`: how long it is until then, or one word; `verb`: what is to be done; `rest`: with what.

    `under`: how sure that is, for the row below. `alarm`: it is now. `urgent`: what stands below must be seen. `left_s`: the figure as
    seconds where it counts down, else None.
    """

    figure: str
    lead: str = ""
    verb: str = ""
    rest: str = ""
    under: str = ""
    alarm: bool = False
    urgent: bool = False
    left_s: float | None = None

    @property
    def told(self) -> str:
        """The upper row in one sentence."""
        return " ".join(part for part in (self.figure, self.lead, self.verb) if part) + self.rest


def next_movement(bursts: Sequence[Burst], after_s: float, now_s: float | None) -> tuple[float, float] | None:
    """Begin and end, seconds after the stage's begin, of the movement that goes on at `after_s` or comes next.

    `now_s`: when NOW is expected, seconds after the begin. What would run into the last half minute before it is left out.
    """
    found = []
    for burst in bursts:
        start_s = burst.from_s or 0.0
        if burst.every_s is not None:
            start_s = max(1.0, (after_s - burst.for_s) // burst.every_s + 1.0) * burst.every_s
        if start_s + burst.for_s <= after_s:
            continue
        if now_s is not None and start_s >= 1.0 and start_s + burst.for_s > now_s - QUIET_S:
            continue
        found.append((start_s, start_s + burst.for_s))
    return min(found, default=None)


def movements(bursts: Sequence[Burst], until_s: float, now_s: float | None) -> Iterator[tuple[float, float]]:
    """Begin and end of each movement up to `until_s`, seconds after the stage's begin, with the gaps that `next_movement` leaves."""
    at_s = 0.0
    while (comes := next_movement(bursts, at_s, now_s)) is not None and comes[0] < until_s:
        yield comes
        at_s = comes[1]


def moved_spans(state: ViewState, stage: Stage, began_s: float, last_s: float) -> Iterator[tuple[float, float]]:
    """When the stage is moved, session seconds; up to `last_s` where no NOW ends it."""
    now_s = moment_s(state.seen, stage) if state.seen.until == "time" else None
    until_s = last_s if now_s is None else now_s
    if stage.continuous:
        yield began_s, until_s
        return
    for start_s, stop_s in movements(stage.agitation, until_s - began_s, None if now_s is None else now_s - began_s):
        yield began_s + start_s, began_s + stop_s


def hands(state: ViewState) -> Hands:
    """What comes next for the hands, and how sure it is."""
    seen, stage, following = state.seen, state.stage, state.following
    if state.closed is not None:
        return Hands("OVER", "nothing more:", "", f" {state.closed}")
    if stage is None:
        return _before(state, state.stages[(seen.waits_for or 1) - 1])
    if seen.began_s is None or seen.end_t_s is None:
        return Hands("", "", stage.name.upper())
    then = "; the last stage" if following is None else f"; then {words.next_pour(following, state.vessel)}"
    clock = _StageClock(state.t_s, seen.began_s, seen.end_t_s)
    if stage.role == "load":
        least = "" if stage.has_no_clock or clock.over else f"; not before {clock.tell(clock.end_s)}"
        under = f"dark, silent, no clock{least}{then}"
        told = Hands("LOAD", f"the {state.medium};", "LID ON", ": hold the switch for a full second", under)
    elif seen.until == "time":
        told = _timed(state, stage, clock, then, following is None)
    else:
        told = _at_least(state, stage, clock, following)
    if seen.unconfirmed:
        told = replace(told, under=f"{stage.name.upper()} not confirmed: TAP as it goes in, HOLD if it went in on time", urgent=True)
    return told


def agitation(state: ViewState) -> str:
    """What to move, and until when or when next; empty where nothing runs."""
    seen, stage = state.seen, state.stage
    if stage is None or seen.began_s is None or seen.end_t_s is None or stage.role == "load" or state.closed is not None:
        return ""
    now_s = moment_s(seen, stage) if seen.until == "time" else None
    over_s = now_s if stage.at_most_s is None else seen.began_s + stage.at_most_s
    if over_s is not None and state.t_s >= over_s:
        return ""  # what is due to come out is moved no more
    if stage.continuous:
        return "AGITATE all the time"
    at_s = state.t_s - seen.began_s
    comes = next_movement(stage.agitation, at_s, None if now_s is None else now_s - seen.began_s)
    if comes is None:
        return "let it stand"
    if comes[0] <= at_s:
        return f"AGITATE until {format_duration(comes[1])}"
    return f"next {format_duration(comes[0])}, for {format_duration(comes[1] - comes[0])}"


def moment_s(seen: Snapshot, stage: Stage) -> float:
    """The hands' moment, session seconds: when NOW is expected, or was; in an at-least stage its minimum."""
    end_s = seen.end_t_s or 0.0
    if seen.until != "time":
        return end_s
    return end_s - stage.drain_s if seen.now_s is None else seen.now_s


def gate(state: ViewState) -> str:
    """That the next stage's start is withheld, and until when; empty where it is not, and where that stands in the row of the hands."""
    following = state.following
    if state.stage is None or following is None or following.gate is None or state.seen.gate != "withheld":
        return ""
    return f"the start of {following.name.upper()} is withheld until {_gate(following)}"


def off(state: ViewState, sheet: int | None) -> str:
    """What NOW asks for: to pour off, or to lift what lies in a tray, one sheet of several or all of it."""
    if sheet is not None:
        return f"LIFT SHEET {sheet}"
    return "LIFT IT OUT" if state.vessel in INTO else "POUR OFF"


def last_word(state: ViewState) -> str:
    """What was settled or forecast for the hands when the station was last heard, for a second clock; empty where nothing was.

    A second clock runs from the first pour, or from when the first one went in, so the stage's begin is told on it as far as it is known.
    """
    seen, stage, following = state.seen, state.stage, state.following
    if stage is None or seen.began_s is None or seen.end_t_s is None or stage.has_no_clock or state.closed is not None:
        return ""
    then = "the last stage is over" if following is None else words.next_pour(following, state.vessel)
    clock = _StageClock(state.t_s, seen.began_s, seen.end_t_s)
    begun = f" after {stage.name.upper()} began"
    first = next(s for s in state.stages if not s.has_no_clock)
    if stage != first and state.begins and state.begins[0][1] == first.name:  # else this view came too late to see it
        first_in = "first one" if state.vessel in INTO else "first pour"
        begun += f" ({format_duration(seen.began_s - state.begins[0][0])} after the {first_in})"
    if seen.until != "time":
        return f"from {clock.tell(seen.end_t_s)}{begun}: {then}"
    now_s = seen.end_t_s - stage.drain_s if seen.now_s is None else seen.now_s
    about = "" if seen.frozen or not seen.steered else "about "
    return f"{off(state, seen.sheet).lower()} at {about}{clock.tell(now_s)}{begun}; {then}"


class _StageClock:
    """The stage's own clock, which reads `at_s` now. `end_s`: the stage's end, session time."""

    def __init__(self, t_s: float, began_s: float, end_s: float) -> None:
        self.began_s = began_s
        self.end_s = end_s
        self.at_s = t_s - began_s
        self.over = t_s >= end_s

    def tell(self, t_s: float) -> str:
        """A session time on this clock."""
        return format_duration(t_s - self.began_s)


def _before(state: ViewState, stage: Stage) -> Hands:
    """Nothing runs: this stage waits for its begin."""
    seen = state.seen
    if seen.gate == "withheld":
        return Hands("WAIT", "the start is", "WITHHELD", f"; then {words.next_pour(stage, state.vessel)}", f"until {_gate(stage)}")
    pour = (INTO.get(state.vessel, "POUR"), f" {words.next_pour(stage, state.vessel)}")
    what = ("LOAD", f" the {state.medium}") if stage.role == "load" else pour
    return Hands("BEGIN", "hold the switch for a full second and", *what, "no clock runs")


def _gate(stage: Stage) -> str:
    if stage.gate is None:
        return "the station opens the gate"
    return (
        f"the developer has been within {plain_difference(stage.gate.band_c)} of {plain(stage.reference_c)} for "
        f"{format_duration(stage.gate.for_s)}"
    )


def _timed(state: ViewState, stage: Stage, clock: _StageClock, then: str, last: bool) -> Hands:
    seen, now_s = state.seen, moment_s(state.seen, stage)
    asked = off(state, seen.sheet)
    if state.t_s >= now_s:
        return Hands("NOW", "", asked, then + ("" if last else ", and tap"), _after_now(state, clock), alarm=True)
    if seen.awaits_appearance:
        factor = format_number(stage.appearance_factor or 1.0)
        longest = f"NOW comes at that time x {factor}; without a tap at {clock.tell(now_s)}"
        return Hands("TAP", "when the first trace", "APPEARS", then, longest)
    left_s = now_s - state.t_s if state.left_s is None else max(0.0, state.left_s - (clock.end_s - now_s))
    ready = seen.ready_s is not None and state.t_s >= seen.ready_s
    return Hands(words.left(left_s), "READY to" if ready else "to", asked, then, _how_sure(state, clock, now_s, left_s), left_s=left_s)


def _after_now(state: ViewState, clock: _StageClock) -> str:
    moved = _moved(state)
    if clock.over:
        out = "lifted out" if state.vessel in INTO else "poured"
        return f"the planned end was {format_duration(state.t_s - clock.end_s)} ago; it goes on being counted until it is {out}{moved}"
    return f"{format_duration(clock.end_s - state.t_s)} to the planned end{moved}"


def _how_sure(state: ViewState, clock: _StageClock, now_s: float, left_s: float) -> str:
    """Earliest and latest moment; what is fixed; by how much it has moved from the plan."""
    seen, between = state.seen, words.bounds(state.seen)
    if between is not None:
        return f"end {words.end(seen)}"
    at = f"at {clock.tell(now_s)} of this stage, end {clock.tell(clock.end_s)}"
    if not seen.steered:
        return f"{at}, by the clock"
    if seen.frozen:
        return f"will not move again: {at}{_moved(state)}"
    around_s = two_sd(seen.end_sd_s or 0.0)
    return f"earliest {words.left(left_s - around_s)}, latest {words.left(left_s + around_s)}{_moved(state)}; settled at READY"


def _moved(state: ViewState) -> str:
    return (
        ""
        if state.moved_s is None or not state.seen.steered or abs(state.moved_s) < 0.5
        else f"; {words.moved(state.moved_s).removeprefix('end ')}"
    )


def _at_least(state: ViewState, stage: Stage, clock: _StageClock, following: Stage | None) -> Hands:
    goes = "it goes into" if state.vessel in INTO else "you pour"
    tap = "tap to end" if following is None else f"tap when {goes} {words.next_pour(following, state.vessel)}"
    latest = "" if stage.at_most_s is None else f", {format_duration(stage.at_most_s)} at most"
    if stage.at_most_s is not None and clock.at_s >= stage.at_most_s:
        told = words.limit_passed(stage.at_most_s, clock.at_s - stage.at_most_s, following, state.vessel)
        return Hands("NOW", "", told, ", and tap", f"{format_duration(float(int(clock.at_s)))} in {stage.name}{latest}", alarm=True)
    if clock.over:
        if stage.at_most_s is None:
            return Hands(format_duration(float(int(clock.at_s))), "the minimum is over:", "TAP", tap.removeprefix("tap"), "no limit")
        left_s = stage.at_most_s - clock.at_s
        told = latest.removeprefix(", ")
        return Hands(words.left(left_s), "to the limit; the minimum is over:", "TAP", tap.removeprefix("tap"), told, left_s=left_s)
    return Hands(
        words.left(clock.end_s - state.t_s),
        "to the minimum; then",
        "TAP",
        tap.removeprefix("tap"),
        f"from {clock.tell(clock.end_s)} on{latest}",
        left_s=clock.end_s - state.t_s,
    )
