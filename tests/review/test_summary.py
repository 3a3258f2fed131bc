"""The text alone: a stranger who has nothing else can answer what practice asks for."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from monitor.review.load import load
from monitor.review.measures import measure
from monitor.review.numbers import Doubted
from monitor.review.summary import (
    age,
    hindsight_sentences,
    paragraph,
    probe_sentence,
    signed_duration,
    solution_sentence,
    trust_sentence,
)
from tests.review.journals import Fault, play, recipe_data


def told(tmp_path: Path, *args: Any, **options: Any) -> str:
    """The paragraph of a played session."""
    return paragraph(measure(load(play(*args, **options).write(tmp_path / "s.jsonl"))).numbers)


@pytest.fixture(scope="module")
def lost_probe(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A cold laundry: the probe lay in the air for three minutes, the pour was 20 s late."""
    return told(
        tmp_path_factory.mktemp("laundry"),
        recipe_data(),
        lambda t: 20.5 - 0.0021 * t,
        bath=lambda t: 20.5 - 0.004 * t,
        room=lambda _: 8.0,
        faults=[Fault("air", 425.0, 605.0)],
        late_s={3: 20.0},
    )


@pytest.mark.parametrize(
    ("question", "answer"),
    [
        ("when was the end planned", r"planned 11:00 at 20 C, .*: 2\d s for the temperature"),
        ("when was it really", r"took 11:4\d \(told by a tap\), 4\d s longer than planned: .*, 20 s by a late pour"),
        ("how much development was done", r"development 10[23]\.\d % \+/- \d\.\d \(two standard deviations\) of what was wanted"),
        ("what did the station say then", r"live said 10[23]\.\d %"),
        ("how warm was it on the whole", r'mean 19\.6\d C \+/- 0\.\d\d C at the probe "developer"'),
        ("how warm at worst", r"worst 18\.\d\d C \+/- 0\.\d\d at 11:4\d \(1\.\d\d C below the reference\)"),
        ("which minutes were estimated", r"estimated, not measured: 6:1\d to 9:\d\d \(held\), 3:2\d in all"),
        ("which probe was compared when", r'probe "developer" \(developer\): compared 2026-02-20T18:00:00Z'),
        ("against what", r"against glass thermometer 3 at 20\.1 C, offset \+0\.12 C taken off, \+/- 0\.20 C left"),
        ("which was not", r'probe "bath" \(bath\): not compared, \+/- 0\.58 C'),
        ("how old was the solution", r"developer A, diluted 1\+31, mixed 2026-03-01T18:40:00Z, 25 minutes old at the begin"),
        ("how much area", r"area 1 unit of 80 sq in"),
        ("what was lost and when", r'at 6:1\d of develop "developer" not believed \(air, so since 6:06 of develop\)'),
    ],
)
def test_the_text_alone_answers(lost_probe: str, question: str, answer: str) -> None:
    """Each question has its words."""
    assert re.search(answer, lost_probe), f"{question}: {lost_probe}"


def test_nothing_is_praised_and_nothing_is_said_to_be_cured(lost_probe: str) -> None:
    """Words that a temperature never gets."""
    assert not re.search(r"compensat|\bOK\b|perfect", lost_probe, re.IGNORECASE)


def test_every_temperature_of_a_liquid_has_its_uncertainty(lost_probe: str) -> None:
    """No bare number: what is measured carries +/-, what remains is the reference, a difference, a rate's steady value or a setting."""
    bare = re.findall(r"(?<![\d.+/-])(?<!\+/- )(\d+\.\d\d) C(?! \+/-)(?! below| above)", lost_probe)
    assert len(bare) == 1, bare
    assert f"by the rate a steady {bare[0]} C" in lost_probe


def test_what_a_doubt_means_is_said_once_and_it_is_twice_the_number_in_the_tables(lost_probe: str) -> None:
    """0.29 C is what a probe has that was never compared; a person reads 0.58 C, as in the live view."""
    assert lost_probe.count("two standard deviations") == 1
    first = lost_probe.index("+/- ")
    assert lost_probe.index("two standard deviations") - first < 15
    assert "+/- 0.29" not in lost_probe


