"""The state at one moment: what readings, begins and changes of source do to it, and what is clamped."""

from __future__ import annotations

import math
import random

import pytest

from monitor.core.development.filter import AIR, PROBE, QUANTUM_C, SLOPE, TRANSIENT, T
from monitor.core.development.moment import Key, Moment, Pour, Segment
from monitor.core.development.rate import Coefficient, rate
from tests.core.development.scenes import LAW, followed


def fresh(celsius: float = 20.0, sd_c: float = 3.0) -> Moment:
    """Before anything is heard."""
    return Moment(0.0, celsius, sd_c, "")


# A source


def test_a_probe_is_used_from_its_first_reading_and_a_loss_comes_after_the_last() -> None:
    """A segment of a probe comes before the reading at its start, one without a probe after it."""
    assert Segment(10.0, "liquid", "jug", 8.0).due(10.0)
    assert not Segment(10.0, "held", "", 0.0).due(10.0)
    assert Segment(10.0, "vessel", "", 300.0).due(10.1)
    assert not Segment(10.0, "liquid", "jug", 8.0).due(9.9)


def test_a_probe_that_is_followed_first_may_see_a_liquid_that_drifts() -> None:
    """0.24 C a minute, one standard deviation; no transient."""
    moment = fresh()
    moment.follow(Segment(0.0, "liquid", "jug", 8.0), 0.0)
    c = moment.bank.tracks[0].c
    assert math.sqrt(c[SLOPE][SLOPE]) == 0.004
    assert math.sqrt(c[TRANSIENT][TRANSIENT]) == 0.001


def test_a_probe_that_returns_finds_an_estimate_that_may_have_gone_astray() -> None:
    """By 0.3 C and both comparisons; the slope of the held drift is kept, that of the vessel model is not."""
    for drift, slope in (("held", 0.001), ("vessel", 0.0)):
        moment = fresh(20.0, 0.4)
        moment.drift = "held" if drift == "held" else "vessel"
        moment.bank.tracks[0].x[SLOPE] = 0.001
        moment.follow(Segment(0.0, "liquid", "jug", 8.0, different=True), 0.2)
        track = moment.bank.tracks[0]
        assert track.c[T][T] == pytest.approx(0.4**2 + 0.2**2 + 0.3**2)
        assert track.x[SLOPE] == slope


def test_another_probe_that_takes_over_at_once_may_be_off_by_the_comparisons_alone() -> None:
    """The estimate was not left alone in between."""
    moment = followed(20.0)
    moment.follow(Segment(0.0, "liquid", "witness", 8.0, different=True), 0.2)
    assert moment.bank.tracks[0].c[T][T] == pytest.approx(0.04)
    assert moment.attach


def test_a_held_temperature_takes_the_slope_it_is_given_and_grows_vaguer_by_a_tenth_a_minute() -> None:
    """Ten minutes: 1 C; the slope fades."""
    moment = followed(20.0)
    moment.follow(Segment(0.0, "held", "", 0.0, slope_c_per_s=0.002), 0.0)
    moment.carry(600.0, [])
    track = moment.bank.tracks[0]
    assert math.sqrt(track.c[T][T]) == pytest.approx(1.0)
    assert track.x[T] == pytest.approx(20.0 + 1.2 * (1.0 - math.exp(-1.0)))


def test_a_vessel_wanders_a_little_from_its_model() -> None:
    """0.015 C in the first minute, and 0.03 C that hands and the room's air may add all the time, of a vessel that follows slowly."""
    moment = followed(20.0)
    moment.ambient.read("bowl", 0.0, 20.0, 1e-4)
    moment.follow(Segment(0.0, "vessel", "", 36000.0), 0.0)
    moment.carry(60.0, [])
    assert math.sqrt(moment.bank.tracks[0].c[T][T]) == pytest.approx(math.hypot(0.0155, 0.03), rel=0.02)


def test_a_vessel_follows_a_bath_that_drifts_as_closely_in_one_go_as_in_small_steps() -> None:
    """A long silence is carried over in steps of five seconds: development is as exact."""
    counts = []
    for step in (1.0, 300.0):
        moment = followed(20.0)
        moment.start(Key(1, 0.0, LAW))
        moment.bank.tracks[0].x[SLOPE] = 0.02
        t = 0.0
        while t < 300.0:
            t += step
            moment.carry(t, [])
        counts.append(moment.bank.tracks[0].counts[1].done)
    assert counts[0] == pytest.approx(counts[1], rel=1e-7)


