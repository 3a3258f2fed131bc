"""Washing: fill and dump or running water, the arithmetic of dilution, cold water, and the tests for what was left in.

Decides only numbers and words. The arithmetic is that of the water between the films: what has soaked into the gelatine comes
out by diffusion at its own pace, so no wash is shorter than the trade's minimum, however fast the water runs.

Sources: 5, 10 and 20 movements with fresh water each, and that water below 10 C washes poorly: teaching texts, in excerpts;
running times, wash aid: common practice, no source (30 minutes for hardened film: a US Army text, SS0509). Residual tests: a
photographers' list on paper washing (silver nitrate), a cyclopedia of photography (permanganate); sulphide from memory, not
verified. Pure. Tests: tests/prepare/water/test_washing.py.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from monitor.core.errors import InputWrong
from monitor.core.recipe.warnings import BATHS_WITHIN_C, RETICULATION_C
from monitor.core.text.degrees import degrees, difference
from monitor.core.text.quantities import format_duration, format_number, format_volume

MOVEMENTS = (5, 10, 20)
"""Movements after each filling: three fillings (teaching texts)."""
MOVEMENT_S = 2.0
"""A movement takes two ticks: over on one, back on the next (common practice, no source)."""
FILL_S = 20.0
"""From the tap to a full tank (10 to 20 s: manual NAVEDTRA 14209)."""
COLDEST_C = 10.0
"""Below this, water does not wash properly (teaching texts)."""
USUAL_LEFT_ML = 15.0
"""What stays on a reel, a film and the walls of a small tank after a dump (common practice, no source): weigh your own."""
MATERIALS: dict[str, tuple[float, float]] = {
    "film": (600.0, 300.0),
    "hardened film": (1800.0, 600.0),
    "resin-coated paper": (240.0, 240.0),
    "fibre paper": (3600.0, 1200.0),
}
"""Seconds in running water, without and after wash aid, the longest of what is usual: common practice, no source (hardened film 20 to
30 minutes: SS0509)."""
USUAL_MINUTES: dict[str, tuple[str, str]] = {
    "film": ("10 minutes", "5 minutes"),
    "hardened film": ("20 to 30 minutes", "10 minutes"),
    "resin-coated paper": ("2 to 4 minutes", "2 to 4 minutes"),
    "fibre paper": ("60 minutes", "20 minutes"),
}
"""The same in words (common practice, no source)."""
LONGEST_S: dict[str, float] = {"resin-coated paper": 240.0}
"""No longer than this: water creeps in at its edges, and they come apart (common practice, no source)."""
IN_A_TANK = "film"
"""The only material that three fillings wash: unhardened film in a tank (teaching texts)."""


@dataclass(frozen=True, slots=True)
class FillAndDump:
    """Three fillings. `left_fraction`: of what was in the vessel, the part that stays after one dump; `after`: after each filling."""

    vessel_ml: float
    left_ml: float
    left_fraction: float
    after: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Running:
    """Running water. `flow_ml_s`: how fast; `change_s`: one change of the vessel's water; `same_s`: until it is as dilute as after the
    three fillings, if it mixes well; `wash_s`: what to wash, never under the trade's minimum, nor over what the material bears; `water_ml`:
    what that uses; `too_slow`: the material does not bear the time that this flow would take."""

    flow_ml_s: float
    change_s: float
    same_s: float
    minimum_s: float
    wash_s: float
    water_ml: float
    too_slow: bool = False


def fill_and_dump(vessel_ml: float, left_ml: float = USUAL_LEFT_ML) -> FillAndDump:
    """What is left in the water of a vessel after each of the three fillings. Raises `InputWrong`."""
    if not 0 < left_ml < vessel_ml:
        raise InputWrong(
            f"{format_volume(left_ml)} left in a vessel of {format_volume(vessel_ml)}; allowed: more than nothing, less than the vessel"
        )
    fraction = left_ml / vessel_ml
    return FillAndDump(vessel_ml, left_ml, fraction, tuple(fraction**n for n in range(1, len(MOVEMENTS) + 1)))


def running(vessel_ml: float, jug_ml: float, fills_in_s: float, material: str = "film", aid: bool = False) -> Running:
    """Running water, by the time that it takes to fill a jug. Raises `InputWrong`."""
    if jug_ml <= 0 or fills_in_s <= 0:
        raise InputWrong("a jug that holds nothing or fills at once; allowed: a volume and a time above zero")
    if material not in MATERIALS:
        raise InputWrong(f"{material} is not known here; allowed: {', '.join(MATERIALS)}")
    flow = jug_ml / fills_in_s
    change_s = vessel_ml / flow
    same_s = change_s * -math.log(fill_and_dump(vessel_ml).after[-1])
    minimum_s = MATERIALS[material][1 if aid else 0]
    wanted_s, longest_s = max(minimum_s, same_s), LONGEST_S.get(material, math.inf)
    wash_s = min(wanted_s, longest_s)
    return Running(flow, change_s, same_s, minimum_s, wash_s, flow * wash_s, too_slow=wanted_s > longest_s)


def water_warnings(water_c: float | None, fixer_c: float | None, material: str = IN_A_TANK) -> Iterator[str]:
    """Cold water, and a step from the fixer."""
    if water_c is None:
        return
    if water_c < COLDEST_C:
        if_not = "do not wash longer instead" if material in LONGEST_S else "if you cannot, use wash aid and twice the time"
        yield (
            f"At {degrees(water_c)} it hardly washes: warm it to {degrees(COLDEST_C)} at least, better to within "
            f"{difference(BATHS_WITHIN_C, '.0f')} of the fixer; {if_not}."
        )
    if fixer_c is None:
        return
    step_c = abs(water_c - fixer_c)
    if step_c > BATHS_WITHIN_C:
        risk = "the gelatine may wrinkle for good" if step_c >= RETICULATION_C else "the gelatine swells and shrinks at once"
        steps = f"Go there in steps of {difference(BATHS_WITHIN_C, '.0f')}."
        yield f"The water is {difference(step_c, '.0f')} away from the fixer: {risk}. {steps}"


def fill_lines(wash: FillAndDump) -> Iterator[str]:
    """Fill and dump in words, with its arithmetic."""
    first, second, third = MOVEMENTS
    yield f"Fill with fresh water, turn it over and back {first} times, pour it out. Twice more, {second} times and then {third} times."
    yield "A recipe from evenbath new counts them for you by ear: two ticks a movement, over and back; at READY pour out."
    share = 100.0 * wash.left_fraction
    parts = ", ".join(f"about 1 in {_two_figures(1.0 / left)}" for left in wash.after)
    yield (
        f"{format_volume(wash.left_ml)} of {format_volume(wash.vessel_ml)} stay behind each time, {format_number(share, 1)} %: "
        f"of the fixer in the water there stays {parts}."
    )
    yield "That is the water. What is in the gelatine comes out more slowly: the movements and the minutes are for that."
    yield "This is for unhardened film in a tank. After a hardening fixer, and for paper, only running water will do (--material)."


def _two_figures(number: float) -> str:
    """A rough number, as a person says it: 37,000, not 37037."""
    return f"{float(f'{number:.2g}'):,.0f}"


def minutes_lines(material: str, aid: bool) -> Iterator[str]:
    """How long in running water, for a material, where the flow is not known. Raises `InputWrong`."""
    if material not in MATERIALS:
        raise InputWrong(f"{material} is not known here; allowed: {', '.join(MATERIALS)}")
    without, after = USUAL_MINUTES[material]
    if material == "resin-coated paper":
        yield f"Wash resin-coated paper for {without} in running water (common practice, no source). It needs no wash aid."
        yield "No longer than that: water creeps in at the edges, and they come apart."
    elif aid:
        yield f"Wash {material} after wash aid for {after} in running water; without it {without} (common practice, no source)."
    else:
        yield f"Wash {material} for {without} in running water; {after} are enough after wash aid (common practice, no source)."
    if material == "fibre paper":
        yield "The paper itself soaks up fixer. Filling and turning does not wash it; keep the prints apart and the water moving."
    elif material == "hardened film":
        yield "Hardened gelatine lets the fixer go slowly: filling and turning a tank does not wash it."
    yield 'How fast must it run? Hold a jug under the tap: --jug "1 l" --fills-in 0:25.'


def aid_lines(material: str) -> Iterator[str]:
    """How to use wash aid (common practice, no source)."""
    if material == "resin-coated paper":
        return
    if material == "fibre paper":
        yield "Wash aid: rinse for 5 minutes, wash aid for about 3 (double weight; single weight: 2), prints kept moving, then wash."
    else:
        yield "Wash aid: rinse for a minute, wash aid for one to two minutes, then wash."
    yield "It saves most of the water and the time. Mix it fresh, and pour it away at the end of the evening: it does not keep."


def running_lines(wash: Running, material: str, aid: bool) -> Iterator[str]:
    """Running water in words."""
    yield (
        f"{format_volume(60.0 * wash.flow_ml_s)} a minute changes the water once in {format_duration(round(wash.change_s))}; "
        f"after {format_duration(round(wash.same_s))} as dilute as three changes of water, if it mixes well."
    )
    if wash.too_slow:
        yield (
            f"That is too slow for {material}, which bears {format_duration(wash.wash_s)} at most: run the water faster, or use a smaller "
            "vessel. It needs no wash aid."
        )
        return
    after = " after wash aid" if aid and material not in LONGEST_S else ""
    why = "the water is slower than that" if wash.same_s > wash.minimum_s else "common practice, however fast the water runs"
    yield (
        f"Wash {material}{after} for {format_duration(round(wash.wash_s))} ({why}): {format_volume(wash.water_ml)} of water. "
        "Let it in at the bottom and pour everything out now and then: fixer is heavier than water."
    )



@dataclass(frozen=True, slots=True)
class ResidualTest:
    """One test for what was left in. `hazard`: what it does to you; `source`: where it is from."""

    name: str
    finds: str
    how: str
    reads: str
    hazard: str
    source: str


RESIDUAL_TESTS: tuple[ResidualTest, ...] = (
    ResidualTest(
        "permanganate drop",
        "fixer left in the water: the wash is too short",
        "Let a wet film or print drain into a clear glass. Put as much tap water into a second glass. One drop of a weak pink permanganate"
        " solution into each.",
        "If the first one loses its pink and the second one does not, wash longer.",
        "Permanganate stains skin and cloth brown and sets fire to glycerine, sugar and paper if it is dry: gloves, and never near acid"
        " or food.",
        "a cyclopedia of photography",
    ),
    ResidualTest(
        "silver nitrate drop",
        "fixer left in the gelatine or the paper: the wash is too short",
        "Use a strip that went through everything with the film, or a clear edge. Blot it, one drop of acidified silver nitrate,"
        " two minutes in weak light, rinse, and look at once: light darkens it anyway.",
        "No stain or a faint cream: washed. Yellow to brown: wash longer.",
        "Silver nitrate burns skin and blinds eyes, and its black stains do not come off; its acid is acetic: goggles and gloves, a dark"
        " bottle, locked away. Collect it with the silver; do not pour it out.",
        "a photographers' list on washing paper",
    ),
    ResidualTest(
        "sulphide drop",
        "silver left in: the fixer was tired or too short",
        "On a clear edge, wet and washed: blot, one drop of weak sodium sulphide, three minutes, blot.",
        "Any colour beyond a faint cream: fix again in fresh fixer, then wash again.",
        "Sulphide with any acid, stop bath and acid fixer among them, gives hydrogen sulphide, a very poisonous gas that numbs the nose:"
        " outdoors or at an open window, on washed film only, never beside an acid. Its fumes fog film and paper: not in the darkroom.",
        "from memory, not verified",
    ),
)
"""What each shows, and what it can do to you."""


def residual_lines() -> Iterator[str]:
    """The tests for what was left in."""
    for test in RESIDUAL_TESTS:
        yield f"{test.name}: {test.finds}"
        yield f"  {test.how} {test.reads}"
        yield f"  Careful: {test.hazard} [{test.source}]"
    yield "Never on a film or print that you want to keep. If one test is too much to have in the house, wash longer: water is safe."
