"""Lags of probes and vessels are learned without bias, with an honest uncertainty, or refused."""

from __future__ import annotations

import math
import random

import pytest

from monitor.core.errors import InputWrong
from monitor.prepare.probes.lags import Drive, PouredOff, learn_probe_lag, learn_vessel_lag, two_lags
from monitor.prepare.probes.readings import ProbeReadings
from tests.prepare.probes.water import Truth, jump, lagged, newton, series, shown, steady


def dip(seed: int, lag_s: float, noise_c: float = 0.03, from_c: float = 28.0, at_s: float = 30.0) -> ProbeReadings:
    """A probe dipped from `from_c` into water that cools slowly, with an unknown offset."""
    rng = random.Random(seed)
    water = newton(20.0 + rng.random(), 15.0, 3000.0)
    return series(shown(lagged(jump(from_c, water, at_s), lag_s, 240, fine=10), rng, noise_c, rng.gauss(0.0, 0.3)))


@pytest.mark.parametrize(("lag_s", "noise_c"), [(4.0, 0.02), (8.0, 0.02), (8.0, 0.06), (20.0, 0.03)])
def test_a_dip_teaches_a_probes_lag(lag_s: float, noise_c: float) -> None:
    """60 dips with known truth: bias below 3 per cent, 2 sd hold in 88 to 100 of 100."""
    errors, inside = [], 0
    for k in range(60):
        found = learn_probe_lag(dip(k, lag_s, noise_c))
        errors.append(found.lag_s - lag_s)
        inside += abs(errors[-1]) < 2.0 * found.sd_s
    assert abs(sum(errors) / 60) < 0.03 * lag_s
    assert inside >= 53
    assert max(map(abs, errors)) < 0.2 * lag_s


def test_a_probe_that_was_never_dipped_teaches_nothing() -> None:
    """A calm bath, or a jump of half a degree, is refused with what was seen."""
    calm = series(shown(lagged(steady(20.0, -0.1), 8.0, 240), random.Random(1)))
    with pytest.raises(InputWrong, match="no dip"):
        learn_probe_lag(calm)
    with pytest.raises(InputWrong, match="no dip"):
        learn_probe_lag(dip(1, 8.0, from_c=20.8))
    with pytest.raises(InputWrong, match="1 C or more"):
        learn_probe_lag(series([20.9 if t < 30 else 20.0 for t in range(240)]))
    assert learn_probe_lag(series([(21.5 - 20.0) * math.exp(-max(0, t - 30) / 8.0) + 20.0 for t in range(240)])).change_c > 1.0
    with pytest.raises(InputWrong, match="near 200"):
        learn_probe_lag(dip(1, 8.0), at_s=200.0)


def test_a_dip_that_was_cut_short_is_refused() -> None:
    """Ten seconds in the water do not settle a probe that lags as long."""
    with pytest.raises(InputWrong, match=r"two minutes|clear jump"):
        learn_probe_lag(dip(1, 20.0).between(0.0, 42.0))


def test_a_probe_lifted_out_again_later_does_not_spoil_the_dip() -> None:
    """Only what lies between the two jumps is used, whichever way the second goes."""
    for next_c in (26.0, 16.0):
        water = jump(28.0, lambda t, c=next_c: 20.0 if t < 75.0 else c, 30.0)  # type: ignore[misc]
        found = learn_probe_lag(series(shown(lagged(water, 8.0, 300), random.Random(3))))
        assert found.lag_s == pytest.approx(8.0, abs=0.5)


def vessel_run(
    seed: int, lag_s: float, bath: Truth, start_c: float, noise_c: float = 0.02, seconds: int = 1500
) -> tuple[ProbeReadings, ProbeReadings]:
    """A probe (lag 8 s) inside a vessel that follows the bath, and the bath's probe."""
    rng = random.Random(seed)
    liquid = lagged(bath, lag_s, seconds, start_c, fine=2)

    def inside(t_s: float) -> float:
        k = min(int(t_s), seconds - 1)
        return liquid[k] + (t_s - k) * (liquid[k + 1] - liquid[k])

    readings = series(shown(lagged(inside, 8.0, seconds, fine=2), rng, noise_c, rng.gauss(0.0, 0.2)), "witness", "witness")
    return readings, series(shown([bath(t) for t in range(seconds + 1)], rng, noise_c, rng.gauss(0.0, 0.2)), "bowl", "bath")


def test_a_run_with_water_teaches_a_vessels_lag() -> None:
    """Lag 6:00, the practice's case, warm water into a vessel in a cool bath: within 5:24 to 6:36 every time, bias below 3 per cent."""
    errors, inside_2_sd = [], 0
    for k in range(16):
        inside, bath = vessel_run(k, 360.0, newton(20.5, 8.0, 2940.0), 24.0)
        found = learn_vessel_lag(inside, [Drive(bath, "bath")], 8.0)
        assert 324.0 < found.lag_s < 396.0
        assert found.coupled_to == "bath"
        errors.append(found.lag_s - 360.0)
        inside_2_sd += abs(errors[-1]) < 2.0 * found.sd_s
    assert abs(sum(errors) / 16) < 0.03 * 360.0
    assert inside_2_sd >= 13


