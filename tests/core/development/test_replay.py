"""What is kept of the past, and that a stretch computed again is what it would have been had everything been known in time."""

from __future__ import annotations

import math
import random

import pytest

from monitor.core.development.beliefs import Beliefs, ProbeModel, Vessel
from monitor.core.development.filter import PROBE, T
from monitor.core.development.moment import Segment
from monitor.core.development.rate import rate
from monitor.core.development.replay import Replay, Rivalries
from monitor.core.development.rivals import ALL_KINDS, LIQUID_KINDS
from monitor.core.development.sensitivity import standard_deviations
from tests.core.development.scenes import BATH, DEVELOPER, LAW, ROOM, Watched, at

# Rivalries


def two() -> Rivalries:
    """One from 10 to 20 s, one from 50 s that has not ended."""
    rivalries = Rivalries()
    rivalries.open(10.0, 20.0, LIQUID_KINDS)
    rivalries.open(50.0)
    return rivalries


@pytest.mark.parametrize(
    ("t", "kinds"), [(9.9, None), (10.0, LIQUID_KINDS), (20.0, None), (49.9, None), (50.0, ALL_KINDS), (9e9, ALL_KINDS)]
)
def test_a_rivalry_runs_from_its_start_up_to_its_end(t: float, kinds: tuple[str, ...] | None) -> None:
    """The end itself is no longer in it."""
    found = two().at(t)
    assert (None if found is None else found.kinds) == kinds


def test_rivalries_are_ended_narrowed_cut_and_forgotten() -> None:
    """The newest one ends or is narrowed; a cut ends all; what is over is dropped."""
    rivalries = two()
    assert rivalries.narrow(LIQUID_KINDS) == 50.0
    assert rivalries.newest_kinds == LIQUID_KINDS
    rivalries.end(60.0)
    assert rivalries.at(60.0) is None
    rivalries.forget_before(30.0)
    assert len(rivalries) == 1
    rivalries.cut(55.0)
    assert rivalries.at(55.0) is None
    assert rivalries.at(54.0) is not None
    rivalries.cut(50.0)
    assert len(rivalries) == 0
    assert rivalries.newest_kinds == ()
    rivalries = two()
    rivalries.drop_open()
    assert len(rivalries) == 1


@pytest.mark.parametrize(
    ("since", "until", "ran"), [(0.0, 10.0, False), (0.0, 10.1, True), (19.9, 30.0, True), (20.0, 50.0, False), (60.0, 70.0, True)]
)
def test_whether_rivals_ran_in_a_stretch(since: float, until: float, ran: bool) -> None:
    """Both ends are outside."""
    assert two().between(since, until) == ran


# What is believed before anything is heard


@pytest.mark.parametrize(("pour_c", "celsius", "sd_c"), [(None, 20.0, 3.0), (18.0, 18.0, 0.5)])
def test_at_first_the_liquid_is_at_the_reference_or_as_it_was_poured(pour_c: float | None, celsius: float, sd_c: float) -> None:
    """3 C about the reference; half a degree about what the person measured."""
    watched = Watched(pour_c=pour_c)
    watched.estimator.begin(1, 0.0, LAW, 20.0)
    now = watched.estimator.temperature(0.0)
    assert now.celsius == celsius
    assert now.sd_c == pytest.approx(sd_c, rel=1e-3)


# The start


def settling(reruns: bool) -> float:
    """The count after a minute, of a probe that comes 6 C too warm into a liquid of 17 C; with the start computed again or not."""
    replay_of = Watched()
    replay_of.estimator.begin(1, 0.0, LAW, 20.0)
    for t in range(60):
        replay_of.hear(float(t), 17.0 + 6.0 * math.exp(-t / 8.0))
        if not reruns:
            replay_of.replay._reruns = [(9e9, None)]
    return replay_of.estimator.done(1, 59.0).done_ref_s / (59.0 * rate(LAW, 17.0)) - 1.0


def test_the_start_is_computed_again_about_what_was_found() -> None:
    """The count is then nearer to the truth, and within 0.2 %."""
    assert abs(settling(True)) < 0.002
    assert abs(settling(True)) < 0.5 * abs(settling(False))


@pytest.mark.parametrize(("seconds", "left"), [(16, 3), (17, 2), (41, 2), (42, 1), (76, 1), (77, 0)])
def test_the_start_is_computed_again_three_times_after_belief(seconds: int, left: int) -> None:
    """Believed at 2 s: again at 17 s, 42 s and 77 s."""
    watched = Watched()
    watched.settled(0, seconds + 1, 20.0)
    assert len(watched.replay._reruns) == left


