"""What an evening uses up: what to mix, in which order, how much water and stock in all, and how much is left of each bottle. Pure.

A solution that the ledger has as a bottle of its own dilution is poured from it and back. A diluted developer is mixed afresh for each film
(developers diluted from concentrate are used once: common practice); every other bath is mixed once for the evening, as much as its largest
film needs. Tests: tests/prepare/evening/test_planned.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from monitor.prepare.bottles.bottles import Bottle
from monitor.prepare.bottles.counting import Standing
from monitor.prepare.evening.between import MIX_BEFORE_S, mixed_afresh
from monitor.prepare.evening.planned import Planned
from monitor.prepare.evening.timeline import FilmTime, StageTime


@dataclass(frozen=True, slots=True)
class Mix:
    """One solution to mix, for these films. `by_s`: when it must be ready, seconds after the first begin; negative: before it; `used_s`:
    when it first goes in.

    Millilitres; None where the recipe does not say. `stock_ml` and `water_ml`: None for a solution that is not diluted.
    """

    solution: str
    dilution: str | None
    volume_ml: float | None
    stock_ml: float | None
    water_ml: float | None
    films: tuple[int, ...]
    by_s: float
    used_s: float
    jug: int | None
    once: bool


@dataclass(frozen=True, slots=True)
class Left:
    """What is in a bottle after the evening: millilitres, and units of film that it still bears (None: no limit known)."""

    solution: str
    volume_ml: float
    units_left: float | None


@dataclass(frozen=True, slots=True)
class Supplies:
    """The evening's solutions in the order of mixing, what is poured from bottles that stand ready, and the totals in ml."""

    mixes: tuple[Mix, ...]
    from_bottles: tuple[Mix, ...]
    left: tuple[Left, ...]
    water_ml: float
    stock_ml: dict[str, float]
    jugs: int

    def as_json(self) -> dict[str, Any]:
        """Plain fields, nothing rounded."""
        return {
            "mix": [_mix_data(mix) for mix in self.mixes],
            "from_bottles": [_mix_data(mix) for mix in self.from_bottles],
            "left": [{"solution": x.solution, "volume_ml": x.volume_ml, "units_left": x.units_left} for x in self.left],
            "water_ml": self.water_ml,
            "stock_ml": dict(self.stock_ml),
            "jugs": self.jugs,
        }


def supplies(plan: Planned) -> Supplies:
    """What the evening needs."""
    bottles = {s.bottle.name.casefold(): s for row in plan.standings for s in row}
    ready, shared, once = [], [], []
    for name, uses in _by_solution(plan.films).items():
        standing = bottles.get(name)
        if standing is not None and standing.taken_ml is None and not standing.bottle.rules.one_shot:
            ready.append(_mix(uses, False))
        elif mixed_afresh(uses[0][1].stage, standing):
            once += [_mix([use], True) for use in uses]
        else:
            shared.append(_mix(uses, False))
    mixes = sorted([*shared, *once], key=lambda m: (m.by_s, m.used_s, m.solution))
    stock: dict[str, float] = {}
    for mix in mixes:
        if mix.stock_ml is not None:
            stock[mix.solution] = stock.get(mix.solution, 0.0) + mix.stock_ml
    jugs = len(ready) + len(shared) + min(len(once), len({use.film.vessel for use in plan.films}))
    water_ml = sum(mix.water_ml or 0.0 for mix in mixes)
    ready.sort(key=lambda m: m.used_s)
    return Supplies(tuple(mixes), tuple(ready), tuple(_left(plan.standings)), water_ml, stock, jugs)


def _by_solution(films: Sequence[FilmTime]) -> dict[str, list[tuple[FilmTime, StageTime]]]:
    """Each solution's first stage in each film, in the order of time; washes run from the tap."""
    found: dict[str, list[tuple[FilmTime, StageTime]]] = {}
    for film in sorted(films, key=lambda f: (f.start_s, f.film.number)):
        seen: set[str] = set()
        for at in film.stages:
            if at.stage.role in ("load", "wash", "hold") or (at.stage.role == "presoak" and at.stage.solution is None):
                continue
            name = (at.stage.solution or at.stage.name).strip().casefold()
            if name not in seen:
                seen.add(name)
                found.setdefault(name, []).append((film, at))
    return found


def _mix(uses: Sequence[tuple[FilmTime, StageTime]], once: bool) -> Mix:
    """The largest of these uses; ready for the first of them, what is used once ten minutes before its film begins."""
    film, at = max(uses, key=lambda use: use[1].stage.volume_ml or 0.0)
    stage = at.stage
    parts = stage.stock_and_water_ml
    by_s = film.start_s - MIX_BEFORE_S if once else min(film.start_s for film, _ in uses) - MIX_BEFORE_S
    return Mix(
        stage.solution or stage.name, None if stage.dilution is None else str(stage.dilution), stage.volume_ml,
        None if parts is None else parts[0], None if parts is None else parts[1],
        tuple(film.film.number for film, _ in uses), by_s, min(at.begin_s for _, at in uses), stage.jug, once,
    )  # fmt: skip


def _left(standings: Sequence[Sequence[Standing]]) -> list[Left]:
    """Each bottle after the last film that used it."""
    last: dict[int, Bottle] = {}
    for after in (standing.after for row in standings for standing in row):
        if after.id not in last or after.uses > last[after.id].uses:
            last[after.id] = after
    return [Left(bottle.name, bottle.volume_ml, bottle.units_left) for bottle in last.values()]


def _mix_data(mix: Mix) -> dict[str, Any]:
    return {
        "solution": mix.solution, "dilution": mix.dilution, "volume_ml": mix.volume_ml, "stock_ml": mix.stock_ml, "water_ml": mix.water_ml,
        "films": list(mix.films), "by_s": mix.by_s, "used_s": mix.used_s, "jug": mix.jug, "once": mix.once,
    }  # fmt: skip
