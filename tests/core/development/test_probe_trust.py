"""Each question about a probe by itself: enough readings at first, one code for too long, a second probe that differs, a return."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import cast

import pytest

from monitor.core.development.filter import SLOPE, T, Track
from monitor.core.development.histories import Histories
from monitor.core.development.moment import Moment
from monitor.core.development.probe_trust import FirstReadings, Returning, SameCode, SecondProbe, Verdict
from tests.benchmarks.liquids import quantised
from tests.core.development.scenes import DEVELOPER, WITNESS, Watched, at, followed

# First belief


@pytest.mark.parametrize(("times", "believed_at"), [
    ([0.0, 2.0, 4.0, 6.0], 4.0),
    ([0.0, 0.5, 1.0, 1.4, 1.5], 1.5),
    ([0.0, 0.7, 1.5], 1.5),
])
def test_a_probe_is_believed_after_three_good_readings_over_a_second_and_a_half(times: list[float], believed_at: float) -> None:
    """Two are not enough however far apart, three not if they came together; it is believed since the first."""
    first = FirstReadings()
    verdicts = [(t, first.hear(t)) for t in times]
    told = [(t, v) for t, v in verdicts if v is not None]
    assert told[0][0] == believed_at
    assert told[0][1].believed
    assert told[0][1].since_t_s == 0.0


def test_two_readings_are_no_belief() -> None:
    """Seen from outside: the third reading makes the developer's probe the source, not the second."""
    watched = Watched()
    watched.hear(0.0, 20.0)
    watched.hear(2.0, 20.0)
    assert watched.changes == []
    assert watched.estimator.temperature(2.0).source == "clock"
    watched.hear(4.0, 20.0)
    assert [(c.believed, c.since_t_s, c.why) for c in watched.changes] == [(True, 0.0, "3 good readings")]


# One code


def falling(slope_c_per_s: float, noise_sd_c: float = 0.1, liquid_sd_c: float = 0.0) -> Moment:
    """A liquid of 20 C at 0 s that falls, so noisy that no sound probe shows one code for long."""
    moment = followed(20.0)
    track = moment.bank.tracks[0]
    track.x[SLOPE] = -slope_c_per_s
    track.c[T][T] = liquid_sd_c**2
    moment.noise = noise_sd_c**2
    return moment


def stuck_at(moment: Moment, *, every_s: float = 1.0, until_s: float = 120.0, lag_s: float = 0.0) -> tuple[float, Verdict] | None:
    """When 20 C, read again and again from 0 s on, is found stuck."""
    code = SameCode()
    for i in range(int(until_s / every_s) + 1):
        t = i * every_s
        code.hear(t, 20.0)
        verdict = code.stuck(t, lag_s, [moment])
        if verdict is not None:
            return t, verdict
    return None


def test_a_code_is_not_stuck_before_twenty_seconds() -> None:
    """However far the liquid has gone; then since the code came."""
    found = stuck_at(falling(0.1))
    assert found is not None
    assert found[0] == 20.0
    assert (found[1].believed, found[1].since_t_s) == (False, 0.0)
    assert found[1].why == "the same value for 20 s while the liquid has moved 2.0 C"


def test_a_code_is_not_stuck_before_ten_readings() -> None:
    """One every four seconds: the tenth comes at 36 s."""
    found = stuck_at(falling(0.1), every_s=4.0)
    assert found is not None
    assert found[0] == 36.0


@pytest.mark.parametrize(("liquid_sd_c", "off_c"), [(0.0, 0.33), (0.2, 0.72)])
def test_a_code_is_stuck_when_the_liquid_has_left_it_by_three_deviations(liquid_sd_c: float, off_c: float) -> None:
    """The deviation is that of the liquid and of one reading (0.1 C)."""
    found = stuck_at(falling(0.01, liquid_sd_c=liquid_sd_c))
    assert found is not None
    assert found[0] * 0.01 == pytest.approx(off_c, abs=0.04)


