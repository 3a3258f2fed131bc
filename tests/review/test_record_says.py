"""What a session's record says to what was seen on the film: it may put another cause first, and says so in its own numbers."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from monitor.review.judgement import Judgement, advice
from monitor.review.load import load
from monitor.review.measures import measure
from monitor.review.next_time import next_time
from monitor.review.numbers import SessionMeasures
from monitor.review.record_says import Finding, findings, leading
from monitor.review.sights import SIGHTS
from tests.evening import FIX, STOP, Evening, develop, recipe
from tests.review.test_not_told import kept

DEMO = Path(__file__).parents[2] / "demo_logs"


@cache
def demo(number: str) -> SessionMeasures:
    """One of the demonstration evenings."""
    return measure(load(next(DEMO.glob(f"{number}-*.jsonl")))).numbers


@pytest.fixture(scope="module")
def laundry() -> SessionMeasures:
    """The cold laundry: everything was called, fixed and told."""
    return demo("01")


def changed(session: SessionMeasures, role: str, /, **fields: Any) -> SessionMeasures:
    """The session with other numbers in the stages of a role."""
    return replace(session, stages=[replace(s, **fields) if s.role == role else s for s in session.stages])


def test_movements_that_were_never_called_are_found_in_the_journal() -> None:
    """The power was gone from 4:00 to 4:24: the ten seconds of movement of minute 4 had no ticks."""
    found = findings(demo("06"))
    assert found["movement"] == Finding(True, "0:11 of the 2:09 of movement in develop were never called")
    assert leading(SIGHTS["streaks"], found) is SIGHTS["streaks"].causes[0]


def test_where_all_was_called_the_record_does_not_clear_the_hands(laundry: SessionMeasures) -> None:
    """Ticks are no movement: the likeliest cause stays the likeliest."""
    found = findings(laundry)
    assert found["movement"].bears is None
    assert "whether the hands followed" in found["movement"].says
    assert leading(SIGHTS["streaks"], found) is SIGHTS["streaks"].causes[0]


def test_drag_leads_where_the_recipe_hardly_moves_the_film(laundry: SessionMeasures) -> None:
    """A minute of an hour, as a stand recipe has it; else surge is likelier."""
    assert leading(SIGHTS["edge-marks"], findings(laundry)).cause.startswith("surge")
    stand = changed(laundry, "develop", movement_due_s=60.0, movement_missed_s=0.0, actual_s=3600.0)
    assert findings(stand)["movement"].says == "the recipe moves the film for 1:00 of the 1:00:00 of its development"
    assert leading(SIGHTS["edge-marks"], findings(stand)).cause.startswith("bromide drag")


def test_a_bath_that_rests_by_design_is_weighed_with_the_others(laundry: SessionMeasures) -> None:
    """Two baths and the water bath rest in one and move in the other: that is no stand development."""
    moved = next(s for s in laundry.stages if s.role == "develop")
    rest = replace(moved, stage=9, name="second bath", movement_due_s=10.0, movement_missed_s=0.0, actual_s=300.0)
    two = replace(laundry, stages=[moved, rest])
    assert findings(two)["movement"].bears is None
    assert findings(replace(two, stages=[rest]))["movement"].bears


@pytest.mark.parametrize(
    ("fields", "says", "bears"),
    [
        ({"end_told": True, "actual_s": 150.0, "planned_s": 240.0}, "the film was 2:30 in fix; 4:00 were planned", True),
        ({"end_told": False}, "nobody told when the film left fix: how long it was in is not known", True),
        ({"end_told": True, "actual_s": 300.0, "planned_s": 240.0}, "the film was 5:00 in the fixer, as long as planned: it may", False),
        ({"role": "wash"}, "no stage fixed the film", True),
    ],
)
def test_a_fix_that_was_short_untold_or_missing_is_said(laundry: SessionMeasures, fields: dict[str, Any], says: str, bears: bool) -> None:
    """With its times."""
    found = findings(changed(laundry, "fix", **fields))["fixing"]
    assert found.says.startswith(says)
    assert found.bears is bears


def test_a_blank_film_that_was_poured_off_at_once_is_no_dead_developer(laundry: SessionMeasures) -> None:
    """A tenth of the development, told by a tap."""
    found = findings(changed(laundry, "develop", end_told=True, done_percent=9.0))
    assert leading(SIGHTS["blank"], found).cause == "the developer was poured off almost at once"
    lines = advice(Judgement("", "s", seen=("blank",)), None, found)
    assert "the record says: development came to 9 % when the developer was left" in lines
    assert lines[-1] == "one change for next time: leave the developer in until NOW"
    assert leading(SIGHTS["blank"], findings(changed(laundry, "develop", end_told=False, done_percent=9.0))) is SIGHTS["blank"].causes[0]
    whole = findings(laundry)
    assert whole["hardly developed"] == Finding(False, "development came to 100 %")
    assert leading(SIGHTS["blank"], whole) is SIGHTS["blank"].causes[0]


def test_a_step_of_temperature_and_an_open_tray_are_said(laundry: SessionMeasures) -> None:
    """3 C between two baths is the trade's limit (common practice)."""
    stages = [replace(s, mean_c=20.0 + 8.5 * i) for i, s in enumerate(laundry.stages)]
    jump = findings(replace(laundry, stages=stages))["jump"]
    assert (jump.bears, jump.says) == (True, "the largest step of the mean between two stages was 8.5 C")
    tray = findings(demo("03"))
    assert leading(SIGHTS["scratches"], tray).cause.startswith("the corner of the next sheet")
    assert "tray" not in findings(laundry)


