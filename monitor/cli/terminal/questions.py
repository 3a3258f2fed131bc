"""The pre-flight's questions on a terminal, one by one. What counts as a yes is the station's to decide.

A trial (press, lift, count) begins at the station before its question is shown, and nothing answers a question that was typed
before it: neither a foot nor a key can be too quick. Tests: tests/cli/terminal/test_questions.py, tests/cli/test_develop.py.
"""

from __future__ import annotations

import select
import shutil
import sys
import textwrap
from collections.abc import Callable, Mapping
from typing import Any, Protocol

from monitor.cli.terminal.refusals import told
from monitor.core.errors import InputWrong
from monitor.core.text.degrees import in_unit_shown

LOOK_EVERY_S, LOOKS = 0.5, 60
"""For half a minute it is looked whether a probe has moved or the switch was pressed; then the person is asked."""
TAPPING_S = 4.0
"""After the last tick so long is waited for the taps."""
COUNTS = ("1", "2", "3", "4")
TRIALS = {
    "press": ("well", "press it now ...", "seen"),
    "lift": ("moved", "its reading should move within half a minute ...", "seen; put it back"),
}
"""By kind of question: what the station's answer says once it is met, what to do, what is said then."""


class Asked(Protocol):
    """The station's end of the line."""

    def ask(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """A request and its answer."""


class Lines(Protocol):
    """What is typed: `ask` takes nothing that was typed before the question, `more` asks again for the same one."""

    def ask(self, question: str) -> str:
        """A question and its answer."""

    def more(self, prompt: str) -> str:
        """The prompt alone once more."""


def write(text: str) -> None:
    """To the terminal, at once."""
    sys.stdout.write(text)
    sys.stdout.flush()


def pause(seconds: float) -> None:
    """Let a person do something."""
    select.select([], [], [], seconds)


def folded(text: str, indent: int = 0) -> str:
    """The text in lines that fit the terminal, never broken inside a word; all but the first stand `indent` cells to the right."""
    width = max(30, shutil.get_terminal_size().columns - 1)
    return textwrap.fill(text, width, subsequent_indent=" " * indent, break_long_words=False, break_on_hyphens=False)


class Questions:
    """The open questions of one answer to `develop`; `ask_all` goes through them."""

    def __init__(self, link: Asked, lines: Lines, say: Callable[[str], None] = write, wait: Callable[[float], None] = pause) -> None:
        self._link = link
        self._lines = lines
        self._say = say
        self._wait = wait

    def ask_all(self, answer: Mapping[str, Any]) -> None:
        """Ask all that is open. Raises `InputWrong` where an answer ends the start, or the person leaves."""
        questions, has_switch = answer["questions"], bool(answer["has_switch"])
        before, of = answer["of"] - len(questions), answer["of"]
        self._say(_head(answer))
        for number, question in enumerate(questions, before + 1):
            place = f"{number}/{of}  "
            head = f"\n{folded(place + in_unit_shown(question['text']), len(place))}\n"
            if question["kind"] == "yes":
                noted = told(self._link.ask({"verb": "answer", "id": question["id"], "yes": self._yes(head)})).get("if_no")
                if noted:  # a no that withholds nothing is told what it means, and only where it was said
                    self._say(f"     {folded(in_unit_shown(str(noted)), 5)}\n")
            elif question["kind"] == "count":
                self._count(question["id"], head, has_switch)
            else:
                self._try(question, head)

    def _yes(self, question: str) -> bool:
        word = self._lines.ask(f"{question}     y or n: ").lower()
        while word not in ("y", "yes", "n", "no"):
            word = self._lines.more("     y or n: ").lower()
        return word in ("y", "yes")

    def _try(self, question: Mapping[str, Any], head: str) -> None:
        met, hint, well = TRIALS[question["kind"]]
        look = {"verb": "answer", "id": question["id"], "phase": "look"}
        while True:
            told(self._link.ask({"verb": "answer", "id": question["id"], "phase": "begin"}))
            self._say(f"{head}     {hint}\n")
            for _ in range(LOOKS):
                self._wait(LOOK_EVERY_S)
                if told(self._link.ask(look)).get(met):
                    self._say(f"     {well}\n")
                    return
            warm = " Is the air as warm as the water? Then warm its tip in your hand." if question["kind"] == "lift" else ""
            if not self._yes(f"     {folded(f'Nothing was seen.{warm} Once more?', 5)}\n"):
                raise InputWrong(f"pre-flight: {question['text']} Nothing was seen; nothing is armed")

    def _count(self, number: str, head: str, has_switch: bool) -> None:
        look = {"verb": "answer", "id": number, "phase": "look"}
        while True:
            self._lines.ask(f"{head}     enter, then count: ")
            head = ""
            begun = told(self._link.ask({"verb": "answer", "id": number, "phase": "begin"}))
            if has_switch:
                self._say("     tap the same number with the foot\n")
                self._wait(float(begun["sounds_for_s"]) + TAPPING_S)
                seen = told(self._link.ask(look))
            else:
                word = self._lines.ask("     how many: ")
                seen = told(self._link.ask({**look, "count": int(word) if word in COUNTS else 0}))
            self._say("     right\n" if seen["right"] else "     wrong: nearer to the head? The three begin again\n")
            if seen["well"]:
                return


def _head(answer: Mapping[str, Any]) -> str:
    from monitor.core.text.quantities import format_duration

    count = len(answer["questions"])
    left, keys = f"{count} question{'' if count == 1 else 's'}", "y is yes, n is no; Ctrl-C ends it, nothing is armed."
    continued = answer.get("continued")
    if continued is None:
        return f"\n{folded(f'Before the film: {left}. {keys}')}\n"
    ago = format_duration(float(int(continued["age_s"])))
    yeses = f"{continued['answered']} of {answer['of']} were answered yes, the last {ago} ago"
    checked = f"The pre-flight goes on where it stopped: {yeses}. What the machine checks has been checked again."
    rest = f"{left} left. {keys} --afresh asks all of them." if count else "No question is left."
    return f"\n{folded(f'{checked} {rest}')}\n"
