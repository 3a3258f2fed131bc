"""Figures of evenings: how long a plan takes, whether it agrees with playing every drift, whether rehearsals meet what it did not foresee.

Run by hand: python -m tests.benchmarks.bench_evening [how many]. Every evening has one to four films in two vessels, random starts and
liquids that drift; a clash of a rehearsal is foreseen if the plan has these two moments, and allowed if a steered stage ended more than
5 % off its plan.
"""

from __future__ import annotations

import sys
from random import Random
from time import perf_counter

from monitor.core.evening.values import Evening
from monitor.prepare.evening.clashes import DRIFT, clashes, shift_for
from monitor.prepare.evening.hands import Moment, moments
from monitor.prepare.evening.timeline import FilmTime, timeline
from tests.live.evenings import Played, evening
from tests.prepare.evening.test_clashes import random_evening, reference

MEETS_S = 3.0
"""Two spans that meet by less than the person's own inexactness are no clash of a rehearsal."""


def planned_figures(count: int) -> None:
    """Time of a plan, agreement with the reference pair by pair."""
    dice = Random(2026)
    evenings = [random_evening(dice) for _ in range(count)]
    begin_s = perf_counter()
    found = []
    for one in evenings:
        films = timeline(one, [f.recipe for f in one.films])
        hands = moments(films)
        met = clashes(hands)
        shift_for(one, films, hands, met)
        found.append((hands, met))
    took_s = perf_counter() - begin_s
    pairs = agreed = 0
    for one, (hands, met) in zip(evenings, found, strict=True):
        places = {id(m): i for i, m in enumerate(hands)}
        mine = {tuple(sorted((places[id(c.first)], places[id(c.second)]))) for c in met}
        theirs = reference(one, hands)
        pairs += len(theirs | mine)
        agreed += len(theirs & mine)
    clear = sum(not met for _, met in found)
    print(f"{count} random evenings planned in {took_s:.2f} s, {1000 * took_s / count:.1f} ms each; {clear} without a clash")
    print(f"clashes: {agreed} of {pairs} pairs as in a reference that plays every corner of the drift")


def really(films: tuple[FilmTime, ...], hands: tuple[Moment, ...], played: Played) -> tuple[list[Moment], float]:
    """The moments where the rehearsal had them, and the largest share by which a steered stage ended off its plan."""
    ends: dict[tuple[int, int], tuple[float, float]] = {}
    worst = 0.0
    for film in films:
        for at in film.stages:
            told = {r["event"]: r["t_s"] for r in played.of(film.film.what, "stage", stage=at.stage.number)}
            begin, end = told["begin"], told["minimum" if at.stage.until == "at least" else "end"]
            ends[film.film.number, at.stage.number] = (begin - at.begin_s, end - at.end_s)
            if at.stage.steer:
                worst = max(worst, abs((end - begin) / (at.end_s - at.begin_s) - 1.0))
    moved = []
    for m in hands:
        at = films[m.film - 1].stages[m.stage - 1]
        of_end = m.moves == at.ends_with and m.t_s >= at.end_s - at.stage.drain_s - 1e-6
        begin_later_s, end_later_s = ends[m.film, m.stage]
        moved.append(Moment(m.t_s + (end_later_s if of_end else begin_later_s), m.film, m.what, m.busy_s, m.stage, m.may_wait, m.moves))
    return moved, worst


def random_trace(dice: Random) -> str:
    """Two developers about 20 C that drift by up to a degree in an hour."""
    rows = ["t_s,developer_c,bath_c,developer_2_c"]
    starts = [20.0 + dice.uniform(-0.4, 0.4) for _ in range(2)]
    ends = [start + dice.uniform(-0.8, 0.8) for start in starts]
    for t_s in range(0, 7201, 600):
        share = t_s / 7200
        first, second = (a + (b - a) * share for a, b in zip(starts, ends, strict=True))
        rows.append(f"{t_s},{first:.4f},20,{second:.4f}")
    return "\n".join(rows) + "\n"


def random_films(dice: Random) -> Evening:
    """Two to four short rolls in two vessels."""
    first = ["left", f"right +{dice.randint(0, 7)}:{dice.randint(0, 59):02d}"]
    films = first + [dice.choice(["left", "right"]) for _ in range(dice.randint(0, 2))]
    return evening(", ".join(films), develop=f"{dice.randint(5, 9)}:{dice.randint(0, 59):02d}", between=f"{dice.randint(1, 5)}:00")


def rehearsed_figures(count: int) -> None:
    """Clashes of rehearsals against those that the plan foresaw."""
    dice, met, foreseen, beyond, lost = Random(16), 0, 0, 0, 0
    simulated_s = 0.0
    begin_s = perf_counter()
    for _ in range(count):
        one = random_films(dice)
        films = timeline(one, [f.recipe for f in one.films])
        hands = moments(films)
        known = {frozenset({(m.film, m.what) for m in (c.first, c.second)}) for c in clashes(hands)}
        played = Played(one, random_trace(dice))
        simulated_s += played.play.t_s
        moved, worst = really(films, hands, played)
        for i, a in enumerate(moved):
            for b in moved[i + 1 :]:
                overlap_s = min(a.t_s + a.busy_s, b.t_s + b.busy_s) - max(a.t_s, b.t_s)
                if a.film == b.film or overlap_s <= MEETS_S:
                    continue
                met += 1
                if frozenset({(m.film, m.what) for m in (a, b)}) in known:
                    foreseen += 1
                elif worst > DRIFT:
                    beyond += 1
                else:
                    lost += 1
                    pair = f"{a.t_s:.0f} film {a.film} {a.what} / {b.t_s:.0f} film {b.film} {b.what}"
                    print(f"  not foreseen: {pair}, drift {100 * worst:.1f} %")
    took_s = perf_counter() - begin_s
    print(f"{count} random evenings rehearsed in {took_s:.0f} s, {simulated_s / took_s:.0f} times real time; {met} clashes in them")
    print(f"{foreseen} were foreseen, {beyond} came with more than {DRIFT * 100:.0f} % of drift, {lost} were not foreseen")


if __name__ == "__main__":
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    planned_figures(number)
    rehearsed_figures(number)
