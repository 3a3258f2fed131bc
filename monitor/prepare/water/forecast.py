"""Where a bath is going: an exponential towards its room, fitted to the last 10 to 20 minutes of readings, with an honest interval.

Decides the forecast and its standard deviation, whether the bath stays good for a recipe, and what to do if it does not; does
not touch the session. T(t) = room + (T0 - room) exp(-t/tau) (Newton's law of cooling; below about 45 C it holds within 0.1 C
for a mug in a room, above it evaporation breaks it). Ten minutes do not tell room and tau apart, so every tau is tried, each
with its own straight least squares for (T0, room) under a prior for the room, and the answers are mixed by their likelihood.
A room probe makes the prior narrow, not certain: an open bath loses heat by evaporation too and heads for less than the air.
Pure Python. Tests: tests/prepare/water/test_forecast.py; figures: tests/benchmarks/bench_prepare.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import Literal

from monitor.core.errors import InputWrong
from monitor.prepare.probes.readings import ProbeReadings

LONGEST_USED_S, SHORTEST_USED_S = 20 * 60.0, 4 * 60.0
"""The last 20 minutes are used if nothing disturbed the water, at least the last 4."""
NEEDED_S = 5 * 60.0
BIN_S = 10.0
ROOM_PROBE_SD_C = 1.0
"""How close the temperature that an open bath approaches is to the air's (evaporation, walls, the bench; ours)."""
ROOM_PRIOR_C = (19.0, 7.0)
"""Mean and sd without a room probe: rooms in which film is developed (ours)."""
GRID = 0.1
"""Step of ln tau; for any twenty minutes of readings the likelihood is wider than this."""
TAU_PRIOR_S, TAU_PRIOR_LOG_SD = 65 * 60.0, 0.55
"""Bowls and basins of 2 to 10 litres, mugs and trays: half an hour to two hours and more (ours)."""
UNSTEADY = 0.05
"""The loss is not constant: room, draught and stirring change the slope by some per cent in a quarter of an hour (ours)."""
UNSTEADY_C_PER_S = 0.03 / 900.0
"""The same for a bath near its room's temperature: 0.03 C in a quarter of an hour."""
OLD_C = 0.04
"""How far, C, a mean from a quarter of an hour ago may be off today's curve; grows with the square of its age (ours)."""
DISTURBED_C = 0.06
"""How rough the means may be beside their noise, C, before the water counts as disturbed (ours)."""


@dataclass(frozen=True, slots=True)
class Ahead:
    """The bath at one moment: seconds of the journal's time, Celsius, standard deviation."""

    t_s: float
    celsius: float
    sd_c: float


@dataclass(frozen=True, slots=True)
class Component:
    """One tau of the mixture: weight, tau, T at `origin_s`, room, and the covariance of these two."""

    weight: float
    tau_s: float
    start_c: float
    room_c: float
    var_start: float
    var_room: float
    covariance: float


