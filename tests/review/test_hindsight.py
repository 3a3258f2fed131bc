"""What a whole record tells of a probe: lag, wetting, register. Courses by closed forms."""

from __future__ import annotations

import math
from array import array

import numpy as np
import pytest

from monitor.review.hindsight import lag_and_wetting, of_a_coarse_register, register_step
from monitor.review.load import ReadingSeries
from monitor.review.numbers import RecordedProbe

PROBE = RecordedProbe("jug", "developer", 8.0, 0.05, None)


def series(celsius: list[float]) -> ReadingSeries:
    """Good readings, one a second from 0."""
    count = len(celsius)
    times, values = array("d", map(float, range(count))), array("d", celsius)
    return ReadingSeries("jug", "developer", times, values, values, ["good"] * count)


def settling(lag_s: float, wet_s: float, from_c: float = 24.0) -> list[float]:
    """Dry until then, afterwards towards 20 C."""
    return [round((20.0 + (from_c - 20.0) * math.exp(-max(t - wet_s, 0.0) / lag_s)) * 16.0) / 16.0 for t in range(120)]


@pytest.mark.parametrize("lag_s", [4.0, 20.0])
def test_the_lag_is_what_the_start_tells(lag_s: float) -> None:
    """Told 8 s; found to a tenth."""
    record = series(settling(lag_s, 0.0))
    found_s, since_s = lag_and_wetting(record, PROBE, np.ones(120, dtype=bool), 0.0, 0.0625)
    assert found_s == pytest.approx(lag_s, rel=0.1)
    assert since_s <= 0.0


def test_readings_of_the_tanks_air_do_not_count() -> None:
    """Poured at 25 s, at the probe at 31 s: what it said before is left out."""
    _, since_s = lag_and_wetting(series(settling(8.0, 31.0)), PROBE, np.ones(120, dtype=bool), 25.0, 0.0625)
    assert since_s == pytest.approx(31.0, abs=1.0)


def test_a_probe_without_a_good_reading_keeps_its_lag() -> None:
    """Nothing is told by nothing."""
    assert lag_and_wetting(series([20.0] * 120), PROBE, np.zeros(120, dtype=bool), 0.0, 0.0625) == (8.0, -math.inf)


def test_a_coarse_register_speaks_at_its_edges() -> None:
    """Half a degree: at a change of code the edge between, to 0.07 C; a leap of two says little; one code little too."""
    values, sds = of_a_coarse_register(np.array([20.0, 20.0, 20.5, 20.5, 21.5]), 0.5)
    assert values.tolist() == [20.0, 20.0, 20.25, 20.5, 21.5]
    assert sds[2] == pytest.approx(0.0693, abs=0.001)
    assert sds[1] == pytest.approx(0.791, abs=0.001)
    assert sds[4] == 0.5


@pytest.mark.parametrize("step_c", [0.0625, 0.5])
def test_the_step_is_what_the_values_have(step_c: float) -> None:
    """A drift of three degrees, in steps of the register."""
    assert register_step(series([round((20.0 + t / 100.0) / step_c) * step_c for t in range(300)])) == step_c
