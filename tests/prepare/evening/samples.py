"""Evenings for the tests here: made from short recipes, without a disk."""

from __future__ import annotations

from monitor.core.evening.reader import RecipeText, load_evening
from monitor.core.evening.values import Evening
from monitor.prepare.evening.hands import Moment, moments
from monitor.prepare.evening.timeline import FilmTime, timeline
from tests.core.recipe.samples import TRAY

HEAD = 'schema = 1\nname = "Roll"\nfilm = "panchromatic"\nvessel = "lidded tank"\n'


def stage(role: str, time: str, more: str = "") -> str:
    """One `[[stage]]` called as its role; a develop stage is steered."""
    rate = 'reference = "20 C"\nrate = { law = "coefficient", per_10_c = 2.5 }\n' if role == "develop" else ""
    return f'[[stage]]\nname = "{role}"\nrole = "{role}"\ntime = "{time}"\n{rate}{more}'


ROLL = HEAD + stage("develop", "10:00", 'drain = "0:15"\nagitation = [{ from = "0:00", for = "0:30" }, { every = "2:00", for = "0:10" }]\n')
ROLL += stage("stop", "1:00") + stage("fix", "5:00")
BESIDE = {"roll.toml": ROLL, "tray.toml": TRAY}


def evening_of(films: str, between: str = "6:00", **more: str) -> Evening:
    """An evening with these `[[film]]` tables; `more` has further recipes by name, with _ for the dot."""
    recipes = BESIDE | {name.replace("_", "."): text for name, text in more.items()}
    text = f'schema = 1\nname = "Sunday"\nbetween = "{between}"\n{films}'
    return load_evening(text.encode(), "e.toml", lambda name: RecipeText(recipes[name].encode(), name))


def film(recipe: str = "roll.toml", vessel: str | None = None, start: str | None = None) -> str:
    """One `[[film]]`."""
    more = [f'vessel = "{vessel}"\n' if vessel else "", f'start = "{start}"\n' if start else ""]
    return f'[[film]]\nrecipe = "{recipe}"\n{"".join(more)}'


def placed(evening: Evening) -> tuple[FilmTime, ...]:
    """Its films on the clock, with their own recipes."""
    return timeline(evening, [f.recipe for f in evening.films])


def hands_of(evening: Evening) -> tuple[Moment, ...]:
    """Its moments."""
    return moments(placed(evening))
