"""What differs from the last session with it."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from monitor.core.recipe.reader import load_recipe
from monitor.prepare.recipes.last_time import differences, last_time
from tests.core.recipe.samples import ROLL, TRAY, changed
from tests.prepare.bottles.test_booking import journal

RECIPE = load_recipe(ROLL.encode(), "r.toml")


def test_a_fifo_among_the_journals_is_waited_for_by_nobody(tmp_path: Path) -> None:
    """Nor is a folder read."""
    (tmp_path / "journals" / "folder.jsonl").mkdir(parents=True)
    os.mkfifo(tmp_path / "journals" / "pipe.jsonl")
    assert last_time(tmp_path, RECIPE) is None


def test_nothing_differs_from_the_same_recipe() -> None:
    """Not even the order."""
    assert differences(RECIPE, RECIPE.data) == []


@pytest.mark.parametrize(
    ("edits", "said"),
    [
        (('"10:00"\ncounted => "11:00"\ncounted', '["20 C", "10:00"] => ["20 C", "11:00"]'), "develop, time: 10:00, was 11:00"),
        (("factor = 1.0 => factor = 1.3",), "develop, factor: 1, was 1.3"),
        (('"6:45" => "7:00"',), "develop, rate: "),
        (('drain = "0:15" => drain = "0:10"',), "develop, drain: 0:15, was 0:10"),
        (('"developer A" => "developer B"',), "develop, solution: developer A, was developer B"),
        (('for = "0:10" => for = "0:05"',), "develop, agitation: "),
        (('"panchromatic" => "orthochromatic"',), "film: panchromatic, was orthochromatic"),
        (('name = "fix" => name = "fixer"',), "fix: new, 5:00"),
        (("area_units = 1.0 => area_units = 2.0",), "area: 1 units, was 2 units"),
    ],
)
def test_each_change_that_matters_is_told(edits: tuple[str, ...], said: str) -> None:
    """In the words of the person's own recipe, what it is and what it was."""
    earlier = load_recipe(changed(ROLL, *edits).encode(), "r.toml")
    assert any(line.startswith(said) for line in differences(RECIPE, earlier.data)), differences(RECIPE, earlier.data)


def test_a_recipe_of_another_version_is_not_guessed_at() -> None:
    """Said instead."""
    assert "cannot read" in differences(RECIPE, {"schema": 7})[0]


def test_the_last_live_session_of_the_same_name_counts(tmp_path: Path) -> None:
    """Newest first; rehearsals and broken files are passed over; a recipe of another name is nothing to compare with."""
    folder = tmp_path / "journals"
    assert last_time(tmp_path, RECIPE) is None
    folder.mkdir()
    journal(folder / "20261101.jsonl", changed(ROLL, "factor = 1.0 => factor = 1.2"))
    journal(folder / "20261103.jsonl", TRAY)
    journal(folder / "20261104.jsonl", changed(ROLL, "Roll film, cold laundry => Another evening"))
    journal(folder / "20261105.jsonl", mode="rehearsal")
    (folder / "20261106.jsonl").write_bytes(b"\xff\xfe{{{\n")
    found = last_time(tmp_path, RECIPE)
    assert found is not None
    assert differences(RECIPE, found.data) == ["develop, factor: 1, was 1.2"]
    (folder / "20261101.jsonl").unlink()
    assert last_time(tmp_path, RECIPE) is None
