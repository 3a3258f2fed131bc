"""Developer's probe and bath beside each other: who is wrong? Courses by the vessel's own equation, in closed form or small steps."""

from __future__ import annotations

import itertools
import math
import random
import re
from collections.abc import Callable

import pytest

from monitor.core.development.beliefs import ProbeModel, Vessel
from monitor.core.development.crosswatch import EXCHANGED_AHEAD, Disagreement, Pair, after_look, at_rest, disagreement
from monitor.core.development.rate import rate
from monitor.core.probes.readings import EXCHANGED
from tests.core.development.scenes import BATH, DEVELOPER, LAW, WITNESS, Watched

LAG_S = 360.0
VARIANCE = (0.03**2 + 0.0625**2 / 12.0) / 4.0


def bath(t: float) -> float:
    """Falls by 0.2 C a minute."""
    return 21.0 - 0.2 * t / 60.0


def said(wrong: Callable[[float], float], seconds: int = 240, lag_s: float = LAG_S, heat: Callable[[float], float] = lambda t: 0.0) -> (
    Disagreement | None
):  # fmt: skip
    """What is said of a liquid of 20 C in that bath (`heat`: C a second that it gains besides), its probe off by `wrong`."""
    rng, liquid_c, pairs = random.Random(4), 20.0, []
    for t in range(seconds):
        if t % 4 == 0:
            pairs.append(Pair(float(t), liquid_c + wrong(t) + rng.gauss(0.0, math.sqrt(VARIANCE)), bath(t) + rng.gauss(0.0, 0.01)))
        liquid_c += (bath(t) - liquid_c) / lag_s + heat(t)
    return disagreement(pairs, LAG_S, 0.02 * LAG_S, 8.0, VARIANCE)


@pytest.mark.parametrize("per_min", [0.2, -0.2, 0.4, -0.4])
def test_a_sensor_that_drifts_is_told_with_its_beginning_and_size(per_min: float) -> None:
    """From the second minute on: since when to 20 s, by how much to a quarter."""
    found = said(lambda t: per_min / 60.0 * max(t - 100.0, 0.0))
    assert found is not None
    assert found.ahead > 5.0
    assert found.cause == "drift"
    assert found.since_t_s == pytest.approx(100.0, abs=20.0)
    assert found.off_c == pytest.approx(per_min * 136.0 / 60.0, rel=0.25)


@pytest.mark.parametrize("off_c", [0.5, -0.5, -1.2])
def test_a_probe_half_in_air_is_told_because_it_stays_off(off_c: float) -> None:
    """Two minutes after it came to hang so."""
    found = said(lambda t: off_c * (1.0 - math.exp(-max(t - 100.0, 0.0) / 8.0)))
    assert found is not None
    assert found.ahead > 5.0
    assert found.off_c == pytest.approx(off_c, rel=0.2)


def test_all_is_well() -> None:
    """A sound probe is not blamed, however long it is watched."""
    for seconds in range(60, 300, 20):
        found = said(lambda _: 0.0, seconds)
        assert found is not None
        assert found.ahead < -3.0


@pytest.mark.parametrize("by_c", [1.0, -1.0])
def test_water_stirred_in_goes_back_towards_the_bath(by_c: float) -> None:
    """So the probe is right."""
    found = said(lambda _: 0.0, heat=lambda t: by_c / 5.0 if 60 <= t < 65 else 0.0)
    assert found is not None
    assert found.ahead < 3.0


@pytest.mark.parametrize("factor", [0.5, 2.0])
def test_a_false_lag_is_no_false_probe(factor: float) -> None:
    """The liquid keeps to another lag from the start: that one is named, to a third."""
    found = said(lambda _: 0.0, lag_s=factor * LAG_S)
    assert found is not None
    assert found.ahead < 0.0
    assert found.cause == "lag"
    assert found.lag_s == pytest.approx(factor * LAG_S, rel=0.35)


