"""The summary at the end of a session: what each figure means."""

from __future__ import annotations

import re
from typing import Any

from monitor.core.journal.summary import Summary


def told(*records: dict[str, Any], compared: bool = True) -> str:
    """A session of one steered stage of 5:00 that begins at 0, with these records in it, closed at 5:10."""
    opening = {"t_s": 0.0, "kind": "session", "event": "open", "name": "roll", "mode": "live", "compared": compared, "recipe": {}}
    begin = {"t_s": 0.0, "kind": "stage", "stage": 1, "name": "develop", "event": "begin", "role": "develop", "steered": True}
    close = {"t_s": 310.0, "kind": "session", "event": "close", "why": "finished"}
    summary = Summary()
    for seq, record in enumerate((opening, begin | {"target_ref_s": 300.0}, *records, close), 1):
        summary.add({"seq": seq, **record})
    return "\n".join(summary.lines())


def progress(t_s: float, **more: Any) -> dict[str, Any]:
    """Half done with 1 % of standard deviation, at the reference."""
    fields = {"developer_c": 20.0, "developer_sd_c": 0.1, "age_s": 1.0, "done_ref_s": 150.0, "target_ref_s": 300.0, "done_sd_ref_s": 3.0}
    return {"t_s": t_s, "kind": "progress", "stage": 1, **fields, "end_t_s": 300.0, "end_sd_s": 1.0, "source": "developer", **more}


def cue(t_s: float) -> dict[str, Any]:
    """A FAULT."""
    return {"t_s": t_s, "kind": "cue", "cue": "fault", "why": "jug: no reading"}


def test_plus_minus_is_two_standard_deviations() -> None:
    """And says so."""
    assert "development done 50.0 % +/- 2.0 (two standard deviations);" in told(progress(100.0))


def test_a_probe_that_was_not_compared_is_said_to_be() -> None:
    """Beside what hangs on it."""
    assert "(two standard deviations), probe not compared;" in told(progress(100.0), compared=False)


def test_the_mean_is_weighted_by_time_and_the_extremes_are_told() -> None:
    """Two seconds at 22 C and 98 s at 20 C."""
    said = told(progress(2.0, developer_c=22.0), progress(100.0, developer_c=20.0))
    assert "developer 20.0 C on average, 20.0 C to 22.0 C; all of it measured." in said


def test_seconds_without_a_probe_are_told() -> None:
    """Whatever stood in."""
    said = told(*(progress(t, source=s) for t, s in ((60.0, "developer"), (90.0, "vessel model"), (120.0, "held"), (150.0, "clock"))))
    assert "1:30 of it estimated." in said
    assert "all of it measured" in told(progress(60.0, source="witness"))


def test_a_wait_for_the_first_readings_is_not_told_as_estimated() -> None:
    """They are used backwards. A longer one is told, and one in which the temperature was held from before, and one in the middle."""

    def estimated(*sources: tuple[float, str]) -> bool:
        return "of it estimated." in told(*(progress(t_s, source=source) for t_s, source in sources))

    assert not estimated((2.0, "clock"), (4.0, "vessel model"), (6.0, "developer"))
    assert estimated((2.0, "clock"), (6.0, "clock"), (8.0, "developer"))
    assert estimated((2.0, "held"), (4.0, "developer"))
    assert estimated((2.0, "developer"), (4.0, "clock"), (6.0, "developer"))
    assert estimated((2.0, "clock"))


def test_an_end_that_moved_is_told_with_its_direction() -> None:
    """From the begin and the time of the recipe."""
    end = {"kind": "stage", "stage": 1, "name": "develop", "event": "end"}
    assert "planned 5:00, took 5:10.0; end moved 8 s later." in told({"t_s": 308.0, **end})
    assert "end moved 12 s earlier." in told({"t_s": 288.0, **end})


def test_an_end_that_did_not_move_is_not_said_to_be_earlier() -> None:
    """Nor "0 s later"."""
    end = {"kind": "stage", "stage": 1, "name": "develop", "event": "end"}
    assert "the end did not move." in told({"t_s": 300.0, **end})
    assert "the end did not move." in told({"t_s": 299.7, **end})


def test_a_band_that_was_left_is_told_with_whether_it_was_verified() -> None:
    """Below, above, and of how long."""
    band = {"t_s": 300.0, "kind": "band", "stage": 1, "event": "summary", "below_s": 30.0, "above_s": 0.0, "outside_s": 30.0}
    band |= {"watched_s": 300.0, "mean_c": 19.7, "lowest_c": 19.0, "highest_c": 20.0, "compared": False}
    said = told(progress(100.0), band)
    assert "(a review recounts from all readings): mean 19.7 C, 0:30 of 5:00 below, 0:00 above, not verified (probe not compared)." in said
    assert "outside its band, as believed at the time" in said
    assert "outside" not in told(progress(100.0), band | {"outside_s": 0.0, "below_s": 0.0})


