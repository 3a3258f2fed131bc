"""The simulated world of the benchmarks obeys its own physics: closed forms, conserved heat, the psychrometric formula, the data sheet."""

from __future__ import annotations

import dataclasses
import math
import random

import numpy as np
import pytest

from monitor.core.development.rate import rate
from monitor.core.recipe.reader import load_recipe
from tests.benchmarks import bench_doubt, liquids, physics, sessions, troubles
from tests.benchmarks.physics import STEP_S, Air, Balance, Register, Sleeve

TWO = Balance({"developer": 2000.0, "wall": 250.0}, ["bath"])
LINKS = {("developer", "wall"): 12.0, ("wall", "bath"): 5.0}


def test_two_nodes_follow_the_closed_form() -> None:
    """dT/dt = A (T - T_bath) has T = T_bath + sum of two exponentials, here by the roots of its characteristic polynomial."""
    a11, a12, a21, a22 = -12 / 2000, 12 / 2000, 12 / 250, -17 / 250
    half, root = 0.5 * (a11 + a22), math.sqrt(0.25 * (a11 - a22) ** 2 + a12 * a21)
    slow, fast = half + root, half - root
    start = np.array([1.5, -8.0])
    # The part of the start that lies along each root: (A - other root) start / (root - other root).
    along = [(a11 * start[0] + a12 * start[1] - other * start[0]) / (one - other) for one, other in ((slow, fast), (fast, slow))]
    course = TWO.run([21.5, 12.0], 600.0, lambda _: (20.0,), LINKS)[:, 0]
    t = np.arange(len(course)) * STEP_S
    assert course == pytest.approx(20.0 + along[0] * np.exp(slow * t) + along[1] * np.exp(fast * t), abs=1e-9)
    assert TWO.slowest_s(LINKS) == pytest.approx(-1.0 / slow)


def test_between_two_given_temperatures_it_comes_to_rest_where_the_resistances_put_it() -> None:
    """Three resistances in a row share the difference."""
    balance = Balance({"one": 30.0, "two": 40.0}, ["hot", "cold"])
    links = {("hot", "one"): 1.0, ("one", "two"): 0.5, ("two", "cold"): 0.25}
    last = balance.run([0.0, 0.0], 3000.0, lambda _: (34.0, 20.0), links)[-1]
    assert last == pytest.approx([32.0, 28.0], abs=1e-6)


def test_closed_off_nothing_is_lost_and_heat_brought_in_is_found_again() -> None:
    """The sum of C T stays, and grows by the heat."""
    balance = Balance({"developer": 2000.0, "wall": 250.0}, [])
    links = {("developer", "wall"): 12.0}
    warm = physics.stirred_in(2000.0, 30.0, 1.5, 10.0)
    course = balance.run([20.0, 8.0], 300.0, lambda _: (), links, lambda t: (warm(t), 0.0))
    content = course @ np.array([2000.0, 250.0])
    assert content[:120] == pytest.approx(42000.0)
    assert content[-1] - content[0] == pytest.approx(3000.0, rel=1e-3)


@pytest.mark.parametrize(("celsius", "hpa"), [(0.01, 6.117), (10.0, 12.28), (20.0, 23.39), (30.0, 42.47)])
def test_saturation_pressure_is_that_of_the_steam_tables(celsius: float, hpa: float) -> None:
    """IAPWS Industrial Formulation 1997, kPa in its tables: 0.6117, 1.228, 2.339, 4.247."""
    assert physics.saturation_hpa(celsius) == pytest.approx(hpa, rel=0.005)


@pytest.mark.parametrize("dry_c", [10.0, 15.0, 20.0, 25.0, 30.0])
@pytest.mark.parametrize("percent", [30.0, 50.0, 70.0])
def test_the_wet_bulb_is_that_of_the_tables(dry_c: float, percent: float) -> None:
    """Against Stull's fit to the psychrometric tables (J. Appl. Meteorol. Climatol. 50 (2011) 2267, eq. 1), good to 0.7 C there."""
    stull = (
        dry_c * math.atan(0.151977 * math.sqrt(percent + 8.313659))
        + math.atan(dry_c + percent)
        - math.atan(percent - 1.676331)
        + 0.00391838 * percent**1.5 * math.atan(0.023101 * percent)
        - 4.686035
    )
    assert physics.wet_bulb(dry_c, percent / 100.0) == pytest.approx(stull, abs=0.7)


