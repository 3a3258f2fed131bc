"""Film that a close has left bare: pages stay dark over it, whoever is started anew meanwhile."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import pytest

from monitor.core.recipe.reader import load_recipe
from monitor.live.station.ended import Ended
from monitor.live.station.left_bare import LEFT_S, LeftBare, left_as, left_bare_s
from tests.live.simulated import DARK, SHORT, World
from tests.live.station.test_word import LOADED, Pages


def abandoned(tmp_path: Path, recipe: str = DARK, after_s: float = 30.0) -> tuple[World, Pages, str]:
    """A session that was begun and then ended by hand."""
    pages = Pages()
    world = World(tmp_path, telling=pages)
    name = world.develop(recipe)
    world.press(1.2)
    world.go(after_s)
    assert world.ask(verb="abandon", why="enough")["ok"]
    world.go(2)
    return world, pages, name


def test_after_an_abandoned_tray_the_word_is_dark_for_an_hour(tmp_path: Path) -> None:
    """The film still lies in it."""
    world, pages, name = abandoned(tmp_path)
    assert world.records(name, "session", event="close")
    assert pages.words[-1] == {"station": "laundry", "light": False}
    world.go(LEFT_S - 10)
    assert pages.words[-1]["light"] is False
    world.go(10)
    assert pages.words[-1]["light"] is True


def test_the_end_of_such_a_session_by_itself_leaves_nothing_bare() -> None:
    """Its film is fixed and washed. A recipe that cannot be read counts as bare."""
    tray, left = load_recipe(DARK.encode(), "dark.toml"), LeftBare()
    left.closed(tray, 3, "live", "finished", 0.0)
    assert not left.bare(1.0)
    left.closed(tray, 3, "live", "lost", 0.0)
    assert left.bare(1.0)
    other = LeftBare()
    other.closed(None, None, "live", "lost", 0.0)
    assert other.bare(1.0)


def test_a_lidded_session_that_is_armed_ends_the_waiting(tmp_path: Path) -> None:
    """And it stays ended after that one is over; another tray does not end it."""
    world, pages, _ = abandoned(tmp_path)
    world.develop(SHORT)
    world.go(1)
    assert pages.words[-1]["light"] is True
    world.ask(verb="abandon", why="next")
    world.go(2)
    assert pages.words[-1]["light"] is True


def test_a_dry_run_of_a_tray_does_not_end_it_and_leaves_nothing_bare(tmp_path: Path) -> None:
    """The film of the session before is still in the other tray."""
    world, pages, _ = abandoned(tmp_path)
    assert world.ask(verb="develop", recipe=DARK, file="dark.toml", waive="a test", rehearsal=True)["ok"]
    world.go(1)
    assert pages.words[-1]["light"] is False


def test_a_loaded_tank_that_was_abandoned_later_is_lit(tmp_path: Path) -> None:
    """Its lid is on; while it was being loaded it was not."""
    assert abandoned(tmp_path, LOADED, after_s=2.0)[1].words[-1]["light"] is False
    (tmp_path / "other").mkdir()
    pages = Pages()
    world = World(tmp_path / "other", telling=pages)
    world.develop(LOADED)
    for _ in range(3):
        world.press(1.2)
        world.go(20)
    assert world.station.running is not None
    assert (world.station.running.session.snapshot.stage or 0) > 1
    world.ask(verb="abandon", why="enough")
    world.go(2)
    assert pages.words[-1]["light"] is True


def test_a_restart_of_the_station_changes_nothing(tmp_path: Path) -> None:
    """The newest journals tell how long ago it was; a clock that is not set makes it the whole hour."""
    world, _, name = abandoned(tmp_path)
    journals = world.journal(name).parent
    closed = datetime.fromisoformat(world.records(name, "session", event="close")[0]["wall"])
    assert left_bare_s(journals, closed + timedelta(minutes=20)) == LEFT_S - 1200.0
    assert left_bare_s(journals, closed + timedelta(minutes=61)) == 0.0
    assert left_bare_s(journals, closed - timedelta(days=3)) == LEFT_S
    assert left_bare_s(journals, None) == LEFT_S
    world.go(600)
    world.life()
    world.go(3)
    assert world.station.sessions.left.bare(world.clock.mono_s())
    world.go(LEFT_S - 500)
    assert not world.station.sessions.left.bare(world.clock.mono_s())


def test_a_folder_that_cannot_be_read_counts_as_bare(tmp_path: Path) -> None:
    """One that is not there yet has no film in it."""
    assert left_bare_s(tmp_path / "none", None) == 0.0
    (tmp_path / "file").write_text("")
    assert left_bare_s(tmp_path / "file", None) == LEFT_S


def test_whoever_abandons_is_told_where_the_film_is_and_what_protects_it(tmp_path: Path) -> None:
    """Under its lid until it is fixed; bare film needs the dark; a washed one nothing."""
    world = World(tmp_path)
    world.develop(SHORT)
    (left,) = world.ask(verb="abandon", why="enough")["left"]
    assert (left["in"], left["never_begun"], left["keep"]) == (None, ["develop", "stop", "fix"], "lid")
    world.develop(SHORT)
    world.press(1.2)
    world.go(125)
    (left,) = world.ask(verb="abandon", why="enough")["left"]
    assert (left["in"], left["never_begun"], left["keep"]) == ("stop", ["fix"], "lid")
    world.develop(DARK)
    world.press(1.2)
    (left,) = world.ask(verb="abandon", why="enough")["left"]
    assert (left["in"], left["never_begun"], left["keep"]) == ("develop", ["stop", "fix"], "dark")
    washed = load_recipe(f'{SHORT}[[stage]]\nname = "wash"\nrole = "wash"\ntime = "5:00"\n'.encode(), "r.toml")
    assert left_as(washed, 3, 3, "live")["keep"] == "lid"
    assert left_as(washed, 4, 4, "live") == {"in": "wash", "begun": 4, "never_begun": [], "keep": None}
    assert left_as(washed, 1, 1, "rehearsal")["keep"] is None
    loaded = load_recipe(LOADED.encode(), "r.toml")
    assert [left_as(loaded, stage, begun, "live")["keep"] for stage, begun in ((1, 1), (None, 1), (2, 2))] == ["dark", "lid", "lid"]


def test_whoever_abandons_is_told(tmp_path: Path) -> None:
    """In the station's answer; a lidded film leaves nothing bare."""
    world = World(tmp_path)
    world.develop(DARK)
    assert world.ask(verb="abandon", why="enough")["left_bare"] is True
    world.develop(SHORT)
    assert world.ask(verb="abandon", why="enough")["left_bare"] is False