def test_changes_of_trust_and_a_law_outside_its_data_are_told_with_their_time() -> None:
    """A gain is not: the loss before it was."""
    trust = {"kind": "trust", "probe": "jug"}
    said = told(
        {"t_s": 70.0, **trust, "believed": False, "why": "in air", "since_t_s": 65.0, "source": "held"},
        {"t_s": 90.0, **trust, "believed": True, "why": "agrees again", "since_t_s": 85.0},
        {"t_s": 95.0, **trust, "believed": True, "why": "outside data: 25.0 C", "since_t_s": 95.0},
    )
    assert "At 1:05 jug not believed: in air." in said
    assert "At 1:35 outside data: 25.0 C." in said
    assert "agrees again" not in said


def test_what_was_found_of_a_probe_is_told_in_one_sentence_each() -> None:
    """With its time; that of an exchange is when it was found out. A bath's probe is told when it is put back, too."""
    trust = {"kind": "trust", "probe": "jug", "source": "developer"}
    below = "bath and vessel's lag put the developer 0.3 C below what this probe reads"
    said = told(
        {"t_s": 20.0, **trust, "believed": True, "why": "moves in steps of 0.25 C; and so on", "since_t_s": 20.0},
        {"t_s": 75.0, **trust, "believed": True, "why": "dry until 8 s after the begin; its readings count from there", "since_t_s": 8.0},
        {"t_s": 80.0, **trust, "believed": True, "why": f"in part only: {below}", "since_t_s": 80.0},
        {"t_s": 160.0, **trust, "believed": True, "why": "whole again: the bath agrees", "since_t_s": 100.0},
        {"t_s": 170.0, **trust, "believed": False, "why": "exchanged with bowl: and so on", "since_t_s": 1.0},
        {"t_s": 180.0, **trust, "believed": False, "why": "the developer does not follow it: so", "since_t_s": 175.0, "loss": False},
        {"t_s": 250.0, **trust, "believed": True, "why": "for 30 s where its bath must be", "since_t_s": 220.0},
    )
    assert [line for line in said.splitlines() if line.startswith("At ")] == [
        "At 0:20 jug moves in steps of 0.25 C; and so on.",
        "At 0:08 jug dry until 8 s after the begin; its readings count from there.",
        f"At 1:20 jug counts in part only: {below}.",
        "At 1:40 jug counts whole again: the bath agrees.",
        "At 2:50 jug exchanged with bowl: and so on.",
        "At 2:55 jug not believed: the developer does not follow it: so; put it back into the bath.",
        "At 3:40 jug believed again: for 30 s where its bath must be.",
    ]


def test_each_fault_is_told_with_its_moment_and_its_reason() -> None:
    """The reason of a record that has one."""
    assert "FAULT at 0:10." in told(cue(10.0) | {"why": None})
    said = told(cue(10.0), cue(80.0), cue(150.0))
    assert said.count("FAULT at ") == 3
    assert "FAULT at 1:20: jug: no reading." in said
    assert "FAULT" not in told()


def test_what_the_power_cut_hides_stands_in_the_development_done() -> None:
    """A minute that may or may not have passed is no part of a standard deviation."""
    cut = {"t_s": 40.0, "kind": "session", "event": "resume", "gap_s": None, "same_boot": False, "spread_s": None}
    cut |= {"counted_s": 20.0, "least_s": 20.0, "most_s": 80.0}
    said = told(progress(20.0), cut, progress(60.0))
    assert re.search(r"development done \d+ % to \d+ %", said), said
    assert "+/-" not in said.split("development done")[1].split(";")[0]


def test_a_stage_that_may_last_longer_is_told_by_its_minimum() -> None:
    """Its time is a least one, not a planned one."""
    said = told({"t_s": 300.0, "kind": "stage", "stage": 1, "name": "develop", "event": "minimum"})
    assert "at least 5:00" in said
    assert "planned 5:00" not in said


def test_each_stage_tells_its_own_band_and_no_other() -> None:
    """The first developer was 30 s below its band; the colour developer was never outside its own."""
    second = {"t_s": 310.0, "kind": "stage", "stage": 2, "name": "colour developer", "event": "begin", "role": "develop", "steered": False}
    band = {"t_s": 300.0, "kind": "band", "stage": 1, "event": "summary", "below_s": 30.0, "above_s": 0.0, "outside_s": 30.0}
    band |= {"watched_s": 300.0, "mean_c": 19.7, "lowest_c": 19.0, "highest_c": 20.0, "compared": True}
    inside = band | {"t_s": 610.0, "stage": 2, "below_s": 0.0, "outside_s": 0.0}
    said = told(progress(300.0), band, second | {"target_ref_s": 300.0}, progress(600.0) | {"stage": 2}, inside)
    first, _, colour = said.partition("colour developer:")
    assert "mean 19.7 C, 0:30 of 5:00 below" in first
    assert "outside" not in colour


def test_a_fault_in_a_later_stage_is_told_on_the_clock_of_session_and_stage() -> None:
    """A review counts from the stage, and the two times look like two FAULTs."""
    second = {"t_s": 182.0, "kind": "stage", "stage": 2, "name": "first developer", "event": "begin", "role": "develop", "steered": False}
    said = told(second | {"target_ref_s": 360.0}, cue(506.0))
    assert "FAULT at 8:26 of the session, 5:24 into first developer: jug: no reading." in said
