"""Ready evenings: rolls in a row, two tanks staggered, a tank beside a tray line, a clip before its roll. Written as files to be changed.

Where films run side by side the start of each is looked for in turn. `clear`: the one at which two films need the hands least often at
once, the earliest of those. `short`: the earliest at which that never happens, or least often, where neither of the two may wait.
Pure: whoever has a disk hands in the recipes. Tests: tests/prepare/evening/test_presets.py.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal, get_args

from monitor.core.errors import InputWrong
from monitor.core.evening.reader import OpenRecipe, load_evening
from monitor.core.evening.values import MOST_VESSELS, VESSEL_NAME, Evening
from monitor.core.text.quantities import format_duration, shown
from monitor.prepare.evening.between import preparing
from monitor.prepare.evening.clashes import MOST_SHIFT_S, Clash, clashes, in_the_way_s
from monitor.prepare.evening.hands import Moment, if_longer, moments
from monitor.prepare.evening.timeline import DRIFT, FilmTime, timeline

STEP_S = 10.0
"""Starts are tried in steps of ten seconds: nobody begins more exactly (own choice)."""
Stagger = Literal["clear", "short"]
STAGGERS: tuple[Stagger, ...] = get_args(Stagger)
MOST_FILMS = 12
CLIP_BETWEEN_S = 1800.0
"""From the clip out of its last bath to the roll: drying and reading it takes half an hour (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Preset:
    """One kind of evening. `recipes`: how many it takes, from and to; `vessels`: how many names; `films`: how many by default."""

    key: str
    name: str
    title: str
    recipes: tuple[int, int]
    vessels: int
    films: int


PRESETS = (
    Preset("in-a-row", "Rolls in a row", "one-shot rolls in a row, in one tank", (1, MOST_FILMS), 1, 3),
    Preset("two-tanks", "Two tanks", "two tanks staggered, so that the hands are free for each", (1, MOST_FILMS), 2, 4),
    Preset("beside-tray", "A tank and trays", "a tank beside a tray line: first the tank's recipe, then the tray's", (2, 2), 2, 2),
    Preset("clip-first", "A clip, then its roll", "a clip test first, its factor for the roll", (1, 1), 1, 2),
)


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a person wants of a preset. Recipes by the names that the evening's file will have; times in seconds, None: the usual."""

    recipes: tuple[str, ...]
    vessels: tuple[str, ...] = ("left", "right")
    films: int | None = None
    between_s: float | None = None
    stagger: Stagger = "clear"


@dataclass(frozen=True, slots=True)
class Made:
    """The file's text, the evening in it, where two films still need the hands at once, and how long the evening is, seconds."""

    text: str
    evening: Evening
    clashes: tuple[Clash, ...]
    long_s: float


def preset_named(key: str) -> Preset:
    """The preset with this name. Raises `InputWrong`."""
    for preset in PRESETS:
        if preset.key == key:
            return preset
    raise InputWrong(f"{shown(key)} is not a kind of evening; allowed: {', '.join(preset.key for preset in PRESETS)}")


def make(preset: Preset, wanted: Wanted, file: str, open_recipe: OpenRecipe) -> Made:
    """The evening's file. Raises `InputWrong`, and `FileWrong` for what is wrong in a recipe."""
    _check(preset, wanted)

    starts: list[float | None] = [None] * _films(preset, wanted)

    def read() -> tuple[str, Evening]:
        text = "\n".join([*_head(preset, wanted), *_FILMS[preset.key](wanted, starts)]) + "\n"
        return text, load_evening(text.encode(), file, open_recipe)

    text, evening = read()
    if preset.vessels == 1:
        return Made(text, evening, (), _long_s(evening))
    for index in range(1, len(starts)):
        starts[index] = _best_start(evening, index, wanted.stagger)
        text, evening = read()
    return Made(text, evening, _met(evening), _long_s(evening))


def staggered(preset: Preset, wanted: Wanted, file: str, open_recipe: OpenRecipe) -> dict[Stagger, Made]:
    """The evening in each way in which its films may stand beside each other; one way alone in one vessel. Raises as `make` does."""
    ways: tuple[Stagger, ...] = STAGGERS if preset.vessels > 1 else ("clear",)
    return {way: make(preset, replace(wanted, stagger=way), file, open_recipe) for way in ways}


def _films(preset: Preset, wanted: Wanted) -> int:
    return wanted.films if wanted.films is not None else max(preset.films, len(wanted.recipes))


def _long_s(evening: Evening) -> float:
    return max(film.end_s for film in timeline(evening, [film.recipe for film in evening.films]))


def _best_start(evening: Evening, index: int, stagger: Stagger) -> float:
    """The start of this film after the begin of the one before it, films before it as they are."""
    part = replace(evening, films=evening.films[: index + 1])
    films = timeline(part, [film.recipe for film in part.films])
    before_s, natural_s = films[index - 1].start_s, films[index].start_s
    first = all(film.vessel != part.films[index].vessel for film in part.films[:index])
    earliest_s = 0.0 if first else float(math.ceil(max(0.0, natural_s - before_s)))
    alone_s = (1.0 + 2.0 * DRIFT) * (films[0].end_s - films[0].start_s) + 60.0
    steps = int((alone_s if first else MOST_SHIFT_S) // STEP_S) + 1
    given = replace(part.films[index], start_s=earliest_s)
    placed = timeline(replace(part, films=(*part.films[:-1], given)), [film.recipe for film in part.films])
    hard, all_of_them = [0] * (steps + 1), [0] * (steps + 1)
    hands = _hands(part, placed)
    for going in (m for m in hands if m.film == index + 1 and m.busy_s > 0):
        for staying in (m for m in hands if m.film != index + 1 and m.busy_s > 0):
            low_s, high_s = in_the_way_s(going, staying)
            for k in range(max(0, math.floor(low_s / STEP_S) + 1), min(steps, math.ceil(high_s / STEP_S) - 1) + 1):
                all_of_them[k] += 1
                hard[k] += not (going.may_wait or staying.may_wait)
    best = min(range(steps + 1), key=lambda k: (all_of_them[k], k, 0) if stagger == "clear" else (hard[k], k, 0))
    return earliest_s + best * STEP_S


def _met(evening: Evening) -> tuple[Clash, ...]:
    """Where two films need the hands at once."""
    return clashes(_hands(evening, timeline(evening, [film.recipe for film in evening.films])))


def _hands(evening: Evening, films: Sequence[FilmTime]) -> tuple[Moment, ...]:
    baths = moments(films)
    return (*baths, *preparing(evening, films, baths), *if_longer(films))


def _check(preset: Preset, wanted: Wanted) -> None:
    least, most = preset.recipes
    if not least <= len(wanted.recipes) <= most:
        how_many = f"{least}" if least == most else f"{least} to {most}"
        raise InputWrong(f"{len(wanted.recipes)} recipes for {preset.key}; allowed: {how_many}, one --recipe for each")
    films = wanted.films
    if films is not None and not max(2, least) <= films <= MOST_FILMS:
        raise InputWrong(f"{films} films; allowed: {max(2, least)} to {MOST_FILMS}")
    if films is not None and preset.key in ("beside-tray", "clip-first") and films != preset.films:
        raise InputWrong(f"{films} films for {preset.key}; allowed: {preset.films}, add more by hand")
    names = wanted.vessels[: preset.vessels]
    if len(names) < preset.vessels or len(set(names)) < len(names) or len(wanted.vessels) > MOST_VESSELS:
        given = ", ".join(map(shown, wanted.vessels))
        raise InputWrong(f"vessels {given}; allowed: {preset.vessels} name{'s' * (preset.vessels - 1)}, as in the station file, each once")
    wrong = [name for name in names if not VESSEL_NAME.fullmatch(name)]
    if wrong:
        raise InputWrong(f"vessel {shown(wrong[0])}; allowed: a-z, 0-9 and -, at most 32 characters")


def _head(preset: Preset, wanted: Wanted) -> list[str]:
    between_s = wanted.between_s if wanted.between_s is not None else CLIP_BETWEEN_S if preset.key == "clip-first" else 360.0
    why = "drying and reading the clip" if preset.key == "clip-first" else "empty, rinse, dry, load the next"
    return [
        f"# {preset.title[:1].upper()}{preset.title[1:]}",
        "schema = 1",
        f"name = {_quoted(preset.name)}",
        f'between = "{format_duration(between_s)}"                # {why} (common practice, no source)',
    ]


Starts = Sequence[float | None]


def _row(wanted: Wanted, starts: Starts) -> Iterator[str]:
    for number, start_s in enumerate(starts):
        yield from _film(wanted.recipes[number % len(wanted.recipes)], f"roll {number + 1}", None, start_s)


def _two(wanted: Wanted, starts: Starts) -> Iterator[str]:
    for number, start_s in enumerate(starts):
        yield from _film(wanted.recipes[number % len(wanted.recipes)], f"roll {number + 1}", wanted.vessels[number % 2], start_s)


def _tray(wanted: Wanted, starts: Starts) -> Iterator[str]:
    for number, what in enumerate(("the roll in the tank", "the sheets in the trays")):
        yield from _film(wanted.recipes[number], what, wanted.vessels[number], starts[number])


def _clip(wanted: Wanted, starts: Starts) -> Iterator[str]:
    for number, what in enumerate(("a clip of the roll", "the rest of the roll")):
        yield from _film(wanted.recipes[0], what, None, starts[number])
    yield "factor = 1.0                    # the clip's goes here: evenbath wedge clip ... --into this file"


_FILMS: Mapping[str, Callable[[Wanted, Starts], Iterator[str]]] = {
    "in-a-row": _row, "two-tanks": _two, "beside-tray": _tray, "clip-first": _clip,
}  # fmt: skip


def _film(recipe: str, what: str, vessel: str | None, start_s: float | None) -> Iterator[str]:
    yield ""
    yield "[[film]]"
    yield f"recipe = {_quoted(recipe)}"
    yield f"what = {_quoted(what)}"
    if vessel is not None:
        yield f"vessel = {_quoted(vessel)}"
    if start_s is not None:
        yield f'start = "+{format_duration(start_s)}"                # after the begin of the film before'


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def said(ways: Mapping[Stagger, Made], chosen: Stagger, names: Sequence[str]) -> list[str]:
    """What a person is told of the file that was written, and of the other way to stagger its films."""
    made = ways[chosen]
    films = f"{len(made.evening.films)} films"
    if len(names) < MOST_VESSELS:
        return [f"{films}, {format_duration(made.long_s)}"]
    told = [f"{films} in {' and '.join(names)}; --stagger {chosen}: {_figures(made)}"]
    for way, other in ways.items():
        if way != chosen:
            same = other.evening == made.evening
            told.append(f"--stagger {way}: {'the same' if same else _figures(other)}")
    return told


def _figures(made: Made) -> str:
    count, waiting = len(made.clashes), sum(clash.may_wait for clash in made.clashes)
    wait = f", one of them can wait {'each time' if waiting == count else f'in {waiting} of them'}" if waiting else ""
    often = "once" if count == 1 else f"{count} times"
    free = f"{often} two films want the hands together{wait}" if count else "no two films want the hands together"
    second = format_duration(made.evening.films[1].start_s or 0.0)
    return f"{format_duration(made.long_s)} in all, film 2 begins {second} after film 1; {free}"
