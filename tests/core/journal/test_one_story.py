"""Summary, view and review tell one story of a session: when each stage began, who said so, and how long it took."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from monitor.core.journal.summary import Summary
from monitor.core.session.session import Session
from monitor.core.text.quantities import format_duration
from monitor.live.view.state import Watched
from monitor.review.load import load
from monitor.review.measures import measure
from monitor.review.summary import stage_label
from tests.evening import FIX, STOP, Evening, Record, develop, recipe

ROLL = recipe(develop("5:00"), STOP, FIX)
"""Developer to 5:00, stop to 6:00, fix from then on for 5:00 at least."""
PRESOAKED = recipe('name = "presoak"\nrole = "presoak"\ntime = "1:00"', develop("5:00"), STOP, FIX)
TRAY = recipe(
    'name = "develop"\nrole = "develop"\ntime = "5:00"\nreference = "20 C"\nagitation = "continuous"\n'
    "rate = { law = 'coefficient', per_10_c = 2.5 }",
    STOP,
    FIX,
    vessel="open tray",
    tail='[sheets]\ncount = 3\ninterval = "0:10"\n',
)
TOLD = re.compile(
    r"^  (?P<who>.+?): (?:(?:planned|at least) [\d:]+|no clock)"
    r"(?:, took (?P<took>-?[\d:.]+))?(?:;[^(]*)?(?P<assumed> \(begin not told\))?\.$"
)


@dataclass(frozen=True)
class Part:
    """A stage as one reader tells it."""

    who: str
    begin: str
    took: str
    assumed: bool


def restarted(dead: Evening, gap_s: float) -> Evening:
    """The same evening after the program was away."""
    alive = Evening(dead.session.recipe)
    alive.session = Session(dead.session.recipe, dead.session.beliefs, dead.session.options)
    for record in dead.records:
        alive.session.fold(json.loads(json.dumps(record)))
    alive.records = list(dead.records)
    alive.t_s = dead.t_s + gap_s
    alive._reading_s = float(int(alive.t_s) + 1)
    alive._do(alive.session.resume(alive.t_s, gap_s, same_boot=True))
    return alive


def abandoned(evening: Evening, at_s: float) -> Evening:
    """Ended from outside."""
    evening.to(at_s)
    evening._do(evening.session.abandon(at_s, "called away"))
    return evening


def in_the_tray(skip: int | None = None) -> Evening:
    """Three sheets in at 0, 10 and 20 s, perhaps with one tap missing."""
    evening = Evening(TRAY).begin()
    for sheet in (2, 3):
        if sheet != skip:
            evening.press(10.0 * (sheet - 1))
    return evening


EVENINGS: dict[str, tuple[Callable[[], Evening], list[tuple[str, float, float, bool]]]] = {
    "each pour told on time": (
        lambda: Evening(ROLL).begin().press(300.0).press(360.0).press(700.0),
        [("develop", 0, 300, False), ("stop", 300, 60, False), ("fix", 360, 340, False)],
    ),
    "a pour three seconds early": (
        lambda: abandoned(Evening(ROLL).begin().press(297.0), 320.0),
        [("develop", 0, 297, False), ("stop", 297, 23, False)],
    ),
    "missed begins that nobody answers": (
        lambda: abandoned(Evening(ROLL).begin(), 370.0),
        [("develop", 0, 300, False), ("stop", 300, 60, True), ("fix", 360, 10, True)],
    ),
    "a missed begin that a late tap corrects": (
        lambda: Evening(ROLL).begin().press(315.0).press(375.0).press(700.0),
        [("develop", 0, 315, False), ("stop", 315, 60, False), ("fix", 375, 325, False)],
    ),
    "two missed begins, a tap, and abandoned": (
        lambda: abandoned(Evening(ROLL).begin().press(381.0), 390.0),
        [("develop", 0, 300, False), ("stop", 300, 81, True), ("fix", 381, 9, False)],
    ),
    "two missed begins, a tap, and on to the end": (
        lambda: Evening(ROLL).begin().press(381.0).press(441.0).press(800.0),
        [("develop", 0, 300, False), ("stop", 300, 81, True), ("fix", 381, 419, False)],
    ),
    "abandoned in the developer": (
        lambda: abandoned(Evening(ROLL).begin(), 100.0),
        [("develop", 0, 100, False)],
    ),
    "abandoned after NOW": (
        lambda: abandoned(Evening(ROLL).begin(), 290.0),
        [("develop", 0, 290, False)],
    ),
    "a missed begin of the developer, corrected": (
        lambda: Evening(PRESOAKED).begin().press(68.0).press(368.0).press(428.0).press(750.0),
        [("presoak", 0, 68, False), ("develop", 68, 300, False), ("stop", 368, 60, False), ("fix", 428, 322, False)],
    ),
    "no switch at all": (
        lambda: Evening(ROLL, has_switch=False).open().to(800.0),
        [("develop", 30, 300, True), ("stop", 330, 60, True), ("fix", 390, 300.9, True)],
    ),
    "a restart in a stop whose begin was assumed, then the tap": (
        lambda: restarted(Evening(ROLL).begin().to(310.0), 3.0).press(316.0).press(376.0).press(720.0),
        [("develop", 0, 316, False), ("stop", 316, 60, False), ("fix", 376, 344, False)],
    ),
    "a restart after the tap that moved the second of two missed begins": (
        lambda: restarted(Evening(ROLL).begin().press(381.0).to(385.0), 2.0).press(441.0).press(800.0),
        [("develop", 0, 300, False), ("stop", 300, 81, True), ("fix", 381, 419, False)],
    ),
    "sheets, each told": (
        lambda: in_the_tray().press(300.0).press(310.0).press(320.0).press(380.0).press(700.0),
        [("develop, sheet 1", 0, 300, False), ("develop, sheet 2", 10, 300, False), ("develop, sheet 3", 20, 300, False),
         ("stop, sheet 3", 320, 60, False), ("fix", 380, 320, False)],
    ),
    "sheets, the second one's tap missing on its way in": (
        lambda: in_the_tray(skip=2).press(300.0).press(310.0).press(320.0).press(380.0).press(700.0),
        [("develop, sheet 1", 0, 300, False), ("develop, sheet 2", 10, 300, True), ("develop, sheet 3", 20, 300, False),
         ("stop, sheet 3", 320, 60, False), ("fix", 380, 320, False)],
    ),
    "sheets, the last one's way out corrected": (
        lambda: in_the_tray().press(300.0).press(310.0).press(333.0).press(393.0).press(700.0),
        [("develop, sheet 1", 0, 300, False), ("develop, sheet 2", 10, 300, False), ("develop, sheet 3", 20, 313, False),
         ("stop, sheet 3", 333, 60, False), ("fix", 393, 307, False)],
    ),
}  # fmt: skip


def by_summary(records: list[Record]) -> dict[str, Part]:
    """From the lines that a person reads; they do not say when a stage began."""
    summary = Summary()
    for record in records:
        summary.add(record)
    found = [m for m in map(TOLD.match, summary.lines()) if m]
    return {m["who"]: Part(m["who"], "", m["took"], bool(m["assumed"])) for m in found}


def by_review(records: list[Record], folder: Path) -> dict[str, Part]:
    """From the measures of the journal's file."""
    path = folder / "s.jsonl"
    path.write_text("".join(json.dumps({"session": "s", "wall": "2026-03-01T19:00:00Z", **r}) + "\n" for r in records))
    numbers = measure(load(path)).numbers
    assert numbers.problems == []
    parts = [Part(stage_label(s), format_duration(s.begin_s, 1), format_duration(s.actual_s, 1), s.begin_assumed) for s in numbers.stages]
    return {p.who: p for p in parts}


