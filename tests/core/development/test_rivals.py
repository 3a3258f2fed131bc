"""Rival models and histories: how they are mixed, weighed and merged."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
import pytest

from monitor.core.development.filter import AIR, PROBE, SLOPE, TRANSIENT, Count, T, Track, liquid_step
from monitor.core.development.histories import AIR_PRIOR_LOG, Histories, _likely, returning, weigh
from monitor.core.development.moment import Moment
from monitor.core.development.rivals import ALL_KINDS, LIQUID_KINDS, NOISES, Bank, Kind, merged
from tests.core.development.scenes import LAW, followed


def start(celsius: float = 20.0) -> Track:
    """A track as at the first reading."""
    c = [[0.0] * 5 for _ in range(5)]
    for i, var in enumerate((9.0, 1.6e-5, 1e-6, 1e-3, 64.0)):
        c[i][i] = var
    return Track([celsius, 0.0, 0.0, celsius, 18.0], c, {})


def sure(celsius: float = 20.0) -> Bank:
    """All rivals, from a liquid that is known exactly."""
    bank = Bank([Track([celsius, 0.0, 0.0, celsius, 12.0], [[0.0] * 5 for _ in range(5)], {})], [1.0])
    bank.open()
    return bank


# Mixing


def test_a_rivalry_opens_in_favour_of_calm() -> None:
    """79 to 1, the others alike; without air the same among what is left."""
    bank = sure()
    assert dict(zip(bank.kinds, bank.weights, strict=True)) == pytest.approx(
        {"calm": 0.9875, "lively": 0.0025, "jump": 0.0025, "stir": 0.0025, "fault": 0.0025, "air": 0.0025}
    )
    bank.open(LIQUID_KINDS)
    assert bank.weights == pytest.approx([0.9875 / 0.9975] + [0.0025 / 0.9975] * 4)


@pytest.mark.parametrize(("one", "other", "rate"), [
    ("calm", "lively", 1 / 600), ("calm", "jump", 1 / 600), ("calm", "stir", 1 / 600), ("calm", "fault", 1 / 600),
    ("calm", "air", 1 / 3000), ("fault", "calm", 1 / 5), ("fault", "jump", 0.0),
    ("lively", "calm", 1 / 30), ("lively", "air", 1 / 3000), ("air", "calm", 1 / 90), ("air", "lively", 0.0),
])
def test_models_change_into_each_other_at_their_rates(one: Kind, other: Kind, rate: float) -> None:
    """In two seconds, from a bank that is certain of one of them."""
    bank = sure()
    bank.weights = [1.0 if kind == one else 0.0 for kind in bank.kinds]
    bank.mix(2.0)
    assert bank.weight(other) == pytest.approx(1.0 - math.exp(-2.0 * rate), rel=1e-6, abs=1e-12)
    assert math.fsum(bank.weights) == pytest.approx(1.0)


@pytest.mark.parametrize("one", ["jump", "stir"])
def test_a_jump_and_a_stir_are_over_at_once(one: Kind) -> None:
    """Mostly lively afterwards, sometimes calm, hardly ever another one, never air."""
    bank = sure()
    bank.weights = [1.0 if kind == one else 0.0 for kind in bank.kinds]
    bank.mix(1.0)
    assert dict(zip(bank.kinds, bank.weights, strict=True)) == pytest.approx(
        {"calm": 0.3, "lively": 0.68, "jump": 0.01, "stir": 0.01, "fault": 0.0, "air": 0.0}
    )


def test_a_model_that_is_entered_makes_its_part_unsure() -> None:
    """A jump the liquid by 1.4 C, a stir the transient by 0.06 C a second; the others nothing."""
    bank = sure()
    bank.mix(1.0)
    assert [bank.track(kind).c[T][T] for kind in ALL_KINDS] == pytest.approx([0.0, 0.0, 2.0, 0.0, 0.0, 0.0])
    assert [bank.track(kind).c[TRANSIENT][TRANSIENT] for kind in ALL_KINDS] == pytest.approx([0.0, 0.0, 0.0, 0.0036, 0.0, 0.0])


@pytest.mark.parametrize(
    ("kind", "place", "per_s"), [("calm", SLOPE, 2e-8), ("lively", TRANSIENT, 4e-5), ("jump", TRANSIENT, 1e-5), ("air", AIR, 0.002)]
)
def test_each_model_is_restless_in_its_way(kind: Kind, place: int, per_s: float) -> None:
    """What its slope, transient or air gain in a second."""
    bank = sure()
    bank.predict(liquid_step(1.0, 8.0))
    assert bank.track(kind).c[place][place] == pytest.approx(per_s)


# Merging


def test_a_mixture_has_the_mean_and_the_spread_of_its_parts() -> None:
    """Two certain tracks 1 C apart at even weight: the mean between, half a degree of deviation."""
    one, two = start(20.0), start(21.0)
    for track in (one, two):
        track.c[T][T] = 0.0
        track.counts[1] = Count(LAW, 100.0 if track is one else 104.0)
    both = merged([one, two], [0.5, 0.5])
    assert both.x[T] == pytest.approx(20.5)
    assert both.c[T][T] == pytest.approx(0.25)
    assert both.counts[1].done == pytest.approx(102.0)
    assert both.counts[1].var == pytest.approx(4.0)
    assert both.counts[1].cov[T] == pytest.approx(1.0)


def test_a_mixture_is_that_of_normal_distributions() -> None:
    """Mean and covariance of state and count, of three tracks that differ in all, by numpy."""
    rng = np.random.default_rng(2)
    tracks, weights, joints, means = [], [0.5, 0.3, 0.2], [], []
    for _ in weights:
        root = rng.normal(size=(6, 6))
        joint, mean = root @ root.T, rng.normal(size=6)
        track = Track([float(v) for v in mean[:5]], [[float(v) for v in row] for row in joint[:5, :5]], {})
        track.counts[1] = Count(LAW, float(mean[5]), [float(v) for v in joint[5, :5]], float(joint[5, 5]))
        tracks.append(track)
        joints.append(joint)
        means.append(mean)
    mean = np.average(means, axis=0, weights=weights)
    spread = np.average([j + np.outer(m - mean, m - mean) for j, m in zip(joints, means, strict=True)], axis=0, weights=weights)
    both = merged(tracks, weights)
    count = both.counts[1]
    assert np.allclose([*both.x, count.done], mean)
    assert np.allclose(both.c, spread[:5, :5])
    assert np.allclose([*count.cov, count.var], spread[5])


@pytest.mark.parametrize(("kind", "path"), [
    ("jump", [20.0 + 2.0 * (1.0 - math.exp(-i / 8.0)) for i in range(1, 25)]),
    ("air", [20.0 - 12.0 * (1.0 - math.exp(-i / 120.0)) for i in range(1, 25)]),
])
def test_rivals_tell_a_step_of_the_liquid_from_a_probe_in_air(kind: str, path: list[float]) -> None:
    """After 24 s of either, air has nearly all the weight or nearly none."""
    track = start()
    for _ in range(120):
        track.predict(liquid_step(1.0, 8.0), NOISES["calm"])
        track.update(PROBE, 20.0, 1.2e-3)
    bank = Bank([track], [1.0])
    bank.open()
    for value in path:
        bank.mix(1.0)
        bank.predict(liquid_step(1.0, 8.0))
        bank.update(value, 1.2e-3, False)
    if kind == "air":
        assert bank.weight("air") > 0.9
        assert bank.mean().x[T] == pytest.approx(20.0, abs=0.15)
    else:
        assert bank.weight("air") < 0.05
        assert bank.mean().x[T] == pytest.approx(22.0, abs=0.15)


# Likelihood


def test_a_reading_weighs_the_models_by_its_likelihood() -> None:
    """Bayes' rule with normal densities (standard library); under an electrical fault a reading says little: 1 C. The logarithm of their
    mean adds to the evidence."""
    bank = sure()
    off = {"calm": 0.0, "lively": 0.3, "jump": 0.6, "stir": -0.3, "fault": 0.0, "air": 1.0}
    for kind in ALL_KINDS:
        track = bank.track(kind)
        track.x[PROBE] += off[kind]
        track.c[PROBE][PROBE] = 0.04
    before = bank.weights[:]
    says_little = {"fault": 1.0}
    densities = [NormalDist(20.0 + off[kind], math.sqrt(0.04 + 0.01 + says_little.get(kind, 0.0))).pdf(20.2) for kind in ALL_KINDS]
    whole = sum(w * d for w, d in zip(before, densities, strict=True))
    surprise, total = bank.update(20.2, 0.01, False)
    assert (surprise, total) == pytest.approx((0.2, 0.05))
    assert bank.weights == pytest.approx([w * d / whole for w, d in zip(before, densities, strict=True)])
    assert bank.log_evidence == pytest.approx(math.log(whole))


def test_one_model_alone_gathers_evidence_too() -> None:
    """The sum of the logarithms of its densities."""
    bank = Bank([start()], [1.0])
    expected = 0.0
    for value in (20.3, 19.9, 20.0):
        track = bank.tracks[0]
        expected += math.log(NormalDist(track.x[PROBE], math.sqrt(track.c[PROBE][PROBE] + 0.01)).pdf(value))
        bank.update(value, 0.01, False)
    assert bank.log_evidence == pytest.approx(expected)


@pytest.mark.parametrize(
    ("air_c", "room_known", "less"), [(20.39, True, True), (20.41, True, False), (21.4, False, True), (21.6, False, False)]
)
def test_air_as_warm_as_the_liquid_loses_weight(air_c: float, room_known: bool, less: bool) -> None:
    """It cannot be told from liquid: half the weight at each reading, within 0.4 C of a room that is known, 1.5 C of one that is not."""
    bank = sure()
    for track in bank.tracks:
        track.x[AIR] = air_c
        track.c[PROBE][PROBE] = 0.04
    bank.update(20.0, 0.01, room_known)
    assert bank.weight("air") == pytest.approx(0.0025 * (math.exp(-0.7) if less else 1.0), rel=5e-3)


# Histories


def readings(onset: float, until: int = 140) -> list[tuple[float, float, bool]]:
    """A probe of 8 s in a liquid of 20 C, in air of 12 C from `onset` on; a reading a second from 41 s on, of 20 mK noise by rote."""
    rows = []
    for t in range(41, until):
        celsius = 20.0 if t <= onset else 12.0 + 8.0 * math.exp(-(t - onset) / 120.0)
        rows.append((float(t), celsius + 0.02 * math.sin(7.0 * t), False))
    return rows


def known() -> Moment:
    """20 C for long, at 40 s."""
    moment = followed(20.0, 40.0)
    track = moment.bank.tracks[0]
    track.c[T][T], track.c[SLOPE][SLOPE], track.c[PROBE][PROBE], track.c[AIR][AIR] = 1e-3, 1e-7, 1e-3, 64.0
    return moment


def test_the_beginning_of_air_is_found() -> None:
    """Within three seconds, and far likelier than a liquid that moves so."""
    found = weigh(known(), readings(100.0), 60.0, 137.0)
    assert found is not None
    assert found.since_t_s == pytest.approx(100.0, abs=3.0)
    assert found.liquid_ahead < -1.6
    assert found.in_air > 0.95


def test_a_liquid_that_steps_is_no_air() -> None:
    """The probe follows with its own lag."""
    rows = [(t, c if t <= 100.0 else 20.0 - 2.0 * (1.0 - math.exp(-(t - 100.0) / 8.0)), False) for t, c, _ in readings(200.0)]
    found = weigh(known(), rows, 60.0, 137.0)
    assert found is not None
    assert found.liquid_ahead > 4.0


def test_air_is_sought_only_where_it_may_have_begun() -> None:
    """No reading there: no histories. Its beginning lies within the span even if the fall began before."""
    assert weigh(known(), readings(100.0), 500.0, 600.0) is None
    found = weigh(known(), readings(100.0), 110.0, 137.0)
    assert found is not None
    assert found.since_t_s >= 110.0


def test_beginnings_of_air_that_are_hopeless_or_too_many_are_dropped() -> None:
    """The sixteen likeliest, the best first, and none that is exp(12) times less likely than it."""
    forks = []
    for i, evidence in enumerate([0.0, -11.9, -12.1, *(-0.1 * i for i in range(1, 20))]):
        moment = known()
        moment.bank.log_evidence = evidence
        forks.append((float(i), moment))
    kept = [moment.bank.log_evidence for _, moment in _likely(forks)]
    assert kept == pytest.approx([0.0, *(-0.1 * i for i in range(1, 16))])
    assert [moment.bank.log_evidence for _, moment in _likely(forks[:3])] == [0.0, -11.9]


def test_a_lift_is_rarer_than_a_step() -> None:
    """One in 2000 s beside the steps' one in 600 s: that much the liquid is ahead before any reading."""
    assert Histories(known(), AIR_PRIOR_LOG, known(), 0.0).liquid_ahead == pytest.approx(math.log(2000.0))
    assert Histories(known(), 0.0, None, 0.0).liquid_ahead == -math.inf


