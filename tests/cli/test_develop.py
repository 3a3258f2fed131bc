"""`evenbath develop` and `abandon`: what is refused, what is asked, and what a terminal shows in the dark."""

import os
import pty
import select
import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from monitor.cli.main import main
from monitor.core.errors import InputWrong
from tests.cli.rigged import AS_IT_WAS, DARK, LONG, QUICK, Rigged

LOADED = LONG.replace("[[stage]]", '[[stage]]\nname = "load"\nrole = "load"\n[[stage]]', 1)


@pytest.fixture
def rigged(tmp_path: Path) -> Iterator[Rigged]:
    """A station that runs."""
    rigged = Rigged(tmp_path)
    rigged.start()
    yield rigged
    if rigged.process is not None:
        rigged.kill()


@pytest.fixture(scope="module")
def idle(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Rigged]:
    """A station that runs and on which nothing is armed; shared by the tests that are refused."""
    rigged = Rigged(tmp_path_factory.mktemp("idle"))
    rigged.start()
    yield rigged
    rigged.kill()


def test_detached_it_prints_the_name_and_nothing_else(rigged: Rigged) -> None:
    """Remarks go to stderr; the reason of the waiver into the journal."""
    done = rigged.develop()
    name = done.stdout.removeprefix("armed: ").strip()
    assert done.stdout == f"armed: {name}\n"
    assert rigged.records(name)[0]["waived"] == "a test"
    assert "not compared" in done.stderr


LEDGER = LONG.replace('role = "develop"', 'role = "develop"\nsolution = "developer A"').replace(
    'vessel = "lidded tank"', 'vessel = "lidded tank"\n[contents]\narea_units = 1.0'
)


def test_the_fourth_film_through_a_developer_gets_the_time_that_the_ledger_asks_for(rigged: Rigged) -> None:
    """Ten minutes would be 23 % short, and a record of them would read 100 %: now 13:00 where agreed, else the record tells it."""
    for words in (["add", "developer A", "--volume", "1 l", "--longer", "10"], ["use", "developer A", "--units", "3"]):
        assert main(["bottle", *words, "--state", str(rigged.state)]) == 0
    for option, factor in (("apply", 1.3), ("ignore", 1.0)):
        done = rigged.develop(LEDGER, "--ledger", option)
        assert "note: developer A: time x 1.3 (3 units through it, 10 % each), mixed today" in done.stderr
        opening = rigged.records(done.stdout.removeprefix("armed: ").strip())[0]
        assert opening["recipe"]["stage"][0].get("factor", 1.0) == pytest.approx(factor)
        (row,) = opening["solutions"]
        assert (row["solution"], row["time_factor"], row["applied"]) == ("developer A", pytest.approx(1.3), option == "apply")
        rigged.run("abandon", "--file", str(rigged.file), "--why", "a test")


def test_a_second_one_is_refused_and_abandon_makes_room(rigged: Rigged) -> None:
    """Exit status 2; the first is untouched until somebody ends it."""
    name = rigged.arm()
    again = rigged.develop()
    assert again.returncode == 2
    assert name in again.stderr
    assert "evenbath status" in again.stderr
    assert "abandon" not in again.stderr
    assert rigged.run("abandon", "--file", str(rigged.file), "--why", "the phone rang").stdout == f"abandoned: {name}\n{AS_IT_WAS}"
    assert rigged.records(name)[-1]["why"] == "the phone rang"
    assert rigged.arm() != name


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (["--detach"], "--waive"),
        ([], "no terminal"),
        (["--detach", "--waive", " "], "--waive without words"),
        (["--detach", "--waive", "x", "--pour-c", "20"], "20 C"),
        (["--detach", "--waive", "x", "--pour-c", "200 C"], "out of range"),
        (["--detach", "--waive", "x", "--override-gate", ""], "--override-gate"),
    ],
)
def test_wrong_words_are_refused(idle: Rigged, more: list[str], says: str) -> None:
    """Exit status 2, one line, nothing armed."""
    done = idle.run("develop", idle.recipe(), "--file", str(idle.file), *more)
    assert done.returncode == 2
    assert says in done.stderr
    assert not list((idle.state / "journals").iterdir())


def test_a_wrong_recipe_is_refused_before_the_station_is_asked(tmp_path: Path) -> None:
    """With file and line; so is one without a station, with status 3."""
    rigged = Rigged(tmp_path)
    done = rigged.develop(QUICK.replace('"0:06"', '"6"'))
    assert done.returncode == 2
    assert "recipe.toml:8: " in done.stderr
    done = rigged.develop()
    assert done.returncode == 3
    assert "no station answers" in done.stderr
    assert rigged.run("abandon", "--file", str(rigged.file), "--why", "x").returncode == 3


