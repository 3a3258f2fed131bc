"""Whoever floods the local door fills no memory, delays no tap, and keeps nobody from ending the session."""

from __future__ import annotations

import contextlib
import json
import os
import select
import socket
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from monitor.cli.main import main
from monitor.core.errors import NotThere
from monitor.core.probes.readings import Reading
from monitor.live.inbox import Edge, HungUp, Inbox, Request, Sampled, Stop
from monitor.live.station.control import MOST_LINES, NEWCOMERS, Control, StationLink, ask
from monitor.live.station.probes_now import Told
from tests.cli.rigged import Rigged

PATIENCE_S = 5.0


class Door:
    """A control socket, and its inbox in the test's hands."""

    def __init__(self, state: Path) -> None:
        self.state = state
        self.inbox = Inbox()
        self.control = Control(state, self.inbox.put)
        self.control.open()
        self.control.start()
        self.links: list[StationLink] = []

    def link(self) -> StationLink:
        """One more connection."""
        self.links.append(StationLink(self.state, PATIENCE_S))
        return self.links[-1]

    def request(self) -> Request:
        """The next request; connections that were closed are passed over."""
        while True:
            message = self.inbox.get(PATIENCE_S)
            if not isinstance(message, HungUp):
                assert isinstance(message, Request), message
                return message

    def fill(self) -> list[StationLink]:
        """Take every line: each has asked once and been answered."""
        taken = [self.link() for _ in range(MOST_LINES)]
        for link in taken:
            link.send({"verb": "status"})
            self.request().reply({"ok": True})
            assert link.receive()["ok"]
        return taken


@pytest.fixture
def door(tmp_path: Path) -> Iterator[Door]:
    """An open one."""
    door = Door(tmp_path)
    yield door
    for link in door.links:
        link.close()
    door.control.stop()


def test_of_a_connection_one_request_waits_however_many_it_sends(door: Door) -> None:
    """The others stay with whoever sent them, until the first is answered."""
    link = door.link()
    link._end.sendall(b'{"verb":"status"}\n' * 500)
    first = door.request()
    assert door.inbox.get(0.1) is None
    for _ in range(500):
        first.reply({"ok": True})
        assert link.receive() == {"ok": True}
        if _ < 499:
            first = door.request()
    assert door.inbox.get(0.05) is None


def test_one_line_is_kept_for_abandon(door: Door) -> None:
    """All are taken, by connections that say nothing more: the next is told so, but may end the session."""
    door.fill()
    told = door.link().ask({"verb": "status"})
    assert (told["ok"], told["status"]) == (False, 3)
    assert len(told["lines"]) == 1
    assert "abandon" in told["lines"][0]
    last = door.link()
    last.send({"verb": "abandon", "why": "flooded"})
    got = door.request()
    assert got.body == {"verb": "abandon", "why": "flooded"}
    got.reply({"ok": True, "session": "x"})
    assert last.receive()["session"] == "x"


def test_connections_that_say_nothing_keep_nobody_out(door: Door) -> None:
    """Sixty of them: the oldest go, each after it has had time to speak."""
    silent = [door.link() for _ in range(60)]
    asker = door.link()
    asker.send({"verb": "status"})
    door.request().reply({"ok": True})
    assert asker.receive()["ok"]
    assert len(door.control.open_lines) <= NEWCOMERS + 1
    with pytest.raises(NotThere):
        silent[0].receive()


def test_a_line_is_free_again_when_its_connection_goes(door: Door) -> None:
    """And the station hears of it."""
    taken = door.fill()
    taken[0].close()
    hung_up = door.inbox.get(PATIENCE_S)
    assert isinstance(hung_up, HungUp)
    link = door.link()
    link.send({"verb": "status"})
    door.request().reply({"ok": True})
    assert link.receive()["ok"]


def test_who_asks_and_runs_away_a_thousand_times_fills_no_inbox(door: Door) -> None:
    """A line is taken until the station has answered, there or not."""
    for _ in range(300):
        with contextlib.suppress(NotThere), StationLink(door.state, PATIENCE_S) as link:
            link.send({"verb": "status"})
    waiting = []
    while (message := door.inbox.get(0.2)) is not None:
        waiting.append(message)
    assert sum(isinstance(m, Request) for m in waiting) <= MOST_LINES
    for message in waiting:
        if isinstance(message, Request):
            message.reply({"ok": True})
    link = door.link()
    link.send({"verb": "status"})
    door.request().reply({"ok": True})
    assert link.receive()["ok"]


