"""Learns the lag of a probe in stirred water (from a dip) and of a vessel's liquid behind bath or room (from a run with water).

Decides the time constant and its standard uncertainty from the readings of one journal, what a vessel is coupled to, and
whether a learned lag agrees with the developer poured off. Both models are exact for first-order lags: the dip is an
exponential towards straight water; the vessel is driven by the readings of bath or room, straight between them, and its
inside probe's own lag is carried along in closed form.

The bath's probe is taken for the bath itself, including its own lag: the estimator later drives the model with the same
kind of readings, so what is learned is the lag that fits them. Noise of the driving probe passes the vessel's lag and its
share is added to the uncertainty (the estimate is a linear map of both probes' noise; the adjoint filter gives it).
Tests: tests/prepare/probes/test_lags.py; figures: tests/benchmarks/bench_prepare.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from monitor.core.errors import InputWrong
from monitor.core.probes.learned import NOT_COMPARED_SD_C, POURED_OFF_C, SAME_WITNESS, Coupled, WitnessCheck
from monitor.core.text.degrees import degrees, difference, plain_difference
from monitor.core.text.doubt import two_sd
from monitor.prepare.probes.coded_fit import CodedFit, Matrix, fit_codes, step_of
from monitor.prepare.probes.comparing import WATER_DRIFT_SD_C_PER_S
from monitor.prepare.probes.readings import ProbeReadings

SPAN_S = 3.0
"""A dip is found as the greatest change within this time; a hand takes about as long."""
LEAST_DIP_C, LEAST_JUMP_C = 1.0, 0.3
PROBE_LAG_S = (0.5, 300.0)
VESSEL_LAG_S = (20.0, 6.0 * 3600.0)
ANOTHER_C = 0.4
"""Growth of the change within three readings that cannot be noise."""
TAIL_LAGS = 10.0
LONGEST_TAIL_S, SHORTEST_TAIL_S = 900.0, 40.0
WORST_SD = 0.2
"""A lag whose uncertainty is more than this share of it is not learned."""
MOST_READINGS, MOST_DRIVES = 1000, 600
"""Of longer runs only every second, third ... inside reading is used, and means of two, three ... drive readings: they move slowly."""
BOTH_NOT_COMPARED_SD_C = math.sqrt(2.0) * NOT_COMPARED_SD_C
BOTH_COMPARED_SD_C = 0.1
"""Standard uncertainty of the difference between two probes, C: neither compared, and both compared (ours)."""


@dataclass(frozen=True, slots=True)
class LagFound:
    """A time constant, seconds, and its standard uncertainty (from the scatter of the readings alone).

    `change_c`: size of the jump or the difference. `coupled_to`: None for a probe's own lag.
    `against_log`: how much worse the other drive fits, in log likelihood; None if there was no choice.
    """

    lag_s: float
    sd_s: float
    change_c: float
    sigma_c: float
    misfit: float
    coupled_to: Coupled | None = None
    against_log: float | None = None


def learn_probe_lag(series: ProbeReadings, at_s: float | None = None) -> LagFound:
    """Time constant of a probe from a dip into stirred water: the greatest jump in the readings, or the one at about `at_s`.

    Raises `InputWrong` if there is no jump of 1 C or more, or too few readings after it.
    """
    start, tail = _dip(series, at_s)
    t0 = series.t_s[start]
    rough = _rough_lag(series, start, tail)
    end = t0 + min(LONGEST_TAIL_S, max(SHORTEST_TAIL_S, TAIL_LAGS * rough))
    stop = next((i for i in range(start, tail) if series.t_s[i] > end), tail)
    ages = [t - t0 for t in series.t_s[start:stop]]
    codes = series.raw_c[start:stop]
    if len(codes) < 8 or ages[-1] < 3.0 * rough:
        raise InputWrong(
            f'probe "{series.probe}": {len(codes)} readings over {ages[-1] if ages else 0:.0f} s after the dip at {t0:.0f} s; '
            "allowed: leave it in the stirred water for two minutes"
        )
    middle = 0.5 * ages[-1]
    water = median(codes[len(codes) * 2 // 3 :])

    def curve(theta: Sequence[float]) -> tuple[list[float], Matrix]:
        level, slope, jump, log_lag = theta
        lag = math.exp(min(max(log_lag, -3.0), 8.0))
        values, rows = [], []
        for age in ages:
            fade = math.exp(-age / lag)
            values.append(level + slope * (age - middle) + jump * fade)
            rows.append([1.0, age - middle, fade, jump * fade * age / lag])
        return values, rows

    slope_prior = (0.0, WATER_DRIFT_SD_C_PER_S)
    try:
        first = [water, 0.0, codes[0] - water, math.log(rough)]
        fit = fit_codes(curve, first, codes, step_of(series.raw_c), [None, slope_prior, None, (math.log(10.0), 1.5)])
    except ArithmeticError as wrong:
        raise InputWrong(
            f'probe "{series.probe}": the dip at {t0:.0f} s cannot be used ({wrong}); allowed: one dip into stirred water'
        ) from None
    lag = math.exp(fit.parameters[3])
    found = LagFound(lag, lag * fit.sd(3), abs(fit.parameters[2]), fit.sigma_c, fit.misfit)
    if not PROBE_LAG_S[0] <= lag <= PROBE_LAG_S[1] or found.sd_s > WORST_SD * lag:
        raise InputWrong(
            f'probe "{series.probe}": the dip at {t0:.0f} s gives {lag:.1f} +/- {two_sd(found.sd_s):.1f} s; '
            f"allowed: a clear jump of {plain_difference(3.0)} or more, "
            f"a lag of {PROBE_LAG_S[0]:g} to {PROBE_LAG_S[1]:g} s"
        )
    return found


def _dip(series: ProbeReadings, at_s: float | None) -> tuple[int, int]:
    """(first reading certainly after the jump, end of the readings). The jump is the greatest change within `SPAN_S`."""
    best, where = 0.0, -1
    j = 0
    for i, t in enumerate(series.t_s):
        j = max(j, i + 1)
        while j < len(series.t_s) - 1 and series.t_s[j] < t + SPAN_S - 1e-6:
            j += 1
        if j >= len(series.t_s) or series.t_s[j] > t + 3.0 * SPAN_S:
            continue
        if at_s is not None and abs(t - at_s) > 30.0:
            continue
        change = abs(series.raw_c[j] - series.raw_c[i])
        if change > best + 1e-9:
            best, where = change, j
    last = max(where, 0)
    later = [series.raw_c[k] for k in range(last, len(series.t_s)) if series.t_s[k] <= series.t_s[last] + 120.0]
    size = abs(median(later[len(later) // 2 :] or [0.0]) - series.raw_c[max(0, last - 1)]) if where >= 0 else 0.0
    if where < 0 or max(best, size) < LEAST_DIP_C or best < LEAST_JUMP_C:
        near = "" if at_s is None else f" near {at_s:g} s"
        raise InputWrong(
            f'probe "{series.probe}": no dip{near}: the greatest jump is {difference(max(best, size), ".1f")}; '
            f"allowed: {difference(LEAST_DIP_C, '.0f')} or more, better 5, from air or another cup into stirred water"
        )
    return where, _next_change(series, where)


def _next_change(series: ProbeReadings, start: int) -> int:
    """Where something else happens to the probe (it is lifted out, say), or the end.

    After one jump the change within three readings only decreases; a change larger than the smallest so far is another jump.
    """
    raw, smallest = series.raw_c, math.inf
    for k in range(start, len(raw) - 4):
        change, following = abs(raw[k + 3] - raw[k]), abs(raw[k + 4] - raw[k + 1])
        if min(change, following) > smallest + ANOTHER_C:  # two in a row: noise alone is hardly that regular
            return k
        smallest = min(smallest, 0.5 * (change + following))
    return len(series.raw_c)


def _rough_lag(series: ProbeReadings, start: int, tail: int) -> float:
    """Time to 63 per cent of the way from the first reading to where it ends within two minutes, seconds."""
    t0, y0 = series.t_s[start], series.raw_c[start]
    for horizon_s in (60.0, 240.0, LONGEST_TAIL_S):
        part = [k for k in range(start, tail) if series.t_s[k] <= t0 + horizon_s]
        settled = median([series.raw_c[k] for k in part[-max(1, len(part) // 5) :]])
        reached = next(
            (series.t_s[k] - t0 for k in part if abs(series.raw_c[k] - settled) <= abs(y0 - settled) * math.exp(-1.0)), horizon_s
        )
        if reached < horizon_s / 5.0:
            break
    return max(1.0, reached)


@dataclass(frozen=True, slots=True)
class Drive:
    """What a vessel may follow: the readings of a bath's or a room's probe."""

    series: ProbeReadings
    coupled_to: Coupled


def learn_vessel_lag(
    inside: ProbeReadings, drives: Sequence[Drive], probe_lag_s: float, offset_sd_c: float = BOTH_NOT_COMPARED_SD_C
) -> LagFound:
    """Lag of a vessel from the readings of a probe inside and of what it may be coupled to; the drive that fits better is chosen.

    `probe_lag_s`: the inside probe's own. `offset_sd_c`: standard uncertainty of the difference between the two probes
    (default: neither was compared). Raises `InputWrong` if bath and vessel hardly differed, or no drive was measured.
    """
    found: list[tuple[float, LagFound]] = []
    why = ""
    for drive in drives:
        begin = max(inside.t_s[0], drive.series.t_s[0])
        end = min(inside.t_s[-1], drive.series.t_s[-1])
        common, driver = inside.between(begin, end), drive.series.between(begin, end)
        if len(common.t_s) < 60 or len(driver.t_s) < 10 or end - begin < 300.0:
            why = f'"{inside.probe}" and "{drive.series.probe}" were read together for {max(0.0, end - begin):.0f} s; needed: 5 minutes'
            continue
        try:
            height, lag = _fit_vessel(common, driver, probe_lag_s, offset_sd_c)
        except ArithmeticError as wrong:
            why = f'"{inside.probe}" against "{drive.series.probe}": {wrong}'
            continue
        found.append((height, LagFound(lag.lag_s, lag.sd_s, lag.change_c, lag.sigma_c, lag.misfit, drive.coupled_to)))
    if not found:
        raise InputWrong(f"no lag can be learned: {why or 'no bath and no room probe in these readings'}")
    found.sort(key=lambda pair: -pair[0])
    height, best = found[0]
    if best.sd_s > WORST_SD * best.lag_s or best.change_c < 0.5 or not VESSEL_LAG_S[0] <= best.lag_s <= VESSEL_LAG_S[1]:
        raise InputWrong(
            f'"{inside.probe}" and its {best.coupled_to} differed by {difference(best.change_c, ".1f")} at '
            f'most, which gives {best.lag_s:.0f} +/- '
            f"{two_sd(best.sd_s):.0f} s; allowed: begin with water {plain_difference(3.0)} or more from the "
            f"{best.coupled_to}, and a lag of 20 s to 6 h"
        )
    against = height - found[1][0] if len(found) > 1 else None
    return LagFound(best.lag_s, best.sd_s, best.change_c, best.sigma_c, best.misfit, best.coupled_to, against)


def _fit_vessel(inside: ProbeReadings, driver: ProbeReadings, probe_lag_s: float, offset_sd_c: float) -> tuple[float, LagFound]:
    """(log likelihood, lag) for one drive. Parameters: liquid at the start, ln lag, inside minus drive probe, inside probe at the start."""
    stride = 1 + len(inside.t_s) // MOST_READINGS
    shown_at = inside.t_s[::stride]
    codes = inside.celsius[::stride]
    driver = _thinned(driver)
    grid, marks = _grid(driver, shown_at)
    first = codes[0]

    def curve(theta: Sequence[float]) -> tuple[list[float], Matrix]:
        values = two_lags(grid, marks, theta, probe_lag_s)
        columns: Matrix = []
        for k, h in ((0, 0.05), (1, 0.01), (3, 0.05)):
            moved = list(theta)
            moved[k] += h
            columns.append([(b - a) / h for a, b in zip(values, two_lags(grid, marks, moved, probe_lag_s), strict=True)])
        rows = [[columns[0][i], columns[1][i], 1.0, columns[2][i]] for i in range(len(values))]
        return values, rows

    priors = [None, (math.log(400.0), 1.5), (0.0, offset_sd_c), (first, 3.0)]
    starts = [[first, math.log(lag), 0.0, first] for lag in (120.0, 400.0, 1200.0, 4000.0)]
    start = min(
        starts, key=lambda theta: math.fsum((y - m) ** 2 for y, m in zip(codes, two_lags(grid, marks, theta, probe_lag_s), strict=True))
    )
    fit = fit_codes(curve, start, codes, step_of(inside.raw_c) if inside.raw_c == inside.celsius else 0.0, priors)
    lag = math.exp(fit.parameters[1])
    variance = fit.covariance[1][1] + _driver_share(fit, grid, marks, lag, _noise_variance(driver))
    offset = fit.parameters[2]
    difference = max(abs(y - offset - u) for y, (_, u) in zip(codes, (grid[m] for m in marks), strict=True))
    return fit.log_likelihood, LagFound(lag, lag * math.sqrt(variance), difference, fit.sigma_c, fit.misfit)


def _thinned(driver: ProbeReadings) -> ProbeReadings:
    """Means of groups of readings, so that at most `MOST_DRIVES` are left."""
    size = 1 + len(driver.t_s) // MOST_DRIVES
    if size == 1:
        return driver

    def means(values: tuple[float, ...]) -> tuple[float, ...]:
        return tuple(math.fsum(values[i : i + size]) / len(values[i : i + size]) for i in range(0, len(values), size))

    return ProbeReadings(driver.probe, driver.role, means(driver.t_s), means(driver.raw_c), means(driver.celsius))


def _grid(driver: ProbeReadings, shown_at: Sequence[float]) -> tuple[list[tuple[float, float]], list[int]]:
    """(time, drive) at every reading of either probe, and the indices of the inside readings in it."""
    grid: list[tuple[float, float]] = []
    marks: list[int] = []
    k = 0
    for t in sorted({*driver.t_s, *shown_at}):
        while k < len(driver.t_s) - 2 and driver.t_s[k + 1] < t:
            k += 1
        t0, t1 = driver.t_s[k], driver.t_s[k + 1]
        share = min(max((t - t0) / (t1 - t0), 0.0), 1.0)
        grid.append((t, driver.celsius[k] + share * (driver.celsius[k + 1] - driver.celsius[k])))
    wanted = set(shown_at)
    marks = [i for i, (t, _) in enumerate(grid) if t in wanted]
    return grid, marks


def two_lags(grid: Sequence[tuple[float, float]], marks: Sequence[int], theta: Sequence[float], probe_lag_s: float) -> list[float]:
    """What the inside probe would show at the marks: liquid behind a drive straight between readings, probe behind it."""
    liquid, log_lag, offset, probe = theta
    lag = math.exp(min(max(log_lag, 2.0), 11.0))
    if abs(lag - probe_lag_s) < 1e-3 * lag:
        lag *= 1.002
    probe -= offset
    values: list[float] = []
    wanted = iter(marks)
    mark = next(wanted, -1)
    last_t, last_u = grid[0]
    dt_known, fade, probe_fade = -1.0, 1.0, 1.0
    share = lag / (lag - probe_lag_s)
    for i, (t, u) in enumerate(grid):
        dt = t - last_t
        if dt > 0.0:
            if dt != dt_known:
                dt_known, fade, probe_fade = dt, math.exp(-dt / lag), math.exp(-dt / probe_lag_s) if probe_lag_s > 0 else 0.0
            slope = (u - last_u) / dt
            away = liquid - last_u + lag * slope  # liquid = straight line + away * fade
            settled = last_u - (lag + probe_lag_s) * slope + share * away
            probe = u - (lag + probe_lag_s) * slope + share * away * fade + (probe - settled) * probe_fade
            liquid = u - lag * slope + away * fade
        if i == mark:
            values.append(probe + offset)
            mark = next(wanted, -1)
        last_t, last_u = t, u
    return values


def _noise_variance(driver: ProbeReadings) -> float:
    """Variance of one reading of the drive relative to its neighbours, C2: from second differences."""
    c = driver.celsius
    seconds = [(c[i - 1] - 2.0 * c[i] + c[i + 1]) ** 2 for i in range(1, len(c) - 1)]
    kept = sorted(seconds)[: max(1, len(seconds) * 98 // 100)]  # a jump of the water is not noise; of normal noise this removes 13 %
    return math.fsum(kept) / len(kept) / 6.0 / 0.87


def _driver_share(fit: CodedFit, grid: Sequence[tuple[float, float]], marks: Sequence[int], lag: float, variance: float) -> float:
    """Variance of ln lag due to the noise of the driving probe: the fit's linear map, run backwards through the lag."""
    gain = [row[1] for row in fit.covariance]
    at = {m: math.fsum(g * w for g, w in zip(gain, row, strict=True)) for m, row in zip(marks, fit.weighted_rows, strict=True)}
    total, held = 0.0, 0.0
    for i in range(len(grid) - 1, 0, -1):
        dt = grid[i][0] - grid[i - 1][0]
        held += at.get(i, 0.0)
        share = 1.0 - math.exp(-dt / lag)
        total += (held * share) ** 2
        held *= 1.0 - share
    return total * variance


