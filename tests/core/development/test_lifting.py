"""Lifted out, or has the liquid moved? Curves by closed forms, weighed."""

from __future__ import annotations

import math
import random
from collections.abc import Callable

import pytest

from monitor.core.development.coarse import Point, points
from monitor.core.development.lifting import Base, Lifting, weigh_lifting

VARIANCE = 0.03**2 + 0.0625**2 / 12.0
AT_S = 30.0


def weighed(course: Callable[[float], float], seconds: float, room_c: float | None) -> Lifting | None:
    """What is said so long after something began at 30 s; the probe stood at 20 C before."""
    rng = random.Random(3)
    rows = [(float(t), round((course(t - AT_S) + rng.gauss(0.0, 0.03)) * 16.0) / 16.0) for t in range(1, int(AT_S + seconds) + 1)]
    base = Base(0.0, (20.0, 0.02), (0.0, 0.001), (0.0, 0.001))
    said = [Point(t, celsius, VARIANCE) for t, celsius in rows]
    return weigh_lifting(base, said, [t for t, _ in rows if t <= AT_S + seconds - 3.0], 8.0, room_c)


def in_air(target_c: float, lag_s: float) -> Callable[[float], float]:
    """A probe that goes towards the air, its chip 2 s behind."""
    return lambda h: 20.0 if h < 2.0 else target_c + (20.0 - target_c) * math.exp(-(h - 2.0) / lag_s)


def stirred(by_c: float, tau_s: float, lag_s: float = 8.0) -> Callable[[float], float]:
    """Water that spreads with `tau_s`, as a probe with `lag_s` shows it."""
    def course(h: float) -> float:
        left = (tau_s * math.exp(-h / tau_s) - lag_s * math.exp(-h / lag_s)) / (tau_s - lag_s)
        return 20.0 if h < 0 else 20.0 + by_c * (1.0 - left)

    return course


@pytest.mark.parametrize(("target_c", "lag_s", "room_c", "after_s"), [
    (8.0, 120.0, 8.0, 30.0), (26.0, 120.0, 26.0, 30.0), (9.0, 60.0, 14.0, 30.0), (14.0, 45.0, 18.0, 30.0), (12.0, 80.0, None, 40.0),
    (14.0, 60.0, 21.0, 40.0),
])  # fmt: skip
def test_a_probe_in_air_is_told_by_its_curve(target_c: float, lag_s: float, room_c: float | None, after_s: float) -> None:
    """Dry towards the room, wet towards the wet bulb: likelier by far after half a minute, a little later where the room is near or not
    read; and since when to 2 s."""
    said = weighed(in_air(target_c, lag_s), after_s, room_c)
    assert said is not None
    assert said.ahead > 5.0
    assert said.since_t_s == pytest.approx(AT_S, abs=2.0)


@pytest.mark.parametrize("after_s", [80.0, 110.0, 140.0])
def test_a_wet_probe_that_dries_is_told_by_its_curve(after_s: float) -> None:
    """What it goes to rises meanwhile, by 0.24 C a minute: no constant target would fit."""
    def course(h: float) -> float:
        risen = 0.004 * (h - 2.0 - 60.0 * (1.0 - math.exp(-(h - 2.0) / 60.0)))
        return 20.0 if h < 2.0 else 16.5 + 3.5 * math.exp(-(h - 2.0) / 60.0) + risen

    said = weighed(course, after_s, 21.0)
    assert said is not None
    assert said.ahead > 5.0


@pytest.mark.parametrize(("by_c", "tau_s"), [(1.5, 10.0), (-1.5, 10.0), (2.0, 20.0), (-2.0, 35.0), (0.8, 3.0), (3.0, 15.0)])
@pytest.mark.parametrize("room_c", [None, 14.0, 18.5, 21.5, 26.0])
def test_water_stirred_in_is_no_probe_in_air(by_c: float, tau_s: float, room_c: float | None) -> None:
    """Also where it happens to go towards the room."""
    for seconds in (10.0, 20.0, 40.0):
        said = weighed(stirred(by_c, tau_s), seconds, room_c)
        assert said is None or said.ahead < 3.0


@pytest.mark.parametrize("tau_s", [14.0, 22.0, 28.0, 34.0, 50.0])
def test_no_way_of_spreading_falls_between_those_that_are_tried(tau_s: float) -> None:
    """With so many readings a curve that is a quarter too quick would leave more than their noise: air would fit as well."""
    for seconds in (50.0, 65.0, 80.0):
        said = weighed(stirred(-1.9, tau_s), seconds, 17.6)
        assert said is None or said.ahead < 1.0


@pytest.mark.parametrize("room_c", [None, 22.0])
def test_a_bad_contact_that_leaps_towards_no_air_is_not_lifted(room_c: float | None) -> None:
    """Two degrees and more within seconds: only air of nearly 50 C would do that to a probe."""
    assert weighed(in_air(48.0, 35.0), 6.0, room_c) is None


def test_what_is_neither_is_not_called_lifted() -> None:
    """A reading that leaps to and fro by 2 C."""
    assert weighed(lambda h: 20.0 - (2.0 if h > 0 and int(h) // 4 % 2 else 0.0), 30.0, 14.0) is None
    said = weighed(lambda h: 20.0 if h < 0 else 18.0, 30.0, 14.0)
    assert said is None or said.ahead < 3.0


@pytest.mark.parametrize("seconds", [40.0, 60.0])
def test_codes_of_half_a_degree_cannot_rule_out_a_probe_in_air(seconds: float) -> None:
    """It goes 1.5 C down within minutes, in one step or two: taken as readings of its middle they would be a liquid's, thousands of times
    likelier; a stretch and its edges leave it open."""
    rng, course = random.Random(0), in_air(18.48, 120.0)
    rows = [(float(t), course(t - AT_S) + 0.12 + rng.gauss(0.0, 0.025)) for t in range(1, int(AT_S + seconds) + 1)]
    rows = [(t, math.floor(celsius / 0.5) * 0.5 + 0.25) for t, celsius in rows]
    base, onsets_s = Base(0.0, (20.12, 0.05), (0.0, 0.001), (0.0, 0.001)), [t for t, _ in rows if t <= AT_S + seconds - 3.0]
    said = weigh_lifting(base, points(rows, 0.5, 0.03**2), onsets_s, 8.0, 18.0)
    assert said is not None
    assert abs(said.ahead) < 2.0


def test_without_a_beginning_nothing_is_said() -> None:
    """No moment, or none before the newest reading."""
    base = Base(0.0, (20.0, 0.02), (0.0, 0.001), (0.0, 0.001))
    said = [Point(1.0, 20.0, VARIANCE)]
    assert weigh_lifting(base, said, [], 8.0, None) is None
    assert weigh_lifting(base, said, [1.0], 8.0, None) is None
