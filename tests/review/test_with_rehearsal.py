"""Real journals, written by a rehearsal: the review agrees with them, and knows better where the station could not."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import pytest

from monitor.cli.main import main
from monitor.review.check import check
from monitor.review.load import load
from monitor.review.measures import Review, measure
from monitor.review.numbers import StageMeasures
from monitor.review.pages.session import session_page
from monitor.review.summary import paragraph
from tests.review.journals import coefficient_rate

RECIPE = """
schema = 1
name = "Roll film, cold laundry"
film = "panchromatic"
vessel = "lidded tank"
[[stage]]
name = "develop"
role = "develop"
time = "8:00"
reference = "20 C"
rate = { law = "coefficient", per_10_c = 2.5, sd = 0.1 }
drain = "0:15"
band = "0.5 C"
agitation = [{ from = "0:00", for = "0:30" }, { every = "1:00", for = "0:10" }]
[[stage]]
name = "stop"
role = "stop"
time = "0:30"
[[stage]]
name = "fix"
role = "fix"
time = "4:00"
"""

SHEETS = RECIPE.replace('"lidded tank"', '"open tray"').replace('drain = "0:15"\n', "") + '[sheets]\ncount = 3\ninterval = "0:10"\n'


def rehearsed(folder: Path, liquid: Callable[[float], float], faults: dict[float, str], recipe: str = RECIPE, *options: str) -> Path:
    """Rehearse a recipe on a liquid; `faults`: what begins when ("" ends it)."""
    times = sorted({*range(0, 1201, 20), *faults})
    fault, rows = "", ["t_s,developer_c,bath_c,room_c,developer_fault"]
    for t in times:
        fault = faults.get(t, fault)
        rows.append(f"{t},{liquid(t)},{liquid(t) - 0.4},8,{fault}")
    (folder / "trace.csv").write_text("\n".join(rows) + "\n")
    (folder / "recipe.toml").write_text(recipe)
    out = folder / "out.jsonl"
    words = [
        "rehearse",
        str(folder / "recipe.toml"),
        "--trace",
        str(folder / "trace.csv"),
        "--journal",
        str(out),
        "--speed",
        "max",
        "--seed",
        "7",
    ]
    assert main([*words, "--overwrite", *options]) == 0
    return out


def true_percent(stage: StageMeasures, liquid: Callable[[float], float]) -> float:
    """Per cent really done between begin and actual end; the trace is straight between whole multiples of 20 s."""
    steps = 4000
    step = stage.actual_s / steps
    total = 0.0
    for i in range(steps):
        t = stage.begin_s + (i + 0.5) * step
        low = 20.0 * math.floor(t / 20.0)
        total += coefficient_rate(liquid(low) + (liquid(low + 20.0) - liquid(low)) * (t - low) / 20.0) * step
    assert stage.target_ref_s is not None
    return 100.0 * total / stage.target_ref_s


def develop_of(review: Review) -> list[StageMeasures]:
    """The develop stage of each sheet."""
    return [s for s in review.numbers.stages if s.role == "develop"]


def falling(t: float) -> float:
    """A cold laundry."""
    return 20.6 - 0.003 * t + 0.2 * math.sin(t / 150.0)


@pytest.mark.parametrize(
    ("faults", "within_percent"),
    [({}, 0.06), ({200.0: "crc", 290.0: ""}, 0.15), ({200.0: "air", 320.0: ""}, 0.25), ({200.0: "missing", 330.0: ""}, 0.25)],
)
def test_a_rehearsal_is_recomputed_from_its_readings(tmp_path: Path, faults: dict[float, str], within_percent: float) -> None:
    """Development and mean against the trace; every comparison of --check agrees but for a figure corrected backwards."""
    journal = load(rehearsed(tmp_path, falling, faults, RECIPE, "--probe-start-c", "24"))
    review = measure(journal)
    (develop,) = develop_of(review)
    assert journal.findings.problems == []
    assert develop.done_percent == pytest.approx(true_percent(develop, falling), abs=within_percent)
    assert (develop.estimated_s > 0) == bool(faults)
    assert [line for line in check(journal, review).disagree if "corrected backwards" not in line] == []


def test_sheets_of_a_rehearsal(tmp_path: Path) -> None:
    """Each against its own truth."""

    def warming(t: float) -> float:
        return 20.0 + 0.002 * t

    sheets = develop_of(measure(load(rehearsed(tmp_path, warming, {}, SHEETS))))
    assert [s.sheet for s in sheets] == [1, 2, 3]
    for sheet in sheets:
        assert sheet.done_percent == pytest.approx(true_percent(sheet, warming), abs=0.06)


def test_a_page_and_a_check_of_a_rehearsal(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """As a person would ask for them."""
    journal = rehearsed(tmp_path, falling, {})
    assert main(["review", str(journal), "--check"]) == 0
    assert main(["review", str(journal), "--report", str(tmp_path / "page.html")]) == 0
    assert "rehearsal, no film" in capsys.readouterr().out


LOADED = RECIPE.replace("[[stage]]\n", '[[stage]]\nname = "load"\nrole = "load"\n[[stage]]\n', 1)


def test_a_load_without_a_time_has_no_planned_end(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The presses for the lid and for the pour end it: nothing to hold against a plan, and in words and on the page "no clock"."""
    path = rehearsed(tmp_path, falling, {}, LOADED)
    assert "  load: no clock, took 0:02.0.\n" in capsys.readouterr().out
    journal = load(path)
    review = measure(journal)
    found = check(journal, review)
    assert [line for line in found.disagree if line.startswith("load")] == []
    assert not any(line.startswith("load: its planned end") for line in found.agree)
    first = review.numbers.stages[0]
    assert (first.planned_s, first.planned_end_s, first.overrun_s) == (0.0, None, None)
    assert "load no clock, took 0:02 (told by a tap);" in paragraph(review.numbers)
    row = next(r for r in session_page(journal, review).split("<tr>") if ">1 load<" in r)
    assert ">no clock</td>" in row
    assert "0:00</td>" not in row.split("</td>", 1)[0]


