"""Prints and colour in a drum, rehearsed and reviewed: what is said of paper, of a gate that did not hold, of a first trace."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.cli.main import main
from monitor.review.answers import answers
from monitor.review.load import load
from monitor.review.measures import Review, measure

TAPS_NOTHING = "down_s,up_s\n0,1.2\n"


@pytest.fixture
def said(capsys: pytest.CaptureFixture[str]) -> pytest.CaptureFixture[str]:
    """What was printed."""
    return capsys


def rehearsed(folder: Path, blank: str, answers_given: list[str], trace: str, *options: str) -> Review:
    """A recipe from a blank, rehearsed with these temperatures, reviewed."""
    recipe, course, journal = folder / "r.toml", folder / "t.csv", folder / "j.jsonl"
    course.write_text(f"t_s,developer_c,bath_c\n{trace}")
    given = [word for answer in answers_given for word in ("--set", answer)]
    assert main(["new", "--from", blank, "--usual", *given, "--out", str(recipe)]) == 0
    assert main(["rehearse", str(recipe), "--trace", str(course), "--journal", str(journal), *options]) == 0
    return measure(load(journal))


def test_a_gate_that_did_not_hold_the_start_back_is_said(tmp_path: Path, said: pytest.CaptureFixture[str]) -> None:
    """A stage that another one runs into is held back by nothing (contract 5): plan, rehearsal and review say so, and advice is to wait."""
    made = rehearsed(tmp_path, "colour-print", ["time=0:45"], "0,30,30\n1200,30,30\n")
    assert "colour developer: planned 0:45, took 0:45.0; begun although its gate was not open" in said.readouterr().out
    rows = dict(answers(made.numbers).rows)
    assert rows["Time"] == "0:45, as planned by the clock; begun although its gate was not open"
    assert rows["Next time"] == "wait for the gate, and start it 5.0 C warmer: it was 5.0 C below 35 C on average"
    assert main(["plan", str(tmp_path / "r.toml")]) == 0
    assert "Do not begin until the developer has been within 0.3 C of 35 C for 1:00: nothing else holds it back." in said.readouterr().out


def test_a_gate_that_opened_is_not_spoken_of(tmp_path: Path, said: pytest.CaptureFixture[str]) -> None:
    """It was as near as it had to be, and for as long."""
    made = rehearsed(tmp_path, "colour-print", ["time=0:45"], "0,35,35\n1200,35,35\n")
    assert "gate was not open" not in said.readouterr().out
    assert "gate" not in dict(answers(made.numbers).rows)["Time"]


def test_what_paper_was_in_is_told_as_paper(tmp_path: Path, said: pytest.CaptureFixture[str]) -> None:
    """Colour paper too."""
    rehearsed(tmp_path, "colour-print", ["time=0:45"], "0,35,35\n1200,35,35\n")
    said.readouterr()
    assert main(["review", str(tmp_path / "j.jsonl"), "--long"]) == 0
    told = said.readouterr().out
    assert "(rehearsal, no paper)" in told
    assert "colour paper in a drum" in told
    assert "film" not in told


def test_a_probe_that_reads_high_moves_no_print_by_its_first_trace(tmp_path: Path) -> None:
    """What a steady error does to the development it does to the first trace as well: the doubt of a comparison is not the print's, and
    no comparison is asked for. By the longest time it is: a degree there is about 9 per cent."""
    steady = rehearsed(tmp_path, "print", [], "0,20,20\n1200,20,20\n").numbers
    stage = next(s for s in steady.stages if s.role == "develop")
    assert stage.first_trace_s is not None
    assert (stage.done_sd_percent or 0.0) < 0.1
    told = answers(steady)
    assert (told.result, told.doubt) == ("100.0 %", "")
    assert dict(told.rows)["Next time"] == "nothing to change"


def test_a_print_that_warms_after_its_first_trace_keeps_a_doubt(tmp_path: Path) -> None:
    """What the law gets wrong between the two temperatures."""
    warmed = rehearsed(tmp_path, "print", [], "0,18,18\n30,18,18\n150,24,24\n1200,24,24\n").numbers
    stage = next(s for s in warmed.stages if s.role == "develop")
    assert (stage.done_sd_percent or 0.0) > 0.3


def test_without_a_first_trace_nobody_knows_what_was_wanted(tmp_path: Path) -> None:
    """The longest time rules, and is no measure."""
    foot = tmp_path / "foot.csv"
    foot.write_text(TAPS_NOTHING)
    told = answers(rehearsed(tmp_path, "print", [], "0,20,20\n2400,20,20\n", "--foot", str(foot)).numbers)
    assert (told.result, told.doubt, told.under) == ("not known", "", "of the wanted development: nobody told its first trace")
    assert dict(told.rows)["Next time"] == "tap at the first trace: without it the longest time rules"


def test_a_rehearsal_and_its_review_say_the_same_of_hands_that_told_nothing(tmp_path: Path, said: pytest.CaptureFixture[str]) -> None:
    """Up to the end that was called; what was counted until the next call is another number."""
    foot = tmp_path / "foot.csv"
    foot.write_text(TAPS_NOTHING)
    made = rehearsed(tmp_path, "sheets", ["time=6:00"], "0,20,20\n2400,20,20\n", "--foot", str(foot)).numbers
    live = [line for line in said.readouterr().out.splitlines() if "development done" in line]
    assert live
    assert all("development done 100.0 %" in line for line in live), live
    assert {round(s.done_percent or 0.0) for s in made.stages if s.role == "develop"} == {100}


def test_the_table_has_no_temperature_of_a_tray_where_no_probe_is(tmp_path: Path) -> None:
    """The developer's probe stays in the developer."""
    rehearsed(tmp_path, "print", [], "0,20,20\n1200,20,20\n")
    page = tmp_path / "r.html"
    assert main(["review", str(tmp_path / "j.jsonl"), "--report", str(page)]) == 0
    rows = page.read_text(encoding="utf-8").split('class="scroll stages')[1].split("</table>")[0].split("<tr>")
    assert ["°C" in row for row in rows if '<th scope="row">' in row] == [True, False, False, False]


def test_no_word_and_no_number_has_the_temperature_of_such_a_tray(tmp_path: Path) -> None:
    """Neither of one stage nor of a stage that sheets go through one after another."""
    made = rehearsed(tmp_path, "sheets", ["time=6:00"], "0,20,20\n2400,20,20\n").numbers
    assert {s.name for s in made.stages if s.mean_c is not None} == {"develop"}
    assert {s.name for s in made.stages if s.measured_by == "developer"} == {"develop"}
