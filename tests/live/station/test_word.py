"""The station's word: what it holds, how often it is told, and when it is dark."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from monitor.core.recipe.reader import load_recipe
from monitor.core.session.whose_press import own_lengths
from monitor.live.station.left_bare import may_be_lit
from monitor.live.station.telling import LEASE_S
from tests.live.simulated import DARK, SHORT, World
from tests.live.station.test_two_vessels import develop as develop_evening
from tests.live.station.test_two_vessels import films as evening

LOAD = '[[stage]]\nname = "load"\nrole = "load"\n[[stage]]\nname = "develop"'
LOADED = SHORT.replace('[[stage]]\nname = "develop"', LOAD)


class Pages:
    """Whoever shows the word: keeps all that it was told, and counts as lit as often as it says."""

    lease_s = LEASE_S

    def __init__(self, lit: int = 0, listeners: bool = True) -> None:
        self.count = lit
        self.listeners = listeners
        self.words: list[Mapping[str, Any]] = []

    def tell(self, word: Mapping[str, Any]) -> None:
        """One word more."""
        self.words.append(word)

    def lit(self, now_s: float) -> int:
        """As it was made to say."""
        return self.count


def test_without_a_session_the_word_has_the_probes_and_no_film(tmp_path: Path) -> None:
    """Whoever waits sees the bath."""
    pages = Pages()
    World(tmp_path, telling=pages).go(3)
    word = pages.words[-1]
    assert word["light"] is True
    assert word["films"] == []
    assert {p["step_c"] for p in word["probes"]} == {None}, "what takes milliseconds is not done for a page"
    assert {p["probe"]: p["quality"] for p in word["probes"]} == {"jug": "good", "bowl": "good"}


def test_a_word_is_told_twice_a_second_and_only_while_somebody_reads(tmp_path: Path) -> None:
    """Nothing is made for nobody."""
    pages = Pages(listeners=False)
    world = World(tmp_path, telling=pages)
    world.go(5)
    assert pages.words == []
    pages.listeners = True
    world.go(10)
    assert 19 <= len(pages.words) <= 22


def test_a_lidded_session_is_told_whole_each_time(tmp_path: Path) -> None:
    """The session's own snapshot, in `films`."""
    pages = Pages()
    world = World(tmp_path, telling=pages)
    name = world.develop()
    world.press(1.2)
    world.go(30)
    film = pages.words[-1]["films"][0]
    assert film["session"] == name
    assert film["view"]["stage"] == 1
    assert film["view"]["source"] == "developer"


def test_with_bare_film_there_is_no_light_from_the_arming_to_the_close(tmp_path: Path) -> None:
    """And a dark word has nothing else in it."""
    pages = Pages()
    world = World(tmp_path, telling=pages)
    world.develop(DARK)
    pages.words.clear()
    world.go(1)
    world.press(1.2)
    world.go(400)
    assert {frozenset(word.items()) for word in pages.words} == {frozenset({"station": "laundry", "light": False}.items())}


@pytest.mark.parametrize(("stage", "lit"), [(None, False), (1, False), (2, True), (4, True)])
def test_a_loaded_tank_may_be_seen_once_the_stage_after_the_loading_has_begun(stage: int | None, lit: bool) -> None:
    """Not while a reel is loaded, nor while the stage after it waits."""
    recipe = load_recipe(LOADED.encode(), "loaded.toml")
    assert may_be_lit(recipe, stage, "live") is lit


def test_a_dry_run_is_lit_and_a_tray_never_is() -> None:
    """Scrap film in the light; and no stage of an open vessel makes an exception, the wash after its fix neither."""
    recipe = load_recipe(DARK.encode(), "dark.toml")
    assert may_be_lit(recipe, 1, "rehearsal")
    assert not any(may_be_lit(recipe, stage, "live") for stage in (None, 1, 2, 3))