def test_without_a_believed_probe_the_band_is_not_verified(tmp_path: Path) -> None:
    """A developer probe that was never there: no word about how long the liquid lay in its band."""
    journal = load(rehearsed(tmp_path, falling, {0.0: "missing"}))
    review = measure(journal)
    (develop,) = develop_of(review)
    assert (develop.below_band_s, develop.above_band_s) == (None, None)
    words = paragraph(review.numbers)
    assert "the band of 20 C, 0.5 C either way could not be verified, since no probe was believed" in words
    assert "outside the band" not in words
    row = next(r for r in session_page(journal, review).split("<tr>") if ">1 develop<" in r)
    assert ">not verified</td>" in row


LONG_FIX = """
schema = 1
name = "A tap too early, a fix too long"
film = "panchromatic"
vessel = "lidded tank"
[[stage]]
name = "develop"
role = "develop"
time = "1:00"
reference = "20 C"
rate = { law = "coefficient", per_10_c = 2.5, sd = 0.1 }
drain = "0:10"
[[stage]]
name = "stop"
role = "stop"
time = "0:30"
[[stage]]
name = "fix"
role = "fix"
time = "0:40"
at_most = "1:30"
"""


@pytest.mark.parametrize("early_s", [0.5, 3.0, 4.5])
def test_film_poured_off_seconds_early_and_left_in_the_fix_too_long_agrees(tmp_path: Path, early_s: float) -> None:
    """The journal says what happened, and the check finds no fault: progress ends with the tap, NOW comes after the longest time."""
    presses = tmp_path / "presses.csv"
    presses.write_text(f"down_s,up_s\n0,1.3\n{60 - early_s},{60.2 - early_s}\n")
    journal = load(rehearsed(tmp_path, lambda _: 20.0, {}, LONG_FIX, "--foot", str(presses)))
    held = check(journal, measure(journal))
    assert held.disagree == []
    assert "fix: NOW came after its longest time" in held.agree