def test_a_warm_hand_is_no_false_probe() -> None:
    """0.05 C a minute all the time."""
    found = said(lambda _: 0.0, heat=lambda _: 0.05 / 60.0)
    assert found is not None
    assert found.ahead < 3.0


def test_few_pairs_tell_nothing() -> None:
    """Fewer than a minute's."""
    assert said(lambda _: 5.0, 40) is None


def exchanged(bath_c: Callable[[float], float], swapped: bool, seconds: int = 240) -> Disagreement | None:
    """What is said of a liquid that starts at 18 C in that bath, where the probes hang in each other's liquid or in their own."""
    rng, liquid_c, pairs = random.Random(4), 18.0, []
    for t in range(seconds):
        if t % 4 == 0:
            around, inside = bath_c(t) + rng.gauss(0.0, 0.01), liquid_c + rng.gauss(0.0, 0.01)
            pairs.append(Pair(float(t), around, inside) if swapped else Pair(float(t), inside, around))
        liquid_c += (bath_c(t) - liquid_c) / LAG_S
    return disagreement(pairs, LAG_S, 0.02 * LAG_S, 8.0, VARIANCE)


@pytest.mark.parametrize("by_c", [2.0, -2.0])
def test_exchanged_probes_are_told_by_a_bath_that_steps(by_c: float) -> None:
    """Hot water in the bowl: the one probe leaps, the other follows with the vessel's lag."""
    found = exchanged(lambda t: 20.0 + by_c * (1.0 - math.exp(-max(t - 100.0, 0.0) / 8.0)), swapped=True)
    assert found is not None
    assert found.exchanged_ahead > EXCHANGED_AHEAD


@pytest.mark.parametrize("by_c", [2.0, -2.0, 0.0])
def test_probes_in_their_own_liquids_are_not_exchanged(by_c: float) -> None:
    """Whether the bath steps or not."""
    found = exchanged(lambda t: 20.0 + by_c * (1.0 - math.exp(-max(t - 100.0, 0.0) / 8.0)), swapped=False)
    assert found is not None
    assert found.exchanged_ahead < -5.0


def test_a_probe_that_comes_to_hang_half_in_air_is_not_exchanged() -> None:
    """It leaps as a bath would, but the bath goes on as it was."""
    found = said(lambda t: -1.0 if t >= 100.0 else 0.0)
    assert found is not None
    assert found.exchanged_ahead < 3.0


def test_a_developer_is_not_cooled_by_what_surrounds_it_all_the_time() -> None:
    """Hands warm a tank by some hundredths of a degree a minute; a probe that stays 0.9 C too cold does not hang in a liquid."""
    found = said(lambda _: 0.0, heat=lambda _: 0.06 / 60.0)
    assert found is not None
    assert found.ahead < 0.0
    cold = said(lambda _: 0.0, heat=lambda _: -0.15 / 60.0)
    assert cold is not None
    assert cold.ahead > found.ahead + 3.0


# A session with both


BESIDE = Vessel(LAG_S, 0.02 * LAG_S)


def evening(by_c: float, seconds: int, swapped: bool = True, step_s: float = 150.0, probe: ProbeModel = DEVELOPER) -> Watched:
    """Developer of 18 C in a bath of 20 C that steps; its stage began after 60 s. `probe` is in it, or in its witness."""
    watched, rng, liquid_c, mine = Watched(probe, BATH, vessel=BESIDE), random.Random(7), 18.0, probe
    for t in range(seconds):
        if t == 60:
            watched.estimator.begin(0, 60.0, LAW, 20.0)
        around = 20.0 + by_c * (1.0 - math.exp(-max(t - step_s, 0.0) / 8.0))
        for celsius, probe in ((around, mine), (liquid_c, BATH)) if swapped else ((liquid_c, mine), (around, BATH)):
            watched.hear(float(t), round(16.0 * (celsius + rng.gauss(0.0, 0.025))) / 16.0, probe)
        liquid_c += (around - liquid_c) / LAG_S
    return watched


