"""Contract, section 5, under storms of presses: against a second reading of it, and what must hold whatever the foot does."""

from __future__ import annotations

import itertools
import random

import pytest

from tests.core.session.by_the_clock import Listened, begins, evening, taps, timed
from tests.core.session.second_reading import Reading, any_presses, any_stages
from tests.evening import Evening, develop
from tests.seeds import seeds

SHEETS = '[sheets]\ncount = 3\ninterval = "0:10"\n'
TRAY = timed("develop", "8:00", 'drain = "0:05"')


def pressed(held: Listened, presses: list[tuple[float, float]]) -> Listened:
    """The same evening with these presses, up to the release of the last."""
    for down_s, up_s in presses:
        if held.session.closed:
            break
        held.press(down_s, up_s - down_s)
    return held


@pytest.mark.parametrize("seed", seeds(6))
@pytest.mark.parametrize("count", [12, 40])
def test_every_press_means_what_a_second_reading_of_the_contract_says(seed: int, count: int) -> None:
    """And every stage begins where it says."""
    draw = random.Random(100 * seed + count)
    stages, presses = any_stages(draw), any_presses(draw, count)
    expected = Reading(stages)
    for press in presses:
        expected.press(*press)
    held = pressed(evening(*[stage.body for stage in stages]), presses)
    assert [meaning for _, meaning in taps(held)] == [meaning for _, meaning in expected.taps]
    assert [at_s for at_s, _ in taps(held)] == pytest.approx([at_s for at_s, _ in expected.taps])
    told = {stage: at_s for stage, (at_s, _) in begins(held).items()}
    assert told == {stage: pytest.approx(at_s, abs=0.001) for stage, at_s in expected.begins.items()}


def no_rule_is_broken(held: Evening, presses: list[tuple[float, float]]) -> None:
    """What must hold in any journal."""
    records = held.records
    assert [r["seq"] for r in records] == list(range(1, len(records) + 1))
    assert all(0.0 <= r["t_s"] <= held.t_s + 1e-6 for r in records if r.get("event") != "end")
    begun = {r["seq"]: r for r in held.kind("stage", event="begin")}
    downs = {round(down_s, 6) for down_s, _ in presses}
    full = {round(down_s, 6) for down_s, up_s in presses if 1.0 - 1e-6 <= up_s - down_s <= 10.0 + 1e-6}
    planned = {round(r["t_s"], 6) for r in held.kind("stage", event="end")}
    roles = [s.role for s in held.session.recipe.stages]
    for begin in begun.values():
        at_s = round(begin["t_s"], 6)
        waits = begin["stage"] == 1 or roles[begin["stage"] - 2] == "load"
        if waits and begin.get("sheet") in (None, 1):
            assert at_s in full, "what waits has begun without a full second"
        elif not begin.get("assumed"):
            assert at_s in downs | planned
    for correction in held.kind("correction"):
        assert begun[correction["replaces_seq"]]["stage"] == correction["stage"]
        assert correction["replaces_seq"] < correction["seq"]
        if not correction.get("assumed"):
            assert round(correction["begin_t_s"], 6) in downs
    told = [r["t_s"] for r in held.kind("tap")]
    assert told == [pytest.approx(down_s) for down_s, _ in presses[: len(told)]], "each press is told once, in order, and dated to itself"
    assert all(b - a >= 60.0 - 1e-6 for a, b in itertools.pairwise(held.cues("fault")))
    for number in range(1, len(roles) + 1):
        assert len(held.kind("stage", stage=number, event="begin", sheet=None)) <= 1


@pytest.mark.parametrize("seed", seeds(2))
@pytest.mark.parametrize("kind", ["roll", "tray", "tray after a presoak", "loaded tray"])
def test_no_storm_of_two_hundred_presses_breaks_a_rule(kind: str, seed: int) -> None:
    """Whatever it means, the journal stays whole, nothing that waits begins by a stumble, and the session comes to its end."""
    draw = random.Random(f"{kind} {seed}")
    stop, fix = timed("stop", "2:00"), timed("fix", "5:00")
    held = {
        "roll": lambda: evening(develop("8:00"), stop, fix),
        "tray": lambda: evening(TRAY, stop, fix, tail=SHEETS, vessel="open tray"),
        "tray after a presoak": lambda: evening(timed("presoak", "1:00"), TRAY, stop, fix, tail=SHEETS, vessel="open tray"),
        "loaded tray": lambda: evening('name = "load"\nrole = "load"', TRAY, stop, fix, tail=SHEETS, vessel="open tray"),
    }[kind]()
    presses = any_presses(draw, 200, longest_pause_s=3.0)
    pressed(held, presses)
    assert len(taps(held)) > 100
    no_rule_is_broken(held, presses)
    for _ in range(60):
        if held.session.closed:
            break
        waits = held.session.awaits.what in ("begin", "lid on")
        presses.append((held.t_s + 20.0, held.t_s + (21.2 if waits else 20.2)))
        pressed(held, presses[-1:])
    assert held.session.closed
