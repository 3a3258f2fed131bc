"""How contrast grows: the published law, its closed form for double time, intervals that hold, and the trade's rule of thumb."""

from __future__ import annotations

import math
import random

import pytest

from monitor.core.errors import InputWrong
from monitor.prepare.sensitometry.growth import FilmAt, Growth, grow, growth_lines, push_times, push_times_from


def films(end: float, k_per_min: float, *minutes: float, sd: float = 0.01, noise: random.Random | None = None) -> list[FilmAt]:
    """Films of a law, read with an error."""
    return [
        FilmAt(60 * m, end * -math.expm1(-k_per_min * m) + (0.0 if noise is None else noise.gauss(0.0, sd)), sd) for m in minutes
    ]


def test_double_time_has_the_published_closed_form() -> None:
    """k = ln(G1/(G2 - G1))/t1 and G_end = G1**2/(2 G1 - G2): from the law by arithmetic."""
    found = grow([FilmAt(300.0, 0.45, 0.01), FilmAt(600.0, 0.63, 0.01)])
    assert found.k_per_s == pytest.approx(math.log(0.45 / 0.18) / 300.0, rel=1e-5)
    assert found.end == pytest.approx(0.45**2 / (2 * 0.45 - 0.63), rel=1e-5)


def test_the_law_is_the_published_rate_integrated() -> None:
    """dD/dt = K (D_end - D), C. E. K. Mees 1911, in small steps."""
    law, reached, step = grow(films(0.9, 0.12, 5, 8, 12)), 0.0, 0.01
    for _ in range(int(480 / step)):
        reached += law.k_per_s * (law.end - reached) * step
    assert law.gradient(480.0) == pytest.approx(reached, rel=1e-4)


def test_times_and_gradients_are_each_others_inverse() -> None:
    """And beyond the end no time is enough."""
    law = grow(films(0.9, 0.12, 5, 8, 12))
    for gradient in (0.2, 0.5, 0.8):
        found = law.time_s(gradient)
        assert found is not None
        assert law.gradient(found) == pytest.approx(gradient)
    assert law.time_s(0.95) is None


@pytest.mark.parametrize(("end", "k_per_min"), [(1.0, 0.10), (0.9, 0.13), (0.8, 0.15)])
def test_a_usual_film_gives_the_trades_rule_of_thumb(end: float, k_per_min: float) -> None:
    """N-1 0.7 to 0.8 and N+1 1.25 to 1.4 of the normal time (common practice, no source), within 0.05, at 8 minutes."""
    law = grow(films(end, k_per_min, 5, 8, 12))
    rows = {row.push: row.time_s for row in push_times_from(law, 480.0)}
    assert rows[0] == pytest.approx(480.0, abs=0.5)
    assert rows[-1] is not None
    assert rows[1] is not None
    assert 0.65 <= rows[-1] / 480.0 <= 0.85
    assert 1.20 <= rows[1] / 480.0 <= 1.45


def test_the_intervals_hold_the_truth_as_often_as_they_say() -> None:
    """Three films read with 0.01, a hundred times: N+1 and N-1 of a wanted gradient and of a known time, at least 90 each."""
    chance = random.Random(17)
    held = {(push, by): 0 for push in (-1, 1) for by in ("gradient", "time")}
    end, k, normal_s = 1.0, 0.10, 480.0
    for _ in range(100):
        law = grow(films(end, k, 5, 8, 14, noise=chance))
        normal = end * -math.expm1(-k * normal_s / 60)
        for by, rows in (("gradient", push_times(law, normal)), ("time", push_times_from(law, normal_s))):
            for row in rows:
                if row.push in (-1, 1):
                    true_s = -math.log1p(-normal * 7 / (7 - row.push) / end) / k * 60
                    low_s = 0.0 if row.low_s is None else row.low_s
                    held[row.push, by] += low_s <= true_s <= (math.inf if row.high_s is None else row.high_s)
    assert min(held.values()) >= 90, held


def test_a_known_normal_time_leaves_less_in_doubt() -> None:
    """Where N stands is not asked for."""
    law = grow(films(1.0, 0.1, 5, 8, 14))
    by_time, by_gradient = push_times_from(law, 480.0)[0], push_times(law, law.gradient(480.0))[0]
    for row in (by_time, by_gradient):
        assert row.low_s is not None
        assert row.high_s is not None
    assert by_time.high_s - by_time.low_s < by_gradient.high_s - by_gradient.low_s  # type: ignore[operator]


def test_what_films_do_not_show_is_said() -> None:
    """No upper end, outside the films' times, no time enough."""
    law = grow(films(0.8, 0.1, 7, 10, 14, sd=0.03))
    said = "\n".join(growth_lines(law, push_times(law, 0.58), "0.58"))
    assert "or longer; your films do not show how long at most" in said
    assert "no time is enough" in said
    assert "outside your films' times: test it" in "\n".join(growth_lines(law, push_times_from(law, 720.0), "12:00"))


def test_films_that_scatter_more_than_their_doubt_widen_it() -> None:
    """By the square root of their chi square."""
    smooth = films(1.0, 0.1, 5, 8, 11, 14)
    rough = [FilmAt(f.time_s, f.gradient + bump, f.sd) for f, bump in zip(smooth, (0.04, -0.04, 0.04, -0.04), strict=True)]
    assert grow(rough).var_end > 4 * grow(smooth).var_end


@pytest.mark.parametrize(
    "given",
    [
        [FilmAt(300.0, 0.5, 0.01)],
        [FilmAt(300.0, 0.5, 0.01), FilmAt(320.0, 0.52, 0.01)],
        [FilmAt(300.0, 0.4, 0.01), FilmAt(600.0, 0.9, 0.01)],
    ],
)
def test_films_that_show_no_law_are_refused(given: list[FilmAt]) -> None:
    """One, two at nearly one time, and a contrast that outruns its time."""
    with pytest.raises(InputWrong):
        grow(given)


def test_a_law_can_be_asked_for_its_tested_times() -> None:
    """Shortest and longest."""
    law: Growth = grow(films(1.0, 0.1, 8, 5, 14))
    assert law.tested_s == (300.0, 840.0)