@pytest.mark.parametrize("probe", [DEVELOPER, WITNESS])
def test_exchanged_probes_are_told_live_and_taken_for_each_other(probe: ProbeModel) -> None:
    """One FAULT that names both, within 90 s of the step; development is then what it would have been, from the begin on. A witness is a
    vessel like the developer's, in the same bath."""
    wrong, right = evening(2.0, 240, probe=probe), evening(2.0, 240, swapped=False, probe=probe)
    told = [c for c in wrong.changes if c.why.startswith(EXCHANGED)]
    assert [(c.probe, c.believed, c.loss, c.source) for c in told] == [(probe.name, False, True, probe.role)]
    assert told[0].why == "exchanged with bowl: this probe is in the bath and that one in the developer; each is now taken for the other"
    ours, due = wrong.estimator.done(0, 239.0), right.estimator.done(0, 239.0)
    assert ours.done_ref_s == pytest.approx(due.done_ref_s, abs=1.0)
    assert wrong.estimator.temperature(239.0).celsius == pytest.approx(right.estimator.temperature(239.0).celsius, abs=0.1)


def test_what_is_told_after_an_exchange_names_the_probe_that_is_meant() -> None:
    """That in the developer falls silent: it is the one called bowl."""
    watched = evening(2.0, 240)
    for t in range(240, 270):
        watched.hear(float(t), 22.0, DEVELOPER)
    assert [(c.probe, c.believed, c.loss) for c in watched.changes[-1:]] == [("bowl", False, True)]
    assert watched.changes[-1].why == "no reading for 15 s"


# The bath's own probe


def lifted(t: float, away_s: tuple[float, float] = (150.0, math.inf), to_c: float = -4.0, lag_s: float = 40.0) -> float:
    """A bath of 20 C that cools slowly, as its probe has it, which hangs in air for a while."""
    off = to_c * (1.0 - math.exp(-(min(t, away_s[1]) - away_s[0]) / lag_s)) if t > away_s[0] else 0.0
    return 20.0 - 0.0005 * t + (off * math.exp(-(t - away_s[1]) / 8.0) if t > away_s[1] else off)


def with_bath(bath_c: Callable[[float], float], seconds: int) -> Watched:
    """A sound probe in a developer that began at 19 C and follows its bath, whose own probe says `bath_c`."""
    watched, rng, liquid_c = Watched(DEVELOPER, BATH, vessel=BESIDE), random.Random(7), 19.0
    for t in range(seconds):
        if t == 60:
            watched.estimator.begin(0, 60.0, LAW, 20.0)
        for celsius, probe in ((liquid_c, DEVELOPER), (bath_c(t), BATH)):
            watched.hear(float(t), round(16.0 * (celsius + rng.gauss(0.0, 0.025))) / 16.0, probe)
        liquid_c += (20.0 - 0.0005 * t - liquid_c) / LAG_S
    return watched


@pytest.mark.parametrize(
    ("bath_c", "side"),
    [
        (lifted, "below"),
        (lambda t: lifted(t, to_c=3.0), "above"),
        (lambda t: 20.0 - 0.0005 * t + 0.4 / 60.0 * max(t - 150.0, 0.0), "above"),
    ],
)
def test_a_bath_probe_that_no_longer_reads_its_bath_condemns_no_developer(bath_c: Callable[[float], float], side: str) -> None:
    """It was lifted out, or drifts: that is told of it, without FAULT, and the developer's own probe goes on as beside a sound one."""
    watched, alone = with_bath(bath_c, 400), with_bath(lambda t: 20.0 - 0.0005 * t, 400)
    told = [c for c in watched.changes if c.since_t_s > 10.0]
    assert [(c.probe, c.believed, c.loss) for c in told] == [("bowl", False, False)]
    assert told[0].why.startswith("the developer does not follow it")
    assert told[0].why.endswith(f"{side} its bath")
    assert abs(told[0].since_t_s - 150.0) < 30.0
    assert watched.estimator.done(0, 399.0).done_ref_s == pytest.approx(alone.estimator.done(0, 399.0).done_ref_s, abs=0.5)