def test_a_restart_beside_bare_film_is_a_cause_of_fog() -> None:
    """In a tank with its lid on it is none."""
    cut = demo("06")
    assert "restart" not in findings(cut)
    bare = findings(replace(cut, vessel="open tray"))["restart"]
    assert bare.bears
    assert bare.says.startswith("the station started again at 4:24, with the film bare")
    after = replace(cut, vessel="open tray", resumes=[{**cut.resumes[0], "t_s": cut.stages[-1].actual_end_s}])
    assert "restart" not in findings(after)


def test_the_change_on_the_page_is_the_one_that_the_record_leads_to(laundry: SessionMeasures) -> None:
    """`review` and `judge` name the same change."""
    stand = changed(laundry, "develop", movement_due_s=60.0, movement_missed_s=0.0, actual_s=3600.0)
    seen = Judgement("", "s", seen=("edge-marks",))
    change = advice(seen, None, findings(stand))[-1].removeprefix("one change for next time: ")
    assert next_time(stand, [], seen) == f"{change} (the dry film: {SIGHTS['edge-marks'].seen})"


def test_a_begin_that_was_answered_late_misses_no_movement(tmp_path: Path) -> None:
    """Ticks are counted, not matched with their moments."""
    evening = Evening(recipe(develop("5:00"), STOP, FIX)).begin().to(420)
    stage = measure(kept(evening, tmp_path)).numbers.stages[0]
    assert stage.movement_due_s is not None
    assert stage.movement_missed_s <= 5.0


def reversal(laundry: SessionMeasures, **first: Any) -> SessionMeasures:
    """A reversal by the clock at 37.8 C: a first developer with these numbers, and a colour developer that went as planned."""
    by_clock: dict[str, Any] = {"rate_law": None, "steered": False, "reference_c": 37.8, "band_c": 0.3}
    by_clock |= {"below_band_s": 0.0, "above_band_s": 0.0}
    (stage,) = [s for s in laundry.stages if s.role == "develop"]
    own = replace(stage, name="first developer", planned_s=360.0, actual_s=360.0, end_told=True, mean_c=37.5, **by_clock)
    colour = replace(own, stage=own.stage + 3, name="colour developer", begin_s=900.0)
    return replace(laundry, stages=[replace(own, **first), colour])


@pytest.mark.parametrize(
    ("seen", "first", "says"),
    [
        ("slide-dark", {"below_band_s": 46.0}, "first developer was below its band for 0:46 of 6:00, at 37.5 C on average"),
        ("slide-light", {"above_band_s": 46.0}, "first developer was above its band for 0:46 of 6:00, at 37.5 C on average"),
        ("slide-dark", {"actual_s": 330.0}, "the film was 5:30 in first developer; 6:00 were planned"),
        ("slide-light", {"actual_s": 400.0}, "the film was 6:40 in first developer; 6:00 were planned"),
        ("slide-dark", {"rate_law": "arrhenius", "done_percent": 90.0}, "development in first developer came to 90 %"),
        ("slide-light", {"rate_law": "arrhenius", "done_percent": 110.0}, "development in first developer came to 110 %"),
    ],
)
def test_a_first_developer_that_was_off_comes_before_the_exposure_of_a_positive(
    laundry: SessionMeasures, seen: str, first: dict[str, Any], says: str
) -> None:
    """Less first development makes a positive darker, more of it lighter."""
    session = reversal(laundry, **first)
    found = findings(session)
    assert leading(SIGHTS[seen], found).cause.startswith("the first developer was too")
    lines = advice(Judgement("", "s", seen=(seen,)), session.stages[0], found)
    assert "the first developer was too" in lines[0]
    assert f"the record says: {says}" in lines
    assert "change for next time: hold the first developer at its temperature" in lines[-1]


@pytest.mark.parametrize(
    ("seen", "first"),
    [
        ("slide-dark", {}),
        ("slide-dark", {"below_band_s": 5.0}),
        ("slide-dark", {"above_band_s": 46.0}),
        ("slide-light", {"below_band_s": 46.0}),
        ("slide-dark", {"actual_s": 330.0, "end_told": False}),
        ("slide-dark", {"below_band_s": None, "above_band_s": None, "band_c": None}),
    ],
)
def test_a_first_developer_that_was_not_off_that_way_leaves_the_exposure_first(
    laundry: SessionMeasures, seen: str, first: dict[str, Any]
) -> None:
    """A short moment outside, the other side, or an end that nobody told says nothing."""
    assert leading(SIGHTS[seen], findings(reversal(laundry, **first))).about == "exposure"


