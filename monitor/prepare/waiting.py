"""If something happens in the dark: how long a film may wait in each stage. Shared by the checklist, the wall card and the station.

All of it is common practice without a source, and says so. A smoke or gas alarm comes before everything. Pure, no I/O.
Tests: tests/prepare/test_waiting.py.
"""

from __future__ import annotations

from dataclasses import dataclass

from monitor.core.recipe.values import Recipe, Stage
from monitor.core.text.quantities import format_duration

ALARM_FIRST = "A smoke or gas alarm always comes first: leave everything, get out."
SOURCE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Wait:
    """How long film may wait in one stage. `short` is for a card read at arm's length.

    `most_s`: seconds; None if no honest number can be given.
    """

    stage: int
    name: str
    role: str
    short: str
    text: str
    most_s: float | None
    source: str = SOURCE


def waits_for(recipe: Recipe) -> tuple[Wait, ...]:
    """One for every stage of the recipe, in order."""
    return tuple(_wait(recipe, stage) for stage in recipe.stages)


FIX_BLEACHES_S = 600.0
"""From about here a fixer may begin to bleach the image (common practice, no source)."""
_STOP_S = 120.0


def _wait(recipe: Recipe, stage: Stage) -> Wait:
    short, text, most_s = _rule(recipe, stage)
    light = "your safelight alone" if recipe.film == "paper" else "no light"
    said = f" The {recipe.medium} is bare: {light}."
    dark = said if stage.number in recipe.open_film and stage.role != "load" else ""
    return Wait(stage.number, stage.name, stage.role, short, f"{text}{dark}", most_s)


def _ends_development(recipe: Recipe, stage: Stage) -> bool:
    """A timed wash straight after a timed developer: nothing else stops it."""
    if stage.role != "wash" or stage.until != "time" or stage.number == 1:
        return False
    before = recipe.stages[stage.number - 2]
    return before.role == "develop" and before.until == "time"


def _rule(recipe: Recipe, stage: Stage) -> tuple[str, str, float | None]:
    most_s, film, medium = stage.at_most_s, recipe.film, recipe.medium
    if stage.role == "load":
        if medium == "paper":
            return "box closed, then long", "Paper that sticks: back into its closed box, dry your hands, wait as long as you like.", None
        text = "A reel that sticks: film into the closed tank, dry your hands, wait as long as you like."
        return "lid on, then long", text, None
    if stage.role == "develop" and stage.until == "at least":
        return "a few minutes", "It runs to its end: a few minutes more do no harm.", most_s
    if stage.role == "develop":
        return "NEVER", "Never wait: finish it by your second clock, into the next bath, and see to the rest there.", 0.0
    if stage.role == "stop":
        return "a minute or two, then plain water", "A minute or two; then plain water of the same temperature for some minutes.", _STOP_S
    if stage.role in ("fix", "bleach-fix"):
        if film == "colour" and most_s is None:
            return "some minutes", "Some minutes more do no harm: the picture is dye. Too short a time leaves silver.", None
        limit_s = FIX_BLEACHES_S if most_s is None else most_s
        said = format_duration(limit_s)
        return f"up to about {said}", f"Up to about {said} in all; later it may begin to bleach the image. Then plain water.", limit_s
    if _ends_development(recipe, stage):
        return "finish on time", "Finish it on time: it ends development, and is as critical as the developer.", 0.0
    if stage.role == "wash" and recipe.on_paper:
        text = "Resin-coated paper some minutes: water creeps in at its edges. Fibre paper long, but not for hours."
        return "some minutes, fibre longer", text, None
    if stage.role == "wash":
        return "long, not hours", "Long, but not for hours: wet gelatine softens and swells.", None
    if stage.role == "rinse":
        least = "a few minutes more" if stage.until == "at least" else "no longer than stated"
        said = least if most_s is None else f"up to {format_duration(most_s)}"
        return said, f"A wetting or final bath: {said}.", most_s
    if stage.role == "presoak":
        return "a few minutes", "A few minutes more in plain water do no harm; keep its temperature.", None
    if stage.role == "bleach" and film != "colour":
        text = "Until the black is gone, then on: do not leave it there, an acid bleach softens the gelatine."
        return "until the black is gone", text, most_s
    if stage.role == "bleach":
        return "some minutes", "Some minutes more do little harm, a shorter bleach leaves silver; do not cut it short.", None
    if stage.role == "wash aid":
        return "a few minutes, then plain water", "A few minutes; then plain water.", None
    said = "as its sheet says" if most_s is None else f"up to {format_duration(most_s)}"
    return said, f"{stage.name.capitalize()}: {said}.", most_s
