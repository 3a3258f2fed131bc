"""Heat balances, a wet probe in air, and what a probe's register makes of a temperature: the world, computed without the estimator.

Shares no code with the program and none with `hardware.simulated`. Seconds, Celsius, J/K, W/K, grams, hPa. Sources stand beside the
numbers; "handbook, from memory" is what any heat transfer handbook gives to one figure. Tests: tests/core/development/test_physics.py.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

STEP_S = 0.25
"""The world goes on in steps of this length: a third of a conversion."""

WATER_J_ML_K = 4.18
"""Water at 20 C: 4182 J/(kg K), 0.998 kg/l (handbook)."""
PLASTIC_J_G_K = 1.4
"""Polypropylene 1.7-1.9, polycarbonate 1.2, ABS 1.4 J/(g K) (handbook, from memory)."""
STEEL_J_G_K = 0.5
"""Stainless steel (handbook)."""
AIR_FILM_W_M2_K = (8.0, 12.0)
"""A vessel in still air: natural convection 3-6 and radiation 5-6 W/(m2 K) (handbook, from memory)."""
WATER_FILM_W_M2_K = (200.0, 600.0)
"""Water moved by hand along a wall: free convection gives 100-300, gentle stirring 300-1000 W/(m2 K) (handbook, from memory)."""
SKIN_C = (31.0, 34.0)
"""A wet hand (practice of the trade; skin of the palm is 31-35 C, handbook, from memory)."""


# Development


def pace(celsius: float, per_10_c: float, reference_c: float) -> float:
    """Rate of development relative to that at the reference. `per_10_c` is the factor that 10 C make, by its definition: the coefficient is
    the rate at 25 C over that at 15 C (C. E. K. Mees, Jahrbuch fuer Photographie 25 (1911) 167). Written a second time on purpose: were the
    program's law wrong, and the truth made with it, both would be wrong alike and nothing would show."""
    return math.pow(per_10_c, (celsius - reference_c) / 10.0)


def paces(celsius: Array, per_10_c: float, reference_c: float) -> Array:
    """The same of a whole course."""
    found: Array = np.power(per_10_c, (celsius - reference_c) / 10.0)
    return found


# Heat balances


def exponential(matrix: Array) -> Array:
    """exp(matrix) by scaling, a Taylor series of 12 terms, and squaring: exact to rounding for the small matrices here."""
    halvings = max(0, int(np.ceil(np.log2(max(float(np.abs(matrix).sum(axis=1).max()), 1e-300)))) + 1)
    small = matrix / 2.0**halvings
    total = np.eye(len(matrix))
    term = np.eye(len(matrix))
    for k in range(1, 13):
        term = term @ small / k
        total = total + term
    for _ in range(halvings):
        total = total @ total
    return total


Links = Mapping[tuple[str, str], float]
"""Conductance in W/K between two nodes, or between a node and something whose temperature is given."""


class Balance:
    """Nodes with heat capacities in J/K, joined by conductances; whatever is in a link and no node has a temperature given from
    outside. Each step is exact for surroundings and heat that do not change within it."""

    def __init__(self, capacities_j_k: Mapping[str, float], given: Sequence[str], step_s: float = STEP_S) -> None:
        self.nodes = list(capacities_j_k)
        self._capacities = [capacities_j_k[n] for n in self.nodes]
        self._given = list(given)
        self.step_s = step_s

    def rates(self, links: Links) -> tuple[Array, Array]:
        """(A, B) of dT/dt = A T + B u, u: the given temperatures, then the heat in W into each node."""
        n, m = len(self.nodes), len(self._given)
        a, b = np.zeros((n, n)), np.zeros((n, m + n))
        for (left, right), conductance in links.items():
            for one, other in ((left, right), (right, left)):
                if one not in self.nodes:
                    continue
                i = self.nodes.index(one)
                a[i, i] -= conductance / self._capacities[i]
                if other in self.nodes:
                    a[i, self.nodes.index(other)] += conductance / self._capacities[i]
                else:
                    b[i, self._given.index(other)] += conductance / self._capacities[i]
        for i, capacity in enumerate(self._capacities):
            b[i, m + i] = 1.0 / capacity
        return a, b

    def slowest_s(self, links: Links) -> float:
        """The longest time constant of it all: what a learned lag finds once the faster ones are over."""
        values = np.linalg.eigvals(self.rates(links)[0]).real
        return float(-1.0 / values.max())

    def run(
        self,
        start_c: Sequence[float],
        seconds: float,
        given_c: Callable[[float], Sequence[float]],
        links: Callable[[float], Links] | Links,
        heat_w: Callable[[float], Sequence[float]] | None = None,
    ) -> Array:
        """Temperatures, a row for each step from 0 to `seconds`, a column for each node."""
        n = len(self.nodes)
        known: dict[int, tuple[Array, Array, Links]] = {}
        temps = np.array(start_c, dtype=float)
        steps = round(seconds / self.step_s)
        out = np.empty((steps + 1, n))
        out[0] = temps
        nothing = [0.0] * n
        for k in range(steps):
            middle = (k + 0.5) * self.step_s
            now = links(middle) if callable(links) else links
            if id(now) not in known:
                a, b = self.rates(now)
                block = np.zeros((n + b.shape[1], n + b.shape[1]))
                block[:n, :n], block[:n, n:] = a, b
                whole = exponential(block * self.step_s)
                known[id(now)] = whole[:n, :n], whole[:n, n:], now
            keep, drive, _ = known[id(now)]
            heat = heat_w(middle) if heat_w else nothing
            temps = keep @ temps + drive @ np.array([*given_c(middle), *heat])
            out[k + 1] = temps
        return out


