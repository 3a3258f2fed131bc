"""What hands and a wall do to a lidded tank without a probe: heat that a lag, learned with a tank that nobody touched, knows nothing of.

A tank and reel that nobody has tempered take what is poured into them some way towards the room within seconds. A tank that is lifted
out of its bath to be turned is warmed by two hands, cooled or warmed by the room's air, and meanwhile not tempered by its bath.
Tests: tests/core/development/test_handling.py, figures: tests/benchmarks/bench_doubt.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from monitor.core.development.filter import Step, vessel_step

WATER_J_ML_K = 4.18
"""Heat capacity of water at 20 C (steam tables)."""
TANK_WATER_ML, TANK_WATER_LOG_SD = 52.0, 0.3
"""Water value of a plastic tank with its reel, and the standard deviation of its logarithm (the project's practice, section 2a: 52 ml,
within 30 %)."""
USUAL_ML = 512.0
"""What is in it where the recipe does not say (the same place)."""
UNTEMPERED, UNTEMPERED_SD = 0.9, 0.15
"""So far of the way from the developer's temperature to the room's is a tank that nobody tempered: it was in warm hands while it was
loaded, and may have stood in its bath for a minute (this project's own choice)."""
TEMPERED_SD = 0.15
"""The same of one that was rinsed with tempered water: about none of it (this project's own choice)."""
SKIN_C = 33.0
"""Skin of a hand (31 to 35 C, handbook, from memory)."""
HANDS_W_K, HANDS_LOG_SD = 0.7, 0.4
"""Two hands round a plastic tank. Area: a third of both palms, which with their fingers are each 1 % of 1.75 m2 of skin (the rule of the
palm), 120 cm2. Conductance: 2.5 mm of plastic with 0.2 W/(m K) give 80, the outer millimetre or two of tissue about 200 W/(m2 K)
(handbook, from memory); one after the other 57 W/(m2 K). How firmly it is held is not known: standard deviation of the logarithm."""
AIR_W_M2_K = 10.0
"""A vessel in still air, radiation included (8 to 12 W/(m2 K), handbook, from memory)."""


@dataclass(frozen=True, slots=True)
class Held:
    """The tank is in the hands for `for_s` seconds: once, `from_s` after the begin, or every `every_s` (the other is None)."""

    from_s: float | None
    every_s: float | None
    for_s: float

    def held_s(self, a_s: float, b_s: float) -> float:
        """For how long between two moments after the begin."""
        if self.every_s is None:
            start_s = self.from_s or 0.0
            return max(min(b_s, start_s + self.for_s) - max(a_s, start_s), 0.0)
        total = 0.0
        number = max(1, math.floor(a_s / self.every_s))
        while number * self.every_s < b_s:
            start_s = number * self.every_s
            total += max(min(b_s, start_s + self.for_s) - max(a_s, start_s), 0.0)
            number += 1
        return total


@dataclass(frozen=True, slots=True)
class Handling:
    """How the vessel is handled in one stage. `tempered`: whether the empty vessel was, None where nobody says. `held`: when it is in the
    hands, out of its bath. `volume_ml`: what is in it, None where nobody says."""

    tempered: bool | None = None
    held: tuple[Held, ...] = ()
    volume_ml: float | None = None

    @property
    def wall_share(self) -> float:
        """The tank's part of the heat capacity of tank and developer."""
        return TANK_WATER_ML / (TANK_WATER_ML + (self.volume_ml or USUAL_ML))

    def at_the_wall(self, developer_c: float, room_c: float, room_sd_c: float) -> tuple[float, float]:
        """What the wall makes of a developer as it is poured in: mean and standard deviation, C. `tempered` must be known."""
        gap_c = room_c - developer_c
        way, way_sd = (0.0, TEMPERED_SD) if self.tempered else (UNTEMPERED, UNTEMPERED_SD)
        unsure_c = math.hypot(way_sd * math.hypot(gap_c, room_sd_c), way * room_sd_c, way * gap_c * TANK_WATER_LOG_SD)
        return self.wall_share * way * gap_c, self.wall_share * unsure_c

    def share(self, after_s: float, h: float) -> float:
        """The part of `h` seconds from `after_s` after the begin in which it is in the hands."""
        if h <= 0.0 or not self.held:
            return 0.0
        return min(sum(one.held_s(after_s, after_s + h) for one in self.held) / h, 1.0)

    def warming(self, share: float, lag_s: float, surroundings_c: float, room_c: float) -> Warming:
        """How the liquid goes on where it is in the hands for this share of the time, else surrounded by bath or room."""
        volume_ml = self.volume_ml or USUAL_ML
        capacity_j_k = WATER_J_ML_K * (volume_ml + TANK_WATER_ML)
        wide_m = math.cbrt(4e-6 * volume_ml / math.pi)  # a cylinder as high as wide
        hands, air = share * HANDS_W_K / capacity_j_k, share * AIR_W_M2_K * 1.5 * math.pi * wide_m**2 / capacity_j_k
        free = (1.0 - share) / lag_s
        whole = free + hands + air
        return Warming(1.0 / whole, (free * surroundings_c + hands * SKIN_C + air * room_c) / whole, free / whole, hands)


@dataclass(frozen=True, slots=True)
class Warming:
    """The liquid nears `towards_c` with the time constant `lag_s`. `free`: the surroundings' part in that; `hands_per_s`: of the distance
    to the skin's temperature the hands make so much up a second."""

    lag_s: float
    towards_c: float
    free: float
    hands_per_s: float

    def step(self, h: float, surroundings_c_per_s: float) -> Step:
        """One step of the vessel model; bath or room drifts straight over it."""
        return vessel_step(h, self.lag_s, self.towards_c, self.free * surroundings_c_per_s)
