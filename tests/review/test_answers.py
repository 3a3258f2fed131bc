"""The first screen: result and five rows, in the words of one who was there."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from monitor.review.answers import Answers, answers, short_text
from monitor.review.load import load
from monitor.review.measures import measure
from monitor.review.numbers import Doubted, SessionMeasures
from tests.review.journals import Fault, play, recipe_data

DEMOS = Path(__file__).parents[2] / "demo_logs"
AIR = "developer, reading fell 6.1 C a minute, like a probe in air"


@cache
def demo(number: str) -> SessionMeasures:
    """The numbers of a demo journal."""
    (path,) = DEMOS.glob(f"{number}-*.jsonl")
    return measure(load(path)).numbers


def told(tmp_path: Path, *args: Any, **options: Any) -> Answers:
    """The answers of a played session."""
    return answers(measure(load(play(*args, **options).write(tmp_path / "s.jsonl"))).numbers)


@pytest.mark.parametrize(
    ("number", "result", "row", "says"),
    [
        ("01", "100.0 %", "Time", "11:37, plan 11:00: 37 s longer, as it cooled 1.7 C; outside its band of 0.5 C for 5:48"),
        ("01", "100.0 %", "Hands", "poured on time (you tapped)"),
        ("01", "100.0 %", "Estimated", "nothing"),
        ("01", "100.0 %", "Next time", "start developer and bath 0.6 C warmer to finish in 11:00, or plan 11:37"),
        ("02", "100.0 %", "Estimated", f"3:16 of 11:37, from 6:18 to 9:34: {AIR}; the vessel's learned lag stood in"),
        ("02", "100.0 %", "Next time", 'fasten the probe "developer" where no hand lifts it: from 6:05 it read like one in air'),
        ("03", "100.0 %", "Time", "7:35 to 7:39, plan 8:00: 21 to 25 s shorter, as it warmed 0.9 C"),
        ("04", "3:15", "Time", "3:15, as planned by the clock"),
        ("04", "3:15", "Verified", "no: the probe was never compared, +/- 0.58 C"),
        ("04", "3:15", "Next time", "compare the probe first (evenbath compare): +/- 0.58 C is wider than the band of 0.15 C"),
        ("05", None, "Estimated", "all of it: developer, no reading for 6 s since the start; the vessel's learned lag stood in"),
        ("06", "98 to 145 %", "Time", "between 11:37 and 16:37, counted 11:37, plan 11:00: the power was gone"),
    ],
)
def test_the_demo_evenings_are_answered(number: str, result: str | None, row: str, says: str) -> None:
    """Each row alone."""
    found = answers(demo(number))
    assert found.result == (result or found.result)
    assert dict(found.rows)[row] == says


def test_there_are_five_rows_in_one_order_and_one_more_where_fault_sounded() -> None:
    """The eye finds them where they were last time."""
    for number, sounded in (("01", False), ("02", True), ("03", False), ("04", True), ("06", True)):
        more = ["FAULT"] if sounded else []
        assert [name for name, _ in answers(demo(number)).rows] == ["Time", "Hands", *more, "Estimated", "Verified", "Next time"]


def test_a_session_that_was_ended_early_says_so_before_anything_else(tmp_path: Path) -> None:
    """Where, what the film never saw, and why; one that finished says nothing of it."""
    made = play(recipe_data(time="6:00"), lambda _: 20.0)
    fix_s = next(r["t_s"] for r in made.records if r.get("event") == "begin" and r["stage"] == 4)
    cut = [r for r in made.records if r["t_s"] < fix_s and r.get("event") != "close"]
    close = next(r for r in made.records if r.get("event") == "close")
    made.records = [*cut, {**close, "seq": len(cut) + 1, "t_s": fix_s, "why": "lid came off"}]
    found = answers(measure(load(made.write(tmp_path / "cut.jsonl"))).numbers)
    assert found.rows[0] == ("Ended", "early, in stop; never begun: fix: lid came off")
    assert "Ended" not in dict(answers(demo("01")).rows)


STUCK = Doubted("developer stuck at 19.3 C, then 1.00 C below that at once", 120.0, 180.0, "developer", "left out", 60.0)
DRIFTS = Doubted("developer drifts, by the end it is 2.0 C below what the bath says", 81.0, 900.0, "developer", "corrected", 200.0)


@pytest.mark.parametrize(
    ("doubted", "says"),
    [
        ([STUCK], "left out 2:00 to 3:00 (developer stuck at 19.3 C, then 1.00 C below that at once)"),
        ([DRIFTS], "corrected 1:21 to 11:37 (developer drifts, by the end it is 2.0 C below what the bath says)"),
        ([replace(DRIFTS, from_s=0.0, what="each other's liquid; as told")], "corrected all of it (each other's liquid)"),
        ([replace(STUCK, believed_s=2.0)], None),
        ([replace(STUCK, probe="bath")], None),
        ([replace(STUCK, from_s=700.0, to_s=720.0)], None),
        (
            [replace(STUCK, what=str(n)) for n in range(5)],
            "left out 2:00 to 3:00 (0); left out 2:00 to 3:00 (1); left out 2:00 to 3:00 (2); 2 more",
        ),
    ],
)
def test_what_hindsight_has_changed_has_a_row(doubted: list[Doubted], says: str | None) -> None:
    """Only what live had believed of the developer, in a stage that develops: what it lost itself is told already."""
    found = answers(replace(demo("01"), doubted=doubted))
    assert dict(found.rows).get("Afterwards") == says
    if says is not None:
        assert [name for name, _ in found.rows] == ["Time", "Hands", "Estimated", "Afterwards", "Verified", "Next time"]


def test_the_row_of_fault_says_when_and_why() -> None:
    """On the clock of the stage."""
    assert dict(answers(demo("04")).rows)["FAULT"] == "at 0:44, developer 37.58 C, wanted 37.8 within 0.15 C, outside for 16 s"
    assert dict(answers(demo("02")).rows)["FAULT"].startswith("at 6:19, developer: reading fell")


def test_after_a_power_cut_nobody_is_said_to_have_been_on_time() -> None:
    """The tap is known, the moment is not."""
    assert dict(answers(demo("06")).rows)["Hands"] == "poured at the counted end; when that really was nobody knows"


def test_the_mean_temperature_stands_beside_the_result() -> None:
    """And from where to where it went."""
    assert answers(demo("01")).under == "of the wanted development, at 19.4 C on average (18.3 to 20.0)"


def test_the_doubt_of_the_result_is_two_standard_deviations() -> None:
    """Of the widest of several sheets; beside a bracket there is none."""
    for number in ("01", "05"):
        assert answers(demo(number)).doubt == f"+/- {2.0 * (demo(number).stages[0].done_sd_percent or 0.0):.1f}"
    assert {answers(demo(number)).doubt for number in ("04", "06")} == {""}


def test_late_hands_are_told_with_what_they_cost(tmp_path: Path) -> None:
    """And the end that moved is told apart from them."""
    rows = dict(told(tmp_path, recipe_data(), lambda t: 20.5 - 0.0021 * t, late_s={3: 20.0}).rows)
    assert re.fullmatch(r"20 s late: 2\.\d % more \(you tapped\)", rows["Hands"])
    assert re.search(r"4\d s longer: 2\d s as it cooled 1\.\d C, 20 s by a late pour", rows["Time"])
    early = dict(told(tmp_path, recipe_data(), lambda t: 20.5 - 0.0021 * t, late_s={3: -10.0}).rows)
    assert re.search(r"1\d s longer: 2\d s longer as it cooled 1\.\d C, 10 s shorter by an early pour", early["Time"])


@pytest.mark.parametrize(
    ("late_s", "says"), [(20.0, "20 s by lifting late"), (-10.0, "10 s shorter by lifting early"), (0.0, "lifted on time")]
)
def test_what_lies_in_a_tray_is_lifted_and_not_poured(tmp_path: Path, late_s: float, says: str) -> None:
    """In every row."""
    rows = told(tmp_path, recipe_data() | {"vessel": "open tray"}, lambda t: 20.5 - 0.0021 * t, late_s={3: late_s}).rows
    said = " | ".join(words for _, words in rows)
    assert says in said
    assert "pour" not in said


@pytest.mark.parametrize(
    ("liquid", "why"),
    [
        (lambda t: 20.2 - 0.0015 * t, r"longer, as it cooled 1\.\d C"),
        (lambda t: 19.4 - 0.0012 * t, r"longer, at 1\.\d C below 20 C on average \(19\.\d to 18\.\d\)"),
        (lambda t: 21.4 - 0.0012 * t, r"shorter, at 1\.\d C above 20 C on average \(21\.\d to 20\.\d\)"),
        (lambda t: 19.8 + 0.0015 * t, r"shorter, as it warmed 1\.\d C"),
        (lambda _: 19.5, r"longer, at 0\.5 C below 20 C"),
    ],
)
def test_the_reason_for_a_moved_end_is_what_moved_it(tmp_path: Path, liquid: Callable[[float], float], why: str) -> None:
    """Cooling makes nothing shorter, and a developer that was cold from the start is not late for having cooled a little more."""
    rows = dict(told(tmp_path, recipe_data(), liquid).rows)
    assert re.search(rf"{why}(?:; outside its band of 0\.5 C for \d+:\d\d)?$", rows["Time"]), rows["Time"]


def test_the_time_outside_the_band_is_told_where_temperature_moved_the_end_too() -> None:
    """A colour stage has it beside its result, since no time makes it good; here it stands with what it did to the time."""
    assert "outside its band" in dict(answers(demo("01")).rows)["Time"]
    assert "outside its band" not in dict(answers(demo("04")).rows)["Time"]
    assert "outside its band for 2:50" in answers(demo("04")).under


def test_a_film_of_an_evening_says_which_it_was() -> None:
    """In the first line; the record's own number and vessel. A recipe alone is no film of many."""
    assert "Roll film, two tanks, film 2 of 4, right vessel (rehearsal, no film): " in short_text(demo_film("2"))
    assert "film 1 of" not in short_text(demo("01"))


