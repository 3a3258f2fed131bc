"""The pre-flight's questions on a terminal, one by one. What counts as a yes is the station's to decide.

Tests: tests/cli/test_develop.py.
"""

from __future__ import annotations

import select
import sys
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from monitor.cli.terminal.refusals import told
from monitor.core.errors import InputWrong

if TYPE_CHECKING:
    from monitor.live.station.control import StationLink

LIFT_TRIES = 60


def ask_person(link: StationLink, answer: Mapping[str, Any]) -> None:
    """Ask all that is in the answer to `develop`. Raises `InputWrong` where an answer ends the start."""
    questions = answer["questions"]
    sys.stdout.write(f"\nBefore the film: {len(questions)} questions. y is yes, n is no; Ctrl-C ends it, nothing is armed.\n")
    for number, question in enumerate(questions, 1):
        sys.stdout.write(f"\n{number}/{len(questions)}  {question['text']}\n")
        if question["kind"] == "yes":
            told(link.ask({"verb": "answer", "id": question["id"], "yes": _yes()}))
        elif question["kind"] == "press":
            _wait_for(link, question, "well", "press it now")
        elif question["kind"] == "lift":
            _wait_for(link, question, "moved", "its reading should move within half a minute")
        else:
            _count(link, question, bool(answer["has_switch"]))


def _yes() -> bool:
    while True:
        word = _line("     y or n: ").lower()
        if word in ("y", "yes"):
            return True
        if word in ("n", "no"):
            return False


def _line(prompt: str) -> str:
    sys.stdout.write(prompt)
    sys.stdout.flush()
    line = sys.stdin.readline()
    if not line:
        raise InputWrong("the pre-flight was left without an answer; nothing is armed")
    return line.strip()


def _pause(seconds: float) -> None:
    select.select([], [], [], seconds)


def _wait_for(link: StationLink, question: Mapping[str, Any], key: str, hint: str) -> None:
    number = question["id"]
    while True:
        told(link.ask({"verb": "answer", "id": number, "phase": "begin"}))
        sys.stdout.write(f"     {hint} ...\n")
        for _ in range(LIFT_TRIES):
            _pause(0.5)
            seen = told(link.ask({"verb": "answer", "id": number, "phase": "look"}))
            if seen.get(key):
                sys.stdout.write("     seen\n")
                return
        if not _again():
            raise InputWrong(f"pre-flight: {question['text']} Nothing was seen; nothing is armed")


def _again() -> bool:
    sys.stdout.write("     nothing seen. Once more?\n")
    return _yes()


def _count(link: StationLink, question: Mapping[str, Any], has_switch: bool) -> None:
    while True:
        _line("     enter, then count: ")
        begun = told(link.ask({"verb": "answer", "id": question["id"], "phase": "begin"}))
        look: dict[str, Any] = {"verb": "answer", "id": question["id"], "phase": "look"}
        if has_switch:
            sys.stdout.write("     tap the same number with the foot\n")
            sys.stdout.flush()
            _pause(float(begun["sounds_for_s"]) + 4.0)
        else:
            _pause(float(begun["sounds_for_s"]) + 0.5)
            word = _line("     how many: ")
            look["count"] = int(word) if word.isdigit() else 0
        seen = told(link.ask(look))
        sys.stdout.write("     right\n" if seen["right"] else "     wrong: nearer to the head? The three begin again\n")
        if seen["well"]:
            return
