"""Contract, section 5, clause by clause: the program was away, and comes back as if it had not been."""

from __future__ import annotations

import random
from collections import Counter
from typing import Any

import pytest

from monitor.core.journal.history import History
from tests.core.session.by_the_clock import DEVELOP, FEW_S, FIX, STOP, begun, nows, taps, timed
from tests.core.session.second_reading import any_presses, any_stages
from tests.core.session.test_session_fold import revive
from tests.evening import Evening, recipe
from tests.seeds import seeds

SHEETS = '[sheets]\ncount = 4\ninterval = "0:10"\n'
TRAY = timed("develop", "2:00")


def back(dead: Evening, gap_s: float) -> Evening:
    """The same evening after the program was away for so long."""
    return revive(dead, gap_s)


def sounds(alive: Evening, after_s: float) -> list[tuple[str, float]]:
    """FAULT, READY and NOW that sounded after a moment."""
    return [(r["cue"], round(r["t_s"], 2)) for r in alive.kind("cue") if r["t_s"] > after_s and r["cue"] in ("fault", "ready", "now")]


# -- what was missed --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("dies_s", "gap_s", "missed", "heard"),
    [
        (60.0, 5.0, [], []),
        (74.0, 3.0, ["ready"], ["fault", "ready"]),
        (104.0, 3.0, ["now"], ["fault", "now"]),
        (74.0, 33.0, ["ready", "now"], ["fault", "now"]),
        (104.0, 20.0, ["now"], ["fault", "now"]),  # the planned end is past, and the developer is to leave
        (106.0, 0.5, [], []),  # NOW had sounded
    ],
)
def test_what_fell_due_meanwhile_is_made_up_for_behind_a_fault(dies_s: float, gap_s: float, missed: list[str], heard: list[str]) -> None:
    """READY is at 75, NOW at 105. The `resume` record has `missed`, the cue `late_s`."""
    alive = back(begun(DEVELOP, timed("stop", "3:00"), FIX).to(dies_s), gap_s)
    back_s = dies_s + gap_s
    alive.to(back_s + 3.8)
    (resumed,) = alive.kind("session", event="resume")
    assert resumed["missed"] == missed
    assert [cue for cue, _ in sounds(alive, dies_s)][: len(heard)] == heard
    if missed:
        assert sounds(alive, dies_s)[0] == ("fault", back_s)
        late = next(r for r in alive.kind("cue") if r.get("late_s") is not None)
        assert late["cue"] == heard[1]
        assert late["t_s"] - late["late_s"] == pytest.approx({"ready": 75.0, "now": 105.0}[heard[1]])


def test_the_fault_of_the_return_sounds_whatever_sounded_before() -> None:
    """A stuck switch was told 20 s ago."""
    dead = begun(DEVELOP, STOP, FIX).press(75.0, 12.0).to(104.0)
    assert dead.cues("fault") == [pytest.approx(85.0, abs=0.01)]
    alive = back(dead, 3.0).to(112.0)
    assert [t for t in alive.cues("fault") if t > 104.0] == [107.0]


def test_now_of_a_presoak_that_is_over_sounds_no_more() -> None:
    """FAULT alone: what has gone in stays in."""
    alive = back(begun(timed("presoak", "1:00"), TRAY, STOP).to(49.0), 13.0).to(80.0)
    assert [cue for cue, _ in sounds(alive, 49.0)] == ["fault"]
    assert alive.kind("session", event="resume")[0]["missed"] == ["now"]


def test_a_minimum_that_fell_due_meanwhile_is_called_late() -> None:
    """READY of an at-least stage; a tap goes on as ever."""
    alive = back(begun(FIX, timed("wash", "5:00")).to(299.0), 3.0).press(310.0).to(312.0)
    assert alive.stage(1, "minimum")["t_s"] == 300.0
    assert [cue for cue, _ in sounds(alive, 299.0)] == ["fault", "ready"]
    assert taps(alive)[-1] == (310.0, "poured")


def test_the_longest_time_that_fell_due_meanwhile_is_called_late() -> None:
    """And NOW is repeated from there."""
    alive = back(begun(FIX, timed("wash", "5:00")).to(479.0), 3.0).to(490.0)
    assert alive.stage(1, "now")["t_s"] == pytest.approx(480.0, abs=2.0)
    assert [cue for cue, _ in sounds(alive, 479.0)][:3] == ["fault", "now", "now"]


@pytest.mark.parametrize(("at_s", "meaning"), [(183.9, "poured"), (184.1, "mark")])
def test_the_offer_ends_a_minute_after_the_return_if_the_program_was_away_at_the_planned_end(at_s: float, meaning: str) -> None:
    """Where NOW does not go on. The planned end was 120, the return 124."""
    alive = back(begun(DEVELOP, timed("develop", "4:00"), STOP).to(118.0), 6.0).press(at_s).to(190.0)
    assert taps(alive) == [(at_s, meaning)]


