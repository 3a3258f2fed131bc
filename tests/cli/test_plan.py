"""`evenbath plan`: a recipe read back as data and in words, and the exit status of what cannot be read."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from monitor.cli.main import main
from tests.core.recipe.samples import ROLL, TRAY, changed


@pytest.fixture
def roll(tmp_path: Path) -> Path:
    """The roll film's recipe as a file."""
    path = tmp_path / "roll.toml"
    path.write_text(ROLL, encoding="utf-8")
    return path


def plan(text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    """The plan of this recipe as data."""
    path = tmp_path / "r.toml"
    path.write_text(text, encoding="utf-8")
    assert main(["plan", str(path), "--json"]) == 0
    out = capsys.readouterr().out
    assert out.count("\n") == 1
    found: dict[str, Any] = json.loads(out)
    return found


def words(text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> str:
    """The plan of this recipe in words."""
    path = tmp_path / "r.toml"
    path.write_text(text, encoding="utf-8")
    assert main(["plan", str(path)]) == 0
    return capsys.readouterr().out


def test_the_plan_as_data_says_what_the_contract_fixes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Stages with name, role, planned_s, steered, drain_s and until; total_s; open_film; chart."""
    found = plan(ROLL, tmp_path, capsys)
    keys = ("name", "role", "planned_s", "steered", "drain_s", "until")
    assert [[stage[key] for key in keys] for stage in found["stages"]] == [
        ["develop", "develop", 600.0, True, 15.0, "time"],
        ["fix", "fix", 300.0, False, 10.0, "at least"],
    ]
    assert found["total_s"] == 900.0
    assert found["open_film"] == []
    (chart,) = found["chart"]
    assert {point["stage"] for point in chart} == {1}
    assert [point["celsius"] for point in chart] == [18 + i / 2 for i in range(13)]


def test_the_chart_is_the_rate_law_at_each_temperature(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The person's own pairs stand in it exactly, the reference is the time itself, and nothing is rounded."""
    found = plan(ROLL, tmp_path, capsys)
    by_celsius = {point["celsius"]: point["planned_s"] for point in found["chart"][0]}
    assert by_celsius[18.0] == pytest.approx(730.0, rel=1e-12)
    assert by_celsius[20.0] == pytest.approx(600.0, rel=1e-12)
    assert by_celsius[24.0] == pytest.approx(405.0, rel=1e-12)
    assert by_celsius[22.0] == pytest.approx(492.2, abs=0.2)
    assert by_celsius[22.0] != round(by_celsius[22.0], 3)


def test_the_chart_contains_the_factor(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A push of 1.3 makes every time in it 1.3 times as long: 11:00 x 1.3 = 14:18 at the reference."""
    found = plan(changed(TRAY, 'time = "8:00" => time = "11:00"\nfactor = 1.3'), tmp_path, capsys)
    at_reference = next(point for point in found["chart"][0] if point["celsius"] == 20.0)
    assert at_reference["planned_s"] == pytest.approx(858.0)
    assert found["stages"][0]["planned_s"] == pytest.approx(858.0)


def test_a_range_with_odd_ends_keeps_both_and_the_reference(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """67 F to 75 F: both ends and 68 F stand in the chart although none but 20 C is on the half-degree grid."""
    text = changed(TRAY, 'agitation = "c => valid = ["67 F", "75 F"]\nagitation = "c', 'reference = "20 C" => reference = "68 F"')
    celsius = [point["celsius"] for point in plan(text, tmp_path, capsys)["chart"][0]]
    assert celsius[0] == pytest.approx(35 / 1.8, abs=1e-6)
    assert celsius[-1] == pytest.approx(43 / 1.8, abs=1e-6)
    assert 20.0 in celsius
    assert celsius == sorted(set(celsius))


def test_a_reference_between_two_steps_is_in_the_chart(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """20.3 C between 20 and 20.5 C."""
    celsius = [p["celsius"] for p in plan(changed(TRAY, 'reference = "20 C" => reference = "20.3 C"'), tmp_path, capsys)["chart"][0]]
    assert {20.0, 20.3, 20.5} <= set(celsius)


def test_a_wide_range_goes_by_whole_degrees(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """From 10 to 30 C half degrees would not fit a page."""
    text = changed(TRAY, 'agitation = "c => valid = ["10 C", "30 C"]\nagitation = "c')
    assert len(plan(text, tmp_path, capsys)["chart"][0]) == 21


def test_a_chart_for_each_steered_stage_and_none_for_others(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two developers, one of them not steered, make one chart, which names its stage."""
    text = ROLL + '\n[[stage]]\nname = "second"\nrole = "develop"\ntime = "6:00"\nreference = "20 C"\n'
    rate = 'rate = { law = "coefficient", per_10_c = 2.0 }\n'
    assert [chart[0]["stage"] for chart in plan(text, tmp_path, capsys)["chart"]] == [1]
    assert [chart[0]["stage"] for chart in plan(text + rate, tmp_path, capsys)["chart"]] == [1, 3]


def test_sheets_have_their_planned_exits_and_lengthen_the_whole(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Six sheets 10 s apart: out at 8:00, 8:10 ... 8:50, and the evening is 50 s longer."""
    found = plan(TRAY, tmp_path, capsys)
    assert found["sheets"]["exits_s"] == [480.0, 490.0, 500.0, 510.0, 520.0, 530.0]
    assert found["total_s"] == 480 + 50 + 30 + 240 + 600
    assert found["open_film"] == [1, 2, 3]


def test_counting_from_full_adds_filling_and_draining_to_the_whole(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """From full to NOW is the time; before it stands the filling, after it the drain."""
    found = plan(changed(ROLL, 'counted = "pour to pour" => counted = "full to empty"\nfill = "0:20"'), tmp_path, capsys)
    assert found["stages"][0]["planned_s"] == 600.0
    assert found["stages"][0]["begin_to_end_s"] == 20 + 600 + 15
    assert found["total_s"] == 635 + 300


def test_three_lines_answer_first(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """How long and what a degree does to it, what to set out, what light; then film, jugs and stages."""
    lines = words(ROLL, tmp_path, capsys).splitlines()
    assert lines[1].startswith("About 15:00 in all")
    assert lines[1].endswith("; develop 10:00 at 20 C, 11:02 at 19 C, 9:03 at 21 C.")
    assert lines[2].startswith("Set out, from the left: 1 developer A, ")
    assert lines[3] == "Light: no stage leaves film bare, as long as the lid stays on."
    assert lines[4] == ""


def test_times_stand_at_whole_degrees_and_at_halves_near_the_reference(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """For a person; as data every half degree."""
    out = words(ROLL, tmp_path, capsys)
    told = re.findall(r"^ +([0-9.]+) C +\d+:\d\d", out, re.MULTILINE)
    assert told == ["18", "19", "19.5", "20", "20.5", "21", "22", "23", "24"]
    assert len(plan(ROLL, tmp_path, capsys)["chart"][0]) == 13


def test_whoever_chose_fahrenheit_reads_the_plan_in_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whole degrees of it, and a degree of it for what a degree does; the data stay in Celsius."""
    monkeypatch.setenv("EVENBATH_UNITS", "F")
    out = words(ROLL, tmp_path, capsys)
    assert "; develop 10:00 at 68 F, 10:33 at 67 F, " in out
    told = re.findall(r"^ +([0-9.]+) F +\d+:\d\d", out, re.MULTILINE)
    assert told == ["65", "66", "67", "68", "69", "70", "71", "72", "73", "74", "75"]
    assert "68 F    10:00  <- reference" in out
    assert "Outside 64.4 F to 75.2 F the rate goes on" in out
    assert not re.search(r"\d C\b", out)
    assert {point["celsius"] for point in plan(ROLL, tmp_path, capsys)["chart"][0]} >= {18.0, 20.5, 24.0}


def test_the_plan_in_words_goes_on_with_the_film_then_the_jugs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What, how much, how warm, how long come before the stages."""
    text = changed(ROLL, 'jug = 1 => jug = 1\ndilution = "1+31"\nvolume = "500 ml"')
    out = words(text, tmp_path, capsys)
    assert "  1  developer A 1+31, 500 ml (15.6 ml stock, 484.4 ml water), at 20 C within 0.5 C, 10:00\n" in out
    assert out.index("Light:") < out.index("Film:") < out.index("Jugs") < out.index("Stages")
    assert "  -  fix, amount: your recipe does not say, near 20 C, at least 5:00, at most 12:00\n" in out


def test_jugs_stand_in_their_order_from_the_left(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The number counts, not the order of use; two stages from one jug share its line."""
    text = changed(ROLL, "jug = 1 => jug = 2", 'until = "at least" => jug = 1\nsolution = "fixer"\nuntil = "at least"')
    text += '\n[[stage]]\nname = "second fix"\nrole = "fix"\ntime = "3:00"\njug = 1\nsolution = "fixer"\n'
    lines = words(text, tmp_path, capsys).splitlines()
    lines = lines[lines.index("Jugs, from the left") - 2 :]
    assert lines[3].startswith("  1  fixer")
    assert lines[3].endswith("at least 5:00, at most 12:00 (fix), at least 3:00 (second fix)")
    assert lines[4].startswith("  2  developer A")


def test_the_words_tell_what_temperature_may_move_and_what_sounds(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Steered or not, READY, NOW, gate, agitation, chart with the reference marked, data's range."""
    out = words(ROLL, tmp_path, capsys)
    assert "1. develop: 10:00 at 20 C. Temperature moves its end. READY 0:30 before NOW, NOW 0:15 before the end." in out
    assert "The start waits until the developer has been within 0.15 C of 20 C for 1:00." in out
    assert "Agitation: 0:30 from 0:00, 0:10 every 1:00; none in the last 0:30 before NOW." in out
    assert "READY sounds once at the minimum; your tap ends it." in out
    assert "     20 C    10:00  <- reference" in out
    assert "     24 C     6:45 +/- 0:16" in out
    assert "Outside 18 C to 24 C the rate goes on, three times as uncertain (outside data)." in out


def test_a_short_stage_says_that_it_has_no_ready(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Half a minute of stop bath has NOW alone; sheets are listed with their exits."""
    out = words(TRAY, tmp_path, capsys)
    assert "2. stop: 0:30. Temperature does not move its end. No READY, it is too short; NOW 0:05 before the end." in out
    assert "  sheet 6  in 0:50  out 8:50\n" in out


def test_ready_needs_ten_seconds_after_the_begin(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Half a minute before NOW, which comes 0:05 before the end: a stage of 0:45 just has the room, one of 0:44 has not."""
    assert "stop: 0:45. Temperature does not move its end. READY 0:30 before NOW" in words(
        changed(TRAY, 'time = "0:30" => time = "0:45"'), tmp_path, capsys
    )
    assert "No READY" in words(changed(TRAY, 'time = "0:30" => time = "0:44"'), tmp_path, capsys)


def test_the_light_rule_is_read_back(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An open tray: bare until fixed, no lamp to be asked for; a closed tank: dark unless asked."""
    tray = words(TRAY, tmp_path, capsys)
    assert "film is bare during stage 1 (develop), 2 (stop), 3 (fix): no lamp of any colour" in tray
    assert "cannot be asked for: stage 1 (develop)" in tray
    tank = words(ROLL, tmp_path, capsys)
    assert "no stage leaves film bare, as long as the lid stays on" in tank
    assert "stays dark unless you ask for it with --lamp" in tank


def test_warnings_are_read_back(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """In words under Careful, in data as sentences."""
    text = changed(TRAY, 'time = "8:00" => time = "4:30"')
    assert "Careful\n  Stage 1 (develop): 4:30 is under 5:00" in words(text, tmp_path, capsys)
    assert plan(text, tmp_path, capsys)["warnings"]


def test_cautions_that_belong_to_the_recipe_are_read_back_with_their_source(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each with where it comes from, and last that local codes and the maker's safety sheet rule."""
    found = plan(TRAY, tmp_path, capsys)["cautions"]
    assert all(caution["text"] and caution["source"] for caution in found)
    assert "safety" in found[-1]["text"]
    assert main(["plan", str(tmp_path / "r.toml"), "--cautions"]) == 0
    everything = capsys.readouterr().out
    assert everything.partition("\nCautions\n")[2].count("  - ") == len(found)
    assert "--cautions" not in everything


def test_only_the_cautions_of_todays_danger_stand_in_the_plan(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Open trays: gloves. A roll: the rule alone. How many more there are is told, and how to see them."""
    roll, tray = (words(text, tmp_path, capsys) for text in (ROLL, TRAY))
    assert "Gloves of nitrile" in tray
    assert "Gloves of nitrile" not in roll
    for out in (roll, tray):
        assert "safety data sheets come before all of this" in " ".join(out.split())
        assert re.search(r"\d more, the same each evening: --cautions\n$", out)
        assert "collect them and follow your local" not in out


def test_no_plan_claims_what_it_may_not(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Neither word stands in any plan."""
    for text in (ROLL, TRAY, changed(ROLL, "panchromatic => colour", "steer = true\n =>")):
        out = words(text, tmp_path, capsys)
        assert "compensated" not in out.lower()
        assert "OK" not in out


def test_a_broken_recipe_is_exit_2_with_every_line_on_stderr(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """FILE:LINE as the file was named, nothing on stdout."""
    path = tmp_path / "r.toml"
    path.write_text(changed(ROLL, "panchromatic => orange", "jug = 1 => jug = 0"), encoding="utf-8")
    assert main(["plan", str(path), "--json"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert [line.split(": ")[0] for line in err.splitlines()] == [f"{path}:3", f"{path}:29"]


@pytest.mark.parametrize("kind", ["missing", "folder", "unreadable", "NUL", "pipe"])
def test_what_is_no_file_is_exit_2_in_one_line(kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """No traceback, no hanging on a pipe that nobody writes to."""
    name = str(tmp_path / "r.toml")
    if kind == "folder":
        name = str(tmp_path)
    elif kind == "unreadable":
        Path(name).write_text(ROLL, encoding="utf-8")
        Path(name).chmod(0)
        if os.access(name, os.R_OK):
            pytest.skip("the superuser reads everything")
    elif kind == "NUL":
        name = "r\x00.toml"
    elif kind == "pipe":
        os.mkfifo(name)
    assert main(["plan", name]) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1
    assert "; allowed: the path of a recipe" in err


def test_a_card_is_not_written_over_a_recipe(roll: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """--card wants a name that ends in .html, so that a slip cannot cost the recipe."""
    pytest.importorskip("monitor.prepare.paper.card")
    assert main(["plan", str(roll), "--card", str(roll)]) == 2
    assert "allowed: a name that ends in .html" in capsys.readouterr().err
    assert roll.read_text(encoding="utf-8") == ROLL


def test_a_card_is_written_beside_the_plan(roll: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One page of HTML, its path told; a folder that is not there is refused."""
    pytest.importorskip("monitor.prepare.paper.card")
    card = tmp_path / "card.html"
    assert main(["plan", str(roll), "--card", str(card)]) == 0
    assert card.read_text(encoding="utf-8").lstrip().lower().startswith("<!doctype html>")
    assert f"The card for the wall: {card}" in capsys.readouterr().out
    assert main(["plan", str(roll), "--card", str(tmp_path / "no" / "card.html")]) == 2


@pytest.mark.parametrize("command", ["plan", "fit", "new"])
def test_the_command_loads_nothing_heavy(command: str, roll: Path) -> None:
    """A whole process of its own loads neither numbers nor pictures nor hardware."""
    words = {"plan": ["plan", str(roll)], "fit": ["fit", "20 C=10:00", "24 C=6:45"], "new": ["new", "--list"]}[command]
    heavy = ("numpy", "pandas", "matplotlib", "rich", "gpiozero", "paho", "w1thermsensor", "hardware")
    code = f"import sys; from monitor.cli.main import main; s = main({words!r}); sys.exit(s or any(m in sys.modules for m in {heavy!r}))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_baths_of_a_tray_are_called_trays(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """As on its card."""
    assert "Trays, from the left\n" in words(TRAY, tmp_path, capsys)
    assert "Tanks, from the left\n" in words(changed(TRAY, "open tray => open tank"), tmp_path, capsys)
