"""What a session does with a probe that is exchanged, or doubted while the temperature is trusted: FAULT, the foot, a restart."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import cache

import pytest

from monitor.core.development.beliefs import Vessel
from monitor.core.session import sounds
from tests.core.session.test_session_fold import revive
from tests.evening import STOP, Evening, develop, recipe

PLAN = recipe(develop("9:00"), STOP)
LAG_S = 360.0


def bath(t_s: float) -> float:
    """20 C, and from 100 s on 3 C more, quickly."""
    return 20.0 + 3.0 * (1.0 - math.exp(-max(t_s - 100.0, 0.0) / 8.0))


@cache
def followed(t_s: float) -> float:
    """A developer that begins at 18 C and follows that bath."""
    if t_s <= 0.0:
        return 18.0
    return followed(t_s - 1.0) + (bath(t_s) - followed(t_s - 1.0)) / LAG_S


def exchanged() -> Evening:
    """Each probe hangs in the other's liquid; found out some time after the bath has stepped."""
    return Evening(PLAN, bath, lambda t: followed(float(int(t))), vessel=Vessel(LAG_S, 7.0), lag_s=0.5)


def lifted(back_s: float = math.inf) -> Callable[[float], float]:
    """A bath of 20 C whose probe hangs in air from 150 s on, or until then."""
    return lambda t: 20.0 - 4.0 * (1.0 - math.exp(-(t - 150.0) / 40.0)) if 150.0 < t < back_s else 20.0


def without_bath(back_s: float = math.inf) -> Evening:
    """The developer's own probe goes on well."""
    return Evening(PLAN, lambda t: 20.0 - math.exp(-t / LAG_S), lifted(back_s), vessel=Vessel(LAG_S, 7.0))


def asked(evening: Evening, at_s: float) -> bool:
    """Whether the foot, held twice, is told that the temperature is trusted."""
    heard: list[sounds.Sound] = []
    add = evening.mixer.add
    evening.mixer.add = lambda sound, t_s: (heard.append(sound), add(sound, t_s))[1]  # type: ignore[method-assign,func-returns-value]
    evening.press(at_s, 0.8).press(at_s + 2.0, 0.8).to(at_s + 10.0)
    evening.mixer.add = add  # type: ignore[method-assign]
    return [s.pattern for s in heard if s.cue in ("answer", "yes")][-1] == sounds.YES


def test_exchanged_probes_are_one_fault_and_trusted_afterwards() -> None:
    """Neither is lost: each is taken for the other."""
    evening = exchanged().begin().to(300.0)
    assert [r["why"].split(":")[0] for r in evening.kind("trust", believed=False)] == ["exchanged with bath"]
    assert len(evening.cues("fault")) == 1
    assert asked(evening, 310.0)
    seen = evening.session.snapshot
    assert (seen.lost, seen.doubts, seen.exchanged) == ({}, {}, ("developer", "bath"))
    again = revive(evening, 2.0)
    assert (again.session.snapshot.lost, again.session.snapshot.exchanged) == ({}, ("developer", "bath"))
    assert asked(again, 340.0)
    assert len(again.cues("fault")) == 1


def test_a_fault_that_tells_of_an_exchange_is_not_taken_back_by_a_later_word() -> None:
    """It waits for its minute after another FAULT, while something else is told of a probe."""
    evening = exchanged().begin().to(100.0)
    found_s = next(r["t_s"] for r in exchanged().begin().to(300.0).kind("trust", believed=False))
    evening.to(found_s - 5.0)
    evening._do(evening.session.fault("the disk is full", evening.t_s))
    evening.to(found_s + 1.0)
    assert evening.session._desk.calls.fault_s is not None
    change = evening.session._desk.estimator._steps_c
    change["developer"] = 0.25
    evening.to(found_s + 70.0)
    assert [r["why"] for r in evening.kind("trust", believed=True)][-1].startswith("moves in steps")
    assert [r["why"].partition(" ")[0] for r in evening.kind("cue", cue="fault")] == ["the", "developer:"]


def test_a_baths_probe_that_is_not_believed_takes_nothing_from_the_developer() -> None:
    """No FAULT, and the temperature is trusted; after a restart too. The record says that nothing was lost."""
    evening = without_bath().begin().to(330.0)
    (record,) = evening.kind("trust", believed=False)
    assert (record["probe"], record["loss"]) == ("bath", False)
    again = revive(evening, 2.0)
    for one in (evening, again):
        assert list(one.session.snapshot.doubts) == ["bath"]
        assert one.session.snapshot.lost == {}
        assert asked(one, one.t_s + 5.0)
        assert one.cues("fault") == []


def test_a_baths_probe_that_is_put_back_is_doubted_no_more() -> None:
    """Nor is it when development is over and nothing hangs on it."""
    evening = without_bath(back_s=280.0).begin().to(380.0)
    assert [r["believed"] for r in evening.kind("trust", probe="bath")] == [False, True]
    assert evening.session.snapshot.doubts == {}
    over = without_bath().begin().to(500.0)
    assert list(over.session.snapshot.doubts) == ["bath"]
    over.to(700.0)
    assert over.session.snapshot.doubts == {}


@pytest.mark.parametrize("compared", [True, False])
def test_whether_the_probe_was_compared_is_that_of_the_one_in_the_developer(compared: bool) -> None:
    """After an exchange it is the bath's."""
    evening = exchanged()
    desk = evening.session._desk
    sds = (0.29, 0.1) if compared else (0.1, 0.29)
    desk._probes = tuple(replace(p, comparison_sd_c=sd) for p, sd in zip(desk._probes, sds, strict=True))
    evening.begin().to(60.0)
    assert evening.session.snapshot.compared is not compared
    assert evening.to(300.0).session.snapshot.compared is compared
