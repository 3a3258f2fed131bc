"""Where two films of an evening need the hands at once, now or within the drift that is allowed for, and what clears it. Pure.

Contract, section 11: two moments of different films clash when their busy spans overlap, or would if any steered stage ended 5 % sooner or
later. Stages may drift together or against each other, by anything up to that, so that what a plan calls free stays free within the bound.
Two moments that wait for the same stage move together, and a stage that lasts longer may want to be moved once more (`hands.if_longer`).
Tests: tests/prepare/evening/test_clashes.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from monitor.core.evening.values import Evening
from monitor.prepare.evening.hands import Moment
from monitor.prepare.evening.timeline import DRIFT, FilmTime, later

MOST_SHIFT_S = 1800.0
"""A later start is looked for within half an hour (contract, section 11)."""
TOUCH_S = 1e-6
"""Two spans that overlap by less than this only touch."""


@dataclass(frozen=True, slots=True)
class Clash:
    """Two moments of different films, the earlier one first. `overlap_s`: as planned, 0 where only drift brings them together."""

    first: Moment
    second: Moment
    overlap_s: float

    @property
    def may_wait(self) -> bool:
        """Whether nothing is lost if one of the two comes a little later."""
        return self.first.may_wait or self.second.may_wait


@dataclass(frozen=True, slots=True)
class Shift:
    """Film `film` begins `shift_s` later, and all clashes are gone."""

    film: int
    shift_s: float


def drift_s(one: Moment, other: Moment) -> float:
    """By how much the two can move against each other, seconds."""
    stages = one.moves.keys() | other.moves.keys()
    return DRIFT * sum(abs(one.moves.get(stage, 0.0) - other.moves.get(stage, 0.0)) for stage in stages)


def _overlap_s(one: Moment, other: Moment) -> float:
    """By how much the spans overlap as planned; negative: so far apart."""
    return min(one.t_s + one.busy_s, other.t_s + other.busy_s) - max(one.t_s, other.t_s)


def clashes(moments: Sequence[Moment]) -> tuple[Clash, ...]:
    """Every clash, in the order of its first moment."""
    ordered = sorted(moments, key=lambda m: (m.t_s, m.film))
    widest_s = 2.0 * DRIFT * max((sum(m.moves.values()) for m in ordered), default=0.0)
    found: list[Clash] = []
    for i, one in enumerate(ordered):
        for other in ordered[i + 1 :]:
            if other.t_s > one.t_s + one.busy_s + widest_s:
                break
            if other.film == one.film:
                continue
            overlap_s = _overlap_s(one, other)
            if overlap_s + drift_s(one, other) > TOUCH_S and one.busy_s > 0 and other.busy_s > 0:
                found.append(Clash(one, other, 0.0 if one.if_longer or other.if_longer else max(0.0, overlap_s)))
    return tuple(found)


def shift_for(evening: Evening, films: Sequence[FilmTime], moments: Sequence[Moment], found: Sequence[Clash]) -> Shift | None:
    """The smallest later start of the later film of the first clash that clears all of them; None if there is none within half an hour.

    In whole seconds, as a start is written in a file. The films that wait for it begin later too.
    """
    if not found:
        return None
    starts = {film.film.number: film.start_s for film in films}
    pair = (found[0].first.film, found[0].second.film)
    mover = max(pair, key=lambda number: (starts[number], number))
    moved = later(films, evening, mover)
    going = [m for m in moments if m.film in moved and m.busy_s > 0]
    staying = [m for m in moments if m.film not in moved and m.busy_s > 0]
    if clashes(going) or clashes(staying):
        return None
    wrong = sorted(in_the_way_s(one, other) for one in going for other in staying)
    shift_s = 0.0
    for low_s, high_s in wrong:
        if low_s >= shift_s - TOUCH_S:
            break
        if high_s > shift_s + TOUCH_S:
            shift_s = float(math.ceil(high_s - TOUCH_S))
    if shift_s > MOST_SHIFT_S or not _vessels_free(films, moved, shift_s):
        return None
    return Shift(mover, shift_s)


def in_the_way_s(going: Moment, staying: Moment) -> tuple[float, float]:
    """The shifts of the one, from and to, that would bring it into the other."""
    apart_s, drift = staying.t_s - going.t_s, drift_s(going, staying)
    return apart_s - going.busy_s - drift, apart_s + staying.busy_s + drift


def _vessels_free(films: Sequence[FilmTime], moved: frozenset[int], shift_s: float) -> bool:
    """Whether no film that stays would then begin in a vessel that a moved one is still in."""
    for i, film in enumerate(films):
        after = [other for other in films[i + 1 :] if other.film.vessel == film.film.vessel and other.film.number not in moved]
        if film.film.number in moved and any(other.start_s < film.end_s + shift_s for other in after):
            return False
    return True
