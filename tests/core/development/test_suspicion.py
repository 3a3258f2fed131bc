"""When rivals start, when they end, and what it takes to find the followed probe in air."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import cast

import pytest

from monitor.core.development import suspicion
from monitor.core.development.coarse import Point
from monitor.core.development.filter import AIR, PROBE, SLOPE, T
from monitor.core.development.histories import Histories
from monitor.core.development.lifting import Base, Lifting
from monitor.core.development.moment import Moment
from monitor.core.development.probe_trust import Verdict
from monitor.core.development.rate import rate
from monitor.core.development.rivals import ALL_KINDS, LIQUID_KINDS, Bank
from monitor.core.development.suspicion import Suspicion, impossible, was_old
from tests.benchmarks.bench_doubt import drive
from tests.benchmarks.troubles import ROWS
from tests.core.development.scenes import LAW, ROOM, Watched, at

SHARE = 1.0 - math.exp(-1.0 / 8.0)
"""Of a jump of the liquid a probe of 8 s shows this after one second."""


@pytest.fixture
def settled() -> Watched:
    """A minute and a half of 20 C."""
    watched = Watched()
    watched.settled(0, 90, 20.0)
    return watched


# Readings that are no liquid's


@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_a_reading_that_takes_a_jump_of_thirty_degrees_is_ignored(settled: Watched, sign: float) -> None:
    """A probe of 8 s a second later: 30 C of the liquid are 3.5 C of the probe, and 1 C for noise."""
    off = 30.0 * SHARE + 1.0
    assert not impossible(settled.trust(), at(90.0, 20.0 + sign * (off - 0.05)), settled.replay)
    assert impossible(settled.trust(), at(90.0, 20.0 + sign * (off + 0.05)), settled.replay)


def test_after_a_longer_gap_a_probe_may_be_further(settled: Watched) -> None:
    """Ten seconds later it has followed a jump by 71 %."""
    reached = 1.0 - math.exp(-11.0 / 8.0)
    assert not impossible(settled.trust(), at(100.0, 20.0 + 30.0 * reached + 0.9), settled.replay)
    assert impossible(settled.trust(), at(100.0, 20.0 + 30.0 * reached + 1.1), settled.replay)


def test_the_first_reading_of_a_probe_may_be_anything(settled: Watched) -> None:
    """Nothing is known of it; and a reading from before the moment is not compared with it."""
    settled.replay.moment.attach = True
    assert not impossible(settled.trust(), at(90.0, 59.0), settled.replay)
    settled.replay.moment.attach = False
    assert not impossible(settled.trust(), at(88.0, 59.0), settled.replay)


@pytest.mark.parametrize(("stood", "off", "old"), [(8, 8.0 * SHARE + 0.35, True), (8, 8.0 * SHARE + 0.25, False), (7, 4.0, False)])
def test_a_code_that_stood_for_eight_readings_and_leaps_was_an_old_one(settled: Watched, stood: int, off: float, old: bool) -> None:
    """Further than a step of the liquid by 8 C could move the probe, beside 0.3 C for noise."""
    settled.trust().code.count_before = stood
    assert was_old(settled.trust(), at(90.0, 20.0 + off), settled.replay) == old


# Rivals start and end


def surprised(watched: Watched, *sigmas: float) -> list[float]:
    """Judge a reading a second with these surprises; since when rivals run, for each that started them."""
    judge, since = Suspicion(), []
    for i, sigma in enumerate(sigmas):
        t = 90.0 + i
        before = len(watched.replay.rivalries)
        judge.judge(watched.trust(), at(t, 20.0), sigma, watched.replay)
        if len(watched.replay.rivalries) > before:
            assert watched.replay.rivalries.newest_kinds == ALL_KINDS
            since.append(next(s / 10.0 for s in range(700, 1300) if watched.replay.rivalries.at(s / 10.0) is not None))
    return since


@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_one_great_surprise_starts_the_rivals_a_little_before(settled: Watched, sign: float) -> None:
    """Beyond three and a half deviations; they run since six seconds before."""
    assert surprised(settled, sign * 3.4, 0.0, 0.0) == []
    assert surprised(settled, sign * 3.6) == [84.0]


@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_many_small_surprises_of_one_sign_start_them_too(settled: Watched, sign: float) -> None:
    """Their smoothed mean beyond three of its own deviations, 1.13 of one reading's; not of both signs in turn."""
    assert surprised(settled, *[sign * 1.1] * 60) == []
    assert surprised(settled, *[2.0, -2.0] * 30) == []
    assert len(surprised(settled, *[sign * 1.3] * 15)) == 1


