"""What a code of a coarse register says, against plain numerical integration; and what the estimator makes of such codes."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import pytest

from monitor.core.development.beliefs import ProbeModel
from monitor.core.development.coarse import code, points
from monitor.core.development.rate import rate
from tests.benchmarks.bench_doubt import drive
from tests.benchmarks.troubles import ROWS
from tests.core.development.scenes import DEVELOPER, LAW, Watched

STEPS = "moves in steps of 0.25 C; a sound one moves in steps of 0.0625 C"


def integrated(expected_c: float, var: float, said_c: float, step_c: float, noise: float) -> tuple[float, float, float]:
    """(probability of the code, mean and variance of the value after it), by sums over 20,001 values within nine deviations."""
    sd, n = math.sqrt(var), 20001
    total = first = second = 0.0
    for k in range(n):
        x = expected_c + sd * (18.0 * k / (n - 1) - 9.0)
        above = math.erf((said_c + 0.5 * step_c - x) / math.sqrt(2.0 * noise))
        below = math.erf((said_c - 0.5 * step_c - x) / math.sqrt(2.0 * noise))
        p = math.exp(-0.5 * ((x - expected_c) / sd) ** 2) * 0.5 * (above - below)
        total, first, second = total + p, first + p * x, second + p * x * x
    mean = first / total
    return total * 18.0 / (n - 1) / math.sqrt(2.0 * math.pi), mean, second / total - mean * mean


@pytest.mark.parametrize(
    ("off_c", "sd_c", "step_c"),
    [(0.0, 0.2, 0.25), (0.1, 0.1, 0.25), (-0.2, 0.15, 0.125), (0.6, 0.2, 0.5), (-0.45, 0.1, 0.5), (0.0, 0.02, 0.5)],
)
def test_a_code_leaves_the_mean_and_the_variance_that_integration_finds(off_c: float, sd_c: float, step_c: float) -> None:
    """As a measurement in a filter's arithmetic; and its likelihood is the probability of its bin."""
    noise, var = 0.03**2, sd_c * sd_c
    said = code(20.0 + off_c, var, 20.0, step_c, noise)
    share, mean, left = integrated(20.0 + off_c, var, 20.0, step_c, noise)
    gain = var / (var + said.variance)
    assert 20.0 + off_c + gain * (said.celsius - 20.0 - off_c) == pytest.approx(mean, abs=2e-4)
    assert var * (1.0 - gain) == pytest.approx(left, rel=0.01)
    assert said.log == pytest.approx(math.log(share), abs=1e-3)


def test_a_code_far_from_what_was_expected_is_at_its_edge() -> None:
    """Six deviations outside: the edge, as sharp as the noise; the likelihood goes on without a leap."""
    noise, sd_c = 0.03**2, math.hypot(0.05, 0.03)
    near, far = (code(20.0, 0.05**2, 20.25 + sds * sd_c, 0.5, noise) for sds in (4.99, 5.01))
    assert far.celsius == pytest.approx(20.0 + 5.01 * sd_c)
    assert far.variance == pytest.approx(noise)
    assert far.surprise == pytest.approx(5.01)
    assert near.log - far.log == pytest.approx(0.1, abs=0.05)


def test_a_code_that_was_expected_is_no_surprise() -> None:
    """Anywhere within its bin; outside by so many deviations, signed."""
    assert code(20.2, 0.01, 20.0, 0.5, 0.03**2).surprise == 0.0
    assert code(20.5, 0.0, 20.0, 0.5, 0.05**2).surprise == pytest.approx(-5.0)
    assert code(19.5, 0.0, 20.0, 0.5, 0.05**2).surprise == pytest.approx(5.0)


def test_a_decimal_step_may_have_been_rounded_once_more() -> None:
    """0.2 C in sixteenths lies a little off its place: its edge is less sharp than that of 0.25 C."""
    sharp, blurred = (code(21.0, 0.01**2, 20.0, step_c, 0.02**2).variance for step_c in (0.25, 0.2))
    assert blurred == pytest.approx(sharp + 0.0625**2 / 12.0)


def test_a_stretch_of_one_code_is_one_point_and_a_change_is_an_edge() -> None:
    """The newest stretch speaks at its end; a leap over a code has no edge; a sound register's readings are all points."""
    readings = [(0.0, 20.0), (1.0, 20.0), (2.0, 20.0), (3.0, 20.5), (4.0, 20.5), (5.0, 22.0), (6.0, 22.0)]
    found = points(readings, 0.5, 0.0)
    assert [(p.t_s, p.celsius) for p in found] == [(1.0, 20.0), (2.5, 20.25), (3.5, 20.5), (6.0, 22.0)]
    assert [math.sqrt(p.variance) for p in found] == pytest.approx([0.1443, 0.0625, 0.1443, 0.1443], rel=1e-3)
    assert [(p.t_s, p.celsius) for p in points(readings, 0.0625, 0.0)] == readings


