"""The plan of an evening: the ledger's times in it, every film on one clock, the hands, the clashes; and as one JSON object. Pure.

The format is the project's contract, section 11. Tests: tests/prepare/evening/test_planned.py.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from monitor.core.evening.values import Evening, Film
from monitor.core.recipe.values import Stage
from monitor.core.text.quantities import format_number
from monitor.prepare.bottles.bottles import Bottles
from monitor.prepare.bottles.counting import Standing, count, with_ledger
from monitor.prepare.evening.between import preparing
from monitor.prepare.evening.clashes import Clash, Shift, clashes, shift_for
from monitor.prepare.evening.hands import Moment, if_longer, moments
from monitor.prepare.evening.timeline import FilmTime, StageTime, dark_spans, timeline

SAME_FACTOR = 1e-9


@dataclass(frozen=True, slots=True)
class Planned:
    """An evening as planned. `standings`: for each film what the ledger says; `concerns`: sentences to read before the first film is wet.

    `recipes` are the films' own, as their files and their factors say; `films` have the ledger's times besides.
    """

    evening: Evening
    films: tuple[FilmTime, ...]
    standings: tuple[tuple[Standing, ...], ...]
    moments: tuple[Moment, ...]
    clashes: tuple[Clash, ...]
    shift: Shift | None
    concerns: tuple[str, ...]

    @property
    def end_s(self) -> float:
        """When the last film is done, seconds after the first begin."""
        return max(film.end_s for film in self.films)


def planned(evening: Evening, bottles: Bottles, today: dt.date) -> Planned:
    """The plan with what the ledger says on this day; films count for those that begin after them."""
    recipes = tuple(film.recipe for film in evening.films)
    order = list(range(len(recipes)))
    for _ in range(len(recipes) + 1):
        in_turn = count(bottles, [recipes[i] for i in order], today)
        standings = tuple(row for _, row in sorted(zip(order, in_turn, strict=True)))
        longer = [with_ledger(recipe, row) for recipe, row in zip(recipes, standings, strict=True)]
        films = timeline(evening, [recipe for recipe, _ in longer])
        by_start = sorted(range(len(films)), key=lambda i: (films[i].start_s, i))
        if by_start == order:
            break
        order = by_start
    baths = moments(films)
    hands = tuple(sorted((*baths, *preparing(evening, films, baths, standings)), key=lambda m: (m.t_s, m.film, m.stage)))
    possible = (*hands, *if_longer(films))
    met = clashes(possible)
    said = [*evening.warnings, *_about_films(evening, standings, [more for _, more in longer])]
    return Planned(evening, films, standings, hands, met, shift_for(evening, films, possible, met), tuple(dict.fromkeys(said)))


def _about_films(evening: Evening, standings: Sequence[Sequence[Standing]], more: Sequence[Sequence[str]]) -> list[str]:
    """What the recipes and the ledger are concerned about, each with its film where there are several."""
    said: list[str] = []
    for film, row, unfit in zip(evening.films, standings, more, strict=True):
        of_film = "" if len(evening.films) == 1 else f"Film {film.number} ({film.what}): "
        said += [f"{of_film}{sentence}" for sentence in (*film.recipe.warnings, *(c for s in row for c in s.concerns), *unfit)]
    return said


def time_factor_of(film: Film, at: StageTime, standings: Sequence[Standing]) -> tuple[float, str | None]:
    """How many times the sheet's time a stage takes, and why: a push, the film's own factor, the ledger; (1.0, None) without any."""
    with_film = film.recipe.stages[at.stage.number - 1].factor
    own = with_film / film.factor if at.stage.role == "develop" else with_film
    whys = []
    if abs(own - 1.0) > SAME_FACTOR:
        whys.append(f"{'push' if own > 1.0 else 'pull'} x {format_number(own, 2)}")
    if with_film != own:
        whys.append(f"this film x {format_number(film.factor, 2)}")
    if at.stage.factor != with_film:
        asked = [s for s in standings if s.factors.get(at.stage.number, 1.0) != 1.0]
        whys += [f"ledger: {s.bottle.name} x {format_number(s.factors[at.stage.number], 2)}, {s.why}" for s in asked]
    return at.stage.factor, "; ".join(whys) or None


def planned_data(plan: Planned) -> dict[str, Any]:
    """The plan as one JSON object (contract, section 11). Nothing is rounded; films and stages are numbered from 1."""
    return {
        "name": plan.evening.name,
        "between_s": plan.evening.between_s,
        "end_s": plan.end_s,
        "films": [
            _film_data(film, row) for film, row in zip(plan.films, plan.standings, strict=True)
        ],
        "moments": [_moment_data(moment) for moment in plan.moments],
        "clashes": [
            {"t_s": c.first.t_s, "films": [c.first.film, c.second.film], "overlap_s": c.overlap_s, "may_wait": c.may_wait,
             "moments": [_moment_data(c.first), _moment_data(c.second)]}
            for c in plan.clashes
        ],
        "shift_s": 0.0 if not plan.clashes else None if plan.shift is None else plan.shift.shift_s,
        "shift_film": None if plan.shift is None else plan.shift.film,
        "dark": [{"from_s": from_s, "to_s": to_s} for from_s, to_s in dark_spans(plan.films)],
        "warnings": list(plan.concerns),
    }  # fmt: skip


def _film_data(film: FilmTime, standings: Sequence[Standing]) -> dict[str, Any]:
    return {
        "film": film.film.number,
        "what": film.film.what,
        "vessel": film.film.vessel,
        "recipe": film.film.recipe_file,
        "start_s": film.start_s,
        "end_s": film.end_s,
        "stages": [_stage_data(film.film, at, standings) for at in film.stages],
        "solutions": [standing.as_json() for standing in standings],
    }


def _stage_data(film: Film, at: StageTime, standings: Sequence[Standing]) -> dict[str, Any]:
    stage: Stage = at.stage
    factor, why = time_factor_of(film, at, standings)
    return {
        "number": stage.number, "name": stage.name, "role": stage.role, "begin_s": at.begin_s, "end_s": at.end_s,
        "planned_s": stage.target_ref_s, "steered": stage.steer, "until": stage.until, "time_factor": factor, "why": why,
    }  # fmt: skip


def _moment_data(moment: Moment) -> dict[str, Any]:
    return {
        "t_s": moment.t_s, "film": moment.film, "what": moment.what, "busy_s": moment.busy_s, "stage": moment.stage,
        "may_wait": moment.may_wait,
    }  # fmt: skip
