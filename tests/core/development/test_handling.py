"""What hands and a wall do to a lidded tank without a probe."""

from __future__ import annotations

import math

import pytest

from monitor.core.development.beliefs import Vessel
from monitor.core.development.handling import Handling, Held
from monitor.core.development.sensitivity import HANDS
from tests.core.development.scenes import BATH, DEVELOPER, LAW, ROOM, Watched

TURNED = (Held(0.0, None, 30.0), Held(None, 60.0, 10.0))
"""Half a minute at first, then ten seconds of each minute."""


def test_each_movement_counts_for_as_long_as_it_lasts() -> None:
    """The first half minute, and ten seconds from each whole minute on, but none of them at 0."""
    handling = Handling(held=TURNED)
    assert handling.share(0.0, 60.0) == pytest.approx(0.5)
    assert handling.share(60.0, 60.0) == pytest.approx(1 / 6)
    assert handling.share(28.0, 4.0) == pytest.approx(0.5)
    assert handling.share(65.0, 10.0) == pytest.approx(0.5)
    assert handling.share(70.0, 50.0) == 0.0
    assert handling.share(30.0, 600.0) == pytest.approx(100.0 / 600.0)
    assert Handling().share(0.0, 60.0) == 0.0


def test_an_untempered_tank_takes_most_of_the_way_that_its_water_value_can() -> None:
    """512 ml at 20.5 C into a tank at 8 C: 19.3 C at once, if it is wholly untempered (the project's practice, section 2a)."""
    off_c, sd_c = Handling(tempered=False, volume_ml=512.0).at_the_wall(20.5, 8.0, 0.0)
    assert off_c == pytest.approx(0.9 * 52.0 / 564.0 * -12.5)
    assert 20.5 + off_c / 0.9 == pytest.approx(19.35, abs=0.05)
    assert 0.2 * abs(off_c) < sd_c < 0.5 * abs(off_c)


def test_less_developer_takes_on_more_of_the_wall() -> None:
    """The share is that of heat capacities."""
    little, _ = Handling(tempered=False, volume_ml=250.0).at_the_wall(20.0, 10.0, 0.5)
    much, _ = Handling(tempered=False, volume_ml=1000.0).at_the_wall(20.0, 10.0, 0.5)
    assert little < 2.5 * much < 0.0


def test_a_tempered_tank_moves_nothing_and_leaves_little_doubt() -> None:
    """Far less than one of which nobody knows."""
    off_c, sd_c = Handling(tempered=True).at_the_wall(20.0, 10.0, 0.5)
    assert off_c == 0.0
    assert 0.1 < sd_c < 0.2


def test_a_tank_that_is_let_alone_follows_its_bath_alone() -> None:
    """Without a hand on it: the learned lag, towards the bath."""
    warming = Handling(held=TURNED).warming(0.0, 360.0, 19.0, 10.0)
    assert (warming.lag_s, warming.towards_c, warming.free, warming.hands_per_s) == (360.0, 19.0, 1.0, 0.0)


def test_hands_warm_a_tank_by_a_tenth_of_a_degree_in_half_a_minute() -> None:
    """0.7 W/K at 13 C make 9 W: into 564 ml of water and water value 0.116 C in 30 s; the room, as warm as the liquid, adds nothing."""
    step = Handling(held=TURNED, volume_ml=512.0).warming(1.0, 360.0, 20.0, 20.0).step(30.0, 0.0)
    assert step.keep * 20.0 + step.toward - 20.0 == pytest.approx(0.7 * 13.0 * 30.0 / (4.18 * 564.0), rel=0.01)


def test_while_it_is_in_the_hands_a_bath_does_nothing_to_it() -> None:
    """Wherever the bath is, and however it drifts."""
    handling = Handling(held=TURNED)
    steps = [handling.warming(1.0, 200.0, bath_c, 20.0).step(10.0, slope) for bath_c, slope in ((10.0, 0.01), (30.0, -0.01))]
    assert steps[0] == steps[1]
    assert math.isclose(steps[0].keep, 1.0, abs_tol=0.01)


# In the estimator

LAG_S = 360.0
COLD = Handling(tempered=False, volume_ml=512.0)


def tank(handling: Handling, *, room_from_s: int | None = 0, room_c: float = 8.0, bath_c: float = 20.0, until: int = 300) -> Watched:
    """No probe in it: measured at 20 C, poured in at 60 s; bath and room are read once a second, the room from some moment on."""
    watched = Watched(BATH, ROOM, vessel=Vessel(LAG_S, 7.0), pour_c=20.0)
    for t in range(until):
        watched.hear(float(t), bath_c, BATH)
        if room_from_s is not None and t >= room_from_s:
            watched.hear(float(t), room_c, ROOM)
        if t == 60:
            watched.estimator.begin(1, 60.0, LAW, 20.0, handling)
    return watched