def test_colour_is_told_as_what_it_was(tmp_path: Path) -> None:
    """Out of its band, timed by the clock; nothing about an end that moved."""
    data = recipe_data(time="3:15", reference="37.8 C", band="0.15 C", rate=None)
    data["film"] = "colour"
    said = told(tmp_path, data, lambda _: 37.2)
    assert "planned 3:15 by the clock" in said
    assert "temperature did not count in this stage" in said
    assert "outside its band, and the clock does not make up for that" in said
    assert re.search(r"outside the band of 37\.8 C, 0\.15 C either way: 3:15 of 3:15 below", said)
    assert "for the temperature" not in said


def test_a_band_is_not_verified_by_a_probe_that_was_never_compared(tmp_path: Path) -> None:
    """Said beside the band; a compared probe verifies it."""
    said = told(tmp_path, recipe_data(time="3:00"), lambda _: 20.0, comparison_sd_c=0.29)
    assert "never outside the band of 20 C, 0.5 C either way; not verified, since the probe was not compared" in said
    assert "not verified" not in told(tmp_path, recipe_data(time="3:00"), lambda _: 20.0)


def test_what_is_not_in_the_record_is_said_to_be_missing(tmp_path: Path) -> None:
    """Age of solutions and the comparison."""
    made = play(recipe_data(time="3:00"), lambda _: 20.0, comparison_sd_c=0.29)
    del made.records[0]["solutions"]
    said = paragraph(measure(load(made.write(tmp_path / "s.jsonl"))).numbers)
    assert "Solutions: age and use are not in the record." in said
    assert 'probe "developer" (developer): not compared' in said


def test_a_session_that_was_never_closed_says_so(tmp_path: Path) -> None:
    """It may still run."""
    assert "never closed: still running, or lost" in told(tmp_path, recipe_data(time="3:00"), lambda _: 20.0, close=False)


def test_what_was_waived_and_overridden_is_told_with_its_reason(tmp_path: Path) -> None:
    """The person's own words."""
    made = play(recipe_data(time="3:00"), lambda _: 20.0)
    made.records[0]["waived"] = "a dry run"
    made.records.insert(-1, made.records[-1] | {"kind": "gate", "state": "overridden", "why": "it is late"})
    for seq, record in enumerate(made.records, 1):
        record["seq"] = seq
    said = paragraph(measure(load(made.write(tmp_path / "s.jsonl"))).numbers)
    assert "Questions before the start were waived: a dry run." in said
    assert "The gate was overridden: it is late." in said


def test_small_words() -> None:
    """Ages, differences, and comparisons told in part."""
    assert age(45.0) == "45 seconds"
    assert age(7200.0) == "2 hours"
    assert age(86400.0 * 40) == "40 days"
    assert signed_duration(-12.2) == "12 s earlier"
    assert signed_duration(90.0) == "1:30 later"
    assert solution_sentence({"name": "fix", "used_area_units": 7.5}) == "fix, 7.5 units of 80 sq in through it before"


def test_a_comparison_told_in_part_says_what_is_missing(tmp_path: Path) -> None:
    """No date, no reference."""
    made = play(recipe_data(time="3:00"), lambda _: 20.0)
    made.records[0]["probes"][0]["compared"] = {"who": "the aunt"}
    numbers = measure(load(made.write(tmp_path / "s.jsonl"))).numbers
    said = probe_sentence(numbers.probes[0])
    assert "at a time that is not in the record" in said
    assert "against a reference that is not in the record" in said
    assert "by the aunt" in said


def test_a_solution_that_was_mixed_today_is_not_nothing_old() -> None:
    """The ledger knows days."""
    asked = {"solution": "developer A", "used_area_units": 3.0, "time_factor": 1.3}
    through = "developer A, 3 units of 80 sq in through it before, the ledger asked for 1.3 times the recipe's time"
    assert solution_sentence({**asked, "applied": True}) == f"{through}, as it was planned"
    assert solution_sentence({**asked, "applied": False}) == f"{through}, which was not used: 100 % here is 77 % of that"
    assert solution_sentence({"solution": "developer A", "age_s": 0.0}) == "developer A, mixed on the same day"
    assert solution_sentence({"solution": "developer A", "age_s": 172800.0}) == "developer A, 2 days old at the begin"


