"""The next thing for the hands, in words, from what a view knows. Times are those of the stage's own clock. Pure.

It says what the session has decided; it decides nothing. Tests: tests/live/view/test_screen.py.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from monitor.core.session.agitation import QUIET_S
from monitor.core.text.quantities import format_duration
from monitor.live.view import words

Burst = tuple[float | None, float | None, float]


def next_movement(bursts: Sequence[Burst], after_s: float, now_s: float | None) -> tuple[float, float] | None:
    """Begin and end, seconds after the stage's begin, of the movement that goes on at `after_s` or comes next.

    `now_s`: when NOW is expected, seconds after the begin. What would run into the last half minute before it is left out.
    """
    found = []
    for from_s, every_s, for_s in bursts:
        start_s = from_s or 0.0
        if every_s is not None:
            start_s = max(1.0, (after_s - for_s) // every_s + 1.0) * every_s
        if start_s + for_s <= after_s:
            continue
        if now_s is not None and start_s >= 1.0 and start_s + for_s > now_s - QUIET_S:
            continue
        found.append((start_s, start_s + for_s))
    return min(found, default=None)


def hands(state: Mapping[str, Any]) -> list[tuple[str, str]]:
    """What comes next, the nearest first: label and words."""
    seen, stages, t_s = state["seen"], state["stages"], state["t_s"]
    if state["closed"] is not None:
        return [("next", f"nothing: {state['closed']}")]
    if seen["stage"] is None:
        return _before(seen, stages)
    stage = stages[seen["stage"] - 1]
    following = stages[seen["stage"]] if seen["stage"] < len(stages) else None
    then = "the last stage is over" if following is None else words.next_pour(following)
    lines: list[tuple[str, str]] = []
    if seen.get("unconfirmed"):
        lines.append(("next", f"TAP when {stage['name'].upper()} is in: its begin was only assumed"))
    if seen["began_s"] is None or seen.get("end_t_s") is None:
        return lines
    if words.untimed_load(stage):
        return [*lines, ("next", f"load the film; {'tap to end' if following is None else f'tap when you pour {then}'}")]
    clock = _Clock(t_s, seen["began_s"])
    timed = _timed if seen["until"] == "time" else _at_least
    lines += timed(seen, stage, clock, then, following is None)
    if following is not None and following["gate"] is not None and seen["gate"] == "withheld":
        lines.append(("gate", f"the start of {following['name'].upper()} is withheld until {_gate(following)}"))
    return lines


class _Clock:
    """The stage's own clock, which reads `at_s` now."""

    def __init__(self, t_s: float, began_s: float) -> None:
        self.began_s = began_s
        self.at_s = t_s - began_s

    def tell(self, t_s: float) -> str:
        """A session time on this clock."""
        return format_duration(t_s - self.began_s)


def _before(seen: Mapping[str, Any], stages: Sequence[Mapping[str, Any]]) -> list[tuple[str, str]]:
    first = stages[0]
    if seen["gate"] == "withheld":
        return [("next", f"wait: the start is withheld until {_gate(first)}"), ("then", f"begin {words.next_pour(first)}")]
    return [("next", "hold the switch for a full second and pour"), ("then", words.next_pour(first))]


def _gate(stage: Mapping[str, Any]) -> str:
    reference_c, band_c, for_s = stage["gate"]
    return f"the developer has been within {band_c:g} C of {reference_c:g} C for {format_duration(for_s)}"


def _movement(stage: Mapping[str, Any], clock: _Clock, now_s: float | None) -> str | None:
    if stage["continuous"]:
        return "agitate all the time"
    comes = next_movement(stage["agitation"], clock.at_s, now_s)
    if comes is None:
        return None
    if comes[0] <= clock.at_s:
        return f"AGITATE until {format_duration(comes[1])}"
    return f"agitate at {format_duration(comes[0])}, for {format_duration(comes[1] - comes[0])}"


def _timed(seen: Mapping[str, Any], stage: Mapping[str, Any], clock: _Clock, then: str, last: bool) -> list[tuple[str, str]]:
    now_s = seen.get("now_s")
    if now_s is None:
        now_s = seen["end_t_s"] - stage["drain_s"]
    off = "pour off" if seen.get("sheet") is None else f"lift sheet {seen['sheet']}"
    if clock.began_s + clock.at_s >= now_s:
        return [("NOW", f"{off.upper()}; then {then}" + ("" if last else ", and tap"))]
    if seen.get("frozen"):
        wait_s = max(0.0, now_s - clock.began_s - clock.at_s)
        return [("READY", f"{off} at {clock.tell(now_s)}, in {words.left(wait_s)}"), ("then", then)]
    moves = _movement(stage, clock, now_s - clock.began_s)
    about = "about " if seen["steered"] else ""
    return [("next", moves or "nothing: let it stand"), ("then", f"{off} at {about}{clock.tell(now_s)}; {then}")]


def _at_least(seen: Mapping[str, Any], stage: Mapping[str, Any], clock: _Clock, then: str, last: bool) -> list[tuple[str, str]]:
    latest = "" if stage["at_most_s"] is None else f", {format_duration(stage['at_most_s'])} at most"
    tap = "tap to end" if last else f"tap when you pour {then}"
    if clock.began_s + clock.at_s >= seen["end_t_s"]:
        return [("next", f"the minimum is over{latest}: {tap}")]
    moves = _movement(stage, clock, None)
    return [("next", moves or "nothing: let it stand"), ("then", f"from {clock.tell(seen['end_t_s'])} on{latest}: {tap}")]
