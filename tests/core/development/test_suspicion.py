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
from monitor.core.development.lifting import Lifting
from monitor.core.development.moment import Moment
from monitor.core.development.probe_trust import ProbeTrust, Verdict
from monitor.core.development.rivals import ALL_KINDS, LIQUID_KINDS, Bank, Kind
from monitor.core.development.suspicion import Suspicion, impossible, was_old
from tests.core.development.scenes import DEVELOPER, LAW, ROOM, Watched, at

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
    watched: Watched, monkeypatch: pytest.MonkeyPatch, weighings: Weighings, *, air: float = 0.6, off_c: float = 1.0, until_s: int = 130
) -> tuple[float, Verdict] | None:
    """Rivals since 90 s that say air with this probability, the probe this far off the liquid: when there is a verdict."""
    monkeypatch.setattr(suspicion, "weigh", weighings)
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
    assert found[1].why == "reading fell 2.0 C a minute, like a probe in air"
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


# The curve's vote


def curve(monkeypatch: pytest.MonkeyPatch, *ahead: float | None) -> list[float]:
    """Let the curve say this at each look, the last of them again and again; None: no air fits. When it was asked."""
    asked: list[float] = []

    def weighed(base: object, readings: Sequence[Point], *_: object) -> Lifting | None:
        asked.append(readings[-1].t_s)
        says = ahead[min(len(asked), len(ahead)) - 1]
        return None if says is None else Lifting(says, 88.0, 60.0, 16.0, 1.0)

    monkeypatch.setattr(suspicion, "weigh_lifting", weighed)
    return asked


def looked(watched: Watched, calm: float, air: float, until_s: int) -> float | None:
    """As `rivalry`, the probe a degree off where it was: when one model is alone again."""
    judge, replay = Suspicion(), watched.replay
    judge.judge(watched.trust(), at(90.0, 20.0), 9.0, replay)
    for t in range(91, until_s):
        bank = replay.moment.bank
        bank.weights = [calm, *[(1.0 - calm - air) / (len(bank.kinds) - 2.0)] * (len(bank.kinds) - 2), air]
        assert judge.judge(watched.trust(), at(float(t), 21.0), 0.0, replay) is None
        if not replay.moment.bank.mixing:
            return float(t)
    return None


@pytest.mark.parametrize(("ahead", "ends"), [(1.0, None), (-1.0, 111.0), (None, 111.0)])
def test_rivals_run_on_while_the_curve_says_that_it_may_have_been_lifted(
    settled: Watched, monkeypatch: pytest.MonkeyPatch, ahead: float | None, ends: float | None
) -> None:
    """All may seem calm: a wet probe in air settles as a liquid does."""
    curve(monkeypatch, ahead)
    assert looked(settled, 0.95, 0.002, 200) == ends


def test_what_was_odd_while_the_probe_settled_keeps_no_rivals_running(monkeypatch: pytest.MonkeyPatch) -> None:
    """Believed at 2 s, odd at 30: no calm moment before that tells the curve from the probe's settling."""
    curve(monkeypatch, 1.0)
    watched = Watched()
    watched.settled(0, 30, 20.0)
    judge, replay = Suspicion(), watched.replay
    judge.judge(watched.trust(), at(30.0, 20.0), 9.0, replay)
    replay.now_t_s = 200.0  # the start is not computed again any more
    for t in range(31, 52):
        replay.moment.bank.weights = [0.95, *[0.012] * 4, 0.002]
        judge.judge(watched.trust(), at(float(t), 21.0), 0.0, replay)
        if not replay.moment.bank.mixing:
            break
    assert not replay.moment.bank.mixing


