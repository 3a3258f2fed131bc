"""What surrounds a lidded vessel, bath or room: its temperature and slope from its own probe.

A small filter of level and slope; a real step (hot water into the bath) is taken up after a few readings. Whether the
vessel model is used at all is decided by `estimator`. Tests: tests/core/development/test_ambient.py.
"""

from __future__ import annotations

from monitor.core.development.filter import START_SLOPE_SD_C_PER_S

AMBIENT_SLOPE_NOISE = 3e-8
"""Variance of slope gained a second, (C/s)^2/s: a bowl that cools, a tap that runs (tuned on this project's own liquids)."""
STEP_SIGMA = 5.0
STEP_READINGS = 2
"""When more than so many readings running are this many deviations off, the bath has stepped; the filter starts again from the last."""
STEEPEST_AMBIENT_C_PER_S = 1.0 / 60.0
"""The slope is clamped to this. Bath and room drift more slowly; hot water poured in is a step (this project's own choice)."""
FURTHEST_AHEAD_C = 1.5
"""Without readings the slope is followed until it has made this difference (this project's own choice)."""


class Ambient:
    """Level (C) and slope (C/s) of bath or room at `t`, seconds; `probe` None until its first reading."""

    __slots__ = ("c00", "c01", "c11", "level", "odd", "probe", "slope", "t")

    def __init__(self) -> None:
        self.probe: str | None = None
        self.t = self.level = self.slope = self.c00 = self.c01 = self.c11 = 0.0
        self.odd = 0

    def copy(self) -> Ambient:
        """An independent copy."""
        other = Ambient()
        other.probe, other.t, other.level, other.slope, other.odd = self.probe, self.t, self.level, self.slope, self.odd
        other.c00, other.c01, other.c11 = self.c00, self.c01, self.c11
        return other

    def _start(self, t: float, celsius: float, variance: float) -> None:
        self.t, self.level, self.slope, self.odd = t, celsius, 0.0, 0
        self.c00, self.c01, self.c11 = variance, 0.0, START_SLOPE_SD_C_PER_S**2

    def read(self, probe: str, t: float, celsius: float, variance: float) -> None:
        """Take a reading. One that is not later than the newest is ignored."""
        if self.probe != probe:
            self.probe = probe
            self._start(t, celsius, variance)
            return
        h = t - self.t
        if h <= 0:
            return
        c00 = self.c00 + 2 * h * self.c01 + h * h * self.c11 + AMBIENT_SLOPE_NOISE * h**3 / 3
        c01 = self.c01 + h * self.c11 + AMBIENT_SLOPE_NOISE * h * h / 2
        c11 = self.c11 + AMBIENT_SLOPE_NOISE * h
        level = self.level + h * self.slope
        surprise, total = celsius - level, c00 + variance
        if surprise * surprise > STEP_SIGMA**2 * total:
            self.odd += 1
            if self.odd > STEP_READINGS:
                self._start(t, celsius, variance)
            return
        self.odd = 0
        g0, g1 = c00 / total, c01 / total
        slope = min(max(self.slope + g1 * surprise, -STEEPEST_AMBIENT_C_PER_S), STEEPEST_AMBIENT_C_PER_S)
        self.t, self.level, self.slope = t, level + g0 * surprise, slope
        self.c00, self.c01, self.c11 = c00 - g0 * c00, c01 - g0 * c01, c11 - g1 * c01

    def at(self, t: float) -> tuple[float, float]:
        """(C, C/s) at `t`; without readings the level is followed ahead by `FURTHEST_AHEAD_C` at most."""
        ahead = self.slope * (t - self.t)
        return self.level + min(max(ahead, -FURTHEST_AHEAD_C), FURTHEST_AHEAD_C), self.slope
