"""What makes little sense in a recipe that can be read: warned of with its line, never refused."""

from __future__ import annotations

import pytest

from monitor.core.errors import FileWrong
from monitor.core.recipe.reader import load_recipe, recipe_from_data
from monitor.core.recipe.scaled import developing
from monitor.core.recipe.sense import grave
from monitor.core.recipe.values import Recipe

HEAD = 'schema = 1\nname = "x"\nfilm = "panchromatic"\nvessel = "lidded tank"\n'
SOUND = 'agitation = "continuous"\nreference = "20 C"\nrate = { law = "coefficient", per_10_c = 2.5 }\n'


def made(*roles: str, develop: str = SOUND, contents: str = "", head: str = HEAD) -> Recipe:
    """A recipe of ten minutes in each of these baths; the third line of each is its role."""
    stages = "".join(
        f'[[stage]]\nname = "{role}"\nrole = "{role}"\n'
        + ("" if role == "load" else 'time = "10:00"\n')
        + (develop if role == "develop" else "")
        for role in roles
    )
    return load_recipe(f"{head}{f'[contents]{chr(10)}{contents}' if contents else ''}{stages}".encode(), "r.toml")


@pytest.mark.parametrize(
    "roles",
    [
        ("develop", "stop", "fix"), ("load", "presoak", "develop", "stop", "fix", "wash", "wash aid", "wash", "rinse"),
        ("develop", "wash", "fix", "fix"), ("develop", "develop", "stop", "fix"), ("develop", "bleach-fix", "wash", "rinse"),
        ("develop", "stop", "wash", "bleach", "wash", "develop", "fix", "wash"), ("develop", "fix", "bleach", "wash", "develop", "wash"),
        ("develop", "bleach", "wash", "fix", "wash", "rinse"), ("fix", "wash"), ("wash",), ("presoak", "hold", "develop", "hold", "fix"),
    ],
)  # fmt: skip
def test_what_a_process_has_is_not_remarked_on(roles: tuple[str, ...]) -> None:
    """Reversal, toning, two fixes, washing alone."""
    assert made(*roles).warnings == ()


def test_a_recipe_without_a_fix_is_told_with_the_line_of_its_last_stage() -> None:
    """Where one would be added."""
    recipe = made("develop", "stop")
    assert recipe.warnings == (
        f"Line {recipe.stages[1].line}: stage 2 (stop) is the last one, and no stage fixes: the film stays sensitive to light to the end, "
        "and counts as bare in an open vessel.",
    )


def test_a_jug_for_two_solutions_is_told_with_the_line_of_the_second_one() -> None:
    """Which is where it is put right."""
    text = HEAD + "".join(
        f'[[stage]]\nname = "{role}"\nrole = "{role}"\ntime = "10:00"\njug = 1\nsolution = "{role}er"\n{SOUND if role == "develop" else ""}'
        for role in ("develop", "fix")
    )
    recipe = load_recipe(text.encode(), "r.toml")
    line = recipe.stages[1].line
    assert recipe.warnings == (f"Line {line}: stage 2 (fix): jug 1 holds both developer and fixer: use one jug for each solution.",)


@pytest.mark.parametrize(
    ("roles", "words"),
    [
        (("stop", "develop", "fix"), "stage 1 (stop) comes before the developer"),
        (("bleach", "develop", "fix"), "stage 1 (bleach) comes before the developer"),
        (("develop", "presoak", "fix"), "stage 2 (presoak) comes after a developer"),
        (("develop", "wash aid", "fix"), "stage 2 (wash aid) comes before a fix"),
        (("develop", "fix", "stop"), "stage 3 (stop) comes after the fix"),
    ],
)
def test_an_order_that_no_process_has_is_told_with_its_line(roles: tuple[str, ...], words: str) -> None:
    """The line of the stage's header."""
    recipe = made(*roles)
    (said,) = recipe.warnings
    number = int(words.split()[1])
    assert said == f"Line {recipe.stages[number - 1].line}: {words.partition('; ')[0]}" + said[said.index(words) + len(words) :]
    assert said.endswith(": no process has that order.")
    assert grave(recipe) == ()