@dataclass(frozen=True, slots=True)
class FittedBath:
    """A fitted bath. `origin_s`: time of the newest reading. `noise_c`: noise of one reading. `used_s`: length of the readings used."""

    origin_s: float
    components: tuple[Component, ...]
    noise_c: float
    used_s: float
    room_from: Literal["probe", "fit"]
    disturbed_s: float | None
    """How long before the newest reading the water was disturbed (hot water added, say); None if it was not."""

    @property
    def tau_s(self) -> float:
        """Time constant: median over the mixture, seconds."""
        below, last = 0.0, math.log(self.components[0].tau_s)
        for c in self.components:
            here = math.log(c.tau_s)
            if below + c.weight >= 0.5:  # each component stands for the stretch of ln tau that ends half-way to its neighbours
                return math.exp(here + GRID * ((0.5 - below) / c.weight - 0.5))
            below, last = below + c.weight, here
        return math.exp(last)

    @property
    def room_c(self) -> float:
        """The temperature that the bath approaches: mean over the mixture, C."""
        return math.fsum(c.weight * c.room_c for c in self.components)

    @property
    def room_sd_c(self) -> float:
        """Its standard deviation."""
        mean = self.room_c
        return math.sqrt(math.fsum(c.weight * (c.var_room + (c.room_c - mean) ** 2) for c in self.components))

    def at(self, t_s: float) -> Ahead:
        """The bath at a later moment, as this probe would read it: the uncertainty of its comparison is not in `sd_c`."""
        ahead_s = max(0.0, t_s - self.origin_s)
        rows = []
        for c in self.components:
            keep = math.exp(-ahead_s / c.tau_s)
            value = c.room_c + (c.start_c - c.room_c) * keep
            variance = keep * keep * c.var_start + (1 - keep) ** 2 * c.var_room + 2 * keep * (1 - keep) * c.covariance
            rows.append((c.weight, value, variance))
        mean = math.fsum(w * v for w, v, _ in rows)
        variance = math.fsum(w * (s + (v - mean) ** 2) for w, v, s in rows)
        now_c = math.fsum(c.weight * c.start_c for c in self.components)
        unsteady = math.hypot(UNSTEADY * abs(mean - now_c), UNSTEADY_C_PER_S * ahead_s)
        return Ahead(t_s, mean, math.sqrt(variance + unsteady**2))


def fit_bath(bath: ProbeReadings, room: ProbeReadings | None = None) -> FittedBath:
    """Fit the newest readings of a bath. Raises `InputWrong` for less than 5 minutes of them.

    If the water was disturbed within the last 20 minutes, only the readings after that are used.
    """
    newest = bath.t_s[-1]
    recent = bath.between(newest - LONGEST_USED_S, newest)
    if recent.t_s[-1] - recent.t_s[0] < NEEDED_S - BIN_S or len(recent.t_s) < 6:
        raise InputWrong(
            f'probe "{bath.probe}": {(recent.t_s[-1] - recent.t_s[0]) / 60:.1f} minutes with {len(recent.t_s)} good readings; '
            f"allowed: {NEEDED_S / 60:.0f} minutes or more, 10 to 20 are better"
        )
    room_c, room_sd = ROOM_PRIOR_C
    seen = room.between(newest - LONGEST_USED_S, newest) if room is not None else None
    if seen is not None and seen.celsius:
        room_c, room_sd = median(seen.celsius), ROOM_PROBE_SD_C
    noise = _noise(recent)
    bins = _bins(recent)
    pieces = [bins]
    for length_s in (900.0, 600.0, 420.0, 300.0, SHORTEST_USED_S):
        shorter = [b for b in bins if b[0] >= newest - length_s]
        if len(shorter) >= 6 and len(shorter) < len(pieces[-1]):
            pieces.append(shorter)
    for piece in pieces:
        components, rough = _mixture(piece, newest, noise, room_c, room_sd)
        if rough <= DISTURBED_C + 2.0 * noise / math.sqrt(max(1.0, len(recent.t_s) / len(bins))):
            break
    disturbed = newest - piece[0][0] if len(piece) < len(bins) else None
    return FittedBath(newest, components, noise, newest - piece[0][0], "probe" if room_sd == ROOM_PROBE_SD_C else "fit", disturbed)


