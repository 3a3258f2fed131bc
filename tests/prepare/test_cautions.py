"""Which cautions belong to which recipe, and that the rule about data sheets ends every list."""

from __future__ import annotations

from pathlib import Path
from typing import get_args

import pytest

from monitor.cli.main import main
from monitor.core.recipe.reader import load_recipe
from monitor.core.recipe.values import Recipe
from monitor.prepare.cautions import CAUTIONS, RULE, Place, cautions_at, cautions_for, discard_cautions, named_hazards, sensitises
from tests.core.recipe.samples import ROLL, TRAY, changed


def recipe(text: str) -> Recipe:
    """A recipe from its text."""
    return load_recipe(text.encode(), "r.toml")


def ids(text: str) -> set[str]:
    """The cautions of a recipe, by id."""
    return {caution.id for caution in cautions_for(recipe(text))}


COLOUR = changed(
    ROLL, "panchromatic => colour", "steer = true => steer = false",
    'reference = "20 C" => reference = "37.8 C"', '["20 C", "10:00"] => ["37.8 C", "10:00"]',
    '["24 C", "6:45"] => ["40 C", "6:45"]', 'valid = ["18 C", "24 C"] => valid = ["36 C", "40 C"]',
)  # fmt: skip


@pytest.mark.parametrize("text", [ROLL, TRAY, COLOUR])
def test_every_list_ends_with_local_codes_and_the_data_sheet(text: str) -> None:
    """Whatever the recipe, whatever the place."""
    assert cautions_for(recipe(text))[-1] is RULE
    assert all(cautions_at(place)[-1] is RULE for place in get_args(Place))


def test_bare_film_wants_the_opaque_box_and_a_tray_wants_gloves() -> None:
    """A tank that is loaded elsewhere wants neither."""
    assert {"opaque box", "sensitisers", "dark room"} <= ids(TRAY)
    assert not {"opaque box", "sensitisers", "dark room"} & ids(ROLL)


@pytest.mark.parametrize("name", ["Pyro-M, own mix", "pyrocatechin", "Amidol", "p-phenylenediamine fine grain"])
def test_a_developer_whose_name_tells_of_a_sensitiser_is_marked(name: str) -> None:
    """By the solution's own name in the recipe."""
    text = changed(ROLL, f'solution = "developer A" => solution = "{name}"')
    assert sensitises(recipe(text))
    assert "sensitisers" in ids(text)


def test_colour_brings_its_own() -> None:
    """Agents that sensitise, hot water, mains beside it."""
    assert {"colour agents", "sensitisers", "hot water", "mains and water"} <= ids(COLOUR)
    assert not {"colour agents", "hot water"} & ids(ROLL)
    warm = changed(TRAY, 'reference = "20 C" => reference = "30 C"')
    assert {"hot water", "mains and water"} <= ids(warm)
    assert "hot water" not in ids(changed(TRAY, 'reference = "20 C" => reference = "29.9 C"'))


def test_acid_and_gases_go_with_the_baths_that_are_there() -> None:
    """A stop bath brings the acid, a fixer the gases and the silver."""
    assert {"acid into water", "gases", "silver"} <= ids(TRAY)
    assert "acid into water" not in ids(ROLL)


def test_powder_and_stock_bring_the_dust_and_pregnancy() -> None:
    """A stock developer may have been dissolved at home, and so may one of which nobody said how it is made; a concentrate was not."""
    stock, diluted = (changed(ROLL, f'solution = "developer A" => solution = "developer A"\ndilution = "{d}"') for d in ("stock", "1+31"))
    assert {"powders", "pregnancy"} <= ids(stock) & ids(ROLL) & ids(COLOUR)
    assert not {"powders", "pregnancy"} & ids(diluted)


def test_what_carries_silver_is_told_when_it_is_thrown_away() -> None:
    """Fixer and bleach, not the stop bath."""
    assert all([c.id for c in discard_cautions(role)] == ["silver"] for role in ("fix", "bleach", "bleach-fix"))
    assert discard_cautions("stop") == ()
    assert discard_cautions(None) == ()


