"""The sounds as data, and how they share one sounder."""

from __future__ import annotations

import itertools
import re

import pytest

from monitor.core.journal.words import CUES, Cue
from monitor.core.session import sounds
from monitor.core.session.sounds import Mixer, Sound
from monitor.live.view.words import SOUNDS

UNASKED = {"tick": sounds.TICK, "ready": sounds.READY, "now": sounds.NOW, "fault": sounds.FAULT}
ANSWERS = [sounds.answer(minutes) for minutes in range(121)]
EVERY = [*(signal.pattern for signal in sounds.SIGNALS), *ANSWERS]


def test_the_patterns_are_those_of_the_practice_in_milliseconds() -> None:
    """Written out once more, by hand: a pattern that people have learned changes only where somebody means it."""
    assert {signal.name: signal.on_off_ms for signal in sounds.SIGNALS} == {
        "tick": (40,),
        "double-tick": (40, 90, 40),
        "ready": (900,),
        "now": (90, 90, 90, 90, 90, 90, 90, 90, 90, 90, 700),
        "sheet": (90, 90, 90, 90, 90, 90, 90, 90, 90),
        "fault": (90, 90, 320, 300, 90, 90, 320, 300),
        "yes": (40, 200, 40),
        "answer": (500, 350, 150, 350, 150),
        "answer-tens": (500, 100, 500, 350, 500, 100, 500, 350, 500, 350, 150),
        "answer-none": (40, 90, 40, 90, 40),
        "over": (3000,),
        "click": (25,),
    }


def pulses(pattern: tuple[float, ...]) -> list[tuple[float, float]]:
    """(onset, length) of every pulse."""
    at, found = 0.0, []
    for i, part in enumerate(pattern):
        if i % 2 == 0:
            found.append((at, part))
        at += part
    return found


def wave(pattern: tuple[float, ...], upto_s: float, step_s: float = 0.005) -> list[bool]:
    """The level in steps of 5 ms."""
    spans = [(on, on + length) for on, length in pulses(pattern)]
    return [any(a <= k * step_s < b for a, b in spans) for k in range(round(upto_s / step_s))]


def test_the_four_families_differ_within_their_first_half_second_by_more_than_a_room_smears() -> None:
    """MIL-STD-1472E 5.3.4: the first 0.5 s of each can be told apart. A tiled room smears gaps below 90 ms (common practice, no source)."""
    for (_, a), (_, b) in itertools.combinations(UNASKED.items(), 2):
        differing_s = 0.005 * sum(x != y for x, y in zip(wave(a, 0.5), wave(b, 0.5), strict=True))
        assert differing_s >= 0.09 - 1e-9, (a, b, differing_s)


def test_there_are_four_unasked_families_and_the_warnings_last_half_a_second() -> None:
    """Not more than four signals; warnings last at least 0.5 s (MIL-STD-1472E 5.3.4, as quoted in the project's practice)."""
    assert set(UNASKED) == sounds.UNASKED
    assert {signal.cue for signal in sounds.SIGNALS if signal.cue in sounds.UNASKED} == sounds.UNASKED
    assert all(sounds.length_s(UNASKED[name]) >= 0.5 for name in ("ready", "now", "fault"))
    assert sounds.length_s(sounds.SHEET_NOW) >= 0.5


def test_every_cue_of_the_journal_has_its_row_in_the_table_and_its_place_in_the_order() -> None:
    """Nothing sounds that README, wall card and lesson do not teach."""
    assert {signal.cue for signal in sounds.SIGNALS} == set(CUES) == set(sounds.PRIORITY)
    assert len({signal.name for signal in sounds.SIGNALS}) == len(sounds.SIGNALS)
    assert all(re.fullmatch("[a-z-]+", signal.name) and signal.heard and signal.says and signal.do for signal in sounds.SIGNALS)


def test_the_view_has_words_for_every_cue() -> None:
    """What is heard can also be read."""
    assert set(SOUNDS) == set(CUES)


def test_the_order_is_now_ready_fault_answer_tick_and_yes_is_an_answer() -> None:
    """A click is worked in beside all of them."""
    rank = sounds.PRIORITY
    assert rank["now"] > rank["ready"] > rank["fault"] > rank["answer"] > rank["tick"]
    assert rank["yes"] == rank["answer"]


