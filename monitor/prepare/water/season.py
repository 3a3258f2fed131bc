"""Before anything is mixed: can this recipe be held with this tap water in this room, and which temperature is best to plan for?

Decides the temperature to plan for within the recipe's data, the time there, and whether a bath keeps it. It measures nothing:
its bath is a rule of thumb until a forecast has measured the real one. Tests: tests/prepare/water/test_season.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from monitor.core.development.rate import Pairs, planned_time
from monitor.core.errors import InputWrong
from monitor.core.recipe.kinds import Film
from monitor.core.recipe.values import Recipe, Stage
from monitor.core.recipe.warnings import SHORTEST_DEVELOP_S
from monitor.core.text.degrees import degrees, difference
from monitor.core.text.quantities import format_duration, format_volume
from monitor.prepare.water.bands import USUAL_BAND_C, band_words, developer_band_c
from monitor.prepare.water.tempering import ice, temper

BOWL_ML, BOWL_TAU_S = 2500.0, 49 * 60.0
"""A 2.5 l bowl on a bench has a time constant of about 49 minutes (worked example of this project's practice, no source)."""
LARGEST_BATH_ML = 30_000.0
"""What a bench or a wash tub takes: a larger bath is not named as a way out (common practice, no source)."""
EDGE_C = 0.5
"""How far outside its data a stage may begin or end before the plan is rejected; the law is three times as uncertain there."""


@dataclass(frozen=True, slots=True)
class SeasonPlan:
    """One develop stage in this season. `drift_c`: how far the bath moves during it, signed. Amounts are for the bath, from the tap.
    `low_c`, `high_c`: where it may be planned; it may begin or end `slack_c` outside.

    `needed_tau_s`, `needed_bath_ml`: what would hold it; None if this bath does. `hot_ml`: at `hot_c`, the rest tap water.
    """

    stage: int
    name: str
    held: bool
    plan_c: float
    reference_c: float
    planned_s: float
    at_reference_s: float
    start_c: float
    end_c: float
    drift_c: float
    low_c: float
    high_c: float
    slack_c: float
    tau_s: float
    needed_tau_s: float | None
    needed_bath_ml: float | None
    ice_kg: float | None
    hot_ml: float | None
    hot_c: float
    source: Literal["pairs", "law", "first trace", "not steered"]
    too_short: bool


def usual_tau(bath_ml: float) -> float:
    """Time constant of an open bath of this volume, seconds: that of the 2.5 l bowl, scaled with the cube root of the volume."""
    if bath_ml <= 0:
        raise InputWrong(f"--bath: {bath_ml:g} ml is no bath; allowed: more than nothing")
    return BOWL_TAU_S * math.cbrt(bath_ml / BOWL_ML)


def plan_season(
    recipe: Recipe, tap_c: float, room_c: float, *, bath_ml: float, tau_s: float | None, hot_c: float = 60.0
) -> list[SeasonPlan]:
    """A plan for each develop stage. `tap_c`: the coldest tap water. Raises `InputWrong` for a recipe without one and impossible water."""
    for name, celsius, high in (("tap", tap_c, 60.0), ("room", room_c, 50.0)):
        if not -10.0 <= celsius <= high or (name == "tap" and celsius < 0.0):
            raise InputWrong(
                f"--{name}: {degrees(celsius, 'g')} is out of range; allowed: {degrees(0.0 if name == 'tap' else -10.0, '.0f')} "
                f"to {degrees(high, '.0f')}"
            )
    stages = [s for s in recipe.stages if s.role == "develop"]
    if not stages:
        raise InputWrong(f'recipe "{recipe.name}" has no develop stage; allowed: a recipe with one')
    tau = usual_tau(bath_ml) if tau_s is None else tau_s
    if not tau > 0:
        raise InputWrong("--tau: a time constant of zero; allowed: more than 0:00")
    return [_plan(stage, recipe.film, tap_c, room_c, bath_ml, tau, hot_c) for stage in stages]


def _time_at(stage: Stage, celsius: float) -> float:
    if stage.law is None or not stage.steer:
        return stage.target_ref_s
    return planned_time(stage.law, stage.target_ref_s, celsius)


def _drift(stage: Stage, celsius: float, room_c: float, tau_s: float) -> float:
    """How far a bath left alone moves during the stage, if its mean is `celsius`."""
    keep = math.exp(-_time_at(stage, celsius) / tau_s)
    start = room_c + (celsius - room_c) * 2.0 / (1.0 + keep)  # middle of start and end is `celsius`
    return (room_c - start) * (1.0 - keep)


def _plan(stage: Stage, film: Film, tap_c: float, room_c: float, bath_ml: float, tau_s: float, hot_c: float) -> SeasonPlan:
    steered = stage.steer and stage.law is not None
    if stage.law is not None and steered:
        low, high = stage.law.valid_c
        slack = EDGE_C
    else:
        band = stage.band_c if stage.band_c is not None else developer_band_c(film)
        low, high, slack = stage.reference_c - band, stage.reference_c + band, 0.0

    def held_at(celsius: float) -> bool:
        half = 0.5 * abs(_drift(stage, celsius, room_c, tau_s))
        return celsius - half >= low - slack and celsius + half <= high + slack

    plan_c = stage.reference_c
    if steered:
        coldest_c = stage.reference_c if stage.appearance_factor is None else low  # a print's first trace takes up a cold tray
        wish = min(max(tap_c, coldest_c), high)  # a tap colder than the reference is warmed; a warmer one is met half-way
        plan_c = wish if held_at(wish) else _nearest_held(held_at, low, high, wish)
        while plan_c > stage.reference_c and _time_at(stage, plan_c) < SHORTEST_DEVELOP_S <= stage.target_ref_s:
            plan_c = max(stage.reference_c, plan_c - 0.5)
    held = held_at(plan_c)
    drift = _drift(stage, plan_c, room_c, tau_s)
    needed = None if held else _needed_tau(stage, plan_c, room_c, low - slack, high + slack)
    time_s = _time_at(stage, plan_c)
    start_c = plan_c - 0.5 * drift
    chill = ice(bath_ml, tap_c, start_c).ice_kg if start_c < tap_c and start_c >= 0 else None
    warm = temper(bath_ml, tap_c, start_c, hot_c).swap_ml if tap_c < start_c < hot_c else None
    return SeasonPlan(
        stage=stage.number,
        name=stage.name,
        held=held,
        plan_c=plan_c,
        reference_c=stage.reference_c,
        planned_s=time_s,
        at_reference_s=stage.target_ref_s,
        start_c=start_c,
        end_c=plan_c + 0.5 * drift,
        drift_c=drift,
        low_c=low,
        high_c=high,
        slack_c=slack,
        tau_s=tau_s,
        needed_tau_s=needed,
        needed_bath_ml=None if needed is None else bath_ml * (needed / tau_s) ** 3,
        ice_kg=chill,
        hot_ml=warm,
        hot_c=hot_c,
        source=_source(stage, steered),
        too_short=time_s < SHORTEST_DEVELOP_S and film not in ("colour", "paper"),
    )


def _source(stage: Stage, steered: bool) -> Literal["pairs", "law", "first trace", "not steered"]:
    if not steered:
        return "not steered"
    if stage.appearance_factor is not None:
        return "first trace"
    return "pairs" if isinstance(stage.law, Pairs) else "law"


def _nearest_held(held_at: Callable[[float], bool], low: float, high: float, wish: float) -> float:
    """Of the temperatures in the range that can be held, in half degrees, the one nearest to the wish; the wish if none can be held."""
    marks = [low + 0.5 * k for k in range(int((high - low) / 0.5) + 1)]
    good = [m for m in marks if held_at(m)]
    return min(good, key=lambda m: abs(m - wish), default=wish)


def _needed_tau(stage: Stage, plan_c: float, room_c: float, low: float, high: float) -> float | None:
    """Time constant with which the stage would be held at `plan_c`, by bisection; None if not even 30 days would do."""
    room = min(plan_c - low, high - plan_c)
    if room <= 0:
        return None
    short, long = 60.0, 30 * 86400.0
    if 0.5 * abs(_drift(stage, plan_c, room_c, long)) > room:
        return None
    for _ in range(60):
        middle = math.sqrt(short * long)
        if 0.5 * abs(_drift(stage, plan_c, room_c, middle)) > room:
            short = middle
        else:
            long = middle
    return long


def _ways_out(plan: SeasonPlan, ratio: float, needed_bath_ml: float) -> list[str]:
    """What would hold the bath, the most practical first: a heater only warms, and no bath larger than a wash tub is named."""
    wrap = "a lid and towels round the bath" + (
        f", or about {format_volume(needed_bath_ml)} of water in a vessel of the same shape" if needed_bath_ml <= LARGEST_BATH_ML else ""
    )
    slower = f"without one it must drift {ratio:.1f} times more slowly: {wrap}"
    if plan.drift_c < 0:
        return [f"what holds it: a circulating heater, set to {degrees(plan.plan_c)}, on a residual-current device", slower]
    return [
        "what holds it: a cooler room, or cold water and ice into the bath a little at a time; a heater only warms",
        slower.replace("without one", "without that"),
    ]


def season_lines(plan: SeasonPlan, bath_ml: float, measured_tau: bool) -> list[str]:
    """The plan in words, verdict first."""
    by = {
        "pairs": "by your own pairs",
        "law": "by the recipe's rate",
        "first trace": "by its first trace",
        "not steered": "the time stays, temperature does not move it",
    }[plan.source]
    lines = []
    outside = not plan.low_c <= min(plan.start_c, plan.end_c) <= max(plan.start_c, plan.end_c) <= plan.high_c
    if plan.held and plan.source == "first trace":
        lines.append(
            f"{plan.name}: anything from {degrees(plan.low_c, 'g')} to {degrees(plan.high_c, 'g')} will do, "
            f"its first trace sets the time; plan at {degrees(plan.plan_c, 'g')}"
        )
    elif plan.held:
        lines.append(
            f"{plan.name}: plan at {degrees(plan.plan_c, '.0f' if plan.plan_c == int(plan.plan_c) else '.1f')} {by}: "
            f"{format_duration(plan.planned_s)} (at {degrees(plan.reference_c)} {format_duration(plan.at_reference_s)})"
            + "; it can be held here"
            + (", but part of it lies outside the recipe's data, where the rate is three times as uncertain" if outside else "")
        )
    else:
        lines.append(f"{plan.name}: cannot be held here at {degrees(plan.plan_c)} by this bath alone")
    slack = difference(plan.slack_c, ".1f")
    beyond = f": the recipe's data, and {slack} beyond at begin or end" if plan.slack_c else ""
    tau = f"time constant {format_duration(plan.tau_s)}, {'measured' if measured_tau else 'a rule of thumb for an open bath'}"
    lines.append(
        f"a bath of {format_volume(bath_ml)} ({tau}) moves {difference(plan.drift_c, '+.1f')} in "
        f"{format_duration(plan.planned_s)}: start it at "
        f"{degrees(plan.start_c)}, it ends at {degrees(plan.end_c)}; "
        f"allowed {band_words(plan.low_c - plan.slack_c, plan.high_c + plan.slack_c)}{beyond}"
    )
    if plan.needed_tau_s is not None and plan.needed_bath_ml is not None:
        lines += _ways_out(plan, plan.needed_tau_s / plan.tau_s, plan.needed_bath_ml)
    if plan.held and plan.source != "not steered" and abs(plan.drift_c) > 2 * USUAL_BAND_C:
        lines.append("with so much drift use a probe in the developer, a witness vessel or a learned lag: the bath alone is not enough")
    if plan.ice_kg is not None:
        lines.append(f"to get there from the tap: {plan.ice_kg:.2f} kg of melting ice in the bath")
    if plan.hot_ml is not None:
        lines.append(
            f"to get there from the tap: {format_volume(plan.hot_ml)} of the {format_volume(bath_ml)} from the kettle at "
            f"{degrees(plan.hot_c, '.0f')}"
        )
    if plan.too_short:
        lines.append("under 5:00: unevenness is likely (common practice)")
    return lines