@pytest.mark.parametrize(("ahead", "most"), [(-2.0, 1.0 / (1.0 + math.exp(2.0))), (2.0, 0.9)])
def test_air_is_no_likelier_than_the_curve_has_it(settled: Watched, monkeypatch: pytest.MonkeyPatch, ahead: float, most: float) -> None:
    """Seen on the weights behind a look; they still make up one."""
    asked = curve(monkeypatch, ahead)
    monkeypatch.setattr(suspicion, "weigh", Weighings(0.0, 60.0))
    judge, replay = Suspicion(), settled.replay
    judge.judge(settled.trust(), at(90.0, 20.0), 9.0, replay)
    t = 90.0
    while not asked:
        t += 1.0
        replay.moment.bank.weights = [0.02] * 5 + [0.9]
        judge.judge(settled.trust(), at(t, 21.0), 0.0, replay)
    assert replay.moment.bank.weight("air") == pytest.approx(most)
    assert math.fsum(replay.moment.bank.weights) == pytest.approx(1.0)


@pytest.mark.parametrize(("ahead", "believed"), [(-0.5, True), (None, True), (0.5, False)])
def test_air_is_not_told_against_the_curve(
    settled: Watched, monkeypatch: pytest.MonkeyPatch, ahead: float | None, believed: bool
) -> None:
    """Nor where no air that is known fits it."""
    asked = curve(monkeypatch, ahead)
    monkeypatch.setattr(suspicion, "weigh", Weighings(0.0, 60.0))
    judge, replay, verdicts = Suspicion(), settled.replay, []
    judge.judge(settled.trust(), at(90.0, 20.0), 9.0, replay)
    for t in range(91, 130):
        if asked:
            monkeypatch.setattr(suspicion, "weigh", Weighings(-5.0, 60.0))
        bank = replay.moment.bank
        bank.weights = [0.08] * 5 + [0.6]
        x = bank.track("air").x
        x[PROBE] = x[T] - 1.0
        verdicts.append(judge.judge(settled.trust(), at(float(t), 21.0), 0.0, replay))
        if verdicts[-1] is not None:
            break
    assert (verdicts[-1] is None) == believed


@pytest.mark.parametrize(("ahead", "kinds"), [(-2.1, LIQUID_KINDS), (-1.9, ALL_KINDS)])
def test_air_is_ruled_out_where_the_curve_speaks_against_it_ten_times_running(
    settled: Watched, monkeypatch: pytest.MonkeyPatch, ahead: float, kinds: tuple[Kind, ...]
) -> None:
    """Every four seconds: after forty; then the models of the liquid run alone, in what has passed too."""
    asked = curve(monkeypatch, ahead)
    monkeypatch.setattr(suspicion, "weigh", Weighings(0.0, 60.0))
    judge, replay = Suspicion(), settled.replay
    judge.judge(settled.trust(), at(90.0, 20.0), 9.0, replay)
    t = 90.0
    while len(asked) < 10:
        assert replay.rivalries.newest_kinds == ALL_KINDS
        t += 1.0
        replay.moment.t = t
        replay.moment.bank.weights = [0.08] * 5 + [0.6]
        judge.judge(settled.trust(), at(t, 21.0), 0.0, replay)
    assert replay.rivalries.newest_kinds == kinds


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(
    ("from_c", "to_c", "tau_s", "room_c"), [(19.45, 20.25, 37.0, 20.1), (21.5, 19.7, 28.0, 19.2), (21.4, 20.75, 30.0, 20.1)]
)
def test_water_stirred_in_to_about_the_rooms_temperature_stays_believed(
    from_c: float, to_c: float, tau_s: float, room_c: float, seed: int
) -> None:
    """It spreads slowly, and the probe's 8 s come on top: a probe that nears the room's temperature in air goes otherwise."""
    rng, watched, probe = random.Random(seed), Watched(DEVELOPER, ROOM), from_c
    watched.estimator.begin(0, 1.0, LAW, 20.0)
    for t in range(330):
        liquid = to_c + (from_c - to_c) * math.exp(-max(t - 120.0, 0.0) / tau_s)
        probe += (liquid - probe) * SHARE
        watched.hear(float(t), round((probe + rng.gauss(0.0, 0.025)) * 16.0) / 16.0)
        watched.hear(t + 0.3, round((room_c + rng.gauss(0.0, 0.025)) * 16.0) / 16.0, ROOM)
    assert [c.why for c in watched.changes if c.probe == DEVELOPER.name and not c.believed] == []


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(("to_c", "lag_s", "room_c"), [(16.95, 47.0, 21.5), (17.6, 60.0, 22.5), (18.0, 47.0, 22.0)])
def test_a_wet_probe_that_is_never_put_back_is_found(to_c: float, lag_s: float, room_c: float, seed: int) -> None:
    """It nears its wet bulb as a liquid might that colder water was stirred into: found within two minutes, and since when."""
    rng, watched = random.Random(seed), Watched(DEVELOPER, ROOM)
    watched.estimator.begin(0, 1.0, LAW, 20.0)
    for t in range(260):
        gone = 1.0 - math.exp(-max(t - 122.0, 0.0) / lag_s)
        watched.hear(float(t), round((20.0 + (to_c - 20.0) * gone + rng.gauss(0.0, 0.025)) * 16.0) / 16.0)
        watched.hear(t + 0.3, round((room_c + rng.gauss(0.0, 0.025)) * 16.0) / 16.0, ROOM)
    lost = [c for c in watched.changes if c.probe == DEVELOPER.name and not c.believed]
    assert len(lost) == 1
    assert lost[0].since_t_s == pytest.approx(121.0, abs=4.0)
    assert watched.estimator.temperature(259.0).celsius == pytest.approx(20.0, abs=0.15)


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