@pytest.mark.parametrize(("ahead", "was_out"), [(2.9, False), (3.1, True)])
def test_a_probe_has_been_in_air_if_that_is_twenty_times_likelier(ahead: float, was_out: bool) -> None:
    """exp(3); or if it was seen to go there."""
    air, silent = known(), known()
    air.bank.log_evidence = ahead
    assert Histories(air, 0.0, None, 0.0, silent).was_out == was_out
    assert Histories(air, 0.0, None, 0.0).was_out


def test_a_returning_probe_may_be_in_the_liquid_or_in_air() -> None:
    """Most likely it is where it was; it counts nothing, and its evidence begins anew."""
    moment = known()
    moment.bank.tracks[0].counts[1] = Count(LAW, 50.0)
    moment.bank.log_evidence = 7.0
    histories = returning(moment)
    assert histories.in_air == pytest.approx(0.2)
    assert histories.air.bank.weight("calm") == pytest.approx(0.5)
    assert histories.silent is not None
    assert histories.silent.bank.kinds == LIQUID_KINDS
    assert histories.air.bank.log_evidence == histories.silent.bank.log_evidence == 0.0
    assert histories.air.bank.tracks[0].counts == {}
    assert moment.bank.tracks[0].counts[1].done == 50.0


def test_all_histories_hear_readings_and_room() -> None:
    """Each is carried on; an older reading is passed over."""
    histories = Histories(known(), 0.0, known(), 40.0, known())
    histories.read(41.0, 20.1)
    histories.read_room(12.0)
    histories.read(40.5, 25.0)
    for moment in (histories.air, histories.liquid, histories.silent):
        assert moment is not None
        assert (moment.t, moment.room_c) == (41.0, 12.0)
        assert moment.bank.mean().x[PROBE] < 20.1