def test_lines_without_end_share_a_bounded_room(door: Door) -> None:
    """Twelve connections of nearly half a megabyte each: somebody has to go, and memory stays."""
    for _ in range(12):
        link = door.link()
        with contextlib.suppress(OSError):
            link._end.sendall(b"x" * 400_000)
    asker = door.link()
    asker.send({"verb": "status"})
    door.request().reply({"ok": True})
    assert asker.receive()["ok"]
    assert sum(len(c.incoming) for c in door.control.open_lines) <= 2 << 20


STRANGE = {
    "a lone surrogate": rb'{"verb":"status","x":"\ud800"}',
    "infinity": b'{"verb":"readings","minutes":1e999}',
    "no number": b'{"verb":"readings","minutes":NaN}',
    "401 digits": b'{"verb":"readings","minutes":1' + b"0" * 400 + b"}",
    "5000 digits": b'{"verb":"readings","minutes":1' + b"0" * 5000 + b"}",
    "deep": b'{"verb":"status","x":' + b"[" * 100 + b"]" * 100 + b"}",
    "very deep": b"[" * 200_000,
    "not UTF-8": b'{"verb":"\xff\xfe"}',
    "no object": b"[1]",
    "no JSON": b"hello",
    "nothing": b"",
}


@pytest.mark.parametrize("name", STRANGE)
def test_what_is_strange_is_one_clear_line_and_the_connection_goes_on(door: Door, name: str) -> None:
    """Status 2, what is wrong and what is allowed; the station never sees it."""
    link = door.link()
    link._end.sendall(STRANGE[name] + b"\n")
    told = link.receive()
    assert (told["ok"], told["status"], len(told["lines"])) == (False, 2, 1)
    assert "allowed: " in told["lines"][0]
    link.send({"verb": "status"})
    assert door.request().body == {"verb": "status"}


@pytest.mark.parametrize("why", [rb"\ud800", rb"\u0000", rb"\u001b[2J", "\u202e".encode(), b"x" * 100_000])
def test_abandon_gets_through_whatever_its_reason_looks_like(door: Door, why: bytes) -> None:
    """Cleaned, never refused."""
    link = door.link()
    link._end.sendall(b'{"verb":"abandon","why":"' + why + b'"}\n')
    said = door.request().body["why"]
    assert said.strip()
    assert said.isprintable()
    said.encode()


@pytest.mark.parametrize("why", [b"\xff\xfe\xd8", b"\x01\x02", "\u202eback".encode(), b"plain"])
def test_the_command_ends_the_session_whatever_bytes_its_reason_has(tmp_path: Path, why: bytes, capsys: pytest.CaptureFixture[str]) -> None:
    """A stuck key, a paste from elsewhere, another encoding."""
    rigged = Rigged(tmp_path)
    rigged.state.mkdir()
    door, said = Door(rigged.state), []

    def station() -> None:
        request = door.request()
        said.append(request.body["why"])
        request.reply({"ok": True, "session": "x"})

    answers = threading.Thread(target=station)
    answers.start()
    assert main(["abandon", "--file", str(rigged.file), "--why", os.fsdecode(why)]) == 0
    answers.join()
    door.control.stop()
    assert said[0].isprintable()
    assert capsys.readouterr().out == "abandoned: x\n"


def test_half_an_hour_of_readings_is_written_as_it_is_read(door: Door) -> None:
    """An answer of a megabyte to somebody who does not read takes up no megabyte."""
    link = door.link()
    link.send({"verb": "readings"})
    rows = [Reading(float(i), "jug", "developer", 20.0, 20.0, "good") for i in range(9000)]
    door.request().reply({"ok": True, "readings": Told(rows)})
    assert select.select([link], [], [], PATIENCE_S)[0], "some of it has been written"
    assert max(len(c.outgoing) for c in door.control.open_lines) < 256 << 10
    answer = link.receive()
    assert [row["t_s"] for row in answer["readings"]] == [row.t_s for row in rows]
    assert answer["readings"][0] == {
        "t_s": 0.0, "probe": "jug", "role": "developer", "raw_c": 20.0, "celsius": 20.0, "quality": "good",
    }  # fmt: skip


def test_answers_that_nobody_reads_do_not_pile_up(door: Door) -> None:
    """Whoever sends five hundred questions and reads nothing is asked no second one before the first answer has gone out."""
    rows = [Reading(float(i), "jug", "developer", 20.0, 20.0, "good") for i in range(9000)]
    link = door.link()
    link._end.sendall(b'{"verb":"readings"}\n' * 500)
    for _ in range(3):
        first = door.request()
        first.reply({"ok": True, "readings": Told(rows)})
        assert door.inbox.get(0.2) is None
        assert len(link.receive()["readings"]) == 9000


