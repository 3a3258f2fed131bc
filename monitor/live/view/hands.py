"""The next thing for the hands, in words, from what a view knows. Times are those of the stage's own clock. Pure.

It says what the session has decided; it decides nothing. Tests: tests/live/view/test_screen.py.
"""

from __future__ import annotations

from collections.abc import Sequence

from monitor.core.journal.snapshot import Snapshot
from monitor.core.recipe.values import Burst, Stage
from monitor.core.session.agitation import QUIET_S
from monitor.core.text.quantities import format_duration
from monitor.live.view import words
from monitor.live.view.state import ViewState


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


def hands(state: ViewState) -> list[tuple[str, str]]:
    """What comes next, the nearest first: label and words."""
    seen, stage, following = state.seen, state.stage, state.following
    if state.closed is not None:
        return [("next", f"nothing: {state.closed}")]
    if stage is None:
        return _before(seen, state.stages[(seen.waits_for or 1) - 1])
    then = "the last stage is over" if following is None else words.next_pour(following)
    lines: list[tuple[str, str]] = []
    if seen.unconfirmed:
        lines.append(("next", f"{stage.name.upper()} not told: TAP as it goes in, HOLD if it went in on time"))
    if seen.began_s is None or seen.end_t_s is None:
        return lines
    if stage.has_no_clock:
        return [*lines, ("next", "load the film; lid on: hold the switch for a full second"), ("then", then)]
    clock = _StageClock(state.t_s, seen.began_s, seen.end_t_s)
    if stage.role == "load":
        wait = "" if clock.began_s + clock.at_s >= clock.end_s else f", not before {clock.tell(clock.end_s)}"
        return [*lines, ("next", f"load the film; lid on: hold the switch for a full second{wait}"), ("then", then)]
    timed = _timed if seen.until == "time" else _at_least
    lines += timed(seen, stage, clock, then, following is None)
    if following is not None and following.gate is not None and seen.gate == "withheld":
        lines.append(("gate", f"the start of {following.name.upper()} is withheld until {_gate(following)}"))
    return lines


def last_word(state: ViewState) -> str:
    """What was settled or forecast for the hands when the station was last heard, for a second clock; empty where nothing was.

    A second clock runs from the first pour, so the stage's begin is told on it as far as it is known.
    """
    seen, stage, following = state.seen, state.stage, state.following
    if stage is None or seen.began_s is None or seen.end_t_s is None or stage.has_no_clock or state.closed is not None:
        return ""
    then = "the last stage is over" if following is None else words.next_pour(following)
    clock = _StageClock(state.t_s, seen.began_s, seen.end_t_s)
    begun = f" after {stage.name.upper()} began"
    first = next(s for s in state.stages if not s.has_no_clock)
    if stage != first and state.begins and state.begins[0][1] == first.name:  # else this view came too late to see it
        begun += f" ({format_duration(seen.began_s - state.begins[0][0])} after the first pour)"
    if seen.until != "time":
        return f"from {clock.tell(seen.end_t_s)}{begun}: {then}"
    now_s = seen.end_t_s - stage.drain_s if seen.now_s is None else seen.now_s
    about = "" if seen.frozen or not seen.steered else "about "
    off = "pour off" if seen.sheet is None else f"lift sheet {seen.sheet}"
    return f"{off} at {about}{clock.tell(now_s)}{begun}; {then}"


class _StageClock:
    """The stage's own clock, which reads `at_s` now. `end_s`: the stage's end, session time."""

    def __init__(self, t_s: float, began_s: float, end_s: float) -> None:
        self.began_s = began_s
        self.end_s = end_s
        self.at_s = t_s - began_s

    def tell(self, t_s: float) -> str:
        """A session time on this clock."""
        return format_duration(t_s - self.began_s)


def _before(seen: Snapshot, stage: Stage) -> list[tuple[str, str]]:
    """Nothing runs: this stage waits for its begin."""
    if seen.gate == "withheld":
        return [("next", f"wait: the start is withheld until {_gate(stage)}"), ("then", f"begin {words.next_pour(stage)}")]
    what = "load the film" if stage.role == "load" else "pour"
    return [("next", f"hold the switch for a full second and {what}"), ("then", words.next_pour(stage))]


def _gate(stage: Stage) -> str:
    assert stage.gate is not None
    return f"the developer has been within {stage.gate.band_c:g} C of {stage.reference_c:g} C for {format_duration(stage.gate.for_s)}"


def _movement(stage: Stage, clock: _StageClock, now_s: float | None) -> str | None:
    if stage.continuous:
        return "agitate all the time"
    comes = next_movement(stage.agitation, clock.at_s, now_s)
    if comes is None:
        return None
    if comes[0] <= clock.at_s:
        return f"AGITATE until {format_duration(comes[1])}"
    return f"agitate at {format_duration(comes[0])}, for {format_duration(comes[1] - comes[0])}"


def _timed(seen: Snapshot, stage: Stage, clock: _StageClock, then: str, last: bool) -> list[tuple[str, str]]:
    now_s = clock.end_s - stage.drain_s if seen.now_s is None else seen.now_s
    off = "pour off" if seen.sheet is None else f"lift sheet {seen.sheet}"
    if clock.began_s + clock.at_s >= now_s:
        return [("NOW", f"{off.upper()}; then {then}" + ("" if last else ", and tap"))]
    if seen.frozen:
        wait_s = max(0.0, now_s - clock.began_s - clock.at_s)
        return [("READY", f"{off} at {clock.tell(now_s)}, in {words.left(wait_s)}"), ("then", then)]
    moves = _movement(stage, clock, now_s - clock.began_s)
    about = "about " if seen.steered else ""
    return [("next", moves or "nothing: let it stand"), ("then", f"{off} at {about}{clock.tell(now_s)}; {then}")]


def _at_least(_: Snapshot, stage: Stage, clock: _StageClock, then: str, last: bool) -> list[tuple[str, str]]:
    latest = "" if stage.at_most_s is None else f", {format_duration(stage.at_most_s)} at most"
    tap = "tap to end" if last else f"tap when you pour {then}"
    if clock.began_s + clock.at_s >= clock.end_s:
        return [("next", f"the minimum is over{latest}: {tap}")]
    moves = _movement(stage, clock, None)
    return [("next", moves or "nothing: let it stand"), ("then", f"from {clock.tell(clock.end_s)} on{latest}: {tap}")]