def test_no_steady_tone_but_ready_lasts_between_a_pulse_and_over() -> None:
    """A tone between 0.6 and 3 s is READY's alone; inside a rhythm there is one long pulse, the end of NOW."""
    for pattern in EVERY:
        long = [k for k, (_, length_s) in enumerate(pulses(pattern)) if 0.6 < length_s < 3.0]
        assert pattern == sounds.READY or not long or (pattern == sounds.NOW and long == [5]), pattern


def test_no_gap_is_shorter_than_a_tiled_room_leaves_silent() -> None:
    """90 ms, in answers that are counted 100 ms (common practice, no source); the three specks are not counted."""
    for pattern in EVERY:
        counted = pattern in ANSWERS and pattern != sounds.UNDER_A_MINUTE
        assert all(gap_s >= (0.100 if counted else 0.090) for gap_s in pattern[1::2]), pattern


def test_the_call_for_a_sheet_is_the_begin_of_now_and_no_part_of_fault() -> None:
    """Its pulses are all alike: nobody hears a short before a long in it, which is half a FAULT."""
    assert sounds.NOW[: len(sounds.SHEET_NOW)] == sounds.SHEET_NOW
    assert len({length_s for _, length_s in pulses(sounds.SHEET_NOW)}) == 1
    assert len(pulses(sounds.SHEET_NOW)) == 5


def repeated(pattern: tuple[float, ...], every_s: float, times: int) -> list[tuple[float, float]]:
    """Pulses of a pattern that is sounded again and again."""
    return [(k * every_s + on, length) for k in range(times) for on, length in pulses(pattern)]


def looks_like_evacuation(train: list[tuple[float, float]]) -> bool:
    """ISO 8201 (as quoted in a building code's note): three pulses of 0.5 s with 0.5 s between, then 1.5 s, each within 10 %."""
    for k in range(len(train) - 3):
        ons = [train[k + j][1] for j in range(3)]
        gaps = [train[k + j + 1][0] - train[k + j][0] - train[k + j][1] for j in range(3)]
        if all(0.45 <= on <= 0.55 for on in ons) and all(0.45 <= g <= 0.55 for g in gaps[:2]) and 1.35 <= gaps[2] <= 1.65:
            return True
    return False


def looks_like_carbon_monoxide(train: list[tuple[float, float]]) -> bool:
    """Four pulses of 0.1 s, no fifth before them, then about 5 s of silence (from a sounder maker's summary)."""
    for k in range(len(train) - 4):
        if k > 0 and train[k][0] - sum(train[k - 1]) <= 0.15:
            continue
        ons = [train[k + j][1] for j in range(4)]
        gaps = [train[k + j + 1][0] - train[k + j][0] - train[k + j][1] for j in range(4)]
        if all(0.08 <= on <= 0.12 for on in ons) and all(g <= 0.15 for g in gaps[:3]) and 4.0 <= gaps[3] <= 6.0:
            return True
    return False


def test_the_detectors_know_the_forbidden_rhythms() -> None:
    """A check that could not fail would prove nothing."""
    assert looks_like_evacuation(repeated((0.5, 0.5, 0.5, 0.5, 0.5), 4.0, 3))
    assert looks_like_carbon_monoxide(repeated((0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1), 5.7, 3))


@pytest.mark.parametrize("every_s", [1.0, 2.0, 2.4, 3.0, 5.0, 8.0, 10.0])
def test_no_pattern_at_any_of_our_repeats_sounds_like_the_alarms_of_the_house(every_s: float) -> None:
    """Evacuation and carbon-monoxide rhythms hang in kitchens and laundries and are forbidden here."""
    for pattern in EVERY:
        train = repeated(pattern, max(every_s, sounds.length_s(pattern) + 0.3), 6)
        assert not looks_like_evacuation(train), pattern
        assert not looks_like_carbon_monoxide(train), pattern


def told(pattern: tuple[float, ...]) -> int:
    """Minutes, as a listener adds them up who knows the rule and not the code."""
    groups: list[list[float]] = [[]]
    for i, part in enumerate(pattern):
        if i % 2 == 0:
            groups[-1].append(part)
        elif part > 0.2:
            groups.append([])
    return sum({(0.5, 0.5): 10, (0.5,): 5, (0.15,): 1}[tuple(group)] for group in groups)


