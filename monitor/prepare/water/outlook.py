"""Whether a bath stays good enough for a recipe, and what to do if it does not.

Limits of a stage: its own band; for a steered stage the range of its rate law (temperature moves its end); for other develop
stages and other baths `monitor.prepare.water.bands`. Two standard deviations of the forecast must stay inside.
Tests: tests/prepare/water/test_forecast.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from monitor.core.recipe.kinds import Film
from monitor.core.recipe.values import Recipe, Stage
from monitor.core.text.degrees import degrees, difference, plain_difference
from monitor.core.text.doubt import two_sd
from monitor.core.text.quantities import format_duration, format_volume
from monitor.prepare.water.bands import band_words, bath_band_c, developer_band_c
from monitor.prepare.water.forecast import FittedBath
from monitor.prepare.water.season import LARGEST_BATH_ML
from monitor.prepare.water.tempering import HOT_WATER_CAUTION, SCALDS_C, temper

LEAST_TOLD_C = 0.1
"""No forecast is told as surer than this: the bath itself differs by as much from place to place (a choice)."""
WRAPPED = 2.0
"""By how much a lid and a towel lengthen a bath's time constant: common practice, no source."""
LARGEST_TIMES = 8.0
"""A bath that is more than so many times as large is not named: twice as long, wide and deep (a choice)."""
LOOK_S, STEP_S = 15.0, 5.0
"""How often the stages are checked, and the step of the liquid's path."""


@dataclass(frozen=True, slots=True)
class Bearing:
    """The limits of one stage, C, and their reason. `begin_s`, `end_s`: planned, after the first stage's begin."""

    stage: int
    name: str
    develops: bool
    begin_s: float
    end_s: float
    low_c: float
    high_c: float
    aim_c: float
    why: str


@dataclass(frozen=True, slots=True)
class Outlook:
    """Whether the bath lasts. `leaves_s`: seconds from the newest reading until it may first be outside; None if it never is.

    `begin_c`, `end_c`: expected in the bath when the developer begins and ends. `needed_tau_s`: a time constant that would be
    long enough; None if none is (the bath is outside already).
    """

    lasts: bool
    leaves_s: float | None
    bearing: Bearing | None
    begin_c: float
    end_c: float
    end_sd_c: float
    needed_tau_s: float | None


def bearings(recipe: Recipe) -> list[Bearing]:
    """The limits of every stage after loading; other baths are measured against the first develop stage."""
    develop = next((s for s in recipe.stages if s.role == "develop"), None)
    out: list[Bearing] = []
    begin = 0.0
    for stage in recipe.stages:
        end = begin + stage.target_ref_s
        limits = _limits(stage, develop, recipe.film)
        if limits is not None:
            low, high, why = limits
            out.append(Bearing(stage.number, stage.name, stage.role == "develop", begin, end, low, high, _aim(stage, develop), why))
        begin = end
    return out


def _aim(stage: Stage, develop: Stage | None) -> float:
    return develop.reference_c if develop is not None and stage.role != "develop" else stage.reference_c


def _limits(stage: Stage, develop: Stage | None, film: Film) -> tuple[float, float, str] | None:
    if stage.role in ("load", "hold"):
        return None
    if stage.band_c is not None:
        return stage.reference_c - stage.band_c, stage.reference_c + stage.band_c, "its own band"
    if stage.role == "develop":
        if stage.steer and stage.law is not None:
            return (*stage.law.valid_c, "the range of its data; inside it temperature moves the end")
        within = developer_band_c(film)
        why = f"within {plain_difference(within)}: temperature does not move its end"
        return stage.reference_c - within, stage.reference_c + within, why
    if develop is None:
        return None
    within = bath_band_c(stage.role)
    return develop.reference_c - within, develop.reference_c + within, f"within {difference(within, '.0f')} of the developer"


def outlook(bath: FittedBath, recipe: Recipe, starts_in_s: float = 0.0, vessel_lag_s: float | None = None) -> Outlook:
    """Follow the bath through the recipe, begun `starts_in_s` after the newest reading.

    `vessel_lag_s`: the developer's vessel follows the bath with this lag, starting at the bath's temperature; without it the bath
    is taken for the developer.
    """
    steps = bearings(recipe)
    origin = bath.origin_s + starts_in_s
    developer, water = _Liquid(bath, origin, vessel_lag_s), _Liquid(bath, origin, None)
    outside: tuple[float, Bearing] | None = None
    for bearing in steps:
        marks = _marks(bearing.begin_s, bearing.end_s)
        for mark in marks:
            celsius, sd = (developer if bearing.develops else water).at(mark)
            if celsius - two_sd(sd) < bearing.low_c or celsius + two_sd(sd) > bearing.high_c:
                outside = outside or (mark, bearing)
                break
    first = next((b for b in steps if b.develops), steps[0] if steps else None)
    if first is None:
        now = bath.at(origin)
        return Outlook(True, None, None, now.celsius, now.celsius, now.sd_c, None)
    begin, end = bath.at(origin + first.begin_s), bath.at(origin + first.end_s)
    if outside is None:
        return Outlook(True, None, None, begin.celsius, end.celsius, end.sd_c, None)
    mark, bearing = outside
    return Outlook(False, starts_in_s + mark, bearing, begin.celsius, end.celsius, end.sd_c, needed_tau(bath, bearing, starts_in_s))


def _marks(begin_s: float, end_s: float) -> list[float]:
    count = max(1, math.ceil((end_s - begin_s) / LOOK_S))
    return [begin_s + (end_s - begin_s) * k / count for k in range(count + 1)]