def demo_film(number: str) -> SessionMeasures:
    """The numbers of a film of the demo evening with two tanks."""
    return measure(load(DEMOS / f"07-two-tanks-{number}.jsonl")).numbers


def test_a_probe_compared_says_when_and_against_what(tmp_path: Path) -> None:
    """In the row that asks for it."""
    rows = dict(told(tmp_path, recipe_data(time="5:00"), lambda _: 20.0).rows)
    assert rows["Verified"] == "probe compared 2026-02-20, against glass thermometer 3, +/- 0.20 C"
    assert rows["Time"] == "5:00, as planned"
    assert rows["Next time"] == "nothing to change"


def test_two_developing_stages_are_told_by_their_names(tmp_path: Path) -> None:
    """Where they differ."""
    data = recipe_data(time="5:00")
    data["stage"].insert(2, {**data["stage"][1], "name": "second developer", "time": "3:00"})
    rows = dict(told(tmp_path, data, lambda _: 20.0).rows)
    assert rows["Time"] == "develop: 5:00, as planned; second developer: 3:00, as planned"
    assert rows["Hands"] == "poured on time (you tapped)"


def test_in_a_terminal_it_is_a_line_and_five_rows_and_the_solution_where_it_is_known(tmp_path: Path) -> None:
    """The doubt in words beside the first."""
    made = play(recipe_data(), lambda t: 20.5 - 0.0021 * t, faults=[Fault("air", 425.0, 605.0)])
    lines = short_text(measure(load(made.write(tmp_path / "s.jsonl"))).numbers).splitlines()
    assert [line.split()[0] for line in lines[1:]] == ["Time", "Hands", "Estimated", "Verified", "Solution", "Next"]
    assert "developer A, diluted 1+31, mixed 2026-03-01" in lines[5]
    assert re.match(r"260301-1: Roll film, cold laundry: 100\.\d % \+/- \d\.\d \(two standard deviations\) of the wanted", lines[0])
    assert all(line.startswith("  ") for line in lines[1:])


