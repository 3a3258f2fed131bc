"""The card of an evening for the wall: all that a person without a unit needs, on one page."""

from __future__ import annotations

import re

from monitor.prepare.evening.planned import planned
from monitor.prepare.evening.supplies import supplies
from monitor.prepare.paper.evening_card import evening_card_html
from tests.prepare.evening.samples import BESIDE, evening_of, film
from tests.prepare.evening.test_planned import ROLL as DILUTED
from tests.prepare.evening.test_planned import TODAY

OWN = BESIDE["roll.toml"].replace("10:00", "11:00").replace('name = "Roll"', 'name = "Another"')
FOUR = film(vessel="left") + film(vessel="right", start="+4:00") + film(vessel="left") + film(vessel="right")
EVENINGS: dict[str, tuple[str, dict[str, str]]] = {
    "two tanks": (FOUR, {}),
    "one tank": (film() * 3, {}),
    "two recipes": (film(vessel="left") + film("own.toml", vessel="right", start="+25:00"), {"own_toml": OWN}),
    "beside a tray": (film(vessel="left") + film("tray.toml", vessel="right", start="+20:00"), {}),
    "twelve": ((film(vessel="left") + film(vessel="right")) * 6, {}),
}


def card(films: str = FOUR, switches: int | None = None, more: dict[str, str] | None = None) -> str:
    """The page of this evening."""
    plan = planned(evening_of(films, **(more or {})), {}, TODAY)
    return evening_card_html(plan, supplies(plan), switches)


def words(page: str) -> str:
    """What is read on it."""
    body = page[page.index("<body>") :]
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", re.sub(r"<svg.*?</svg>", " ", body, flags=re.S)))


def test_every_bath_of_every_film_has_its_time_by_the_second_clock() -> None:
    """When it goes in and when the one before leaves; the last bath's end; what may wait is marked."""
    told = words(card())
    for wanted in (
        "0:00 develop 10:00, pour off 9:45", "10:00 stop 1:00, pour off 10:50", "11:00 fix at least 5:00 (w)", "16:00 film out (w)",
        "4:00 develop 10:00, pour off 13:45", "22:00 develop 10:00, pour off 31:45", "2 right", "3 left",
    ):  # fmt: skip
        assert wanted in told
    assert "Start a second clock with the first pour" in told


def test_the_times_at_other_temperatures_stand_beside_it() -> None:
    """For each recipe once."""
    told = words(card())
    assert "develop: time at one steady temperature" in told
    assert told.count("time at one steady temperature") == 1
    assert "20 C 10:00 9:33" in told
    other, more = EVENINGS["two recipes"]
    assert words(card(other, more=more)).count("time at one steady temperature") == 2


def test_each_table_of_times_says_whose_it_is() -> None:
    """Its recipe, the films that follow it and their vessels: a table read for the wrong film gives the wrong developing time."""
    other, more = EVENINGS["two recipes"]
    page = card(other + film(vessel="left") + film(vessel="right"), more=more)
    headings = [re.sub(r"\s+", " ", heading) for heading in re.findall(r"<h2>([^<]*time at one steady[^<]*)</h2>", page)]
    assert [heading.partition(": time at")[0] for heading in headings] == [
        "Roll (films 1 and 3, left; film 4, right): develop",
        "Another (film 2, right): develop",
    ]
    assert "Roll (films 1 to 3): develop: time at" in words(card(film() * 3))
    assert "Roll (films 1 and 3, left; film 4, right): develop 20 C, move" in words(page)
    tray, more = EVENINGS["beside a tray"]
    assert re.search(r"\(film 2, right\): sheets, counted from the first one in", words(card(tray, more=more)))


def test_each_jug_says_which_films_it_is_for() -> None:
    """In the order of the films."""
    other, more = EVENINGS["two recipes"]
    page = card(other + film(vessel="left"), more=more)
    jugs = words(page[page.index("<b>Jugs:</b>") : page.index("</p>", page.index("<b>Jugs:</b>"))].join(("<body>", "")))
    entries = [entry.strip(" .") for entry in jugs.split("Jugs:")[1].split(";")]
    assert [entry.partition(" ,")[0] for entry in entries] == ["develop", "stop", "fix"]
    assert all(entry.endswith(", films 1 to 3") for entry in entries)
    afresh = words(card(film() * 2, more={"roll_toml": DILUTED}))
    assert "1+31, 512 ml, fresh for film 1;" in afresh
    assert "1+31, 512 ml, fresh for film 2;" in afresh


def test_the_sounds_the_switch_and_the_dead_unit_are_on_it() -> None:
    """With what the second vessel's sounds have besides, and when a film takes presses."""
    told = words(card())
    for wanted in (
        "NOW five fast, one long", "RIGHT: READY, NOW and ANSWER end with two short pulses", "One switch:", "Two switches:",
        "If the unit is dead", "A smoke or gas alarm always comes first", "Go on by the second clock", "Emergency number",
        "from 2:00 before its time on", "hold a second (YES: armed), hold again: it begins", "a developer goes first",
    ):  # fmt: skip
        assert wanted in told, wanted
    assert "Two switches:" not in words(card(switches=1))
    assert "One switch:" not in words(card(switches=2))
    alone = words(card(film() * 2))
    assert "two short pulses" not in alone
    assert "A later film: load it in the dark" in alone


def test_each_bath_says_how_warm_it_is_how_it_is_moved_and_how_long_it_may_wait() -> None:
    """From the recipe."""
    told = words(card())
    assert "develop 20 C, move first 0:30, then 0:10 every 2:00; no movement in the last 0:30; may wait NEVER." in told
    assert "stop near 20 C, move none; may wait a minute or two" in told


def test_sheets_have_their_own_times_on_it() -> None:
    """As on the card of one film."""
    films, more = EVENINGS["beside a tray"]
    assert "sheets, counted from the first one in" in words(card(films, more=more))


def test_what_a_film_is_called_is_text_and_the_page_stands_alone() -> None:
    """No markup from outside, no script, nothing fetched."""
    page = card(film(vessel="left").replace('vessel = "left"', 'vessel = "left"\nwhat = "<b>one</b> & two"') + film(vessel="right"))
    assert "<b>one" not in page
    assert "&lt;b&gt;one&lt;/b&gt; &amp; two" in page
    assert not re.search(r"<script|<img|<link|https?:|url\(|@import|src=", page.replace("local(", ""))


LIGHT = BESIDE["roll.toml"].replace(
    '[[stage]]\nname = "stop"',
    '[[stage]]\nname = "bleach"\nrole = "bleach"\ntime = "5:00"\n\n[[stage]]\nname = "wash and light"\nrole = "wash"\ntime = "4:00"\n\n'
    '[[stage]]\nname = "second developer"\nrole = "develop"\nsteer = false\ntime = "5:00"\n\n[[stage]]\nname = "stop"',
)


def test_the_lid_of_a_reversal_in_an_evening_comes_off_for_its_light() -> None:
    """The other film's stays on until fixed; nobody stands in the dark beside closed tanks."""
    told = words(card(film() + film("own.toml"), more={"own_toml": LIGHT}))
    assert "lids on until fixed; film 2: lid on until stage 3 (wash and light)." in told
    assert "Stay in the dark" not in told
    beside, more = EVENINGS["beside a tray"]
    both = words(card(beside, more=more))
    assert "Stay in the dark." in both
    assert "Jugs and trays:" in both
