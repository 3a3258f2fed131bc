"""The plan of an evening as data: the ledger's times, what is busy when, clashes, what is used up."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace

import pytest

from monitor.core.evening.values import Evening
from monitor.prepare.bottles.bottles import Bottles
from monitor.prepare.evening.planned import planned, planned_data
from monitor.prepare.evening.supplies import supplies
from tests.prepare.bottles.test_counting import RECIPE, bottle
from tests.prepare.evening.samples import ROLL as ROLLS
from tests.prepare.evening.samples import evening_of, film

TODAY = dt.date(2026, 11, 26)
ROLL = RECIPE.replace("{develop}", 'dilution = "1+31"\nvolume = "512 ml"\njug = 1')
PUSH = ROLL.replace('solution = "developer A"', 'factor = 1.2\nsolution = "developer B"')
STOCK = RECIPE.replace("{develop}", 'dilution = "stock"\nvolume = "600 ml"')


def evening(films: str, between: str = "6:00") -> Evening:
    """With these recipes beside it."""
    return evening_of(films, between, roll_toml=ROLL, push_toml=PUSH, stock_toml=STOCK)


def data_of(films: str, bottles: Bottles | None = None) -> dict[str, object]:
    """The plan, through JSON."""
    found: dict[str, object] = json.loads(json.dumps(planned_data(planned(evening(films), bottles or {}, TODAY))))
    return found


def test_the_object_has_what_the_contract_names() -> None:
    """Films, their stages, moments, clashes and the shift."""
    data = data_of(film("roll.toml", "left") + film("push.toml", "right", "+4:00"))
    films = data["films"]
    assert isinstance(films, list)
    assert [(f["what"], f["vessel"], f["start_s"], f["end_s"]) for f in films] == [
        ("Roll", "left", 0.0, 720.0), ("Roll", "right", 240.0, 1080.0),
    ]  # fmt: skip
    assert [(s["name"], s["begin_s"], s["end_s"]) for s in films[1]["stages"]] == [("develop", 240.0, 960.0), ("fix", 960.0, 1080.0)]
    assert [(s["time_factor"], s["why"]) for f in films for s in f["stages"]] == [
        (1.0, None), (1.0, None), (1.2, "push x 1.2"), (1.0, None),
    ]  # fmt: skip
    assert {"t_s", "film", "what", "busy_s"} <= set(data["moments"][0])  # type: ignore[index]
    assert (data["clashes"], data["shift_s"]) == ([], 0.0)


def test_the_fourth_film_through_one_developer_is_planned_with_what_the_first_three_left() -> None:
    """1.0, 1.1, 1.2, 1.3: and each film of the vessel waits for the longer time of the one before it."""
    data = data_of(film("stock.toml") * 4, {1: bottle(longer_percent=10.0)})
    films = data["films"]
    assert isinstance(films, list)
    developing = [f["stages"][0] for f in films]
    assert [s["end_s"] - s["begin_s"] for s in developing] == pytest.approx([600.0, 660.0, 720.0, 780.0])
    assert developing[3]["why"] == "ledger: developer A x 1.3, 3 units through it, 10 % each"
    assert films[1]["start_s"] == films[0]["end_s"] + 360.0 == 1080.0
    assert films[3]["start_s"] == pytest.approx(films[2]["end_s"] + 360.0)


def test_films_count_in_the_order_in_which_they_begin_not_in_that_of_the_file() -> None:
    """The third of the file is in the other vessel from the start, beside the first one: the second one comes after both."""
    bottles = {1: bottle(longer_percent=10.0)}
    plan = planned(evening(film("stock.toml", "left") * 2 + film("stock.toml", "right")), bottles, TODAY)
    assert [row[0].bottle.units for row in plan.standings] == [0.0, 2.0, 1.0]


def test_a_films_own_factor_is_told_beside_the_recipes_push() -> None:
    """As a clip test gives it."""
    data = data_of(film("push.toml").rstrip() + "\nfactor = 1.15\n")
    films = data["films"]
    assert isinstance(films, list)
    assert (films[0]["stages"][0]["time_factor"], films[0]["stages"][0]["why"]) == (pytest.approx(1.38), "push x 1.2; this film x 1.15")


def test_what_is_used_once_is_mixed_for_each_film_and_what_keeps_once() -> None:
    """Developer from concentrate film by film, ten minutes before; fixer once; and the water and concentrate of all."""
    needs = supplies(planned(evening(film("roll.toml", "left") + film("push.toml", "right", "+20:00")), {}, TODAY))
    assert [(m.solution, m.films, m.by_s, m.once) for m in needs.mixes] == [
        ("developer A", (1,), -600.0, True), ("fixer", (1, 2), -600.0, False), ("developer B", (2,), 600.0, True),
    ]  # fmt: skip
    assert (needs.water_ml, needs.stock_ml, needs.jugs) == (992.0, {"developer A": 16.0, "developer B": 16.0}, 3)


def test_what_is_in_a_bottle_is_poured_from_it_and_what_is_left_is_said() -> None:
    """The fixer's units go down film by film, the concentrate's millilitres."""
    bottles = {1: replace(bottle(volume_ml=100.0), dilution="stock"), 2: bottle("fixer", per_litre=20.0)}
    needs = supplies(planned(evening(film("roll.toml") * 3), bottles, TODAY))
    assert [m.solution for m in needs.from_bottles] == ["fixer"]
    assert {x.solution: (x.volume_ml, x.units_left) for x in needs.left} == {"developer A": (52.0, None), "fixer": (1000.0, 17.0)}


def test_what_the_recipes_and_the_ledger_are_concerned_about_is_told_with_its_film() -> None:
    """Each sentence once."""
    plan = planned(evening(film("roll.toml") * 2), {1: replace(bottle(volume_ml=20.0), dilution="stock")}, TODAY)
    assert "Film 2 (Roll): developer A: 16 ml of it are needed, 4 ml are left." in plan.concerns


def test_what_to_mix_stands_in_the_order_of_use() -> None:
    """Developer, stop bath, fixer, whatever their names and wherever the file has them."""
    roll = ROLLS
    for role, name in {"develop": "zinc", "stop": "yellow", "fix": "apricot"}.items():
        roll = roll.replace(f'role = "{role}"', f'role = "{role}"\nsolution = "{name}"', 1)
    needs = supplies(planned(evening_of(film("own.toml", "left"), own_toml=roll), {}, TODAY))
    assert [mix.solution for mix in needs.mixes] == ["zinc", "yellow", "apricot"]
    assert [row["used_s"] for row in needs.as_json()["mix"]] == [0.0, 600.0, 660.0]
