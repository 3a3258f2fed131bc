"""Rate laws: against published time and temperature tables, against worked numbers, and as functions."""

from __future__ import annotations

import math
from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.development.rate import BOUND_C, Arrhenius, Coefficient, Pairs, RateLaw, believed_at, fit, planned_time, rate

# Minnesota Administrative Rules part 4732.0555: minimum developing time of manual x-ray film, Fahrenheit and minutes.
# The same numbers stand in North Dakota Administrative Code 33.1-10-06, appendix D, and Washington WAC 246-225-150.
REGULATION_F_MIN: list[tuple[float, float]] = [
    (80, 2), (79, 2), (78, 2.5), (77, 2.5), (76, 3), (75, 3), (74, 3.5), (73, 3.5), (72, 4), (71, 4), (70, 4.5),
    (69, 4.5), (68, 5), (67, 5.5), (66, 5.5), (65, 6), (64, 6.5), (63, 7), (62, 8), (61, 8.5), (60, 9.5),
]  # fmt: skip
# T.O. 33B-1-1 / TM 1-1500-335-23, table 6-16, "normal" (which column is which is inferred: 68 F reads 5 minutes).
MAINTENANCE_F_MIN: list[tuple[float, float]] = [(80, 3.25), (76, 3.75), (72, 4), (70, 4.5), (68, 5), (65, 5.5), (63, 6)]


