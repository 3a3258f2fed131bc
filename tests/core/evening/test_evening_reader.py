"""The evening's reader: its films and vessels, when they begin, and every refusal with its line and words."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.errors import FileWrong, InputWrong, Problem
from monitor.core.evening.reader import RecipeText, load_evening
from monitor.core.evening.values import Evening
from tests.core.recipe.samples import ROLL, TRAY, changed

EVENING = """\
schema = 1
name = "Sunday in the wash-house"
between = "6:00"
[[film]]
recipe = "roll.toml"
what = "roll 14"
vessel = "left"
[[film]]
recipe = "tray.toml"
vessel = "right"
start = "+4:00"
[[film]]
recipe = "roll.toml"
what = "roll 15"
vessel = "left"
"""
BESIDE = {"roll.toml": ROLL, "tray.toml": TRAY, "wrong.toml": changed(ROLL, 'name = "develop"\n =>', "at_most => at_must")}
FILMS = EVENING[EVENING.index("[[film]]") :]


def beside(name: str) -> RecipeText:
    """What stands beside the evening's file."""
    if name in BESIDE:
        return RecipeText(BESIDE[name].encode(), f"evenings/{name}")
    if name == "evening.toml":
        return RecipeText(EVENING.encode(), f"evenings/{name}")
    raise InputWrong(f"{name}: cannot be read (No such file or directory); allowed: the path of a recipe in TOML")


def loaded(text: str = EVENING) -> Evening:
    """A sound evening."""
    return load_evening(text.encode(), "e.toml", beside)


def problems(text: str) -> list[Problem]:
    """What the reader says against this text."""
    with pytest.raises(FileWrong) as refused:
        loaded(text)
    return list(refused.value.problems)


def test_an_evening_has_its_films_in_order_with_recipe_vessel_and_start() -> None:
    """Everything that the contract's example says."""
    evening = loaded()
    assert (evening.name, evening.between_s, evening.vessels) == ("Sunday in the wash-house", 360.0, ("left", "right"))
    assert not evening.from_recipe
    assert [(f.number, f.line, f.what, f.vessel, f.start_s) for f in evening.films] == [
        (1, 4, "roll 14", "left", None), (2, 8, "Six sheets", "right", 240.0), (3, 12, "roll 15", "left", None),
    ]  # fmt: skip
    assert [f.recipe_file for f in evening.films] == ["evenings/roll.toml", "evenings/tray.toml", "evenings/roll.toml"]
    assert evening.films[0].recipe.stages[0].time_s == 600.0


def test_a_film_begins_after_the_last_in_its_vessel_or_so_long_after_the_one_before() -> None:
    """Film 3 waits for film 1 to end and for the gap, whatever film 2 does in the other vessel."""
    assert loaded().starts_s([900.0, 5000.0, 900.0]) == (0.0, 240.0, 1260.0)
    two = changed(EVENING, 'start = "+4:00"\n =>')
    assert loaded(two).starts_s([900.0, 700.0, 900.0]) == (0.0, 0.0, 1260.0)


def test_what_is_left_out_has_its_default() -> None:
    """Between is six minutes, the film's name the recipe's, the vessel the only one."""
    evening = loaded('schema = 1\nname = "x"\n[[film]]\nrecipe = "roll.toml"\n[[film]]\nrecipe = "tray.toml"\n')
    assert evening.between_s == 360.0
    assert [(f.what, f.vessel) for f in evening.films] == [("one 36-exposure roll, marked 14", None), ("Six sheets", None)]
    assert evening.vessels == (None,)


def test_a_film_without_a_vessel_is_in_the_only_one_that_is_named() -> None:
    """So that a name need not be said twice."""
    text = changed(EVENING, 'vessel = "right"\n =>', 'start = "+4:00"\n =>')
    assert [f.vessel for f in loaded(text).films] == ["left", "left", "left"]


def test_a_recipe_is_an_evening_of_one_film() -> None:
    """With the recipe's own names."""
    evening = load_evening(ROLL.encode(), "roll.toml", beside)
    assert evening.from_recipe
    assert evening.starts_s([1.0]) == (0.0,)
    (film,) = evening.films
    assert (film.number, film.what, film.vessel, film.start_s) == (1, "one 36-exposure roll, marked 14", None, None)
    assert evening.name == film.recipe.name == "Roll film, cold laundry"


def test_a_films_factor_moves_its_develop_stages_alone() -> None:
    """The recipe that is developed has it, its data too; the file's other film keeps its own time."""
    evening = loaded(changed(EVENING, 'what = "roll 15" => what = "roll 15"\nfactor = 1.2'))
    first, _, third = (film.recipe for film in evening.films)
    assert [s.target_ref_s for s in first.stages] == [600.0, 300.0]
    assert [s.target_ref_s for s in third.stages] == [720.0, 300.0]
    assert [s.get("factor") for s in third.data["stage"]] == [1.2, None]
    assert evening.films[2].factor == 1.2
    assert [s.line for s in third.stages] == [s.line for s in first.stages]