@pytest.mark.parametrize(
    ("words", "hazards"),
    [
        # what each does: M. McCann for the sensitisers; the rest from memory, not verified
        ("Pyro developer", ["sensitisers"]),
        ("amidol for prints", ["sensitisers"]),
        ("bleach, potassium dichromate", ["reversal bleach"]),
        ("Permanganate bleach", ["reversal bleach"]),
        ("sulphuric acid 10 %", ["reversal bleach"]),
        ("selenium toner", ["selenium"]),
        ("bath B, sodium hydroxide", ["hydroxide"]),
        ("persulfate bleach", ["persulphate"]),
        ("fixer", []),
    ],
)
def test_a_bottle_is_known_by_its_words(words: str, hazards: list[str]) -> None:
    """Each hazard says gloves that were not powdered, what it is never mixed with, and where it goes."""
    found = named_hazards(words)
    assert [c.id for c in found] == hazards
    assert all("not powdered" in c.text for c in found)
    for caution in found:
        if caution.id != "sensitisers":
            assert "window" in caution.text
            assert "Never" in caution.text
            assert "follow your local code" in caution.text
            assert caution in discard_cautions("other", words)


def test_permanganate_and_strong_acid_are_kept_apart() -> None:
    """They explode (from memory, not verified), and the acid goes into the water."""
    (bleach,) = named_hazards("permanganate")
    assert "explode with strong acid" in bleach.text
    assert "slowly into cold water, never water into it" in bleach.text


def test_every_caution_has_a_place_and_a_source_and_one_id() -> None:
    """And is shown with the plan of some recipe or at some step."""
    assert len({caution.id for caution in CAUTIONS}) == len(CAUTIONS)
    assert all(caution.where and caution.source and caution.text.endswith(".") for caution in CAUTIONS)
    assert all(any(place in caution.where for caution in CAUTIONS) for place in get_args(Place))


def test_mains_near_water_is_named_on_every_plan_and_checklist(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Not only where the bath is hot: there is a supply beside the water on every evening."""
    file = tmp_path / "r.toml"
    file.write_text(ROLL, encoding="utf-8")
    for command in ("plan", "checklist"):
        assert main([command, str(file)]) == 0
        assert "residual-current device" in " ".join(capsys.readouterr().out.split())


def test_infrared_film_has_its_own_caution() -> None:
    """Black plastic and cloth are no proof (common practice, no source)."""
    assert "infrared" in ids(changed(ROLL, "panchromatic => infrared"))
    assert "infrared" not in ids(ROLL)


def test_selenium_and_a_reversal_bleach_are_known_by_their_names() -> None:
    """In the solution's own name (from memory, not verified)."""
    assert "selenium" in ids(changed(ROLL, 'solution = "developer A" => solution = "selenium toner"'))
    assert "reversal bleach" in ids(changed(ROLL, 'solution = "developer A" => solution = "permanganate bleach"'))
    assert not {"selenium", "reversal bleach"} & ids(ROLL)
    (gloves,) = (c for c in CAUTIONS if c.id == "sensitisers")
    assert "not powdered" in gloves.text


def test_a_colour_bleach_warns_of_persulphate_and_a_hydroxide_of_itself() -> None:
    """Some colour bleaches are of persulphate; a hydroxide blinds (both from memory, not verified)."""
    bleach = changed(COLOUR, 'name = "fix"\nrole = "fix" => name = "bleach"\nrole = "bleach"')
    assert "persulphate" in ids(bleach)
    assert "persulphate" not in ids(COLOUR)
    assert "hydroxide" in ids(changed(ROLL, 'solution = "developer A" => solution = "bath B, hydroxide"'))
    (agents,) = (c for c in CAUTIONS if c.id == "colour agents")
    assert "gives off formaldehyde" in agents.text


def test_a_rolling_drum_is_never_between_movements() -> None:
    """It turns without a pause: its cap is opened away from the face, not after each movement."""
    bleach_fix = changed(ROLL, 'name = "fix"\nrole = "fix" => name = "bleach-fix"\nrole = "bleach-fix"')
    tank, drum = (
        " ".join(c.text for c in cautions_for(load_recipe(text.encode(), "r.toml")))
        for text in (bleach_fix, changed(bleach_fix, "lidded tank => drum"))
    )
    assert "loosen the cap after each movement" in tank
    assert "loosen the cap" not in drum
    assert "open it away from your face" in drum