def test_a_saturated_room_has_no_wet_bulb_of_its_own() -> None:
    """Nothing evaporates."""
    assert physics.wet_bulb(18.0, 1.0) == pytest.approx(18.0, abs=1e-6)


AIR = Air(16.0, 0.5, 6.5e-4)


def test_a_wet_probe_rests_at_the_wet_bulb_and_a_dried_one_at_the_air() -> None:
    """As long as its water lasts, and after."""
    sleeve = Sleeve(20.0, film_g=0.06)
    course = [sleeve.in_air(AIR) for _ in range(round(2700 / STEP_S))]
    wet = physics.wet_bulb(AIR.celsius, AIR.humidity, AIR.per_k)
    assert wet == pytest.approx(10.6, abs=0.4)
    assert min(course) == pytest.approx(wet, abs=0.5)
    assert sleeve.film_g == 0.0
    assert course[-1] == pytest.approx(AIR.celsius, abs=0.05)


def test_a_dry_probe_in_air_has_its_time_constant_and_a_wet_one_less_than_half_of_it() -> None:
    """Evaporation carries heat off beside the air: (1 + d es/dT / (A p)) times as fast, less what the film's water adds."""
    dry = Sleeve(20.0, air_s=120.0)
    for _ in range(round(120 / STEP_S)):
        dry.in_air(AIR)
    assert dry.celsius - AIR.celsius == pytest.approx(4.0 / math.e, abs=0.02)
    wet = Sleeve(20.0, air_s=120.0, film_g=0.06)
    rest = physics.wet_bulb(AIR.celsius, AIR.humidity, AIR.per_k)
    first = (wet.in_air(AIR) - 20.0, wet.celsius)[1]
    per_s = (20.0 - first) / STEP_S / (20.0 - rest)
    assert 120.0 / 3.5 < 1.0 / per_s < 120.0 / 2.0


def test_what_evaporates_takes_its_heat_from_probe_and_air() -> None:
    """At the wet bulb the air brings as much heat as the vapour carries off: h A (air - wet) = L dm/dt."""
    sleeve = Sleeve(physics.wet_bulb(AIR.celsius, AIR.humidity, AIR.per_k), film_g=0.06)
    before_c, before_g = sleeve.celsius, sleeve.film_g
    sleeve.in_air(AIR)
    assert sleeve.celsius == pytest.approx(before_c, abs=1e-6)
    brought_j = sleeve.capacity_j_k / sleeve.air_s * (AIR.celsius - before_c) * STEP_S
    assert (before_g - sleeve.film_g) * physics.LATENT_J_G == pytest.approx(brought_j, rel=1e-6)


@pytest.mark.parametrize("lag_s", [2.0, 8.0, 30.0])
def test_in_a_liquid_that_warms_steadily_the_chip_is_its_lag_behind(lag_s: float) -> None:
    """Sleeve and chip together."""
    sleeve = Sleeve(20.0, lag_s=lag_s)
    liquid = 20.0 + 0.01 * np.arange(0.0, 600.0, STEP_S)
    chip = troubles.immersed(liquid, sleeve)
    assert (liquid[-1] - chip[-1]) / 0.01 == pytest.approx(lag_s, abs=0.5 * STEP_S)


def test_half_dry_it_rests_between_the_liquid_and_the_wet_bulb() -> None:
    """By the share of its exchange."""
    sleeve = Sleeve(20.0)
    for _ in range(2000):
        chip = sleeve.half_dry(20.0, AIR, 0.25)
    assert chip == pytest.approx(0.75 * 20.0 + 0.25 * physics.wet_bulb_near(AIR))


@pytest.mark.parametrize(
    ("celsius", "bits"),
    [
        (125.0, 0x07D0),
        (85.0, 0x0550),
        (25.0625, 0x0191),
        (10.125, 0x00A2),
        (0.5, 0x0008),
        (0.0, 0x0000),
        (-0.5, 0xFFF8),
        (-10.125, 0xFF5E),
        (-25.0625, 0xFE6F),
        (-55.0, 0xFC90),
    ],
)
def test_the_register_is_that_of_the_data_sheet(celsius: float, bits: int) -> None:
    """DS18B20 data sheet, table 1."""
    assert Register().code(celsius) & 0xFFFF == bits