# Readings


def test_the_first_reading_of_a_probe_is_where_the_probe_is() -> None:
    """And says nothing yet of the liquid; the second one does."""
    moment = fresh()
    moment.follow(Segment(0.0, "liquid", "jug", 8.0), 0.0)
    assert moment.read(0.0, 23.0, []) == 0.0
    assert (moment.bank.tracks[0].x[PROBE], moment.bank.tracks[0].x[T]) == (23.0, 20.0)
    assert not moment.attach
    assert moment.known
    assert moment.read(1.0, 22.9, []) != 0.0


def test_a_reading_has_noise_and_the_register_s_step() -> None:
    """0.03 C at first, and step^2/12."""
    assert fresh().reading_variance == pytest.approx(0.03**2 + QUANTUM_C**2 / 12.0)
    assert QUANTUM_C == 0.0625


def learned(noise_c: float, count: int, seed: int = 1) -> float:
    """The noise believed after so many readings of a drifting liquid with this noise and no step of the register."""
    rng, moment = random.Random(seed), followed(20.0)
    for t in range(count):
        moment._learn_noise(float(t), 20.0 + 0.01 * t + rng.gauss(0.0, noise_c))
    return math.sqrt(moment.noise + QUANTUM_C**2 / 12.0)


@pytest.mark.parametrize(
    ("noise_c", "believed_c"), [(0.05, 0.05), (0.08, 0.08), (0.0, math.hypot(0.02, 0.01804)), (0.5, math.hypot(0.12, 0.01804))]
)
def test_the_noise_is_learned_from_the_readings_within_bounds(noise_c: float, believed_c: float) -> None:
    """Whatever the liquid's drift; never below 0.02 C or above 0.12 C beside the register's step."""
    assert sum(learned(noise_c, 1000, seed) for seed in range(5)) / 5.0 == pytest.approx(believed_c, rel=0.07)


def test_a_few_readings_do_not_overturn_the_noise() -> None:
    """The first belief counts as twenty readings; after ninety it is forgotten as fast as it was learned."""
    assert sum(learned(0.1, 10, seed) for seed in range(20)) / 20.0 < 0.06
    rng, moment = random.Random(3), followed(20.0)
    for t in range(3000):
        moment._learn_noise(float(t), 20.0 + rng.gauss(0.0, 0.04 if t < 2700 else 0.1))
    assert math.sqrt(moment.noise) > 0.085


def test_one_wild_reading_says_little_of_the_noise() -> None:
    """It counts for at most eight times the variance believed, in three places."""
    moment = followed(20.0)
    for t in range(200):
        moment._learn_noise(float(t), 20.0 if t != 150 else 30.0)
    assert moment.noise < 3.0 * 0.02**2


def test_readings_that_lie_far_apart_say_nothing_of_the_noise() -> None:
    """Over more than five seconds a liquid may well bend."""
    moment = followed(20.0)
    for t in range(0, 600, 3):
        moment._learn_noise(float(t), 20.0 + (0.5 if t % 2 else -0.5))
    assert moment.noise == 0.03**2


def test_a_probe_that_repeated_an_old_value_moves_the_liquid_with_it() -> None:
    """By as much as it leaps, with half of that as standard deviation."""
    moment = followed(20.0)
    moment.bank.tracks[0].x[PROBE] = 19.0
    moment.shift(23.0)
    track = moment.bank.tracks[0]
    assert (track.x[T], track.x[PROBE]) == (24.0, 23.0)
    assert math.sqrt(track.c[T][T]) == pytest.approx(2.0)


# What is physically possible


def carried_away(place: int, value: float) -> Moment:
    """A state that lies have carried to `value`, just after a reading of 20 C; 18 to 22 C have been read."""
    moment = followed(20.0)
    moment.start(Key(1, 0.0, LAW))
    moment.between_c = (18.0, 22.0)
    moment.carry(100.0, [])
    moment.bank.tracks[0].x[place] = value
    moment._keep_within(20.0)
    return moment


@pytest.mark.parametrize(("place", "value", "kept"), [
    (T, 40.0, 26.5),
    (T, 1.0, 13.5),
    (SLOPE, 0.03, 0.025),
    (SLOPE, -0.03, -0.025),
    (TRANSIENT, 0.6, 0.5),
    (TRANSIENT, -0.6, -0.5),
])
def test_temperature_and_slopes_are_clamped(place: int, value: float, kept: float) -> None:
    """4.5 C beyond what was read; 1.5 C a minute; half a degree a second of a stir."""
    assert carried_away(place, value).bank.tracks[0].x[place] == kept