def stirred_in(capacity_j_k: float, at_s: float, by_c: float, tau_s: float) -> Callable[[float], float]:
    """Heat in W by which warm or cold water, stirred in from `at_s` on, moves a liquid by `by_c`, with time constant `tau_s`."""

    def heat_w(t: float) -> float:
        return capacity_j_k * by_c / tau_s * math.exp(-(t - at_s) / tau_s) if t > at_s else 0.0

    return heat_w


# Moist air


def saturation_hpa(celsius: float) -> float:
    """Saturation vapour pressure over water: Magnus with the coefficients of WMO-No. 8, annex 4.B: 6.112 exp(17.62 t/(243.12 + t))."""
    return 6.112 * math.exp(17.62 * celsius / (243.12 + celsius))


PRESSURE_HPA = 1013.25
PSYCHROMETRIC_PER_K = (6.5e-4, 8.0e-4)
"""e = es(wet) - A p (dry - wet): A = 6.53e-4 (1 + 0.000944 wet) per K aspirated (WMO-No. 8, annex 4.B), about 8.0e-4 in still air
(common in psychrometric tables, from memory)."""
LATENT_J_G = 2450.0
"""Heat of evaporation of water at 20 C, J/g (steam tables)."""


def wet_bulb(dry_c: float, humidity: float, per_k: float = PSYCHROMETRIC_PER_K[0]) -> float:
    """Where evaporation and the warmth of the air balance: bisection of the psychrometric formula. `humidity` 0 to 1."""
    vapour = humidity * saturation_hpa(dry_c)
    low, high = dry_c - 40.0, dry_c
    for _ in range(60):
        middle = 0.5 * (low + high)
        if saturation_hpa(middle) - per_k * PRESSURE_HPA * (dry_c - middle) > vapour:
            high = middle
        else:
            low = middle
    return 0.5 * (low + high)


@dataclass(frozen=True)
class Air:
    """The room: temperature, relative humidity 0 to 1, psychrometric constant as the draught has it."""

    celsius: float
    humidity: float
    per_k: float

    def cooling_k(self, surface_c: float) -> float:
        """How far below the air a wet surface is pulled, over that of a dry one: evaporation's heat over h A, in K."""
        vapour = self.humidity * saturation_hpa(self.celsius)
        return (saturation_hpa(surface_c) - vapour) / (self.per_k * PRESSURE_HPA)


# The probe