def test_a_second_bath_that_left_its_band_is_in_the_headline() -> None:
    """The longest one alone would say that all went well."""
    session = demo("04")
    (stage,) = [s for s in session.stages if s.role == "develop"]
    first = replace(stage, name="first developer", actual_s=stage.actual_s + 60.0, below_band_s=0.0, above_band_s=0.0)
    second = replace(stage, name="colour developer", stage=stage.stage + 2, below_band_s=293.0, above_band_s=0.0)
    told = answers(replace(session, stages=[first, second]))
    assert told.under.startswith("by the clock, inside its band")
    assert told.under.endswith("; colour developer outside its band for 4:53")


def test_baths_that_develop_one_after_another_count_together(tmp_path: Path) -> None:
    """A water bath is six of them: none of the six is its result, and none is named where each was as planned."""
    data = recipe_data(time="1:30", steer=False, rate=None)
    one = data["stage"][1]
    data["stage"][1:2] = [{**one, "name": f"soak {number}"} for number in (1, 2, 3, 4)]
    found = told(tmp_path, data, lambda _: 20.0)
    assert (found.result, found.under.partition(",")[0]) == ("6:00", "by the clock")
    assert "4 baths together" in found.under
    assert dict(found.rows)["Time"] == "each 1:30, as planned by the clock"
    data["stage"][2]["time"] = "2:00"
    assert dict(told(tmp_path, data, lambda _: 20.0).rows)["Time"] == "each as planned by the clock"


def test_a_second_developer_that_may_stay_in_is_told_by_its_minimum(tmp_path: Path) -> None:
    """It was not planned for five minutes, it was in for at least that."""
    data = recipe_data(time="5:00")
    data["stage"].insert(2, {**data["stage"][1], "name": "second developer", "time": "3:00", "steer": False, "until": "at least"})
    assert "second developer: 3:00, at least 3:00 by the clock" in dict(told(tmp_path, data, lambda _: 20.0).rows)["Time"]


def test_a_fault_is_counted_into_a_stage_by_name_where_the_session_began_before_it() -> None:
    """Else its time is taken for that of the session."""
    told = demo("04")
    stages = [replace(s, begin_s=s.begin_s + 182.0, actual_end_s=s.actual_end_s + 182.0) for s in told.stages]
    later = replace(told, stages=stages, fault_calls=[{**f, "t_s": f["t_s"] + 182.0} for f in told.fault_calls])
    assert dict(answers(later).rows)["FAULT"].startswith("at 0:44 into develop, developer 37.58 C")
