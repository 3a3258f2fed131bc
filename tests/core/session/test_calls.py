"""When a sound is asked for: FAULT and its place among the others, NOW and its repeats."""

from __future__ import annotations

from typing import Any

import pytest

from monitor.core.session import sounds
from monitor.core.session.calls import Calls
from monitor.core.session.effects import Play
from monitor.core.session.runs import Run
from tests.evening import Evening, develop, recipe

PLAN = recipe(develop("5:00"), 'name = "stop"\nrole = "stop"\ntime = "1:00"')


def run(ready_s: float | None, now_s: float | None) -> Run:
    """A run whose calls are planned."""
    made = Run(1, PLAN.stages[0], None, 0.0, 300.0)
    made.ready_s, made.now_s = ready_s, now_s
    return made


class Asked:
    """What was asked of the sounder."""

    def __init__(self) -> None:
        self.effects: list[Any] = []
        self.calls = Calls(self.effects.append)

    def fault_at(self, t_s: float, runs: list[Run]) -> float:
        """A FAULT is wanted at `t_s`: when it will sound."""
        self.calls.want_fault("because", t_s, runs)
        assert self.calls.fault_s is not None
        return self.calls.fault_s

    def played(self, cue: str) -> list[float]:
        """Onsets of one family."""
        return [e.sound.onset_s for e in self.effects if isinstance(e, Play) and e.sound.cue == cue]


def test_no_fault_sounds_sooner_than_a_minute_after_the_last_whatever_it_is_about() -> None:
    """Sixty seconds, from onset to onset."""
    asked = Asked()
    assert asked.fault_at(10.0, []) == 10.0
    asked.calls.sound_fault(10.0, [])
    assert asked.fault_at(20.0, []) == 70.0
    assert asked.played("fault") == [10.0]


@pytest.mark.parametrize(("ready_s", "now_s", "call", "length_s"), [(100.0, None, 100.0, 0.9), (None, 100.0, 100.0, 1.6)])
def test_a_fault_gets_out_of_the_way_of_ready_and_of_now(ready_s: float | None, now_s: float | None, call: float, length_s: float) -> None:
    """It sounds behind one that it would run into, before one that is far enough away."""
    asked, at = Asked(), [run(ready_s, now_s)]
    assert asked.fault_at(99.0, at) == pytest.approx(call + length_s + 0.1, abs=0.01)
    assert asked.fault_at(call + 0.2, at) == pytest.approx(call + length_s + 0.1, abs=0.01)
    assert asked.fault_at(90.0, at) == 90.0


def test_a_fault_does_not_sound_between_the_quick_repeats_of_now() -> None:
    """It waits until the sixth is over; between slow repeats there is room for it."""
    asked, at = Asked(), run(None, None)
    asked.calls.call_now(at, 100.0, sounds.NOW, repeats=True)
    last_s = 100.0 + 5 * 2.4 + sounds.length_s(sounds.NOW)
    for wanted_s in (100.2, 101.7):  # while it sounds, and in the silence behind it
        assert asked.fault_at(wanted_s, [at]) == pytest.approx(last_s + 0.1)
    for _ in range(5):
        asked.calls.repeat_now(lambda _: False)
    assert asked.played("now") == pytest.approx([100.0 + 2.4 * k for k in range(6)])
    assert asked.fault_at(last_s + 1.0, [at]) == pytest.approx(last_s + 1.0)


def test_after_six_quick_ones_now_is_repeated_every_ten_seconds() -> None:
    """Until it is silenced."""
    asked = Asked()
    asked.calls.call_now(run(None, None), 0.0, sounds.NOW, repeats=True)
    for _ in range(7):
        asked.calls.repeat_now(lambda _: False)
    assert asked.played("now") == pytest.approx([0.0, 2.4, 4.8, 7.2, 9.6, 12.0, 22.0, 32.0])
    asked.calls.silence_now()
    assert asked.calls.now is None


def test_under_a_foot_that_may_be_answering_a_repeat_is_left_out_and_the_rhythm_goes_on() -> None:
    """What counts is the moment at which it would sound."""
    asked = Asked()
    asked.calls.call_now(run(None, None), 0.0, sounds.NOW, repeats=True)
    for _ in range(3):
        asked.calls.repeat_now(lambda t_s: t_s < 4.8)
    assert asked.played("now") == pytest.approx([0.0, 4.8, 7.2])


def test_a_new_call_ends_the_repeats_of_the_one_before_and_only_its_own_run_silences_it() -> None:
    """What ends the call of a run that is gone leaves the newer one alone."""
    asked, old, new = Asked(), run(None, None), run(None, None)
    asked.calls.call_now(old, 0.0, sounds.NOW, repeats=True)
    asked.calls.call_now(new, 5.0, sounds.NOW, repeats=True)
    asked.calls.silence_now(old)
    assert asked.calls.now is not None
    assert asked.calls.now.run is new
    asked.calls.silence_now(new)
    assert asked.calls.now is None
    asked.calls.call_now(old, 20.0, sounds.NOW, repeats=True)
    asked.calls.call_now(new, 25.0, sounds.SHEET_NOW, repeats=False)
    assert asked.calls.now is None


def test_a_fault_that_waits_is_forgotten_with_its_cause() -> None:
    """A loss within a minute of another FAULT; the probe is back before its own may sound: nobody is told of what is no longer true."""
    evening = Evening(PLAN, lambda t: None if 60.0 <= t < 77.0 else 20.0).begin().to(70.0)
    evening._do(evening.session.fault("the disk is full", 70.0))
    evening.to(170.0)
    assert evening.cues("fault") == pytest.approx([70.0], abs=0.6)
    assert evening.kind("trust", believed=False)[-1]["t_s"] < evening.kind("trust", believed=True)[-1]["t_s"] < 130.0


def test_a_sound_that_fell_due_while_the_program_was_away_is_only_remembered() -> None:
    """READY and NOW; ticks of that time are nobody's business."""
    asked = Asked()
    asked.calls.go_away(100.0)
    for cue, at_s in (("tick", 90.0), ("ready", 95.0), ("now", 99.0), ("tick", 100.0)):
        asked.calls.play(cue, at_s, sounds.TICK)  # type: ignore[arg-type]
    assert [s.cue for s in asked.calls.come_back()] == ["ready", "now"]
    assert asked.played("tick") == [100.0]


def test_the_fault_of_a_return_sounds_at_once_whatever_sounded_before() -> None:
    """Also within a minute of another one; after it the minute begins anew."""
    asked = Asked()
    asked.fault_at(10.0, [])
    asked.calls.sound_fault(10.0, [])
    assert asked.calls.fault_first("the program was away", 12.0) == pytest.approx(12.0 + sounds.length_s(sounds.FAULT))
    assert asked.played("fault") == [10.0, 12.0]
    assert asked.fault_at(20.0, []) == 72.0