def test_a_lid_put_on_early_does_not_move_the_clock_of_the_resumed_session() -> None:
    """The journal has the planned end of the load, minutes ahead."""
    load = 'name = "load"\nrole = "load"\ntime = "10:00"'
    dead = begun(load, DEVELOP, STOP).press(60.0, 1.2).press(80.0, 1.2).to(100.0)
    alive = back(dead, 2.0).to(210.0)
    assert alive.stage(2, "ready")["t_s"] == 155.0
    assert alive.stage(2, "now")["t_s"] == 185.0
    assert [cue for cue, _ in sounds(alive, 100.0)][:2] == ["ready", "now"]


# -- every moment is the same -----------------------------------------------------------------------------------------


def told(evening: Evening) -> dict[str, Any]:
    """All that must not depend on whether the program was away."""
    passages = History.of(evening.records).passages
    return {
        "presses": [(round(r["t_s"], 2), r["meaning"]) for r in evening.kind("tap")],
        "begins": [(p.stage, p.sheet, round(p.begin_s, 2), p.told) for p in passages],
        "moments": Counter(
            (r["stage"], r["event"], r.get("sheet"), round(r["t_s"], 2)) for r in evening.kind("stage") if r["event"] != "begin"
        ),
    }


def lived(evening: Evening, presses: list[tuple[float, float]], until_s: float) -> Evening:
    """With these presses."""
    for down_s, up_s in presses:
        if evening.session.closed:
            return evening
        evening.press(down_s, up_s - down_s)
    return evening.to(until_s)


def deaths(
    draw: random.Random, whole: Evening, presses: list[tuple[float, float]], until_s: float, count: int
) -> list[tuple[float, float]]:
    """Kills and gaps that no press falls into; most of them near something that happens."""
    near = [r["t_s"] for r in whole.records if r["kind"] in ("stage", "tap", "correction")]
    found: list[tuple[float, float]] = []
    for _ in range(20 * count):
        at_s = (
            draw.choice(near) + draw.choice([-0.6, -0.3, -0.01, 0.01, 0.2, 1.0, 3.0]) if draw.random() < 0.7 else draw.uniform(1.0, until_s)
        )
        gap_s = draw.uniform(0.4, 4.0)
        free = all(up_s + 0.02 < at_s or down_s - 0.02 > at_s + gap_s for down_s, up_s in presses)
        if free and at_s > 0.5 and not (whole.session.closed and at_s >= whole.t_s - 0.1):
            found.append((round(at_s, 3), round(gap_s, 3)))
    return found[:count]


@pytest.mark.parametrize("seed", seeds(4))
@pytest.mark.parametrize("kind", ["roll", "sheets"])
def test_killed_anywhere_every_moment_is_where_it_would_have_been(kind: str, seed: int) -> None:
    """Presses mean the same, begins are the same, READY, NOW and the ends come at the same time; `seq` goes on without a gap."""
    draw = random.Random(f"{kind} {seed}")
    presses = any_presses(draw, 12)
    presses[0] = (presses[0][0], round(presses[0][0] + 1.2, 2))
    presses = [presses[0], *(p for p in presses[1:] if p[0] > presses[0][1])]
    until_s = presses[-1][1] + draw.choice([10.0, 100.0, 300.0])
    if kind == "roll":
        plan = recipe(*[stage.body for stage in any_stages(draw)])
    else:
        before = draw.choice([[], [timed("presoak", "1:00")], [timed("presoak", "0:45", 'until = "at least"')]])
        plan = recipe(*before, TRAY, STOP, FIX, tail=SHEETS, vessel="open tray")
    whole = lived(Evening(plan, reading_every_s=FEW_S).open(), presses, until_s)
    for at_s, gap_s in deaths(draw, whole, presses, until_s, 4):
        dead = lived(Evening(plan, reading_every_s=FEW_S).open(), [p for p in presses if p[1] <= at_s], at_s)
        if dead.session.closed:
            continue
        alive = lived(back(dead, gap_s), [p for p in presses if p[0] > at_s], until_s)
        assert told(alive) == told(whole), (at_s, gap_s)
        assert [r["seq"] for r in alive.records] == list(range(1, len(alive.records) + 1))


LONG_LOAD = 'name = "load"\nrole = "load"\ntime = "0:30"\nat_most = "0:40"'


@pytest.mark.parametrize(
    ("stages", "dies_s"),
    [
        *[((DEVELOP, timed("stop", "3:00"), FIX), t) for t in (105.3, 107.5, 110.0, 116.0, 119.0, 120.3, 130.0)],
        *[((DEVELOP,), t) for t in (119.5, 121.0, 130.0, 300.0)],  # a last developer that nobody takes out
        *[((FIX, timed("wash", "5:00")), t) for t in (480.3, 485.0, 495.0, 600.0)],  # past the longest time
        *[((LONG_LOAD, DEVELOP), t) for t in (41.0, 60.0)],
    ],
)
def test_now_keeps_its_rhythm_over_a_restart(stages: tuple[str, ...], dies_s: float) -> None:
    """Where its first sounding was not missed, the repeats are those that would have come, but for one in the gap."""
    whole = begun(*stages).to(dies_s + 60.0)
    alive = back(begun(*stages).to(dies_s), 1.0).to(dies_s + 60.0)
    assert nows(whole, dies_s + 1.01)
    assert nows(alive, dies_s + 1.01) == nows(whole, dies_s + 1.01)
