"""The pre-flight list as data: which items belong to which recipe."""

from __future__ import annotations

import pytest

from monitor.core.recipe.checklist import ITEMS, PARTS, items_for
from monitor.core.recipe.reader import load_recipe
from tests.core.recipe.samples import ROLL, TRAY, changed
from tests.prepare.test_cautions import COLOUR

LOADED = changed(ROLL, '[[stage]]\nname = "develop" => [[stage]]\nname = "load"\nrole = "load"\n\n[[stage]]\nname = "develop"')
DARK_LIST = {"box", "board lamps", "phone", "standby", "machines", "detector", "gaps", "tubes", "tested dark", "way out"}


def ids(text: str) -> list[str]:
    """The list of a recipe, by id."""
    return [item.id for item in items_for(load_recipe(text.encode(), "r.toml"))]


def test_open_film_has_the_whole_dark_list_and_a_lidded_tank_has_not() -> None:
    """Loading a tank asks one question about the dark."""
    assert set(ids(TRAY)) >= DARK_LIST
    assert not DARK_LIST & set(ids(ROLL))
    assert "loading" not in ids(ROLL)
    assert "loading" in ids(LOADED)
    assert "loading" not in ids(TRAY)
    assert not DARK_LIST & set(ids(LOADED))


def test_infrared_film_asks_for_invisible_light_too() -> None:
    """Only there."""
    assert "infrared" in ids(changed(TRAY, "panchromatic => infrared"))
    assert "infrared" not in ids(TRAY)


def test_colour_asks_for_circulation_and_not_for_a_leader() -> None:
    """And black and white the other way round."""
    assert "circulation" in ids(COLOUR)
    assert "leader" not in ids(COLOUR)
    assert "leader" in ids(ROLL)
    assert "circulation" not in ids(ROLL)


@pytest.mark.parametrize("text", [ROLL, TRAY, COLOUR, LOADED])
def test_every_session_asks_for_a_second_clock_ears_and_jugs(text: str) -> None:
    """Of a person; disk, probes, switch and clock of the machine."""
    recipe = load_recipe(text.encode(), "r.toml")
    asked = {item.id: item.asked_of for item in items_for(recipe)}
    assert {"plan", "jugs", "second clock", "sounder", "alarms"} <= {i for i, of in asked.items() if of == "person"}
    assert {"probes", "disk", "clock", "switch", "power", "compared"} <= {i for i, of in asked.items() if of == "machine"}


def test_the_order_is_that_of_the_parts() -> None:
    """Solutions first, the dark near the end, hands last; each id once; each no has a meaning."""
    order = list(PARTS)
    places = [order.index(item.part) for item in ITEMS]
    assert places == sorted(places)
    assert len({item.id for item in ITEMS}) == len(ITEMS)
    assert all(item.text.endswith("?") and item.if_no for item in ITEMS)


def test_a_drum_may_be_warmed_dry_in_place_of_a_water_presoak() -> None:
    """One question for a drum, another for a tank (both common practice, no source)."""
    drum = changed(ROLL, "lidded tank => drum")
    assert "prewarm drum" in ids(drum)
    assert "prewarm" not in ids(drum)
    assert "prewarm drum" not in ids(ROLL)
    assert "prewarm" in ids(ROLL)
    (asked,) = (item for item in ITEMS if item.id == "prewarm drum")
    assert "water presoak, or dry" in asked.text


def test_infrared_film_doubts_black_plastic_and_cloth() -> None:
    """In a closed tank too (common practice, no source)."""
    assert "infrared tight" in ids(changed(ROLL, "panchromatic => infrared"))
    assert "infrared tight" not in ids(ROLL)


def test_it_is_the_solution_that_has_to_be_deep_not_the_tray() -> None:
    """15 mm of it: common practice, no source."""
    (asked,) = (item for item in ITEMS if item.id == "trays")
    assert asked.text.startswith("Solution at least 15 mm deep in each tray")


PAPER = changed(TRAY, "panchromatic => paper")


def test_paper_asks_for_its_safelight_and_a_strip_in_place_of_a_leader() -> None:
    """Its colour from the paper's sheet, tested; the rest of the dark list stands."""
    assert {"safelight", "paper strip", "tested dark", "phone"} <= set(ids(PAPER))
    assert not {"leader", "clearing"} & set(ids(PAPER))
    assert "safelight" not in ids(TRAY)


def said(text: str) -> str:
    """All that the checklist of this recipe says."""
    return " ".join(f"{item.text} {item.if_no}" for item in items_for(load_recipe(text.encode(), "r.toml")))


def test_the_checklist_uses_the_vessels_own_words() -> None:
    """A jug is poured from; sheets and prints go into trays, hangers into tanks."""
    tank = changed(TRAY, "open tray => open tank")
    assert "Are the jugs lined up" in said(ROLL)
    assert "with the first pour?" in said(ROLL)
    assert "Are the trays lined up" in said(TRAY)
    assert "as the first sheet goes in?" in said(TRAY)
    assert "Are the tanks lined up" in said(tank)
    assert "deep enough in each tank to cover hanger and film" in said(tank)
    assert "15 mm" not in said(tank)
    assert not {"{", "}"} & set(said(ROLL) + said(TRAY) + said(tank) + said(PAPER))


WASH = '\n[[stage]]\nname = "wash"\nrole = "wash"\ntime = "5:00"\n'


def test_the_wash_is_held_against_the_baths_not_against_a_fixer() -> None:
    """A kit with a bleach-fix has none, and washes near its 38 C."""
    assert "within 3 C of the baths before it (near 20 C)" in said(ROLL + WASH)
    assert "within 3 C of the fixer" not in said(ROLL + WASH)


def test_a_drum_with_paper_has_no_reel() -> None:
    """Paper sticks to a wet wall."""
    drum = changed(ROLL, "lidded tank => drum", 'name = "develop" => name = "load"\nrole = "load"\n\n[[stage]]\nname = "develop"')
    paper = changed(drum, "panchromatic => paper")
    assert "dry" in ids(drum)
    assert "dry drum" in ids(paper)
    assert "dry" not in ids(paper)
    assert " reel" not in said(paper)
    assert "does its roller base reverse by itself" in said(paper)


def test_a_developer_of_one_part_is_not_asked_for_two() -> None:
    """Most paper developers are one concentrate; a leader may be a snip of the sheet film itself."""
    assert "if it comes in parts, are all of them in it?" in said(PAPER)
    assert "a snip of the same film" in said(TRAY)
