"""When anything may be lit, what is shown once a session is over, and who goes first of two films."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from monitor.core.journal.snapshot import Snapshot
from monitor.page.board import DONE_S, Board
from tests.page.served import DEMO, PROBES
from tests.page.test_journals import put

BLACK_S = 15.0
WALL = datetime(2026, 11, 6, 20, 0, tzinfo=UTC)
LIT = {"station": "laundry", "light": True, "films": [], "probes": PROBES}
DARK = {"station": "laundry", "light": False}


def board(folder: Path, wall: datetime = WALL) -> Board:
    """Of a folder of journals."""
    return Board(folder, BLACK_S, lambda: wall)


def test_without_the_stations_word_nothing_is_lit_while_a_session_is_open(tmp_path: Path) -> None:
    """Whether it was never heard or has fallen silent; a lidded session too, once it is silent for long."""
    put(tmp_path, "01-cold-laundry", closed=False)
    made = board(tmp_path)
    assert made.snapshot(0.0) == {"light": False}
    made.word(LIT, 10.0)
    assert made.light(10.0)
    assert made.light(10.0 + BLACK_S), "its values are old, and it says so"
    assert made.snapshot(10.1 + BLACK_S) == {"light": False}


def test_a_silent_station_with_bare_film_on_the_disk_is_dark_at_once(tmp_path: Path) -> None:
    """It was armed after the last word that allowed light."""
    made = board(tmp_path)
    made.word(LIT, 10.0)
    put(tmp_path, "03-six-sheets", closed=False)
    assert made.light(13.0)
    assert not made.light(13.1)


def test_a_dark_word_holds_until_another_one_comes(tmp_path: Path) -> None:
    """Silence after it gives no light back, whatever the disk says."""
    made = board(tmp_path)
    made.word(DARK, 10.0)
    for now_s in (10.0, 14.0, 60.0, 6000.0):
        assert made.snapshot(now_s) == {"light": False}
    made.word(LIT, 6000.0)
    assert made.light(6000.0)


def test_with_no_station_and_no_open_session_the_page_says_so(tmp_path: Path) -> None:
    """A black page without a reason would send people looking."""
    told = board(tmp_path).snapshot(0.0)
    assert told["slots"]["trust"] == "No station answers."
    assert told["station_age_s"] is None


def test_the_age_of_the_word_and_of_the_measurement_both_grow(tmp_path: Path) -> None:
    """While the station is silent."""
    made = board(tmp_path)
    made.word(LIT, 10.0)
    first, later = made.snapshot(10.5), made.snapshot(16.5)
    assert (first["station_age_s"], later["station_age_s"]) == (0.5, 6.5)
    assert later["age_s"] - first["age_s"] == pytest.approx(6.0)


def test_a_tray_that_was_abandoned_keeps_a_page_without_a_station_dark(tmp_path: Path) -> None:
    """For an hour after its close, by the journal; a page that begins then knows no more than that."""
    session = put(tmp_path, "03-six-sheets", closed=True, until_s=200.0)
    close = {"seq": 10**6, "session": session, "t_s": 200.0, "wall": "2026-11-06T20:00:00+00:00", "kind": "session", "event": "close"}
    with (tmp_path / f"{session}.jsonl").open("a") as file:
        file.write(json.dumps({**close, "why": "enough"}) + "\n")
    assert board(tmp_path, WALL + timedelta(minutes=59)).snapshot(0.0) == {"light": False}
    assert board(tmp_path, WALL + timedelta(minutes=61)).light(0.0)


def test_after_the_dark_the_session_that_was_over_last_is_shown(tmp_path: Path) -> None:
    """Not the one that this page itself has seen to its end before."""
    wall = str(json.loads((DEMO / "03-six-sheets.jsonl").read_text().splitlines()[-1])["wall"])
    made = board(tmp_path, datetime.fromisoformat(wall) + timedelta(minutes=1))
    earlier = put(tmp_path, "01-cold-laundry", closed=True)
    made.word({**LIT, "films": [film(earlier, 500.0)]}, 8.0)
    made.word(LIT, 9.0)
    made.word(DARK, 10.0)
    later = put(tmp_path, "03-six-sheets", closed=True)
    assert later > earlier
    made.word(LIT, 20.0)
    assert made.snapshot(20.0)["slots"]["report"] == later


def test_a_session_that_was_closed_is_shown_until_the_next_one_or_for_an_hour(tmp_path: Path) -> None:
    """Also by a page that began after it."""
    session = put(tmp_path, "01-cold-laundry", closed=True)
    wall = str(json.loads((DEMO / "01-cold-laundry.jsonl").read_text().splitlines()[-1])["wall"])
    closed = datetime.fromisoformat(wall)
    made = board(tmp_path, closed + timedelta(minutes=5))
    made.word(LIT, 100.0)
    assert made.snapshot(100.0)["state"] == "done"
    assert made.snapshot(100.0)["slots"]["report"] == session
    made.word(LIT, 100.0 + DONE_S)
    assert made.snapshot(100.0 + DONE_S)["state"] == "waiting"
    old = board(tmp_path, closed + timedelta(hours=2))
    old.word(LIT, 100.0)
    assert old.snapshot(100.0)["state"] == "waiting"


def film(session: str, now_s: float) -> dict[str, Any]:
    """A word's film in its first stage, whose NOW comes at `now_s`."""
    seen = Snapshot(
        t_s=100.0, stages=3, stage=1, name="develop", role="develop", until="time", steered=True, began_s=0.0, planned_s=660.0,
        developer_c=20.0, developer_sd_c=0.1, developer_age_s=0.5, source="developer", now_s=now_s, end_t_s=now_s + 15.0, end_sd_s=3.0,
        done_ref_s=100.0, done_sd_ref_s=1.0, target_ref_s=660.0,
    )  # fmt: skip
    return {"session": session, "recipe": "x", "vessel": session, "mode": "live", "view": seen.plain()}


