"""What the hands do between two films in one vessel: loading the reel of the next one, in the dark, and mixing a developer for it. Pure.

Both may wait, and the next film waits for them. A reel is loaded just before its film begins. A developer that is used once is mixed ten
minutes before at the latest, when no other film wants the hands, and no more than an hour before; where they are never free that long,
ten minutes before. What is before the first pour keeps nobody from anything and is left out.
Tests: tests/prepare/evening/test_between.py.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from monitor.core.evening.values import Evening
from monitor.core.recipe.kinds import CLOSED_VESSELS
from monitor.core.recipe.values import Stage
from monitor.prepare.bottles.counting import Standing
from monitor.prepare.evening.hands import Moment
from monitor.prepare.evening.timeline import FilmTime

MIX_BEFORE_S = 600.0
"""A developer that is used once is mixed about ten minutes before its film, with time to temper it: common practice, no source."""
KEEPS_S = 3600.0
"""A developer that was diluted to be used once is used within the hour: common practice, no source."""
TRIED_EVERY_S = 10.0
LOADING = "load the reel, in the dark"
MIX = "mix "


def mixed_afresh(stage: Stage, standing: Standing | None) -> bool:
    """Whether this developer is diluted for one film alone: not one that a bottle of the ledger has ready."""
    ready = standing is not None and standing.taken_ml is None and not standing.bottle.rules.one_shot
    return stage.role == "develop" and stage.dilution is not None and stage.dilution.parts_water > 0 and not ready


def preparing(
    evening: Evening, films: Sequence[FilmTime], baths: Sequence[Moment], standings: Sequence[Sequence[Standing]] = ()
) -> tuple[Moment, ...]:
    """Loading and mixing of the films that follow another one in their vessel. `baths`: what else wants the hands."""
    known = {s.bottle.name.casefold(): s for row in standings for s in row}
    last_in: dict[str | None, FilmTime] = {}
    found: list[Moment] = []
    for film in films:
        before = last_in.get(film.film.vessel)
        last_in[film.film.vessel] = film
        if before is None:
            continue
        others = [moment for moment in (*baths, *found) if moment.film != film.film.number and moment.busy_s > 0]
        found += _loading(evening, film, before, baths)
        found += _mixing(evening, film, known, others)
    return tuple(found)


def _loading(evening: Evening, film: FilmTime, before: FilmTime, baths: Sequence[Moment]) -> Iterator[Moment]:
    """Not where the recipe's own load stage says how long it takes, and not of sheets, which wait in their holders."""
    first = film.stages[0]
    if film.recipe.vessel not in CLOSED_VESSELS or (first.stage.role == "load" and first.end_s > first.begin_s):
        return
    out_s = max(moment.t_s + moment.busy_s for moment in baths if moment.film == before.film.number)
    busy_s = min(evening.loading_s, film.start_s - out_s)
    if busy_s > 0:
        yield Moment(film.start_s - busy_s, film.film.number, LOADING, busy_s, 1, True, first.begins_with)


def _mixing(evening: Evening, film: FilmTime, known: Mapping[str, Standing], others: Sequence[Moment]) -> Iterator[Moment]:
    for at in film.stages:
        name = at.stage.solution or at.stage.name
        if not mixed_afresh(at.stage, known.get(name.strip().casefold())):
            continue
        begin_s = _when_free(film.start_s - MIX_BEFORE_S - evening.mixing_s, film.start_s - KEEPS_S, evening.mixing_s, others)
        if begin_s + evening.mixing_s > 0:
            yield Moment(begin_s, film.film.number, f"{MIX}{name}", evening.mixing_s, at.stage.number, True, film.stages[0].begins_with)


def _when_free(latest_s: float, earliest_s: float, busy_s: float, others: Sequence[Moment]) -> float:
    """The latest begin of so long a time in which nobody else wants the hands; the latest of all where there is none."""
    begin_s = latest_s
    while begin_s >= earliest_s and begin_s + busy_s > 0:
        in_the_way = [m for m in others if m.t_s < begin_s + busy_s and m.t_s + m.busy_s > begin_s]
        if not in_the_way:
            return begin_s
        begin_s = min(begin_s - TRIED_EVERY_S, min(m.t_s for m in in_the_way) - busy_s)
    return begin_s if begin_s >= earliest_s else latest_s
