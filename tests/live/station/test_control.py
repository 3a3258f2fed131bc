"""The local door: lines in and out, and who is left outside."""

import contextlib
import os
import socket
import stat
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.core.errors import NotThere
from monitor.live.inbox import HungUp, Inbox, Request
from monitor.live.station.control import MOST_BEHIND, NAME, Control, StationLink, ask


@pytest.fixture
def door(tmp_path: Path) -> Iterator[tuple[Path, Control, Inbox]]:
    """An open door, deep in a folder whose name is longer than a socket's may be."""
    state = tmp_path / ("deep" * 20) / ("er" * 30)
    state.mkdir(parents=True)
    inbox = Inbox()
    control = Control(state, inbox.put)
    control.open()
    control.start()
    yield state, control, inbox
    control.stop()


def request(inbox: Inbox) -> Request:
    """The next request."""
    message = inbox.get(5.0)
    assert isinstance(message, Request)
    return message


def test_a_question_reaches_the_inbox_and_its_answer_the_asker(door: tuple[Path, Control, Inbox]) -> None:
    """One line each way."""
    state, _, inbox = door
    with StationLink(state) as link:
        link.send({"verb": "status"})
        got = request(inbox)
        assert got.body == {"verb": "status"}
        got.reply({"ok": True, "station": "küche"})
        assert link.receive() == {"ok": True, "station": "küche"}


def test_the_socket_is_for_user_and_group_alone(door: tuple[Path, Control, Inbox]) -> None:
    """No bit for others, from the first moment on."""
    assert stat.S_IMODE((door[0] / NAME).stat().st_mode) == 0o660


def test_a_stranger_is_hung_up_on(tmp_path: Path) -> None:
    """Whoever is not trusted gets no answer, whatever it sends."""
    inbox = Inbox()
    control = Control(tmp_path, inbox.put, allow=lambda peer: False)
    control.open()
    control.start()
    try:
        with pytest.raises(NotThere), StationLink(tmp_path) as link:
            link.ask({"verb": "abandon", "why": "x"})
        assert inbox.get(0.0) is None
    finally:
        control.stop()


def test_what_is_no_request_is_answered_and_not_passed_on(door: tuple[Path, Control, Inbox]) -> None:
    """Status 2."""
    state, _, inbox = door
    with StationLink(state) as link:
        link._end.sendall(b"hello\n[1]\n")
        assert link.receive()["status"] == 2
        assert link.receive()["status"] == 2
    assert inbox.get(0.05) is None


def test_a_line_without_end_is_hung_up_on(door: tuple[Path, Control, Inbox]) -> None:
    """Memory is bounded; the station never heard of it."""
    state, _, inbox = door
    link = StationLink(state)
    with contextlib.suppress(OSError):
        for _ in range(64):
            link._end.sendall(b"x" * 65536)
    with pytest.raises(NotThere):
        link.receive()
    link.close()
    assert inbox.get(0.05) is None


def test_a_follower_that_does_not_read_is_dropped(door: tuple[Path, Control, Inbox]) -> None:
    """`send` says so, and never blocks."""
    state, control, inbox = door
    link = StationLink(state)
    link.send({"verb": "follow"})
    line = request(inbox).line
    body = {"event": "record", "record": {"text": "x" * 10_000}}
    sent = 0
    while control.send(line, body) and sent < 10_000:
        sent += 1
    assert sent < MOST_BEHIND + 200
    assert isinstance(inbox.get(5.0), HungUp)
    link.close()


def test_without_a_station_there_is_one_clear_line(tmp_path: Path) -> None:
    """Exit status 3, for a folder without a socket, one with a dead one, and no folder at all."""
    with pytest.raises(NotThere, match="no station answers"):
        ask(tmp_path, {"verb": "status"})
    dead = socket.socket(socket.AF_UNIX)
    dead.bind(str(tmp_path / NAME))
    dead.close()
    with pytest.raises(NotThere, match="no station answers"):
        ask(tmp_path, {"verb": "status"})
    with pytest.raises(NotThere):
        ask(tmp_path / "nowhere", {"verb": "status"})


def test_a_socket_that_a_dead_station_left_is_replaced(tmp_path: Path) -> None:
    """The lock on the state says that nobody uses it."""
    old = socket.socket(socket.AF_UNIX)
    old.bind(str(tmp_path / NAME))
    old.close()
    control = Control(tmp_path, Inbox().put)
    control.open()
    control.start()
    control.stop()
    assert not (tmp_path / NAME).exists()


def test_the_own_user_is_trusted_and_another_is_not() -> None:
    """By the kernel's word on the other end."""
    from monitor.live.station.control import trusted

    assert trusted((os.getpid(), os.geteuid(), 4_000_000))
    assert trusted((os.getpid(), 4_000_000, os.getegid()))
    assert not trusted((os.getpid(), 4_000_000, 4_000_000))
