"""What a view knows of a session, and what it makes of it on the screen: one promise a test."""

from __future__ import annotations

import re

import pytest

from monitor.core.text.degrees import show_in
from monitor.live.view.hands import agitation, gate, hands
from monitor.live.view.state import NOTICE_S
from tests.evening import STOP, develop, recipe
from tests.live.view.teller import PRESOAKED, TRAY, Teller


def test_each_plus_minus_on_the_screen_is_two_standard_deviations() -> None:
    """One per cent of 5:00 and 4 s of standard deviation."""
    told = Teller()
    told.begin(1, 0.0)
    told.see(150.0)
    assert "50.0 % +/-2.0" in told.screen()
    assert "2:15  to POUR OFF" in told.screen()
    assert "earliest 2:07, latest 2:23" in told.screen()


def test_after_an_interruption_the_end_lies_between_two_times() -> None:
    """Nobody knows how long the power was gone."""
    told = Teller()
    told.begin(1, 0.0)
    told.see(150.0, earliest_end_t_s=285.0, latest_end_t_s=315.0)
    assert "between 4:37 and 5:23, counted 5:00" in told.screen()
    assert "5:00 +/-" not in told.screen()
    told.see(151.0)
    assert "between" not in told.screen()


def test_a_bad_reading_keeps_the_last_good_figure_with_its_own_age() -> None:
    """Not with that of the bad one."""
    told = Teller()
    told.reading(10.0, 19.5, "bowl", "bath")
    told.reading(60.0, None, "bowl", "bath", "crc")
    kept = told.watched.state.readings["bowl"]
    assert (kept.celsius, kept.t_s, kept.quality) == (19.5, 10.0, "crc")
    assert "bowl cannot be read, last good one 50 s ago" in told.screen()


def test_a_begin_that_was_only_assumed_asks_for_the_tap_until_it_is_answered() -> None:
    """By a tap that corrects it, or by the next begin that is told."""
    told = Teller()
    told.begin(1, 0.0)
    assumed = told.begin(2, 300.0, assumed=True)
    assert hands(told.watched.state).under == "STOP not confirmed: TAP as it goes in, HOLD if it went in on time"
    assert hands(told.watched.state).urgent
    told.tell("correction", 310.0, stage=2, begin_t_s=310.0, replaces_seq=assumed)
    assert not told.watched.seen.unconfirmed
    told.begin(3, 370.0, assumed=True)
    assert told.watched.seen.unconfirmed
    late = Teller()
    late.begin(1, 30.0, assumed=True)
    assert not late.watched.seen.unconfirmed, "nobody is asked about the first"


def test_what_was_forecast_from_a_begin_that_did_not_happen_counts_no_more() -> None:
    """The developer was poured 30 s later than had been assumed: until the next forecast the clock alone is known."""
    told = Teller(PRESOAKED)
    told.begin(1, 0.0)
    assumed = told.begin(2, 60.0, assumed=True)
    told.progress(80.0, stage=2, end_t_s=355.0)
    told.tell("correction", 90.0, stage=2, begin_t_s=90.0, replaces_seq=assumed)
    assert (told.watched.seen.began_s, told.watched.seen.end_t_s) == (90.0, 390.0)


def test_a_sheet_that_has_left_has_no_exit_any_more() -> None:
    """The other one has."""
    told = Teller(TRAY)
    told.begin(1, 0.0, sheet=1)
    told.begin(1, 20.0, sheet=2)
    assert told.watched.state.exits == [(1, 300.0), (2, 320.0)]
    told.tell("stage", 300.0, stage=2, name="stop", event="begin", role="stop", sheet=1)
    assert told.watched.state.exits == [(2, 320.0)]


def test_the_trace_draws_no_developer_that_nobody_measured_and_marks_what_was_estimated() -> None:
    """What the plan says was never seen."""
    told = Teller()
    told.begin(1, 0.0)
    for t_s, source in ((2.0, "clock"), (4.0, "held"), (6.0, "developer")):
        told.progress(t_s, source=source)
    assert [(p.developer_c, p.estimated) for p in told.watched.trace] == [(None, True), (20.0, True), (20.0, False)]