def test_an_old_value_that_is_repeated_until_it_leaps_measures_nothing() -> None:
    """Its first reading stays. A code that moves on by two steps, that leaps after fewer readings or after a silence, stands; and so does
    one before a fall that goes on as fast."""
    old = [(float(t), 20.0) for t in range(10)]

    def then(first_s: float, first_c: float, per_s: float = 0.0) -> list[tuple[float, float]]:
        return [(first_s + k, first_c + k * per_s) for k in range(4)]

    found = points([*old, *then(10.0, 19.8125)], 0.0625, 0.0)
    assert [(p.t_s, p.celsius) for p in found[:2]] == [(0.0, 20.0), (10.0, 19.8125)]
    assert [len(points([*old, *then(9.0 + s, 19.8125)], 0.0625, 0.0)) for s in (1.0, 3.0, 4.0)] == [5, 5, 14]
    assert len(points([*old, *then(10.0, 19.875)], 0.0625, 0.0)) == 14
    assert len(points([*old[3:], *then(10.0, 19.8125)], 0.0625, 0.0)) == 11
    assert len(points([*old, *then(10.0, 19.8125, -0.125)], 0.0625, 0.0)) == 14


# The estimator


def register(course: float, step_c: float, rng: random.Random) -> float:
    """What a register with this step says of a probe, corrected by half a step."""
    return math.floor((course + rng.gauss(0.0, 0.025)) / step_c) * step_c + 0.5 * step_c


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_what_is_counted_by_coarse_codes_is_right_where_warm_water_is_stirred_in(seed: int) -> None:
    """Steps of 0.25 C; 0.8 C warmer within two minutes: to 0.15 %, and the probe is believed throughout."""
    rng, watched, due = random.Random(seed), Watched(), 0.0
    watched.estimator.begin(1, 0.0, LAW, 20.0)
    for t in range(1, 421):
        since = max(t - 250.0, 0.0)
        liquid = 20.0 + 0.0005 * t + 0.8 * (1.0 - math.exp(-since / 38.0))
        probe = 20.0 + 0.0005 * (t - 8.0) + 0.8 * (1.0 - (38.0 * math.exp(-since / 38.0) - 8.0 * math.exp(-since / 8.0)) / 30.0)
        due += rate(LAW, liquid)
        watched.hear(float(t), register(probe, 0.25, rng))
    assert watched.estimator.done(1, 420.0).done_ref_s == pytest.approx(due, rel=0.0015)
    assert [c.why for c in watched.changes if c.believed] == ["3 good readings", STEPS]
    assert len(watched.changes) == 2


def stepped(*probes: ProbeModel) -> list[tuple[bool, bool, str]]:
    """What is told of a probe whose register moves by 0.25 C, in a liquid that cools."""
    watched, rng = Watched(*probes), random.Random(1)
    for t in range(200):
        watched.hear(float(t), register(20.0 - 0.004 * t, 0.25, rng))
    return [(c.believed, c.loss, c.why) for c in watched.changes]


def test_a_register_that_turns_out_to_be_coarse_is_told_once() -> None:
    """In the words of the checks before the start, without FAULT; not where these had found it already."""
    assert stepped()[1:] == [(True, False, STEPS)]
    assert stepped(replace(DEVELOPER, step_c=0.25))[1:] == []
    assert stepped(replace(DEVELOPER, step_c=0.5))[1:] == [(True, False, STEPS)]


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_a_slope_that_codes_have_shown_may_be_over(seed: int) -> None:
    """Half a degree is stirred in at 70 s, which codes of half a degree show as a slope of 0.3 C a minute: it does not go on for ever. The
    count after six minutes is right to 0.4 %."""
    rng, watched, due = random.Random(seed), Watched(), 0.0
    watched.estimator.begin(1, 0.0, LAW, 20.0)
    for t in range(1, 380):
        since, drifted = max(t - 70.0, 0.0), 21.9 + 0.0012 * t
        due += rate(LAW, drifted + 0.5 * (1.0 - math.exp(-since / 25.0)))
        probe = drifted - 0.009 + 0.5 * (1.0 - (25.0 * math.exp(-since / 25.0) - 8.0 * math.exp(-since / 8.0)) / 17.0)
        watched.hear(float(t), register(probe, 0.5, rng))
    assert watched.estimator.done(1, 379.0).done_ref_s == pytest.approx(due, rel=0.004)


@pytest.mark.parametrize(("row", "number"), [("coarse steps", 39), ("coarse steps", 35)])
def test_coarse_codes_of_stirred_water_are_no_probe_in_air(row: str, number: int) -> None:
    """Clones with steps of 0.2 C that repeat themselves, of the benchmark: believed throughout."""
    changes = drive(ROWS[row](random.Random(f"11 {row} {number}")))[3]
    assert [str(c) for c in changes if not c.believed] == []


def test_what_looked_odd_before_the_step_was_known_is_forgotten() -> None:
    """A first change of code by half a degree after a minute lets rivals run. Once the codes have told the step it was no leap, and the
    slope is small."""
    rng, watched = random.Random(1), Watched()
    for t in range(1, 121):
        watched.hear(float(t), register(20.04 - 0.0006 * t, 0.5, rng))
    assert watched.replay.moment.step_c == 0.5
    assert not watched.replay.rivalries.between(0.0, 120.0)
    assert watched.estimator.temperature(120.0).celsius == pytest.approx(20.0, abs=0.08)
