"""How long a film may wait, stage by stage."""

from __future__ import annotations

from monitor.core.recipe.kinds import StageRole
from monitor.core.recipe.reader import load_recipe
from monitor.prepare.waiting import ALARM_FIRST, Wait, waits_for
from tests.core.recipe.samples import ROLL, TRAY, changed


def test_developer_never_waits_and_every_stage_has_its_line() -> None:
    """A stop bath two minutes, a fixer ten, a wash without a number."""
    waits = waits_for(load_recipe(TRAY.encode(), "r.toml"))
    assert [wait.most_s for wait in waits] == [0.0, 120.0, 600.0, None]
    assert waits[0].short == "NEVER"
    assert all(wait.source == "common practice, no source" for wait in waits)


def test_the_recipes_own_limit_goes_before_the_common_one() -> None:
    """at_most of the fix."""
    assert waits_for(load_recipe(ROLL.encode(), "r.toml"))[1].most_s == 720.0


def test_bare_film_is_told_to_stay_in_the_dark() -> None:
    """Until the fixing bath is over."""
    waits = waits_for(load_recipe(TRAY.encode(), "r.toml"))
    assert ["no light" in wait.text for wait in waits] == [True, True, True, False]


def test_every_role_has_words() -> None:
    """Whatever the stage is."""
    from typing import get_args

    for role in get_args(StageRole):
        other = f'name = "fix"\nrole = "fix" => name = "x"\nrole = "{role}"'
        text = changed(ROLL, other, '\nat_most = "12:00" =>', '\nuntil = "at least" =>')
        wait = waits_for(load_recipe(text.encode(), "r.toml"))[1]
        assert wait.text
        assert wait.short
    assert "leave everything" in ALARM_FIRST


def test_a_bath_that_runs_to_its_end_may_wait_and_a_colour_fixer_bleaches_no_dye() -> None:
    """A second developer and a monobath are done when they are done; common practice, no source."""
    to_its_end = changed(ROLL, 'role = "develop" => role = "develop"\nuntil = "at least"', "steer = true => steer = false")
    assert "Never" not in waits_for(load_recipe(to_its_end.encode(), "r.toml"))[0].text
    bleach_fix = changed(ROLL, "panchromatic => colour", "steer = true => steer = false", '\nat_most = "12:00" =>')
    assert "bleach the image" not in waits_for(load_recipe(bleach_fix.encode(), "r.toml"))[1].text


def reversal(bleach: str = "panchromatic") -> list[Wait]:
    """A first developer on time, a timed wash, bleach, wash."""
    stages = '\n[[stage]]\nname = "first wash"\nrole = "wash"\ntime = "3:00"\nuntil = "time"\n'
    stages += '\n[[stage]]\nname = "bleach"\nrole = "bleach"\ntime = "5:00"\n\n[[stage]]\nname = "wash"\nrole = "wash"\ntime = "2:00"\n'
    head, fix, rest = changed(ROLL, f"panchromatic => {bleach}", "steer = true => steer = false").partition('\n[[stage]]\nname = "fix"')
    return list(waits_for(load_recipe((head + stages + fix + rest).encode(), "r.toml")))


def test_a_wash_that_ends_development_is_finished_on_time() -> None:
    """No stop bath before it; the wash after the bleach may wait."""
    waits = reversal()
    assert (waits[1].short, waits[1].most_s) == ("finish on time", 0.0)
    assert waits[3].short == "long, not hours"


def test_resin_coated_paper_does_not_lie_in_the_wash() -> None:
    """Its edges come apart; fibre paper bears it."""
    waits = waits_for(load_recipe(changed(TRAY, "panchromatic => paper").encode(), "r.toml"))
    assert "Resin-coated paper some minutes" in waits[3].text


def test_an_acid_bleach_is_left_when_the_black_is_gone() -> None:
    """It softens the gelatine; a colour bleach has to finish, and does little harm."""
    assert reversal()[2].short == "until the black is gone"
    assert "softens the gelatine" in reversal()[2].text
    assert reversal("colour")[2].short == "some minutes"


def test_a_bath_that_holds_is_called_by_its_name() -> None:
    """A clearing bath holds nothing."""
    clearing = changed(ROLL, 'name = "fix"\nrole = "fix" => name = "clearing bath"\nrole = "hold"', '\nat_most = "12:00" =>')
    assert waits_for(load_recipe(clearing.encode(), "r.toml"))[1].text == "Clearing bath: as its sheet says."


def test_bare_paper_has_its_safelight() -> None:
    """It is no film, and its room is not dark."""
    waits = waits_for(load_recipe(changed(TRAY, "panchromatic => paper").encode(), "r.toml"))
    assert "The paper is bare: your safelight alone." in waits[0].text
