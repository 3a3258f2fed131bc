"""Whose temperature counts and how old that is, in clauses: for whoever shows a session. Pure. Tests: tests/live/view/test_screen.py."""

from __future__ import annotations

from collections.abc import Iterable

from monitor.core.journal.words import OUTSIDE_DATA
from monitor.core.probes.learned import NOT_COMPARED_SD_C
from monitor.core.probes.readings import IN_PART
from monitor.core.text.degrees import in_unit_shown
from monitor.core.text.quantities import format_duration
from monitor.live.view import words
from monitor.live.view.state import KnownProbe, LastReading, ViewState


def of_role(state: ViewState, role: str) -> tuple[str, LastReading, float] | None:
    """Name, last reading and standard uncertainty of the first probe with this role."""
    for name, told in state.readings.items():
        if told.role == role:
            return name, told, state.probes.get(name, KnownProbe(told.role, NOT_COMPARED_SD_C, False)).sd_c
    return None


def trust(state: ViewState) -> Iterable[str]:
    """Whose temperature counts, what was only estimated, and how old each word is: the most telling first."""
    seen = state.seen
    told_by_fault = {fault.about for fault in state.faults}
    if seen.outside_data is not None:
        yield f"{OUTSIDE_DATA}: {in_unit_shown(seen.outside_data)}"
    for probe, (why, since_s) in state.lost.items():
        yield f"{probe} NOT believed {_since(since_s, state)}" + ("" if probe in told_by_fault else f": {in_unit_shown(why)}")
    if state.exchanged is not None and state.develops:
        yield words.swapped(state.exchanged)
    for probe, (why, since_s) in state.doubts.items():
        if state.develops:
            yield words.in_doubt(probe, why, f" {_since(since_s, state)}")
    yield _source(state)
    if state.estimated_s >= 1.0:
        yield f"{format_duration(state.estimated_s)} of the development only estimated"
    yield words.limit(seen.compared, state.colour)
    for since_s, until_s in list(state.back.values())[-1:]:
        if not state.lost and seen.began_s is not None and since_s >= seen.began_s:
            yield f"not believed from {format_duration(since_s - seen.began_s)} to {format_duration(until_s - seen.began_s)}"
    for name, told in state.readings.items():
        if told.quality != "good" or told.role == "bath":
            bad = "" if told.quality == "good" else f"{words.QUALITIES.get(told.quality, told.quality)}, last good one "
            age = "never read" if told.celsius is None else words.age(max(0.0, state.t_s - told.t_s))
            yield f"{name} {bad}{age}"


def _source(state: ViewState) -> str:
    """Whose temperature counts, and how old that is."""
    seen = state.seen
    if seen.source == "clock":
        if seen.stage is None:
            return "nothing measures the developer yet"
        return "nothing measures the developer: by the clock alone" if seen.steered else "by the clock alone"
    told, age = words.source(seen.source, state.coupled_to), words.age(seen.developer_age_s)
    part = " in part" if any(why.startswith(IN_PART) for why, _ in state.doubts.values()) else ""
    return f"{told} believed{part}, {age}" if seen.source in ("developer", "witness") else f"{told}, own probe {age}"


def _since(since_s: float | None, state: ViewState) -> str:
    """Since when, on the stage's clock; where it was before the stage, for how long; where nobody saw it, only that it is so."""
    if since_s is None:
        return "when this view began"
    began_s = state.seen.began_s
    if began_s is not None and since_s >= began_s:
        return f"since {format_duration(since_s - began_s)}"
    return f"for {format_duration(state.t_s - since_s)} now"
