"""Nothing that was typed before its question answers it. On a real pseudo-terminal."""

import os
import pty
import select
import termios
from collections.abc import Iterator

import pytest

from monitor.cli.terminal.keyboard import MOST_SHOWN, AnswerLines
from monitor.core.errors import InputWrong

PATIENCE_S = 20.0


class Typist:
    """Somebody at a pseudo-terminal; `said` is what the program wrote. Types the answers `soon` when the prompt is written."""

    def __init__(self) -> None:
        self.master, self.slave = pty.openpty()
        self.said: list[str] = []
        self.soon: list[bytes] = []
        self.lines = AnswerLines(self.slave, self._write)

    def type(self, keys: bytes) -> None:
        """Type, and wait until the terminal has taken it, which its echo shows."""
        os.write(self.master, keys)
        seen, last = b"", keys.strip(b"\n\x04")[-1:]
        while last not in seen:
            assert select.select([self.master], [], [], PATIENCE_S)[0], "no echo came"
            seen += os.read(self.master, 4096)

    def _write(self, text: str) -> None:
        self.said.append(text)
        if text.endswith(": ") and self.soon:
            self.type(self.soon.pop(0))

    def close(self) -> None:
        """Both ends."""
        os.close(self.master)
        os.close(self.slave)


@pytest.fixture
def typist() -> Iterator[Typist]:
    """At a terminal of its own."""
    made = Typist()
    yield made
    made.close()


@pytest.mark.parametrize("early", [b"y\n", b"y\ny\ny\n", b"y", b"yes\nn", b"\x04y\n"])
def test_what_was_typed_before_the_question_never_answers_it(typist: Typist, early: bytes) -> None:
    """Whole lines, several, a line without its end; it is said, and the answer typed after the question counts."""
    typist.type(early)
    typist.soon = [b"n\n"]
    assert typist.lines.ask("alive? y or n: ") == "n"
    told, question = typist.said
    assert "does not count: y" in told
    assert question == "alive? y or n: "


def test_the_lines_of_a_paste_answer_the_first_question_alone(typist: Typist) -> None:
    """The rest was typed before the next question stood there."""
    typist.soon = [b"y\ny\ny\n", b"n\n"]
    assert typist.lines.ask("first: ") == "y"
    assert typist.lines.ask("second: ") == "n"
    assert [text for text in typist.said if "does not count" in text] == [
        "     typed before this question stood here, so it does not count: y y\n"
    ]


def test_asked_once_more_it_takes_the_line_that_waits(typist: Typist) -> None:
    """The question stood there already when it was typed."""
    typist.soon = [b"what\ny\n"]
    assert typist.lines.ask("alive? y or n: ") == "what"
    assert typist.lines.more("y or n: ") == "y"


def test_empty_lines_are_taken_away_in_silence_and_long_ones_cut(typist: Typist) -> None:
    """Nothing that could move a cursor is written back."""
    typist.type(b"x\n")
    typist.soon = [b"y\n"]
    typist.lines.ask("a: ")
    os.write(typist.master, b"\n\n")
    typist.type(b"\x1b[2Jz" * 20 + b"\n")
    typist.soon = [b"y\n"]
    typist.lines.ask("b: ")
    told = typist.said[2]
    assert "\x1b" not in told
    assert len(told) < MOST_SHOWN + 80
    assert told.endswith(" ...\n")


def test_the_terminal_is_left_as_it_was(typist: Typist) -> None:
    """Line by line, with its echo."""
    before = termios.tcgetattr(typist.slave)
    typist.soon = [b"y\n"]
    typist.lines.ask("a: ")
    assert termios.tcgetattr(typist.slave) == before


def test_whoever_leaves_has_answered_nothing(typist: Typist) -> None:
    """End of file."""
    os.write(typist.master, b"\x04")
    with pytest.raises(InputWrong, match="nothing is armed"):
        typist.lines.more("a: ")