@dataclass(frozen=True, slots=True)
class PouredOff:
    """The estimate at the end against the developer poured off, both C."""

    estimated_c: float
    measured_c: float

    @property
    def difference_c(self) -> float:
        """Measured minus estimated."""
        return self.measured_c - self.estimated_c

    @property
    def learn_again(self) -> bool:
        """True if it is more than 0.4 C off."""
        return abs(self.difference_c) > POURED_OFF_C

    @property
    def text(self) -> str:
        """One sentence."""
        found = (
            f"poured off {degrees(self.measured_c, '.1f')}, estimated {degrees(self.estimated_c, '.1f')}: "
            f"{difference(self.difference_c, '+.1f')}"
        )
        if self.learn_again:
            return f"{found}, more than {plain_difference(POURED_OFF_C)} off; learn this vessel's lag again (same volume, same agitation)"
        return f"{found}, within {plain_difference(POURED_OFF_C)}; the lag stands"

    @property
    def witness_text(self) -> str:
        """The same of a witness that made the estimate."""
        found = (
            f"poured off {degrees(self.measured_c, '.1f')}, witness {degrees(self.estimated_c, '.1f')}: "
            f"{difference(self.difference_c, '+.1f')}"
        )
        if self.learn_again:
            sd_c = WitnessCheck("", None, self.difference_c, "").sd_c
            counts = f"until a check is within {plain_difference(POURED_OFF_C)} it counts as +/- {difference(two_sd(sd_c), '.1f')} at best"
            return f"{found}, more than {plain_difference(POURED_OFF_C)} off; {counts}. {SAME_WITNESS}"
        return f"{found}, within {plain_difference(POURED_OFF_C)}; it counts as a probe in the film's own developer"


WHEN_AGAIN = (
    "Learn it again for another volume, another vessel or another way of agitation, "
    f"and when the developer poured off is more than {plain_difference(POURED_OFF_C)} off."
)
"""Said with every vessel's lag."""
