"""The journals of the invented evenings, replayed."""

from __future__ import annotations

import importlib
import json
import re
import sys
from pathlib import Path
from types import ModuleType

import pytest

from monitor.cli.main import main as evenbath
from monitor.review.load import load

FOLDER = Path(__file__).parent.parent / "demo_logs"


def beside(name: str) -> ModuleType:
    """A script of demo_logs as a module; it finds what stands beside it, as it does when it is run."""
    sys.path.insert(0, str(FOLDER))
    try:
        return importlib.import_module(name)
    finally:
        sys.path.remove(str(FOLDER))


MAKE, PICTURES = beside("make"), beside("pictures")


@pytest.mark.parametrize("evening", MAKE.EVENINGS, ids=lambda e: e.name)
def test_each_journal_is_made_again_byte_for_byte_from_the_recipe_and_trace_beside_it(evening: object) -> None:
    """Run `python demo_logs/make.py` after a change that is meant to change them, and look at the difference."""
    name = evening.name  # type: ignore[attr-defined]
    assert MAKE.journal(evening) == (FOLDER / f"{name}.jsonl").read_bytes()


def test_the_story_speaks_of_a_witness_only_where_a_probe_is_one() -> None:
    """A witness has a doubt of its own; the numbers beside the story would show it."""
    stories = re.findall(r"\n\*\*(\d)\. (.*?)(?=\n\*\*|\Z)", (FOLDER / "README.md").read_text(encoding="utf-8"), re.S)
    assert len(stories) == 7
    for number, story in stories:
        (first, *_) = sorted(FOLDER.glob(f"0{number}-*.jsonl"))
        roles = {probe["role"] for probe in json.loads(first.read_text(encoding="utf-8").splitlines()[0])["probes"]}
        assert ("witness" in story) == ("witness" in roles), story


def test_there_are_six_evenings() -> None:
    """A cold laundry, a probe knocked out, six sheets, colour, bath only, a power cut."""
    assert len(MAKE.EVENINGS) == 6


NUMBER = re.compile(r"-?\d+(?:\.\d)?")


def same(stands: str, drawn: str) -> None:
    """Two pictures with the same words and paths. Another machine's last decimals may move a line by a fifth of a pixel."""
    assert re.findall(r">([^<]+)</text>", stands) == re.findall(r">([^<]+)</text>", drawn)
    paths = [re.findall(r' d="([^"]*)"', svg) for svg in (stands, drawn)]
    assert len(paths[0]) == len(paths[1])
    if NUMBER.sub("", stands) == NUMBER.sub("", drawn):
        off = [abs(float(a) - float(b)) for a, b in zip(NUMBER.findall(stands), NUMBER.findall(drawn), strict=True)]
        assert max(off) <= 0.25


@pytest.mark.parametrize("evening", MAKE.EVENINGS, ids=lambda e: e.name)
def test_each_picture_is_that_of_its_journal(evening: object) -> None:
    """Else run `python demo_logs/pictures.py`."""
    name = evening.name  # type: ignore[attr-defined]
    same((FOLDER / f"{name}.svg").read_text(encoding="utf-8"), PICTURES.picture(FOLDER / f"{name}.jsonl"))


def test_the_pictures_of_the_readme_are_the_programs_own() -> None:
    """One evening by day and by night, and the live view; else run `python demo_logs/pictures.py`."""
    drawn = PICTURES.for_readme()
    assert set(drawn) == {"evening-light.svg", "evening-dark.svg", "live-view.svg"}
    for name, text in drawn.items():
        same((FOLDER / name).read_text(encoding="utf-8"), text)
        assert f"demo_logs/{name}" in (FOLDER.parent / "README.md").read_text(encoding="utf-8")


def test_the_picture_of_the_evening_with_two_tanks_is_that_of_its_plan() -> None:
    """Else run `python demo_logs/pictures.py`."""
    same((FOLDER / "two-tanks.svg").read_text(encoding="utf-8"), PICTURES.two_tanks())


def test_the_journals_of_both_tanks_are_made_again_byte_for_byte() -> None:
    """Four films in two tanks, with a kill, a tap that nobody made and a probe that dies."""
    for number, text in MAKE.two_tanks().items():
        assert text == (FOLDER / f"{MAKE.TWO}-{number}.jsonl").read_bytes()


def test_the_timeline_of_both_tanks_is_that_of_their_journals_and_the_report_has_all_four() -> None:
    """Else run `python demo_logs/pictures.py`."""
    same((FOLDER / f"{MAKE.TWO}.svg").read_text(encoding="utf-8"), PICTURES.both_tanks())
    report = (FOLDER / f"{MAKE.TWO}.html").read_text(encoding="utf-8")
    assert all(report.count(f"27 Nov 2026, {film}") >= 2 for film in ("the millrace", "the sluice", "the drying loft", "the kiln at dusk"))


def test_the_live_evening_s_pictures_and_report_are_those_of_its_journals() -> None:
    """Else run `python demo_logs/pictures.py`."""
    live = FOLDER / "live-two-tanks"
    same((live / "evening.svg").read_text(encoding="utf-8"), PICTURES.live_tanks())
    for path in PICTURES.live_journals():
        same(path.with_suffix(".svg").read_text(encoding="utf-8"), PICTURES.picture(path))


@pytest.mark.parametrize("report", ["07-two-tanks.html", "live-two-tanks/report.html"])
def test_the_report_of_an_evening_is_that_of_its_journals(report: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Every word and every path in it; else run `python demo_logs/pictures.py`."""
    journals = PICTURES.reports()[FOLDER / report]
    assert evenbath(["review", *map(str, journals), "--report", str(tmp_path / "report.html")]) == 0
    stands, made = (path.read_text(encoding="utf-8") for path in (FOLDER / report, tmp_path / "report.html"))
    same(stands, made)
    assert re.sub(r"<[^>]*>", " ", stands) == re.sub(r"<[^>]*>", " ", made)


def test_the_live_evening_is_whole_and_tells_of_the_kill_the_tap_and_the_probe() -> None:
    """Played on the rig by `python -m tests.benchmarks.live_evening`; no call waited longer than 2.4 s."""
    journals = [load(path) for path in sorted((FOLDER / "live-two-tanks").glob("*.jsonl"))]
    assert [j.opening["evening"]["what"] for j in journals] == ["roll 21", "roll 22", "roll 23", "roll 24"]
    for journal in journals:
        assert not journal.findings.problems
        assert journal.close is not None
        assert journal.close["why"] == "finished"
        assert max(r["lateness_s"] for r in journal.of("cue") if r["cue"] == "now") <= 2.4
    assert [len([r for r in j.of("session") if r["event"] == "resume"]) for j in journals] == [1, 1, 0, 0]
    assert [r["stage"] for r in journals[2].of("stage") if r.get("assumed")] == [3]
    assert [r["probe"] for r in journals[3].of("trust") if not r["believed"]] == ["jug2"]


def test_the_wall_card_in_the_readme_is_the_programs_own() -> None:
    """The picture carries the digest of the page that it was made from; else run `python demo_logs/pictures.py`."""
    drawn = (FOLDER / "wall-card.png").read_bytes()
    assert drawn.startswith(b"\x89PNG")
    assert PICTURES.digest(PICTURES.card()).encode() in drawn
    assert len(drawn) < 150_000