def test_of_two_films_the_one_whose_hands_are_due_next_goes_first(tmp_path: Path) -> None:
    """And the other one is told in a line."""
    first, second = (put(tmp_path, name, closed=False, until_s=90.0) for name in ("01-cold-laundry", "02-probe-knocked-out"))
    made = board(tmp_path)
    made.word({**LIT, "films": [film(first, 500.0), film(second, 300.0)]}, 10.0)
    told = made.snapshot(10.0)
    assert [f["session"] for f in told["films"]] == [second, first]
    assert [f["vessel"] for f in told["films"]] == [second, first]
    assert told["to_pour_s"] == told["films"][0]["to_pour_s"]
    assert len(told["others"]) == 1


def test_of_two_films_each_is_called_by_its_vessel_and_its_name(tmp_path: Path) -> None:
    """The one above, the one below, and the one that the next tap counts for."""
    first, second = (put(tmp_path, name, closed=False, until_s=90.0) for name in ("01-cold-laundry", "02-probe-knocked-out"))
    made = board(tmp_path)
    films = [{**film(first, 500.0), "vessel": "left", "what": "roll 1"}, {**film(second, 300.0), "vessel": "right", "what": "roll 2"}]
    made.word({**LIT, "films": films, "tap_for": first}, 10.0)
    told = made.snapshot(10.0)
    assert told["slots"]["whose"] == "RIGHT · roll 2"
    assert told["slots"]["said"].startswith("RIGHT · roll 2. ")
    assert told["others"][0] == "A tap now counts for LEFT · roll 1."
    made.word({**LIT, "films": films, "tap_for": first, "tap_then": second}, 11.0)
    assert made.snapshot(11.0)["others"][0] == "A tap now counts for LEFT · roll 1; from NOW on for RIGHT · roll 2."
    assert told["others"][1].startswith("LEFT · roll 1: DEVELOP · 1 of 3: 6:40 to POUR OFF")