@pytest.mark.parametrize("every_s", [4.0, 30.0, 90.0])
def test_pairs_that_are_far_apart_tell_of_the_bath_too(every_s: float) -> None:
    """A stand of hours is weighed in few means, and a probe may have been silent for minutes."""
    pairs, liquid_c = [], 19.0
    for k in range(60):
        liquid_c += (20.0 - liquid_c) * (1.0 - math.exp(-every_s / LAG_S))
        pairs.append(Pair(k * every_s, liquid_c, 20.0 if k < 30 else 16.0))
    found = disagreement(pairs, LAG_S, 0.02 * LAG_S, 8.0, 0.0004)
    assert found is not None
    assert found.bath is not None
    assert found.bath.ahead > 7.0
    assert found.bath.off_c == pytest.approx(-4.0, abs=0.2)


@pytest.mark.parametrize("by_c", [-2.0, 1.0, 3.0])
def test_a_bath_that_is_warmed_or_cooled_keeps_its_probe(by_c: float) -> None:
    """The developer follows, as slowly as it does."""
    assert not any(c.probe == "bowl" for c in evening(by_c, 400, swapped=False).changes)


def test_a_bath_probe_that_is_put_back_is_believed_again() -> None:
    """Half a minute near where its bath must have gone; then the vessel may follow it again."""
    watched = with_bath(lambda t: lifted(t, away_s=(150.0, 260.0)), 400)
    told = [(c.probe, c.believed) for c in watched.changes if c.since_t_s > 10.0]
    assert told == [("bowl", False), ("bowl", True)]
    back = watched.changes[-1]
    assert 260.0 < back.since_t_s < 300.0
    assert back.why == "for 30 s where its bath must be"


@pytest.mark.parametrize(("back", "source"), [(False, "held"), (True, "vessel model")])
def test_without_a_bath_probe_that_reads_its_bath_the_vessel_follows_nothing(back: bool, source: str) -> None:
    """The developer's probe falls silent afterwards."""
    watched = with_bath(lambda t: lifted(t, away_s=(150.0, 260.0 if back else math.inf)), 400)
    for t in range(400, 420):
        watched.hear(float(t), lifted(t, away_s=(150.0, 260.0 if back else math.inf)), BATH)
    assert watched.estimator.temperature(419.0).source == source


def test_an_exchange_found_after_the_start_is_forgotten_shifts_what_was_counted() -> None:
    """The bath steps ten minutes on: what is no longer kept is put right by half, and doubted."""
    wrong, right = evening(-3.0, 700, step_s=600.0), evening(-3.0, 700, swapped=False, step_s=600.0)
    assert [c.loss for c in wrong.changes if c.why.startswith(EXCHANGED)] == [True]
    ours, due = wrong.estimator.done(0, 699.0), right.estimator.done(0, 699.0)
    assert abs(ours.done_ref_s - due.done_ref_s) < 2.0 * ours.sd_ref_s
    assert wrong.estimator.temperature(699.0).celsius == pytest.approx(right.estimator.temperature(699.0).celsius, abs=0.1)


def test_what_cannot_be_decided_is_doubted() -> None:
    """No step: a developer of 18 C and a bath of 20 C that do not behave as their lag says. No confident number is told."""
    calm, odd = evening(0.0, 200, swapped=False), evening(0.0, 200)
    assert odd.estimator.done(0, 199.0).sd_ref_s > 1.2 * calm.estimator.done(0, 199.0).sd_ref_s
    assert odd.estimator.temperature(199.0).sd_c > 1.2 * calm.estimator.temperature(199.0).sd_c


