"""The lesson on a terminal: each sound with its name and what the hands do, then the questions; or all questions to a class.

Decides what is shown and what a typed line means; the questions and the score are `monitor.prepare.lesson.quiz`'s.
Tests: tests/cli/terminal/test_teaching.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence

from monitor.cli.terminal.voices import Voice
from monitor.core.session.sounds import SIGNALS
from monitor.prepare.lesson.quiz import PASSED, QUESTIONS, LessonQuestion, Score, letter, played

MENU_EVERY = 10
"""The letters are shown before the first question, then after so many, and when they are asked for."""
TO_WRITE_S = 6.0
"""So long a class has to write its answer down (own choice)."""
ASKS = {"name": "What is it called?", "hands": "What do the hands do?"}


class Left(Exception):
    """The person has left: end of file."""


class Teaching:
    """Plays, asks and keeps the score. `read`: one typed line after a prompt; raises `Left`. `wait`: seconds."""

    def __init__(self, voice: Voice, write: Callable[[str], None], read: Callable[[str], str], wait: Callable[[float], None]) -> None:
        self._voice = voice
        self._write = write
        self._read = read
        self._wait = wait
        self.score = Score()
        self.given = 0
        """How many questions a class has heard."""

    def teach(self) -> None:
        """Each sound once, and again as often as it is wanted."""
        for number, signal in enumerate(SIGNALS, 1):
            self._write(f"\n{number}/{len(SIGNALS)}  {signal.name.upper()}: {signal.heard}\n")
            self._write(f"      It says: {signal.says}.\n      You: {signal.do}.\n")
            self._voice.play(played(signal))
            while word := self._read("      Enter: the next one; r: again; q: to the questions  ").lower():
                if word == "q":
                    return
                self._voice.play(played(signal))

    def ask_all(self, questions: Sequence[LessonQuestion]) -> None:
        """Ask one after the other; `score` is right at any moment. What was mistaken is named and played once more."""
        for number, question in enumerate(questions):
            if number % MENU_EVERY == 0:
                self._write("".join(menu()))
            self._write(f"\n{number + 1}/{len(questions)}  {ASKS[question.kind]}\n")
            self._voice.play(question.pattern)
            right = question.is_right(self._answer(question))
            self.score = self.score.after(question, right)
            if right:
                self._write("      right\n")
            else:
                self._write(f"      no: {question.signal.name.upper()}, {question.signal.do}. Once more:\n")
                self._voice.play(question.pattern)

    def _answer(self, question: LessonQuestion) -> str:
        while True:
            word = self._read("      letter or name; r: again; ?: the letters  ").lower()
            if word == "r":
                self._voice.play(question.pattern)
            elif word == "?":
                self._write("".join(menu()))
            elif word:
                return word

    def ask_class(self, questions: Sequence[LessonQuestion]) -> None:
        """All questions, with time to write after each. Then the key may be shown."""
        self._write("".join(menu()))
        self._write(f"\n{len(questions)} questions, {TO_WRITE_S:.0f} seconds for each: write down number and letter. The key comes last.\n")
        for number, question in enumerate(questions, 1):
            self._write(f"{number}/{len(questions)}  {ASKS[question.kind]}\n")
            self._voice.play(question.pattern)
            self.given = number
            self._wait(TO_WRITE_S)


def menu() -> Iterator[str]:
    """The letters with names and hands, a line each."""
    yield "\n"
    width = max(len(signal.name) for signal in SIGNALS)
    for signal in SIGNALS:
        yield f"  {letter(signal)}  {signal.name:<{width}}  {signal.do}\n"


def key(questions: Sequence[LessonQuestion]) -> Iterator[str]:
    """The right answers, a line each, and what passes."""
    yield "\nThe key:\n"
    for number, question in enumerate(questions, 1):
        yield f"  {number:2}  {letter(question.signal)}  {question.signal.name}: {question.signal.do}\n"
    if len(questions) == QUESTIONS:
        yield f"Passed: {needed()} right, and every NOW.\n"


def needed(count: int = QUESTIONS) -> int:
    """How many must be right."""
    return math.ceil(PASSED * count - 1e-9)


def result(score: Score) -> Iterator[str]:
    """The score in words, a line each: the whole, then each signal that was mistaken."""
    verdict = "passed" if score.passed else "not passed"
    if score.asked < QUESTIONS:
        verdict = f"left after {score.asked} of {QUESTIONS}"
    yield f"{score.right} of {score.asked} right: {verdict} ({needed()} of {QUESTIONS} are wanted, and every NOW)\n"
    for signal in SIGNALS:
        asked, right = score.asked_of.get(signal.name, 0), score.right_of.get(signal.name, 0)
        if right < asked:
            yield f"  {signal.name}: {right} of {asked}\n"