@pytest.mark.parametrize(("celsius", "probe_c", "kept"), [(45.0, 20.0, 35.0), (-1.9, 20.0, 5.0), (70.0, 58.0, 60.0), (-20.0, 5.0, -2.0)])
def test_the_liquid_stays_within_fifteen_degrees_of_its_probe_and_what_a_bath_has(celsius: float, probe_c: float, kept: float) -> None:
    """However far the readings have gone; never below -2 or above 60 C."""
    moment = followed(20.0)
    moment.between_c = (-60.0, 100.0)
    moment.bank.tracks[0].x[T] = celsius
    moment._keep_within(probe_c)
    assert moment.bank.tracks[0].x[T] == kept


def test_a_model_in_air_may_be_away_from_its_probe() -> None:
    """Its liquid is bounded by what a bath has alone."""
    moment = followed(20.0)
    moment.between_c = (18.0, 22.0)
    moment.bank.open()
    for track in moment.bank.tracks:
        track.x[T] = 40.0
    moment._keep_within(20.0)
    assert [track.x[T] for track in moment.bank.tracks] == [26.5, 26.5, 26.5, 26.5, 26.5, 40.0]


@pytest.mark.parametrize(("done", "celsius"), [(300.0, 26.5), (20.0, 13.5)])
def test_a_count_is_clamped_to_the_rates_of_what_was_read_and_is_the_less_certain(done: float, celsius: float) -> None:
    """A hundred seconds at 4.5 C beyond what was read at the most; the correction is its deviation."""
    moment = followed(20.0)
    moment.start(Key(1, 0.0, LAW))
    moment.between_c = (18.0, 22.0)
    moment.carry(100.0, [])
    count = moment.bank.tracks[0].counts[1]
    count.done, count.var = done, 9.0
    moment._keep_within(20.0)
    assert count.done == pytest.approx(100.0 * rate(LAW, celsius))
    assert count.var == pytest.approx(9.0 + (done - count.done) ** 2)


def test_all_that_is_read_widens_what_is_possible() -> None:
    """The probe's, the bath's and the pour-in's, not the room's."""
    moment = fresh()
    moment.follow(Segment(0.0, "liquid", "jug", 8.0), 0.0)
    moment.read(0.0, 23.0, [])
    moment.read_ambient("bowl", 1.0, 15.0, False)
    moment.read_room(5.0)
    assert moment.between_c == (15.0, 23.0)


# Begins


def test_the_bath_stands_for_the_developer_at_its_begin() -> None:
    """Within a degree; only where nothing better is known, and never the room."""
    moment = fresh()
    moment.pour_from_bath(22.0, False)
    assert (moment.bank.tracks[0].x[T], moment.bank.tracks[0].c[T][T]) == (22.0, 1.0)
    moment.read_ambient("bowl", 0.0, 21.0, False)
    moment.carry(10.0, [Key(1, 10.0, LAW, Pour(20.0, 3.0, False))])
    assert (moment.bank.tracks[0].x[T], moment.bank.tracks[0].c[T][T]) == (21.0, 1.0)
    assert moment.bank.tracks[0].counts[1].done == 0.0

    measured = fresh(18.0, 0.5)
    measured.read_ambient("bowl", 0.0, 21.0, True)
    assert measured.bank.tracks[0].x[T] == 18.0
    measured.carry(10.0, [Key(1, 10.0, LAW, Pour(18.0, 0.5, True))])
    assert measured.bank.tracks[0].x[T] == 18.0

    warm_room = fresh()
    warm_room.follows_room = True
    warm_room.read_ambient("wall", 0.0, 30.0, False)
    warm_room.start(Key(1, 0.0, LAW, Pour(20.0, 3.0, False)))
    assert warm_room.bank.tracks[0].x[T] == 20.0


def test_a_tank_that_nobody_tempered_makes_a_measured_pour_in_doubtful() -> None:
    """In a cold laundry (8 C) a tank may take 0.09 of the 12 C: 1.1 C beside the thermometer's 0.5 C. Not where the room is as warm as the
    developer, where nobody measured, or for a vessel on the bench."""

    def begun(room_c: float, measured: bool = True, on_bench: bool = False) -> float:
        moment = fresh(20.0, 0.5)
        moment.follows_room = on_bench
        moment.read_room(room_c)
        moment.start(Key(1, 0.0, LAW, Pour(20.0, 0.5, measured)))
        assert moment.bank.tracks[0].x[T] == 20.0
        return math.sqrt(moment.bank.tracks[0].c[T][T])

    assert begun(8.0) == pytest.approx(math.hypot(0.5, 0.09 * 12.0), rel=0.01)
    assert begun(20.0) == pytest.approx(0.5, rel=0.01)
    assert begun(8.0, measured=False) == begun(8.0, on_bench=True) == pytest.approx(0.5)


