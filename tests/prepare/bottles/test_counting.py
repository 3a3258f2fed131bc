"""What the ledger says of films to come: one after the other, before anything is booked."""

from __future__ import annotations

import datetime as dt
from dataclasses import asdict, replace
from functools import partial
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.core.recipe.reader import load_recipe
from monitor.core.recipe.values import Recipe, Sheets
from monitor.prepare.bottles.bottles import Bottle, Rules
from monitor.prepare.bottles.bottles import Tested as LastTest
from monitor.prepare.bottles.counting import Standing, count, with_ledger
from monitor.prepare.bottles.ledger import Booking, Solution, booking_entries, read_ledger, write_entries
from tests.prepare.bottles.test_ledger import NOW, put

TODAY = dt.date(2026, 11, 26)
RECIPE = """schema = 1
name = "Roll"
film = "panchromatic"
vessel = "lidded tank"
[contents]
area_units = 1.0
[[stage]]
name = "develop"
role = "develop"
time = "10:00"
reference = "20 C"
rate = { law = "coefficient", per_10_c = 2.5 }
solution = "developer A"
{develop}
[[stage]]
name = "fix"
role = "fix"
time = "2:00"
solution = "fixer"
"""


def roll(develop: str = "", area: float | None = 1.0) -> Recipe:
    """A roll in developer A and fixer."""
    text = RECIPE.replace("{develop}", develop)
    text = text.replace("[contents]\narea_units = 1.0\n", "" if area is None else f"[contents]\narea_units = {area}\n")
    return load_recipe(text.encode(), "r.toml")


def bottle(name: str = "developer A", units: float = 0.0, volume_ml: float = 1000.0, **rules: Any) -> Bottle:
    """One bottle."""
    made = Bottle(1 if name == "developer A" else 2, name, None, None, None, Rules(**rules), "2026-11-20", None, volume_ml, volume_ml)
    return replace(made, units=units)


def first(recipe: Recipe, *bottles: Bottle) -> Standing:
    """What the first bottle is before this film."""
    return count({b.id: b for b in bottles}, [recipe], TODAY)[0][0]


def test_three_films_through_a_developer_make_the_fourth_thirty_per_cent_longer() -> None:
    """So ten minutes are thirteen; without it film four would get 77 % and be said to have 100."""
    standing = first(roll(), bottle(units=3.0, longer_percent=10.0, per_litre=10.0))
    recipe, unfit = with_ledger(roll(), [standing])
    assert standing.time_factor == pytest.approx(1.3)
    assert (standing.films_left, standing.age_days) == (7.0, 6)
    assert not unfit
    assert recipe.stages[0].target_ref_s == pytest.approx(780.0)
    assert 600.0 / recipe.stages[0].target_ref_s == pytest.approx(0.77, abs=0.005)
    assert standing.why == "3 units through it, 10 % each"
    assert standing.sentence == "developer A: time x 1.3 (3 units through it, 10 % each), good for 7 films like this one, 6 days old"


def test_films_of_one_evening_count_one_after_the_other() -> None:
    """By their area, whatever has been booked."""
    rows = count({1: bottle(longer_percent=10.0, per_litre=3.0)}, [roll(), roll(area=1.5), roll()], TODAY)
    assert [row[0].time_factor for row in rows] == [1.0, pytest.approx(1.1), pytest.approx(1.25)]
    assert [row[0].films_left for row in rows] == [3.0, pytest.approx(2.0 / 1.5), pytest.approx(0.5)]
    assert rows[2][0].concerns == ("developer A is good for 0.5 more units of film, this one is 1: mix fresh, or test it first.",)


def test_concentrate_is_drawn_off_film_by_film_until_it_does_not_suffice() -> None:
    """Nothing is added to the time for that."""
    recipe = roll('dilution = "1+31"\nvolume = "512 ml"')
    rows = count({1: replace(bottle(volume_ml=40.0, longer_percent=10.0), dilution="stock")}, [recipe] * 3, TODAY)
    assert [row[0].taken_ml for row in rows] == [16.0, 16.0, 16.0]
    assert [row[0].films_left for row in rows] == [2.5, 1.5, 0.5]
    assert [row[0].time_factor for row in rows] == [1.0, 1.0, 1.0]
    assert rows[2][0].concerns == ("developer A: 16 ml of it are needed, 8 ml are left.",)


def test_less_concentrate_than_the_sheet_wants_for_the_area_is_said() -> None:
    """3 ml for two rolls."""
    recipe = roll('dilution = "1+99"\nvolume = "300 ml"', area=2.0)
    (said,) = first(recipe, replace(bottle(least_ml=5.0), dilution="stock")).concerns
    assert said.startswith("developer A: 3 ml of concentrate, its sheet wants 10 ml for 2 units of film")
    assert first(recipe, replace(bottle(least_ml=1.5), dilution="stock")).concerns == ()


def test_a_fix_lasts_twice_the_clearing_time_of_the_last_test() -> None:
    """The recipe's two minutes are too short for a fixer that clears in 1:15; the longer of the two factors counts."""
    tested = replace(bottle("fixer"), tested=LastTest("clearing", "2026-11-25", 75.0, 45.0, 0.0))
    standing = first(roll(), tested)
    recipe, _ = with_ledger(roll(), [standing])
    assert recipe.stages[1].target_ref_s == 150.0
    assert recipe.stages[0].target_ref_s == 600.0
    assert standing.why == "twice the clearing time of 2026-11-25, 1:15"
    used = replace(tested, units=4.0, rules=Rules(longer_percent=10.0), tested=LastTest("clearing", "2026-11-25", 60.0, 45.0, 4.0))
    assert first(roll(), used).time_factor == pytest.approx(1.4)