def beside(developer_c: float, bath_c: Callable[[float], float], seconds: int, begins: bool = True) -> Watched:
    """A developer's probe that says the same all the time, beside a bath; the stage began after 60 s."""
    watched, rng = Watched(DEVELOPER, BATH, vessel=BESIDE), random.Random(7)
    for t in range(seconds):
        if t == 60 and begins:
            watched.estimator.begin(0, 60.0, LAW, 20.0)
        watched.hear(float(t), round(16.0 * (developer_c + rng.gauss(0.0, 0.025))) / 16.0, DEVELOPER)
        watched.hear(float(t), round(16.0 * (bath_c(t) + rng.gauss(0.0, 0.025))) / 16.0, BATH)
    return watched


def test_a_probe_that_is_likelier_wrong_than_right_counts_in_part() -> None:
    """1.15 C below its bath for four minutes, and it does not near it: half in air or exchanged, rather than right. What is believed lies
    between the two, that is told once and without FAULT, and development and end go with it."""
    odd = beside(18.85, lambda t: 20.0 - 0.001 * t, 240)
    known, calm = odd.estimator.temperature(239.0), beside(18.85, lambda t: 18.85, 240).estimator
    assert 19.2 < known.celsius < 19.9
    assert known.sd_c > 1.3 * calm.temperature(239.0).sd_c
    told = [c for c in odd.changes if "in part" in c.why]
    assert [(c.probe, c.believed, c.loss) for c in told] == [("jug", True, False)]
    assert re.fullmatch(r"in part only: bath and vessel's lag put the developer 1\.0 C above what this probe reads", told[0].why)
    assert odd.estimator.done(0, 239.0).done_ref_s > calm.done(0, 239.0).done_ref_s + 5.0
    assert odd.estimator.end(0, 480.0, 239.0).end_t_s < calm.end(0, 480.0, 239.0).end_t_s - 20.0
    left_s = (480.0 - odd.estimator.done(0, 239.0).done_ref_s) / rate(LAW, known.celsius)
    assert odd.estimator.end(0, 480.0, 239.0).end_t_s == pytest.approx(239.0 + left_s, abs=2.0)
    assert odd.estimator.end(0, 480.0, 239.0).sd_s > calm.end(0, 480.0, 239.0).sd_s


def test_a_probe_that_agrees_with_its_bath_after_all_is_told_to_be_whole_again() -> None:
    """What spoke against it is gone: once, a minute later, without FAULT; and not while nothing develops."""
    watched = beside(18.85, lambda t: 20.0 - 0.001 * t, 240)
    watched.estimator._bath_watch.look = lambda *_: None  # type: ignore[method-assign]
    watched.estimator._bath_watch._nothing_doubted()
    before = len(watched.changes)
    watched.settled(240, 290, 18.875, DEVELOPER, BATH)
    assert len(watched.changes) == before
    watched.settled(290, 400, 18.875, DEVELOPER, BATH)
    assert [(c.probe, c.believed, c.loss, c.since_t_s, c.why) for c in watched.changes[before:]] == [
        ("jug", True, False, 240.0, "whole again: the bath agrees")
    ]
    over = beside(18.85, lambda t: 20.0 - 0.001 * t, 240)
    over.estimator.forget(0)
    told = len(over.changes)
    over.settled(240, 400, 18.875, DEVELOPER, BATH)
    assert len(over.changes) == told