def test_the_developer_in_an_untempered_tank_starts_where_the_wall_puts_it() -> None:
    """A room of 8 C makes 19.0 of 20 C, which nears the bath with the lag; a tempered tank makes nothing."""
    wall_c = 0.9 * 52.0 / 564.0 * -12.0
    assert tank(COLD).estimator.temperature(300.0).celsius == pytest.approx(20.0 + wall_c * math.exp(-240.0 / LAG_S), abs=0.03)
    assert tank(Handling(tempered=True)).estimator.temperature(300.0).celsius == pytest.approx(20.0, abs=0.01)


def test_nothing_that_the_recipe_does_not_say_moves_the_developer() -> None:
    """Left out, the wall is doubt alone."""
    unsaid, tempered = tank(Handling()).estimator, tank(Handling(tempered=True)).estimator
    assert unsaid.temperature(300.0).celsius == pytest.approx(20.0, abs=0.01)
    assert unsaid.done(1, 300.0).sd_ref_s > tempered.done(1, 300.0).sd_ref_s


def test_a_room_that_is_read_only_after_the_begin_tells_of_the_wall_all_the_same() -> None:
    """From five seconds after the pouring on: the same temperature, and the same development."""
    before, after = tank(COLD).estimator, tank(COLD, room_from_s=65).estimator
    assert after.temperature(300.0).celsius == pytest.approx(before.temperature(300.0).celsius, abs=0.03)
    assert after.done(1, 300.0).done_ref_s == pytest.approx(before.done(1, 300.0).done_ref_s, rel=2e-3)
    assert after.done(1, 300.0).sd_ref_s == pytest.approx(before.done(1, 300.0).sd_ref_s, rel=0.1)


def test_a_room_that_is_first_read_minutes_later_moves_nothing() -> None:
    """By then nobody knows what it was at the pouring."""
    never, late = tank(COLD, room_from_s=None).estimator, tank(COLD, room_from_s=200).estimator
    assert late.temperature(300.0).celsius == pytest.approx(never.temperature(300.0).celsius, abs=1e-6)


def test_hands_that_turn_the_tank_warm_it_and_leave_some_doubt() -> None:
    """Half a minute, then 10 s of each minute: between 0.1 and 0.3 C after four minutes; the end comes sooner, already by forecast."""
    held = tank(Handling(True, TURNED), room_c=20.0)
    turned = held.estimator
    warmer_c = turned.temperature(300.0).celsius - tank(Handling(tempered=True), room_c=20.0).estimator.temperature(300.0).celsius
    assert 0.1 < warmer_c < 0.3
    assert held.replay.moment.systematics.of_c[HANDS] == pytest.approx(warmer_c, rel=0.1)
    early = [tank(Handling(True, held), room_c=20.0, until=92).estimator.end(1, 480.0, 92.0).end_t_s for held in ((), TURNED)]
    assert 5.0 < early[0] - early[1] < 15.0
    assert turned.end(1, 480.0, 300.0).end_t_s == pytest.approx(early[1], abs=3.0)


def test_a_corrected_begin_meets_the_wall_once() -> None:
    """The begin moves 20 s back: the wall's cold is not added again."""
    watched = tank(COLD, until=200)
    once_c = watched.estimator.temperature(200.0).celsius
    watched.estimator.begin(1, 40.0, LAW, 20.0, COLD)
    assert watched.estimator.temperature(200.0).celsius == pytest.approx(20.0 + (once_c - 20.0) * math.exp(-20.0 / LAG_S), abs=0.02)


def test_where_a_probe_is_followed_no_hand_and_no_wall_counts() -> None:
    """What it reads has them in it already."""
    ends = []
    for handling in (Handling(), Handling(False, TURNED)):
        watched = Watched(DEVELOPER, BATH, ROOM, vessel=Vessel(LAG_S, 7.0), pour_c=20.0)
        watched.settled(0, 30, 20.0, DEVELOPER, BATH)
        watched.estimator.begin(1, 30.0, LAW, 20.0, handling)
        watched.settled(30, 120, 20.0, DEVELOPER, BATH)
        ends.append(watched.estimator.end(1, 480.0, 120.0))
    assert ends[0] == ends[1]
