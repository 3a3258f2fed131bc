"""The plain lines: what each record is worth."""

from __future__ import annotations

from tests.evening import FIX, STOP, develop, recipe
from tests.live.view.teller import PRINT, TRAY, Teller


def test_each_plus_minus_in_the_lines_is_two_standard_deviations() -> None:
    """One per cent of 5:00 and 4 s of standard deviation."""
    told = Teller()
    told.begin(1, 0.0)
    told.progress(30.0)
    told.progress(61.0)
    assert told.said("4 min left: developer 20.00 C +/- 0.20 C")
    assert told.said("done 50.0 % +/- 2.0 %; end 5:00 +/- 8 s")


def test_a_begin_says_whether_anybody_told_it() -> None:
    """The next one was told."""
    told = Teller()
    told.begin(1, 0.0)
    told.begin(2, 300.0, assumed=True)
    assert told.said("DEVELOP begins: ")
    assert told.said("STOP begins (assumed: no tap said so): ")


def test_a_correction_is_said() -> None:
    """With the begin that counts."""
    told = Teller()
    told.begin(1, 0.0)
    assumed = told.begin(2, 300.0, assumed=True)
    told.tell("correction", 310.0, stage=2, begin_t_s=310.0, replaces_seq=assumed)
    assert told.said("the begin of stage 2")
    assert told.said("5:10")


def test_what_is_wrong_with_the_tool_or_the_station_is_said() -> None:
    """With the part and the reason."""
    told = Teller()
    told.tell("fault", 10.0, why="the player has stopped")
    told.tell("trouble", 11.0, part="journal", why="the disk is full")
    assert told.said("the tool: the player has stopped")
    assert told.said("journal: the disk is full")


def test_a_program_that_is_back_says_so_and_whether_the_time_can_be_trusted() -> None:
    """After a loss of power nobody knows how long it was gone."""
    told = Teller()
    told.tell("session", 10.0, event="resume", gap_s=2.0, same_boot=True, spread_s=0.0)
    assert told.lines[-1].endswith("taken up again")
    told.tell("session", 90.0, event="resume", gap_s=None, same_boot=False, spread_s=15.0)
    assert told.said("count on the second clock")


def test_a_gate_that_was_overridden_is_said_with_its_reason() -> None:
    """One that opens has none."""
    told = Teller()
    told.tell("gate", 10.0, state="overridden", why="it is late")
    assert told.said("gate overridden by you; your reason stands in the journal: it is late")


def test_a_fault_that_sounded_is_said_with_its_reason() -> None:
    """What the ear heard has a name."""
    told = Teller()
    told.tell("cue", 10.0, cue="fault", why="jug: no reading for 15 s")
    assert told.said("sounded FAULT: jug: no reading for 15 s")


def test_now_is_said_once_for_each_film() -> None:
    """Its repeats are not; the next sheet's is."""
    told = Teller(TRAY)
    told.begin(1, 0.0, sheet=1)
    told.begin(1, 20.0, sheet=2)
    for t_s, sheet in ((285.0, 1), (287.4, 1), (305.0, 2), (307.4, 2)):
        told.tell("cue", t_s, cue="now", sheet=sheet)
    assert len([line for line in told.lines if "sounded NOW" in line]) == 2


def test_a_print_asks_for_a_tap_until_its_first_trace_is_told() -> None:
    """On the lines and on the screen: what to do, how long at most, and then when it is done."""
    told = Teller(PRINT)
    told.begin(1, 0.0)
    assert told.said("TAP when the first trace appears; at most 5:00")
    told.progress(2.0, done_ref_s=2.0)
    screen = told.screen()
    assert "APPEARS" in screen
    assert "NOW comes at that time x 6" in screen
    told.tell("tap", 20.0, meaning="appeared")
    told.tell("appeared", 20.0, stage=1, appearance_ref_s=20.0, target_ref_s=120.0)
    told.progress(22.0, done_ref_s=22.0, target_ref_s=120.0, end_t_s=120.0)
    assert told.said("the first trace was told; done at 2:00 of development")
    assert "APPEARS" not in told.screen()


def test_a_stage_by_the_clock_has_no_per_cent() -> None:
    """A share of the time is no development: 2 min left, and no more."""
    told = Teller(recipe(develop("5:00", "steer = false"), STOP, FIX))
    told.begin(1, 0.0)
    told.progress(170.0)
    told.progress(185.0)
    assert told.said("min left: developer 20.00 C")
    assert not told.said("done 50")


def test_a_print_in_a_tray_is_laid_in_and_lifted_out() -> None:
    """Nothing is poured there: neither on the screen nor in the lines."""
    told = Teller(PRINT)
    told.see(0.0, stage=None, name=None, role=None, began_s=None, end_t_s=None, waits_for=1)
    assert "LAY IT IN DEVELOP" in told.screen()
    told.begin(1, 0.0)
    told.see(200.0)
    assert "to LIFT IT OUT" in told.screen()
    told.moment(1, "ready", 265.0, now_t_s=295.0, end_t_s=300.0)
    told.tell("cue", 295.0, cue="now")
    assert told.said("READY, DEVELOP: lift it out at 4:55.0")
    assert told.said("sounded NOW: lift it out")


def test_an_open_tank_is_not_poured_off_either() -> None:
    """What hangs in it is lowered in and lifted out."""
    told = Teller(recipe(develop("5:00"), STOP, FIX, vessel="open tank"))
    told.see(0.0, stage=None, name=None, role=None, began_s=None, end_t_s=None, waits_for=1)
    assert "LOWER IT IN DEVELOP" in told.screen()
    told.begin(1, 0.0)
    told.see(200.0)
    assert "to LIFT IT OUT" in told.screen()


def test_paper_is_loaded_as_paper() -> None:
    """Into a drum."""
    told = Teller(recipe('name = "load"\nrole = "load"', develop("5:00"), FIX, film="paper", vessel="drum"))
    told.see(0.0, stage=None, name=None, role=None, began_s=None, end_t_s=None, waits_for=1)
    assert "LOAD the paper" in told.screen()


def test_a_minimum_is_not_called_what_is_left_of_a_bath() -> None:
    """Film may stay in longer: the minutes count to the minimum."""
    told = Teller()
    told.begin(3, 0.0)
    for left_s in (290.0, 239.0, 170.0):
        told.see(300.0 - left_s, stage=3, name="fix", role="fix", until="at least", steered=False, target_ref_s=300.0)
        told.reading(300.0 - left_s, 20.0)
    assert told.said("min to the minimum of fix")
    assert not told.said("min left in fix")
