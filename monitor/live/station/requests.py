"""What a `develop` request may ask for, by the recipe and the rule of light. Changes nothing.

Tests: tests/live/station/test_control.py, tests/cli/test_develop.py.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from monitor.core.errors import InputWrong
from monitor.core.recipe.light import session_refusal
from monitor.core.recipe.reader import load_recipe
from monitor.core.recipe.values import Recipe
from monitor.live.station.ledger_word import ledger_word_of
from monitor.live.station.running import StartRequest

POUR_C = (0.0, 60.0)
LONGEST_RECIPE = 64 * 1024
"""Characters. A recipe has a few thousand; 256 KiB of tables took seconds to read, on a small board longer than its watchdog waits."""
MOST_SOLUTIONS = 40
MOST_PARTS, PART_MS, SOUND_MS = 64, (10, 5000), 60_000
"""A sound of a lesson: pulses and gaps in it, milliseconds of each, and of all."""
SOLUTION_KEYS = frozenset(
    {"solution", "dilution", "mixed", "age_s", "used_area_units", "area_units", "state", "time_factor", "films_left", "why", "taken_ml"}
)


class RequestRefused(InputWrong):
    """The station refuses this now. Exit status 2."""


def refuse_lamp(recipe: Recipe) -> None:
    """Raise `RequestRefused` where this recipe permits no lamp."""
    why = session_refusal(recipe.film, recipe.vessel, tuple(stage.role for stage in recipe.stages))
    if why is not None:
        raise RequestRefused(f"--lamp: {why}; allowed: no lamp with this recipe")


def start_request_of(body: Mapping[str, Any], has_lamp: bool) -> StartRequest:
    """The start that a request asks for. Raises `FileWrong` for the recipe and `RequestRefused` for the rest."""
    text, file = body.get("recipe"), body.get("file")
    if not isinstance(text, str):
        raise RequestRefused("no recipe in the request")
    name = file if isinstance(file, str) else "recipe"
    if len(text) > LONGEST_RECIPE:
        raise RequestRefused(f"{name}: more than {LONGEST_RECIPE} characters; allowed: a recipe that a station reads in a moment")
    recipe = load_recipe(text.encode(), name)
    lamp = body.get("lamp") is True
    if lamp:
        refuse_lamp(recipe)
        if not has_lamp:
            raise RequestRefused("--lamp: the station has no lamp; allowed: a pin for it in [panel] of the station file")
    pour_c = body.get("pour_c")
    if pour_c is not None and not (isinstance(pour_c, (int, float)) and POUR_C[0] <= pour_c <= POUR_C[1]):
        raise RequestRefused('--pour-c is out of range; allowed: "0 C" to "60 C"')
    poured_c = None if pour_c is None else float(pour_c)
    words = (_words(body, "override_gate"), _words(body, "vessel"), _words(body, "waive"))
    word = ledger_word_of(body.get("ledger"), recipe)
    return StartRequest(recipe, lamp, poured_c, *words, _solutions(body), body.get("rehearsal") is True, word)


def pattern_of(body: Mapping[str, Any]) -> tuple[float, ...]:
    """The pattern that a lesson wants to hear, seconds on and off in turn. Raises `RequestRefused`."""
    parts = body.get("on_off_ms")
    whole = [ms for ms in parts if type(ms) is int and PART_MS[0] <= ms <= PART_MS[1]] if isinstance(parts, list) else []
    if whole == parts and 1 <= len(whole) <= MOST_PARTS and sum(whole) <= SOUND_MS:
        return tuple(ms / 1000.0 for ms in whole)
    raise RequestRefused("no sound; allowed: on_off_ms, 1 to 64 whole milliseconds of 10 to 5000, a minute in all")


def _solutions(body: Mapping[str, Any]) -> tuple[dict[str, str | float], ...]:
    """What the ledger said of each solution, a few plain values. Anything else is left out; none of it changes the session."""
    told = body.get("solutions")
    rows = told[:MOST_SOLUTIONS] if isinstance(told, list) else []
    return tuple({k: v for k, v in row.items() if k in SOLUTION_KEYS and _plain(v)} for row in rows if isinstance(row, dict))


def _plain(value: Any) -> bool:
    if isinstance(value, str):
        return len(value) <= 200 and value.isprintable()
    return isinstance(value, (int, float)) and math.isfinite(value)


def _words(body: Mapping[str, Any], key: str) -> str | None:
    value = body.get(key)
    if value is None:
        return None
    if not isinstance(value, str) or not value.strip() or len(value) > 500 or not value.isprintable():
        raise RequestRefused(f"--{key.replace('_', '-')} without words; allowed: one line of 1 to 500 characters")
    return value.strip()