def test_a_begin_at_the_moment_of_the_first_belief_is_settled_after_the_start() -> None:
    """Both are due at the same times; each is computed."""
    watched = Watched()
    watched.settled(0, 3, 20.0)
    watched.estimator.begin(1, 2.0, LAW, 20.0)
    watched.settled(3, 80, 20.0)
    assert watched.estimator.done(1, 79.0).done_ref_s == pytest.approx(77.0, rel=1e-3)


def test_a_first_reading_older_than_the_first_moment_starts_it() -> None:
    """The clock was looked at before the reading arrived: readings count all the same."""
    watched = Watched()
    watched.estimator.advance(1.0)
    for t in range(60):
        watched.hear(t + 0.95, 20.0)
    assert watched.estimator.temperature(61.0).sd_c < 0.35


def poured_over(wet_s: float) -> Watched:
    """Two minutes of tank air of 14 C, developer of 20 C begun at 120 s, at the probe at `wet_s`."""
    watched = Watched()
    for t in range(210):
        if t == 120:
            watched.estimator.begin(1, 120.0, LAW, 20.0)
        celsius = 14.0 if t < wet_s else 20.0 - 6.0 * math.exp(-(t - wet_s) / 8.0)
        watched.hear(float(t), round(celsius * 16.0) / 16.0)
    return watched


@pytest.mark.parametrize(("wet_s", "said"), [(126.0, "7 s"), (130.0, "11 s"), (121.0, None)])
def test_that_the_developer_reached_its_probe_late_is_told_once(wet_s: float, said: str | None) -> None:
    """When nothing of it is computed again any more, with the time on the stage's clock, of the first reading that moves; two seconds
    are no news."""
    told = [c for c in poured_over(wet_s).changes if c.why.startswith("dry until")]
    assert [(c.believed, c.loss, c.since_t_s, c.why) for c in told] == (
        [] if said is None else [(True, False, wet_s + 1.0, f"dry until {said} after the begin; its readings count from there")]
    )


def test_developer_poured_over_a_dry_probe_begins_anew() -> None:
    """At the probe after 6 s: what is counted is the developer's."""
    watched = poured_over(126.0)
    assert watched.estimator.done(1, 209.0).done_ref_s == pytest.approx(89.0, rel=5e-3)


def test_a_drift_is_carried_back_to_the_first_reading() -> None:
    """The liquid falls by 0.6 C a minute: what is taken for its start is what it was then, not what it is."""
    watched = Watched()
    for t in range(17):
        watched.hear(float(t), 20.0 - 0.01 * t + 0.08 * (1.0 - math.exp(-t / 8.0)))
    origin = watched.replay._origin
    x = watched.replay.moment.bank.mean().x
    expected = x[T] - x[1] * (watched.replay.moment.t - 0.0)
    watched.hear(17.0, 20.0 - 0.17 + 0.08)
    assert origin is not None
    assert origin.bank.tracks[0].x[T] == pytest.approx(expected, abs=0.02)
    assert abs(origin.bank.tracks[0].x[T] - x[T]) > 0.05


def test_a_begin_before_the_first_reading_is_counted_from_there() -> None:
    """Begun at 100 s, after the first readings, for 60 s: as far back as the begin."""
    watched = Watched()
    watched.settled(90, 100, 22.0)
    watched.estimator.begin(1, 60.0, LAW, 20.0)
    watched.settled(100, 160, 22.0)
    assert watched.estimator.done(1, 159.0).done_ref_s == pytest.approx(99.0 * rate(LAW, 22.0), rel=0.01)


def test_a_reading_from_before_the_first_event_counts() -> None:
    """Time came to 10 s first; then come readings of 9 s and later. All of them are used."""
    watched = Watched()
    watched.estimator.advance(10.0)
    for t in (9.0, 9.9, 10.7):
        watched.hear(t, 20.0)
    moment = watched.replay.moment
    assert watched.changes[0].since_t_s == 9.0
    assert moment.drift == "liquid"
    assert 0.0 < moment.bank.mean().c[PROBE][PROBE] < 0.9 * moment.reading_variance


# What is kept