@pytest.mark.parametrize("recipe", ["a word", ["a", "list"], {"schema": 7}, None, 5])
def test_a_recipe_that_somebody_spoiled_is_none_and_counts_as_bare(recipe: object) -> None:
    """No start fails for it."""
    ended = Ended("260301-1", {"recipe": recipe}, None, (0, 0))
    assert ended.recipe is None
    assert ended.bares_film


def test_a_reversal_whose_light_has_come_needs_no_lid() -> None:
    """What is not fixed by then is to be developed once more, in the light."""
    stages = "".join(
        f'[[stage]]\nname = "{name}"\nrole = "{role}"\ntime = "5:00"\n'
        + ('reference = "20 C"\nsteer = false\nrate = { law = "coefficient", per_10_c = 2.5, sd = 0.1 }\n' if role == "develop" else "")
        for name, role in (("first", "develop"), ("bleach", "bleach"), ("wash and light", "wash"), ("second", "develop"), ("fix", "fix"))
    )
    plan = load_recipe(f'schema = 1\nname = "r"\nfilm = "panchromatic"\nvessel = "lidded tank"\n{stages}'.encode(), "r.toml")
    assert plan.lid_off_at is not None
    assert [left_as(plan, at, at, "live")["keep"] for at in (1, 2, 3, 4, 5)] == ["lid", "lid", None, None, None]
