"""The series of questions and the score."""

from __future__ import annotations

import random
from collections import Counter

import pytest

from monitor.core.session.sounds import SIGNALS, answer
from monitor.prepare.lesson.quiz import QUESTIONS, LessonQuestion, Score, letter, played, series

BY_NAME = {signal.name: signal for signal in SIGNALS}


def asked(name: str) -> LessonQuestion:
    """A question about one signal."""
    return LessonQuestion(BY_NAME[name], BY_NAME[name].pattern, "name")


def scored(*, wrong: dict[str, int] | None = None, seed: int = 1) -> Score:
    """A whole lesson in which the first so many questions of these names were mistaken."""
    left, score = dict(wrong or {}), Score()
    for question in series(random.Random(seed)):
        mistaken = left.get(question.signal.name, 0) > 0
        left[question.signal.name] = left.get(question.signal.name, 0) - 1
        score = score.after(question, not mistaken)
    return score


@pytest.mark.parametrize("seed", range(20))
def test_every_signal_is_asked_three_times_or_four_and_both_ways(seed: int) -> None:
    """Forty questions over twelve signals, in another order for each seed."""
    questions = series(random.Random(seed))
    counts = Counter(question.signal.name for question in questions)
    assert len(questions) == QUESTIONS == 40
    assert set(counts) == set(BY_NAME)
    assert set(counts.values()) <= {3, 4}
    assert {question.kind for question in questions} == {"name", "hands"}
    assert questions == series(random.Random(seed))
    assert questions != series(random.Random(seed + 1000))


def test_an_answer_in_a_lesson_tells_other_minutes_each_time_but_stays_of_its_kind() -> None:
    """Up to 19 without tens, from 20 with them."""
    heard = {name: {q.pattern for seed in range(30) for q in series(random.Random(seed)) if q.signal.name == name} for name in BY_NAME}
    assert heard["answer"] <= {answer(minutes) for minutes in range(1, 20)}
    assert heard["answer-tens"] <= {answer(minutes) for minutes in range(20, 121)}
    assert len(heard["answer"]) > 10
    assert len(heard["answer-tens"]) > 10
    assert heard["now"] == {BY_NAME["now"].pattern}


def test_ticks_are_played_in_a_row() -> None:
    """One speck alone would be the click."""
    assert played(BY_NAME["tick"]) == (0.04, 0.96, 0.04, 0.96, 0.04)


def test_a_letter_or_the_name_is_an_answer_however_it_is_written() -> None:
    """The letter of another signal is none."""
    fault = asked("fault")
    assert all(fault.is_right(typed) for typed in ("fault", " FAULT ", letter(BY_NAME["fault"]), letter(BY_NAME["fault"]).upper()))
    assert not any(fault.is_right(typed) for typed in ("", "now", letter(BY_NAME["now"]), "faul"))
    hands = LessonQuestion(BY_NAME["fault"], BY_NAME["fault"].pattern, "hands")
    assert hands.is_right("Finish by the second clock,  look later")
    assert not fault.is_right("Finish by the second clock, look later")


def test_it_is_passed_with_38_of_40_and_not_with_37() -> None:
    """95 per cent (contract, section 13)."""
    assert scored().passed
    assert scored(wrong={"yes": 2}).passed
    assert scored(wrong={"yes": 2}).right == 38
    assert not scored(wrong={"yes": 2, "tick": 1}).passed


def test_it_is_not_passed_with_one_now_mistaken() -> None:
    """Though 39 of 40 are right."""
    assert scored(wrong={"now": 1}).right == 39
    assert not scored(wrong={"now": 1}).passed


def test_a_lesson_that_was_left_is_not_passed() -> None:
    """Whatever was right until then; nor is one in which NOW was never asked."""
    score = Score()
    for question in series(random.Random(1))[:39]:
        score = score.after(question, True)
    assert not score.passed
    assert not Score({"tick": 40}, {"tick": 40}).passed
    assert Score().asked == 0