@pytest.mark.parametrize(("bits", "step_c", "conversion_ms"), [(12, 0.0625, 750), (11, 0.125, 375), (10, 0.25, 187.5), (9, 0.5, 93.75)])
def test_fewer_bits_are_quicker_and_coarser(bits: int, step_c: float, conversion_ms: float) -> None:
    """DS18B20 data sheet, table 2; the undefined bits are 0, so it never reads high."""
    register = Register(bits=bits)
    assert 1000 * register.conversion_s == conversion_ms
    assert register.quantum_c == step_c
    read = [register.says(c) - c for c in np.arange(-5.0, 30.0, 1 / 64)]
    assert max(read) <= 0.0
    assert min(read) > -step_c
    assert np.mean(read) == pytest.approx(register.compared_c, abs=0.01)


def test_a_clone_repeats_itself_and_knows_its_steps_only() -> None:
    """Every third reading is new; in sixteenths 20.2 is 20.1875."""
    clone = Register(step_c=0.2, holds=3)
    read = [v for _, v in physics.readings_of(lambda t: 20.0 + t, random.Random(1), 9.3, clone, 0.0, 0.0)]
    assert read == pytest.approx([20.2] * 3 + [23.2] * 3 + [26.2] * 3)
    assert Register(step_c=0.2, sixteenths=True).says(20.39) == 20.1875


@pytest.mark.parametrize(("register", "low_c", "high_c"), [(Register(bits=9), 0.06, 0.2), (Register(step_c=0.1), 0.02, 0.09)])
def test_a_coarse_register_is_compared_through_itself(register: Register, low_c: float, high_c: float) -> None:
    """The offset and the half step are found as well as one water tells them, no better; two of the deviations that are told hold."""
    left, held = [], 0
    for number in range(16):
        own_c = random.Random(number).gauss(0.0, 0.2)
        probe = troubles.compared(troubles.Said("jug", "developer", [], register, own_c, register.compared_c))
        left.append(probe.found_c - own_c - register.compared_c)
        held += abs(left[-1]) <= 2.0 * probe.compared_sd_c
    assert abs(np.mean(left)) < 0.08
    assert low_c < math.sqrt(np.mean(np.square(left))) < high_c
    assert held >= 14


@pytest.mark.parametrize("row", ["coarse steps", "9-11 bits"])
def test_no_coarse_row_is_told_what_its_register_takes_off(row: str) -> None:
    """What is subtracted of the readings is not the same from case to case of one register; the coarsest knows how unsure it is."""
    told: dict[object, set[float]] = {}
    for number in range(12):
        case = troubles.ROWS[row](random.Random(f"told {number}"))
        step = case.parts.get("step_c", case.parts.get("bits"))
        good = next(r for _, r in case.heard if r.celsius is not None and r.raw_c is not None)
        assert good.celsius is not None
        assert good.raw_c is not None
        told.setdefault(step, set()).add(round(good.celsius - good.raw_c, 9))
        if step in (0.5, 9):
            assert case.beliefs.probes[0].comparison_sd_c > 0.08
    assert max(len(offs) for offs in told.values()) > 1


@pytest.mark.parametrize("row", troubles.ROWS)
def test_every_row_makes_sound_cases(row: str) -> None:
    """The same seed makes the same case; readings arrive in order and after they were taken; the development due is reached."""
    case, again = (troubles.ROWS[row](random.Random(f"1 {row}")) for _ in range(2))
    assert case.heard == again.heard
    assert np.array_equal(case.film_c, again.film_c)
    assert [a for a, _ in case.heard] == sorted(a for a, _ in case.heard)
    assert all(0.0 < a - r.t_s < 1.0 for a, r in case.heard)
    assert 5.0 < case.film_c.min() <= case.film_c.max() < 30.0
    due = troubles.true_end(case.film_c, case.law, case.begin_s, case.target_ref_s)
    assert due < (len(case.film_c) - 2) * STEP_S


def test_development_is_the_rate_times_the_time() -> None:
    """At one temperature; and nothing before the begin."""
    course = troubles.done_course(np.full(401, 22.0), troubles.LAW, 40.0)
    assert course[160] == 0.0
    assert course[-1] == pytest.approx(60.0 * 2.5**0.2)