# Taking back


def taken_back(
    watched: Watched, monkeypatch: pytest.MonkeyPatch, ahead: float | None, until_s: int = 112
) -> tuple[bool, list[float], ProbeTrust]:
    """Odd at 90 s, taken for lifted at 100, and from 101 on the filters would take that back: whether the curve has held to it until the
    end, when it was asked, and the probe."""
    asked = curve(monkeypatch, ahead)
    judge, replay, probe = Suspicion(), watched.replay, watched.trust()
    judge.judge(probe, at(90.0, 20.0), 9.0, replay)
    probe.disbelieve(Verdict(False, 90.0, "like a probe in air"))
    return all(judge.holds_to_it(probe, float(t), replay) for t in range(101, until_s)), asked, probe


@pytest.mark.parametrize(("ahead", "holds"), [(-1.9, True), (-2.1, False), (None, False)])
def test_a_probe_stays_taken_for_lifted_until_its_curve_speaks_for_the_liquid(
    settled: Watched, monkeypatch: pytest.MonkeyPatch, ahead: float | None, holds: bool
) -> None:
    """The filters may find a moving liquid likelier than dry air; a wet probe they do not know. Seven times likelier is asked for."""
    assert taken_back(settled, monkeypatch, ahead)[0] == holds


@pytest.mark.parametrize(("ahead", "settled_now"), [(2.9, False), (3.1, True)])
def test_where_the_curve_is_sure_the_filters_are_not_asked_again(
    settled: Watched, monkeypatch: pytest.MonkeyPatch, ahead: float, settled_now: bool
) -> None:
    """Its history is then that of a lifted probe, which no liquid's competes with. The curve is looked at every four seconds."""
    holds, asked, probe = taken_back(settled, monkeypatch, ahead)
    assert holds
    assert len(asked) == 3
    history = probe.returning.hear(at(100.0, 20.0), DEVELOPER, settled.replay.moment)
    assert (history.silent is None and history.liquid is None) == settled_now


def test_a_curve_that_has_gone_on_for_too_long_tells_nothing(settled: Watched, monkeypatch: pytest.MonkeyPatch) -> None:
    """160 s after its last calm moment, which was before 80 s, the filters decide."""
    assert taken_back(settled, monkeypatch, 1.0, 230)[0]
    assert not taken_back(settled, monkeypatch, 1.0, 245)[0]


# What stays open


def left_open(watched: Watched, monkeypatch: pytest.MonkeyPatch, *ahead: float | None) -> tuple[Suspicion, list[float]]:
    """Odd at 90 s; all seems calm when the rivalry ends at 111 s. What is asked then, and when the curve was looked at."""
    asked = curve(monkeypatch, *ahead)
    judge, replay = Suspicion(), watched.replay
    judge.judge(watched.trust(), at(90.0, 20.0), 9.0, replay)
    t = 90.0
    while replay.moment.bank.mixing:
        t += 1.0
        bank = replay.moment.bank
        bank.weights = [0.95, *[(0.05 - 0.002) / (len(bank.kinds) - 2.0)] * (len(bank.kinds) - 2), 0.002]
        assert judge.judge(watched.trust(), at(t, 21.0), 0.0, replay) is None
    assert t == 111.0
    return judge, asked