def test_a_code_is_never_stuck_within_a_tenth_of_a_degree() -> None:
    """However certain the drift: one of 0.24 C a minute is found when it has made 0.1 C, at 25 s."""
    found = stuck_at(falling(0.004, noise_sd_c=0.02), every_s=0.25)
    assert found is not None
    assert found[0] == pytest.approx(25.0, abs=0.5)


def test_a_probe_without_noise_may_stay_on_a_code() -> None:
    """Nothing but the drift speaks against it: that may be wrong too."""
    assert stuck_at(falling(0.01, noise_sd_c=0.005)) is None


def test_a_probe_is_allowed_its_lag() -> None:
    """A probe of 30 s shows what the liquid was half a minute ago."""
    prompt, slow = stuck_at(falling(0.01)), stuck_at(falling(0.01), lag_s=30.0)
    assert prompt is not None
    assert slow is not None
    assert slow[0] - prompt[0] == pytest.approx(30.0, abs=2.0)


def test_nothing_is_stuck_where_nothing_was_followed_before() -> None:
    """A snapshot without a probe, or one before its first reading, says nothing of the drift."""
    held, fresh = falling(0.1), falling(0.1)
    held.drift = "held"
    fresh.attach = True
    assert stuck_at(held) is None
    assert stuck_at(fresh) is None


def test_a_stuck_code_moves_again_with_the_next_value() -> None:
    """Until then the probe does not return."""
    code, moment = SameCode(), falling(0.1)
    for t in range(30):
        code.hear(float(t), 20.0)
        code.stuck(float(t), 0.0, [moment])
    assert not code.moved
    code.hear(30.0, 19.9375)
    assert code.moved
    assert code.count_before == 30
    code.hear(31.0, 19.9375)
    assert code.count_before == 0


# A second probe


def differs_at(second_c: float, apart_sd_c: float = 0.0, until_s: int = 100) -> tuple[float, Verdict] | None:
    """When a second probe that says this beside a liquid of 20 C is found to differ."""
    second = SecondProbe()
    for t in range(until_s):
        second.hear(float(t), second_c, 1e-3, 8.0)
        verdict = second.differs(float(t), 20.0, apart_sd_c)
        if verdict is not None:
            return float(t), verdict
    return None


@pytest.mark.parametrize(("second_c", "apart_sd_c", "word"), [(20.6, 0.0, "above"), (19.4, 0.0, "below"), (21.4, 0.41, "above")])
def test_a_second_probe_that_differs_for_thirty_seconds_is_not_believed(second_c: float, apart_sd_c: float, word: str) -> None:
    """By more than half a degree and two deviations of their difference; not a second before thirty are over."""
    found = differs_at(second_c, apart_sd_c)
    assert found is not None
    assert found[0] == 31.0
    assert (found[1].believed, found[1].since_t_s) == (False, 0.0)
    assert found[1].why == f"{abs(second_c - 20.0):.1f} C {word} the other probe for 30 s"


@pytest.mark.parametrize(("second_c", "apart_sd_c"), [(20.4, 0.0), (19.6, 0.0), (21.2, 0.41)])
def test_a_second_probe_may_differ_by_half_a_degree_and_what_comparisons_leave(second_c: float, apart_sd_c: float) -> None:
    """Two sound probes do."""
    assert differs_at(second_c, apart_sd_c) is None


def test_a_second_probe_that_agrees_in_between_starts_afresh() -> None:
    """Twenty seconds off, twenty on, twenty off are no thirty seconds."""
    second = SecondProbe()
    for t in range(75):
        second.hear(float(t), 20.0 if 20 <= t < 55 else 21.0, 1e-3, 8.0)
        assert second.differs(float(t), 20.0, 0.0) is None


def test_a_second_probe_follows_a_liquid_that_is_stirred() -> None:
    """Both are in it, for long: it lags behind a step of 4 C for a while, and is not blamed."""
    second, sheath = SecondProbe(), 20.0
    for t in range(1000):
        liquid_c = 20.0 if t < 800 else 24.0
        sheath += (liquid_c - sheath) * (1.0 - math.exp(-1.0 / 8.0))
        second.hear(float(t), sheath, 1e-3, 8.0)
        assert second.differs(float(t), liquid_c, 0.0) is None