def test_two_lags_in_a_row_are_in_closed_form() -> None:
    """Against small steps: a vessel of 60 s and a probe of 20 s behind a bath that ramps and stands; within 0.002 C."""

    def bath(t_s: float) -> float:
        return 20.0 + 0.02 * min(t_s, 100.0)

    liquid = lagged(bath, 60.0, 300, 26.0, fine=40)

    def between(t_s: float) -> float:
        k = min(int(t_s), 299)
        return liquid[k] + (t_s - k) * (liquid[k + 1] - liquid[k])

    small_steps = lagged(between, 20.0, 300, 23.0, fine=40)
    grid = [(float(t), bath(t)) for t in range(0, 301, 5)]
    closed = two_lags(grid, range(len(grid)), (26.0, math.log(60.0), 0.3, 23.3), 20.0)
    assert closed == pytest.approx([v + 0.3 for v in small_steps[::5]], abs=0.002)


def test_a_noisy_bath_probe_makes_the_lag_less_sure() -> None:
    """Noise of 0.2 C on the driving probe, hardly any inside: the stated sd carries it, 2 sd hold in at least 10 of 12."""
    inside_2_sd, sds = 0, []
    for k in range(12):
        inside, quiet = vessel_run(k, 360.0, newton(20.5, 8.0, 2940.0), 24.0, 0.01, 1200)
        rng = random.Random(1000 + k)
        noisy = series([c + rng.gauss(0.0, 0.2) for c in quiet.celsius], "bowl", "bath")
        found = learn_vessel_lag(inside, [Drive(noisy, "bath")], 8.0)
        sds.append(found.sd_s)
        inside_2_sd += abs(found.lag_s - 360.0) < 2.0 * found.sd_s
    assert inside_2_sd >= 10
    assert min(sds) > 2.0 * learn_vessel_lag(inside, [Drive(quiet, "bath")], 8.0).sd_s


def test_a_cooling_bowl_alone_teaches_it_too_with_less_certainty() -> None:
    """No warm start, only the bowl's own drift: the difference that builds up is enough for 10 per cent, and the sd says so."""
    inside, bath = vessel_run(5, 360.0, newton(20.5, 8.0, 2940.0), 20.5)
    drifting = learn_vessel_lag(inside, [Drive(bath, "bath")], 8.0, 0.1)
    warm, warm_bath = vessel_run(5, 360.0, newton(20.5, 8.0, 2940.0), 24.0)
    assert abs(drifting.lag_s - 360.0) < 36.0
    assert drifting.sd_s > 2.0 * learn_vessel_lag(warm, [Drive(warm_bath, "bath")], 8.0, 0.1).sd_s


def test_what_a_vessel_is_coupled_to_is_found() -> None:
    """A tank on the bench follows the room though a bath stands beside it; one in the bath follows the bath."""
    rng = random.Random(2)
    bath, room = newton(26.0, 10.0, 4000.0), steady(10.0)
    room_probe = series(shown([room(t) for t in range(1801)], rng), "air", "room")
    for drive, name, lag_s in ((room, "room", 1500.0), (bath, "bath", 300.0)):
        inside, _ = vessel_run(2, lag_s, drive, 22.0, seconds=1800)
        bath_probe = series(shown([bath(t) for t in range(1801)], rng), "bowl", "bath")
        found = learn_vessel_lag(inside, [Drive(bath_probe, "bath"), Drive(room_probe, "room")], 8.0)
        assert found.coupled_to == name
        assert found.lag_s == pytest.approx(lag_s, rel=0.12)
        assert found.against_log is not None
        assert found.against_log > 5.0


def test_a_vessel_that_never_differed_from_its_bath_teaches_nothing() -> None:
    """Refused, with how far to begin."""
    inside, bath = vessel_run(1, 360.0, steady(20.0), 20.0)
    with pytest.raises(InputWrong, match="3 C or more"):
        learn_vessel_lag(inside, [Drive(bath, "bath")], 8.0)
    with pytest.raises(InputWrong, match="no bath and no room"):
        learn_vessel_lag(inside, [], 8.0)
    with pytest.raises(InputWrong, match="5 minutes"):
        learn_vessel_lag(inside.between(0.0, 100.0), [Drive(bath, "bath")], 8.0)


def test_a_lag_that_the_readings_leave_open_is_not_learned() -> None:
    """A degree of difference under noise of half a degree: one sd is more than a fifth of the lag."""
    inside, bath = vessel_run(3, 360.0, steady(20.0), 21.0, noise_c=0.5, seconds=700)
    with pytest.raises(InputWrong, match="begin with water 3 C or more"):
        learn_vessel_lag(inside, [Drive(bath, "bath")], 8.0)


def test_the_developer_poured_off_checks_the_lag() -> None:
    """More than 0.4 C away, in either direction: learn again."""
    assert not PouredOff(19.1, 19.4).learn_again
    assert PouredOff(19.1, 18.6).learn_again
    assert PouredOff(19.1, 19.6).learn_again
    assert not PouredOff(20.0, 20.4).learn_again
    assert not PouredOff(20.0, 19.6).learn_again
    assert PouredOff(20.0, 20.41).learn_again
    assert "learn this vessel's lag again" in PouredOff(19.1, 18.6).text
    assert "the lag stands" in PouredOff(19.1, 19.0).text