def test_a_probe_that_does_not_answer_withholds_the_start(rigged: Rigged) -> None:
    """Exit status 3, whatever is waived."""
    rigged.show("jug", None)
    rigged.wait(lambda: '"quality": "missing"' in rigged.run("status", "--file", str(rigged.file), "--json").stdout)
    rigged.pause(5.0)
    done = rigged.develop()
    assert done.returncode == 3
    assert "jug" in done.stderr


class Terminal:
    """`evenbath develop` in a terminal of its own."""

    def __init__(self, rigged: Rigged, *words: str, command: str = "develop") -> None:
        self._rigged = rigged
        self._master, slave = pty.openpty()
        self.process = subprocess.Popen(rigged.command(command, *words), stdin=slave, stdout=slave, stderr=slave, start_new_session=True)
        os.close(slave)
        self.seen = b""

    def read(self, seconds: float = 0.05) -> bytes:
        """What has come."""
        while select.select([self._master], [], [], seconds)[0]:
            try:
                data = os.read(self._master, 65536)
            except OSError:
                break
            self.seen += data
        return self.seen

    def until(self, words: bytes) -> None:
        """Until these words stand there."""
        self._rigged.wait(lambda: words in self.read())

    def type(self, keys: bytes) -> None:
        """Keys."""
        os.write(self._master, keys)

    def close(self) -> None:
        """Whatever it is doing."""
        self.process.kill()
        self.process.wait()
        os.close(self._master)


def test_a_lidded_session_is_followed_to_its_end(rigged: Rigged) -> None:
    """Line by line, with what comes next."""
    terminal = Terminal(rigged, rigged.recipe(), "--file", str(rigged.file), "--waive", "a test")
    try:
        terminal.until(b"armed: ")
        name = terminal.seen.split(b"armed: ")[1].split()[0].decode()
        rigged.hold(name)
        terminal.until(b"develop")
        rigged.run("abandon", "--file", str(rigged.file), "--why", "seen enough")
        rigged.wait(lambda: terminal.read() is not None and terminal.process.poll() is not None)
        assert terminal.process.returncode == 0
        end = terminal.read().decode().split("is over: seen enough")[1]
        assert "quick (live): seen enough." in end
        assert f"Journal: {rigged.journal(name)}" in end
        assert f"Next: evenbath review {name} --file {rigged.file}" in end
    finally:
        terminal.close()


def test_in_the_dark_the_terminal_stays_black_whatever_happens(rigged: Rigged) -> None:
    """Keys, Ctrl-C, faults, a killed station: not one byte until the session is over and a key is pressed."""
    terminal = Terminal(rigged, rigged.recipe(DARK), "--file", str(rigged.file), "--waive", "a test")
    try:
        terminal.until(b"\x1b[?25l")
        name = terminal.seen.split(b"armed: ")[1].split()[0].decode()
        before = len(terminal.read(0.2))
        rigged.hold(name)
        terminal.type(b" \r\x03q")
        rigged.show("jug", None)
        rigged.wait(lambda: len(rigged.records(name, kind="reading", quality="missing")) > 1)
        rigged.kill()
        rigged.pause(1.5)
        rigged.start()
        rigged.wait(lambda: bool(rigged.records(name, kind="session", event="resume")))
        assert len(terminal.read(0.2)) == before
        assert terminal.process.poll() is None
        rigged.run("abandon", "--file", str(rigged.file), "--why", "the test is over")
        rigged.pause(2.5)
        assert len(terminal.read(0.2)) == before
        terminal.type(b" ")
        rigged.wait(lambda: terminal.read() is not None and terminal.process.poll() is not None)
        assert len(terminal.seen) > before
    finally:
        terminal.close()


