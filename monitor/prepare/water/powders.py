"""Making a solution from powder: the steps, and how long until it has cooled enough to be used. Pure.

Newton's law of cooling: the solution approaches the temperature around it with one time constant. Estimates of that
constant, if none was measured: in air, water of a compact cylinder (as high as wide) that gives off 12 W for each m2 and K over its whole
surface, still air and radiation together (from memory, not verified); in a water bath the usual lag of a bottle, larger
with the cube root of the volume. Both may well be off by a third, and the answer says so: measure before use.
The order of mixing: common practice, no source; the maker's sheet rules. Tests: tests/prepare/water/test_powders.py.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from monitor.core.errors import InputWrong
from monitor.core.text.degrees import degrees, in_unit_shown, plain_difference
from monitor.core.text.quantities import format_duration, format_volume
from monitor.prepare.water.tempering import BOTTLE_LAG_S, WATER_KJ_PER_L_C, mixed_c, warm_up_s

AIR_W_PER_M2_K = 12.0
SPREAD = 4.0 / 3.0
"""Earliest and latest: the time constant smaller or larger by this factor."""
FIRST_WATER = 0.75
"""Share of the water in which the powder is dissolved; the rest is added cold (common practice, no source)."""
SPOILS_AGENTS_C = 55.0
"""Hotter water spoils most developing agents (common practice, no source)."""

Surroundings = Literal["air", "bath"]


@dataclass(frozen=True, slots=True)
class CoolingTime:
    """From mixed to usable. Seconds, Celsius. `usable_after_s` counts from topping up; `measured`: the lag was given."""

    start_c: float
    around: Surroundings
    around_c: float
    want_c: float
    within_c: float
    lag_s: float
    measured: bool
    usable_after_s: float
    earliest_s: float
    latest_s: float


def cooling_lag_s(volume_ml: float, around: Surroundings) -> float:
    """Time constant of `volume_ml` (above 0) of solution standing in air or in a water bath, seconds."""
    if around == "bath":
        return BOTTLE_LAG_S * math.cbrt(volume_ml / 1000.0)
    width_m = math.cbrt(4.0 * volume_ml * 1e-6 / math.pi)
    surface_m2 = 1.5 * math.pi * width_m**2
    return volume_ml * WATER_KJ_PER_L_C / (AIR_W_PER_M2_K * surface_m2)


def cooling(
    volume_ml: float,
    dissolved_c: float,
    topped_up_c: float,
    want_c: float,
    around: Surroundings,
    around_c: float,
    *,
    within_c: float = 0.5,
    lag_s: float | None = None,
) -> CoolingTime:
    """How long until the solution, dissolved in three quarters of the water and topped up cold, is within `within_c` of `want_c`.

    Raises `InputWrong` if it never gets there.
    """
    if volume_ml < 1:
        raise InputWrong("less than a millilitre to mix; allowed: 1 ml and more")
    if within_c <= 0:
        raise InputWrong("within 0; allowed: above zero, such as 0.5 C")
    start_c = mixed_c(FIRST_WATER * volume_ml, dissolved_c, (1.0 - FIRST_WATER) * volume_ml, topped_up_c)
    constant_s = cooling_lag_s(volume_ml, around) if lag_s is None else lag_s
    after_s = _until_s(start_c, around_c, want_c, within_c, constant_s)
    spread = 1.0 if lag_s is not None else SPREAD
    return CoolingTime(
        start_c, around, around_c, want_c, within_c, constant_s, lag_s is not None, after_s, after_s / spread, after_s * spread
    )  # fmt: skip


def _until_s(start_c: float, around_c: float, want_c: float, within_c: float, lag_s: float) -> float:
    if abs(start_c - want_c) <= within_c:
        return 0.0
    edge_c = want_c + math.copysign(within_c, start_c - want_c)
    if (around_c - edge_c) * (start_c - edge_c) >= 0:
        raise InputWrong(
            f"at {degrees(around_c)} it never comes within {plain_difference(within_c)} of {degrees(want_c)}; "
            "allowed: colder surroundings (--bath), or a wider --within"
        )
    return warm_up_s(start_c, around_c, edge_c, lag_s)


def steps(volume_ml: float, dissolved_c: float) -> Iterator[str]:
    """The order of mixing, for any powder; the maker's sheet takes precedence."""
    first_ml = FIRST_WATER * volume_ml
    yield "Gloves, goggles, dust mask, window open; a jug, spoon and funnel used for nothing else; no food nearby."
    yield f"{format_volume(first_ml)} of water at {degrees(dissolved_c)}: three quarters of the whole."
    yield "Add the parts in the order of the sheet, A before B, slowly, into stirred water; dissolve each completely before the next."
    yield "With a formula of your own: a pinch of sulphite, metol, the rest of the sulphite, the other agents, alkali, bromide last."
    yield HYDROXIDE
    yield f"Top up with cold water to {format_volume(volume_ml)}; stir without making it foam."
    yield "Let it cool in a closed bottle; many stock solutions are best left overnight. Measure before use."
    yield "Label it at once: evenbath label. A full bottle keeps longer than a part-full one."
    yield in_unit_shown(CRYSTALS)


HYDROXIDE = (
    "A hydroxide is dissolved apart: slowly, into plenty of cold water, never into warm or hot, which can boil up; then poured into the "
    "rest. An acid goes into the water, never water into the acid."
)
"""Old chemists' rules, in every school book; no source named."""
CRYSTALS = "Crystals in the cold: warm the closed bottle in water at 40 C and shake until they are gone; never pour off above them."


def cooling_lines(result: CoolingTime) -> Iterator[str]:
    """When it can be used, and how far to trust that."""
    where = "standing in air" if result.around == "air" else "standing in a water bath"
    at = f"{where} at {degrees(result.around_c)}"
    yield f"After topping up it is at about {degrees(result.start_c)}."
    if result.usable_after_s == 0:
        yield f"It is within {plain_difference(result.within_c)} of {degrees(result.want_c)} at once: measure it."
        return
    near = f"within {plain_difference(result.within_c)} of {degrees(result.want_c)}"
    if result.measured:
        yield f"Usable ({near}) after about {_coarse(result.usable_after_s)}, {at}; your lag of {format_duration(result.lag_s)}."
        return
    span = f"between {_coarse(result.earliest_s)} and {_coarse(result.latest_s)}"
    yield f"Usable ({near}) after about {_coarse(result.usable_after_s)}, {span}, {at}."
    yield f"An estimate: time constant {_coarse(result.lag_s)} for this volume, right to a third at best. Measure before use."


def _coarse(seconds: float) -> str:
    """A rough time, rounded: to a minute, from half an hour on to ten minutes."""
    step_s = 60.0 if seconds < 1800 else 600.0
    minutes = round(seconds / step_s) * round(step_s / 60)
    hours, rest = divmod(minutes, 60)
    return f"{hours} h {rest:02d} min" if hours else f"{max(1, rest)} min"