def test_estimated_seconds_are_those_of_the_development_alone() -> None:
    """A presoak whose end temperature moves has some too."""
    told = Teller(PRESOAKED)
    told.begin(1, 0.0)
    for t_s in (10.0, 30.0):
        told.progress(t_s, source="held")
    told.begin(2, 60.0)
    told.progress(70.0, stage=2, source="developer")
    assert told.watched.state.estimated_s == 0.0
    told.progress(80.0, stage=2, source="vessel model")
    assert told.watched.state.estimated_s == 10.0


def test_a_probe_that_is_back_is_told_with_the_time_it_was_not_believed() -> None:
    """From when it was lost to when it was believed again."""
    told = Teller()
    told.begin(1, 0.0)
    told.tell("trust", 60.0, probe="jug", believed=False, why="in air", since_t_s=55.0, source="held")
    assert told.watched.state.lost == {"jug": ("in air", 55.0)}
    told.tell("trust", 120.0, probe="jug", believed=True, why="agrees", since_t_s=110.0)
    assert told.watched.state.lost == {}
    assert told.watched.state.back == {"jug": (55.0, 120.0)}
    told.progress(122.0)
    assert "not believed from 0:55 to 2:00" in told.screen()


EXCHANGED = "exchanged with bowl: this probe is in the bath and that one in the developer; each is now taken for the other"


def words_of(told: Teller) -> str:
    """What is on the screen, without its line breaks."""
    return " ".join(told.screen().split())


def test_exchanged_probes_are_shown_in_each_others_place_from_then_on() -> None:
    """Neither is called lost, whatever was held against them before; the FAULT is over when it has sounded."""
    told = Teller()
    told.begin(1, 0.0)
    told.reading(50.0, 21.5, "jug", "developer")
    told.reading(50.5, 20.0, "bowl", "bath")
    told.tell("trust", 55.0, probe="jug", believed=False, why="in air", since_t_s=50.0, source="held")
    told.tell("trust", 60.0, probe="jug", believed=False, why=EXCHANGED, since_t_s=1.0, source="developer")
    told.tell("cue", 60.0, cue="fault", why=f"jug: {EXCHANGED}")
    told.reading(61.0, 21.6, "jug", "developer")
    told.progress(62.0)
    state = told.watched.state
    assert [(name, r.role, r.celsius) for name, r in state.readings.items()] == [("jug", "bath", 21.6), ("bowl", "developer", 20.0)]
    assert (state.lost, state.faults, state.exchanged) == ({}, [], ("jug", "bowl"))
    assert (told.watched.trace[-1].bath_c, told.watched.trace[-1].disbelieved_c) == (21.6, None)
    assert "jug and bowl are exchanged: each is taken for the other; leave them" in words_of(told)
    assert "FAULT, 0:02 ago: jug: exchanged with bowl" in words_of(told)
    assert told.said("sounded FAULT: jug: exchanged with bowl")
    assert told.said("Leave both probes where they are. Go on as called.")
    assert told.said(f"jug {EXCHANGED}")
    assert "NOT believed" not in told.screen()
    assert "21.60 C +/-" in told.screen()


def test_a_view_that_came_late_knows_of_an_exchange_from_the_snapshot() -> None:
    """And goes on showing each in the other's place."""
    told = Teller()
    told.reading(99.0, 21.5, "jug", "developer")
    told.reading(99.0, 20.0, "bowl", "bath")
    told.see(100.0, exchanged=("jug", "bowl"))
    told.see(101.0, exchanged=("jug", "bowl"))
    assert {name: heard.role for name, heard in told.watched.state.readings.items()} == {"jug": "bath", "bowl": "developer"}
    assert "jug and bowl are exchanged" in words_of(told)


def test_a_probe_that_counts_in_part_is_doubted_for_as_long_as_it_does() -> None:
    """On the screen all the time, in the lines once each."""
    told = Teller()
    told.begin(1, 0.0)
    why = "in part only: bath and vessel's lag put the developer 0.3 C below what this probe reads"
    told.tell("trust", 60.0, probe="jug", believed=True, why=why, since_t_s=60.0, source="developer")
    told.progress(100.0)
    assert "jug counts in part: the bath speaks against it; probe in the developer believed in part, 1 s ago" in words_of(told)
    assert told.said(f"jug counts {why}")
    assert told.watched.state.faults == []
    told.see(110.0, doubts={"jug": why})
    assert "jug counts in part" in words_of(told)
    told.tell("trust", 200.0, probe="jug", believed=True, why="whole again: the bath agrees", since_t_s=140.0, source="developer")
    told.see(202.0)
    assert "in part" not in told.screen()
    assert told.said("jug counts whole again: the bath agrees")


