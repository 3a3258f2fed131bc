"""A step wedge: base plus fog, speed point, average gradient, held against a published table and the standard's arithmetic."""

from __future__ import annotations

import math

import pytest

from monitor.core.errors import FileWrong, InputWrong
from monitor.prepare.sensitometry.wedge import STOP, Step, curve, curve_lines, read_csv, typed

ZONES = "stops,density\n" + "\n".join(
    f"{stops},{density}"
    for stops, density in zip(range(-5, 6), (0.02, 0.11, 0.21, 0.34, 0.48, 0.62, 0.76, 0.97, 1.18, 1.33, 1.44), strict=True)
)
"""Densities above base plus fog of zones 0 to X, one film, 1991 (a public page, "Table 51: zone descriptions, film densities")."""


def test_a_published_table_of_zones_gives_its_speed_point_and_gradient() -> None:
    """By hand: 0.10 lies 8/9 of a stop above zone 0; 1.30 is 4.32 stops, which end 0.21 stops above zone V at 0.649."""
    found = read_csv(f"{ZONES}\n,0.00\n", "zones.csv")
    assert found.base_fog == 0.0
    assert found.speed_point is not None
    assert found.speed_point.value / STOP == pytest.approx(-5 + 8 / 9)
    top = 0.62 + 0.14 * (-5 + 8 / 9 + 1.30 / STOP)
    assert found.gradient is not None
    assert found.gradient.value == pytest.approx((top - 0.10) / 1.30)
    assert found.gradient.value == pytest.approx(0.42, abs=0.005)
    assert found.index(100.0) == pytest.approx(100 * 2 ** (1 / 9))


def test_the_doubt_of_a_speed_point_is_that_of_the_readings_over_the_slope() -> None:
    """0.02 each for the step and for the fog, on a straight line of gradient 0.5 (propagation of errors)."""
    found = curve("line", [Step(x / 10, 0.3 + 0.05 * x) for x in range(30)], 0.3)
    assert found.speed_point is not None
    assert found.speed_point.sd == pytest.approx(math.hypot(0.02, 0.02) / 0.5)
    assert found.gradient is not None
    assert found.gradient.value == pytest.approx(0.5)


def test_the_standards_speed_needs_the_standards_contrast() -> None:
    """0.8/Hm: 0.008 lux seconds make 100 (ISO 6, from memory); a rise of 0.80 over 1.30 (ISO 6, in excerpts)."""
    slope = 0.80 / 1.30
    at = math.log10(0.008)
    steps = [Step(at - 0.10 / slope + i * 0.15, 0.2 + slope * i * 0.15) for i in range(15)]
    good = curve("standard", steps, 0.2)
    assert good.iso_speed == pytest.approx(100.0, rel=1e-6)
    assert good.standard_contrast
    assert "not the standard's speed" not in "\n".join(curve_lines(good, lux_seconds=True))
    soft = curve("soft", [Step(s.log_h, 0.2 + 0.7 * (s.density - 0.2)) for s in steps], 0.2)
    assert not soft.standard_contrast
    assert "not the standard's speed" in "\n".join(curve_lines(soft, lux_seconds=True))


def test_a_wedge_in_front_of_the_film_holds_light_back() -> None:
    """Its densities count downwards; rows may stand in any order."""
    found = read_csv("wedge,density\n0.05,1.40\n3.05,0.30\n1.55,0.70\n2.30,0.40\n", "w.csv")
    assert [step.log_h for step in found.steps] == [-3.05, -2.30, -1.55, -0.05]
    assert [step.density for step in found.steps] == [0.30, 0.40, 0.70, 1.40]
    assert found.base_fog == 0.30


def test_typed_densities_are_the_same_curve() -> None:
    """Half a stop apart, with commas or spaces."""
    last = typed("t", "0.30, 0.34 0.45 0.61", 0.15, 0.28).steps[3]
    assert last.log_h == pytest.approx(0.45)
    assert last.density == 0.61


def test_what_a_wedge_cannot_tell_is_said() -> None:
    """No step under the speed density, or none 1.30 above it; a step that is thinner than the one before."""
    assert "no speed point" in "\n".join(curve_lines(typed("t", "0.9 1.0 1.1 1.2", 0.3, 0.3)))
    assert "Give it more light" in "\n".join(curve_lines(typed("t", "0.3 0.35 0.5 0.7", 0.15, 0.3)))
    assert "thinner than the one before" in "\n".join(curve_lines(typed("t", "0.3 0.5 0.35 0.7 0.9", 0.15, 0.3)))


def test_a_bad_file_is_told_line_by_line() -> None:
    """All of it, and what is allowed."""
    with pytest.raises(FileWrong) as caught:
        read_csv("stops,density\n-1,zero\nx,0.4\n", "w.csv")
    assert caught.value.lines == (
        'w.csv:2: density: "zero" is not a density; allowed: a number from 0 to 6',
        'w.csv:3: stops: "x" is not an exposure; allowed: a number, or empty for film without light',
    )
    for text in ("density\n0.3\n", "stops,log_h,density\n1,1,0.3\n", "", "stops,density\n1,0.3\n1,0.4\n2,0.5\n3,0.6\n"):
        with pytest.raises(FileWrong):
            read_csv(text, "w.csv")
    with pytest.raises(InputWrong):
        typed("t", "0.3 0.4 0.5 0.6", 2.0, None)
