"""Clashes and the shift that clears them, held against a reference that plays every drift and tries every start."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import combinations, product
from random import Random

from monitor.core.evening.values import Evening
from monitor.prepare.evening.clashes import MOST_SHIFT_S, clashes, shift_for
from monitor.prepare.evening.hands import Moment
from tests.prepare.evening.samples import HEAD, evening_of, film, hands_of, placed, stage

TURNS = ("", 'agitation = [{ from = "0:00", for = "0:30" }, { every = "1:00", for = "0:10" }]\n', 'agitation = "continuous"\n')
Drift = Mapping[tuple[int, int], float]


def begun(evening: Evening, drift: Drift, shifts: Mapping[int, float]) -> dict[tuple[int, int], tuple[float, float]]:
    """The reference's own clock: begin and end of each stage by film and stage number, with each steered stage's end moved by its share."""
    times: dict[tuple[int, int], tuple[float, float]] = {}
    starts: dict[int, float] = {}
    free: dict[str | None, float] = {}
    for one in evening.films:
        at_s = free.get(one.vessel, 0.0) if one.start_s is None or one.number == 1 else starts[one.number - 1] + one.start_s
        at_s += shifts.get(one.number, 0.0)
        starts[one.number] = at_s
        for its in one.recipe.stages:
            length_s = its.begin_to_end_s * (1.0 + drift.get((one.number, its.number), 0.0))
            times[one.number, its.number] = (at_s, at_s + length_s)
            at_s += length_s
        free[one.vessel] = at_s + evening.between_s
    return times


def reference(evening: Evening, moments: tuple[Moment, ...], shifts: Mapping[int, float] | None = None) -> set[tuple[int, int]]:
    """Pairs of moments, by their places in the list, that some drift brings together: every corner of what may drift is played."""
    steered = [(f.number, s.number) for f in evening.films for s in f.recipe.stages if s.steer]
    planned = begun(evening, {}, {})
    corners: list[list[float]] = []
    for shares in product((-0.05, 0.05), repeat=len(steered)):
        times = begun(evening, dict(zip(steered, shares, strict=True)), shifts or {})
        row = []
        for m in moments:
            begin_s, end_s = planned[m.film, m.stage]
            # what belongs to a stage's end moves with the end, the rest with the begin
            edge = 1 if m.t_s >= end_s - 20.0 and ("pour off" in m.what or " ends: " in m.what) else 0
            row.append(times[m.film, m.stage][edge] + m.t_s - (begin_s, end_s)[edge])
        corners.append(row)
    found = set()
    for i, j in combinations(range(len(moments)), 2):
        one, other = moments[i], moments[j]
        if one.film != other.film:
            apart = [row[j] - row[i] for row in corners]
            if min(apart) < one.busy_s - 1e-6 and max(apart) > -other.busy_s + 1e-6:
                found.add((i, j))
    return found


def random_evening(dice: Random) -> Evening:
    """One to four films in one or two vessels, with starts that keep a vessel free."""
    recipes = {}
    for name in ("a", "b", "c"):
        turn = dice.choice(TURNS)
        text = HEAD + stage("develop", f"{dice.randint(4, 14)}:{dice.randint(0, 59):02d}", turn)
        text += stage("stop", f"0:{dice.randint(20, 59)}") + stage("fix", f"{dice.randint(2, 9)}:00")
        recipes[f"{name}_toml"] = text if dice.random() < 0.7 else text + stage("wash", f"{dice.randint(5, 12)}:00")
    two = dice.random() < 0.8
    films = film("a.toml", "left" if two else None)
    for number in range(dice.randint(0, 3)):
        vessel = dice.choice(["left", "right"]) if two else None
        # a start is always free in the vessel that is used for the first time
        start = f"+{dice.randint(0, 12)}:{dice.randint(0, 59):02d}" if vessel == "right" and 'right"' not in films else None
        films += film(f"{dice.choice('abc')}.toml", vessel, start)
        assert number < 3
    return evening_of(films, f"{dice.randint(1, 8)}:00", **recipes)


def test_the_clashes_are_those_of_a_reference_that_plays_every_drift() -> None:
    """Over a hundred random evenings, pair for pair."""
    dice, seen = Random(11), 0
    for _ in range(100):
        evening = random_evening(dice)
        moments = hands_of(evening)
        places = {id(m): i for i, m in enumerate(moments)}
        found = {tuple(sorted((places[id(c.first)], places[id(c.second)]))) for c in clashes(moments)}
        assert found == reference(evening, moments)
        seen += bool(found)
    assert 30 < seen < 95


def test_the_shift_clears_all_clashes_and_none_smaller_does() -> None:
    """Every tenth of a minute below it is tried, and where there is none every one of half an hour."""
    dice, found_one, found_none = Random(12), 0, 0
    for _ in range(160):
        evening = random_evening(dice)
        moments, films = hands_of(evening), placed(evening)
        met = clashes(moments)
        shift = shift_for(evening, films, moments, met)
        if not met:
            assert shift is None
            continue
        mover = max((met[0].first.film, met[0].second.film), key=lambda n: (films[n - 1].start_s, n))
        if shift is not None:
            assert shift.film == mover
            assert shift.shift_s == int(shift.shift_s)
            assert not reference(evening, moments, {mover: shift.shift_s})
        below = range(0, int(min(MOST_SHIFT_S, shift.shift_s if shift else MOST_SHIFT_S)), 6)
        dense = [*below, *([] if shift is None else [shift.shift_s - 1.0])]
        assert all(reference(evening, moments, {mover: float(x)}) for x in dense[:: max(1, len(dense) // 25)])
        found_one += shift is not None
        found_none += shift is None
    assert found_one > 20
    assert found_none > 8


def test_a_start_that_is_moved_by_the_shift_in_the_file_has_no_clash_left() -> None:
    """What the plan says can be typed in and holds."""
    evening = evening_of(film(vessel="left") + film(vessel="right", start="+0:20"))
    shift = shift_for(evening, placed(evening), hands_of(evening), clashes(hands_of(evening)))
    assert shift is not None
    moved_s = int(20 + shift.shift_s)
    again = evening_of(film(vessel="left") + film(vessel="right", start=f"+{moved_s // 60}:{moved_s % 60:02d}"))
    assert clashes(hands_of(again)) == ()


def test_a_clash_may_wait_if_either_of_the_two_may() -> None:
    """The end of a fix beside the pour of a developer; two pours of developers may not."""
    late = evening_of(film(vessel="left") + film(vessel="right", start="+16:00"))
    assert [c.may_wait for c in clashes(hands_of(late)) if c.second.what == "develop in" or c.first.what == "develop in"][:1] == [True]
    early = evening_of(film(vessel="left") + film(vessel="right", start="+0:10"))
    assert not clashes(hands_of(early))[0].may_wait


def test_no_shift_puts_a_film_into_a_vessel_that_is_not_free() -> None:
    """Film 2 could begin when film 1 is moved no more, but film 4 is to have its vessel by then."""
    busy = HEAD + stage("develop", "10:00", 'agitation = "continuous"\n')
    stands, long = HEAD + stage("develop", "10:00"), HEAD + stage("develop", "2:00:00")
    films = film("busy.toml", "left") + film("stands.toml", "right", "+0:20") + film("long.toml", "left")
    recipes = {"busy_toml": busy, "stands_toml": stands, "long_toml": long}
    for more, cleared in (("", True), (film("long.toml", "right", "+3:00"), False)):
        evening = evening_of(films + more, "1:00", **recipes)
        met = clashes(hands_of(evening))
        assert met
        assert (shift_for(evening, placed(evening), hands_of(evening), met) is not None) is cleared


def test_two_films_that_wait_for_the_same_stage_move_together() -> None:
    """The film that is put into a vessel one minute after the last one left it is as near to it however long that one takes."""
    evening = evening_of(film() + film(), between="1:00")
    assert clashes(hands_of(evening)) == ()


def test_a_pair_that_only_drift_brings_together_has_no_overlap_yet() -> None:
    """And one that overlaps as planned says by how much."""
    evening = evening_of(film(vessel="left") + film(vessel="right", start="+0:20"))
    found = clashes(hands_of(evening))
    assert found[0].overlap_s == 10.0
    assert [c.overlap_s for c in found if c.first.what == "develop: pour off" and c.second.what == "develop: pour off"] == [0.0]


def test_no_clash_needs_no_shift() -> None:
    """One film alone."""
    evening = evening_of(film())
    assert shift_for(evening, placed(evening), hands_of(evening), ()) is None