@pytest.mark.parametrize("what", EVENINGS)
def test_they_agree_and_tell_what_happened(what: str, tmp_path: Path) -> None:
    """Begin, actual time and `assumed` of every stage that has a clock; a stage that was taken back is told by nobody."""
    happen, expected = EVENINGS[what]
    evening = happen()
    review, summary = by_review(evening.records, tmp_path), by_summary(evening.records)
    clocks = {who for who, *_ in expected}
    assert {(p.who, p.begin, p.took, p.assumed) for p in review.values() if p.who in clocks} == {
        (who, format_duration(begin, 1), format_duration(took, 1), assumed) for who, begin, took, assumed in expected
    }
    assert {p.who.split(",")[0] for p in review.values()} == {who.split(",")[0] for who in clocks}
    assert {(p.who, p.took, p.assumed) for p in summary.values()} == {
        (p.who, p.took, p.assumed) for p in review.values() if p.who in clocks
    }
    watched = Watched(evening.session.recipe, "live")
    for record in evening.records:
        watched.record(record)
    first: dict[str, float] = {}
    for who, begin, *_ in expected:
        first.setdefault(who.split(",")[0], float(begin))
    assert [(name, round(t_s, 1)) for t_s, name in watched.begins] == list(first.items())


@pytest.mark.parametrize(
    ("opening", "said"),
    [
        ({"compared": False}, True),
        ({"compared": "2026-11-02"}, False),
        ({"probes": [{"role": "developer", "compared": None}, {"role": "bath", "compared": "2026-11-02"}]}, True),
        ({"probes": [{"role": "witness", "compared": "2026-11-02"}, {"role": "bath", "compared": None}]}, False),
        ({"probes": [{"role": "bath", "compared": None}]}, True),
    ],
)
def test_a_probe_that_was_never_compared_is_told_at_the_end_too(opening: dict[str, object], said: bool) -> None:
    """A rehearsal says it of its developer's probe, a station of each; where one lies in the developer, that one counts."""
    evening = Evening(ROLL)
    evening.begin().to(120)
    summary = Summary()
    for record in evening.records:
        kept = {key: value for key, value in record.items() if key not in ("compared", "probes")}
        summary.add(kept | opening if record.get("event") == "open" else kept)
    assert any("probe not compared" in line for line in summary.lines()) is said
