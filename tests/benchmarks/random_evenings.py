"""Random evenings: planned, rehearsed, and held against each other. Shared by `bench_evenings` and its test.

A clash of the rehearsal is one of the moments as they really came, without the bound on drift that the plan adds; the plan has to have
foreseen it, unless a steered stage moved by more than that bound. Tests: tests/live/test_random_evenings.py.
"""

from __future__ import annotations

import datetime as dt
import random
from dataclasses import dataclass

from monitor.core.evening.values import Evening
from monitor.prepare.evening.clashes import clashes
from monitor.prepare.evening.hands import IF_LONGER, Moment, if_longer, moments
from monitor.prepare.evening.planned import Planned, planned
from monitor.prepare.evening.timeline import FilmTime, StageTime
from tests.live.evenings import Played, evening

TODAY = dt.date(2026, 11, 26)
BOUND = 0.05
"""Contract, section 11: the plan allows every steered stage to end 5 % sooner or later."""
Key = tuple[int, int, str, int]


@dataclass
class Outcome:
    """What one evening came to. `unforeseen`: clashes that the plan did not have and no drift excuses, in words. `extra`: clashes with a
    turn that the plan does not have, because the stage would have to last longer for it, within the bound."""

    films: int
    planned_clashes: int
    met_clashes: int
    drifted: bool
    unforeseen: list[str]
    extra: int
    worst_now_s: float


def random_evening(rng: random.Random) -> Evening:
    """Two to five films in two vessels, begun at once, staggered or in a row."""
    films = []
    for number in range(rng.randint(2, 5)):
        start = rng.choice(("", "", f" +{rng.randint(0, 9)}:{rng.randint(0, 59):02d}")) if number == 1 else ""
        films.append(("left", "right")[number % 2] + start)
    minutes = rng.randint(4, 11)
    return evening(",".join(films), develop=f"{minutes}:{rng.randint(0, 59):02d}", between=f"{rng.randint(1, 8)}:00")


def random_trace(rng: random.Random, most_c: float) -> str:
    """Liquids within so many degrees of the reference, each on a drift of its own."""
    rows = ["t_s,developer_c,bath_c,developer_2_c"]
    levels = [20.0 + rng.uniform(-most_c, most_c) for _ in range(3)]
    for t_s in range(0, 7200, 600):
        rows.append(",".join([str(t_s), *(f"{level:.4f}" for level in levels)]))
        levels = [min(max(level + rng.uniform(-0.1, 0.1), 20.0 - most_c), 20.0 + most_c) for level in levels]
    return "\n".join(rows) + "\n"


def met(plan: Planned, played: Played) -> tuple[FilmTime, ...]:
    """The films at the times at which their stages really began and ended."""
    found = []
    for film in plan.films:
        what = film.film.what
        begins = played.begins(what)
        ends = [*begins[1:], played.records[what][-1]["t_s"]]
        stages = tuple(StageTime(at.stage, b, e, {}, {}) for at, b, e in zip(film.stages, begins, ends, strict=True))
        found.append(FilmTime(film.film, film.recipe, begins[0], stages))
    return tuple(found)


def _keys(found: tuple[FilmTime, ...], *both: Moment) -> frozenset[Key]:
    begins = {(film.film.number, at.stage.number): at.begin_s for film in found for at in film.stages}
    return frozenset(
        (m.film, m.stage, m.what.removesuffix(IF_LONGER), round(m.t_s - begins[m.film, m.stage]) if "agitate" in m.what else 0)
        for m in both
    )


def _words(moment: Moment) -> str:
    return f"film {moment.film}: {moment.what} at {moment.t_s:.1f} s"


def compare(seed: int, most_c: float = 0.45) -> Outcome:
    """One evening, planned and rehearsed."""
    rng = random.Random(f"evening {seed}")
    films = random_evening(rng)
    plan = planned(films, {}, TODAY)
    played = Played(films, random_trace(rng, most_c))
    really = met(plan, played)
    foreseen = {_keys(plan.films, clash.first, clash.second) for clash in plan.clashes}
    drifted = any(
        abs((b.end_s - b.begin_s) / (a.end_s - a.begin_s) - 1.0) > BOUND
        for film, other in zip(plan.films, really, strict=True)
        for a, b in zip(film.stages, other.stages, strict=True)
        if a.stage.steer
    )
    came = clashes(moments(really))
    known = {key for moment in (*plan.moments, *if_longer(plan.films)) for key in _keys(plan.films, moment)}
    new = [c for c in came if _keys(really, c.first, c.second) not in foreseen]
    unforeseen = [
        f"{_words(c.first)}, {_words(c.second)}, {c.overlap_s:.2f} s" for c in new if _keys(really, c.first, c.second) <= known
    ]
    late = [r.get("lateness_s") or 0.0 for records in played.records.values() for r in records if r.get("cue") == "now"]
    return Outcome(
        len(films.films), len(plan.clashes), len(came), drifted, [] if drifted else unforeseen, len(new) - len(unforeseen),
        max(late, default=0.0),
    )  # fmt: skip
