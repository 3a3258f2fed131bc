"""A dry run on a terminal: what is said of presses, and of those that never came."""

from __future__ import annotations

from monitor.cli.terminal.dry_run import MEANT, NOT_TOLD, DryRun
from monitor.core.journal.words import MEANINGS
from monitor.core.session.presses import TAUGHT
from tests.evening import FIX, STOP, Evening, develop, recipe

PLAN = recipe(develop("3:00"), STOP, FIX)


def followed(evening: Evening) -> str:
    """What stood on the terminal of somebody who followed this evening."""
    said: list[str] = []
    dry_run = DryRun(PLAN, {"probes": [], "vessel": None}, said.append)
    dry_run.begin()
    for record in evening.records:
        dry_run.take({"event": "record", "record": record})
    assert not dry_run.over
    dry_run.take({"event": "closed", "session": "x"})
    assert dry_run.over
    return "".join(said)


def test_every_meaning_has_its_words() -> None:
    """None is shown as a bare word."""
    assert set(MEANT) == set(MEANINGS)


def test_it_begins_with_what_the_foot_can_say() -> None:
    """And that the record is a rehearsal."""
    text = followed(Evening(PLAN, mode="rehearsal").open())
    assert all(f"  {does}: {means}\n" in text for does, means in TAUGHT)
    assert "marked as a rehearsal" in text


def test_after_each_press_it_says_what_that_meant() -> None:
    """A stumble before the begin, the begin, a question, pouring on time, NOW heard."""
    evening = Evening(PLAN, mode="rehearsal").open()
    evening.press(5.0).press(10.0, 1.2).press(60.0, 0.9)
    evening.press(evening.to(176.0).stage(1, "now")["t_s"] + 14.0)
    evening.press(evening.to(240.0).stage(2, "now")["t_s"] + 2.0)
    evening.to(evening.t_s + 30.0)
    text = followed(evening)
    told = [line.split("FOOT: ")[1].split(":")[0] for line in text.splitlines() if "FOOT: " in line]
    assert told == ["mark", "begin", "question", "poured", "heard"]
    assert f"    0:10  FOOT: begin: {MEANT['begin']}\n" in text
    assert NOT_TOLD not in text


def test_a_begin_that_nobody_told_is_said_with_what_can_still_be_done() -> None:
    """The stop bath is assumed at the planned end."""
    evening = Evening(PLAN, mode="rehearsal").open()
    evening.press(10.0, 1.2).to(220.0)
    text = followed(evening)
    assert text.count(NOT_TOLD) == 1
    assert "begin not told" in text
