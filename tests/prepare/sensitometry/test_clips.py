"""The clip test and the bracketed leader: common practice, no source; their arithmetic."""

from __future__ import annotations

import math

import pytest

from monitor.core.errors import InputWrong
from monitor.prepare.sensitometry.clips import CLIP_STEPS, LEADER_STEPS, bracket_lines, bracket_times, clip_time
from monitor.prepare.sensitometry.growth import FilmAt, grow

LAW = grow([FilmAt(60.0 * m, -math.expm1(-0.1 * m), 0.01) for m in (5, 8, 14)])


def test_a_clip_in_the_tests_own_developer_asks_for_the_tests_time() -> None:
    """8:00 gave what 8:00 gives; the wanted contrast is that of 10:00."""
    found = clip_time(LAW, 480.0, LAW.gradient(480.0), LAW.gradient(600.0))
    assert found.time_s == pytest.approx(600.0, rel=1e-4)
    assert not found.limited


def test_a_clip_in_a_slower_developer_takes_its_speed_along() -> None:
    """8:00 gave what 6:00 should: four thirds of the time for everything."""
    found = clip_time(LAW, 480.0, LAW.gradient(360.0), LAW.gradient(480.0))
    assert found.time_s == pytest.approx(640.0, rel=1e-4)


def test_no_clip_is_trusted_for_a_leap() -> None:
    """From 1.6 times on a second one is cut."""
    found = clip_time(LAW, 300.0, LAW.gradient(300.0), LAW.gradient(840.0))
    assert found.limited
    assert found.time_s == pytest.approx(480.0)
    with pytest.raises(InputWrong):
        clip_time(LAW, 300.0, 1.2, 0.5)


def test_the_leaders_bracket_and_what_a_match_says() -> None:
    """Dead from twice the fresh time, as in the leader test."""
    assert bracket_times(20.0) == pytest.approx([12.0, 16.0, 20.0, 26.0, 34.0])
    said = list(bracket_lines(20.0, None))
    assert len(said) == len(LEADER_STEPS) + 1
    assert "0:12, 0:16, 0:20, 0:26, 0:34" in said[-1]
    assert "worn out" in "\n".join(bracket_lines(20.0, 40.0))
    assert "leave the time as it is" in "\n".join(bracket_lines(20.0, 21.0))
    assert "factor = 1.4" in "\n".join(bracket_lines(20.0, 28.0))
    assert "warmer, or stronger" in "\n".join(bracket_lines(20.0, 14.0))


def test_the_clip_is_cut_in_the_dark_and_exposure_is_not_cured_by_time() -> None:
    """What matters of the steps."""
    assert CLIP_STEPS[0].startswith("In the dark")
    assert "no time helps" in CLIP_STEPS[3]