def _noise(series: ProbeReadings) -> float:
    """Noise of one reading relative to its neighbours, C; at least what rounding to the usual probe's step adds."""
    c, t = series.celsius, series.t_s
    seconds = []
    for i in range(1, len(c) - 1):
        share = (t[i] - t[i - 1]) / (t[i + 1] - t[i - 1])
        left = c[i] - c[i - 1] - share * (c[i + 1] - c[i - 1])
        seconds.append(left * left / (1.0 + share**2 + (1.0 - share) ** 2))
    seconds.sort()
    kept = seconds[: max(1, len(seconds) * 98 // 100)]
    return max(0.02, math.sqrt(math.fsum(kept) / len(kept)))


def _bins(series: ProbeReadings) -> list[tuple[float, float, int]]:
    """(time, mean, count) of stretches of 10 s; with three readings or more the middle half of them, so that one outlier has no effect."""
    out: list[tuple[float, float, int]] = []
    i = 0
    while i < len(series.t_s):
        j = i
        while j < len(series.t_s) and series.t_s[j] < series.t_s[i] + BIN_S:
            j += 1
        values = sorted(series.celsius[i:j])
        cut = len(values) // 4
        middle = values[cut : len(values) - cut]
        out.append((math.fsum(series.t_s[i:j]) / (j - i), math.fsum(middle) / len(middle), j - i))
        i = j
    return out


def _mixture(
    bins: Sequence[tuple[float, float, int]], origin_s: float, noise: float, room_c: float, room_sd: float
) -> tuple[tuple[Component, ...], float]:
    """The mixture over tau, and the largest smoothed residual of its best member, C."""
    ages = [t - origin_s for t, _, _ in bins]
    weights = [1.0 / (1.2 * noise * noise / n + (OLD_C * (age / 900.0) ** 2) ** 2) for (_, _, n), age in zip(bins, ages, strict=True)]
    values = [v for _, v, _ in bins]
    found: list[tuple[float, Component]] = []
    best_height, best_left = -math.inf, 0.0
    for k in range(-24, 53):
        log_tau = GRID * k
        tau = TAU_PRIOR_S * math.exp(log_tau)
        fades = [math.exp(-age / tau) for age in ages]
        # T = start x fade + room x (1 - fade), fade = 1 at the newest reading; the room's prior is one more row
        a = math.fsum(w * f * f for w, f in zip(weights, fades, strict=True))
        b = math.fsum(w * f * (1 - f) for w, f in zip(weights, fades, strict=True))
        c = math.fsum(w * (1 - f) ** 2 for w, f in zip(weights, fades, strict=True)) + 1.0 / room_sd**2
        p = math.fsum(w * f * v for w, f, v in zip(weights, fades, values, strict=True))
        q = math.fsum(w * (1 - f) * v for w, f, v in zip(weights, fades, values, strict=True)) + room_c / room_sd**2
        det = a * c - b * b
        start, room = (c * p - b * q) / det, (a * q - b * p) / det
        left = [v - start * f - room * (1 - f) for v, f in zip(values, fades, strict=True)]
        chi2 = math.fsum(w * r * r for w, r in zip(weights, left, strict=True)) + ((room - room_c) / room_sd) ** 2
        height = -0.5 * chi2 - 0.5 * math.log(det) + _log_tau_prior(log_tau)
        found.append((height, Component(1.0, tau, start, room, c / det, a / det, -b / det)))
        if height > best_height:
            best_height, best_left = height, _largest_smooth(left)
    total = math.fsum(math.exp(h - best_height) for h, _ in found)
    return (
        tuple(
            Component(math.exp(h - best_height) / total, m.tau_s, m.start_c, m.room_c, m.var_start, m.var_room, m.covariance)
            for h, m in found
            if h > best_height - 20.0
        ),
        best_left,
    )


def _log_tau_prior(log_ratio: float) -> float:
    """Student's t with 3 degrees of freedom in ln tau: heavy tails, so that a large insulated bath or one with a heater fits too."""
    return -2.0 * math.log(1.0 + (log_ratio / TAU_PRIOR_LOG_SD) ** 2 / 3.0)


def _largest_smooth(left: Sequence[float]) -> float:
    """The largest mean of 6 consecutive residuals: it averages noise out, but not a disturbance."""
    width = min(6, len(left))
    return max(abs(math.fsum(left[i : i + width]) / width) for i in range(len(left) - width + 1))


def forecast_points(bath: FittedBath, minutes: float) -> list[Ahead]:
    """The bath now, at every whole minute after the newest reading and at the end, as `Ahead`."""
    total_s = 60.0 * minutes
    marks = [60.0 * k for k in range(math.floor(minutes) + 1)]
    if marks[-1] < total_s:
        marks.append(total_s)
    return [bath.at(bath.origin_s + mark) for mark in marks]
