"""The words of a view: what a figure carries with it."""

from __future__ import annotations

import pytest

from monitor.core.journal.snapshot import Snapshot
from monitor.live.view import words
from monitor.live.view.state import LastReading


@pytest.mark.parametrize(
    ("sd_c", "said"), [(0.05, "+/- 0.10 C"), (0.29, "+/- 0.58 C"), (0.001, "+/- 0.01 C"), (0.0001, "+/- 0.01 C"), (0.051, "+/- 0.11 C")]
)
def test_a_doubt_is_two_standard_deviations_rounded_up(sd_c: float, said: str) -> None:
    """None is ever shown as none."""
    assert words.doubt(sd_c) == said


@pytest.mark.parametrize(("left_s", "said"), [(0.0, "0:00"), (0.2, "0:01"), (59.0, "0:59"), (59.1, "1:00"), (-3.0, "0:00")])
def test_time_left_is_rounded_up_so_that_none_left_is_the_moment_itself(left_s: float, said: str) -> None:
    """Whole seconds."""
    assert words.left(left_s) == said


def test_a_reading_has_the_probes_own_step_in_its_doubt_and_says_how_old_it_is() -> None:
    """A step of 0.0625 C is 0.018 C of standard deviation beside the comparison's 0.05 C."""
    assert words.reading("bowl", LastReading("bath", "good", 19.5, 10.0), 0.05, 40.0) == (
        "19.50 C +/- 0.11 C",
        'probe "bowl", 30 s ago',
    )


def test_a_probe_that_has_gone_bad_keeps_its_last_figure_and_says_why() -> None:
    """One that never read anything has none."""
    told = words.reading("bowl", LastReading("bath", "crc", 19.5, 10.0), 0.05, 145.0)
    assert told == ("19.50 C +/- 0.11 C", 'probe "bowl", 2:15 ago; it cannot be read')
    assert words.reading("bowl", LastReading("bath", "missing", None, 10.0), 0.05, 40.0) == (
        "not known",
        'probe "bowl"; it is not on the bus',
    )


def test_the_developers_figure_says_where_it_is_from() -> None:
    """A measured one with its age; an estimated one with the age of the probe that is silent."""
    seen = Snapshot(t_s=60.0, stages=1, developer_c=20.0, developer_sd_c=0.1, developer_age_s=3.0, source="developer")
    assert words.developer(seen) == ("20.00 C +/- 0.20 C", "probe in the developer, 3 s ago")
    model = Snapshot(t_s=60.0, stages=1, developer_c=20.0, developer_sd_c=0.1, developer_age_s=90.0, source="vessel model")
    assert words.developer(model, "room")[1] == "estimated from the room; own probe 1:30 ago"
    assert words.developer(Snapshot(t_s=60.0, stages=1)) == ("not known", "")
