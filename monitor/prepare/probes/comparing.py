"""Compares a probe with a trusted thermometer: accepts or refuses one point, and turns the points into a correction.

Decides whether the water was steady enough (slope below 0.05 C a minute), what the offset is (probe minus reference) and
how certain it is. It never corrects a reading silently and never forces a zero. No clock: the day is an argument.
One model serves one point and many: a straight line whose slope is believed to be 0 within `SLOPE_PRIOR_PER_C`, so that
one point gives an offset whose uncertainty grows away from it, and points far apart give a line.
Tests: tests/prepare/probes/test_comparing.py; figures: tests/benchmarks/bench_prepare.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from monitor.core.errors import InputWrong
from monitor.core.probes.learned import COLOUR_DAYS, DEFAULT_LAG_S, Comparison, ComparisonPoint
from monitor.core.text.degrees import degrees, difference, plain, plain_difference
from monitor.core.text.doubt import two_sd
from monitor.prepare.probes.coded_fit import QUIET_STEPS, Matrix, fit_codes, step_of, straight_line_posterior
from monitor.prepare.probes.readings import ProbeReadings

STEADY_C_PER_MIN = 0.05
"""Water whose reading moves this fast is refused (common practice, no source)."""
BEFORE_S, AFTER_S = 120.0, 60.0
"""Readings from two minutes before to one minute after the thermometer was read are used."""
WATER_DRIFT_SD_C_PER_S = 0.002
"""Prior standard deviation of the drift of stirred water: 0.12 C a minute (ours)."""
LEAST_READINGS, LEAST_S = 10, 60.0
SCATTER_C = 0.25
"""With more scatter than this about a straight line, the water is not stirred or the contact is bad."""
WRONG_PROBE_C = 3.0
"""A usual probe is within 0.5 C (its data sheet). This far apart, probe and thermometer are not in the same water."""
SLOPE_PRIOR_PER_C = 0.004
"""Standard deviation of a usual probe's fault of slope before it is compared at two temperatures: about +/-0.5 C over its range
of 95 C is 0.005 per C (data sheet); encapsulated ones needed a straight line each (facts of a published study). Rounded, ours."""
OFFSET_PRIOR_C = 1.0
MISFIT = 4.0
"""Two references whose points lie this many variances a point off contradict each other: by chance 2 in 100 do (chi-squared, 2 points)."""
LINE_SPAN_C = 5.0
"""Points closer together than this do not determine a slope."""
THERMOMETER = "thermometer"
"""The name of a thermometer that nobody named."""
ICE = "melting ice"
"""The name of the ice point as a reference."""
ICE_SD_C = 0.02
"""Standard uncertainty of an ice point made at home, C (national institutes' notes, at second hand: 0.01 C when well made)."""
ICE_HOW = (
    "Crush ice made of distilled or boiled water, fill a vacuum flask or a deep jug with it, and pour distilled water in until a wet",
    "slush is left: ice down to the bottom, no water standing under or over it. Pour off what melts, add ice. Stir for a minute, then",
    "put the probe and 10 cm of its lead into the middle, away from the walls, and leave it for 5 minutes. Stir once in a while.",
    "Caution: salt, tap water or a film of fixer make it colder than 0 C; a pool of water makes it up to 4 C warmer. Rinse the probe",
    "first. Ice straight from the freezer is below 0 C: it must be wet all over.",
)
"""How to make an ice point (national institutes' notes, at second hand; common practice)."""
ICE_LIMITS = (
    "Good to 0.02 C at home, 0.01 C when well made. It finds an offset, not a fault of slope:",
    "a probe 1 % wrong in slope reads right at 0 C and 0.4 C wrong at 38 C; only a comparison at the working temperature finds that.",
)
"""The arithmetic is 0.01 x 38."""
DATA_SHEET_C = 0.5
"""What a usual probe may be off (its data sheet)."""


@dataclass(frozen=True, slots=True)
class PointFound:
    """One comparison in one water. `sd_c` includes the reference's uncertainty; `scatter_sd_c` does not. `why`: the verdict's reason."""

    probe: str
    at_s: float
    reference_c: float
    offset_c: float
    sd_c: float
    scatter_sd_c: float
    slope_c_per_min: float
    accepted: bool
    why: str
    readings: int

    def point(self, reference: str, reference_sd_c: float) -> ComparisonPoint:
        """The part of it that is stored, with what it was compared with."""
        return ComparisonPoint(self.reference_c, self.offset_c, self.scatter_sd_c, reference, reference_sd_c)


def compare_at(
    series: ProbeReadings,
    reference_c: float,
    at_s: float,
    reference_sd_c: float,
    lag_s: float = DEFAULT_LAG_S,
    lag_sd_s: float = 0.5 * DEFAULT_LAG_S,
    reference: str = THERMOMETER,
) -> PointFound:
    """Offset of a probe at `at_s`, when the trusted thermometer showed `reference_c`, with standard uncertainty `reference_sd_c` (C).

    Works on the raw register value, not on one corrected by an earlier comparison. In drifting water a probe lags behind by
    slope x `lag_s`; that is corrected. Raises `InputWrong` if there are hardly any readings around that moment.
    """
    window = series.between(at_s - BEFORE_S, at_s + AFTER_S)
    if len(window.t_s) < 3:
        raise InputWrong(
            f'probe "{series.probe}": only {len(window.t_s)} good readings near {at_s:g} s; allowed: a moment from {series.t_s[0]:.0f} to '
            f"{series.t_s[-1]:.0f} s with readings in the two minutes before it"
        )
    middle_s = math.fsum(window.t_s) / len(window.t_s)
    ages = [t - middle_s for t in window.t_s]
    rows: Matrix = [[1.0, age] for age in ages]

    def straight(theta: Sequence[float]) -> tuple[list[float], Matrix]:
        return [theta[0] + theta[1] * age for age in ages], rows

    first = math.fsum(window.raw_c) / len(window.raw_c)
    step_c = step_of(series.raw_c)
    fit = fit_codes(straight, [first, 0.0], window.raw_c, step_c, [None, (0.0, WATER_DRIFT_SD_C_PER_S)])
    slope = fit.parameters[1]
    ahead_s = at_s - middle_s + lag_s
    if fit.sigma_c < QUIET_STEPS * step_c:
        level, level_sd = straight_line_posterior(ages, window.raw_c, step_c, fit, ahead_s, WATER_DRIFT_SD_C_PER_S)
        drifted = min(1.0, abs(slope) * (ages[-1] - ages[0]) / step_c)
        level_sd = math.hypot(level_sd, (1.0 - drifted * drifted) * _hidden_in_step(0.5 * fit.sigma_c, step_c))
    else:
        level = fit.parameters[0] + slope * ahead_s
        c = fit.covariance
        level_sd = math.sqrt(max(0.0, c[0][0] + 2.0 * ahead_s * c[0][1] + ahead_s**2 * c[1][1]))
    scatter_sd = math.hypot(level_sd, slope * lag_sd_s)
    offset, per_min = level - reference_c, 60.0 * slope
    why = _refusal(window, per_min, fit.sigma_c, offset, reference)
    return PointFound(
        series.probe,
        at_s,
        reference_c,
        offset,
        math.hypot(scatter_sd, reference_sd_c),
        scatter_sd,
        per_min,
        why is None,
        why
        or f"steady to {difference(abs(per_min), '.3f')} a minute over {window.t_s[-1] - window.t_s[0]:.0f} s, {len(window.t_s)} readings",
        len(window.t_s),
    )


def _hidden_in_step(sigma_c: float, step_c: float) -> float:
    """Root mean square of what rounding adds to the mean of many readings: first harmonic of the sawtooth, damped by the noise.

    Widrow's theory of quantisation. Callers pass half the noise that was found, because the steps of a quiet probe hide
    how quiet it is.
    """
    return step_c / (math.pi * math.sqrt(2.0)) * math.exp(-2.0 * (math.pi * sigma_c / step_c) ** 2)


def named(reference: str) -> str:
    """A reference in a sentence: a name that a person gave stands as it was given."""
    return f"the {THERMOMETER}" if reference == THERMOMETER else reference


def read_off(offset_c: float) -> str:
    """How far a probe or a thermometer reads off, probe minus reference: "0.30 C high"."""
    return f"{difference(abs(offset_c), '.2f')} {'high' if offset_c >= 0.0 else 'low'}"


def _refusal(window: ProbeReadings, per_min: float, sigma_c: float, offset_c: float, reference: str) -> str | None:
    span_s = window.t_s[-1] - window.t_s[0]
    if len(window.t_s) < LEAST_READINGS or span_s < LEAST_S:
        return f"only {len(window.t_s)} readings over {span_s:.0f} s; needed: {LEAST_READINGS} over {LEAST_S:.0f} s"
    if abs(per_min) >= STEADY_C_PER_MIN:
        return (
            f"the water changes by {difference(per_min, '+.3f')} a minute; needed: less than "
            f"{plain_difference(STEADY_C_PER_MIN)} a minute. Stir it, cover it, wait three minutes"
        )
    if sigma_c > SCATTER_C:
        return (
            f"the readings scatter by {difference(sigma_c, '.2f')}; needed: less than "
            f"{plain_difference(SCATTER_C)}. Stir, and keep probe and thermometer within 2 cm"
        )
    if abs(offset_c) > WRONG_PROBE_C and reference == ICE:
        return (
            f"the probe reads {difference(offset_c, '+.1f')} in the ice; needed: within "
            f"{difference(WRONG_PROBE_C, '.0f')}. Is it deep in the wet slush?"
        )
    if abs(offset_c) > WRONG_PROBE_C:
        return (
            f"probe and thermometer are {difference(abs(offset_c), '.1f')} apart; needed: less than "
            f"{difference(WRONG_PROBE_C, '.0f')}. Are both in the same water?"
        )
    return None


def combine(
    points: Sequence[ComparisonPoint], *, probe: str, number: str | None, reference: str, reference_sd_c: float, who: str, day: str
) -> Comparison:
    """The correction that follows from one or more points: an exact Bayesian straight line.

    The reference's own uncertainty is common to all its points. Where there is one reference it is kept separately; where there are
    several, each shifts its own points, and all of it is in the line's. `reference`, `reference_sd_c`: of points that do not tell
    their own. `day`: ISO date of the newest point.
    """
    if not points:
        raise ValueError("a comparison needs a point")
    own = [(p.reference or reference, reference_sd_c if p.reference_sd_c is None else p.reference_sd_c) for p in points]
    if len(set(own)) > 1:
        named = " and ".join(dict.fromkeys(name for name, _ in own))
        return _across(points, own, probe, number, named, who, day)
    ((reference, reference_sd_c),) = set(own)
    weights = [1.0 / max(p.sd_c, 1e-4) ** 2 for p in points]
    at_c = math.fsum(w * p.reference_c for w, p in zip(weights, points, strict=True)) / math.fsum(weights)
    s_xx = math.fsum(w * (p.reference_c - at_c) ** 2 for w, p in zip(weights, points, strict=True))
    s_xy = math.fsum(w * (p.reference_c - at_c) * p.offset_c for w, p in zip(weights, points, strict=True))
    total = math.fsum(weights)
    mean = math.fsum(w * p.offset_c for w, p in zip(weights, points, strict=True)) / (total + 1.0 / OFFSET_PRIOR_C**2)
    span = max(p.reference_c for p in points) - min(p.reference_c for p in points)
    if span >= LINE_SPAN_C:
        variance = 1.0 / (s_xx + 1.0 / SLOPE_PRIOR_PER_C**2)
        slope, slope_sd = s_xy * variance, math.sqrt(variance)
    else:
        slope, slope_sd = 0.0, SLOPE_PRIOR_PER_C
    sd = 1.0 / math.sqrt(total + 1.0 / OFFSET_PRIOR_C**2)
    left = [p.offset_c - mean - slope * (p.reference_c - at_c) for p in points]
    free = len(points) - (2 if span >= LINE_SPAN_C else 1)
    if free > 0:  # points that disagree by more than their scatter: the disagreement counts
        chi2 = math.fsum(w * r * r for w, r in zip(weights, left, strict=True)) / free
        sd, slope_sd = sd * math.sqrt(max(1.0, chi2)), slope_sd * math.sqrt(max(1.0, chi2)) if span >= LINE_SPAN_C else slope_sd
    return Comparison(probe, number, at_c, mean, slope, sd, slope_sd, reference, reference_sd_c, who, day, tuple(points))


def _across(
    points: Sequence[ComparisonPoint], own: Sequence[tuple[str, float]], probe: str, number: str | None, named: str, who: str, day: str
) -> Comparison:
    """One line through the points of several references: least squares with an unknown shift of each reference, taken out by hand.

    With weights w of a reference's points and its variance v, its part of the normal equations is X'WX - (X'w)(X'w)'/(1/v + sum w).
    """
    a00, a01, a11 = 1.0 / OFFSET_PRIOR_C**2, 0.0, 1.0 / SLOPE_PRIOR_PER_C**2
    b0 = b1 = squares = 0.0
    for group in dict.fromkeys(own):
        rows = [(p.reference_c, p.offset_c, 1.0 / max(p.sd_c, 1e-4) ** 2) for p, one in zip(points, own, strict=True) if one == group]
        w0, w1 = math.fsum(w for _, _, w in rows), math.fsum(w * c for c, _, w in rows)
        wo = math.fsum(w * o for _, o, w in rows)
        shift = 0.0 if group[1] == 0.0 else 1.0 / (1.0 / group[1] ** 2 + w0)
        a00 += w0 - w0 * w0 * shift
        a01 += w1 - w0 * w1 * shift
        a11 += math.fsum(w * c * c for c, _, w in rows) - w1 * w1 * shift
        b0 += wo - w0 * wo * shift
        b1 += math.fsum(w * c * o for c, o, w in rows) - w1 * wo * shift
        squares += math.fsum(w * o * o for _, o, w in rows) - wo * wo * shift
    determinant = a00 * a11 - a01 * a01
    offset_0, slope = (a11 * b0 - a01 * b1) / determinant, (a00 * b1 - a01 * b0) / determinant
    misfit = (squares - b0 * offset_0 - b1 * slope) / len(points)
    wider = math.sqrt(misfit) if misfit > MISFIT else 1.0  # references that contradict each other: nobody knows which is wrong
    at_c = a01 / a00  # where offset and slope are uncorrelated: minus their covariance over the slope's variance
    return Comparison(
        probe, number, at_c, offset_0 + slope * at_c, slope, wider / math.sqrt(a00), wider * math.sqrt(a00 / determinant), named, 0.0,
        who, day, tuple(points),
    )  # fmt: skip


def thermometer_line(comparison: Comparison) -> str | None:
    """What melting ice says of the thermometer that was used beside it; None unless both are there. Sign: thermometer minus truth."""
    ice = [p for p in comparison.points if p.reference == ICE]
    others = [p for p in comparison.points if p.reference not in (ICE, None)]
    if not ice or not others:
        return None
    by_ice = combine(ice, probe="", number=None, reference=ICE, reference_sd_c=ICE_SD_C, who="", day=comparison.date)
    newest = others[-1]
    off_c = by_ice.offset_at(newest.reference_c) - newest.offset_c
    doubt_c = math.hypot(by_ice.sd_at(newest.reference_c), newest.sd_c)
    doubt = f"+/- {difference(two_sd(doubt_c), '.2f')}"
    what = named(newest.reference or THERMOMETER)
    said = f"by the ice, {what} reads {read_off(off_c)} near {degrees(newest.reference_c, '.0f')}, {doubt}"
    if newest.reference_sd_c is not None and abs(off_c) > 2 * math.hypot(doubt_c, newest.reference_sd_c):
        said += "; that is more than both may be off: make the ice again, and compare again"
    return said


def comparison_lines(comparison: Comparison, working_c: float | None = None) -> list[str]:
    """The correction in words: what it is, how certain, where it holds, and what is still to do."""
    low, high = comparison.valid_c
    c = comparison
    if c.kind == "line":
        shape = (
            f"{read_off(c.offset_at(20.0))} at {plain(20.0)} and "
            f"{read_off(c.offset_at(38.0))} at {plain(38.0)} (a straight line through {len(c.points)} points)"
        )
    else:
        count = "one point" if len(c.points) == 1 else f"{len(c.points)} points"
        shape = f"{read_off(c.offset_c)} near {degrees(c.at_c, '.0f')} ({count})"
    if c.reference_sd_c > 0.0 and c.reference != ICE:
        own = f"{named(c.reference)} alone may be +/- {difference(two_sd(c.reference_sd_c), '.2f')} off"
        doubt = f"+/- {difference(two_sd(c.sd_at(c.at_c)), '.2f')} (2 sd) near {degrees(c.at_c, '.0f')}; {own}"
    else:
        doubt = (
            f"+/- {difference(two_sd(c.sd_at(20.0)), '.2f')} at {plain(20.0)} and "
            f"{difference(two_sd(c.sd_at(38.0)), '.2f')} at {plain(38.0)} (2 sd, {c.reference})"
        )
    lines = [
        f"{c.probe} reads {shape}; this is corrected; {doubt}",
        f"compared {c.date} by {c.who}; valid between {low:.0f} and {degrees(high, '.0f')} until {c.expires(False)}"
        f" ({COLOUR_DAYS} days, until {c.expires(True)}, for a colour developer)",
    ]
    of_thermometer = thermometer_line(c)
    if of_thermometer is not None:
        lines.append(of_thermometer)
    if len(c.points) < 3:
        left = "one more point" if len(c.points) == 2 else "two more points"
        lines.append(f"{left} needed: three in all, one of them at the working temperature")
    if working_c is not None and not low <= working_c <= high:
        lines.append(
            f"no point within {plain_difference(2.0)} of {degrees(working_c, 'g')}: there it is +/- "
            f"{difference(two_sd(c.sd_at(working_c)), '.2f')}"
        )
    return lines