def test_a_second_probe_that_was_silent_starts_afresh() -> None:
    """Twenty seconds off, sixteen without a reading (or followed itself, while the other was lost): thirty more are needed."""
    second, told = SecondProbe(), []
    for t in (*range(21), *range(37, 80)):
        second.hear(float(t), 21.0, 1e-3, 8.0)
        if second.differs(float(t), 20.0, 0.0) is not None:
            told.append(t)
    assert told[0] == 68


def test_a_witness_that_stood_in_is_not_blamed_for_what_was_before() -> None:
    """It differs when the developer's probe is lost and still when that is back: disbelieved after thirty seconds of this, not at once."""
    watched = Watched(DEVELOPER, WITNESS)
    watched.settled(0, 60, 20.0, DEVELOPER, WITNESS)
    told: dict[tuple[str, bool], int] = {}
    for t in range(60, 300):
        heard = len(watched.changes)
        watched.hear(float(t), quantised(21.4 + 0.0625 * (t % 2)), WITNESS)
        if t < 80 or t >= 200:
            watched.hear(float(t), 20.0)
        told |= {(c.probe, c.believed): t for c in watched.changes[heard:]}
    assert list(told) == [(DEVELOPER.name, False), (DEVELOPER.name, True), (WITNESS.name, False)]
    back, blamed = told[(DEVELOPER.name, True)], told[(WITNESS.name, False)]
    assert 30 <= blamed - back <= 40


def test_a_witness_that_differs_loses_belief_and_time_goes_on_by_the_developer() -> None:
    """Seen from outside: both believed, then 2 C apart; a loss 30 s after it began, and the source stays."""
    watched = Watched(DEVELOPER, WITNESS)
    watched.settled(0, 60, 20.0, DEVELOPER, WITNESS)
    for t in range(60, 120):
        watched.hear(float(t), 20.0)
        watched.hear(float(t), 22.5, WITNESS)
    lost = [c for c in watched.changes if not c.believed]
    assert [(c.probe, c.loss, c.source) for c in lost] == [(WITNESS.name, True, "developer")]
    assert 60.0 <= lost[0].since_t_s <= 70.0
    assert lost[0].why.endswith("above the other probe for 30 s")


# Return


@dataclass
class FakeBank:
    """A bank whose mean is known."""

    celsius: float

    def mean(self) -> Track:
        """The liquid about the returning probe."""
        return Track([self.celsius, 0.0, 0.0, self.celsius, 0.0], [[0.0] * 5 for _ in range(5)], {})


@dataclass
class FakeMoment:
    """A moment of a probe without lag that has a bank and a time, and nothing else."""

    bank: FakeBank
    t: float = 1000.0
    lag_s: float = 0.0


@dataclass
class FakeHistories:
    """What a returning probe's histories say."""

    celsius: float = 20.0
    liquid_ahead: float = -math.inf
    in_air: float = 0.0
    was_out: bool = True
    since_t_s: float = -5.0
    air: FakeMoment = field(init=False)

    def __post_init__(self) -> None:
        self.air = FakeMoment(FakeBank(self.celsius))


def returns(says: dict[float, FakeHistories] | FakeHistories, moved: bool = True, sd_c: float = 0.0) -> tuple[float, Verdict] | None:
    """When a probe with these histories (or those since these seconds) is believed again beside an estimate of 20 C."""
    returning = Returning()
    for t in range(100):
        here = says if isinstance(says, FakeHistories) else next(h for since, h in reversed(says.items()) if t >= since)
        verdict = returning.believed_again(float(t), cast(Histories, here), moved, 20.0, sd_c)
        if verdict is not None:
            return float(t), verdict
    return None


