"""Sessions, recipes and ledger as pages, made by the program's own commands."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.cli.main import main
from monitor.live.clock import RealClock
from monitor.page import made as made_module
from monitor.page.documents import Documents
from monitor.page.lists import READER, Lists, page_at
from monitor.page.made import Maker
from tests.page.served import DEMO
from tests.page.test_journals import put


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A station file with recipes beside it, and what is none."""
    made = tmp_path_factory.mktemp("lists")
    (made / "state" / "journals").mkdir(parents=True)
    put(made / "state" / "journals", "02-probe-knocked-out", closed=True)
    put(made / "state" / "journals", "01-cold-laundry", closed=False)
    shutil.copy(DEMO / "roll.toml", made / "roll.toml")
    for name in ("two-tanks", "short-roll"):
        shutil.copy(DEMO / f"{name}.toml", made / f"{name}.toml")
    (made / "laundry.toml").write_text('schema = 1\nname = "laundry"\n')
    (made / "link.toml").symlink_to(DEMO / "roll.toml")
    (made / "<b>.toml").write_text("[[stage]]\n")
    return made


@pytest.fixture(scope="module")
def lists(folder: Path) -> Iterator[Lists]:
    """With the real commands, in line with everything else on a busy machine."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(made_module, "LAST_IN_LINE", 0)
        maker = Maker(lambda: False)
        yield Lists(folder / "laundry.toml", folder / "state", maker, RealClock().wall)
        maker.close()


def test_closed_sessions_have_a_report_and_open_ones_have_not(lists: Lists) -> None:
    """In the list and at their address."""
    body = lists.journals().body
    assert '<a href="/reports/261106-2005a">' in body
    assert "it has no end yet" in body
    assert lists.report("261106-1910a") is None
    assert lists.report("261106-9999z") is None
    report = lists.report("261106-2005a")
    assert report is not None
    assert (report.status, report.whole) == (200, True)
    assert "Roll film, cold laundry" in report.body


def test_films_of_an_evening_are_listed_with_vessel_and_name(tmp_path: Path) -> None:
    """Two that were armed in one second differ by a character of their ids."""
    journals = tmp_path / "state" / "journals"
    journals.mkdir(parents=True)
    for number in (1, 2):
        put(journals, f"07-two-tanks-{number}", closed=True)
    maker = Maker(lambda: False)
    body = Lists(tmp_path / "laundry.toml", tmp_path / "state", maker, RealClock().wall).journals().body
    maker.close()
    assert "left, the millrace, Roll film, two tanks" in body
    assert "right, the sluice, Roll film, two tanks" in body


def test_a_session_that_is_over_is_answered_for_by_its_report(lists: Lists) -> None:
    """In the words of `review`: share, time, hands, and next time."""
    told = lists.answers("261106-2005a")
    assert told is not None
    assert told.keys() == {"Time", "Hands", "Next time", "percent", "doubt"}
    assert (told["percent"], told["doubt"]) == ("100.0\u00a0%", "±1.7"), "the report's own, not what was said live"
    assert told["Time"].startswith("11:37, plan 11:00: 37\u00a0s longer")
    assert told["Hands"] == "poured on time (you tapped)"
    assert told["Next time"].startswith('fasten the probe "developer"')
    assert lists.answers("261106-1910a") is None
    assert lists.answers("../x") is None


def test_a_report_is_dark_on_every_screen_and_black_before_its_lease(lists: Lists) -> None:
    """It has a light dress too, for readers by day."""
    leaf = lists.report("261106-2005a")
    assert leaf is not None
    document = Documents(3.0, 15.0).leaf(leaf, "/reports/261106-2005a").decode()
    assert "prefers-color-scheme:dark" not in document
    assert document.index("/lease.css") < document.index("<style>")
    assert '<script src="/lease.js" data-stale-s="3" data-black-s="15" defer>' in document
    assert '<body bgcolor="#000000"' in document


def test_recipes_are_those_beside_the_station_file(lists: Lists) -> None:
    """No station file, no link, no name that is more than a name."""
    body = lists.recipes(READER).body
    assert 'href="/recipes/roll.toml"' in body
    assert "link" not in body
    assert "laundry.toml" not in body
    assert "<b>" not in body


def test_an_evening_has_its_plan_and_its_wall_card(lists: Lists) -> None:
    """As a recipe has. Commands are set as code, without their backticks."""
    body = lists.recipes(READER).body
    assert 'href="/recipes/two-tanks.toml"' in body
    assert "two-tanks.toml/card" in body
    card = lists.recipe("two-tanks.toml", card=True)
    assert card is not None
    assert "When each bath goes in, by the second clock" in card.body
    plan = lists.recipe("two-tanks.toml", card=False)
    assert plan is not None
    assert plan.status == 200
    assert "`" not in plan.body + body


def test_a_recipe_has_its_plan_and_its_wall_card(lists: Lists) -> None:
    """In the words of `plan`."""
    plan, card = lists.recipe("roll.toml", card=False), lists.recipe("roll.toml", card=True)
    assert plan is not None
    assert card is not None
    assert "Roll film, cold laundry" in plan.body
    assert card.whole
    assert "<html" in card.body
    assert lists.recipe("laundry.toml", card=False) is None


def test_the_ledger_is_what_the_command_lists(lists: Lists) -> None:
    """Empty here, and said so."""
    leaf = lists.ledger(READER)
    assert leaf.status == 200
    assert "<pre>" in leaf.body


def test_the_ledger_is_made_anew_when_it_has_changed(folder: Path, lists: Lists) -> None:
    """By its file, where the command keeps it."""
    assert "Fix one" not in lists.ledger(READER).body
    assert main(["bottle", "add", "Fix one", "--volume", "1 l", "--role", "fix", "--state", str(folder / "state")]) == 0
    assert "Fix one" in lists.ledger(READER).body


@pytest.mark.parametrize(
    "parts", [[""], ["journals", "x"], ["reports"], ["recipes", "a", "b"], ["recipes", "a", "card", "x"], ["notes", "x"], []]
)
def test_no_other_path_is_a_list(lists: Lists, parts: list[str]) -> None:
    """A few words, and names behind two of them."""
    assert page_at(lists, parts) is None