@pytest.mark.parametrize(("ahead", "open_"), [(-0.5, True), (-2.9, True), (-3.1, False), (None, False)])
def test_a_rivalry_that_the_curve_has_not_decided_leaves_a_question(
    settled: Watched, monkeypatch: pytest.MonkeyPatch, ahead: float | None, open_: bool
) -> None:
    """Twenty times likelier a liquid that has moved decides."""
    judge, _ = left_open(settled, monkeypatch, ahead)
    assert (judge.question is not None) == open_


def test_the_question_is_a_doubt_of_half_the_distance_at_even_odds(settled: Watched, monkeypatch: pytest.MonkeyPatch) -> None:
    """A liquid of 21 C that was 20 C before; at 20 to 1 it is a fifth."""
    judge, _ = left_open(settled, monkeypatch, -1e-9)
    assert judge.question is not None
    assert judge.question.doubt_c(111.0, 21.0) == pytest.approx(0.5, abs=0.02)
    judge.question.ahead = -3.0
    assert judge.question.doubt_c(111.0, 21.0) == pytest.approx(0.213, abs=0.01)


def asked_on(judge: Suspicion, watched: Watched, until_s: int, celsius: float = 21.0) -> Verdict | None:
    """Nothing else is odd."""
    for t in range(112, until_s):
        verdict = judge.judge(watched.trust(), at(float(t), celsius), 0.0, watched.replay)
        if verdict is not None:
            return verdict
    return None


def test_an_open_question_is_asked_on_every_eight_seconds_until_the_curve_has_gone_on_for_too_long(
    settled: Watched, monkeypatch: pytest.MonkeyPatch
) -> None:
    """For 160 s from the last calm moment; the doubt stays."""
    judge, asked = left_open(settled, monkeypatch, -0.5)
    before = len(asked)
    assert asked_on(judge, settled, 400) is None
    assert 14 <= len(asked) - before <= 17
    assert judge.question is not None


@pytest.mark.parametrize(("ahead", "lifted"), [((-0.5, 5.1), True), ((-0.5, 3.1, 3.1), True), ((-0.5, 3.1, 2.9), False)])
def test_an_open_question_may_find_the_probe_lifted_later(
    settled: Watched, monkeypatch: pytest.MonkeyPatch, ahead: tuple[float, ...], lifted: bool
) -> None:
    """Sure at once, or twice running; since the moment that the curve tells. Then nothing is open."""
    asked = curve(monkeypatch, -0.5)
    judge, _ = left_open(settled, monkeypatch, -0.5)
    asked = curve(monkeypatch, *ahead)
    verdict = asked_on(judge, settled, 150)
    assert len(asked) >= 2
    assert (verdict is not None) == lifted
    if verdict is not None:
        assert not verdict.believed
        assert "like a probe in air" in verdict.why
        assert verdict.since_t_s <= 88.0
        assert judge.question is None


@pytest.mark.parametrize(("ahead", "celsius"), [(-3.1, 21.0), (0.0, 20.1)])
def test_a_question_is_closed_by_the_curve_and_by_a_probe_that_is_where_it_was(
    settled: Watched, monkeypatch: pytest.MonkeyPatch, ahead: float, celsius: float
) -> None:
    """Within 0.3 C of its line nothing is to be decided."""
    judge, _ = left_open(settled, monkeypatch, -0.5)
    curve(monkeypatch, ahead)
    assert asked_on(judge, settled, 130, celsius) is None
    assert judge.question is None


def test_another_source_closes_a_question(settled: Watched, monkeypatch: pytest.MonkeyPatch) -> None:
    """The probe falls silent: what it last read is no longer asked about."""
    judge, _ = left_open(settled, monkeypatch, -0.5)
    settled.estimator._suspicion = judge
    settled.estimator.advance(140.0)
    assert judge.question is None