@pytest.mark.parametrize(
    ("made", "words"),
    [
        (bottle(keeps_full="3 days"), "developer A is too old: kept until 2026-11-23."),
        (replace(bottle(), tested=LastTest("leader", "2026-11-25", 40.0, 20.0, 0.0)), "developer A is dead: leader dark after 0:40"),
        (replace(bottle(one_shot=True), uses=1), "developer A is used up: one-shot, used once."),
        (bottle(units=3.0, discard_at=3.0), "developer A is used up: 3 of 3 units through it"),
    ],
)
def test_a_bottle_that_is_no_longer_good_is_said(made: Bottle, words: str) -> None:
    """Before the film is wet."""
    standing = first(roll(), made)
    assert standing.concerns[0].startswith(words)


def test_a_one_shot_bottle_is_good_for_one_film_of_the_evening() -> None:
    """The second one is told."""
    one, two = count({1: bottle(one_shot=True)}, [roll(), roll()], TODAY)
    assert (one[0].films_left, two[0].films_left) == (1.0, 0.0)
    assert one[0].concerns == ()
    assert two[0].concerns == ("developer A is used up: one-shot, used once.",)


def test_a_factor_that_the_recipe_does_not_bear_is_said_and_not_used() -> None:
    """Above 3 nothing is a longer time any more."""
    standing = first(roll(), bottle(units=30.0, longer_percent=10.0))
    recipe, unfit = with_ledger(roll(), [standing])
    assert recipe.stages[0].target_ref_s == 600.0
    assert unfit == ("developer A: time x 4 is more than the recipe bears (factor: 4.0 is out of range): mix fresh.",)


def test_a_film_without_an_area_is_not_counted_and_that_is_said() -> None:
    """The next one stands where this one stood."""
    one, two = count({1: bottle(longer_percent=10.0)}, [roll(area=None), roll()], TODAY)
    assert one[0].concerns == ("developer A: the recipe has no area_units, so this film is not counted.",)
    assert two[0].time_factor == 1.0


def test_solutions_without_a_bottle_are_left_out() -> None:
    """And an empty ledger changes nothing."""
    assert count({}, [roll()], TODAY) == [()]
    assert with_ledger(roll(), ())[0] == roll()


def test_the_row_for_the_record_has_what_is_known_and_nothing_else() -> None:
    """The area with this film only where the film goes through the bottle; a stock gives the millilitres."""
    through = first(roll(), bottle(units=3.0, longer_percent=10.0)).as_json()
    assert through == {
        "solution": "developer A", "mixed": "2026-11-20", "used_area_units": 3.0, "state": "good", "age_s": 6 * 86400.0,
        "time_factor": pytest.approx(1.3), "why": "3 units through it, 10 % each", "area_units": 4.0,
    }  # fmt: skip
    drawn = first(roll('dilution = "1+31"\nvolume = "512 ml"'), replace(bottle(volume_ml=100.0), dilution="stock")).as_json()
    assert (drawn["taken_ml"], drawn["films_left"], "area_units" in drawn) == (16.0, 6.25, False)


@given(
    areas=st.lists(st.sampled_from([0.5, 1.0, 1.5, 2.0]), min_size=1, max_size=5),
    rules=st.fixed_dictionaries(
        {"longer_percent": st.sampled_from([None, 5.0, 10.0]), "per_litre": st.sampled_from([None, 4.0, 20.0])}
    ),
    stock=st.booleans(),
)
@settings(max_examples=60, deadline=None)
def test_films_that_are_booked_one_by_one_find_what_was_counted_beforehand(
    tmp_path_factory: pytest.TempPathFactory, areas: list[float], rules: dict[str, float | None], stock: bool
) -> None:
    """The count of an evening is what the ledger says after each booking."""
    state = tmp_path_factory.mktemp("state")
    recipes = [roll('dilution = "1+31"\nvolume = "512 ml"', area) if stock else roll(area=area) for area in areas]
    entry = {"entry": "add", "name": "developer A", "volume_ml": 1000.0, "role": "develop", "mixed": "2026-11-20", "opened": None}
    bottle_rules = asdict(Rules(**rules))  # type: ignore[arg-type]
    put(state, {**entry, "rules": bottle_rules, "dilution": "stock" if stock else None})
    ahead = count(read_ledger(state).bottles, recipes, TODAY)
    for number, (recipe, (counted,)) in enumerate(zip(recipes, ahead, strict=True)):
        ((now,),) = count(read_ledger(state).bottles, [recipe], TODAY)
        assert (now.time_factor, now.films_left, now.state) == (counted.time_factor, counted.films_left, counted.state)
        assert now.bottle.units == counted.bottle.units
        assert now.bottle.volume_ml == pytest.approx(counted.bottle.volume_ml)
        booking = Booking(f"session {number}", recipe.area_units, (Solution("developer A", stock, 16.0 if stock else None),))
        write_entries(state, NOW, partial(booking_entries, booking=booking, name=None, units=None))


def test_prints_and_sheets_are_counted_by_their_own_names() -> None:
    """A print is no film, and six sheets in one tray are a batch."""
    paper, kept = replace(roll(), film="paper"), bottle(per_litre=2.0)
    assert "good for 2 prints like this one" in first(paper, kept).sentence
    sheets = replace(roll(), sheets=Sheets(6, 10.0, (1.0,) * 6))
    assert "good for 2 batches like this one" in first(sheets, kept).sentence
    assert any("more units of paper" in said for said in first(paper, replace(kept, units=1.5)).concerns)
    assert "not good for this print" in first(paper, replace(kept, units=2.0)).sentence
