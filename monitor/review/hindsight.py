"""What all of a probe's readings tell of the probe itself, known only afterwards: its lag, when it was wetted, the step of its register.

The live estimator learns the same on its way (`monitor/core/development`); here the whole record speaks. Tests:
tests/review/test_hindsight.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from monitor.core.development.coarse import EDGE_SHARE
from monitor.core.development.filter import QUANTUM_C
from monitor.core.development.moment import NOISE_FIRST
from monitor.core.development.probe_trust import STEP_VALUES, Register
from monitor.core.development.replay import BEFORE_POURING_S, RERUN_S
from monitor.core.development.settling import settled
from monitor.review.load import ReadingSeries
from monitor.review.numbers import RecordedProbe

Array = NDArray[np.float64]
DWELL_READINGS = 30.0
"""So many readings of one coarse code count as one: they say the same again (this project's own choice)."""


def lag_and_wetting(
    series: ReadingSeries, probe: RecordedProbe, counts: NDArray[np.bool_], begin_s: float, step_c: float
) -> tuple[float, float]:
    """The probe's lag, and since when its readings speak of the liquid that was poured in at `begin_s` (session seconds; that moment or
    earlier, where it was not dry). `step_c`: of its register."""
    times, values = np.frombuffer(series.t_s), np.frombuffer(series.celsius)
    lag_s, variance = probe.lag_s, step_c**2 / 12.0 + NOISE_FIRST
    heard = counts & ~np.isnan(values)
    if not heard.any():
        return lag_s, -np.inf

    def between(from_s: float, to_s: float) -> list[tuple[float, float]]:
        picked = heard & (times >= from_s) & (times <= to_s)
        return list(zip(times[picked].tolist(), values[picked].tolist(), strict=True))

    first_s = float(times[heard][0])
    start = settled(between(first_s, first_s + RERUN_S[-1]), lag_s, probe.lag_log_sd, variance)
    pour = settled(between(begin_s - BEFORE_POURING_S, begin_s + RERUN_S[-1]), lag_s, probe.lag_log_sd, variance, begin_s)
    if pour is not None and pour.was_dry:
        return pour.lag_s, pour.wet_t_s
    if start is None or abs(first_s - begin_s) > BEFORE_POURING_S:
        return lag_s, -np.inf
    return start.lag_s, start.wet_t_s if start.was_dry else -np.inf


def register_step(series: ReadingSeries) -> float:
    """The step of its register, C, as live would have it in the end; the usual one where the values cannot tell."""
    raw, register = np.frombuffer(series.raw_c), Register()
    told = [register.hear(value) for value in raw[~np.isnan(raw)][:STEP_VALUES].tolist()]
    return next((step_c for step_c in reversed(told) if step_c is not None), QUANTUM_C)


def of_a_coarse_register(values: Array, step_c: float) -> tuple[Array, Array]:
    """What these readings measure, and their standard deviations: at a change of code the edge between both, elsewhere little, since
    readings of one code are one reading (the same numbers as live; the noise that such a register hides is live's first guess)."""
    before = np.concatenate([values[:1], values[:-1]])
    moved = np.abs(values - before)
    edge = (moved >= 0.5 * step_c) & (moved <= 1.5 * step_c)
    inside = np.sqrt(DWELL_READINGS * step_c**2 / 12.0 + NOISE_FIRST)
    sds = np.where(edge, np.sqrt((EDGE_SHARE * step_c) ** 2 + NOISE_FIRST), np.where(moved > 1.5 * step_c, step_c, inside))
    return np.where(edge, 0.5 * (values + before), values), sds
