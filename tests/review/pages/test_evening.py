"""The picture of an evening: what is drawn, and that nothing is drawn that was not."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import pytest

from monitor.core.drawing.strips import MOST_POINTS
from monitor.review.load import load
from monitor.review.measures import measure
from monitor.review.pages.evening import Evening, draw, gather
from tests.review.journals import Fault, play, recipe_data

DEMOS = Path(__file__).parents[3] / "demo_logs"


@cache
def demo(number: str) -> Evening:
    """The developing stage of a demo journal."""
    (path,) = DEMOS.glob(f"{number}-*.jsonl")
    journal = load(path)
    found = gather(journal, measure(journal), 1)
    assert found is not None
    return found


def words(evening: Evening, wide: bool = True) -> list[str]:
    """Every word of its picture, in the order of drawing."""
    return re.findall(r"<text[^>]*>([^<]*)</text>", draw(evening, "x", wide))


def test_the_three_strips_say_what_was_when() -> None:
    """Moves, calls, lines by their ends, the plan and the pour."""
    said = words(demo("01"))
    for each in ("moves", "READY 10:52", "NOW 11:22", "developer", "18.3 °C at the end", "37 s behind", "so 37 s longer"):
        assert each in said
    assert "plan 11:00" in said
    assert "ended 11:37" in said
    assert "wanted 19.5 to 20.5 °C" in said


def test_moves_are_those_that_the_ticks_called_for() -> None:
    """Half a minute, then ten seconds a minute."""
    moved = demo("01").moved
    assert moved[0] == pytest.approx((2.0, 30.0), abs=1.1)
    assert moved[1] == pytest.approx((60.0, 70.0), abs=1.1)
    assert len(moved) == 11


def test_now_is_one_bar_from_its_first_call_to_the_pour() -> None:
    """However often it sounded."""
    evening = demo("01")
    assert evening.parts[0].now_s == pytest.approx(682.3, abs=0.1)
    assert evening.parts[0].end_s == pytest.approx(697.3, abs=0.1)
    assert sum(word.startswith("NOW") for word in words(evening)) == 1


def test_what_was_estimated_is_dotted_framed_and_told_why() -> None:
    """In place; the reason stands once, with FAULT."""
    svg = draw(demo("02"), "x", True)
    assert svg.count('class="dots"') == 1
    assert svg.count('class="frame"') == 1
    said = words(demo("02"))
    assert "estimated 6:18 to 9:34" in said
    assert "FAULT 6:19" in said
    assert any("reading fell 6.1" in word for word in said)
    assert 'class="dots"' not in draw(demo("01"), "x", True)


def test_sheets_have_a_row_each_with_plan_and_end() -> None:
    """Open what was planned, filled what was."""
    svg = draw(demo("03"), "x", True)
    assert svg.count('<circle class="open"') == 6
    assert svg.count('<circle class="full"') == 6
    assert [word for word in words(demo("03")) if word.startswith("sheet")] == [f"sheet {k}" for k in range(1, 7)]


def test_a_power_cut_is_shaded_and_the_end_a_bracket() -> None:
    """Nobody knows when it was."""
    said = words(demo("06"))
    assert "no power for 0:24 to 5:24" in said
    assert "ended between 11:37 and 16:37" in said


def test_a_stage_by_the_clock_has_no_strip_of_development() -> None:
    """Temperature did not count."""
    assert demo("04").behind == ()
    assert not any("steady" in word for word in words(demo("04")))


def test_a_room_far_off_is_named_not_drawn() -> None:
    """It would flatten everything else."""
    evening = demo("01")
    assert evening.far == ("room 6.0 C",)
    assert [curve.name for curve in evening.others] == ["bath"]


def test_what_was_said_then_is_drawn_only_where_it_was_wrong(tmp_path: Path) -> None:
    """By more than two standard deviations of its own."""
    made = play(recipe_data(time="5:00"), lambda _: 20.0)
    for record in made.records:
        if record["kind"] == "progress" and record["t_s"] > 200:
            record["developer_c"] += 0.6
    journal = load(made.write(tmp_path / "s.jsonl"))
    evening = gather(journal, measure(journal), 2)
    assert evening is not None
    assert [curve.name for curve in evening.others] == ["said then"]
    assert "said then" not in words(demo("01"))


def test_a_gap_in_a_bath_stays_a_gap(tmp_path: Path) -> None:
    """Its line has two pieces."""
    made = play(recipe_data(time="5:00"), lambda _: 20.0, bath=lambda _: 19.8, faults=[Fault("missing", 150.0, 152.0)])
    made.records = [r for r in made.records if not (r.get("probe") == "bath" and 150 < r["t_s"] < 250)]
    for seq, record in enumerate(made.records, 1):
        record["seq"] = seq
    journal = load(made.write(tmp_path / "s.jsonl"))
    evening = gather(journal, measure(journal), 2)
    assert evening is not None
    assert len(next(c for c in evening.others if c.name == "bath").pieces) == 2


def test_no_line_has_more_than_400_points_and_no_number_more_than_a_decimal(tmp_path: Path) -> None:
    """Also of a stage of 45 minutes."""
    made = play(recipe_data(time="45:00"), lambda t: 20.5 - 0.0003 * t, bath=lambda t: 20.4 - 0.0004 * t)
    journal = load(made.write(tmp_path / "s.jsonl"))
    evening = gather(journal, measure(journal), 2)
    assert evening is not None
    for wide in (True, False):
        svg = draw(evening, "x", wide)
        assert max(path.count("l") for path in re.findall(r' d="([^"]*)"', svg)) <= MOST_POINTS
        assert not re.findall(r'(?:d|x|y|cx|cy|width|height)="[^"]*\d\.\d\d', svg)
        assert len(svg) < 12_000


def test_many_faults_are_counted_not_named(tmp_path: Path) -> None:
    """Ten words and ten frames would hide the line; the table of calls has each with its reason."""
    made = play(recipe_data(), lambda t: 20.3 - 0.001 * t, faults=[Fault("missing", 100.0 + 60 * k, 130.0 + 60 * k) for k in range(5)])
    close = made.records.pop()
    for k in range(5):
        fault = {"t_s": 115.0 + 60 * k, "kind": "cue", "cue": "fault", "why": "developer: no reading for 15 s"}
        made.records.append({key: close[key] for key in ("session", "wall")} | fault)
    made.records = [*sorted(made.records, key=lambda r: r["t_s"]), close]
    for seq, record in enumerate(made.records, 1):
        record["seq"] = seq
    journal = load(made.write(tmp_path / "s.jsonl"))
    evening = gather(journal, measure(journal), 2)
    assert evening is not None
    assert len(evening.faults) == 5
    said = words(evening)
    assert [word for word in said if "FAULT" in word] == ["5 FAULTs from 0:55"]
    assert not any("no reading" in word for word in said)
