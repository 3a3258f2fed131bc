"""Which FAULTs stand, with their reason and what to do; and that nothing is claimed where nothing was measured."""

from __future__ import annotations

import pytest

from monitor.core.journal.snapshot import Snapshot
from monitor.live.view import words
from monitor.live.view.faults import DO
from tests.evening import STOP, develop, recipe
from tests.live.view.teller import Teller

TWICE = recipe(develop("5:00", 'band = "0.15 C"\nsteer = false'), develop("4:00").replace('"develop"', '"again"', 1), STOP)


def standing(told: Teller) -> list[tuple[str, str]]:
    """Reason and what to do of each FAULT that stands."""
    return [(fault.why, fault.do) for fault in told.watched.state.faults]


def lose(told: Teller, t_s: float, probe: str = "jug", why: str = "in air", source: str = "held") -> None:
    """A probe is believed no more, and FAULT sounds."""
    told.tell("trust", t_s, probe=probe, believed=False, why=why, since_t_s=t_s - 5.0, source=source)
    told.tell("cue", t_s, cue="fault", why=f"{probe}: {why}")


def test_a_fault_about_a_probe_stands_until_it_is_believed_again() -> None:
    """With its reason and what to do, on the screen and in the lines."""
    told = Teller()
    told.begin(1, 0.0)
    lose(told, 60.0)
    assert standing(told) == [("jug: in air", DO["probe"])]
    assert told.said("sounded FAULT: jug: in air. Go on as called. Watch the second clock too.")
    told.tell("trust", 120.0, probe="jug", believed=True, why="agrees", since_t_s=110.0, source="developer")
    assert standing(told) == []
    told.tell("trust", 130.0, probe="jug", believed=False, why="no reading", since_t_s=125.0, source="held")
    assert standing(told) == [("jug: no reading", DO["probe"])], "whose FAULT waits for its minute"


def test_what_moves_nothing_any_more_is_no_fault() -> None:
    """When the last development is over a probe out of its liquid is as it should be."""
    told = Teller()
    told.begin(1, 0.0)
    lose(told, 60.0)
    told.begin(2, 300.0)
    assert standing(told) == []


def test_a_view_that_came_late_shows_the_fault_it_did_not_hear() -> None:
    """From the snapshot alone; without a time."""
    told = Teller()
    told.see(100.0, lost={"jug": "no reading"})
    (fault,) = told.watched.state.faults
    assert (fault.t_s, fault.why) == (None, "jug: no reading")


@pytest.mark.parametrize(("celsius", "do"), [(19.6, "Warm the bath"), (20.4, "Cool the bath")])
def test_a_band_that_was_left_says_which_way_the_bath_must_go(celsius: float, do: str) -> None:
    """Until the next stage begins."""
    told = Teller(TWICE)
    told.begin(1, 0.0)
    told.tell("band", 20.0, stage=1, event="left", celsius=celsius, reference_c=20.0, band_c=0.15)
    why = f"developer {celsius:.2f} C, wanted 20 within 0.15 C, outside for 16 s"
    told.tell("cue", 36.0, cue="fault", why=why)
    assert standing(told)[0][0] == why
    assert standing(told)[0][1].startswith(do)
    told.begin(2, 300.0)
    assert standing(told) == []


def test_a_stuck_switch_stands_until_it_opens_and_a_power_cut_to_the_end() -> None:
    """And the newest is the last."""
    told = Teller()
    told.begin(1, 0.0)
    told.tell("switch", 20.0, event="stuck", since_t_s=10.0)
    told.tell("cue", 20.0, cue="fault", why="the foot switch has been closed for 10 s and is ignored until it opens")
    told.tell("session", 90.0, event="resume", gap_s=None, same_boot=False, spread_s=None)
    told.tell("cue", 90.0, cue="fault", why="the power was gone; nobody knows for how long: count on the second clock")
    assert [do for _, do in standing(told)] == [DO["switch"], DO["power"]]
    told.tell("tap", 95.0, meaning="mark")
    told.begin(2, 300.0)
    assert [do for _, do in standing(told)] == [DO["power"]]


def test_data_that_do_not_reach_so_far_are_a_fault_until_they_do() -> None:
    """And what the tool says of itself stands to the end."""
    told = Teller()
    told.begin(1, 0.0)
    why = "outside data: 12.5 C, the recipe's data go from 16 C to 24 C"
    told.tell("trust", 3.0, probe="developer", believed=True, why=why, since_t_s=3.0, source="developer")
    told.tell("cue", 3.0, cue="fault", why=why)
    told.tell("fault", 80.0, why="the foot switch is no longer read")
    told.tell("cue", 80.0, cue="fault", why="the foot switch is no longer read")
    assert [do for _, do in standing(told)] == [DO["data"], DO["tool"]]
    told.tell("trust", 90.0, probe="developer", believed=True, why="inside data again", since_t_s=90.0, source="developer")
    assert [do for _, do in standing(told)] == [DO["tool"]]


def test_where_nothing_was_measured_no_figure_pretends_to_be_one() -> None:
    """The end lies between two times and the development is not known; a rate that does not steer is a clock, and exact."""
    seen = Snapshot(
        t_s=60.0, stages=1, stage=1, steered=True, began_s=0.0, end_t_s=660.0, end_sd_s=181.5, frozen=True, source="clock",
        done_ref_s=500.0, done_sd_ref_s=130.0, target_ref_s=600.0,
    )  # fmt: skip
    assert words.end(seen) == "between 4:57 and 17:03, counted 11:00: nothing measured the developer"
    assert words.done(seen) == "not known"
    told = Teller()
    told.begin(1, 30.0)
    for t_s in (32.0, 150.0, 172.0, 212.0, 272.0):
        told.progress(t_s, source="clock", end_t_s=330.0, end_sd_s=75.0)
    assert told.said("done not known; end between 3:00 and 8:00"), told.lines


def test_past_the_longest_time_of_a_stage_the_lines_say_so() -> None:
    """NOW sounds there: the film must come out."""
    told = Teller()
    told.begin(3, 360.0)
    told.tell("cue", 360.0 + 726.0, cue="now")
    assert told.said("sounded NOW: LIMIT PASSED 0:06: take it out")


def test_the_first_plus_minus_of_the_lines_says_what_it_is() -> None:
    """And no other."""
    told = Teller()
    told.begin(1, 0.0)
    for t_s in (2.0, 62.0, 122.0, 182.0):
        told.progress(t_s)
    assert sum("two standard deviations" in line for line in told.lines) == 1
    assert "+/- 0.20 C (two standard deviations)" in next(line for line in told.lines if "+/-" in line)
