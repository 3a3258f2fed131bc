"""The lesson on a terminal, with a person who types and a voice that only remembers."""

from __future__ import annotations

import random
from collections.abc import Sequence

import pytest

from monitor.cli.terminal.teaching import MENU_EVERY, TO_WRITE_S, Left, Teaching, key, menu, needed, result
from monitor.core.session.sounds import SIGNALS
from monitor.prepare.lesson.quiz import LessonQuestion, Score, letter, played, series

QUESTIONS = series(random.Random(7))


class Evening:
    """A voice, a keyboard and a screen. `typed`: the lines in their order; after them the person leaves."""

    def __init__(self, *typed: str | BaseException) -> None:
        self.text = ""
        self.heard: list[tuple[float, ...]] = []
        self.waited_s = 0.0
        self._typed = list(typed)
        self.teaching = Teaching(self, self.write, self.read, self.wait)

    def play(self, pattern: Sequence[float]) -> None:
        """Remember it."""
        self.heard.append(tuple(pattern))

    def write(self, text: str) -> None:
        """The screen."""
        self.text += text

    def read(self, prompt: str) -> str:
        """The keyboard."""
        self.text += prompt
        if not self._typed:
            raise Left
        word = self._typed.pop(0)
        if isinstance(word, BaseException):
            raise word
        return word

    def wait(self, seconds: float) -> None:
        """No real time."""
        self.waited_s += seconds


def right(questions: Sequence[LessonQuestion]) -> list[str]:
    """What somebody types who knows them all."""
    return [letter(question.signal) for question in questions]


def test_each_sound_is_named_and_played_with_what_the_hands_do() -> None:
    """In the order of the table; any letter plays it again."""
    evening = Evening("", "r", *[""] * (len(SIGNALS) - 1))
    evening.teaching.teach()
    assert evening.heard == [played(SIGNALS[0]), played(SIGNALS[1]), *(played(signal) for signal in SIGNALS[1:])]
    for signal in SIGNALS:
        assert f"{signal.name.upper()}: {signal.heard}" in evening.text
        assert f"You: {signal.do}." in evening.text


def test_whoever_knows_them_goes_on_to_the_questions() -> None:
    """With q."""
    evening = Evening("q")
    evening.teaching.teach()
    assert len(evening.heard) == 1


def test_forty_right_answers_pass() -> None:
    """Each question is played once, and the letters are shown four times."""
    evening = Evening(*right(QUESTIONS))
    evening.teaching.ask_all(QUESTIONS)
    assert evening.teaching.score.passed
    assert evening.heard == [question.pattern for question in QUESTIONS]
    assert evening.text.count("".join(menu())) == 40 // MENU_EVERY
    assert "".join(result(evening.teaching.score)) == "40 of 40 right: passed (38 of 40 are wanted, and every NOW)\n"


def test_what_was_mistaken_is_named_and_played_once_more() -> None:
    """Asking to hear it again, or for the letters, is no answer."""
    question = LessonQuestion(SIGNALS[3], SIGNALS[3].pattern, "hands")
    evening = Evening("r", "?", "", "a")
    evening.teaching.ask_all([question])
    assert len(evening.heard) == 3
    assert "What do the hands do?" in evening.text
    assert f"no: NOW, {SIGNALS[3].do}." in evening.text
    assert evening.teaching.score == Score({"now": 1}, {"now": 0})


@pytest.mark.parametrize("end", [KeyboardInterrupt(), Left()])
def test_what_was_answered_before_somebody_left_is_kept(end: BaseException) -> None:
    """The score holds at any moment."""
    evening = Evening(*right(QUESTIONS)[:7], end)
    with pytest.raises(type(end)):
        evening.teaching.ask_all(QUESTIONS)
    assert (evening.teaching.score.asked, evening.teaching.score.right) == (7, 7)
    assert "left after 7 of 40" in "".join(result(evening.teaching.score))


def test_a_class_hears_all_questions_from_one_start_and_then_has_the_key() -> None:
    """Nobody types; there is time to write after each; the key names every sound in its order."""
    evening = Evening()
    evening.teaching.ask_class(QUESTIONS)
    assert evening.heard == [question.pattern for question in QUESTIONS]
    assert evening.waited_s == 40 * TO_WRITE_S
    assert evening.teaching.given == 40
    assert not any(f": {question.signal.do}" in evening.text for question in QUESTIONS)
    lines = "".join(key(QUESTIONS)).splitlines()
    for number, question in enumerate(QUESTIONS, 1):
        assert f"  {number:2}  {letter(question.signal)}  {question.signal.name}: {question.signal.do}" in lines
    assert lines[-1] == "Passed: 38 right, and every NOW."


def test_the_score_tells_each_sound_that_was_mistaken() -> None:
    """And none of the others."""
    score = Score({"now": 3, "fault": 4, "tick": 33}, {"now": 3, "fault": 2, "tick": 33})
    assert "".join(result(score)) == "38 of 40 right: passed (38 of 40 are wanted, and every NOW)\n  fault: 2 of 4\n"
    assert needed(40) == 38