# What is done to EVENING, a mark on the line that must be named, and words that must stand in the message.
BROKEN: dict[str, tuple[tuple[str, ...], str, str]] = {
    "schema missing": (("schema = 1\n =>",), "name =", "the file has no schema"),
    "schema of another kind": (("schema = 1 => schema = 2",), "schema", "out of range; allowed: 1"),
    "name missing": (('name = "Sunday in the wash-house"\n =>',), "schema", "the file has no name"),
    "between a bare number": (('between = "6:00" => between = 6',), "between", "6 is not a duration"),
    "between too long": (('between = "6:00" => between = "7:00:00"',), "between", 'out of range; allowed: "0:00" to "6:00:00"'),
    "unknown key at the top": (("between => betwen",), "betwen", 'unknown key "betwen" in the file (nearest: "between")'),
    "unknown key in a film": (('what = "roll 14" => wat = "roll 14"',), "wat =", 'unknown key "wat" in [[film]] 1 (nearest: "what")'),
    "a stage in an evening": (("[[film]]\nrecipe = \"tray => [[stage]]\nrecipe = \"tray",), "[[stage]]", 'unknown key "stage" in the file'),
    "recipe missing": (('recipe = "tray.toml"\n =>',), '[[film]]\nvessel = "right"', "[[film]] 2 has no recipe"),
    "recipe not there": (("tray.toml => try.toml",), "try.toml", "recipe: try.toml: cannot be read (No such file or directory)"),
    "recipe an evening": (("tray.toml => evening.toml",), "evening.toml", "is an evening, not a recipe"),
    "a third vessel": (('what = "roll 15"\nvessel = "left" => vessel = "third"',), "third", '"third" is the third; allowed: two at most'),
    "no vessel where there are two": (
        ('what = "roll 15"\nvessel = "left"\n => what = "roll 15"\n',), '[[film]]\nrecipe = "roll.toml"\nwhat = "roll 15"',
        '[[film]] 3 has no vessel, and there are two; allowed: vessel = "left" or "right"',
    ),
    "vessel with a slash": (('vessel = "right" => vessel = "le/ft"',), "le/ft", "cannot be a vessel's name"),
    "start without plus": (('"+4:00" => "4:00"',), "start", '"4:00" does not begin with +'),
    "start a bare number": (('"+4:00" => 4',), "start", "4 does not begin with +"),
    "start without seconds": (('"+4:00" => "+4"',), "start", '"4" is not a duration'),
    "start too late": (('"+4:00" => "+13:00:00"',), "start", "out of range"),
    "start of the first": (('what = "roll 14" => start = "+0:00"',), "start", "there is no film before the first"),
    "start while the vessel is full": (
        ('vessel = "right" => vessel = "left"',), "start", "4:00 into the evening, left still holds film 1; allowed: a start from 15:00",
    ),
    "factor of nothing": (('what = "roll 14" => factor = 0',), "factor", "out of range"),
    "factor that no recipe bears": (('what = "roll 14" => factor = 0.02',), "factor", "with 0.02 the recipe no longer fits: drain"),
    "no film": ((FILMS + " => film = []\n",), "film = []", "no films; allowed: 1 to 24 [[film]] tables"),
    "film misspelt": ((FILMS + ' => [[flm]]\nrecipe = "roll.toml"\n',), "[[flm]]", 'unknown key "flm" in the file (nearest: "film")'),
    "too many films": ((FILMS + " => " + '[[film]]\nrecipe = "roll.toml"\n' * 25,), "[[film]]", "25 films; allowed: 1 to 24"),
    "films as one table": ((FILMS + ' => [film]\nrecipe = "roll.toml"\n',), "[film]", "not a list of tables"),
}  # fmt: skip


@pytest.mark.parametrize("case", BROKEN)
def test_what_is_wrong_is_named_with_its_line(case: str) -> None:
    """One problem at a time, on the line where it stands."""
    changes, mark, words = BROKEN[case]
    text = changed(EVENING, *changes)
    found = problems(text)
    line = text[: text.index(mark)].count("\n") + 1
    assert [p for p in found if p.line == line and words in str(p)], [str(p) for p in found]
    assert all(p.file == "e.toml" for p in found)


def test_all_problems_are_told_together_those_of_the_recipes_in_their_own_files() -> None:
    """The evening's by line first; a recipe that two films use is told once."""
    text = changed(EVENING, "schema = 1 => schema = 3", '"+4:00" => "4:00"').replace("roll.toml", "wrong.toml")
    found = problems(text)
    there = [BESIDE["wrong.toml"][: BESIDE["wrong.toml"].index(mark)].count("\n") + 1 for mark in ("[[stage]]", "at_must")]
    assert [(p.file, p.line) for p in found] == [("e.toml", 1), ("e.toml", 11), *(("evenings/wrong.toml", line) for line in there)]


def test_a_gap_shorter_than_between_is_remarked_on() -> None:
    """It is the person's to choose, and is said."""
    assert loaded().warnings == ()
    text = changed(EVENING, 'vessel = "right"\nstart = "+4:00" => vessel = "left"\nstart = "+17:00"')
    assert loaded(text).warnings == ("Film 2 (Six sheets) begins 2:00 after the film before it in the same vessel; between is 6:00.",)


def test_one_jug_for_two_solutions_is_remarked_on_where_both_films_run() -> None:
    """One after the other it may be."""
    tray = changed(TRAY, 'role = "develop" => role = "develop"\nsolution = "developer B"\njug = 1')

    def jugs(text: str) -> list[str]:
        known = BESIDE | {"tray.toml": tray}
        read = load_evening(text.encode(), "e.toml", lambda name: RecipeText(known[name].encode(), name))
        return [said for said in read.warnings if said.startswith("Jug")]

    both = "developer B for film 2 and developer A for film 1"
    assert jugs(EVENING)[0] == f"Jug 1 holds both {both}, which run at the same time: use one jug for each solution."
    assert jugs(changed(EVENING, '"+4:00" => "+1:04:00"')) == []


@given(st.text(max_size=60), st.integers(0, len(EVENING)), st.integers(0, 40))
def test_whatever_is_typed_is_read_or_refused_with_a_line(typed: str, at: int, gone: int) -> None:
    """Never anything else."""
    found: list[Problem] = []
    try:
        loaded(EVENING[:at] + typed + EVENING[at + gone :])
    except FileWrong as wrong:
        found.extend(wrong.problems)
    assert all(p.line >= 1 and p.what and p.allowed for p in found)