def test_the_stretch_is_computed_again_with_the_rivals(settled: Watched) -> None:
    """From the six seconds before, so that they have read what was odd."""
    surprised(settled, 5.0)
    assert settled.replay.moment.bank.kinds == ALL_KINDS


def test_nothing_is_odd_while_the_start_is_settling() -> None:
    """For the first fifteen seconds after the first belief the probe may be far from the liquid."""
    for seconds, started in ((17, False), (19, True)):
        watched = Watched()
        watched.settled(0, seconds, 20.0)  # believed at 2 s
        Suspicion().judge(watched.trust(), at(float(seconds - 1), 20.0), 9.0, watched.replay)
        assert (len(watched.replay.rivalries) > 0) == started


def rivalry(watched: Watched, calm: float, air: float, until_s: int) -> float | None:
    """Start the rivals at 90 s, hold their weights there, and say when one model is alone again."""
    judge, replay = Suspicion(), watched.replay
    judge.judge(watched.trust(), at(90.0, 20.0), 9.0, replay)
    assert replay.moment.bank.mixing
    rest = (1.0 - calm - air) / 4.0
    for t in range(91, until_s):
        replay.moment.bank.weights = [calm, rest, rest, rest, rest, air]
        judge.judge(watched.trust(), at(float(t), 20.0), 0.0, replay)
        if not replay.moment.bank.mixing:
            return float(t)
    return None


@pytest.mark.parametrize(("calm", "air", "ends"), [(0.91, 0.002, 111.0), (0.89, 0.002, 331.0), (0.95, 0.004, 331.0)])
def test_rivals_end_when_all_is_calm_and_after_four_minutes_at_the_latest(settled: Watched, calm: float, air: float, ends: float) -> None:
    """Twenty seconds at least; calm likelier than 0.9 and air less likely than 0.003."""
    assert rivalry(settled, calm, air, 400) == ends


# Air


@dataclass
class FakeHistories:
    """What the weighing says; `air` is a real moment in which the probe hangs 4 C above the air."""

    liquid_ahead: float
    since_t_s: float
    air: Moment


class Weighings:
    """In place of `weigh`: remembers when it was asked, and over which time air may have begun."""

    def __init__(self, liquid_ahead: float, since_t_s: float) -> None:
        self.liquid_ahead, self.since_t_s = liquid_ahead, since_t_s
        self.spans: list[tuple[float, float]] = []
        self.readings: Sequence[tuple[float, float, bool]] = ()

    def __call__(self, start: Moment, readings: Sequence[tuple[float, float, bool]], odd_t: float, newest_onset_t: float) -> Histories:
        """As `histories.weigh`."""
        self.spans.append((odd_t, newest_onset_t))
        self.readings = readings
        air = start.copy()
        air.bank.only("air")
        x = air.bank.tracks[0].x
        x[PROBE], x[AIR], x[SLOPE] = 20.0, 16.0, -0.2 / 60.0
        return cast(Histories, FakeHistories(self.liquid_ahead, self.since_t_s, air))


def in_air(
    watched: Watched,
    monkeypatch: pytest.MonkeyPatch,
    weighings: Weighings,
    *,
    air: float = 0.6,
    off_c: float = 1.0,
    until_s: int = 130,
    lifted_ahead: float | None = None,
) -> tuple[float, Verdict] | None:
    """Rivals since 90 s that say air with this probability, the probe this far off the liquid: when there is a verdict. `lifted_ahead`:
    what the curve says, where it says something."""
    monkeypatch.setattr(suspicion, "weigh", weighings)
    curve = None if lifted_ahead is None else Lifting(lifted_ahead, 60.0, 100.0, 16.0, 1.0)
    monkeypatch.setattr(suspicion, "weigh_lifting", lambda *_: curve)
    judge, replay = Suspicion(), watched.replay
    judge.judge(watched.trust(), at(90.0, 20.0), 9.0, replay)
    for t in range(91, until_s):
        bank: Bank = replay.moment.bank
        if bank.kinds == ALL_KINDS:
            bank.weights = [(1.0 - air) / 5.0] * 5 + [air]
            x = bank.track("air").x
            x[PROBE] = x[T] - off_c
        verdict = judge.judge(watched.trust(), at(float(t), 20.0), 0.0, replay)
        if verdict is not None:
            return float(t), verdict
    return None


