"""The leader test: from twice the fresh time the start is withheld."""

from __future__ import annotations

import pytest

from monitor.core.errors import InputWrong
from monitor.prepare.bottles.leader import leader_lines, leader_test


@pytest.mark.parametrize(("today_s", "withhold"), [(20.0, False), (39.9, False), (40.0, True), (300.0, True)])
def test_twice_the_fresh_time_is_dead(today_s: float, withhold: bool) -> None:
    """Fresh 20 s."""
    assert leader_test(20.0, today_s).withhold is withhold


def test_a_dead_developer_is_told_with_the_commonest_cause() -> None:
    """A forgotten second part."""
    text = " ".join(leader_lines(leader_test(20.0, 60.0)))
    assert "withheld" in text
    assert "second part" in text
    assert "weak" in leader_lines(leader_test(20.0, 30.0))[0]
    assert "weak" not in leader_lines(leader_test(20.0, 29.9))[0]


def test_no_time_is_no_test() -> None:
    """Zero seconds are refused."""
    with pytest.raises(InputWrong):
        leader_test(0.0, 20.0)
    with pytest.raises(InputWrong):
        leader_test(20.0, 0.0)