def test_a_begin_five_minutes_in_the_past_is_counted_whole() -> None:
    """Corrected by 295 s after a quarter of an hour."""
    watched = Watched()
    watched.settled(0, 900, 22.0)
    watched.estimator.begin(1, 605.0, LAW, 20.0)
    assert watched.estimator.done(1, 899.0).done_ref_s == pytest.approx(294.0 * rate(LAW, 22.0), rel=1e-3)


def test_less_than_seven_minutes_are_kept() -> None:
    """So that a stretch is computed again in no time, after hours too."""
    watched = Watched()
    watched.settled(0, 1500, 20.0)
    readings, snapshots, segments, rivalries = watched.replay.kept
    assert 290 <= readings <= 320
    assert 35 <= snapshots <= 45
    assert (segments, rivalries) == (1, 0)


def test_while_nothing_is_believed_some_thousand_readings_are_kept_and_no_more() -> None:
    """A developer's probe that never speaks beside a bath that does, for three hours."""
    watched = Watched(DEVELOPER, BATH, ROOM, vessel=Vessel(360.0, 10.0))
    for t in range(0, 3 * 3600, 2):
        watched.hear(float(t), 20.0, BATH)
        watched.hear(float(t), 15.0, ROOM)
    assert watched.replay.kept[0] <= 4001


def test_old_segments_and_rivalries_are_forgotten() -> None:
    """Many losses and returns, over an hour: what is kept are those of the last minutes."""
    watched = Watched()
    for start in range(0, 3600, 80):
        watched.settled(start, start + 60, 20.0)
        watched.estimator.advance(start + 79.0)
    assert len(watched.changes) > 40
    assert watched.replay.kept[2] <= 10
    rng = random.Random(1)
    for t in range(3600, 4400):
        step = 1.5 if t % 120 >= 60 else 0.0
        watched.hear(float(t), 20.0 + step + rng.gauss(0.0, 0.02))
    assert 0 < watched.replay.kept[3] <= 7


# Another source


def a_replay(*probes: ProbeModel, vessel: Vessel | None = None) -> Replay:
    """Empty."""
    beliefs = Beliefs(20.0, probes, vessel)
    replay = Replay(beliefs, standard_deviations(beliefs))
    replay.reach(0.0)
    return replay


def test_another_probe_may_be_off_by_both_comparisons() -> None:
    """Two probes of 0.2 C: after the switch the liquid is 0.28 C less certain, and not at all where it is the same one."""
    probes = (ProbeModel("a", "developer", 8.0, 0.2), ProbeModel("b", "witness", 8.0, 0.2))
    widths = []
    for second in ("b", "a"):
        replay = a_replay(*probes)
        replay.switch(Segment(0.0, "liquid", "a", 8.0))
        for t in range(100):
            replay.read_followed(at(float(t), 20.0, probes[0]))
        replay.switch(Segment(99.0, "liquid", second, 8.0, different=True))
        widths.append(replay.moment.bank.mean().c[T][T])
    assert widths[0] - widths[1] == pytest.approx(0.08, rel=0.01)


def test_the_reading_at_a_switch_belongs_to_the_rivals_before() -> None:
    """A rivalry is cut just after it."""
    replay = a_replay(DEVELOPER)
    replay.rivalries.open(10.0)
    replay.switch(Segment(50.0, "liquid", "jug", 8.0))
    assert replay.rivalries.at(50.0) is not None
    assert replay.rivalries.at(50.001) is None


def test_a_bath_is_read_where_it_was_when_its_probe_showed_it() -> None:
    """A bath probe with a lag of 30 s in a bath that falls by 0.3 C a minute: its reading speaks of half a minute ago."""
    slow = ProbeModel("bowl", "bath", 30.0)
    replay = a_replay(slow, vessel=Vessel(360.0, 10.0))
    for t in range(400):
        replay.reach(float(t))
        replay.read(at(float(t), 20.0 - 0.005 * (t - 30.0), slow))
    level, slope = replay.moment.ambient.at(399.0)
    assert level == pytest.approx(20.0 - 0.005 * 399.0, abs=0.01)
    assert slope == pytest.approx(-0.005, rel=0.05)


def test_the_liquid_a_little_before_the_moment() -> None:
    """Both slopes lead there."""
    replay = a_replay(DEVELOPER)
    replay.moment.bank.tracks[0].x = [20.0, 0.001, 0.002, 20.0, 18.0]
    replay.moment.t = 100.0
    assert replay.liquid_at(98.0) == pytest.approx(20.0 - 2.0 * 0.003)