@dataclass
class Sleeve:
    """A probe as two nodes: the sleeve, and the chip in it that follows the sleeve.

    In a liquid the sleeve follows with `lag_s - chip_s`, so that the sum of both is what a lag learned in water finds. In air a dry
    one follows with `air_s`: 50 mm of 6 mm tube have 9.4 cm2, 2.0-2.6 J/K with filling, 15-20 W/(m2 K) for so thin a cylinder:
    100-180 s (heat transfer handbook, from memory; the trade says about 120 s). Water on it evaporates and pulls it to the wet bulb.
    """

    celsius: float
    lag_s: float = 8.0
    chip_s: float = 1.5
    air_s: float = 120.0
    chip_c: float = math.nan
    film_g: float = 0.0
    film_full_g: float = 0.06
    """Water left on 9.4 cm2 once the drops have run off: 0.005 to 0.06 mm (own estimate): gone in two minutes to twenty."""
    capacity_j_k: float = 2.3

    def __post_init__(self) -> None:
        if math.isnan(self.chip_c):
            self.chip_c = self.celsius
        self.chip_s = min(self.chip_s, 0.3 * self.lag_s)

    def in_liquid(self, liquid_c: float, step_s: float = STEP_S) -> float:
        """One step in a liquid. Returns the chip's temperature. It comes out of it wet."""
        self.film_g = self.film_full_g
        keep = math.exp(-step_s / (self.lag_s - self.chip_s))
        return self._chip(liquid_c + (self.celsius - liquid_c) * keep, step_s)

    def in_air(self, air: Air, step_s: float = STEP_S) -> float:
        """One step in air: dry towards the air, wet towards the wet bulb, in between where the film has gone in part."""
        conductance = self.capacity_j_k / self.air_s
        wet = min(1.0, self.film_g / self.film_full_g) ** 0.5 if self.film_g > 0.0 else 0.0
        evaporating_w = wet * conductance * air.cooling_k(self.celsius)
        capacity = self.capacity_j_k + self.film_g * WATER_J_ML_K
        self.film_g = max(0.0, self.film_g - evaporating_w / LATENT_J_G * step_s)
        to = self.celsius + (conductance * (air.celsius - self.celsius) - evaporating_w) * step_s / capacity
        return self._chip(to, step_s)

    def half_dry(self, liquid_c: float, air: Air, dry: float, step_s: float = STEP_S) -> float:
        """One step with the share `dry` of its heat exchange given to wet air: it settles between the liquid and the wet bulb."""
        self.film_g = self.film_full_g
        towards = (1.0 - dry) * liquid_c + dry * wet_bulb_near(air)
        keep = math.exp(-step_s / (self.lag_s / (1.0 - dry)))
        return self._chip(towards + (self.celsius - towards) * keep, step_s)

    def _chip(self, sleeve_c: float, step_s: float) -> float:
        """The chip follows the sleeve, straight within the step."""
        keep = math.exp(-step_s / self.chip_s)
        slope = (sleeve_c - self.celsius) / step_s
        behind = slope * self.chip_s
        self.chip_c = sleeve_c - behind + (self.chip_c - self.celsius + behind) * keep
        self.celsius = sleeve_c
        return self.chip_c


_WET_BULBS: dict[Air, float] = {}


def wet_bulb_near(air: Air) -> float:
    """The wet bulb of this air, computed once."""
    if air not in _WET_BULBS:
        _WET_BULBS[air] = wet_bulb(air.celsius, air.humidity, air.per_k)
    return _WET_BULBS[air]


@dataclass(frozen=True)
class Register:
    """What the register says of the chip's temperature.

    DS18B20 data sheet: two's complement in 1/16 C; at 11, 10, 9 bits the lowest one, two, three bits are undefined, here 0, which
    truncates; conversions of 750, 375, 187.5, 93.75 ms at most. `step_c`: a clone that knows only multiples of so much.
    `sixteenths`: what it knows is rounded once more, to the 1/16 C of the scratchpad, as it must be where the kernel reads it from there.
    `holds`: a clone that converts anew at every so-manieth read only and repeats itself in between (own estimate; the project's facts have
    clones that need longer for a conversion, from memory).
    """

    bits: int = 12
    step_c: float | None = None
    sixteenths: bool = False
    holds: int = 1

    @property
    def conversion_s(self) -> float:
        """How long a conversion takes at most."""
        return 0.75 / float(2 ** (12 - self.bits))

    @property
    def quantum_c(self) -> float:
        """The step between two values it can say."""
        return self.step_c if self.step_c is not None else 2.0 ** (12 - self.bits) / 16.0

    def code(self, celsius: float) -> int:
        """The 16 bits of the scratchpad as a signed number: sixteenths, undefined bits 0; -55 to 125."""
        sixteenths = math.floor(min(max(celsius, -55.0), 125.0) * 16.0)
        lost = 12 - self.bits
        return (sixteenths >> lost) << lost

    def says(self, celsius: float) -> float:
        """What is read."""
        if self.step_c is not None:
            known = math.floor(celsius / self.step_c) * self.step_c
            return round(known * 16.0) / 16.0 if self.sixteenths else round(known, 6)
        return self.code(celsius) / 16.0

    @property
    def compared_c(self) -> float:
        """What a comparison in many waters finds: it reads low by half a step, for it truncates."""
        return -0.5 * self.quantum_c


def readings_of(
    chip_c: Callable[[float], float],
    rng: random.Random,
    until_s: float,
    register: Register,
    noise_c: float,
    phase_s: float,
) -> list[tuple[float, float]]:
    """(middle of the conversion, raw value) once a second from `phase_s` on. Noise is the chip's, before the register."""
    out: list[tuple[float, float]] = []
    held = math.nan
    count = 0
    middle = phase_s + 0.5 * register.conversion_s
    while middle < until_s:
        if count % register.holds == 0 or math.isnan(held):
            held = register.says(chip_c(middle) + rng.gauss(0.0, noise_c))
        out.append((middle, held))
        count += 1
        middle += 1.0
    return out
