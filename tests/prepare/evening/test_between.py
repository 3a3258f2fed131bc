"""Loading and mixing between two films in one vessel, as moments that need hands."""

from __future__ import annotations

from monitor.core.evening.reader import RecipeText, load_evening
from monitor.prepare.evening.between import LOADING
from monitor.prepare.evening.hands import Moment
from monitor.prepare.evening.planned import planned
from monitor.prepare.evening.supplies import supplies
from monitor.prepare.evening.told import told
from tests.core.recipe.samples import TRAY
from tests.prepare.evening.samples import ROLL, evening_of, film
from tests.prepare.evening.test_planned import TODAY

FRESH = ROLL.replace('role = "develop"', 'role = "develop"\nsolution = "dev"\ndilution = "1+31"\nvolume = "500 ml"', 1)
LONG_LOAD = ROLL.replace("[[stage]]", '[[stage]]\nname = "load"\nrole = "load"\ntime = "3:00"\n[[stage]]', 1)


def of(films: str, what: str, between: str = "6:00", **more: str) -> list[Moment]:
    """The plan's moments of this kind."""
    return [m for m in planned(evening_of(films, between, **more), {}, TODAY).moments if m.what.startswith(what)]


def test_a_later_film_in_a_vessel_is_loaded_in_the_dark_just_before_it_begins() -> None:
    """Two minutes, by common practice; it may wait. The first film of each vessel was loaded before the evening."""
    (load,) = of(film(vessel="left") + film(vessel="right", start="+3:00") + film(vessel="left"), LOADING)
    assert (load.film, load.t_s, load.busy_s, load.may_wait) == (3, 960.0 + 360.0 - 120.0, 120.0, True)


def test_the_evening_s_file_says_how_long_it_takes() -> None:
    """And a gap that is shorter has no room for more."""
    two = film(vessel="left") * 2
    evening = evening_of(two)
    text = f'schema = 1\nname = "Sunday"\nloading = "4:30"\n{two}'
    assert evening.loading_s == 120.0
    own = load_evening(text.encode(), "e.toml", lambda _: RecipeText(ROLL.encode(), "roll.toml"))
    (load,) = [m for m in planned(own, {}, TODAY).moments if m.what == LOADING]
    assert (load.t_s, load.busy_s) == (960.0 + 360.0 - 270.0, 270.0)
    (short,) = of(two, LOADING, between="1:00")
    assert short.busy_s < 60.0
    assert of(two, LOADING, between="0:10") == []


def test_a_recipe_s_own_load_stage_and_sheets_are_not_loaded_twice() -> None:
    """The stage is on the timeline already; sheets wait in their holders."""
    assert of(film("own.toml") * 2, LOADING, own_toml=LONG_LOAD) == []
    assert of(film("tray.toml") * 2, LOADING, tray_toml=TRAY) == []


def test_a_developer_that_is_used_once_is_mixed_when_the_hands_are_free() -> None:
    """At least ten minutes before its film; not for a film in whose time before the first pour it can be done."""
    films = film("own.toml", "left") + film("own.toml", "right", start="+8:00") + film("own.toml", "left")
    plan = planned(evening_of(films, "20:00", own_toml=FRESH), {}, TODAY)
    latest_s = plan.films[2].start_s - 600.0 - 180.0
    assert any(m.film != 3 and m.t_s < latest_s + 180.0 and m.t_s + m.busy_s > latest_s for m in plan.moments)
    (mix,) = [m for m in plan.moments if m.what == "mix dev"]
    assert (mix.film, mix.may_wait, mix.busy_s) == (3, True, 180.0)
    assert mix.t_s + mix.busy_s <= plan.films[2].start_s - 600.0
    others = [m for m in plan.moments if m.film != 3 and m.t_s < mix.t_s + mix.busy_s and m.t_s + m.busy_s > mix.t_s]
    assert others == []


def test_a_load_that_the_other_vessel_interrupts_is_a_clash_that_may_wait() -> None:
    """Told as one, and the light it wants is told as well."""
    films = film(vessel="left") + film(vessel="right", start="+12:00") + film(vessel="left")
    plan = planned(evening_of(films), {}, TODAY)
    met = [clash for clash in plan.clashes if LOADING in (clash.first.what, clash.second.what)]
    assert met
    assert all(clash.may_wait for clash in met)
    lines = list(told(plan, supplies(plan)))
    assert "loading wants the dark at 20:00 (film 3), in a bag" in " ".join(" ".join(lines).split())
    assert any("20:00  film 3  load the reel, in the dark, 2:00 w" in line for line in lines)
    assert any("loading and mixing: common practice" in line for line in lines)
