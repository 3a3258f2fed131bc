"""Two films share one sounder: contract, section 11."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import pairwise

import pytest

from monitor.core.journal.words import Cue
from monitor.core.session import sounds
from monitor.core.session.sounds import Mixer, Sound, Vessel, of_vessel

CLICK_S = 0.025
Heard = tuple[float, float, Sound]


def call(number: int, cue: Cue, onset_s: float, vessel: Vessel, sheet: int | None = None) -> Sound:
    """A sound of one of the films, as its session gives it out."""
    pattern = {"now": sounds.NOW, "ready": sounds.READY, "fault": sounds.FAULT, "answer": sounds.answer(26), "over": sounds.OVER,
               "click": sounds.CLICK, "tick": sounds.TICK, "yes": sounds.YES}[cue]  # fmt: skip
    return Sound(number, cue, onset_s, of_vessel(cue, pattern, vessel), sheet, vessel=vessel)


def played(heard: list[Sound], until_s: float = 60.0) -> tuple[list[tuple[float, Sound]], list[Heard], list[Sound]]:
    """What began and when, every stretch in which one sound had the sounder, and what was dropped. Each comes in half a second ahead."""
    mixer, t_s = Mixer(), 0.0
    began: list[tuple[float, Sound]] = []
    stretches: list[Heard] = []
    dropped: list[Sound] = []
    coming = sorted(((s.onset_s - (0.0 if s.cue == "click" else 0.5), s) for s in heard), key=lambda c: (c[0], c[1].number))
    while t_s < until_s:
        while coming and coming[0][0] <= t_s + 1e-9:
            mixer.add(coming.pop(0)[1], t_s)
        step = mixer.step(t_s)
        began += [(t_s, s) for s in step.began]
        dropped += step.dropped
        now = mixer._playing
        next_s = min(x for x in (step.next_s, coming[0][0] if coming else None, until_s) if x is not None)
        next_s = max(next_s, t_s + 1e-4)
        if now is not None:
            if stretches and stretches[-1][2].number == now.sound.number and stretches[-1][1] >= t_s - 1e-6:
                stretches[-1] = (stretches[-1][0], next_s, now.sound)
            else:
                stretches.append((t_s, next_s, now.sound))
        t_s = next_s
    return began, stretches, dropped


def test_the_second_vessel_s_calls_end_with_two_pulses() -> None:
    """READY, NOW and an answer; 90 ms each, 200 ms before and between; nothing else is marked, and the first vessel's never."""
    assert of_vessel("ready", sounds.READY, 2) == (0.9, 0.2, 0.09, 0.2, 0.09)
    assert of_vessel("now", sounds.NOW, 2)[-5:] == (0.7, 0.2, 0.09, 0.2, 0.09)
    assert of_vessel("answer", sounds.answer(1), 2) == (0.15, 0.2, 0.09, 0.2, 0.09)
    assert of_vessel("answer", sounds.FAULT, 2)[-4:] == (0.3, 0.09, 0.2, 0.09)
    for cue in ("tick", "fault", "yes", "over", "click"):
        assert of_vessel(cue, sounds.OVER, 2) == sounds.OVER
    assert of_vessel("now", sounds.NOW, 1) == sounds.NOW
    assert sounds.length_s(of_vessel("now", sounds.NOW, 2)) < 2.4


def test_a_call_waits_until_the_other_film_s_is_over() -> None:
    """And keeps its intended onset, from which its lateness is told."""
    began, _, _ = played([call(1, "ready", 1.0, 1), call(2, "now", 1.4, 2)])
    assert [(round(t_s, 3), s.cue, s.onset_s) for t_s, s in began] == [(1.0, "ready", 1.0), (2.05, "now", 1.4)]


def test_of_two_that_wait_now_goes_first() -> None:
    """READY of the film that sounds has to wait for it too."""
    began, _, _ = played([call(1, "fault", 1.0, 1), call(2, "ready", 1.2, 2), call(3, "now", 1.3, 2)])
    assert [s.cue for _, s in began] == ["fault", "now"]
    began, _, _ = played([call(1, "now", 1.0, 1), call(2, "ready", 1.2, 2), call(3, "now", 3.4, 1)])
    assert [(s.cue, s.vessel) for _, s in began] == [("now", 1), ("ready", 2), ("now", 1)]