@pytest.mark.parametrize(("celsius", "sd_c"), [(20.29, 0.0), (19.71, 0.0), (20.9, 0.5)])
def test_belief_returns_after_thirty_seconds_of_agreement(celsius: float, sd_c: float) -> None:
    """Within 0.3 C, or two deviations of an estimate that is vaguer; believed since the agreement began."""
    found = returns(FakeHistories(celsius), sd_c=sd_c)
    assert found is not None
    assert found[0] == 30.0
    assert (found[1].believed, found[1].since_t_s, found[1].liquid_moved) == (True, 0.0, False)
    assert found[1].why == f"within {max(0.3, 2 * sd_c):.2g} C of the estimate for 30 s"


def test_a_steady_probe_is_believed_after_thirty_five_seconds_wherever_it_is() -> None:
    """A real step wins."""
    found = returns(FakeHistories(21.5))
    assert found is not None
    assert found[0] == 35.0
    assert found[1].why == "steady for 35 s, 1.5 C above the estimate"


def test_a_probe_that_was_only_silent_is_used_from_its_first_reading_on() -> None:
    """One that hung in air only from where it agrees."""
    silent, out = returns(FakeHistories(was_out=False)), returns(FakeHistories(was_out=True))
    assert silent is not None
    assert out is not None
    assert (silent[1].since_t_s, out[1].since_t_s) == (-5.0, 0.0)


@pytest.mark.parametrize(("lag_s", "newest_s", "since_s"), [(8.0, 30.0, 24.0), (2.0, 30.0, 6.0), (12.0, 30.0, 30.0)])
@pytest.mark.parametrize("celsius", [20.0, 21.5])
def test_a_probe_that_was_in_air_is_used_once_it_has_settled(lag_s: float, newest_s: float, since_s: float, celsius: float) -> None:
    """Three lags after it agrees, or after it is back in a liquid that has moved; its newest reading at the latest. Before, its sleeve is
    so far behind that it would tell a drift that is none."""
    says = FakeHistories(celsius)
    says.air.lag_s, says.air.t = lag_s, newest_s
    found = returns(says)
    assert found is not None
    assert found[1].since_t_s == since_s


def test_agreement_that_breaks_off_starts_afresh() -> None:
    """Twenty seconds near, two away, then near again: not thirty before the steady rule."""
    found = returns({0.0: FakeHistories(20.0), 20.0: FakeHistories(20.5), 22.0: FakeHistories(20.0)})
    assert found is not None
    assert found[0] == 35.0


def test_a_probe_that_may_be_in_air_does_not_return() -> None:
    """Its seconds count only from when air is unlikely."""
    found = returns({0.0: FakeHistories(in_air=0.09), 10.0: FakeHistories(in_air=0.11), 12.0: FakeHistories()})
    assert found is not None
    assert (found[0], found[1].since_t_s) == (42.0, 12.0)


def test_a_stuck_probe_does_not_return_while_its_code_stays() -> None:
    """It agrees by chance."""
    assert returns(FakeHistories(), moved=False) is None


@pytest.mark.parametrize(("ahead", "believed"), [(3.9, False), (4.1, True)])
def test_a_verdict_of_air_is_taken_back_when_the_liquid_is_fifty_times_likelier(ahead: float, believed: bool) -> None:
    """At once, since it was disbelieved, with rivals of the liquid in that stretch."""
    found = returns({0.0: FakeHistories(liquid_ahead=ahead, in_air=0.5)})
    assert (found is not None) == believed
    if found is not None:
        assert found == (0.0, Verdict(True, -5.0, "its readings are a moving liquid's after all", liquid_moved=True, taken_back=True))


@pytest.mark.parametrize(("gap_s", "anew"), [(15.0, False), (16.0, True)])
def test_a_probe_that_was_silent_again_is_weighed_anew(gap_s: float, anew: bool) -> None:
    """After more than fifteen seconds what it said before tells nothing of where it is now."""
    returning, moment = Returning(), followed(20.0)
    before = returning.hear(at(1.0, 20.0), DEVELOPER, moment)
    assert (returning.hear(at(1.0 + gap_s, 20.0), DEVELOPER, moment) is not before) == anew