def test_a_baths_probe_that_is_not_believed_is_told_with_what_to_do_and_without_a_fault() -> None:
    """The developer's temperature is believed all the time. When nothing develops any more it is of no use to know."""
    told = Teller()
    told.begin(1, 0.0)
    why = "the developer does not follow it: it reads 4.0 C below its bath"
    told.tell("trust", 60.0, probe="bowl", believed=False, why=why, since_t_s=50.0, source="developer", loss=False)
    told.see(62.0, doubts={"bowl": why})
    said = "bowl NOT believed since 0:50: it reads 4.0 C below its bath; put it back into the bath; probe in the developer believed"
    assert said in words_of(told)
    assert told.watched.state.faults == []
    assert told.said(f"bowl not believed: {why}; put it back into the bath")
    told.begin(2, 300.0)
    told.see(302.0, stage=2, role="stop", doubts={"bowl": why})
    assert "bowl" not in told.screen()


def test_that_a_register_is_coarse_or_a_probe_was_dry_is_said_once_in_the_lines() -> None:
    """A probe that is lost stays so."""
    told = Teller()
    told.begin(1, 0.0)
    told.tell("trust", 10.0, probe="jug", believed=False, why="in air", since_t_s=8.0, source="held")
    for why in ("moves in steps of 0.25 C; a sound one moves in steps of 0.0625 C", "dry until 8 s after the begin; and so on"):
        told.tell("trust", 60.0, probe="jug", believed=True, why=why, since_t_s=60.0, source="developer")
        assert told.said(f"jug {why}")
    assert list(told.watched.state.lost) == ["jug"]


def test_a_developer_outside_the_recipes_data_is_told_with_what_is_known_there() -> None:
    """On the screen as long as it is so; in plain lines once, in the station's words. The next stage knows nothing of it."""
    told = Teller(recipe(develop("5:00"), develop("4:00").replace('"develop"', '"again"', 1), STOP))
    told.begin(1, 0.0)
    told.progress(2.0, developer_c=12.5)
    assert "outside data" not in told.screen()
    why = "outside data: 12.5 C, the recipe's data go from 16 C to 24 C; outside them the rate is three times as uncertain; and so on"
    told.tell("trust", 3.0, probe="developer", believed=True, why=why, since_t_s=3.0, source="developer")
    assert told.lines[-1].endswith(why)
    screen = " ".join(told.screen().split())
    assert "outside data: the recipe's data go from 16 C to 24 C; outside them the rate is three times as uncertain" in screen
    assert "hydroquinone nearly stops below about 13 C" in screen
    told.tell("trust", 50.0, probe="developer", believed=True, why="inside data again", since_t_s=50.0, source="developer")
    assert "outside data" not in told.screen()
    told.tell("trust", 60.0, probe="developer", believed=True, why=why, since_t_s=60.0, source="developer")
    told.begin(2, 300.0)
    told.progress(302.0, stage=2)
    assert "outside data" not in told.screen()


def test_a_view_that_comes_late_is_told_that_the_developer_is_outside_the_data() -> None:
    """By the snapshot alone, and in the degrees of the person."""
    told = Teller()
    told.begin(1, 0.0)
    told.see(100.0, outside_data="the recipe's data go from 16 C to 24 C; and so on")
    assert "outside data: the recipe's data go from 16 C to 24 C; and so on" in " ".join(told.screen().split())
    show_in("F")
    try:
        assert "outside data: the recipe's data go from 61 F to 75 F; and so on" in " ".join(told.screen().split())
    finally:
        show_in(None)


def test_a_snapshot_that_no_longer_names_a_probe_as_lost_is_believed() -> None:
    """A follower may have missed the record."""
    told = Teller()
    told.see(100.0, lost={"jug": "no reading"})
    assert "jug NOT believed when this view began" in told.screen()
    assert "FAULT  jug: no reading" in told.screen()
    told.see(110.0)
    assert told.watched.state.lost == {}