def test_refusals_that_nobody_reads_do_not_pile_up_and_keep_nobody_out(door: Door) -> None:
    """Forty connections that send nonsense and read no answer: each has one answer waiting, and the oldest go for whoever comes."""
    for _ in range(40):
        link = door.link()
        link._end.settimeout(0.05)
        with contextlib.suppress(OSError):
            link._end.sendall(b"nonsense\n" * 40_000)
    assert max(len(c.bodies) for c in door.control.open_lines) <= 1
    asker = door.link()
    asker.send({"verb": "status"})
    door.request().reply({"ok": True})
    assert asker.receive()["ok"]


def test_who_has_nothing_more_to_say_still_gets_the_whole_answer(door: Door) -> None:
    """As a pipe into a socket does: it closes its own half behind the request."""
    link = door.link()
    link.send({"verb": "readings"})
    link._end.shutdown(socket.SHUT_WR)
    rows = [Reading(float(i), "jug", "developer", 20.0, 20.0, "good") for i in range(9000)]
    door.request().reply({"ok": True, "readings": Told(rows)})
    assert len(link.receive()["readings"]) == 9000
    with pytest.raises(NotThere):
        link.receive()


def test_who_has_nothing_more_to_say_and_reads_slowly_is_not_hung_up_on(door: Door) -> None:
    """The last piece of the answer does not fit into the socket at once."""
    link = door.link()
    link.send({"verb": "readings"})
    request = door.request()
    (connection,) = door.control.open_lines
    connection.end.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 4096)
    link._end.shutdown(socket.SHUT_WR)
    rows = [Reading(float(i), "jug", "developer", 20.0, 20.0, "good") for i in range(300)]
    request.reply({"ok": True, "readings": Told(rows)})
    assert door.inbox.get(0.1) is None, "it has been hung up on"
    assert connection.outgoing, "something waits"
    assert len(link.receive()["readings"]) == 300


def test_a_client_waits_for_its_turn_where_many_knock(tmp_path: Path) -> None:
    """A full queue before the door is no station that is not there."""
    listener = socket.socket(socket.AF_UNIX)
    listener.bind(str(tmp_path / "control.sock"))
    listener.listen(0)
    knocking = socket.socket(socket.AF_UNIX)
    knocking.connect(str(tmp_path / "control.sock"))

    def late() -> None:
        for _ in range(2):
            end, _address = listener.accept()
            data = end.recv(100)
            if data:
                end.sendall(b'{"ok":true}\n')
            ends.append(end)

    ends: list[socket.socket] = []
    got: list[Any] = []
    asker = threading.Thread(target=lambda: got.append(ask(tmp_path, {"verb": "status"})))
    asker.start()
    asker.join(0.2)
    knocking.close()
    late()
    asker.join(PATIENCE_S)
    assert got == [{"ok": True}]
    for end in [*ends, listener]:
        end.close()


def test_hands_and_probes_come_before_questions(tmp_path: Path) -> None:
    """A tap does not wait for sixteen requests; but a switch that chatters does not shut out `abandon` either."""
    inbox = Inbox()
    for number in range(16):
        inbox.put(Request(number, {}, lambda answer: None))
    inbox.put(Edge(1.0, True))
    assert inbox.get(0) == Edge(1.0, True)
    for n in range(1000):
        inbox.put(Edge(float(n), True))
    first = next(n for n in range(1000) if isinstance(inbox.get(0), Request))
    assert first <= 50
    rest = [inbox.get(0) for _ in range(1015 - first)]
    assert [m.line for m in rest if isinstance(m, Request)] == list(range(1, 16))
    assert inbox.get(0) is None


def test_an_inbox_that_nobody_empties_is_bounded_and_still_told_to_stop() -> None:
    """What was lost is counted."""
    inbox = Inbox()
    for n in range(100_000):
        inbox.put(Edge(float(n), True))
    inbox.put(Stop())
    assert inbox.lost > 0
    messages = []
    while (message := inbox.get(0)) is not None:
        messages.append(message)
    assert len(messages) <= 50_001
    assert Stop() in messages
    assert not any(isinstance(m, Sampled) for m in messages)


def test_the_bodies_are_json(door: Door) -> None:
    """What cannot be said in JSON is said as nearly as can be, and the door stays open."""
    link = door.link()
    link.send({"verb": "status"})
    door.request().reply({"ok": True, "x": float("nan"), "y": "\ud800", "z": Path("/tmp")})
    told = json.loads(json.dumps(link.receive()))
    assert told["x"] is None
    assert told["z"] == "/tmp"
