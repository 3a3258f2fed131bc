"""The strip writer: few points, short numbers, round ticks, and nothing of anybody's words becomes an element."""

from __future__ import annotations

import itertools
import math
import re

import pytest

from monitor.core.drawing.strips import (
    DARK,
    DEGREES,
    LIGHT,
    MINUTES,
    MOST_POINTS,
    STROKES,
    Drawing,
    Scale,
    alone,
    number,
    path_of,
    thinned,
    ticks,
    time_axis,
)


def test_a_line_of_an_hour_has_at_most_400_points_and_keeps_its_spikes() -> None:
    """Thinning takes what nobody sees: the highest point, the first and the last stay."""
    points = [(0.2 * k, 50.0 + 20.0 * math.sin(k / 9.0)) for k in range(3600)]
    points[1801] = (0.2 * 1801, 3.0)
    thin = thinned(points)
    assert len(thin) <= MOST_POINTS
    assert (thin[0], thin[-1]) == (points[0], points[-1])
    assert (0.2 * 1801, 3.0) in thin


def test_a_straight_line_is_two_points() -> None:
    """However many there were."""
    assert len(thinned([(float(k), 2.0 * k) for k in range(300)])) == 2


def test_a_thinned_line_is_the_same_line() -> None:
    """Within a fifth of a pixel, where it bends."""
    points = [(0.5 * k, 100.0 * math.exp(-k / 200.0)) for k in range(1000)]
    thin = thinned(points)
    for x, y in points:
        (ax, ay), (bx, by) = next((a, b) for a, b in itertools.pairwise(thin) if a[0] <= x <= b[0])
        on = ay if bx == ax else ay + (x - ax) / (bx - ax) * (by - ay)
        assert abs(on - y) < 0.2


def test_coordinates_have_one_decimal_and_a_path_ends_where_its_points_do() -> None:
    """Steps are rounded so that their sum does not drift."""
    assert [number(v) for v in (1.0, 1.26, -0.04, 100.05)] == ["1", "1.3", "0", "100"]
    points = [(k / 3.0, k / 7.0) for k in range(200)]
    steps = re.findall(r"[Ml](-?[\d.]+) ?(-?[\d.]+)", path_of(points))
    assert sum(float(x) for x, _ in steps) == pytest.approx(points[-1][0], abs=0.06)
    assert sum(float(y) for _, y in steps) == pytest.approx(points[-1][1], abs=0.06)


def test_ticks_are_round_and_few() -> None:
    """Degrees and minutes."""
    assert ticks(16.9, 20.6, 5, DEGREES) == [17.0, 18.0, 19.0, 20.0]
    assert ticks(0.0, 697.0, 8, MINUTES) == [0.0, 120.0, 240.0, 360.0, 480.0, 600.0]
    assert ticks(0.0, 3.0 * 3600, 8, MINUTES)[1] == 1800.0


def test_words_are_text_and_never_elements() -> None:
    """A probe's name may be anything."""
    drawing = Drawing(100.0, 13.0)
    drawing.text(0.0, 10.0, "<script>&")
    svg = drawing.svg('"><script>')
    assert "<script" not in svg
    assert "&lt;script&gt;&amp;" in svg


def test_each_kind_of_line_differs_without_its_colour() -> None:
    """By dashes or by weight."""
    looks = [re.search(rf"\.{kind}{{([^}}]*)}}", STROKES) for kind in ("main", "dots", "bath", "room", "said")]
    told = {tuple(re.findall(r"stroke-(?:width|dasharray):[^;]*", found[1])) for found in looks if found is not None}
    assert len(told) == 5


def test_a_picture_alone_carries_its_colours() -> None:
    """Light, dark, or as its reader prefers."""
    drawing = Drawing(100.0, 13.0)
    drawing.height = 50.0
    svg = drawing.svg("x")
    assert LIGHT in alone(svg, dark=False)
    assert DARK not in alone(svg, dark=False)
    assert "prefers-color-scheme:dark" in alone(svg)
    assert alone(svg).startswith('<svg xmlns="http://www.w3.org/2000/svg"')


def test_the_axis_names_minutes() -> None:
    """m:ss."""
    drawing = Drawing(300.0, 13.0)
    time_axis(drawing, Scale(0.0, 660.0, 0.0, 300.0), 0.0, 100.0, 6)
    assert re.findall(r">(\d+:\d\d)<", drawing.svg("x")) == ["0:00", "2:00", "4:00", "6:00", "8:00", "10:00"]