def test_an_answer_tells_every_minute_up_to_two_hours_in_at_most_three_kinds() -> None:
    """Tens (from 20 minutes on), then fives, then ones; only pairs are ever more than four alike."""
    for minutes in range(1, 121):
        pattern = sounds.answer(minutes)
        assert told(pattern) == minutes
        singles = minutes if minutes < 20 else minutes % 10
        assert sum(length_s == 0.15 for _, length_s in pulses(pattern)) == singles % 5
        assert sum(gap_s == 0.1 for gap_s in pattern[1::2]) == (minutes // 10 if minutes >= 20 else 0)
    assert sounds.answer(6) == (0.5, 0.35, 0.15)
    assert [length for _, length in pulses(sounds.answer(13))] == [0.5, 0.5, 0.15, 0.15, 0.15]
    assert sounds.answer(20) == (0.5, 0.1, 0.5, 0.35, 0.5, 0.1, 0.5)


def test_less_than_a_minute_is_three_specks() -> None:
    """A long tone there would be a second READY."""
    assert sounds.answer(0) == (0.04, 0.09, 0.04, 0.09, 0.04)


def heard(mixer: Mixer, until_s: float) -> tuple[list[tuple[float, float]], list[str], list[str]]:
    """Step a mixer at its own times: the on-spans, what began and what was dropped."""
    spans: list[tuple[float, float]] = []
    began: list[str] = []
    dropped: list[str] = []
    t_s, on_since = 0.0, None
    while t_s <= until_s:
        step = mixer.step(t_s)
        began += [s.cue for s in step.began]
        dropped += [s.cue for s in step.dropped]
        if step.on and on_since is None:
            on_since = t_s
        elif not step.on and on_since is not None:
            spans.append((round(on_since, 4), round(t_s, 4)))
            on_since = None
        if step.next_s is None:
            break
        t_s = step.next_s
    return spans, began, dropped


def test_a_pattern_is_stepped_edge_by_edge() -> None:
    """The sounder's level follows the table to the millisecond."""
    mixer = Mixer()
    mixer.add(Sound(1, "now", 1.0, sounds.NOW), 0.0)
    spans, began, _ = heard(mixer, 10.0)
    assert began == ["now"]
    assert spans[0] == (1.0, 1.09)
    assert spans[-1] == (1.9, 2.6)
    assert len(spans) == 6


def test_a_tick_that_falls_into_a_cue_is_dropped() -> None:
    """Priority: NOW > READY > FAULT > ANSWER > tick."""
    mixer = Mixer()
    mixer.add(Sound(1, "ready", 1.0, sounds.READY), 0.0)
    mixer.add(Sound(2, "tick", 1.5, sounds.TICK), 0.0)
    spans, _, dropped = heard(mixer, 10.0)
    assert dropped == ["tick"]
    assert spans == [(1.0, 1.9)]


@pytest.mark.parametrize(("before_s", "told"), [(0.02, False), (0.09, False), (0.11, True)])
def test_a_tick_that_a_cue_would_silence_is_dropped_and_not_told_as_one_that_sounded(before_s: float, told: bool) -> None:
    """The 60 ms of silence before READY would swallow it."""
    mixer = Mixer()
    mixer.add(Sound(1, "ready", 1.0, sounds.READY), 0.0)
    mixer.add(Sound(2, "tick", 1.0 - before_s, sounds.TICK), 0.0)
    _, began, dropped = heard(mixer, 10.0)
    assert began == (["tick", "ready"] if told else ["ready"])
    assert dropped == ([] if told else ["tick"])


def test_now_cuts_in_on_time_after_a_moment_of_silence() -> None:
    """A lower cue gives way 60 ms before, so that the first onset of NOW is heard and is not late."""
    mixer = Mixer()
    mixer.add(Sound(1, "ready", 1.0, sounds.READY), 0.0)
    mixer.add(Sound(2, "now", 1.5, sounds.NOW), 0.0)
    spans, began, _ = heard(mixer, 10.0)
    assert began == ["ready", "now"]
    assert spans[:2] == [(1.0, 1.44), (1.5, 1.59)]


def test_a_click_answers_within_a_tenth_of_a_second_even_during_a_cue_and_the_cue_comes_again_whole() -> None:
    """No cue is cancelled by another, and every press is answered."""
    mixer = Mixer()
    mixer.add(Sound(1, "ready", 0.0, sounds.READY), 0.0)
    mixer.step(0.3)
    mixer.add(Sound(2, "click", 0.3, sounds.CLICK), 0.3)
    spans: list[tuple[float, float]] = []
    began: list[str] = []
    t_s = 0.3
    on_since: float | None = 0.0
    while True:
        step = mixer.step(t_s)
        began += [s.cue for s in step.began]
        if step.on and on_since is None:
            on_since = t_s
        elif not step.on and on_since is not None:
            spans.append((round(on_since, 3), round(t_s, 3)))
            on_since = None
        if step.next_s is None:
            break
        t_s = step.next_s
    assert began == ["click"]
    assert spans == [(0.0, 0.3), (0.36, 0.385), (0.535, 1.435)]


@pytest.mark.parametrize(("louder", "pattern"), [("ready", sounds.READY), ("fault", sounds.FAULT), ("now", sounds.NOW)])
@pytest.mark.parametrize(("asked", "answer"), [("answer", sounds.answer(2)), ("yes", sounds.YES), ("over", sounds.OVER)])
def test_what_was_asked_for_waits_until_what_was_not_is_over(
    louder: Cue, pattern: tuple[float, ...], asked: Cue, answer: tuple[float, ...]
) -> None:
    """It is told late, but whole, with its own onset."""
    mixer = Mixer()
    mixer.add(Sound(1, louder, 1.0, pattern), 0.0)
    mixer.add(Sound(2, asked, 1.2, answer), 0.0)
    spans, began, dropped = heard(mixer, 10.0)
    assert (began, dropped) == ([louder, asked], [])
    over_s = 1.0 + sounds.length_s(pattern)
    assert next(t for t, _ in spans if t > over_s) == pytest.approx(over_s + sounds.AGAIN_S, abs=0.001)


@pytest.mark.parametrize(
    ("louder", "pattern", "whole"), [("ready", sounds.READY, True), ("fault", sounds.FAULT, True), ("now", sounds.NOW, False)]
)
def test_an_answer_that_ready_or_fault_interrupts_comes_again_and_now_breaks_it_off(
    louder: Cue, pattern: tuple[float, ...], whole: bool
) -> None:
    """Half an answer would be a wrong number."""
    mixer = Mixer()
    mixer.add(Sound(1, "answer", 1.0, sounds.answer(2)), 0.0)
    mixer.add(Sound(2, louder, 1.3, pattern), 0.0)
    spans, began, dropped = heard(mixer, 10.0)
    assert (began, dropped) == (["answer", louder], [])
    after = [round(end - begin, 3) for begin, end in spans if begin > 1.3 + sounds.length_s(pattern) - 0.01]
    assert after == ([0.15, 0.15] if whole else [])


def test_every_family_comes_unasked_or_answers() -> None:
    """Or is the click."""
    assert sounds.UNASKED | sounds.ASKED | {"click"} == set(sounds.PRIORITY)
    assert not sounds.UNASKED & sounds.ASKED


def test_hushing_silences_what_sounds_and_what_waits_of_that_family_only() -> None:
    """A tap silences NOW, the ticks go on."""
    mixer = Mixer()
    mixer.add(Sound(1, "now", 0.0, sounds.NOW), 0.0)
    mixer.add(Sound(2, "tick", 2.0, sounds.TICK), 0.0)
    mixer.step(0.2)
    mixer.hush({"now"}, 0.2)
    assert not mixer.step(0.2).on
    assert heard(mixer, 10.0)[1] == ["tick"]


def test_the_silence_before_a_click_is_meant_and_is_no_lateness() -> None:
    """A press under a sounding NOW: the click's intended onset lies behind the silence."""
    mixer = Mixer()
    mixer.add(Sound(1, "now", 0.0, sounds.NOW), 0.0)
    mixer.step(0.05)
    mixer.hush({"now"}, 0.05)
    mixer.add(Sound(2, "click", 0.05, sounds.CLICK), 0.05)
    step = mixer.step(0.11)
    assert [s.onset_s for s in step.began] == [pytest.approx(0.11)]


def test_a_tick_at_the_moment_in_which_now_falls_silent_is_dropped() -> None:
    """It would be no edge of its own, only a longer pulse."""
    mixer = Mixer()
    mixer.add(Sound(1, "now", 0.0, sounds.NOW), 0.0)
    mixer.step(0.05)
    mixer.hush({"now"}, 0.05)
    mixer.add(Sound(2, "tick", 0.051, sounds.TICK), 0.05)
    assert [s.cue for s in mixer.step(0.051).dropped] == ["tick"]
