"""How long a film may wait, stage by stage."""

from __future__ import annotations

from monitor.core.recipe.kinds import StageRole
from monitor.core.recipe.reader import load_recipe
from monitor.prepare.waiting import ALARM_FIRST, waits_for
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
    assert "leave the film" in ALARM_FIRST