def test_air_that_is_likely_at_three_readings_is_weighed(settled: Watched, monkeypatch: pytest.MonkeyPatch) -> None:
    """Air may have begun from 46 s before, up to three seconds before; the verdict says so in words, since the last reading in the
    liquid."""
    weighings = Weighings(-2.0, 70.0)
    found = in_air(settled, monkeypatch, weighings)
    assert found is not None
    assert found[0] == 93.0
    assert weighings.spans == [(93.0 - 46.0, 90.0)]
    assert (found[1].believed, found[1].since_t_s) == (False, 69.0)
    assert found[1].why == "reading fell 2.0 C a minute, like a probe in air; believed -0.2 C a minute"
    assert found[1].histories is not None
    assert settled.replay.rivalries.at(95.0) is None


@pytest.mark.parametrize(("air", "off_c", "weighed"), [(0.51, 0.31, True), (0.49, 1.0, False), (0.9, 0.29, False)])
def test_air_is_weighed_only_if_likely_and_the_probe_is_off(
    settled: Watched, monkeypatch: pytest.MonkeyPatch, air: float, off_c: float, weighed: bool
) -> None:
    """Likelier than not, and 0.3 C away from the liquid."""
    weighings = Weighings(0.0, 60.0)
    in_air(settled, monkeypatch, weighings, air=air, off_c=off_c, until_s=100)
    assert bool(weighings.spans) == weighed


@pytest.mark.parametrize(("ahead", "verdict"), [(-1.7, True), (-1.5, False)])
def test_air_must_be_five_times_likelier(settled: Watched, monkeypatch: pytest.MonkeyPatch, ahead: float, verdict: bool) -> None:
    """exp(1.6) is 4.95."""
    assert (in_air(settled, monkeypatch, Weighings(ahead, 60.0)) is not None) == verdict


def test_nothing_is_said_before_one_and_a_quarter_lags(settled: Watched, monkeypatch: pytest.MonkeyPatch) -> None:
    """A probe of 8 s that left at 86 s: ten seconds later at the earliest."""
    found = in_air(settled, monkeypatch, Weighings(-5.0, 86.0))
    assert found is not None
    assert 96.0 <= found[0] <= 98.0


@pytest.mark.parametrize(
    ("ahead", "since_s", "lifted_ahead", "verdict"),
    [(-2.0, 50.0, 1.7, True), (-2.0, 50.0, 1.5, False), (-3.9, 50.0, -2.0, False), (-4.1, 50.0, -2.0, True),
     (-2.0, 75.0, 0.1, True), (-2.0, 75.0, -0.1, False)],
)
def test_the_curve_has_to_say_air_too(
    settled: Watched, monkeypatch: pytest.MonkeyPatch, ahead: float, since_s: float, lifted_ahead: float, verdict: bool
) -> None:
    """Five times likelier by both, or fifty times by the rivals: what their air tends to may drift, and so fits what a curve of a probe in
    air does not. In the first half minute the curve need only not speak against it."""
    found = in_air(settled, monkeypatch, Weighings(ahead, since_s), lifted_ahead=lifted_ahead, until_s=100)
    assert (found is not None) == verdict


def test_the_curve_of_a_coarse_register_is_weighed_by_its_edges(monkeypatch: pytest.MonkeyPatch) -> None:
    """Quarters of a degree, water stirred in: what is weighed has the edges, which no code is."""
    weighed: list[Sequence[Point]] = []

    def weigh_lifting(base: Base, said: Sequence[Point], *_: object) -> None:
        weighed.append(said)

    monkeypatch.setattr(suspicion, "weigh_lifting", weigh_lifting)
    rng, watched = random.Random(0), Watched()
    for t in range(1, 301):
        since = max(t - 200.0, 0.0)
        probe = 20.1 + 0.0005 * t + 1.2 * (1.0 - (38.0 * math.exp(-since / 38.0) - 8.0 * math.exp(-since / 8.0)) / 30.0)
        watched.hear(float(t), math.floor((probe + rng.gauss(0.0, 0.025)) * 4.0) / 4.0 + 0.125)
    assert weighed
    assert all(any(point.celsius % 0.25 == 0.0 for point in said) for said in weighed)


def in_the_room_s_water(seed: int, by_c: float, tau_s: float) -> tuple[int, float]:
    """A liquid of 20 C in a room `by_c` warmer, to which water stirred in after 200 s brings it, with `tau_s`: how often trust changed
    after the first belief, and by how much the count is wrong after 420 s, relatively."""
    rng, watched, due = random.Random(seed), Watched(Watched().trust().model, ROOM), 0.0
    watched.estimator.begin(1, 0.0, LAW, 20.0)
    for t in range(1, 421):
        since = max(t - 200.0, 0.0)
        due += rate(LAW, 20.0 + by_c * (1.0 - math.exp(-since / tau_s)))
        left = (tau_s * math.exp(-since / tau_s) - 8.0 * math.exp(-since / 8.0)) / (tau_s - 8.0)
        watched.hear(float(t), round((20.0 + by_c * (1.0 - left) + rng.gauss(0.0, 0.025)) * 16.0) / 16.0)
        watched.hear(t + 0.3, 20.0 + by_c, ROOM)
    return len(watched.changes) - 1, watched.estimator.done(1, 420.3).done_ref_s / due - 1.0


