"""Ready evenings: what is in the file, and that the starts are the best of those that were tried."""

from __future__ import annotations

import pytest

from monitor.core.errors import FileWrong, InputWrong
from monitor.core.evening.reader import RecipeText, load_evening
from monitor.prepare.evening.clashes import clashes
from monitor.prepare.evening.presets import PRESETS, Made, Wanted, make, preset_named, said, staggered
from tests.core.recipe.samples import TRAY, changed
from tests.prepare.evening.samples import ROLL, hands_of, stage

KNOWN = {"roll.toml": ROLL + stage("wash", "10:00"), "tray.toml": TRAY, "wrong.toml": changed(TRAY, "8:00 => 8")}


def opened(name: str) -> RecipeText:
    """A recipe beside the evening."""
    return RecipeText(KNOWN[name].encode(), name)


def made(key: str, *recipes: str, **more: object) -> Made:
    """The file of one preset."""
    return make(preset_named(key), Wanted(recipes or ("roll.toml",), **more), "e.toml", opened)  # type: ignore[arg-type]


@pytest.mark.parametrize("preset", PRESETS, ids=lambda p: p.key)
def test_each_preset_is_a_file_that_is_read(preset: object) -> None:
    """Its text is the evening that was planned with."""
    key = str(getattr(preset, "key", ""))
    recipes = ("roll.toml", "tray.toml") if key == "beside-tray" else ("roll.toml",)
    found = made(key, *recipes)
    assert load_evening(found.text.encode(), "e.toml", opened) == found.evening
    assert not found.evening.warnings


def test_rolls_in_a_row_take_the_recipes_in_turn() -> None:
    """Three of them if nobody says how many."""
    films = made("in-a-row", "roll.toml", "tray.toml").evening.films
    assert [(f.recipe_file, f.what, f.vessel, f.start_s) for f in films] == [
        ("roll.toml", "roll 1", None, None), ("tray.toml", "roll 2", None, None), ("roll.toml", "roll 3", None, None),
    ]  # fmt: skip
    assert len(made("in-a-row", films=5).evening.films) == 5


@pytest.mark.parametrize("stagger", ["clear", "short"])
def test_two_tanks_are_staggered_so_that_no_start_nearby_is_better(stagger: str) -> None:
    """Every ten seconds of the first film was tried: fewest clashes, or fewest in which nobody may wait; then the earliest."""
    found = made("two-tanks", films=2, stagger=stagger)
    best_s = found.evening.films[1].start_s
    assert best_s is not None

    def badness(start_s: float) -> tuple[int, float]:
        text = found.text.replace(f'"+{int(best_s // 60)}:{int(best_s % 60):02d}"', f'"+{int(start_s // 60)}:{int(start_s % 60):02d}"')
        met = clashes(hands_of(load_evening(text.encode(), "e.toml", opened)))
        return len(met) if stagger == "clear" else sum(not c.may_wait for c in met), start_s

    total_s = found.evening.films[0].recipe.total_s
    assert min(map(badness, range(0, int(total_s) + 1, 10))) == badness(best_s)
    assert len(found.clashes if stagger == "clear" else [c for c in found.clashes if not c.may_wait]) == badness(best_s)[0] == 0


def test_with_four_films_each_one_is_put_where_the_hands_are_free() -> None:
    """Better than letting each wait for its vessel alone."""
    found = made("two-tanks")
    assert [f.vessel for f in found.evening.films] == ["left", "right", "left", "right"]
    naive = "\n".join(line for line in found.text.split("\n") if not line.startswith("start"))
    assert len(found.clashes) < len(clashes(hands_of(load_evening(naive.encode(), "e.toml", opened))))
    assert found.clashes == ()


def test_the_shorter_way_is_shorter_and_its_clashes_may_wait() -> None:
    """And a person is told the figures of both."""
    ways = staggered(preset_named("two-tanks"), Wanted(("roll.toml",)), "e.toml", opened)
    clear, short = ways["clear"], ways["short"]
    assert short.long_s < clear.long_s
    assert clear.clashes == ()
    assert short.clashes
    assert all(c.may_wait for c in short.clashes)
    first, second = said(ways, "clear", ("left", "right"))
    assert first.startswith("4 films in left and right; --stagger clear: ")
    assert first.endswith("no two films want the hands together")
    assert second.startswith("--stagger short: ")
    assert second.endswith("one of them can wait each time")


def test_a_tank_beside_a_tray_line_leaves_the_hands_to_the_trays() -> None:
    """The tank stands in its wash while sheets are shuffled."""
    found = made("beside-tray", "roll.toml", "tray.toml", vessels=("tank", "tray"))
    assert [f.vessel for f in found.evening.films] == ["tank", "tray"]
    assert all(c.may_wait for c in found.clashes)


def test_a_clip_comes_before_its_roll_and_its_factor_has_its_place() -> None:
    """Half an hour for drying and reading; the factor changes the roll alone."""
    found = made("clip-first")
    assert found.evening.between_s == 1800.0
    carried = load_evening(found.text.replace("factor = 1.0", "factor = 1.15").encode(), "e.toml", opened)
    assert [f.recipe.stages[0].target_ref_s for f in carried.films] == [600.0, pytest.approx(690.0)]


@pytest.mark.parametrize(
    ("key", "recipes", "more", "words"),
    [
        ("beside-tray", ("roll.toml",), {}, "1 recipes for beside-tray; allowed: 2"),
        ("clip-first", ("roll.toml", "roll.toml"), {}, "allowed: 1, one --recipe"),
        ("in-a-row", ("roll.toml",), {"films": 1}, "1 films; allowed: 2 to 12"),
        ("in-a-row", ("roll.toml",), {"films": 13}, "13 films; allowed: 2 to 12"),
        ("clip-first", ("roll.toml",), {"films": 3}, "allowed: 2, add more by hand"),
        ("two-tanks", ("roll.toml",), {"vessels": ("left",)}, "allowed: 2 names"),
        ("two-tanks", ("roll.toml",), {"vessels": ("left", "left")}, "each once"),
        ("two-tanks", ("roll.toml",), {"vessels": ("a", "b", "c")}, "allowed: 2 names"),
        ("two-tanks", ("roll.toml",), {"vessels": ("Left", "right")}, 'vessel "Left"; allowed: a-z'),
    ],
)
def test_what_does_not_fit_is_refused(key: str, recipes: tuple[str, ...], more: dict[str, object], words: str) -> None:
    """In one line."""
    with pytest.raises(InputWrong, match=words.replace("(", r"\(")):
        made(key, *recipes, **more)


def test_a_wrong_recipe_is_refused_with_its_line_and_an_unknown_kind_with_the_known_ones() -> None:
    """Before anything is written."""
    with pytest.raises(FileWrong, match=r"wrong\.toml:9: "):
        made("in-a-row", "wrong.toml")
    with pytest.raises(InputWrong, match="allowed: in-a-row, two-tanks, beside-tray, clip-first"):
        preset_named("sunday")


def test_what_was_written_is_told_with_what_the_hands_will_meet() -> None:
    """One line."""
    assert said({"clear": made("in-a-row")}, "clear", ("left",)) == ["3 films, 1:30:00"]