def celsius_seconds(rows: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Fahrenheit and minutes as the program's units."""
    return [((f - 32) / 1.8, minutes * 60) for f, minutes in rows]


REMEMBERED_C_MIN = [(18, 6), (20, 5), (22, 4), (24, 3.5), (26, 3), (28, 2.5), (30, 2)]


@dataclass(frozen=True)
class Published:
    """A table of (Celsius, seconds) and the fit worked out for it apart: energy and its standard error, factor, residuals."""

    pairs: list[tuple[float, float]]
    energy: float
    energy_sd: float
    per_10_c: float
    rms: float
    worst: float
    worst_at_c: float | None = None


PUBLISHED = {
    "Minn. Rules 4732.0555, all 21 pairs": Published(celsius_seconds(REGULATION_F_MIN), 95.8, 2.4, 3.82, 4.8, -10.8, 47 / 1.8),
    "Minn. Rules 4732.0555, 64 to 76 F": Published(
        celsius_seconds([row for row in REGULATION_F_MIN if 64 <= row[0] <= 76]), 84.2, 3.1, 3.25, 3.0, -5.1
    ),
    "TM 1-1500-335-23, table 6-16, normal": Published(celsius_seconds(MAINTENANCE_F_MIN), 47.1, 2.8, 1.93, 2.7, -5.8, 40 / 1.8),
    "a radiography handbook, from memory, not verified, its 5 min at 20 C apart": Published(
        [(float(c), m * 60.0) for c, m in REMEMBERED_C_MIN], 65.1, 1.9, 2.49, 2.3, -3.7
    ),
    "a film maker's chart, from memory, not verified": Published(
        [(16.0, 360.0), (20.0, 240.0), (23.0, 180.0)], 70.6, 0.6, 2.69, 0.3, -0.4, 20.0
    ),
}


@pytest.mark.parametrize("source", PUBLISHED)
def test_a_table_from_outside_gives_the_fit_worked_out_for_it(source: str) -> None:
    """Energy, its standard error, the factor of ten degrees, and the residuals with the place of the worst."""
    expected = PUBLISHED[source]
    made = fit(expected.pairs)
    assert made.activation_energy_kj_mol == pytest.approx(expected.energy, abs=0.05)
    assert made.sd_kj_mol == pytest.approx(expected.energy_sd, abs=0.1)
    assert made.per_10_c == pytest.approx(expected.per_10_c, abs=0.01)
    assert made.rms_percent == pytest.approx(expected.rms, abs=0.1)
    assert made.worst_percent == pytest.approx(expected.worst, abs=0.1)
    if expected.worst_at_c is not None:
        assert max(made.pairs, key=lambda row: abs(row[2]))[0] == pytest.approx(expected.worst_at_c)


def test_the_two_points_of_1910_give_the_coefficient_printed_beside_them() -> None:
    """70 s at 8 C and 25 s at 20 C: 0.037 a degree in log10, 2.36 per 10 C, 58.8 kJ/mol.

    E. J. Wall, Jahrbuch fuer Photographie und Reproduktionstechnik 24 (1910) 44, doi 10.11588/diglit.44942.
    """
    slope = math.log10(70 / 25) / 12
    assert slope == pytest.approx(0.037, abs=0.0005)
    law = Coefficient(20.0, 10 ** (10 * slope), 0.0, (8.0, 20.0))
    assert law.per_10_c == pytest.approx(2.36, abs=0.005)
    assert planned_time(law, 25.0, 8.0) == pytest.approx(70.0)
    assert fit([(8.0, 70.0), (20.0, 25.0)]).activation_energy_kj_mol == pytest.approx(58.8, abs=0.05)


def test_two_pairs_of_ones_own_give_the_worked_times() -> None:
    """10:00 at 20 C and 6:45 at 24 C: 71.2 kJ/mol, 12:13 at 18 C and 8:12 at 22 C, where straight in C would be 12:10 and 8:13."""
    law = Pairs(20.0, ((20.0, 600.0), (24.0, 405.0)), 0.5, (20.0, 24.0))
    assert fit(law.pairs).activation_energy_kj_mol == pytest.approx(71.2, abs=0.05)
    assert planned_time(law, 600.0, 18.0) == pytest.approx(12 * 60 + 13, abs=0.5)
    assert planned_time(law, 600.0, 22.0) == pytest.approx(8 * 60 + 12, abs=0.5)


@pytest.mark.parametrize(
    ("energy", "factors"),
    [
        (50, (1.151, 0.966, 0.870, 0.759)),
        (60, (1.184, 0.959, 0.846, 0.718)),
        (70.6, (1.220, 0.952, 0.822, 0.677)),
        (80, (1.253, 0.946, 0.801, 0.643)),
    ],
)
def test_arrhenius_gives_the_tabulated_time_factors(energy: float, factors: tuple[float, ...]) -> None:
    """Time relative to 20 C at 18, 20.5, 22 and 24 C, computed independently to three places."""
    law = Arrhenius(20.0, energy, 0.0, (16.0, 24.0))
    assert [planned_time(law, 1.0, c) for c in (18.0, 20.5, 22.0, 24.0)] == pytest.approx(factors, abs=0.0006)


def test_a_coefficient_is_a_factor_in_ten_degrees() -> None:
    """2.5 per 10 C: 2.5 times as fast at 30 C, 9.6 % a degree, and 1/2.5 at 10 C."""
    law = Coefficient(20.0, 2.5, 0.1, (16.0, 24.0))
    assert rate(law, 30.0) == pytest.approx(2.5)
    assert rate(law, 21.0) == pytest.approx(1.096, abs=0.0005)
    assert rate(law, 10.0) == pytest.approx(0.4)


def test_pairs_are_exact_at_every_pair() -> None:
    """At each of the person's own temperatures the person's own time comes out."""
    pairs = ((18.0, 730.0), (20.0, 600.0), (22.0, 497.0), (24.0, 405.0))
    law = Pairs(20.0, pairs, 0.5, (18.0, 24.0))
    for celsius, seconds in pairs:
        assert planned_time(law, 600.0, celsius) == pytest.approx(seconds, rel=1e-12)


def test_between_pairs_the_law_is_straight_in_inverse_kelvin_and_log_time() -> None:
    """At the middle of two pairs in 1/T, the time is their geometric mean."""
    law = Pairs(20.0, ((18.0, 730.0), (20.0, 600.0), (24.0, 405.0)), 0.5, (18.0, 24.0))
    middle = 2 / (1 / (20.0 + 273.15) + 1 / (24.0 + 273.15)) - 273.15
    assert planned_time(law, 600.0, middle) == pytest.approx(math.sqrt(600.0 * 405.0), rel=1e-12)


@given(share=st.floats(min_value=0, max_value=1), segment=st.integers(0, 1))
def test_every_stretch_between_two_pairs_is_their_own_line(share: float, segment: int) -> None:
    """Anywhere between neighbours ln time is the weighted mean by 1/T, right up to the pair, whatever the third pair says."""
    pairs = ((18.0, 730.0), (20.0, 600.0), (24.0, 405.0))
    (c0, s0), (c1, s1) = pairs[segment : segment + 2]
    inverse = (1 - share) / (c0 + 273.15) + share / (c1 + 273.15)
    law = Pairs(20.0, pairs, 0.5, (18.0, 24.0))
    assert planned_time(law, 600.0, 1 / inverse - 273.15) == pytest.approx(s0 ** (1 - share) * s1**share, rel=1e-9)


def test_outside_the_pairs_the_end_slope_goes_on() -> None:
    """Beyond the last pair the law is that of the last two pairs alone, below the first that of the first two."""
    law = Pairs(20.0, ((18.0, 730.0), (20.0, 600.0), (24.0, 405.0)), 0.5, (18.0, 24.0))
    last, first = Pairs(20.0, law.pairs[1:], 0.5, (20.0, 24.0)), Pairs(20.0, law.pairs[:2], 0.5, (18.0, 20.0))
    assert law.log_rate(28.0) == pytest.approx(last.log_rate(28.0), rel=1e-12)
    assert law.log_rate(14.0) == pytest.approx(first.log_rate(14.0), rel=1e-12)


LAWS: list[RateLaw] = [
    Coefficient(20.0, 2.5, 0.1, (16.0, 24.0)),
    Arrhenius(37.8, 70.6, 5.0, (34.0, 40.0)),
    Pairs(20.0, ((18.0, 730.0), (20.0, 600.0), (24.0, 405.0)), 0.5, (18.0, 24.0)),
]


@pytest.mark.parametrize("law", LAWS)
def test_outside_its_data_a_law_is_three_times_as_uncertain(law: RateLaw) -> None:
    """Just outside the valid range the uncertainty is three times that just inside, and the law itself goes on."""
    inside, outside = law.valid_c[1], law.valid_c[1] + 1e-9
    assert believed_at(law, inside)
    assert not believed_at(law, outside)
    assert law.log_rate_sd_slope(outside) == pytest.approx(3 * law.log_rate_sd_slope(inside), rel=1e-6)
    assert law.log_rate(outside) == pytest.approx(law.log_rate(inside), abs=1e-6)


@pytest.mark.parametrize("law", LAWS)
def test_beyond_the_stated_bound_no_law_is_followed(law: RateLaw) -> None:
    """Below 0 C and above 60 C the rate stays what it is there, and its slope is nothing."""
    for bound, beyond in ((BOUND_C[0], -40.0), (BOUND_C[1], 300.0)):
        assert rate(law, beyond) == rate(law, bound)
        assert law.log_rate_slope(beyond) == 0.0
        assert math.isfinite(law.log_rate_sd_slope(beyond))


@pytest.mark.parametrize("law", LAWS)
@given(celsius=st.floats(min_value=0.5, max_value=59.5))
def test_the_slope_is_the_derivative(law: RateLaw, celsius: float) -> None:
    """The analytic slope agrees with a difference quotient, corners of pairs apart."""
    h = 1e-4
    if isinstance(law, Pairs) and any(abs(celsius - pair[0]) <= 2 * h for pair in law.pairs):
        return
    quotient = (law.log_rate(celsius + h) - law.log_rate(celsius - h)) / (2 * h)
    assert law.log_rate_slope(celsius) == pytest.approx(quotient, rel=1e-5)


@pytest.mark.parametrize("law", LAWS)
@given(cold=st.floats(min_value=-100, max_value=200), warmer=st.floats(min_value=0, max_value=100))
def test_warmer_is_never_slower(law: RateLaw, cold: float, warmer: float) -> None:
    """The rate never falls as the temperature rises, at any temperature at all, and is above zero."""
    assert 0 < rate(law, cold) <= rate(law, cold + warmer) * (1 + 1e-12)


@pytest.mark.parametrize("law", LAWS)
def test_the_rate_at_the_reference_is_one_and_certain(law: RateLaw) -> None:
    """r(reference) = 1, with no uncertainty of the law."""
    assert rate(law, law.reference_c) == pytest.approx(1.0, abs=1e-12)
    assert law.log_rate_sd_slope(law.reference_c) == pytest.approx(0.0, abs=1e-12)


@given(
    energy=st.floats(min_value=10, max_value=200),
    time_s=st.floats(min_value=10, max_value=5000),
    span_c=st.floats(min_value=1, max_value=20),
)
def test_a_fit_of_exact_times_finds_their_energy(energy: float, time_s: float, span_c: float) -> None:
    """Times made by Arrhenius' law give its energy back, with residuals of nothing."""
    law = Arrhenius(20.0, energy, 0.0, (16.0, 24.0))
    made = fit([(c, planned_time(law, time_s, c)) for c in (20.0, 20.0 + span_c / 2, 20.0 + span_c)])
    assert made.activation_energy_kj_mol == pytest.approx(energy, rel=1e-6)
    assert made.rms_percent < 1e-6
    assert made.time_s(20.0) == pytest.approx(time_s, rel=1e-9)


@given(factor=st.floats(min_value=0.1, max_value=10))
def test_only_ratios_of_pairs_count(factor: float) -> None:
    """All times longer by one factor make the same rate."""
    pairs = ((18.0, 730.0), (20.0, 600.0), (24.0, 405.0))
    scaled = tuple((c, s * factor) for c, s in pairs)
    law, longer = Pairs(20.0, pairs, 0.5, (18.0, 24.0)), Pairs(20.0, scaled, 0.5, (18.0, 24.0))
    for celsius in (15.0, 19.0, 23.0, 30.0):
        assert longer.log_rate(celsius) == pytest.approx(law.log_rate(celsius))


def test_a_fit_needs_two_temperatures_and_times_above_zero() -> None:
    """One temperature twice, or a time of nothing, is no fit."""
    with pytest.raises(ValueError, match="two different temperatures"):
        fit([(20.0, 600.0), (20.0, 610.0)])
    with pytest.raises(ValueError, match="not above zero"):
        fit([(20.0, 600.0), (24.0, 0.0)])
    assert fit([(20.0, 600.0), (24.0, 405.0)]).sd_kj_mol is None


def test_the_uncertainty_of_a_law_is_the_change_for_one_standard_deviation() -> None:
    """Adding one sd to the law's own number moves ln r by what log_rate_sd_slope says."""
    base, more = Arrhenius(20.0, 65.0, 5.0, (10.0, 30.0)), Arrhenius(20.0, 70.0, 5.0, (10.0, 30.0))
    assert more.log_rate(24.0) - base.log_rate(24.0) == pytest.approx(base.log_rate_sd_slope(24.0))
    low, high = Coefficient(20.0, 2.5, 0.001, (10.0, 30.0)), Coefficient(20.0, 2.501, 0.001, (10.0, 30.0))
    assert high.log_rate(24.0) - low.log_rate(24.0) == pytest.approx(low.log_rate_sd_slope(24.0), rel=1e-3)


PAIRS = Pairs(20.0, ((18.0, 730.0), (20.0, 600.0), (24.0, 405.0)), 0.5, (18.0, 24.0))


@pytest.mark.parametrize("celsius", [18.0, 20.0, 24.0])
def test_at_a_pair_the_slope_is_that_of_the_colder_side(celsius: float) -> None:
    """The derivative from below, not the one from above; at the first pair both are the same line."""
    h = 1e-5
    below = (PAIRS.log_rate(celsius) - PAIRS.log_rate(celsius - h)) / h
    above = (PAIRS.log_rate(celsius + h) - PAIRS.log_rate(celsius)) / h
    assert PAIRS.log_rate_slope(celsius) == pytest.approx(below, rel=1e-4)
    if celsius == 20.0:
        assert abs(above / below - 1.0) > 0.005


@pytest.mark.parametrize("law", LAWS)
def test_the_bounds_are_freezing_and_sixty_degrees_and_belong_to_the_law(law: RateLaw) -> None:
    """At 0 and 60 C the law still has its slope; a hair beyond, none."""
    assert BOUND_C == (0.0, 60.0)
    for bound, beyond in ((0.0, -1e-9), (60.0, 60.0 + 1e-9)):
        assert law.log_rate_slope(bound) > 0.0
        assert law.log_rate_slope(beyond) == 0.0


@pytest.mark.parametrize("law", LAWS)
def test_both_ends_of_the_data_are_covered(law: RateLaw) -> None:
    """Without three times the uncertainty, at the cold end too."""
    for end, beyond in ((law.valid_c[0], law.valid_c[0] - 1e-9), (law.valid_c[1], law.valid_c[1] + 1e-9)):
        assert believed_at(law, end)
        assert not believed_at(law, beyond)
        assert abs(law.log_rate_sd_slope(beyond)) == pytest.approx(3.0 * abs(law.log_rate_sd_slope(end)), rel=1e-6)


def test_pairs_are_half_a_per_cent_a_degree_unsure() -> None:
    """Of the distance from the reference, with its sign."""
    assert PAIRS.log_rate_sd_slope(24.0) == pytest.approx(0.02)
    assert PAIRS.log_rate_sd_slope(18.0) == pytest.approx(-0.01)


def test_a_fit_of_three_pairs_has_a_standard_error_and_a_worst_residual_with_its_sign() -> None:
    """One degree of freedom is left; the worst is the largest in size."""
    made = fit([(18.0, 730.0), (20.0, 570.0), (24.0, 405.0)])
    residuals = [r for _, _, r in made.pairs]
    assert made.sd_kj_mol is not None
    assert made.worst_percent == min(residuals) < 0.0
    assert abs(made.worst_percent) > max(residuals)
