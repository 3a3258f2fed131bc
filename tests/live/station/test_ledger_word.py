"""What the ledger says of the next film reaches the film: asked in the pre-flight, or agreed beforehand, and always in the record."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from monitor.core.errors import InputWrong
from monitor.core.recipe.reader import load_recipe
from monitor.live.station.ledger_word import ledger_word_of, question_id, question_text
from tests.live.simulated import BOWL, JUG, SHORT, World
from tests.live.station.test_preflight import Asked

RECIPE = load_recipe(SHORT.encode(), "r")
ASKS = {"factors": {"1": 1.3}, "said": "developer A: 3 units through it, 10 % each"}
ROWS = [{"solution": "developer A", "time_factor": 1.3, "used_area_units": 3.0}, {"solution": "fixer", "time_factor": 1.0}]


def world(folder: Path) -> World:
    """A station whose liquids stay where they are."""
    made = World(folder)
    made.go(5.0)
    return made


def opened(made: World, name: str) -> dict[str, Any]:
    """The open record."""
    return made.records(name, "session")[0]


@pytest.mark.parametrize(("apply", "factor"), [(True, 1.3), (False, 1.0)])
def test_what_was_agreed_beforehand_is_done_and_recorded(tmp_path: Path, apply: bool, factor: float) -> None:
    """The recipe of the record is the one that is followed; the row of the solution says whether the ledger's time was used."""
    made = world(tmp_path)
    name = made.develop(ledger={**ASKS, "apply": apply}, solutions=ROWS)
    record = opened(made, name)
    assert load_factor(record) == factor
    assert record["solutions"] == [{**ROWS[0], "applied": apply}, ROWS[1]]
    made.press(1.5)
    made.go(20.0)
    assert made.records(name, "progress")[-1]["target_ref_s"] == pytest.approx(120.0 * factor)


def load_factor(record: dict[str, Any]) -> float:
    """The develop stage's factor in a record's recipe."""
    return float(record["recipe"]["stage"][0].get("factor", 1.0))


def test_waived_without_a_word_nothing_is_applied_and_that_is_said(tmp_path: Path) -> None:
    """Nobody has agreed."""
    made = world(tmp_path)
    answer = made.ask(verb="develop", recipe=SHORT, file="r", waive="a test", ledger=ASKS, solutions=ROWS)
    assert [r for r in answer["remarks"] if "the ledger's times are not used (x 1.3)" in r and "--ledger apply" in r]
    record = opened(made, answer["armed"])
    assert (load_factor(record), record["solutions"][0]["applied"]) == (1.0, False)


@pytest.mark.parametrize(("yes", "factor"), [(True, 1.3), (False, 1.0)])
def test_a_person_is_asked_first_and_either_answer_goes_on(tmp_path: Path, yes: bool, factor: float) -> None:
    """A no keeps the recipe's own time."""
    asked = Asked(tmp_path, ledger=ASKS, solutions=ROWS)
    first, *rest = asked.questions
    assert first["text"] == (
        "The ledger says: developer A: 3 units through it, 10 % each."
        " Shall this film get it: develop 2:36 in place of 2:00 (x 1.3)?"
    )
    assert first["stops"] is False
    said = asked.yes(first["id"], yes)
    assert said.get("if_no") == (None if yes else "The recipe's own times are kept, and the record says so.")
    for question in rest:
        if question["kind"] == "lift":
            asked.lift(question["id"], JUG if question["id"].endswith("jug") else BOWL)
        else:
            asked.well(question)
    armed = asked.world.ask(verb="arm")
    assert armed["ledger_used"] is yes
    record = opened(asked.world, armed["armed"])
    assert (load_factor(record), record["preflight"][first["id"]]) == (factor, yes)


def test_another_factor_is_another_question() -> None:
    """A yes of ten minutes ago, before another film, does not answer it."""
    one, other = (ledger_word_of({"factors": {"1": factor}}, RECIPE) for factor in (1.2, 1.3))
    assert one is not None
    assert other is not None
    assert question_id(one) != question_id(other)
    assert "(x 1.2)" in question_text(one, RECIPE)


@pytest.mark.parametrize("told", [None, {}, {"factors": {}}, {"factors": {"1": 1.0}}, "1.3"])
def test_a_ledger_that_changes_nothing_asks_nothing(told: object) -> None:
    """Nor does one that says nothing."""
    assert ledger_word_of(told, RECIPE) is None


@pytest.mark.parametrize(
    "told",
    [
        {"factors": {"9": 1.3}}, {"factors": {"1": "1.3"}}, {"factors": {"1": -1}}, {"factors": {"1": True}}, {"factors": [1.3]},
        {"factors": {"1": 1.3}, "said": 3}, {"factors": {"1": 1.3}, "said": "a\nb"}, {"factors": {"1": 1.3}, "apply": "yes"},
        {"factors": {"1": 4.0}},
    ],
)  # fmt: skip
def test_whatever_else_stands_in_the_request_is_refused(told: object) -> None:
    """A factor that the recipe does not bear, too."""
    with pytest.raises(InputWrong):
        ledger_word_of(told, RECIPE)
