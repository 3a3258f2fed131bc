"""What left its line and came back to it was not the liquid; what stays away from it was."""

from __future__ import annotations

import math
import random
from collections.abc import Callable

import pytest

from monitor.core.development.beliefs import ProbeModel
from monitor.core.development.excursion import Seen, _Shift
from monitor.core.development.excursion import _since as excursion_since
from monitor.core.development.filter import SLOPE
from monitor.core.development.histories import lifted
from monitor.core.development.lifting import Lifting
from monitor.core.development.probe_trust import Verdict
from monitor.core.development.rate import Coefficient
from monitor.core.development.replay import GoodReading
from tests.benchmarks.liquids import FAMILIES, develop
from tests.core.development.scenes import Watched

LAW = Coefficient(20.0, 2.5, 0.0, (16.0, 24.0))
PROBE = ProbeModel("jug", "developer", comparison_sd_c=0.01)
"""All doubt is of what happens meanwhile."""
BEGUN_S, OUT_S, BACK_S = 30.0, 150.0, 190.0


def play(course: Callable[[float], float], until: int = 260) -> Watched:
    """A stage that began after half a minute, its probe reading this with noise; rounded to the register."""
    watched, rng = Watched(PROBE), random.Random(1)
    for t in range(until):
        if t == BEGUN_S:
            watched.estimator.begin(0, BEGUN_S, LAW, 20.0)
        watched.hear(float(t), round(16.0 * (course(float(t)) + rng.gauss(0.0, 0.025))) / 16.0)
    return watched


def passing(t: float) -> float:
    """Two degrees too much for forty seconds, unsteady."""
    return 20.0 + (2.0 + 0.3 * math.sin(t / 6.0) if OUT_S <= t < BACK_S else 0.0)


@pytest.fixture(scope="module")
def passed() -> Watched:
    """It has passed; not to be changed."""
    return play(passing)


def test_what_passes_the_probe_is_not_counted(passed: Watched) -> None:
    """A plume of 2 C for 40 s: development goes on as before to a tenth of what it would have made (8 s), which stays in the doubt."""
    calm, after = play(lambda _: 20.0).estimator.done(0, 259.0), passed.estimator.done(0, 259.0)
    assert after.done_ref_s == pytest.approx(calm.done_ref_s, abs=1.0)
    assert after.sd_ref_s > 2.0 * calm.sd_ref_s


def test_it_is_told_and_calls_for_nothing(passed: Watched) -> None:
    """The journal says from when to when the readings were left out, and how far off they were; the probe is believed, no FAULT."""
    out, back = passed.changes[1:]
    assert not out.believed
    assert "above its line, then back on it" in out.why
    assert OUT_S - 5.0 <= out.since_t_s <= OUT_S
    assert back.believed
    assert BACK_S <= back.since_t_s <= BACK_S + 4.0
    assert not out.loss


@pytest.mark.parametrize("stays_c", [0.5, -0.5, 1.5])
def test_a_liquid_that_stays_elsewhere_has_moved(stays_c: float) -> None:
    """Hot water, then cold, but not quite as much: all of it counts."""

    def moved(t: float) -> float:
        first = 2.0 * (1.0 - math.exp(-max(t - OUT_S, 0.0) / 8.0))
        return 20.0 + first + (stays_c - 2.0) * (1.0 - math.exp(-max(t - BACK_S, 0.0) / 8.0))

    watched = play(moved)
    assert [c for c in watched.changes[1:] if "line" in c.why] == []
    assert watched.estimator.temperature(259.0).celsius == pytest.approx(20.0 + stays_c, abs=0.15)


def test_a_line_that_rises_until_it_meets_the_liquid_is_not_met_again() -> None:
    """A probe settles, then warm water is stirred in. The line of before, whose slope was not well known yet, has come up to the liquid a
    minute later; but the liquid does not rise. All of it counts."""
    came = develop(FAMILIES["settling"](random.Random("settling 179")), random.Random(179))
    assert [c.why for c in came.changes] == ["3 good readings"]
    assert abs(came.counted_percent) < 0.1