def test_a_begin_takes_nothing_from_a_probe_that_was_believed() -> None:
    """The pour-in is only for what was never measured."""
    moment = followed(24.0)
    moment.known = True
    moment.bath_c = 20.0
    moment.start(Key(1, 0.0, LAW, Pour(20.0, 3.0, False)))
    assert moment.bank.tracks[0].x[T] == 24.0


def test_begins_on_the_way_are_begun_at_their_time() -> None:
    """Two of three are due, each counts its own seconds."""
    moment = followed(20.0)
    pending = [Key(1, 10.0, LAW), Key(2, 20.0, LAW), Key(3, 99.0, LAW)]
    moment.carry(30.0, pending)
    assert [k.number for k in pending] == [3]
    counts = moment.bank.tracks[0].counts
    assert (counts[1].done, counts[2].done) == pytest.approx((20.0, 10.0))
    assert (counts[1].lasted_s, counts[2].lasted_s) == pytest.approx((20.0, 10.0))


def test_a_common_error_counts_for_each_integral_from_its_own_begin() -> None:
    """Sensitivities of development at the begin are remembered and subtracted."""
    moment = followed(20.0)
    moment.systematics.follow_probe("jug")
    moment.carry(60.0, [Key(1, 0.0, LAW), Key(2, 30.0, LAW)])
    slope = LAW.log_rate_slope(20.0)
    now = moment.systematics.of_ref_s["jug"]
    assert now - moment.bases[1].get("jug", 0.0) == pytest.approx(60.0 * slope)
    assert now - moment.bases[2].get("jug", 0.0) == pytest.approx(30.0 * slope)


def test_a_common_error_is_counted_at_the_middle_of_a_drift() -> None:
    """A liquid that rises by 0.6 C a minute: as many reference seconds per degree as its integral has."""
    law = Coefficient(20.0, 2.5, 0.1, (16.0, 24.0))
    moment = followed(20.0)
    moment.bank.tracks[0].x[SLOPE] = 0.01
    moment.systematics.follow_probe("jug")
    moment.carry(200.0, [Key(1, 0.0, law)])
    k = law.log_rate_slope(20.0)
    assert moment.systematics.of_ref_s["jug"] == pytest.approx((math.exp(k * 2.0) - 1.0) / 0.01, rel=1e-5)


# The room


def test_before_any_room_probe_the_air_is_unknown() -> None:
    """18 C, give or take 8 C."""
    track = fresh().bank.tracks[0]
    assert (track.x[AIR], track.c[AIR][AIR]) == (18.0, 64.0)


def test_the_room_s_probe_says_what_the_air_is_and_nothing_else() -> None:
    """Half a degree; the liquid stays where it is, though a rival has tied it to the air."""
    moment = followed(20.0)
    moment.read_room(12.0)
    track = moment.bank.tracks[0]
    assert (track.x[AIR], track.c[AIR][AIR], track.x[T]) == (12.0, 0.25, 20.0)
    moment.bank.open()
    for track in moment.bank.tracks:
        track.x[AIR], track.c[T][T], track.c[T][AIR], track.c[AIR][T] = 13.0, 1.0, 0.3, 0.3
    moment.read_room(14.0)
    assert {track.x[T] for track in moment.bank.tracks} == {20.0}
    assert {track.x[AIR] for track in moment.bank.tracks} != {15.0}, "it has spoken"


def test_a_rival_in_air_keeps_what_it_learned_of_its_place() -> None:
    """The place is 3 C warmer than the room's probe: when the room cools by 1 C so does the place, and ten readings count as one."""
    moment = followed(20.0)
    moment.read_room(12.0)
    moment.bank.open()
    air = moment.bank.track("air")
    air.x[AIR], air.c[AIR][AIR] = 15.0, 0.25
    moment.read_room(11.0)
    assert air.x[AIR] == pytest.approx(14.0 - 3.0 * 0.25 / (0.25 + 2.5))
    assert air.c[AIR][AIR] == pytest.approx(0.25 * 2.5 / 2.75)