@pytest.mark.parametrize(("seed", "by_c", "tau_s"), [(0, -0.65, 25.0), (3, -0.65, 25.0), (1, 0.8, 35.0), (2, 0.8, 38.0), (2, -0.6, 30.0)])
def test_water_that_brings_the_liquid_to_the_room_s_temperature_is_no_air(seed: int, by_c: float, tau_s: float) -> None:
    """It has settled there within two minutes, as no probe in air does. The count is right to 0.2 %."""
    changes, off = in_the_room_s_water(seed, by_c, tau_s)
    assert changes == 0
    assert abs(off) < 0.002


def test_what_the_curve_has_ruled_out_it_does_not_find_a_little_later() -> None:
    """The benchmark's liquid 19 of seed 12: 2.4 C stirred in, which no one way of spreading fits exactly. Believed throughout."""
    changes = drive(ROWS["stirred to room"](random.Random("12 stirred to room 19")))[3]
    assert [str(c) for c in changes if not c.believed] == []


def test_an_undecided_weighing_is_repeated_ever_later(settled: Watched, monkeypatch: pytest.MonkeyPatch) -> None:
    """After 2, 3, 4 ... readings and the odd one, fifteen at most."""
    weighings = Weighings(0.0, 60.0)
    in_air(settled, monkeypatch, weighings, until_s=330)
    asked = [newest + 3.0 for _, newest in weighings.spans]
    gaps = [int(b - a) for a, b in pairwise(asked)]
    assert gaps[:4] == [2, 3, 4, 5]
    assert max(gaps) == 15


@pytest.mark.parametrize(("ahead", "ruled_out"), [(4.1, True), (3.9, False)])
def test_air_is_ruled_out_when_the_liquid_is_fifty_times_likelier(
    settled: Watched, monkeypatch: pytest.MonkeyPatch, ahead: float, ruled_out: bool
) -> None:
    """Then only models of the liquid run, also in what has passed, for forty seconds; then air may run again."""
    in_air(settled, monkeypatch, Weighings(ahead, 60.0), until_s=94)
    kinds = settled.replay.rivalries.newest_kinds
    assert kinds == (LIQUID_KINDS if ruled_out else ALL_KINDS)
    assert settled.replay.moment.bank.kinds == kinds


def test_without_air_the_rivals_end_after_forty_seconds(settled: Watched, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ruled out at 93 s: whatever the others say, one model goes on alone at 134 s; what is still odd then starts all of them."""
    monkeypatch.setattr(suspicion, "weigh", Weighings(5.0, 60.0))
    judge, replay = Suspicion(), settled.replay
    judge.judge(settled.trust(), at(90.0, 20.0), 9.0, replay)
    t = 90.0
    while replay.moment.bank.mixing:
        t += 1.0
        kinds = replay.moment.bank.kinds
        replay.moment.bank.weights = [0.08] * 5 + [0.6] if kinds == ALL_KINDS else [0.2] * 5
        x = replay.moment.bank.track("air").x
        x[PROBE] = x[T] - 1.0
        judge.judge(settled.trust(), at(t, 20.0), 0.0, replay)
    assert t == 134.0
    judge.judge(settled.trust(), at(135.0, 20.0), 9.0, replay)
    assert replay.rivalries.newest_kinds == ALL_KINDS


def test_the_weighing_takes_the_probe_and_the_room_and_no_other(monkeypatch: pytest.MonkeyPatch) -> None:
    """In their order, each told as the room's or not."""
    watched = Watched(*(p for p in (Watched().trust().model, ROOM)))
    for t in range(90):
        watched.hear(float(t), 20.0)
        if t % 10 == 0:
            watched.hear(t + 0.5, 15.0, ROOM)
    weighings = Weighings(-2.0, 70.0)
    in_air(watched, monkeypatch, weighings)
    assert {(celsius, of_room) for _, celsius, of_room in weighings.readings} == {(20.0, False), (15.0, True)}
    times = [t for t, _, _ in weighings.readings]
    assert times == sorted(times)
