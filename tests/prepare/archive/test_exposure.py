"""The arithmetic of an exposure against worked examples from outside: thin lens, stops, Schwarzschild's law."""

from __future__ import annotations

import math

import pytest

from monitor.core.errors import InputWrong
from monitor.prepare.archive.exposure import (
    bellows_factor,
    expose,
    exposure_lines,
    exposure_words,
    read_exposure_s,
    read_filter,
    read_length_mm,
    read_table,
)


@pytest.mark.parametrize("magnification", [0.0, 0.1, 0.25, 0.5, 1.0, 2.0])
def test_the_bellows_factor_is_that_of_the_thin_lens(magnification: float) -> None:
    """1/f = 1/u + 1/v puts the film at f (1 + m); the light there is (1 + m) squared weaker (optics textbooks). At life size: 4."""
    focal_mm = 150.0
    film_mm = focal_mm * (1.0 + magnification)
    if magnification:
        object_mm = film_mm / magnification
        assert 1.0 / focal_mm == pytest.approx(1.0 / object_mm + 1.0 / film_mm)
    assert bellows_factor(focal_mm, film_mm) == pytest.approx((1.0 + magnification) ** 2)


def test_life_size_costs_two_stops_and_a_filter_of_4x_two_more() -> None:
    """A stop is a factor of two, by definition: 1/4 s becomes 4 s."""
    worked = expose(read_exposure_s("1/4 s"), read_filter("4x"), bellows_factor(150.0, 300.0))
    assert worked.needed_s == pytest.approx(4.0)
    assert worked.stops == pytest.approx(4.0)
    assert read_filter("2 stops") == read_filter("4x") == 4.0


@pytest.mark.parametrize("metered_s", [1.0, 3.0, 10.0, 31.6, 77.0, 100.0])
def test_between_the_points_of_a_table_schwarzschilds_law_is_met_exactly(metered_s: float) -> None:
    """t needed = t metered ^ (1/p), with his p of 0.86: a straight line in the logarithms. Three points of it give all the others."""
    p = 0.86
    table = read_table([f"{t:g} s={t ** (1 / p):.4f} s" for t in (1.0, 10.0, 100.0)])
    assert table.needed_s(metered_s) == pytest.approx(metered_s ** (1 / p), rel=1e-4)


def test_between_points_the_logarithms_lie_on_a_straight_line_as_numpy_has_it() -> None:
    """A table that bends."""
    numpy = pytest.importorskip("numpy")
    rows = [(1.0, 1.0), (10.0, 20.0), (100.0, 600.0)]
    table = read_table([f"{m:g} s={n:g} s" for m, n in rows])
    for metered_s in (1.5, 9.0, 12.0, 64.0):
        theirs = math.exp(numpy.interp(math.log(metered_s), [math.log(m) for m, _ in rows], [math.log(n) for _, n in rows]))
        assert table.needed_s(metered_s) == pytest.approx(theirs)


def test_outside_the_table_nothing_is_said() -> None:
    """But below a first point that needs no correction there is none."""
    table = read_table(["1 s=1 s", "10 s=20 s"])
    assert table.needed_s(0.25) == 0.25
    with pytest.raises(InputWrong, match="30 s is outside your table; allowed: 1 s to 10 s"):
        table.needed_s(30.0)
    with pytest.raises(InputWrong, match="outside your table"):
        read_table(["2 s=3 s", "10 s=20 s"]).needed_s(1.0)


def test_the_table_is_asked_after_filter_and_bellows() -> None:
    """The film feels the whole of the time: common practice, no source. 8 s x 2 x 1.96 = 31.4 s."""
    table = read_table(["1 s=1 s", "10 s=20 s", "100 s=10:00"])
    worked = expose(8.0, 2.0, bellows_factor(150.0, 210.0), table)
    assert worked.with_factors_s == pytest.approx(31.36)
    assert worked.needed_s == pytest.approx(table.needed_s(31.36))
    assert exposure_lines(worked) == [
        "expose 1:48 (3.8 stops more than metered)",
        "  metered 8 s, filter x 2, bellows x 1.96: 31 s",
        "  by your own table 31 s needs 1:48",
    ]
    assert "keep a table of your own" in exposure_lines(expose(8.0))[-1]
    assert "keep a table of your own" in exposure_lines(expose(1.0))[-1]
    assert len(exposure_lines(expose(0.9))) == 2


@pytest.mark.parametrize(
    ("pairs", "says"),
    [
        (["1 s=1 s"], "a table of one point"),
        (["1 s", "2 s=3 s"], "is not a pair"),
        (["1 s=1 s", "10 s=5 s"], "needs only 5 s"),
        (["1 s=2 s", "1 s=3 s"], "do not rise together"),
        (["1 s=5 s", "2 s=4 s"], "do not rise together"),
    ],
)
def test_a_table_that_cannot_be_is_refused(pairs: list[str], says: str) -> None:
    """In one line."""
    with pytest.raises(InputWrong, match=says):
        read_table(pairs)


@pytest.mark.parametrize("text", ["150", "0 mm", "-3 mm", "15 feet", "1e3 mm"])
def test_a_length_has_a_unit(text: str) -> None:
    """And is above nothing."""
    with pytest.raises(InputWrong, match="is not a length"):
        read_length_mm(text)
    assert read_length_mm("6 in") == pytest.approx(152.4)


@pytest.mark.parametrize("text", ["8", "1/0 s", "0 s", "1/4", "999999 s", "-1 s"])
def test_a_time_of_exposure_has_a_unit(text: str) -> None:
    """Or is minutes and seconds."""
    with pytest.raises(InputWrong, match="is not a time of exposure"):
        read_exposure_s(text)


@pytest.mark.parametrize(("seconds", "words"), [(0.004, "1/250 s"), (0.25, "1/4 s"), (2.5, "2.5 s"), (31.4, "31 s"), (200.0, "3:20")])
def test_times_are_said_as_on_a_camera(seconds: float, words: str) -> None:
    """Fractions below a third of a second."""
    assert exposure_words(seconds) == words


def test_no_lens_is_sharp_nearer_than_its_focal_length() -> None:
    """Whoever types that has measured from another place."""
    with pytest.raises(InputWrong, match="from the focal length on"):
        bellows_factor(150.0, 140.0)
    with pytest.raises(InputWrong, match="is not a filter"):
        read_filter("0.5x")
    assert read_filter("1x") == 1.0