def test_what_is_believed_of_a_doubtful_probe_counts_whole_since_it_is_doubted() -> None:
    """From the begin on, as a steady liquid of what is believed for as long; from half a minute after the begin on, for that much less."""
    always = beside(18.85, lambda t: 20.0 - 0.001 * t, 240).estimator
    assert always.done(0, 239.0).done_ref_s == pytest.approx(179.0 * rate(LAW, always.temperature(239.0).celsius), rel=0.005)
    later = half_dry(lambda t: -0.9 * (1.0 - math.exp(-max(t - 60.0, 0.0) / 8.0)), 160)[0].estimator
    since_t_s, moved_c, known_c = later._bath_watch.doubted_since_t_s, later._bath_watch.moved_c, later.temperature(159.0).celsius
    assert 30.0 < since_t_s < 70.0
    assert moved_c > 0.5
    whole_ref_s = later.done(0, 159.0).done_ref_s
    later._bath_watch.moved_c = 0.0
    more_ref_s = (159.0 - since_t_s) * (rate(LAW, known_c) - rate(LAW, known_c - moved_c))
    assert whole_ref_s - later.done(0, 159.0).done_ref_s == pytest.approx(more_ref_s, rel=0.02)


def test_where_nothing_develops_a_doubtful_probe_says_what_it_says() -> None:
    """No stage has begun: nobody is told."""
    watched = beside(18.85, lambda t: 20.0 - 0.001 * t, 240, begins=False)
    assert watched.estimator._bath_watch.moved_c == 0.0
    assert watched.estimator.temperature(239.0).celsius == pytest.approx(18.85, abs=0.05)
    assert not any("in part" in c.why for c in watched.changes)


def test_exchanged_probes_in_a_bath_that_does_not_step_count_in_part() -> None:
    """After four minutes the developer of 18.97 C is believed to be within 0.4 C, where its own name says 20 C."""
    swapped, own = evening(0.0, 240), evening(0.0, 240, swapped=False)
    true_c = own.estimator.temperature(239.0).celsius
    assert swapped.estimator.temperature(239.0).celsius == pytest.approx(true_c, abs=0.4)
    assert not any("in part" in c.why for c in own.changes)


def test_no_drift_is_told_where_an_exchange_is_likelier() -> None:
    """Developer 2.5 C above a bath that cools, each probe in the other's liquid: as a drift it would be lost to a vessel model whose bath
    is the developer. It counts in part until the exchange is sure."""
    watched, rng, liquid_c = Watched(DEVELOPER, BATH, vessel=BESIDE), random.Random(7), 22.5
    for t in range(300):
        if t == 60:
            watched.estimator.begin(0, 60.0, LAW, 20.0)
        around = 20.0 - 0.1 * t / 60.0
        for celsius, probe in ((around, DEVELOPER), (liquid_c, BATH)):
            watched.hear(float(t), round(16.0 * (celsius + rng.gauss(0.0, 0.025))) / 16.0, probe)
        liquid_c += (around - liquid_c) / LAG_S
    assert [c.why.split(" ")[0] for c in watched.changes if c.loss] == ["exchanged"]
    assert watched.estimator.temperature(299.0).celsius == pytest.approx(liquid_c, abs=0.1)


def test_a_probe_that_is_likelier_right_than_wrong_counts_whole() -> None:
    """A liquid 0.5 C below its bath: some doubt, and not a hair's breadth of the mean."""
    watched = beside(19.5, lambda t: 20.0 - 0.001 * t, 240)
    assert watched.estimator._bath_watch.doubt_c > 0.0
    assert watched.estimator._bath_watch.moved_c == 0.0
    assert watched.estimator.temperature(239.0).celsius == pytest.approx(19.5, abs=0.03)


def test_one_look_does_not_move_the_mean() -> None:
    """However sure the first one is, ten seconds later another must say the same."""
    assert after_look(0.0, 20.0) < 0.5 < after_look(after_look(0.0, 20.0), 20.0)
    assert after_look(0.0, -5.0) == 0.0


