"""`evenbath lesson sounds`: what is listed, written, played, asked and kept."""

from __future__ import annotations

import io
import json
import random
import sys
import wave
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.cli.main import main
from monitor.core.session.sounds import SIGNALS
from monitor.prepare.lesson.quiz import letter, series
from monitor.prepare.lesson.scores import load_scores
from tests.cli.rigged import LONG, Rigged
from tests.fake_clock import FakeClock

KNOWN = [letter(question.signal) for question in series(random.Random(7))]


class Screen(io.StringIO):
    """A terminal."""

    def isatty(self) -> bool:
        """It is one."""
        return True


class Keys:
    """What is typed, line by line; at `^C` the person ends it, after the last line the keyboard is gone."""

    def __init__(self, typed: list[str]) -> None:
        self._typed = list(typed)

    def readline(self) -> str:
        """The next line."""
        if not self._typed:
            return ""
        line = self._typed.pop(0)
        if line == "^C":
            raise KeyboardInterrupt
        return f"{line}\n"


@pytest.fixture
def screen(monkeypatch: pytest.MonkeyPatch) -> Screen:
    """A terminal, and a clock that jumps."""
    clock = FakeClock()
    monkeypatch.setattr("monitor.live.clock.RealClock", lambda: clock)
    return Screen()


def lesson(screen: Screen, monkeypatch: pytest.MonkeyPatch, typed: list[str], *words: str) -> int:
    """One lesson with the bell, with these lines typed."""
    monkeypatch.setattr(sys, "stdout", screen)
    monkeypatch.setattr(sys, "stdin", Keys(typed))
    return main(["lesson", "sounds", "--seed", "7", *words])


def test_the_list_as_data_is_the_table(capsys: pytest.CaptureFixture[str]) -> None:
    """Name, pulses and gaps, what it says and what the hands do (contract, section 13)."""
    assert main(["lesson", "sounds", "--list", "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)
    assert rows == [{"name": s.name, "on_off_ms": list(s.on_off_ms), "says": s.says, "do": s.do} for s in SIGNALS]
    assert {"name": "ready", "on_off_ms": [900]}.items() <= rows[2].items()


def test_the_list_in_words_tells_every_sound(capsys: pytest.CaptureFixture[str]) -> None:
    """How it sounds, what it says, what the hands do."""
    assert main(["lesson", "sounds", "--list"]) == 0
    text = capsys.readouterr().out
    for signal in SIGNALS:
        assert f"{signal.name}: {signal.heard}\n" in text
        assert f"says: {signal.says}\n    you: {signal.do}\n" in text


def test_each_sound_is_written_as_a_file_with_its_name(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """In a folder that is made where there is none."""
    folder = tmp_path / "new" / "sounds"
    assert main(["lesson", "sounds", "--wav", str(folder)]) == 0
    assert sorted(path.name for path in folder.iterdir()) == sorted(f"{signal.name}.wav" for signal in SIGNALS)
    assert len(capsys.readouterr().out.splitlines()) == len(SIGNALS)
    with wave.open(str(folder / "over.wav")) as sound:
        assert sound.getnframes() / sound.getframerate() == pytest.approx(3.5, abs=0.01)


def test_a_folder_that_cannot_be_written_is_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit status 2."""
    (tmp_path / "sounds").write_text("")
    assert main(["lesson", "sounds", "--wav", str(tmp_path / "sounds")]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1


@pytest.mark.parametrize(
    "words", [(), ("--json",), ("--list", "--wav", "x"), ("--class", "--list"), ("--class", "--wav", "x"), ("--class",)], ids=" ".join
)
def test_options_that_do_not_go_together_and_nothing_that_can_sound_are_one_line(
    words: tuple[str, ...], capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Here is neither a station nor a terminal."""
    monkeypatch.chdir(tmp_path)
    assert main(["lesson", "sounds", *words]) == 2
    said = capsys.readouterr()
    assert len(said.err.splitlines()) == 1
    assert "allowed" in said.err
    assert said.out == ""


def test_a_lesson_by_the_bell_is_taught_asked_scored_and_kept(
    screen: Screen, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """All twelve, all forty; the next lesson begins with what is known of the last."""
    assert lesson(screen, monkeypatch, [""] * len(SIGNALS) + KNOWN, "--state", str(tmp_path)) == 0
    text = screen.getvalue()
    assert text.count("\a") > 12 + 40
    assert "40 of 40 right: passed" in text
    ((day, score),) = load_scores(tmp_path)
    assert (day, score.asked, score.right, score.passed) == ("2026-11-25", 40, 40, True)
    lesson(screen, monkeypatch, ["q"], "--state", str(tmp_path))
    assert "The last lesson, 2026-11-25: 40 of 40 right: passed" in screen.getvalue()


def test_ctrl_c_keeps_what_was_answered(screen: Screen, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Exit status 130; five answers, one of them wrong."""
    assert lesson(screen, monkeypatch, ["q", *KNOWN[:4], "wrong", "^C"], "--state", str(tmp_path)) == 130
    assert "4 of 5 right: left after 5 of 40" in screen.getvalue()
    ((_, score),) = load_scores(tmp_path)
    assert (score.asked, score.right) == (5, 4)


def test_leaving_keeps_it_too_and_leaving_at_once_keeps_nothing(
    screen: Screen, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """End of file: one line, exit status 2."""
    assert lesson(screen, monkeypatch, ["q", *KNOWN[:3]], "--state", str(tmp_path)) == 2
    assert [score.asked for _, score in load_scores(tmp_path)] == [3]
    assert lesson(screen, monkeypatch, [], "--state", str(tmp_path)) == 2
    assert len(load_scores(tmp_path)) == 1
    assert len(capsys.readouterr().err.splitlines()) == 2


def test_a_class_is_played_to_from_one_start_and_gets_the_key(screen: Screen, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Nothing is typed, nothing is kept."""
    assert lesson(screen, monkeypatch, [], "--class", "--state", str(tmp_path)) == 0
    text = screen.getvalue()
    assert "40/40" in text
    assert text.endswith("Passed: 38 right, and every NOW.\n")
    assert load_scores(tmp_path) == ()


@pytest.fixture
def rigged(tmp_path: Path) -> Iterator[Rigged]:
    """A station that runs."""
    rigged = Rigged(tmp_path)
    rigged.start()
    yield rigged
    rigged.kill()


def test_the_running_station_plays_it_and_its_state_keeps_the_score(rigged: Rigged, capsys: pytest.CaptureFixture[str]) -> None:
    """Three ticks are heard at the pins, the first sound; then a session is armed, and the next lesson is refused."""
    words = ("lesson", "sounds", "--file", str(rigged.file), "--seed", "7")
    done = rigged.run(*words)
    assert done.returncode == 2, done.stderr
    assert "1/12  TICK" in done.stdout
    edges = [edge for edge in rigged.edges() if edge["output"] == "sounder"]
    assert [edge["on"] for edge in edges] == [True, False] * 3
    rigged.arm(LONG)
    refused = rigged.run(*words)
    assert refused.returncode == 2
    assert len(refused.stderr.splitlines()) == 1
    assert "armed or running" in refused.stderr
