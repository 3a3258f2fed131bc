"""What once misled a reader: each of these was seen on a page or in a text of the demo journals."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from monitor.core.journal.summary import Summary
from monitor.review.compare import compare_files, comparison_text, season_text
from monitor.review.load import load
from monitor.review.measures import measure
from monitor.review.summary import paragraph, planned_sentence
from tests.review.journals import play, recipe_data

DEMOS = Path(__file__).parents[2] / "demo_logs"


def demo(name: str) -> Path:
    """A demo journal by the begin of its name."""
    (path,) = DEMOS.glob(f"{name}-*.jsonl")
    return path


def test_what_a_power_cut_hides_stands_in_the_doubt_of_every_table() -> None:
    """Up to five minutes that nobody counted are no "100.0 % +/- 1.7"."""
    comparison = compare_files([demo("01"), demo("06")])
    for text in (comparison_text(comparison), season_text(comparison)):
        assert "100.0 % +/- 1.7" in text
        assert text.count("100.0 % +/-") == 1
        assert "98 % to 145 %" in text
    row = comparison.rows[1]
    assert (round(row["done_least_percent"]), round(row["done_most_percent"])) == (98, 145)
    assert comparison.rows[0]["done_least_percent"] is None


def test_a_power_cut_makes_the_end_a_bracket() -> None:
    """The film was in for the counted time at least, and for five minutes more at most."""
    said = paragraph(measure(load(demo("06"))).numbers)
    assert "between 11:37 and 16:37 in it (counted 11:37), since the power was gone" in said


def test_fault_is_told_with_its_reason(tmp_path: Path) -> None:
    """A colour bath that left its band is no lost probe; the record's own words stand beside FAULT."""
    said = paragraph(measure(load(demo("04"))).numbers)
    why = "developer 37.58 C, wanted 37.8 within 0.15 C, outside for 16 s"
    assert f"FAULT sounded once: at 0:44 of develop ({why})" in said
    short = Summary()
    for line in demo("04").read_text().splitlines():
        short.add(json.loads(line))
    assert f"FAULT at 0:44: {why}." in short.lines()


def test_a_fault_of_an_older_journal_has_the_reason_of_the_loss_beside_it() -> None:
    """Version 0.1 wrote no `why` into the cue."""
    journal = load(demo("02"))
    for cue in journal.of("cue"):
        cue.pop("why", None)
    assert measure(journal).numbers.fault_calls[0]["why"] == "developer: reading fell 6.1 C a minute, like a probe in air"


def test_a_stage_by_the_clock_has_no_development_in_any_table() -> None:
    """Its "100.0 %" was seconds over seconds."""
    comparison = compare_files([demo("04")])
    for text in (comparison_text(comparison), season_text(comparison)):
        assert "100.0" not in text
    assert comparison.rows[0]["done_percent"] == 100.0  # data keep what contract 6 names; `rate_law` says that it is time
    assert comparison.rows[0]["rate_law"] is None


@pytest.mark.parametrize(
    ("late_s", "said"),
    [
        (0.0, r"planned 5:00 at 20 C, took 5:0\d \(told by a tap\), 8 s longer than planned, for the temperature"),
        (-22.0, r"took 4:46 \(told by a tap\), 14 s shorter than planned: 8 s longer for the temperature, 22 s shorter by an early pour"),
        (20.0, r"took 5:28 \(told by a tap\), 28 s longer than planned: 8 s for the temperature, 20 s by a late pour"),
    ],
)
def test_how_long_it_took_is_one_statement_from_the_plan(tmp_path: Path, late_s: float, said: str) -> None:
    """No sum is left to the reader, and the end that had moved is never called planned."""
    path = play(recipe_data(time="5:00"), lambda _: 19.7, late_s={3: late_s}).write(tmp_path / "s.jsonl")
    told = planned_sentence(next(s for s in measure(load(path)).numbers.stages if s.role == "develop"))
    assert re.search(said, told), told
    assert "planned end" not in told


def test_a_development_that_may_be_anything_is_not_known(tmp_path: Path) -> None:
    """79.5 % +/- 43.7 % is no number."""
    made = play(recipe_data(time="5:00"), lambda _: 20.0)
    made.records = [r for r in made.records if r.get("probe") != "developer"]
    for seq, record in enumerate(made.records, 1):
        record["seq"] = seq
        if record["kind"] == "progress":
            record.update(developer_sd_c=3.0, source="clock")
    path = made.write(tmp_path / "s.jsonl")
    said = paragraph(measure(load(path)).numbers)
    assert re.search(r"development not known \(\d+ % to \d+ %\)", said), said
    assert "not known (" in season_text(compare_files([path]))
