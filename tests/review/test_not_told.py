"""A begin that nobody told, and lateness that is the station's: what review, report, judge and check make of them."""

from __future__ import annotations

import json
from pathlib import Path

from monitor.core.journal.summary import Summary
from monitor.review import summary
from monitor.review.check import check
from monitor.review.judgement import NOT_TOLD, Judgement, advice
from monitor.review.load import Journal, load
from monitor.review.measures import measure
from monitor.review.numbers import StageMeasures
from monitor.review.pages.session import session_page
from tests.core.session.test_session_fold import revive
from tests.evening import FIX, STOP, Evening, develop, recipe

PLAN = recipe(develop("5:00"), STOP, FIX)


def kept(evening: Evening, folder: Path) -> Journal:
    """The evening's records as a journal's file, read again."""
    path = folder / "s.jsonl"
    lines = [json.dumps({"session": "261126-2010a", "wall": "2026-11-26T20:10:00.000Z"} | r) + "\n" for r in evening.records]
    path.write_text("".join(lines), encoding="utf-8")
    return load(path)


def developed(journal: Journal) -> StageMeasures:
    """The develop stage."""
    return measure(journal).numbers.stages[0]


def test_a_pour_that_nobody_told_is_called_so_and_what_it_may_mean_is_said(tmp_path: Path) -> None:
    """The film may have stayed in the developer until the stop's READY: the record says how much that would have been."""
    evening = Evening(PLAN).begin().to(420)
    journal = kept(evening, tmp_path)
    stage = developed(journal)
    assert not stage.end_told
    assert stage.overrun_s is None
    assert stage.may_have_done_percent is not None
    assert 104.0 < stage.may_have_done_percent < 110.0  # 20 s more of 5:00 at the reference are 6.7 %
    said = summary.planned_sentence(stage)
    assert "not told" in said
    assert f"its development was {stage.may_have_done_percent:.0f} %" in said
    assert ">not told<" in session_page(journal, measure(journal))
    short = Summary()
    for record in evening.records:
        short.add(record)
    assert any(line.startswith("  stop: ") and "(begin not told)" in line for line in short.lines())


def test_no_advice_is_drawn_from_a_development_whose_end_nobody_told(tmp_path: Path) -> None:
    """Thick film may be its fault or the recipe's; the record does not know."""
    stage = developed(kept(Evening(PLAN).begin().to(420), tmp_path))
    seen = Judgement(wall="2026-11-27T20:00:00.000Z", session="261126-2010a", density="dense", seen=("dense-highlights",))
    lines = advice(seen, stage)
    assert NOT_TOLD in lines
    assert not any("100 %" in line for line in lines)


def test_a_begin_settled_by_a_tap_at_now_or_by_a_long_press_after_it_agrees_with_the_journal(tmp_path: Path) -> None:
    """No press lies at such a begin, and none has to."""
    heard = Evening(PLAN).begin().to(292).press(292.0).to(400)
    assert heard.kind("tap")[-1]["meaning"] == "heard"
    on_time = Evening(PLAN).begin().to(305).press(305.0, 1.0).to(400)
    assert on_time.kind("tap")[-1]["meaning"] == "on time"
    for number, evening in enumerate((heard, on_time)):
        folder = tmp_path / str(number)
        folder.mkdir()
        journal = kept(evening, folder)
        assert [line for line in check(journal, measure(journal)).disagree if "press" in line] == []
        assert developed(journal).end_told


def test_lateness_is_the_stations_where_it_was_away_when_now_fell_due(tmp_path: Path) -> None:
    """The pour came late because NOW did: said beside the pour, not laid at anybody's door."""
    dead = Evening(PLAN).begin().to(283)
    alive = revive(dead, 10.0)
    alive.to(302).press(302.0).to(400)
    stage = developed(kept(alive, tmp_path))
    assert stage.station_late_s is not None
    assert 8.0 < stage.station_late_s < 11.0
    assert "because the station was away" in summary.planned_sentence(stage)
