"""What a `develop` request may ask for, by the recipe and the rule of light. Changes nothing.

Tests: tests/live/station/test_control.py, tests/cli/test_develop.py.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from monitor.core.errors import InputWrong
from monitor.core.recipe.light import session_refusal
from monitor.core.recipe.reader import load_recipe, recipe_from_data
from monitor.core.recipe.values import Recipe
from monitor.live.station.ledger_word import ledger_word_of
from monitor.live.station.lines_in import plain_words
from monitor.live.station.running import FilmPlace, StartRequest

POUR_C = (0.0, 60.0)
LONGEST_RECIPE = 64 * 1024
"""Characters. A recipe has a few thousand; 256 KiB of tables took seconds to read, on a small board longer than its watchdog waits."""
MOST_FILMS, LONGEST_EVENING = 24, 256 * 1024
LONGEST_WAIT_S = 86400.0
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
    why = session_refusal(recipe.film, recipe.vessel, tuple(stage.role for stage in recipe.stages), recipe.medium)
    if why is not None:
        raise RequestRefused(f"--lamp: {why}; allowed: no lamp with this recipe")


def start_request_of(body: Mapping[str, Any], has_lamp: bool, vessels: Sequence[str] = ()) -> StartRequest:
    """The start that a request asks for, of an evening that of its first film with all `others`. `vessels`: the station's. Raises
    `FileWrong` for the recipe and `RequestRefused` for the rest."""
    if isinstance(body.get("evening"), dict):
        return _evening_of(body, body["evening"], has_lamp, vessels)
    text, file = body.get("recipe"), body.get("file")
    if not isinstance(text, str):
        raise RequestRefused("no recipe in the request")
    name = file if isinstance(file, str) else "recipe"
    if len(text) > LONGEST_RECIPE:
        raise RequestRefused(f"{name}: more than {LONGEST_RECIPE} characters; allowed: a recipe that a station reads in a moment")
    wanted = _start_of(body, load_recipe(text.encode(), name), has_lamp)
    if len(vessels) < 2:
        return wanted
    if wanted.vessel not in vessels:
        here = " and ".join(vessels)
        raise RequestRefused(f"the station has the vessels {here}; allowed: --vessel with one of them, or an evening's file")
    what = wanted.recipe.what or wanted.recipe.name
    place = FilmPlace(wanted.recipe.name, 1, 1, what, wanted.vessel, 2 if wanted.vessel in vessels[1:] else 1)
    return replace(wanted, vessel=None, place=place)


def vessel_wrong(vessel: str | None, vessels: Sequence[str]) -> tuple[str, str] | None:
    """What is wrong with the vessel that a film names, and what is allowed; None where the station has it."""
    if vessel in vessels or (vessel is None and len(vessels) < 2):
        return None
    if vessel is None:
        return "no vessel is named, and the station has two", " or ".join(vessels)
    return f'vessel "{vessel}" is none of the station\'s', " or ".join(vessels) if vessels else "none named, where the station names none"


def _evening_of(body: Mapping[str, Any], told: Mapping[str, Any], has_lamp: bool, vessels: Sequence[str]) -> StartRequest:
    films = told.get("films")
    rows = [row for row in films if isinstance(row, dict)] if isinstance(films, list) else []
    name = told.get("name")
    if not isinstance(name, str) or not 1 <= len(rows) <= MOST_FILMS or len(json.dumps(told)) > LONGEST_EVENING:
        raise RequestRefused(f"no evening in the request; allowed: a name and 1 to {MOST_FILMS} films")
    wanted: list[StartRequest] = []
    between_s = _seconds(told, "between_s")
    for number, row in enumerate(rows, start=1):
        vessel, what, data = row.get("vessel"), row.get("what"), row.get("recipe")
        if not isinstance(data, dict) or not isinstance(what, str) or not (vessel is None or isinstance(vessel, str)):
            raise RequestRefused(f"film {number}: no recipe, or no name; allowed: a recipe, what it is, and its vessel")
        wrong = vessel_wrong(vessel, vessels)
        if wrong is not None:
            raise RequestRefused(f"film {number} ({plain_words(what)}): {wrong[0]}; allowed: {wrong[1]}")
        vessel = vessels[0] if vessel is None and len(vessels) == 1 else vessel
        place = FilmPlace(plain_words(name), number, len(rows), plain_words(what), vessel, 2 if vessel in vessels[1:] else 1)
        one = {**body, "solutions": row.get("solutions"), "ledger": None}
        film = replace(_start_of(one, recipe_from_data(data), has_lamp), place=place, start_s=_seconds(row, "start_s"))
        wanted.append(film if between_s is None else replace(film, between_s=between_s))
    later = tuple(replace(film, pour_c=None) for film in wanted[1:])
    return replace(wanted[0], others=later)


def _start_of(body: Mapping[str, Any], recipe: Recipe, has_lamp: bool) -> StartRequest:
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


def _seconds(told: Mapping[str, Any], key: str) -> float | None:
    value = told.get(key)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0.0 <= value <= LONGEST_WAIT_S:
        raise RequestRefused(f"{key} of the evening is out of range; allowed: 0 to {LONGEST_WAIT_S:.0f} seconds")
    return float(value)


def _words(body: Mapping[str, Any], key: str) -> str | None:
    value = body.get(key)
    if value is None:
        return None
    if not isinstance(value, str) or not value.strip() or len(value) > 500 or not value.isprintable():
        raise RequestRefused(f"--{key.replace('_', '-')} without words; allowed: one line of 1 to 500 characters")
    return value.strip()
