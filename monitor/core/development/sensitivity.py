"""Errors that no filter can see: a probe's constant offset, a vessel's wrong lag, the rate law's own number. Kept as signed sensitivities.

The temperature's sensitivity to each unknown follows the source (1 for the probe that is believed; a mixture of start and
bath in the vessel model); development's is the running integral of r'(T) times it. Unknowns are independent, so the parts add
in quadrature (JCGM 100:2008, section 5.1). Tests: tests/core/development/test_forecast.py.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from monitor.core.development.beliefs import Beliefs
from monitor.core.development.filter import Step
from monitor.core.development.handling import HANDS_LOG_SD, SKIN_C, Warming
from monitor.core.development.rate import RateLaw

LAG = " vessel's lag"
LAW = " rate law"
HANDS = " hands"
"""Names that no probe can have (they begin with a space)."""
LAG_LOG_SD = 0.1
"""A vessel's lag was learned with one volume and one way of moving it; in another evening it is off by so much: standard deviation of its
logarithm (this project's own choice)."""
NO_PROBE = ""
"""Stands for a probe that has not spoken yet."""


def standard_deviations(beliefs: Beliefs) -> dict[str, float]:
    """Of each unknown, by name, in its own unit: each probe's comparison, the vessel's lag, the hands' warmth (of its
    logarithm), the rate law's number (1: `log_rate_sd_slope` has it in already)."""
    sds = {p.name: p.comparison_sd_c for p in beliefs.probes}
    vessel = beliefs.vessel
    lag_sd_s = math.hypot(vessel.lag_sd_s, LAG_LOG_SD * vessel.lag_s) if vessel else 0.0
    return sds | {LAW: 1.0, LAG: lag_sd_s, HANDS: HANDS_LOG_SD, NO_PROBE: 0.0}


class Systematics:
    """Sensitivities of the temperature (`of_c`, C per unit of each unknown) and, since the session's start, of development (`of_ref_s`)."""

    __slots__ = ("of_c", "of_ref_s")

    def __init__(self, of_c: dict[str, float] | None = None, of_ref_s: dict[str, float] | None = None) -> None:
        self.of_c = {} if of_c is None else of_c
        self.of_ref_s = {} if of_ref_s is None else of_ref_s

    def copy(self) -> Systematics:
        """An independent copy."""
        return Systematics(dict(self.of_c), dict(self.of_ref_s))

    def follow_probe(self, probe: str) -> None:
        """The temperature is now that of one probe: its error counts, no other."""
        self.of_c = {probe: 1.0}

    def follow_vessel(self, step: Step, ambient: str, lag_s: float, ambient_c: float, liquid_c: float, warming: Warming | None) -> None:
        """One step of the vessel model: the start's errors die out, those of the ambient probe and of the lag grow, and where it was in the
        hands (`warming`) that of their warmth."""
        free, in_bath_s = 1.0, step.h
        self.of_c = {k: v * step.keep for k, v in self.of_c.items()}
        if warming is not None:
            free, in_bath_s = warming.free, step.h * warming.free * lag_s / warming.lag_s
            self.of_c[HANDS] = self.of_c.get(HANDS, 0.0) + warming.hands_per_s * step.h * (SKIN_C - liquid_c)
        self.of_c[ambient] = self.of_c.get(ambient, 0.0) + free - free * step.keep
        self.of_c[LAG] = self.of_c.get(LAG, 0.0) - (ambient_c - liquid_c) * step.keep * in_bath_s / (lag_s * lag_s)

    def count(self, law: RateLaw, celsius: float, h: float) -> None:
        """Development over `h` seconds at about `celsius`."""
        add_to(self.of_ref_s, self.of_c, law, celsius, h)


def add_to(of_ref_s: dict[str, float], of_c: Mapping[str, float], law: RateLaw, celsius: float, h: float) -> None:
    """Add the sensitivities of `h` seconds of development at `celsius` to `of_ref_s`."""
    done = math.exp(law.log_rate(celsius)) * h
    slope = done * law.log_rate_slope(celsius)
    for name, of in of_c.items():
        of_ref_s[name] = of_ref_s.get(name, 0.0) + slope * of
    of_ref_s[LAW] = of_ref_s.get(LAW, 0.0) + done * law.log_rate_sd_slope(celsius)


def variance(sensitivities: Mapping[str, float], sds: Mapping[str, float], since: Mapping[str, float] | None = None) -> float:
    """Variance from all unknowns. `since`: only from what has been added since those sensitivities."""
    total = 0.0
    for name, value in sensitivities.items():
        part = (value - (since.get(name, 0.0) if since else 0.0)) * sds[name]
        total += part * part
    return total