def test_while_a_reel_is_loaded_the_terminal_is_black_and_the_view_comes_after(rigged: Rigged) -> None:
    """Not one byte from armed to the press that begins the next stage, stray tap and lid included; then Ctrl-C ends the view alone."""
    terminal = Terminal(rigged, rigged.recipe(LOADED), "--file", str(rigged.file), "--waive", "a test")
    try:
        terminal.until(b"\x1b[?25l")
        assert b"goes dark" in terminal.seen
        name = terminal.seen.split(b"armed: ")[1].split()[0].decode()
        before = len(terminal.read(0.2))
        rigged.hold(name)
        terminal.type(b" \r\x03q")
        terminal.process.send_signal(signal.SIGINT)
        in_words = Terminal(rigged, "--file", str(rigged.file), command="status")
        rigged.wait(lambda: in_words.read() is not None and in_words.process.poll() is not None)
        assert len(in_words.read().splitlines()) == 1
        assert b"film or paper may be bare" in in_words.seen
        in_words.close()
        piped = rigged.run("status", "--file", str(rigged.file)).stdout
        assert "jug" in piped
        assert "a press of a second ends it" in piped
        rigged.pause(1.5)
        assert len(terminal.read(0.2)) == before
        assert terminal.process.poll() is None
        rigged.tap()
        rigged.press(1.2)
        rigged.wait(lambda: bool(rigged.records(name, kind="tap", meaning="lid on")))
        rigged.pause(1.5)
        assert len(terminal.read(0.2)) == before
        rigged.press(1.2)
        terminal.until(b"DEVELOP")
        assert rigged.records(name, kind="stage", event="begin", stage=2)
        terminal.process.send_signal(signal.SIGINT)
        rigged.wait(lambda: terminal.read() is not None and terminal.process.poll() is not None)
        assert terminal.process.returncode == 130
        last = terminal.seen.rsplit(b"DEVELOP", 1)[1]
        assert name.encode() in last
        assert b"evenbath status" in last
        assert b"evenbath abandon" in last
        assert not rigged.records(name, kind="session", event="close")
    finally:
        terminal.close()


def test_the_keyboard_is_the_switch_where_there_is_none(tmp_path: Path) -> None:
    """In the light: space begins."""
    rigged = Rigged(tmp_path, switch=False)
    rigged.start()
    terminal = Terminal(rigged, rigged.recipe(LONG), "--file", str(rigged.file), "--waive", "a test")
    try:
        terminal.until(b"space is a tap")
        name = terminal.seen.split(b"armed: ")[1].split()[0].decode()
        terminal.type(b" ")
        rigged.wait(lambda: bool(rigged.records(name, kind="stage", event="begin")))
        assert rigged.records(name, kind="tap", meaning="begin")
    finally:
        terminal.close()
        rigged.kill()


def test_the_pre_flight_asks_in_the_terminal_and_a_no_ends_it(rigged: Rigged) -> None:
    """Nothing is armed."""
    terminal = Terminal(rigged, rigged.recipe(), "--file", str(rigged.file))
    try:
        terminal.until(b"y or n: ")
        terminal.type(b"y\n")
        rigged.wait(lambda: terminal.read().count(b"y or n: ") > 1)
        terminal.type(b"n\n")
        rigged.wait(lambda: terminal.read() is not None and terminal.process.poll() is not None)
        assert terminal.process.returncode == 2
        assert b"pre-flight" in terminal.read()
        assert b"asks only what was not yet answered yes" in terminal.read()
        assert not list((rigged.state / "journals").iterdir())
    finally:
        terminal.close()


def test_an_interrupted_pre_flight_goes_on_where_it_stopped(rigged: Rigged) -> None:
    """Ctrl-C arms nothing and says so; started again it counts on; what was typed ahead answers nothing."""
    words = (rigged.recipe(), "--file", str(rigged.file))
    terminal = Terminal(rigged, *words)
    try:
        terminal.until(b"1/")
        terminal.type(b"y\ny\ny\n")
        terminal.until(b"does not count: y y")
        terminal.process.send_signal(signal.SIGINT)
        rigged.wait(lambda: terminal.read() is not None and terminal.process.poll() is not None)
        assert terminal.process.returncode == 130
        assert b"Nothing is armed" in terminal.read()
    finally:
        terminal.close()
    again = Terminal(rigged, *words)
    try:
        again.until(b"y or n: ")
        assert b"goes on where it stopped: 1 of " in again.seen
        assert b"\n2/" in again.seen
        assert b"1/" not in again.seen.split(b"checked again")[1].split(b"2/")[0]
    finally:
        again.close()
    assert not list((rigged.state / "journals").iterdir())


def test_a_start_that_is_put_off_for_lit_pages_is_said_and_asked_for_again(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """After the time that the station names; and a station that puts it off for ever is not asked for ever."""
    from monitor.cli import develop
    from monitor.cli.terminal import questions

    later = {"ok": False, "status": 2, "wait_s": 20.0, "lines": ["a page shows its light"]}
    answers = [later, {"ok": True, "armed": "S"}]
    waited: list[float] = []
    monkeypatch.setattr(questions, "pause", waited.append)

    class Link:
        def ask(self, request: Any) -> dict[str, Any]:
            return dict(answers.pop(0) if len(answers) > 1 else answers[0])

    assert develop._armed_or_asked(Link(), {"verb": "arm"})["armed"] == "S"
    assert waited == [20.0]
    assert "a page shows its light" in capsys.readouterr().err
    answers[:] = [later]
    with pytest.raises(InputWrong):
        develop._armed_or_asked(Link(), {"verb": "arm"})
    assert len(waited) == 1 + develop.MOST_PUT_OFF