def test_an_answer_is_broken_off_for_now_and_only_for_now() -> None:
    """READY of the other film waits until the answer has been told."""
    began, stretches, _ = played([call(1, "answer", 1.0, 1), call(2, "now", 1.4, 2)])
    assert [round(t_s, 3) for t_s, _ in began] == [1.0, 1.4]
    assert [s.cue for _, _, s in stretches] == ["answer", "now"]
    began, _, _ = played([call(1, "answer", 1.0, 1), call(2, "ready", 1.4, 2)])
    assert began[1][0] == pytest.approx(1.0 + sounds.length_s(sounds.answer(26)) + sounds.AGAIN_S)


def test_two_nows_that_repeat_take_turns() -> None:
    """None waits for longer than its own repeat, and neither film falls silent."""
    coming = [call(2 * k + v, "now", 1.0 + 2.4 * k + 0.3 * (v == 2), v) for k in range(6) for v in (1, 2)]
    began, _, dropped = played([s for s in coming if s.vessel in (1, 2)])
    turns = [s.vessel for _, s in began]
    assert turns[:6] == [1, 2, 1, 2, 1, 2]
    assert all(t_s - s.onset_s < 2.4 for t_s, s in began)
    assert len(began) + len(dropped) == len(coming)


def test_a_click_for_one_film_does_not_cost_the_other_one_its_call() -> None:
    """It comes again, whole, and once in the journal."""
    began, stretches, _ = played([call(1, "now", 1.0, 1, sheet=3), call(2, "click", 1.5, 2)])
    assert [s.cue for _, s in began] == ["now", "click"]
    assert [s.cue for _, _, s in stretches] == ["now", "click", "now"]
    assert stretches[2][1] - stretches[2][0] == pytest.approx(sounds.length_s(sounds.NOW), abs=0.01)


def test_hushing_one_film_leaves_the_other_one_sounding() -> None:
    """A tap silences NOW of the film that it is about."""
    mixer = Mixer()
    mixer.add(call(1, "now", 1.0, 1), 0.5)
    mixer.add(call(2, "now", 1.1, 2), 0.6)
    mixer.step(1.0)
    mixer.step(1.1)
    mixer.hush({"now"}, 1.2, 1)
    began = []
    t_s: float | None = 1.2
    while t_s is not None and t_s < 9.0:
        step = mixer.step(t_s)
        began += step.began
        t_s = step.next_s
    assert [s.number for s in began] == [2]


def test_a_sound_of_one_film_alone_is_mixed_as_ever() -> None:
    """Whichever vessel the film is in."""
    for vessel in (1, 2):
        v: Vessel = 1 if vessel == 1 else 2
        began, _, _ = played([call(1, "ready", 1.0, v), call(2, "now", 1.4, v)])
        assert [round(t_s, 3) for t_s, _ in began] == [1.0, 1.4]


@pytest.mark.parametrize("block", range(4))
def test_no_order_of_sounds_mixes_two_calls_or_keeps_a_now_longer_than_2_4_s(block: int) -> None:
    """Fifty random quarter minutes: NOWs that repeat, READYs, FAULTs, answers and clicks of both films at any moment."""
    for seed in range(50 * block, 50 * block + 50):
        rng = random.Random(f"mix {seed}")
        coming: list[Sound] = []
        for vessel in (1, 2):
            v: Vessel = 1 if vessel == 1 else 2
            at_s = rng.uniform(1.0, 8.0)
            coming += [call(0, "now", at_s + 2.4 * k, v) for k in range(rng.randint(0, 3))]
            coming += [call(0, rng.choice(("ready", "fault", "answer", "over", "yes")), rng.uniform(1.0, 15.0), v) for _ in range(2)]
            coming += [call(0, "click", rng.uniform(1.0, 15.0), v) for _ in range(2)]
        coming = [replace(s, number=i) for i, s in enumerate(sorted(coming, key=lambda s: s.onset_s))]
        began, stretches, _ = played(coming)
        for (_, end_s, one), (_, _, other) in pairwise(stretches):
            if one.vessel != other.vessel and one.cue in sounds.CALLS and other.cue in sounds.CALLS:
                begin_s = next(b for b, _, s in stretches if s is one)
                assert end_s - begin_s >= sounds.length_s(one.pattern) - 1e-3, (seed, one, other)
        for t_s, sound in began:
            if sound.cue == "now":
                assert t_s - sound.onset_s <= 2.4 + 1e-9, (seed, sound)