def test_news_goes_after_a_minute() -> None:
    """It is news no longer."""
    told = Teller()
    told.watched.notice("the end moved")
    told.see(NOTICE_S - 1.0)
    assert told.watched.state.notices == ["the end moved"]
    told.see(NOTICE_S + 1.0)
    assert told.watched.state.notices == []


def test_an_end_that_is_fixed_where_nobody_was_told_is_said() -> None:
    """At READY, from a second on."""
    told = Teller()
    told.begin(1, 0.0)
    told.progress(200.0, end_t_s=304.0)
    told.moment(1, "ready", 259.0, now_t_s=289.0, end_t_s=304.0)
    assert told.said("end 4 s later than planned: end 5:04")


def test_a_withheld_start_of_the_next_stage_is_told() -> None:
    """With what it waits for, while this stage still runs."""
    plan = recipe('name = "presoak"\nrole = "presoak"\ntime = "1:00"', develop("5:00", 'gate = { band = "0.2 C", for = "1:00" }'))
    told = Teller(plan)
    told.begin(1, 0.0)
    told.tell("gate", 10.0, state="withheld")
    assert gate(told.watched.state) == "the start of DEVELOP is withheld until the developer has been within 0.2 C of 20 C for 1:00"
    assert gate(told.watched.state) in told.screen()
    told.tell("gate", 20.0, state="open")
    assert gate(told.watched.state) == ""


def test_the_longest_time_of_a_stage_is_told() -> None:
    """Before its minimum is over, and after it."""
    told = Teller()
    told.begin(3, 360.0)
    told.reading(400.0, 20.0)
    assert hands(told.watched.state).told == "4:20 to the minimum; then TAP to end"
    assert hands(told.watched.state).under == "from 5:00 on, 12:00 at most"
    told.reading(661.0, 20.0)
    assert hands(told.watched.state).told == "6:59 to the limit; the minimum is over: TAP to end"


@pytest.mark.parametrize(
    ("at_s", "said"),
    [(3.0, "AGITATE until 0:30"), (40.0, "next 1:00, for 0:10"), (65.0, "AGITATE until 1:10"), (262.0, "let it stand"), (286.0, "")],
)
def test_what_is_moved_stands_beside_its_rail(at_s: float, said: str) -> None:
    """Until when, or when next; at rest before NOW, and nothing from NOW on."""
    told = Teller(recipe(develop("5:00", 'agitation = [{ from = "0:00", for = "0:30" }, { every = "1:00", for = "0:10" }]'), STOP))
    told.begin(1, 0.0)
    told.progress(at_s)
    assert agitation(told.watched.state) == said
    assert re.search(rf"move .*  {said}\n" if said else r"move +[= ]*\n", told.screen())


def test_past_the_longest_time_the_view_is_not_calm() -> None:
    """Its row is inverse and says by how much, and that the film must come out."""
    told = Teller()
    told.begin(3, 360.0)
    told.reading(360.0 + 726.0, 20.0)
    assert hands(told.watched.state).alarm
    told.tell("cue", 360.0 + 725.5, cue="now")
    assert "LIMIT PASSED 0:06: take it out" in told.screen()
    assert "let it stand" not in told.screen()
    assert "NOW: pour" not in told.screen(), "one thing is to be done"


@pytest.mark.parametrize(("at_s", "said"), [(100.0, "3:05 to POUR OFF"), (260.0, "0:25 READY to POUR OFF"), (286.0, "NOW POUR OFF")])
def test_the_hands_are_told_ready_and_now_in_their_turn(at_s: float, said: str) -> None:
    """From the records alone."""
    told = Teller()
    told.begin(1, 0.0)
    if at_s > 255.0:
        told.moment(1, "ready", 255.0, now_t_s=285.0, end_t_s=300.0)
    told.progress(at_s)
    assert hands(told.watched.state).told.startswith(said)


def test_the_bar_without_a_rate_says_that_it_shows_time() -> None:
    """A share of the time is no development."""
    told = Teller()
    told.begin(1, 0.0)
    told.begin(2, 300.0)
    told.reading(330.0, 20.0)
    assert re.search(r"done +#+R#+\.+N\.+ +50 % of the time", told.screen())