class _Liquid:
    """The developer behind its bath: first order, from the bath's temperature at the begin, in steps of `STEP_S`; or the bath itself."""

    def __init__(self, bath: FittedBath, origin_s: float, lag_s: float | None) -> None:
        self._bath, self._origin_s, self._lag_s = bath, origin_s, lag_s
        self._path = [bath.at(origin_s).celsius]

    def at(self, mark_s: float) -> tuple[float, float]:
        """(Celsius, standard deviation) `mark_s` after the begin."""
        ahead = self._bath.at(self._origin_s + mark_s)
        if not self._lag_s:
            return ahead.celsius, ahead.sd_c
        steps = round(mark_s / STEP_S)
        share = 1.0 - math.exp(-STEP_S / self._lag_s)
        while len(self._path) <= steps:
            middle_s = self._origin_s + (len(self._path) - 0.5) * STEP_S
            self._path.append(self._path[-1] + share * (self._bath.at(middle_s).celsius - self._path[-1]))
        return self._path[steps], ahead.sd_c


def needed_tau(bath: FittedBath, bearing: Bearing, starts_in_s: float = 0.0) -> float | None:
    """Time constant with which the bath, as it is now, would stay inside until the stage's end; None if it is outside already."""
    now = bath.at(bath.origin_s).celsius
    room = bath.room_c
    edge = bearing.low_c if room < now else bearing.high_c
    if (edge - now) * (room - now) <= 0 or abs(edge - now) >= abs(room - now):
        return None
    return -(starts_in_s + bearing.end_s) / math.log(1.0 - (edge - now) / (room - now))


def advice(bath: FittedBath, view: Outlook, bath_ml: float | None, second_c: float | None) -> list[str]:
    """What to do if it will not last, with amounts: water now, insulation, a larger bath."""
    if view.lasts or view.bearing is None:
        return []
    now = bath.at(bath.origin_s).celsius
    lines = []
    target_c = view.bearing.aim_c
    mean_c = 0.5 * (view.begin_c + view.end_c)
    want = now + target_c - mean_c
    other = second_c if second_c is not None else (60.0 if want > now else 5.0)
    if abs(want - now) >= 0.05 and min(now, other) < want < max(now, other):
        amount = temper(bath_ml or 1000.0, now, want, other)
        whole = "" if bath_ml is not None else " for each litre of bath"
        lines.append(
            f"water now: add {format_volume(amount.add_ml)} of {degrees(other, '.0f')}{whole} "
            f"(or swap {format_volume(amount.swap_ml)}): "
            f"the bath starts at {degrees(want)} and is at {degrees(target_c)} half-way through the stage; "
            f"two thirds first, stir, measure"
        )
        if other >= SCALDS_C:
            lines.append(f"caution: {HOT_WATER_CAUTION}")
    if view.needed_tau_s is not None and view.needed_tau_s > bath.tau_s:
        lines += _slower(bath, view.needed_tau_s / bath.tau_s, now, bath_ml)
    return lines


def _slower(bath: FittedBath, ratio: float, now_c: float, bath_ml: float | None) -> list[str]:
    """What makes it drift `ratio` times more slowly, as far as a lid, a towel or a vessel can; else what holds it."""
    needs = f"its time constant is about {about(bath.tau_s)}, and {ratio:.1f} times as much would last"
    wrapped = (
        f"cover it and wrap it in a towel, which often doubles its time constant (common practice, measure): {needs}"
        if ratio <= WRAPPED
        else f"a lid and a towel alone will not do, they often double its time constant (common practice): {needs}"
    )
    if ratio**3 <= LARGEST_TIMES and (bath_ml is None or bath_ml * ratio**3 <= LARGEST_BATH_ML):
        volume = "" if bath_ml is None else f", here {format_volume(bath_ml * ratio**3)}"
        larger = f"or a larger bath: {ratio**3:.1f} times the water in a vessel of the same shape{volume}, or one {ratio:.1f} times as deep"
        return [wrapped, larger]
    if bath.room_c < now_c:
        return [wrapped, "what holds it: a circulating heater, on a residual-current device; or hot water, a little and often"]
    return [wrapped, "what holds it: a cooler room, or cold water and ice a little at a time; a heater only warms"]


def about(seconds: float) -> str:
    """A time constant as far as it is known: minutes, from three hours on whole hours."""
    return f"{seconds / 3600.0:.0f} h" if seconds >= 3.0 * 3600.0 else f"{seconds / 60.0:.0f} min"


def outlook_lines(view: Outlook, vessel_known: bool) -> list[str]:
    """The answer in words."""
    expected = (
        f"while developing the bath goes from {degrees(view.begin_c)} to {degrees(view.end_c)} "
        f"+/- {difference(max(two_sd(view.end_sd_c), LEAST_TOLD_C))} (forecast)"
    )
    lines = [expected]
    if view.lasts:
        lines.append("it lasts the session")
    elif view.bearing is not None and view.leaves_s is not None:
        b = view.bearing
        when = "as it is now" if view.leaves_s < 1.0 else f"{format_duration(view.leaves_s)} from now"
        wanted = band_words(b.low_c, b.high_c)
        lines.append(f"it may not last: {when} it may be outside {wanted}, for {b.name} ({b.why})")
    if not vessel_known:
        lines.append("the bath is not the developer: with a learned lag (--vessel) the developer's own temperature is forecast")
    return lines