def test_hands_that_wait_past_a_minimum_are_not_late(tmp_path: Path) -> None:
    """A fixer is in for at least its time: how much longer is no fault of the hands."""
    session = measure(load(play(recipe_data(), lambda t: 20.0, wash_s=300.0).write(tmp_path / "s.jsonl"))).numbers
    fix = session.stages[-1]
    assert (fix.until, fix.overrun_s) == ("at least", None)
    assert fix.actual_s > 590.0
    said = paragraph(session)
    assert "fix at least 5:00 by the clock, took 10:00" in said
    assert "pour" not in said


def test_what_was_trusted_is_not_told_as_a_fault(lost_probe: str) -> None:
    """A probe that is believed again is none: it stands in a sentence of its own."""
    said = paragraph(measure(load(Path(__file__).parents[2] / "demo_logs" / "02-probe-knocked-out.jsonl")).numbers)
    (fault,) = re.findall(r"FAULT sounded once: [^)]*\)\.", said)
    assert "believed" not in fault
    assert 'What was trusted: at 0:02 of develop "developer" believed' in said
    assert "What was trusted: " in lost_probe


def test_what_was_found_of_a_probe_is_told_as_what_was_trusted(tmp_path: Path) -> None:
    """In the closing summary's words. What stood in for a reading is put down to neither a bath's probe nor an exchange."""
    session = measure(load(play(recipe_data(), lambda t: 20.0).write(tmp_path / "s.jsonl"))).numbers
    develop = next(s for s in session.stages if s.role == "develop")
    begin_s, name = develop.begin_s, develop.name
    trust = {"t_s": begin_s + 80.0, "probe": "jug", "since_t_s": begin_s + 50.0}
    gone = {**trust, "believed": False, "why": "the developer does not follow it: it reads 4.0 C below its bath"}
    swapped = {**trust, "believed": False, "why": "exchanged with bowl: and so on"}
    part = {**trust, "believed": True, "why": "in part only: bath and so on"}
    air = {**trust, "believed": False, "why": "like a probe in air"}
    session = replace(session, trust=[gone, swapped, part, air])
    assert [trust_sentence(t, session) for t in session.trust] == [
        f'at 1:20 of {name} "jug" not believed: {gone["why"]}; put it back into the bath, so since 0:50 of {name}',
        f'at 1:20 of {name} "jug" exchanged with bowl: and so on, so since 0:50 of {name}',
        f'at 1:20 of {name} "jug" counts in part only: bath and so on, so since 0:50 of {name}',
        f'at 1:20 of {name} "jug" not believed (like a probe in air, so since 0:50 of {name})',
    ]
    assert session.losses == [air]


def test_what_was_left_out_and_what_was_corrected_are_told_apart_each_with_how_long_it_was_believed(tmp_path: Path) -> None:
    """On the clock of the stage. What live had lost itself is left out by both: it is told once, as what was trusted."""
    session = measure(load(play(recipe_data(), lambda t: 20.0).write(tmp_path / "s.jsonl"))).numbers
    stuck = Doubted("developer stuck at 20 C, then 1.00 C below that at once", 180.0, 240.0, "developer", "left out", 60.0)
    drifts = Doubted("developer drifts", 141.0, 577.0, "developer", "corrected", 109.0)
    found = [stuck, replace(stuck, from_s=300.0, to_s=360.0, believed_s=1.0), drifts, replace(drifts, what="developer off", believed_s=0.0)]
    assert hindsight_sentences(replace(session, doubted=found)) == [
        "Left out afterwards: developer stuck at 20 C, then 1.00 C below that at once, 2:00 to 3:00 of develop, believed then.",
        "Corrected afterwards: developer drifts, 1:21 to 8:37 of develop, believed then for 1:49 of it; "
        "developer off, 1:21 to 8:37 of develop, not believed then.",
    ]
    assert hindsight_sentences(session) == []
