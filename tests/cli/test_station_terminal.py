"""The station's own terminal is no part of it: hung up, closed or stopped, it costs lines of log and never a session."""

from __future__ import annotations

import fcntl
import os
import pty
import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.live.station.control import ask
from monitor.live.station.log_lines import LogLines
from tests.cli.rigged import LONG, Rigged


@pytest.fixture
def rigged(tmp_path: Path) -> Iterator[Rigged]:
    """A rig, its station not yet started."""
    rigged = Rigged(tmp_path)
    yield rigged
    if rigged.process is not None:
        rigged.process.kill()
        rigged.process.wait()


def start(rigged: Rigged, out: int, errors: int) -> subprocess.Popen[str]:
    """The station with these two descriptors; up as soon as its socket answers."""
    (rigged.state / "control.sock").unlink(missing_ok=True)
    words = rigged.command("station", "--file", str(rigged.file), "--rig", str(rigged.rig))
    rigged.process = subprocess.Popen(words, stdin=subprocess.DEVNULL, stdout=out, stderr=errors, text=True, start_new_session=True)
    rigged.wait(lambda: (rigged.state / "control.sock").exists() or rigged.process.poll() is not None)  # type: ignore[union-attr]
    return rigged.process


def arm(rigged: Rigged) -> None:
    """A session, as soon as the probes have spoken."""
    assert ask(rigged.state, {"verb": "develop", "recipe": LONG, "file": "r.toml", "waive": "a test"})["ok"]


def dead_pipe() -> int:
    """A pipe that nobody reads any more."""
    read, write = os.pipe()
    os.close(read)
    return write


def full_pipe() -> tuple[int, int]:
    """A pipe whose reader has stopped reading, as `less` does after a page: the next write would block for ever."""
    read, write = os.pipe()
    os.set_blocking(write, False)
    fcntl.fcntl(write, fcntl.F_SETPIPE_SZ, 4096)
    try:
        while True:
            os.write(write, b"x" * 512)
    except BlockingIOError:
        os.set_blocking(write, True)
    return read, write


@pytest.mark.parametrize("terminal", ["closed pipe", "full pipe", "hung up"])
def test_a_dead_terminal_ends_no_session(rigged: Rigged, terminal: str) -> None:
    """It starts, arms, answers after the hang-up, and ends with status 0 at SIGTERM."""
    held: list[int] = []
    if terminal == "closed pipe":
        write = dead_pipe()
    elif terminal == "full pipe":
        read, write = full_pipe()
        held.append(read)
    else:
        master, write = pty.openpty()
        os.close(master)
    process = start(rigged, write, write)
    arm(rigged)
    process.send_signal(signal.SIGHUP)
    assert ask(rigged.state, {"verb": "status"})["session"] is not None
    process.send_signal(signal.SIGTERM)
    assert process.wait(10.0) == 0
    for descriptor in [*held, write]:
        os.close(descriptor)


def test_ctrl_c_is_no_success(rigged: Rigged) -> None:
    """Status 0 with a session running would tell a service manager that all is done: only SIGTERM gives it."""
    null = os.open(os.devnull, os.O_WRONLY)
    process = start(rigged, null, null)
    arm(rigged)
    process.send_signal(signal.SIGINT)
    assert process.wait(10.0) == 130
    os.close(null)


def test_without_any_standard_descriptor_no_log_line_gets_into_a_file(rigged: Rigged) -> None:
    """Started with all three closed, the first file that is opened would otherwise be number 2."""
    words = rigged.command("station", "--file", str(rigged.file), "--rig", str(rigged.rig))
    rigged.process = subprocess.Popen(["/bin/sh", "-c", 'exec "$@" <&- >&- 2>&-', "sh", *words], start_new_session=True)  # type: ignore[assignment]
    rigged.wait(lambda: (rigged.state / "control.sock").exists())
    open_files = [str(Path(f"/proc/{rigged.process.pid}/fd/{n}").readlink()) for n in (0, 1, 2)]  # type: ignore[union-attr]
    assert set(open_files) == {"/dev/null"}, open_files


def test_what_is_said_to_a_pipe_that_is_full_is_dropped_and_nobody_waits() -> None:
    """Bounded, and a line that is not UTF-8 or moves a cursor is made plain."""
    read, write = full_pipe()
    lines = LogLines({1: write, 2: write})
    for number in range(10_000):
        lines.say(f"line {number}")
    assert lines.waiting <= LogLines.MOST
    lines.close(0.0)
    os.close(read)
    read, write = os.pipe()
    lines = LogLines({1: write, 2: write})
    lines.say("lost half: \ud800, cursor: \x1b[2J\nsecond line")
    lines.close(5.0)
    os.close(write)
    said = os.read(read, 4096)
    os.close(read)
    assert said == "lost half: ?, cursor: \ufffd[2J\nsecond line\n".encode()