def test_a_cold_colour_developer_says_nothing_of_the_first(laundry: SessionMeasures) -> None:
    """Density of a positive is made in the first one."""
    session = reversal(laundry)
    late = replace(session, stages=[session.stages[0], replace(session.stages[1], below_band_s=200.0)])
    assert leading(SIGHTS["slide-dark"], findings(late)).about == "exposure"


def print_of(laundry: SessionMeasures, film: str = "paper", /, **fields: Any) -> SessionMeasures:
    """A print by the clock, its developer in its band and ended as called."""
    by_clock: dict[str, Any] = {"rate_law": None, "end_told": True, "planned_s": 120.0, "actual_s": 121.0, "overrun_s": 1.0}
    by_clock |= {"below_band_s": 0.0, "above_band_s": 0.0, "mean_c": 34.2}
    return replace(changed(laundry, "develop", **(by_clock | fields)), film=film, contents="one 8x10 print", vessel="open tray")


def test_a_print_that_was_lifted_on_time_was_not_pulled(laundry: SessionMeasures) -> None:
    """A flat one is then looked for in paper and developer; one that left early was pulled."""
    on_time = print_of(laundry)
    lines = advice(Judgement("", "s", seen=("print-flat",)), None, findings(on_time))
    assert lines[0].endswith("the paper is too soft for this negative (exposure)")
    assert "the record says: the print was in develop until its end was called" in lines
    assert not any("pulled out too soon, because" in line for line in lines)
    early = findings(print_of(laundry, actual_s=90.0, overrun_s=-30.0))
    assert leading(SIGHTS["print-flat"], early).cause.startswith("pulled out too soon")
    assert early["lifted early"].says == "the print left develop 0:30 before its end was called"
    untold = findings(print_of(laundry, overrun_s=None, end_told=False))
    assert leading(SIGHTS["print-flat"], untold) is SIGHTS["print-flat"].causes[0]
    assert "lifted early" not in untold


def test_a_cold_developer_is_said_to_a_print_that_is_too_light(laundry: SessionMeasures) -> None:
    """Before more exposure is."""
    cold = findings(print_of(laundry, "colour", below_band_s=45.0, planned_s=45.0, actual_s=45.0, overrun_s=0.0))
    for seen in ("print-light", "print-flat", "print-cast"):
        lines = advice(Judgement("", "s", seen=(seen,)), None, cold)
        assert "cold" in lines[0]
        assert "the record says: develop was below its band for 0:45 of 0:45, at 34.2 C on average" in lines
    assert leading(SIGHTS["print-light"], findings(print_of(laundry))).about == "exposure"


def test_a_warm_developer_is_said_to_a_print_that_is_too_dark(laundry: SessionMeasures) -> None:
    """Before less exposure is; one in its band leaves the exposure first."""
    warm = findings(print_of(laundry, "colour", above_band_s=45.0, planned_s=45.0, actual_s=45.0, overrun_s=0.0))
    lines = advice(Judgement("", "s", seen=("print-dark",)), None, warm)
    assert "too warm" in lines[0]
    assert "the record says: develop was above its band for 0:45 of 0:45, at 34.2 C on average" in lines
    assert leading(SIGHTS["print-dark"], findings(print_of(laundry))).about == "exposure"


def test_a_colour_developer_outside_its_band_comes_before_the_light_of_a_tint(laundry: SessionMeasures) -> None:
    """The last developer of a slide makes its dyes; the first one's temperature makes density."""
    session = replace(reversal(laundry), film="colour")
    late = replace(session, stages=[session.stages[0], replace(session.stages[1], below_band_s=293.0)])
    found = findings(late)
    assert leading(SIGHTS["slide-cast"], found).cause.startswith("the colour developer was off")
    assert found["colour developer off"].says.startswith("colour developer was below its band for 4:53 of 6:00")
    assert leading(SIGHTS["slide-cast"], findings(session)).about == "exposure"
    first = replace(session, stages=[replace(session.stages[0], below_band_s=293.0), session.stages[1]])
    assert leading(SIGHTS["slide-cast"], findings(first)).about == "exposure"
    assert "colour developer off" not in findings(replace(late, film="panchromatic"))


def test_the_change_on_the_page_is_of_the_sessions_vessel(laundry: SessionMeasures) -> None:
    """`review` tips no open tray either."""
    seen = Judgement("", "s", seen=("edge-marks",))
    assert next_time(replace(laundry, vessel="open tray"), [], seen).startswith("shuffle the sheets more gently")
    assert "turn the tank over" in next_time(laundry, [], seen)
