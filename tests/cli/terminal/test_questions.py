"""The pre-flight on a terminal: what is shown, in which order, and what goes to the station."""

from collections.abc import Mapping
from typing import Any

import pytest

from monitor.cli.terminal.questions import LOOKS, TAPPING_S, Questions
from monitor.core.errors import InputWrong

Request = Mapping[str, Any]


class Play:
    """A station, a person and a terminal in one: all that happens stands in `happened`, in its order."""

    def __init__(self, typed: list[str], answers: Mapping[str, list[dict[str, Any]]] | None = None) -> None:
        self.happened: list[str] = []
        self.sent: list[Request] = []
        self.waited_s = 0.0
        self._typed = typed
        self._answers = {key: list(told) for key, told in (answers or {}).items()}

    def ask(self, request: Any) -> Any:
        """A request to the station, or a question to the person: both are called so."""
        if isinstance(request, str):
            self.happened.append(request)
            return self._typed.pop(0)
        self.sent.append(request)
        phase = request.get("phase", "answer")
        self.happened.append(f"<{phase} {request['id']}>")
        left = self._answers.get(phase, [])
        return {"ok": True, **(left.pop(0) if len(left) > 1 else left[0] if left else {})}

    def more(self, prompt: str) -> str:
        """Once more."""
        self.happened.append(prompt)
        return self._typed.pop(0)

    def wait(self, seconds: float) -> None:
        """No real time."""
        self.waited_s += seconds

    def go(self, *questions: dict[str, Any], has_switch: bool = True, **more: Any) -> str:
        """All of it; what stood on the terminal."""
        answer = {"questions": questions, "of": len(questions), "has_switch": has_switch, **more}
        Questions(self, self, self.happened.append, self.wait).ask_all(answer)
        return "".join(self.happened)


def question(kind: str, number: str = "x") -> dict[str, Any]:
    """One question."""
    return {"id": number, "kind": kind, "text": f"Is {number} well?", "stops": True}


def test_what_a_no_means_is_told_where_it_was_said() -> None:
    """The question stands alone; below a no that withholds nothing stands what to do about it, below a yes nothing."""
    play = Play(["n", "y"], {"answer": [{"if_no": "Compare them."}, {}]})
    text = play.go(question("yes", "a"), question("yes", "b"))
    assert text.count("Compare them.") == 1
    assert text.index("<answer a>") < text.index("     Compare them.\n") < text.index("2/2")


def test_an_answer_is_taken_with_its_question_in_one_piece() -> None:
    """Number, text and prompt stand there before a key counts; a word that is neither is asked for again."""
    play = Play(["what", "Y", "no"])
    text = play.go(question("yes", "a"), question("yes", "b"))
    assert "\n1/2  Is a well?\n     y or n: " in play.happened
    assert [(r["id"], r["yes"]) for r in play.sent] == [("a", True), ("b", False)]
    assert text.startswith("\nBefore the film: 2 questions. ")


def test_one_that_goes_on_says_so_and_counts_on() -> None:
    """How many were answered, how long ago, that the machine's checks are fresh, and how to ask all of it."""
    play = Play(["y"])
    text = " ".join(play.go(question("yes", "z"), of=21, continued={"answered": 20, "age_s": 131.4}).split())
    assert "goes on where it stopped: 20 of 21 were answered yes, the last 2:11 ago" in text
    assert "checked again" in text
    assert "--afresh" in text
    assert "21/21 Is z well?" in text
    assert "No question is left" in Play([]).go(of=3, continued={"answered": 3, "age_s": 0.4})


@pytest.mark.parametrize(("kind", "key"), [("press", "well"), ("lift", "moved")])
def test_a_trial_begins_before_it_is_shown(kind: str, key: str) -> None:
    """So that a quick foot is not lost; it is looked until it is met."""
    play = Play([], {"look": [{key: None}, {key: None}, {key: "jug"}]})
    play.go(question(kind))
    assert play.happened[1] == "<begin x>"
    assert "Is x well?" in play.happened[2]
    assert play.happened.count("<look x>") == 3
    assert play.happened[-1].strip().startswith("seen")


def test_a_trial_that_shows_nothing_is_tried_again_or_left() -> None:
    """After half a minute; a no ends it."""
    play = Play(["y", "n"], {"look": [{"moved": None}]})
    with pytest.raises(InputWrong, match="Nothing was seen; nothing is armed"):
        play.go(question("lift"))
    assert play.happened.count("<begin x>") == 2
    assert play.happened.count("<look x>") == 2 * LOOKS
    assert sum("as warm as the water" in text for text in play.happened) == 2


def test_the_count_is_tapped_or_typed() -> None:
    """With a switch time is left for the taps; without one the number is asked for while it sounds, and rubbish is no number."""
    looks = [{"right": False, "well": False}, {"right": True, "well": True}]
    play = Play(["", ""], {"begin": [{"sounds_for_s": 3.0}], "look": looks})
    text = play.go(question("count"))
    assert play.waited_s == 2 * (3.0 + TAPPING_S)
    assert text.count("Is x well?") == 1
    assert "wrong: nearer to the head?" in text
    play = Play(["", "9" * 5000, "", "3"], {"begin": [{"sounds_for_s": 3.0}], "look": looks})
    play.go(question("count"), has_switch=False)
    assert [r["count"] for r in play.sent if r["phase"] == "look"] == [0, 3]
    assert play.waited_s == 0.0


def test_a_refusal_of_the_station_ends_it() -> None:
    """With its lines; nothing more is asked."""
    play = Play(["n", "y"], {"answer": [{"ok": False, "status": 2, "lines": ["pre-flight: leader: mix fresh"]}]})
    with pytest.raises(InputWrong, match="mix fresh"):
        play.go(question("yes", "a"), question("yes", "b"))
    assert len(play.sent) == 1


def test_no_line_breaks_inside_a_word(monkeypatch: pytest.MonkeyPatch) -> None:
    """A long question is folded under itself, whatever the terminal's width."""
    monkeypatch.setenv("COLUMNS", "40")
    asked = {**question("yes"), "text": "Do the jugs stand from left to right, each with its own mark to the touch?"}
    play = Play(["y"])
    shown = play.go(asked).splitlines()
    assert all(len(line) < 40 for line in shown)
    assert "1/1  Do the jugs stand from left to" in shown
    assert "     right, each with its own mark to" in shown
