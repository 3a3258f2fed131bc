"""The drift with which a lost temperature goes on."""

from __future__ import annotations

import pytest

from monitor.core.development.filter import SLOPE, TRANSIENT, T
from monitor.core.development.held import held_slope
from monitor.core.development.moment import Moment
from monitor.core.development.replay import Rivalries
from tests.core.development.scenes import followed


def past(slope: float, newest_slope: float | None = None, transient: float = 0.0, until: int = 400) -> list[Moment]:
    """Snapshots every 8 s of a liquid that drifts by `slope` C/s; the newest one takes its own slope for another."""
    made = []
    for t in range(0, until, 8):
        moment = followed(20.0 + slope * t, float(t))
        moment.bank.tracks[0].x[SLOPE] = slope
        made.append(moment)
    x = made[-1].bank.tracks[0].x
    x[SLOPE], x[TRANSIENT] = slope if newest_slope is None else newest_slope, transient
    return made


def test_a_drift_that_has_lasted_goes_on() -> None:
    """Now and over two and nearly five minutes it was the same."""
    assert held_slope(past(0.002), Rivalries(), 500.0) == pytest.approx(0.002)


@pytest.mark.parametrize("transient", [0.0, 0.004])
def test_a_stir_or_a_hunting_heater_does_not(transient: float) -> None:
    """The newest slope is ten times that of the last minutes: the median lies between, not at it."""
    slope = held_slope(past(0.0005, 0.005, transient), Rivalries(), 500.0)
    assert slope == pytest.approx(0.5 * (0.0005 + 0.005), rel=1e-6)


def test_a_liquid_that_was_not_known_yet_begins_no_mean_slope() -> None:
    """The recipe's 20 C give or take three, before the first reading has told the true 21.5: that was no rise."""
    made = past(0.001, until=100)
    first = made[0].bank.tracks[0]
    first.x[T], first.c[T][T] = 18.5, 9.0
    assert held_slope(made, Rivalries(), 500.0) == pytest.approx(0.001)
    first.c[T][T] = 0.0
    assert held_slope(made, Rivalries(), 500.0) > 0.003


def test_a_dying_stir_alone_does_not() -> None:
    """The transient counts as one of four."""
    assert held_slope(past(0.001, 0.001, 0.006), Rivalries(), 500.0) == pytest.approx(0.001)


@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_no_bowl_drifts_faster_than_half_a_degree_a_minute(sign: float) -> None:
    """0.45 C a minute."""
    assert held_slope(past(sign * 0.02), Rivalries(), 500.0) == pytest.approx(sign * 0.45 / 60.0)


def test_windows_in_which_something_was_odd_do_not_count() -> None:
    """A step 100 s ago makes both windows' means wrong; the newest slope alone is left, as in the first minute."""
    made = past(0.001)
    for moment in made:
        moment.bank.tracks[0].x[T] += 3.0 if moment.t >= 300.0 else 0.0
    rivalries = Rivalries()
    rivalries.open(290.0, 330.0)
    assert held_slope(made, rivalries, 500.0) == pytest.approx(0.001)
    assert held_slope(past(0.001, 0.003, until=60), Rivalries(), 500.0) == pytest.approx(0.003)


def test_only_what_a_probe_said_before_the_loss_counts() -> None:
    """Later snapshots, those without a probe and those before its first reading are left out."""
    made = past(0.001)
    held, fresh = followed(30.0, 400.0), followed(30.0, 408.0)
    held.drift, fresh.attach = "held", True
    for moment in (held, fresh):
        moment.bank.tracks[0].x[SLOPE] = 0.005
    assert held_slope([*made, held, fresh], Rivalries(), 500.0) == pytest.approx(0.001)
    assert held_slope(made, Rivalries(), 0.0) == 0.0
    assert held_slope([], Rivalries(), 500.0) == 0.0