@pytest.mark.parametrize("roles", [("fix", "develop", "stop"), ("load", "fix", "develop"), ("develop", "fix", "develop", "fix")])
def test_a_fix_before_a_developer_is_grave(roles: tuple[str, ...]) -> None:
    """Nothing is left to develop; bleached in between it is an image again."""
    recipe = made(*roles)
    (said,) = grave(recipe)
    assert "comes after a fix: a fixed film has nothing left to develop." in said
    assert any(said in warning for warning in recipe.warnings)
    assert grave(made("develop", "fix", "bleach", "develop")) == ()


def test_agitation_left_out_is_told_and_standing_is_not() -> None:
    """An empty list says that it stands; a drum rolls."""
    quiet = SOUND.replace('agitation = "continuous"\n', "")
    (said,) = made("develop", "fix", develop=quiet).warnings
    assert said == "Line 5: stage 1 (develop): agitation is left out, so no tick will sound; agitation = [] says that it stands."
    assert made("develop", "fix", develop=quiet + "agitation = []\n").warnings == ()
    assert made("develop", "fix", develop=quiet, head=HEAD.replace("lidded tank", "drum")).warnings == ()


def test_a_rate_left_out_is_told_where_the_time_is_expected_to_move() -> None:
    """Not for colour, nor where steer says that it is meant."""
    fixed = 'agitation = "continuous"\n'
    (said,) = made("develop", "fix", develop=fixed).warnings
    assert "no rate, so temperature will not move its time; steer = false says that it shall not" in said
    assert made("develop", "fix", develop=fixed + "steer = false\n").warnings == ()
    assert made("develop", "fix", develop=fixed + 'until = "at least"\n').warnings == ()  # it goes to completion: a monobath
    assert made("develop", "fix", develop=fixed, head=HEAD.replace("panchromatic", "colour")).warnings == ()


def test_less_than_covers_the_film_is_told_or_refused_where_the_person_has_said_how_much() -> None:
    """200 ml for a roll; and 300 ml where the tank is known to want 350."""
    (said,) = made("develop", "fix", develop=SOUND + 'volume = "200 ml"\n', contents="area_units = 1.0\n").warnings
    assert "stage 1 (develop): 200 ml; a tank wants about 240 ml for 1 unit of film, roll film twice that (from memory)" in said
    assert made("develop", "fix", develop=SOUND + 'volume = "250 ml"\n', contents="area_units = 1.0\n").warnings == ()
    twice = made("develop", "develop", "fix", develop=SOUND + 'volume = "200 ml"\n', contents="area_units = 1.0\n")
    assert len(twice.warnings) == 1  # one tank, one volume: said once
    less = SOUND + 'volume = "300 ml"\n'
    with pytest.raises(FileWrong, match=r'r\.toml:14: volume: 300 ml does not cover the film; allowed: "350 ml" or more'):
        made("develop", "fix", develop=less, contents='cover = "350 ml"\n')
    assert made("develop", "fix", develop=less, contents='area_units = 2.0\ncover = "300 ml"\n').warnings == ()


def test_three_millilitres_of_concentrate_for_two_rolls_are_told() -> None:
    """Stock from powder is no concentrate."""
    thin = SOUND + 'volume = "600 ml"\ndilution = "1+199"\n'
    (said,) = made("develop", "fix", develop=thin, contents="area_units = 2.0\n").warnings
    assert "3 ml of concentrate for 2 units of film; 5 ml each is a usual least (from memory, your sheet decides)." in said
    enough = thin.replace("1+199", "1+59")
    assert made("develop", "fix", develop=enough, contents="area_units = 2.0\n").warnings == ()


def test_the_lines_stay_when_a_recipe_is_made_longer_and_go_with_the_file() -> None:
    """A journal's recipe has no lines."""
    recipe = made("develop", "fix", "stop")
    assert developing(recipe, 1.2).warnings == recipe.warnings
    assert recipe_from_data(recipe.data).warnings == ("stage 3 (stop) comes after the fix: no process has that order.",)


def test_a_drum_that_stops_is_warned_of_in_every_bath() -> None:
    """Colour too: its blank is a tank's, and moves now and then (common practice, no source)."""
    bursts = SOUND.replace('"continuous"', '[{ from = "0:00", for = "0:30" }, { every = "0:30", for = "0:05" }]')
    (said,) = made("develop", "fix", develop=bursts, head=HEAD.replace("lidded tank", "drum")).warnings
    assert "a drum covers the film only while it turns" in said
    assert made("develop", "fix", develop=bursts).warnings == ()
    assert made("develop", "fix", head=HEAD.replace("lidded tank", "drum")).warnings == ()
