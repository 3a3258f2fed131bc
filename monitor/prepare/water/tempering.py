"""How much hot or cold water or ice brings a volume of water to a temperature, by adding or by swapping, and how well.

Decides amounts and their limits; measures nothing. Add m = V (want - now)/(with - want); swap x = V (want - now)/(with - now);
melting ice kg = V c (now - want)/(334 + c want): heat balances at constant c = 4.18 kJ/(kg C) and 1 kg a litre (334 kJ/kg: heat
of melting of ice, textbook value). What this leaves out, by IAPWS-IF97: c and density change with temperature, so that a mixture of
equal litres at 50 C and 10 C is at 29.87 C, not 30.00 (up to 0.16 C; the vessel's own heat matters more, and the
probe shows both afterwards). Adding two thirds first, measuring and calculating again makes up for both.
Tests: tests/prepare/water/test_tempering.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from monitor.core.errors import InputWrong
from monitor.core.text.degrees import degrees, difference, plain

WATER_KJ_PER_L_C = 4.18
"""The same number in J for each ml and C."""
MELTING_KJ_PER_KG = 334.0
FIRST_SHARE = 2.0 / 3.0
FORMULA_SD = 0.004
"""Error of assuming constant heat and density, as a share of the second water's distance: 0.16 C for 40 C (IAPWS-IF97)."""
MEASURE_SD = 0.03
"""Standard uncertainty of an amount measured with a jug: 3 % (ours)."""
TELLING_C = 5.0
"""If water and vessel are this far apart, a usual tank's 50 ml come out to about a third (own arithmetic)."""
READING_SD_C = 0.1
"""Standard uncertainty of one reading of a thermometer against another (ours)."""
SCALDS_C = 50.0
"""Water that scalds (common practice)."""
HOT_WATER_CAUTION = "hot water scalds: in slowly, away from the vessel; stir, and wait 60 s before you measure"
USABLE_C = (-0.1, 100.0)


@dataclass(frozen=True, slots=True)
class Warmth:
    """Two ways to the wanted temperature. `add_ml`: add this much; `swap_ml`: take this much out first. `outcome_sd_c`: with a jug."""

    add_ml: float
    swap_ml: float
    first_add_ml: float
    first_swap_ml: float
    after_add_ml: float
    outcome_sd_c: float
    fits: Literal["add", "swap", "neither"]


@dataclass(frozen=True, slots=True)
class Ice:
    """Melting ice that cools water to the wanted temperature, and the volume afterwards."""

    ice_kg: float
    first_kg: float
    after_ml: float
    outcome_sd_c: float
    fits: bool


@dataclass(frozen=True, slots=True)
class VesselWater:
    """Water that takes as much heat as a vessel, ml, and its standard uncertainty (three readings, `READING_SD_C` each)."""

    ml: float
    sd_ml: float


def effective_volume(volume_ml: float, vessel_water_ml: float) -> float:
    """The amount of water that takes as much heat as the water and its vessel together, ml. Raises `InputWrong` for no water."""
    if volume_ml <= 0:
        raise InputWrong(f"a volume of {volume_ml:g} ml; allowed: above zero")
    return volume_ml + vessel_water_ml


def temper(
    volume_ml: float, now_c: float, want_c: float, with_c: float, *, vessel_water_ml: float = 0.0, container_ml: float | None = None
) -> Warmth:
    """Amounts of water at `with_c` that bring `volume_ml` from `now_c` to `want_c`.

    `vessel_water_ml`: the vessel's heat as water. `container_ml`: what it holds; if adding would make it overflow, only swapping fits.
    Raises `InputWrong` for a target that the second water cannot reach, and for temperatures at which water is not liquid.
    """
    total = effective_volume(volume_ml, vessel_water_ml)
    for name, celsius in (("now", now_c), ("want", want_c), ("with", with_c)):
        if not USABLE_C[0] <= celsius <= USABLE_C[1]:
            raise InputWrong(f"{name}: water is not liquid at {degrees(celsius, 'g')}; allowed: from {plain(0.0)} to {plain(100.0)}")
    if container_ml is not None and volume_ml > container_ml:
        raise InputWrong(f"{volume_ml:g} ml in a container of {container_ml:g} ml; allowed: at most what it holds")
    lift = want_c - now_c
    if lift == 0.0:
        return Warmth(0.0, 0.0, 0.0, 0.0, volume_ml, 0.0, "add")
    if not min(now_c, with_c) < want_c < max(now_c, with_c):
        raise InputWrong(
            f"{degrees(want_c, 'g')} cannot be reached from {degrees(now_c, 'g')} with water of {degrees(with_c, 'g')}; "
            f"allowed: a target between {degrees(min(now_c, with_c), 'g')} and {degrees(max(now_c, with_c), 'g')}, or another water"
        )
    add = total * lift / (with_c - want_c)
    swap = total * lift / (with_c - now_c)
    after = volume_ml + add
    if container_ml is None or after <= container_ml:
        fits: Literal["add", "swap", "neither"] = "add"
    else:
        fits = "swap" if swap <= volume_ml else "neither"
    sd = math.hypot(MEASURE_SD * abs(lift), FORMULA_SD * abs(with_c - now_c) * min(1.0, swap / total * 4.0))
    return Warmth(add, swap, FIRST_SHARE * add, FIRST_SHARE * swap, after, sd, fits)