def test_a_line_that_is_not_known_is_not_met_again() -> None:
    """In a degree's doubt after a minute: whatever the liquid is then, it may be on it by chance."""
    watched = play(passing, 150)
    before = next(s for s in reversed(watched.replay.snapshots) if s.t < OUT_S - 10.0).copy()
    times = range(int(before.t) + 1, 231)
    heard = [GoodReading(t, PROBE.name, "developer", 20.0 + (6.0 if OUT_S <= t < BACK_S else 0.0)) for t in times]
    found = {}
    for slope_sd in (0.001, 0.01):
        before.bank.tracks[0].c[SLOPE][SLOPE] = slope_sd**2
        found[slope_sd] = excursion_since(before, heard, PROBE.lag_s, 230.0, Seen(20.0, 0.01**2))
    assert found[0.001] is not None
    assert found[0.01] is None


@pytest.mark.parametrize(("off_c", "doubt"), [(0.5, 0.05), (3.0, 0.02), (8.0, 0.001)])
def test_the_further_it_went_the_less_it_was_the_liquid(off_c: float, doubt: float) -> None:
    """Water that is stirred in makes a degree or two; what hangs in air is off by ten."""
    watched = play(lambda _: 20.0, 150)
    before = next(s for s in reversed(watched.replay.snapshots) if s.t < OUT_S - 10.0)
    times = range(int(before.t) + 1, 231)
    heard = [GoodReading(t, PROBE.name, "developer", 20.0 + (off_c if OUT_S <= t < BACK_S else 0.0)) for t in times]
    found = excursion_since(before, heard, PROBE.lag_s, 230.0, Seen(20.0, 0.01**2))
    assert found is not None
    assert 1.0 - found.probability < doubt


def interrupted(odd_t_s: float | None) -> Watched:
    """As `passing`; in the midst of it the probe is taken to have been lifted 20 s ago, and to have begun to look odd then."""
    watched, rng = Watched(PROBE), random.Random(1)
    for t in range(230):
        if t == BEGUN_S:
            watched.estimator.begin(0, BEGUN_S, LAW, 20.0)
        if t == BACK_S - 5.0:
            trust, replay = watched.trust(PROBE), watched.replay
            start = next(s for s in reversed(replay.snapshots) if s.t < OUT_S)
            heard = [(r.t_s, r.celsius, False) for r in replay.readings if r.t_s > start.t]
            found = Lifting(5.0, OUT_S + 15.0, 60.0, 23.0, 2.0)
            lost = Verdict(False, OUT_S + 15.0, "lifted", histories=lifted(start, heard, found), odd_t_s=odd_t_s)
            watched.changes += watched.estimator._lose(trust, lost)
        watched.hear(float(t), round(16.0 * (passing(float(t)) + rng.gauss(0.0, 0.025))) / 16.0)
    return watched


def test_a_probe_that_was_taken_for_one_in_air_and_is_back_on_its_line_was_elsewhere_all_the_time() -> None:
    """It is believed a quarter of a minute after it is back; what had been counted before the verdict is put right."""
    calm, watched = play(lambda _: 20.0, 230).estimator.done(0, 229.0), interrupted(OUT_S - 4.0)
    lost, out, back = watched.changes[1:]
    assert (lost.why, out.believed, back.believed) == ("lifted", False, True)
    assert "above its line, then back on it" in out.why
    assert BACK_S <= back.since_t_s <= BACK_S + 4.0
    assert watched.estimator.done(0, 229.0).done_ref_s == pytest.approx(calm.done_ref_s, abs=1.0)
    assert watched.estimator.temperature(229.0).source == "developer"


def test_one_that_was_lifted_when_it_began_to_look_odd_only_returns() -> None:
    """Nothing of it had been believed, so nothing is put right."""
    assert [c.why for c in interrupted(None).changes if "line" in c.why] == []


def layered(leap_c: float, every_s: float = 80.0) -> Callable[[float], float]:
    """A probe in a layer that drifts away from the rest until mixing brings it back within five seconds."""

    def at(t: float) -> float:
        since = (t - BEGUN_S) % every_s
        return 20.0 - leap_c * (since / every_s if since > 5.0 or t < BEGUN_S + every_s else (5.0 - since) / 5.0)

    return at