def test_a_probe_that_was_off_from_the_start_read_its_start_wrong_too() -> None:
    """Always 1.9 C too cold, in a liquid that nears its bath from 0.84 C below: likelier than a lag that is false by three."""
    rng, pairs = random.Random(4), []
    for t in range(0, 240, 4):
        liquid_c = 20.0 - 0.84 * math.exp(-t / LAG_S)
        pairs.append(Pair(float(t), liquid_c - 1.9 + rng.gauss(0.0, math.sqrt(VARIANCE)), 20.0 + rng.gauss(0.0, 0.01)))
    found = disagreement(pairs, LAG_S, 0.02 * LAG_S, 8.0, VARIANCE)
    assert found is not None
    assert found.ahead > 0.0
    assert found.off_c == pytest.approx(-1.9, abs=0.2)


def test_a_lag_that_is_false_by_a_factor_of_three_is_unlikely_from_the_start() -> None:
    """It alone would explain a probe that stays 1.15 C below its bath: the probe is as likely to be wrong, and by how much is said."""
    rng = random.Random(5)
    pairs = [Pair(float(t), 18.85 + rng.gauss(0.0, 0.02), 20.0 - 0.001 * t + rng.gauss(0.0, 0.01)) for t in range(0, 240, 4)]
    found = disagreement(pairs, LAG_S, 0.02 * LAG_S, 8.0, VARIANCE)
    assert found is not None
    assert found.ahead > -1.0
    assert found.off_c == pytest.approx(-1.1, abs=0.2)


# From the begin on, and all of it


def half_dry(
    off: Callable[[float], float], seconds: int, begin_s: float = 0.0, start_c: float = 20.0, jug_c: float | None = None
) -> tuple[Watched, float, float]:
    """A tank in a bath of 20 C that gains 0.06 C a minute; its probe says `off` too much; before the begin it may hang in a jug. What
    watched it, what the developer is in the end (C), and what was developed (s at the reference)."""
    watched, rng, liquid_c, done_ref_s = Watched(DEVELOPER, BATH, vessel=BESIDE), random.Random(3), start_c, 0.0
    for t in range(seconds):
        if t == begin_s:
            watched.estimator.begin(0, begin_s, LAW, 20.0)
        bath_c = 20.0 + 0.001 * t
        seen_c = jug_c if jug_c is not None and t < begin_s else liquid_c + off(float(t))
        watched.hear(float(t), round(16.0 * (seen_c + rng.gauss(0.0, 0.025))) / 16.0)
        watched.hear(float(t), round(16.0 * (bath_c + rng.gauss(0.0, 0.025))) / 16.0, BATH)
        liquid_c += (bath_c - liquid_c) / LAG_S
        done_ref_s += rate(LAW, liquid_c) if t >= begin_s else 0.0
    return watched, liquid_c, done_ref_s


def told_off(watched: Watched) -> list[float]:
    """Since when the probe was told to be off."""
    return [c.since_t_s for c in watched.changes if c.loss and "vessel's lag say" in c.why]


def test_a_probe_at_rest_is_watched_from_the_begin_on() -> None:
    """Half in air after 25 s, by -1.4 C: told within a minute and a half, and development is right to 1 %."""
    watched, liquid_c, due_ref_s = half_dry(lambda t: -1.4 * (1.0 - math.exp(-max(t - 25.0, 0.0) / 8.0)), 120, start_c=19.6)
    since = told_off(watched)
    assert len(since) == 1
    assert re.fullmatch(r"1\.[2-6] C below what bath and vessel's lag say", next(c.why for c in watched.changes if c.loss))
    assert since[0] == pytest.approx(20.0, abs=8.0)
    assert watched.estimator.done(0, 119.0).done_ref_s == pytest.approx(due_ref_s, rel=0.02)
    assert watched.estimator.temperature(119.0).celsius == pytest.approx(liquid_c, abs=0.2)


def test_a_probe_that_comes_from_elsewhere_is_watched_once_it_has_settled() -> None:
    """It comes 3 C too warm from the bench: nothing is wrong with it."""
    watched, _, _ = half_dry(lambda t: 3.0 * math.exp(-t / 8.0), 200)
    assert told_off(watched) == []
    assert [c for c in watched.changes if "in part" in c.why] == []


