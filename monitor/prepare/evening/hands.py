"""The moments of an evening that need hands, each with how long they are busy: pouring, pouring off, turning, sheets. Pure.

The end of every stage is one of them: there the next bath goes in. Pouring off has its own, from NOW to the end; where a stage ends
by a tap after its minimum, pouring off follows the minimum, and that moment may wait. A drum rolls by itself.
Tests: tests/prepare/evening/test_hands.py.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice, pairwise

from monitor.core.errors import InputWrong
from monitor.core.recipe.values import Stage
from monitor.core.session.agitation import Pace
from monitor.core.session.clashes import POURING_S
from monitor.prepare.evening.timeline import FilmTime, Moves, StageTime

SHEET_S = 5.0
"""One sheet under the surface, or out and over into the next tray: common practice, no source."""
MOST_MOMENTS = 5000
"""Two tanks turned every minute of a whole day have fewer; more would only keep the machine busy (own choice)."""
IF_LONGER = ", if it lasts longer"
DONE_S = 15.0
"""The last bath out and the film taken over: as long as a pour (own choice)."""


@dataclass(frozen=True, slots=True)
class Moment:
    """Hands are needed for `busy_s` from `t_s` on, seconds after the evening's first begin, for film `film` (its number).

    `may_wait`: nothing is lost if it comes a little later. `moves`: the steered stages that it waits for. `if_longer`: it comes only if
    its stage lasts longer than planned.
    """

    t_s: float
    film: int
    what: str
    busy_s: float
    stage: int
    may_wait: bool
    moves: Moves
    if_longer: bool = False


def if_longer(films: Sequence[FilmTime]) -> tuple[Moment, ...]:
    """Turns that are wanted only if a steered stage lasts longer, up to the drift that is allowed for. Not part of the plan itself."""
    return tuple(moment for film in films for at in film.stages if at.longer_s > 0.0 for moment in _more_turning(film, at))


def _more_turning(film: FilmTime, at: StageTime) -> Iterator[Moment]:
    stage = at.stage
    if film.recipe.vessel == "drum" or stage.continuous or film.recipe.sheets is not None:
        return
    now_s = at.end_s - at.begin_s - min(stage.drain_s, at.end_s - at.begin_s)
    planned = dict(bursts(stage, now_s))
    for from_s, to_s in bursts(stage, now_s + at.longer_s):
        if from_s > 0 and to_s > planned.get(from_s, from_s):
            what = f"{stage.name}: agitate{IF_LONGER}"
            yield Moment(at.begin_s + from_s, film.film.number, what, to_s - from_s, stage.number, False, at.begins_with, True)


def moments(films: Sequence[FilmTime]) -> tuple[Moment, ...]:
    """Every moment that needs hands, in the order of time. Raises `InputWrong` for more of them than `MOST_MOMENTS`."""
    found = list(islice((moment for film in films for moment in _of_film(film)), MOST_MOMENTS + 1))
    if len(found) > MOST_MOMENTS:
        raise InputWrong(f"more than {MOST_MOMENTS} moments need hands; allowed: an evening that one person can do in a night")
    return tuple(sorted(found, key=lambda m: (m.t_s, m.film, m.stage)))


def _of_film(film: FilmTime) -> Iterator[Moment]:
    number, first = film.film.number, film.stages[0]
    if first.stage.role != "load":
        yield Moment(first.begin_s, number, f"{_bath(first.stage)} in", _pour_s(film, first), 1, False, first.begins_with)
    for at, after in pairwise([*film.stages, None]):
        if at is not None:
            yield from _of_stage(film, at, after)


def _of_stage(film: FilmTime, at: StageTime, after: StageTime | None) -> Iterator[Moment]:
    number, stage = film.film.number, at.stage
    timed = stage.until == "time"
    drain_s = 0.0 if stage.role == "load" else min(stage.drain_s, at.end_s - at.begin_s)
    now_s = at.end_s - drain_s if timed else at.end_s
    if stage.role == "load":
        if at.end_s > at.begin_s:
            yield Moment(at.begin_s, number, f"{stage.name}: load", at.end_s - at.begin_s, stage.number, False, at.begins_with)
    elif film.recipe.sheets is not None and stage.role == "develop":
        yield from _sheets(film, at)
    else:
        yield from _turning(film, at, now_s)
        if timed and drain_s > 0:
            yield Moment(now_s, number, f"{stage.name}: pour off", drain_s, stage.number, False, at.ends_with)
    off_s = 0.0 if timed else drain_s
    if after is None:
        yield Moment(at.end_s, number, f"{stage.name} ends: film out", off_s + DONE_S, stage.number, not timed, at.ends_with)
    else:
        what = f"{stage.name} ends: {_bath(after.stage)} in"
        yield Moment(at.end_s, number, what, off_s + _pour_s(film, after), stage.number, not timed, at.ends_with)


def _turning(film: FilmTime, at: StageTime, now_s: float) -> Iterator[Moment]:
    """The agitation after the first burst, which belongs to pouring in. A bath that may last longer may be moved a little later."""
    stage, number = at.stage, film.film.number
    if film.recipe.vessel == "drum":
        return
    if stage.continuous:
        if now_s > at.begin_s:
            yield Moment(at.begin_s, number, f"{stage.name}: keep it moving", now_s - at.begin_s, stage.number, False, at.begins_with)
        return
    for from_s, to_s in bursts(stage, now_s - at.begin_s):
        if from_s > 0:
            may_wait = stage.until == "at least"
            yield Moment(at.begin_s + from_s, number, f"{stage.name}: agitate", to_s - from_s, stage.number, may_wait, at.begins_with)


def bursts(stage: Stage, until_s: float) -> list[tuple[float, float]]:
    """When the hands move in a stage that is left `until_s` after its begin, as (from, to) seconds after it: what the ticks will say."""
    pace, after_s = Pace(stage.agitation), 0.0
    found: list[tuple[float, float]] = []
    left_s = until_s if stage.until == "time" else None
    while (tick := pace.next_tick(after_s, left_s)) is not None and tick.after_begin_s < until_s:
        after_s = tick.after_begin_s
        if found and after_s <= found[-1][1] + 1e-9:
            found[-1] = (found[-1][0], min(after_s + 1.0, until_s))
        else:
            found.append((after_s if after_s > 1.0 else 0.0, min(after_s + 1.0, until_s)))
    return found


def _sheets(film: FilmTime, at: StageTime) -> Iterator[Moment]:
    """Sheets going in, shuffled, and each one out into the next bath."""
    sheets, number, stage = film.recipe.sheets, film.film.number, at.stage
    if sheets is None:
        return
    exits = sorted(film.recipe.sheet_exits_s)
    leaves_s = exits[0] - stage.drain_s
    yield Moment(at.begin_s, number, f"{stage.name}: shuffle {sheets.count} sheets", leaves_s, stage.number, False, at.begins_with)
    for exit_s in exits:
        out_s, busy_s = at.begin_s + exit_s - stage.drain_s, stage.drain_s + SHEET_S
        yield Moment(out_s, number, f"{stage.name}: a sheet out", busy_s, stage.number, False, at.ends_with)


def _pour_s(film: FilmTime, into: StageTime) -> float:
    """How long pouring this bath in keeps the hands, with the agitation that begins with it."""
    stage = into.stage
    if film.recipe.sheets is not None:
        entering_s = (film.recipe.sheets.count - 1) * film.recipe.sheets.interval_s
        return SHEET_S + (entering_s if stage.role == "develop" else 0.0)
    pour_s = 0.0 if stage.role == "load" else stage.fill_s or POURING_S
    if film.recipe.vessel == "drum" or stage.continuous:
        return pour_s
    burst = next((to_s for from_s, to_s in bursts(stage, max(0.0, into.end_s - into.begin_s - stage.drain_s)) if from_s <= 0), 0.0)
    return max(pour_s, burst)


def _bath(stage: Stage) -> str:
    return stage.name if stage.solution is None or stage.solution == stage.name else f"{stage.name} ({stage.solution})"
