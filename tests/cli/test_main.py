"""The command line's outermost layer: exit statuses, and plain lines in place of tracebacks."""

from __future__ import annotations

import argparse
import errno
import os
import subprocess
import sys
from collections.abc import Callable
from types import ModuleType

import pytest

import monitor
from monitor.cli.main import COMMANDS, main
from monitor.core.errors import EvenbathError, FileWrong, InputWrong, NotThere, Problem

Runs = Callable[[argparse.Namespace], int]


@pytest.fixture
def command(monkeypatch: pytest.MonkeyPatch) -> Callable[[Runs], None]:
    """Makes `evenbath trial [--count N]` a command that does what the test says."""

    def make(run: Runs) -> None:
        module = ModuleType("trial_command")
        module.configure = lambda parser: parser.add_argument("--count", type=int)  # type: ignore[attr-defined]
        module.run = run  # type: ignore[attr-defined]
        monkeypatch.setitem(sys.modules, "trial_command", module)
        monkeypatch.setitem(COMMANDS, "trial", ("trial_command", "try something"))

    return make


def raising(wrong: BaseException) -> Runs:
    """A command that fails so."""

    def run(args: argparse.Namespace) -> int:
        raise wrong

    return run


@pytest.mark.parametrize(
    ("wrong", "status", "lines"),
    [
        (InputWrong("first", "second"), 2, ["first", "second"]),
        (FileWrong([Problem("r.toml", 3, "what", "allowed: this")]), 2, ["r.toml:3: what; allowed: this"]),
        (NotThere("no station answers"), 3, ["no station answers"]),
        (EvenbathError("ours"), 1, ["ours"]),
        (KeyboardInterrupt(), 130, ["evenbath: stopped by the keyboard"]),
        (OSError(errno.ENOSPC, "full"), 2, ["evenbath trial: cannot be written (full); allowed: a disk with room"]),
    ],
    ids=["input", "file", "not there", "ours", "keyboard", "full disk"],
)
def test_each_kind_of_error_has_its_status_and_its_lines(
    command: Callable[[Runs], None], capfd: pytest.CaptureFixture[str], wrong: BaseException, status: int, lines: list[str]
) -> None:
    """The contract, section 6; nothing on stdout."""
    command(raising(wrong))
    assert main(["trial"]) == status
    out, err = capfd.readouterr()
    assert (out, err.splitlines()) == ("", lines)


def test_a_fault_of_the_program_is_told_without_a_traceback(
    command: Callable[[Runs], None], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Status 1 and two lines; whoever wants the traceback asks for it."""
    command(raising(RuntimeError("lost count")))
    monkeypatch.delenv("EVENBATH_TRACEBACK", raising=False)
    assert main(["trial"]) == 1
    err = capsys.readouterr().err
    assert "RuntimeError: lost count" in err
    assert "Traceback" not in err
    assert err.count("\n") == 2
    monkeypatch.setenv("EVENBATH_TRACEBACK", "1")
    with pytest.raises(RuntimeError):
        main(["trial"])


def test_a_command_ends_with_what_it_returns_or_with_2_for_its_arguments(
    command: Callable[[Runs], None], capsys: pytest.CaptureFixture[str]
) -> None:
    """A wrong argument is one line; an option is never guessed from its beginning."""
    command(lambda args: args.count)
    assert main(["trial", "--count", "3"]) == 3
    for words in (["--count", "three"], ["--cou", "3"], ["more"]):
        assert main(["trial", *words]) == 2
        assert capsys.readouterr().err.count("\n") == 1
    assert main(["trial", "--help"]) == 0


def test_help_and_version_are_answers_and_nothing_at_all_is_not(capsys: pytest.CaptureFixture[str]) -> None:
    """Help lists every command; without a word it is shown, with status 2."""
    for words, status in ((["--help"], 0), (["-h"], 0), ([], 2)):
        assert main(words) == status
        out = capsys.readouterr().out
        assert all(f"\n  {name} " in out for name in COMMANDS)
    for word in ("--version", "-V"):
        assert main([word]) == 0
        assert capsys.readouterr().out == f"evenbath {monitor.__version__}\n"


def test_an_unknown_command_is_told_with_those_there_are(capsys: pytest.CaptureFixture[str]) -> None:
    """Status 2."""
    assert main(["dance"]) == 2
    err = capsys.readouterr().err
    assert err.startswith('evenbath: "dance" is not a command; allowed: new, guide, ')
    assert err.count("\n") == 1


def test_a_reader_that_has_gone_is_no_error() -> None:
    """`evenbath darkness guide | head -1`: status 0, nothing on stderr."""
    words = [sys.executable, "-c", "import sys; from monitor.cli.main import main; sys.exit(main(['darkness', 'guide'] ))"]
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run(words, stdout=writing, stderr=subprocess.PIPE, check=False, timeout=60)
    os.close(writing)
    assert (done.returncode, done.stderr) == (0, b"")


def test_every_command_is_there_and_says_what_it_does(capsys: pytest.CaptureFixture[str]) -> None:
    """Each module of the list can be imported, declares its arguments and has help."""
    for name in COMMANDS:
        assert main([name, "--help"]) == 0
        assert capsys.readouterr().out.startswith(f"usage: evenbath {name}")


def test_a_commands_help_keeps_its_capitals(capsys: pytest.CaptureFixture[str]) -> None:
    """A Pi is not a pi, and N+2 not n+2."""
    for name, words in (("wedge", "times for N-1 to N+2"), ("rig", "without a Pi")):
        assert main([name, "--help"]) == 0
        assert words in " ".join(capsys.readouterr().out.split())