def test_layers_that_mixing_breaks_up_are_doubted() -> None:
    """0.25 C at each mixing, three times: the rest of the liquid was warmer by up to that (1 %); of a calm one nothing is doubted."""
    calm, odd = play(lambda _: 20.0, 300).estimator, play(layered(0.25), 300).estimator
    assert odd.done(0, 299.0).sd_ref_s > calm.done(0, 299.0).sd_ref_s + 2.0
    assert odd.temperature(299.0).sd_c > calm.temperature(299.0).sd_c + 0.1
    assert abs(odd.done(0, 299.0).done_ref_s - (299.0 - BEGUN_S)) < 2.0 * odd.done(0, 299.0).sd_ref_s


@pytest.mark.parametrize("leap_c", [0.25, -0.25])
def test_layers_that_have_shown_twice_move_the_mean(leap_c: float) -> None:
    """The probe was off by half a leap on average, which makes 3 s; that is counted, and the end moves with it."""
    whole, odd = play(lambda _: 20.0, 300).estimator, play(layered(leap_c), 300).estimator
    assert odd.done(0, 299.0).done_ref_s == pytest.approx(whole.done(0, 299.0).done_ref_s, abs=1.5)
    counted = odd.end(0, 480.0, 299.0).end_t_s
    odd._looking_back._shifts.clear()
    assert 3.0 < math.copysign(1.0, leap_c) * (odd.end(0, 480.0, 299.0).end_t_s - counted) < 6.0
    once = play(layered(leap_c, 160.0), 260).estimator
    assert abs(once.done(0, 259.0).done_ref_s - (259.0 - BEGUN_S)) > 2.0


def test_leaps_that_come_at_any_time_move_no_mean() -> None:
    """Only those at multiples of one time since the begin do."""
    looking_back = play(lambda _: 20.0, 60).estimator._looking_back
    for times_s, moves in (((110.0, 190.0), True), ((110.0, 270.0), True), ((110.0, 230.0), False), ((70.0, 470.0), False)):
        looking_back._shifts = [_Shift(t, 0.2, 0.05) for t in times_s]
        assert (looking_back.layered_c(BEGUN_S) > 0.0) == moves, times_s


def test_a_probe_that_has_been_elsewhere_hangs_in_no_layers() -> None:
    """What passed it was set aside; that it shifts twice afterwards moves nothing."""
    watched = play(passing)
    looking_back = watched.estimator._looking_back
    looking_back._shifts += [_Shift(150.0, 0.2, 0.05), _Shift(270.0, 0.2, 0.05)]
    assert looking_back.layered_c(BEGUN_S) == 0.0
    assert looking_back.spread_c(BEGUN_S) > 0.1


def test_hot_water_poured_in_is_no_layer() -> None:
    """1.5 C within half a minute, once: all of it is the liquid's."""
    warmed = play(lambda t: 20.0 + 1.5 * (1.0 - math.exp(-max(t - OUT_S, 0.0) / 8.0)))
    assert warmed.estimator.done(0, 259.0).sd_ref_s < 1.0


def test_a_past_that_is_computed_again_has_it_once() -> None:
    """A begin put right later, before or after what was left out, changes nothing of the doubt about it."""
    watched = play(passing)
    before = watched.estimator.done(0, 259.0)
    watched.replay.run_again(BACK_S - 60.0)
    again = watched.estimator.done(0, 259.0)
    assert again.done_ref_s == pytest.approx(before.done_ref_s, abs=0.02)
    assert again.sd_ref_s == pytest.approx(before.sd_ref_s, abs=0.02)


def test_one_code_more_of_a_register_of_unknown_step_is_no_excursion() -> None:
    """A probe of nine bits near the edge of a code: what its steps are is not known from the other code seen twice."""
    watched = Watched()
    watched.estimator.begin(0, BEGUN_S, LAW, 20.0)
    for t in range(260):
        watched.hear(float(t), 20.5 if t in (OUT_S, OUT_S + 10.0) else 20.0)
    assert [c for c in watched.changes[1:] if "line" in c.why] == []
