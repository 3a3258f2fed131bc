"""Whatever is thrown at the estimator: no error, no physically impossible answer. The benchmark runs hundreds of such storms."""

from __future__ import annotations

import random

import pytest

from monitor.core.development.beliefs import Beliefs, ProbeModel, Vessel
from monitor.core.development.estimator import Estimator
from monitor.core.development.probe_trust import Verdict
from monitor.core.development.rate import Coefficient
from monitor.core.probes.readings import Reading
from tests.benchmarks.liquids import quantised
from tests.benchmarks.storms import storm
from tests.seeds import seeds

LAW = Coefficient(20.0, 2.5, 0.1, (16.0, 24.0))
DEVELOPER = ProbeModel("developer", "developer", 8.0)
ROOM = ProbeModel("room", "room", 0.0)


def good(t: float, celsius: float, probe: ProbeModel = DEVELOPER) -> Reading:
    """A believable reading."""
    return Reading(t, probe.name, probe.role, celsius, celsius, "good")


@pytest.mark.parametrize("seed", seeds(3))
def test_a_storm_of_faults_brings_no_error_and_no_impossible_answer(seed: int) -> None:
    """Dense faults, leaps, gaps, several probes and begins: nothing is raised, development and temperature stay
    physically possible."""
    assert storm(seed, 600.0).wrong == []


@pytest.mark.parametrize("since_s", [0.0, 100.0])
def test_a_loss_from_before_all_that_is_kept_is_followed(since_s: float) -> None:
    """A probe may turn out to have lied for longer than the estimator's memory reaches: it then holds from the oldest moment on."""
    estimator = Estimator(Beliefs(20.0, (DEVELOPER,)))
    estimator.begin(1, 0.0, LAW, 20.0)
    rng = random.Random(4)
    for t in range(600):
        estimator.read(good(float(t), quantised(20.0 + rng.gauss(0.0, 0.03))))
    changes = estimator._lose(estimator._trusts["developer"], Verdict(False, since_s, "as if it had been stuck"))
    assert [(c.believed, c.source) for c in changes] == [(False, "held")]
    assert estimator._replay.moment.drift == "held"
    for t in range(600, 660):
        estimator.read(good(float(t), quantised(20.0 + rng.gauss(0.0, 0.03))))
        assert estimator.done(1, float(t)).done_ref_s == pytest.approx(t, abs=3.0)
    assert estimator.temperature(660.0).source == "developer"


def test_a_room_that_changes_moves_no_held_temperature() -> None:
    """After a spell in which air was weighed, the probe vanishes: what the room's probe says afterwards moves neither liquid nor count."""
    done = []
    for room_c in (8.0, 26.0):
        estimator = Estimator(Beliefs(20.0, (DEVELOPER, ROOM)))
        estimator.begin(1, 0.0, LAW, 20.0)
        rng = random.Random(2)
        for t in range(200):
            step = 0.0 if t < 150 else 1.0
            estimator.read(good(float(t), quantised(20.0 + step + rng.gauss(0.0, 0.03))))
            estimator.read(good(t + 0.1, 17.0, ROOM))
        for t in range(200, 400):
            estimator.read(good(t + 0.1, 17.0 + (room_c - 17.0) * min((t - 200) / 60.0, 1.0), ROOM))
            estimator.advance(t + 0.2)
        done.append(estimator.done(1, 400.0).done_ref_s)
    assert done[0] == pytest.approx(done[1], abs=1e-6)


def test_a_begin_before_the_first_event_counts_from_there() -> None:
    """The first reading comes 30 s after the begin: those seconds are counted too, at what is found then."""
    estimator = Estimator(Beliefs(20.0, (DEVELOPER,)))
    for t in range(30, 33):
        estimator.read(good(float(t), 20.0))
    estimator.begin(1, 0.0, LAW, 20.0)
    for t in range(33, 100):
        estimator.read(good(float(t), 20.0))
    assert estimator.done(1, 100.0).done_ref_s == pytest.approx(100.0, abs=1.0)


def test_a_vessel_that_follows_the_room_starts_from_the_bath() -> None:
    """Nobody keeps developer at the room's temperature: until the vessel has followed the room, the bath's reading stands for it."""
    bath = ProbeModel("bath", "bath", 0.0)
    estimator = Estimator(Beliefs(20.0, (DEVELOPER, bath, ROOM), Vessel(600.0, 20.0, "room")))
    estimator.begin(1, 0.0, LAW, 20.0)
    for t in range(10):
        estimator.read(good(float(t), 8.0, ROOM))
        estimator.read(good(t + 0.1, 21.0, bath))
        estimator.advance(t + 0.2)
    here = estimator.temperature(10.0)
    assert here.source == "vessel model"
    assert here.celsius == pytest.approx(20.8, abs=0.3)


def test_an_old_value_let_go_is_no_leap_of_the_liquid() -> None:
    """A slow probe that stood still leaps by 2 C: the liquid is there, not forty degrees further."""
    slow = ProbeModel("developer", "developer", 20.0)
    estimator = Estimator(Beliefs(20.0, (slow,)))
    rng = random.Random(6)
    for t in range(60):
        estimator.read(good(float(t), quantised(20.0 + rng.gauss(0.0, 0.03)), slow))
    for t in range(60, 72):
        estimator.read(good(float(t), 20.0, slow))
    for t in range(72, 90):
        estimator.read(good(float(t), quantised(18.0 + rng.gauss(0.0, 0.03)), slow))
        assert 16.0 < estimator.temperature(float(t)).celsius < 20.5