def test_the_benchmarks_law_is_what_its_number_says() -> None:
    """2.5 per 10 C, 2.0 at 38 C; of a whole course as of one temperature."""
    assert [physics.pace(c, 2.5, 20.0) for c in (10.0, 15.0, 20.0, 30.0)] == pytest.approx([0.4, 2.5**-0.5, 1.0, 2.5])
    assert physics.pace(33.0, 2.0, 38.0) == pytest.approx(math.sqrt(0.5))
    celsius = np.array([14.0, 20.0, 27.5])
    assert physics.paces(celsius, 2.5, 20.0) == pytest.approx([physics.pace(c, 2.5, 20.0) for c in celsius.tolist()])


def test_the_program_means_by_its_law_what_the_benchmarks_mean_by_it() -> None:
    """The law of the recipe that a session is played with, the one that the bare estimator is told, and those of the older families."""
    text = sessions.RECIPE.format(minutes=8, seconds=0, sd=sessions.LEAST_SD, handling="")
    read = load_recipe(text.encode(), "trouble.toml").stages[0].law
    assert read is not None
    for celsius in (12.0, 16.0, 18.3, 20.0, 22.0, 25.0, 30.0):
        assert rate(read, celsius) == pytest.approx(physics.pace(celsius, 2.5, 20.0), rel=1e-12)
        assert rate(troubles.LAW, celsius) == pytest.approx(physics.pace(celsius, 2.5, 20.0), rel=1e-12)
        assert rate(liquids.NORMAL, celsius) == pytest.approx(liquids.pace_of(liquids.NORMAL, celsius), rel=1e-12)
    for celsius in (33.0, 38.0, 41.0):
        assert rate(liquids.WARM, celsius) == pytest.approx(physics.pace(celsius, 2.0, 38.0), rel=1e-12)


def test_the_truth_is_made_without_the_programs_law(monkeypatch: pytest.MonkeyPatch) -> None:
    """A program that took its number for something else would not move what was due."""
    film = np.full(2401, 23.0)
    liquid = liquids.Liquid([23.0] * 600, liquids.NORMAL, 480.0)
    right = 480.0 * 2.5**-0.3
    monkeypatch.setattr(type(troubles.LAW), "log_rate", lambda *_: 0.0)
    assert rate(troubles.LAW, 23.0) == 1.0
    assert troubles.true_end(film, troubles.LAW, 0.0, 480.0) == pytest.approx(right)
    assert bench_doubt.steady(troubles.LAW, 480.0, 23.0) == pytest.approx(right)
    assert liquid.true_end() == pytest.approx(right)
    assert liquid.true_done(right) == pytest.approx(480.0)
    assert liquids.steady(liquid, 23.0) == pytest.approx(right)


def test_every_row_of_trouble_has_a_goal() -> None:
    """But for those that were added beside them."""
    assert set(troubles.ROWS) - set(troubles.GOALS) == {
        "wet, room untold", "wet, never back", "hands unsaid", "good beside good", "good, lag false", "bath drifts", "bath lifted",
    }


def test_without_trouble_all_who_read_the_probe_come_to_the_same_end() -> None:
    """The bare estimator, a whole session and the trapezoid; a drifting liquid, a sound probe: none is off by more than the comparison
    leaves, here half a per cent."""
    rng = random.Random("no trouble")
    liquid = troubles.jug(rng)
    chip = troubles.immersed(liquid.film_c, Sleeve(float(liquid.film_c[0])))
    case = troubles.case(liquid.film_c, [troubles.said(rng, "developer", "developer", chip, sd_c=0.001)])
    due = troubles.true_end(case.film_c, case.law, case.begin_s, case.target_ref_s)
    played = sessions.play(case)
    bare, _, _, _ = bench_doubt.drive(case)
    assert [played.end_s, bare, bench_doubt.trapezoid(case)] == pytest.approx([due] * 3, rel=0.005)
    assert [r["event"] for r in played.records if r["kind"] == "stage"][:4] == ["begin", "ready", "now", "end"]
    assert played.done_ref_s == pytest.approx(case.target_ref_s, rel=0.001)


def test_a_trapezoid_that_hears_nothing_fixes_its_end_all_the_same() -> None:
    """Readings that come after the moment of READY move nothing."""
    rng = random.Random("deaf")
    film = np.full(4 * 700, 20.0)
    probe = troubles.said(rng, "developer", "developer", np.where(np.arange(len(film)) * STEP_S < 440.0, 20.0, 30.0), sd_c=0.001)
    case = troubles.case(film, [dataclasses.replace(probe, faults=((400.0, 450.0, "missing"),))])
    assert bench_doubt.trapezoid(case) == pytest.approx(480.0, rel=0.005)