def test_what_a_probe_said_in_another_jug_before_the_begin_speaks_of_no_vessel() -> None:
    """Five minutes in a jug of 24 C on the table, then in the tank: nothing is wrong with it, before or after."""
    watched, _, _ = half_dry(lambda t: 4.0 * math.exp(-(t - 300.0) / 8.0), 480, begin_s=300.0, jug_c=24.0)
    assert told_off(watched) == []
    assert [c for c in watched.changes if "in part" in c.why] == []
    first = watched.estimator._bath_watch._pairs_since(watched.replay, DEVELOPER, BATH, 300.0)[0]
    assert first.t_s > 290.0


def test_a_probe_is_at_rest_whose_first_readings_hardly_move() -> None:
    """By two codes at most; a few readings tell nothing."""
    assert at_rest([20.0, 20.0625, 20.0, 20.125])
    assert not at_rest([20.0, 20.0625, 20.125, 20.1875])
    assert not at_rest([20.0, 20.0, 20.0])


@pytest.mark.parametrize("lag_s", [5.0, 8.0, 12.0])
def test_how_quickly_it_came_does_not_matter(lag_s: float) -> None:
    """A probe half dry follows more slowly than one in the liquid, and its chip comes after its sleeve."""
    found = said(lambda t: -1.4 * (1.0 - math.exp(-max(t - 58.0, 0.0) / lag_s)))
    assert found is not None
    assert found.ahead > 10.0
    assert found.off_c == pytest.approx(-1.4, rel=0.1)
    assert found.misfit < 2.0


def test_what_was_seen_is_not_forgotten_after_four_minutes() -> None:
    """Older pairs of readings stay, as means of three, the last forty of them."""
    watched, _, _ = half_dry(lambda _: 0.0, 1000, start_c=19.6)
    watch = watched.estimator._bath_watch
    pairs = watch._pairs_since(watched.replay, DEVELOPER, BATH, 0.0)
    ages = [1000.0 - p.t_s for p in watch._older]
    assert len(ages) == 40
    assert ages[-1] > 240.0
    assert {round(a - b) for a, b in itertools.pairwise(ages)} == {12}
    assert max(ages) == pytest.approx(240.0 + 40 * 12.0, abs=24.0)
    assert len(pairs) == pytest.approx(40 + 60, abs=4)
    assert pairs[0].t_s == pytest.approx(1000.0 - max(ages))


@pytest.mark.parametrize(("off_c", "start_c"), [(-1.5, 20.8), (-1.8, 20.5), (2.0, 19.0)])
def test_one_that_was_off_from_the_start_takes_its_start_with_it(off_c: float, start_c: float) -> None:
    """It reads too little, or too much, all the time, and that it had settled is not clear; once it is told, the developer is what bath and
    lag make of it, and what had been counted is put right, to two standard deviations."""
    watched, liquid_c, due_ref_s = half_dry(lambda t: off_c + math.copysign(0.6, off_c) * math.exp(-t / 8.0), 420, start_c=start_c)
    assert len(told_off(watched)) == 1
    done, known = watched.estimator.done(0, 419.0), watched.estimator.temperature(419.0)
    assert abs(known.celsius - liquid_c) < min(0.5, 2.0 * known.sd_c)
    assert abs(done.done_ref_s - due_ref_s) < min(0.04 * due_ref_s, 2.0 * done.sd_ref_s)


def test_no_verdict_while_it_is_unsure_since_when() -> None:
    """Off from the start, or drifting: the past hangs on it."""
    said_of = {share: Disagreement(9.0, "offset", 10.0, -1.0, LAG_S, from_start=share) for share in (0.05, 0.3, 0.7, 0.95)}
    assert [found.since_is_unsure for found in said_of.values()] == [False, True, True, False]
