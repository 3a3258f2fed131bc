"""What the first minute of a probe tells: its lag and when it was wetted, from readings made by closed forms."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence

import pytest

from monitor.core.development import settling
from monitor.core.development.likelihood import Sums
from monitor.core.development.settling import settled

VARIANCE = 0.03**2 + 0.0625**2 / 12.0


def readings(
    lag_s: float, *, from_c: float = 24.0, liquid_c: float = 20.0, slope: float = 0.0, wet_s: float = 0.0, seconds: int = 76
) -> list[tuple[float, float]]:
    """One a second: dry in air of `from_c` until `wet_s`, then exactly first-order towards a liquid that drifts."""
    rng = random.Random(5)
    rows = []
    for t in range(seconds):
        h = max(t - wet_s, 0.0)
        e = math.exp(-h / lag_s)
        probe_c = from_c if t < wet_s else from_c * e + liquid_c * (1.0 - e) + slope * (h - lag_s * (1.0 - e))
        rows.append((float(t), round((probe_c + rng.gauss(0.0, 0.03)) * 16.0) / 16.0))
    return rows


@pytest.mark.parametrize("lag_s", [3.0, 5.0, 8.0, 15.0, 28.0])
def test_the_lag_is_found_whatever_was_told(lag_s: float) -> None:
    """To 10 %, and to three of its own standard deviations."""
    found = settled(readings(lag_s), 8.0, 0.6, VARIANCE)
    assert found is not None
    assert found.lag_s == pytest.approx(lag_s, rel=0.1)
    assert abs(math.log(found.lag_s / lag_s)) < 3.0 * found.lag_log_sd


@pytest.mark.parametrize("wet_s", [3.0, 6.0, 10.0])
def test_the_moment_of_wetting_is_found(wet_s: float) -> None:
    """To a second; before it the probe hung in the tank's air."""
    found = settled(readings(8.0, wet_s=wet_s), 8.0, 0.6, VARIANCE)
    assert found is not None
    assert found.was_dry
    assert found.wet_t_s == pytest.approx(wet_s, abs=1.0)
    assert found.lag_s == pytest.approx(8.0, rel=0.1)


@pytest.mark.parametrize("wet_s", [0.0, 3.0, 10.0])
@pytest.mark.parametrize("from_c", [24.0, 20.8, 12.0])
def test_moments_of_wetting_that_cannot_come_near_are_left_out_and_change_no_bit(
    wet_s: float, from_c: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same as with every moment followed up; a probe that comes from far away saves much of it."""
    seen, weighed = readings(8.0, from_c=from_c, wet_s=wet_s), 0
    in_liquid = settling._in_liquid

    def counted(rows: Sequence[tuple[float, float]], lag_s: float, variance: float) -> Sums:
        nonlocal weighed
        weighed += 1
        return in_liquid(rows, lag_s, variance)

    monkeypatch.setattr(settling, "_in_liquid", counted)
    found, few = settled(seen, 8.0, 0.6, VARIANCE), weighed
    monkeypatch.setattr(settling, "most_evidence", lambda count, variance: math.inf)
    assert settled(seen, 8.0, 0.6, VARIANCE) == found
    assert few <= (weighed - few) * (1.0 if from_c == 20.8 else 0.8)


@pytest.mark.parametrize("wall_s", [15.0, 25.0, 40.0])
def test_a_sheath_with_a_chip_inside_and_a_wall_that_warms_are_a_settling_too(wall_s: float) -> None:
    """Two lags in a row and a transient of another time constant, over 10 C: what the curve leaves is more than the readings' noise."""
    rng, sheath_c, chip_c, rows = random.Random(3), 8.0, 8.0, []
    for step in range(106 * 10):
        t = step / 10.0
        if step % 10 == 0:
            rows.append((t, round((chip_c + rng.gauss(0.0, 0.02)) * 16.0) / 16.0))
        liquid_c = 18.3 + 1.3 * math.exp(-max(t - 30.0, 0.0) / wall_s)
        sheath_c += (liquid_c - sheath_c) * 0.1 / 6.5 if t >= 37.7 else 0.0
        chip_c += (sheath_c - chip_c) * 0.1 / 1.5
    found = settled(rows, 8.0, 0.6, 0.03**2, 30.0)
    assert found is not None
    assert found.was_dry
    assert found.wet_t_s == pytest.approx(38.7, abs=1.5)


def test_a_pouring_in_among_the_readings_is_where_wetting_is_looked_for() -> None:
    """Half a minute of tank air, developer poured at 30 s, at the probe at 36 s."""
    found = settled(readings(8.0, wet_s=36.0, seconds=106), 8.0, 0.6, VARIANCE, 30.0)
    assert found is not None
    assert found.was_dry
    assert found.wet_t_s == pytest.approx(36.0, abs=1.0)


@pytest.mark.parametrize("slope", [0.0, -0.8 / 60.0])
def test_a_probe_that_was_warm_through_tells_nothing(slope: float) -> None:
    """However steeply the liquid drifts."""
    assert settled(readings(8.0, from_c=20.0, slope=slope), 8.0, 0.6, VARIANCE) is None


def test_a_lag_that_was_learned_hardly_moves() -> None:
    """Told to 3 %: what the start says of it weighs little."""
    found = settled(readings(10.0, seconds=30), 8.0, 0.03, VARIANCE)
    assert found is not None
    assert 8.0 < found.lag_s < 9.0


def test_few_readings_tell_nothing() -> None:
    """Nine."""
    assert settled(readings(8.0)[:9], 8.0, 0.6, VARIANCE) is None


@pytest.mark.parametrize(
    ("lag_s", "from_s", "to_c"), [(30.0, 36, 21.0), (47.0, 28, 23.0), (60.0, 44, 22.0), (80.0, 44, 23.0), (80.0, 36, 23.0)]
)
def test_what_happens_to_a_probe_that_had_settled_tells_nothing_of_its_lag(lag_s: float, from_s: int, to_c: float) -> None:
    """It is lifted out, half a minute or more after its first reading: taken for a settling it would tell a lag of up to 37 s."""
    calm = readings(8.0, from_c=20.0, seconds=from_s)
    later = [(from_s + t, celsius) for t, celsius in readings(lag_s, from_c=20.0, liquid_c=to_c, seconds=76 - from_s)]
    assert settled(calm + later, 8.0, 0.6, VARIANCE) is None


def test_a_step_of_the_liquid_is_no_settling() -> None:
    """It comes 40 s after a start from 24 C: no lag is read from that."""
    rows = [(t, z + (2.0 * (1.0 - math.exp(-(t - 40.0) / 8.0)) if t > 40.0 else 0.0)) for t, z in readings(8.0)]
    assert settled(rows, 8.0, 0.6, VARIANCE) is None


@pytest.mark.parametrize(("deviations", "believed"), [(1.5, True), (2.0, False)])
def test_readings_may_scatter_by_their_doubt_and_half_as_much_again(deviations: float, believed: bool) -> None:
    """A wall's uneven warmth leaves some; twice the doubt is something else. In between lies the square root of three."""
    rows = [(t, z + (-1) ** int(t) * deviations * math.sqrt(VARIANCE)) for t, z in exact(8.0)]
    assert (settled(rows, 8.0, 0.6, VARIANCE) is not None) == believed


def exact(lag_s: float) -> list[tuple[float, float]]:
    """From 24 C into a liquid of 20 C, without noise or steps."""
    return [(float(t), 20.0 + 4.0 * math.exp(-t / lag_s)) for t in range(76)]