def ice(volume_ml: float, now_c: float, want_c: float, *, vessel_water_ml: float = 0.0, container_ml: float | None = None) -> Ice:
    """Melting ice (at 0 C, dripping) that brings `volume_ml` from `now_c` down to `want_c`. Raises `InputWrong` unless that is colder."""
    total_l = effective_volume(volume_ml, vessel_water_ml) / 1000.0
    if not 0.0 <= want_c < now_c <= USABLE_C[1]:
        raise InputWrong(
            f"ice cannot bring {degrees(now_c, 'g')} to {degrees(want_c, 'g')}; allowed: a target from "
            f"{plain(0.0)} to below the water's temperature"
        )
    mass = total_l * WATER_KJ_PER_L_C * (now_c - want_c) / (MELTING_KJ_PER_KG + WATER_KJ_PER_L_C * want_c)
    after = volume_ml + 1000.0 * mass
    return Ice(mass, FIRST_SHARE * mass, after, 0.1 * (now_c - want_c), container_ml is None or after <= container_ml)


def mixed_c(volume_ml: float, now_c: float, added_ml: float, with_c: float, vessel_water_ml: float = 0.0) -> float:
    """Temperature after adding, C, by the same heat balance."""
    total = effective_volume(volume_ml, vessel_water_ml)
    return (total * now_c + added_ml * with_c) / (total + added_ml)


def vessel_water(volume_ml: float, poured_c: float, vessel_c: float, after_c: float) -> VesselWater:
    """What a vessel is worth in water, if `volume_ml` at `poured_c` is at `after_c` right after it was poured into a vessel at `vessel_c`.

    Raises `InputWrong` if the vessel was less than `TELLING_C` from the water, or `after_c` is not between the two.
    """
    effective_volume(volume_ml, 0.0)  # refuses no water at all
    apart_c, kept_c = abs(poured_c - vessel_c), abs(after_c - vessel_c)
    lost_c = (poured_c - after_c) * (1.0 if poured_c > vessel_c else -1.0)
    if apart_c < TELLING_C - 1e-9 or not 0.0 <= lost_c < apart_c:
        raise InputWrong(
            f"poured at {degrees(poured_c, 'g')}, vessel at {degrees(vessel_c, 'g')}, then "
            f"{degrees(after_c, 'g')}: that does not tell the vessel's heat; "
            f"allowed: a vessel {difference(TELLING_C, 'g')} or more from the water, and a result between the two"
        )
    per_c = math.hypot(apart_c, kept_c, lost_c) / kept_c**2
    return VesselWater(volume_ml * lost_c / kept_c, volume_ml * per_c * READING_SD_C)


def warm_up_s(now_c: float, bath_c: float, want_c: float, lag_s: float) -> float:
    """Seconds until a bottle at `now_c` in a bath at `bath_c` is at `want_c`, with a first-order lag of `lag_s`.

    Raises `InputWrong` if the bath cannot bring it there.
    """
    if lag_s <= 0:
        raise InputWrong("a bottle's lag of zero; allowed: above zero")
    if abs(want_c - now_c) < 1e-9:
        return 0.0
    ratio = (bath_c - now_c) / (bath_c - want_c) if bath_c != want_c else -1.0
    if ratio < 1.0:
        raise InputWrong(
            f"a bath at {degrees(bath_c, 'g')} never brings a bottle from {degrees(now_c, 'g')} to "
            f"{degrees(want_c, 'g')}; allowed: a bath beyond the temperature wanted"
        )
    return lag_s * math.log(ratio)


BOTTLE_LAG_S = 25 * 60.0
"""A litre bottle in a still 38 C bath lags 20 to 30 minutes (common practice); less if it is shaken now and then. Measure."""