def test_a_start_with_bare_film_is_put_off_until_every_display_is_black(tmp_path: Path) -> None:
    """The word goes dark at once; what is lit for want of hearing it goes out by its lease, and only then anything is armed."""
    pages = Pages(lit=2)
    world = World(tmp_path, telling=pages)
    world.go(2)
    start: dict[str, Any] = {"verb": "develop", "recipe": DARK, "file": "dark.toml", "waive": "a test"}
    answer = world.ask(**start)
    assert (answer["ok"], answer["wait_s"]) == (False, LEASE_S)
    assert "light comes from 2 pages" in answer["lines"][0]
    world.go(1)
    assert pages.words[-1]["light"] is False
    assert world.station.running is None
    world.go(LEASE_S - 2)
    assert world.ask(**start)["ok"] is False
    world.go(1.5)
    assert world.ask(**start)["ok"] is True, "the count is not believed for ever: the lease is over"


def test_a_start_that_was_put_off_and_never_came_gives_the_light_back(tmp_path: Path) -> None:
    """After a minute."""
    pages = Pages(lit=1)
    world = World(tmp_path, telling=pages)
    world.ask(verb="develop", recipe=DARK, file="dark.toml", waive="a test")
    world.go(59)
    assert pages.words[-1]["light"] is False
    world.go(3)
    assert pages.words[-1]["light"] is True


def test_nobody_waits_where_nothing_is_lit_or_no_film_is_bare(tmp_path: Path) -> None:
    """A lidded session with lit pages, and bare film with dark ones."""
    pages = Pages(lit=3)
    world = World(tmp_path, telling=pages)
    world.develop()
    world.ask(verb="abandon", why="next")
    world.go(1)
    pages.count = 0
    world.develop(DARK)


def test_the_questions_come_with_a_warning_while_a_page_is_lit(tmp_path: Path) -> None:
    """And the arming after the last one waits like any other."""
    pages = Pages(lit=1)
    world = World(tmp_path, telling=pages)
    world.go(2)
    asked = world.ask(verb="develop", recipe=DARK, file="dark.toml", waive=None)
    assert any("put phones and displays out of the room" in remark for remark in asked["remarks"])


def _owns(world: World) -> list[tuple[Any, Any]]:
    """Each film and the lengths of a press that would be its own now."""
    films = world.station.sessions.films
    return list(zip(films, own_lengths([film.stand(world.clock.mono_s()) for film in films]), strict=True))


def test_of_two_films_both_are_told_and_one_that_is_bare_makes_all_dark(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The rule of light is that of all films together, until both are over."""
    pages = Pages()
    world = World(tmp_path, two_vessels=True, telling=pages)
    world.go(10)
    develop_evening(world, "left", "right")
    world.go(1)
    assert [film["vessel"] for film in pages.words[-1]["films"]] == ["left", "right"]
    assert all(film["what"] for film in pages.words[-1]["films"]), "as the evening calls them"
    assert pages.words[-1]["clash"] is None
    monkeypatch.setattr(world.station.sessions.side, "clash", lambda now_s: {"first": "left", "in_s": 95.0})
    world.go(1)
    assert pages.words[-1]["clash"] == {"first": "left", "in_s": 95.0}, "as in the status"
    monkeypatch.undo()
    owner = next(film for film in pages.words[-1]["films"] if film["session"] == pages.words[-1]["tap_for"])
    switched = {film.vessel: own for film, own in _owns(world)}
    assert "tap" in switched[owner["vessel"]]
    for name in [film.name for film in world.station.sessions.films]:
        world.ask(verb="abandon", why="next", session=name)
    world.go(1)
    films = evening("left", "right")
    films["films"][1]["recipe"] = load_recipe(DARK.encode(), "dark.toml").data
    assert world.ask(verb="develop", evening=films, waive="a test")["ok"]
    world.go(1)
    assert pages.words[-1] == {"station": "laundry", "light": False}