def test_when_both_films_want_the_hands_at_once_it_is_said_first(tmp_path: Path) -> None:
    """In the page's own words, by vessel and name, as old as the station's word is; nothing where nothing clashes."""
    first, second = (put(tmp_path, name, closed=False, until_s=90.0) for name in ("01-cold-laundry", "02-probe-knocked-out"))
    made = board(tmp_path)
    films = [{**film(first, 500.0), "vessel": "left", "what": "roll 1"}, {**film(second, 300.0), "vessel": "right", "what": "roll 2"}]
    clash = {"first": "left", "then": "right", "why": "develop before fix: development does not wait", "overlap_s": 12.0, "in_s": 95.5}
    made.word({**LIT, "films": films, "clash": clash}, 10.0)
    said = "both films want your hands: LEFT · roll 1 first, then RIGHT · roll 2 (develop before fix: development does not wait)."
    assert made.snapshot(10.0)["others"][0] == f"In 1:35 {said}"
    assert made.snapshot(12.0)["others"][0] == f"In 1:33 {said}"
    made.word({**LIT, "films": films, "clash": {**clash, "in_s": 0.0}}, 13.0)
    assert made.snapshot(13.0)["others"][0] == f"Now {said}"
    made.word({**LIT, "films": films, "clash": None}, 14.0)
    assert "both" not in "".join(made.snapshot(14.0)["others"])


def test_the_films_that_wait_and_the_next_ones_say_when_they_begin(tmp_path: Path) -> None:
    """By the evening's plan, as old as the station's word is; nothing where nothing says."""
    first = put(tmp_path, "01-cold-laundry", closed=False, until_s=90.0)
    made = board(tmp_path)
    coming = [
        {"vessel": "right", "what": "roll 2", "begins_in_s": 34.6},
        {"vessel": "left", "what": "roll 3", "begins_in_s": None},
        {"vessel": None, "what": "roll 4", "begins_in_s": -75.0},
    ]
    made.word({**LIT, "films": [{**film(first, 500.0), "begins_in_s": None}], "to_come": coming}, 10.0)
    assert made.snapshot(10.0)["others"] == ["RIGHT · roll 2: begins in 0:34.", "roll 4: was to begin 1:15 ago."]
    assert made.snapshot(12.0)["others"][0] == "RIGHT · roll 2: begins in 0:32."


def test_a_developer_that_is_due_goes_before_a_fix_that_is_past_its_limit(tmp_path: Path) -> None:
    """Both are NOW; the developer never waits."""
    first, second = (
        put(tmp_path, name, closed=False, until_s=until) for name, until in (("01-cold-laundry", 750.0), ("02-probe-knocked-out", 90.0))
    )
    fix = {"stage": 3, "name": "fix", "role": "fix", "until": "tap", "steered": False, "began_s": 750.0, "t_s": 1900.0, "end_t_s": 1050.0}
    made = board(tmp_path)
    over, due = film(first, 90.0), film(second, 90.0)
    made.word({**LIT, "films": [{**over, "view": {**over["view"], **fix, "now_s": None}}, due]}, 10.0)
    told = made.snapshot(10.0)
    assert [f["state"] for f in told["films"]] == ["now", "now"], "the one is past its limit, the other one is due"
    assert told["films"][0]["session"] == second


def test_while_a_session_is_armed_or_the_word_is_dark_nothing_is_computed_that_can_wait(tmp_path: Path) -> None:
    """Reports are asked for elsewhere: this says when not."""
    made = board(tmp_path)
    made.word(LIT, 1.0)
    assert not made.session_runs
    made.word(DARK, 2.0)
    assert made.session_runs
    made.word({**LIT, "films": [film(put(tmp_path, "01-cold-laundry", closed=False), 300.0)]}, 3.0)
    assert made.session_runs


def test_a_session_whose_journal_cannot_be_read_is_never_called_none(tmp_path: Path) -> None:
    """By the station's own snapshot: when the hands are wanted, and that the rest is not known here."""
    made = board(tmp_path)
    made.word({**LIT, "films": [film("261106-1910a", 300.0)]}, 10.0)
    told = made.snapshot(10.0)
    assert (told["state"], told["slots"]["head"]) == ("running", "DEVELOP")
    assert (told["slots"]["figure"], told["slots"]["verb"]) == ("3:20", "to POUR OFF")
    assert "cannot be read here" in told["slots"]["trust"]
    made.word({**LIT, "films": [film("261106-1910a", 90.0)]}, 11.0)
    assert made.snapshot(11.0)["slots"]["figure"] == "NOW"
