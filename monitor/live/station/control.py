"""The local control socket, in the state folder, for the station's own user and group alone. JSON, one object a line.

The server only passes lines on: what a request may do is decided by the thread that owns the state, which gets each as a
`Request` with a way to answer. Of each connection one request waits at a time; the next is read when the answer to that one has gone out.
Connections, what has come in and what waits to go out are bounded, and `abandon` is let in even where all lines are taken. A follower
that does not read is dropped; nobody waits for it. `ask` and `StationLink` are the client side, for the commands.
Tests: tests/live/station/test_control.py, tests/live/station/test_control_flood.py.
"""

from __future__ import annotations

import contextlib
import errno
import grp
import json
import os
import pwd
import select
import socket
import struct
import threading
from collections import deque
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from types import TracebackType
from typing import Any

from monitor.core.errors import InputWrong, NotThere
from monitor.live.clock import Clock, RealClock
from monitor.live.inbox import HungUp, Message, Request
from monitor.live.station.doors import open_door, short_path
from monitor.live.station.lines_in import LineWrong, read_line
from monitor.live.station.lines_out import pieces

NAME = "control.sock"
LONGEST_REQUEST = 1 << 19
MOST_INCOMING = 2 << 20
"""Bytes of all connections together that are not a whole request yet; whoever comes to more is dropped."""
MOST_BEHIND = 1000
"""A connection with more objects than this waiting for it is dropped: a follower gets about eight a second."""
PIECE = 64 * 1024
"""What waits to go out is made into text when there is room for it, so much at a time."""
MOST_LINES = 16
NEWCOMERS, TO_SPEAK_S = 32, 0.2
"""Connections that have not asked anything yet. The oldest goes for a new one once it has had so long to speak; until then whoever knocks
waits before the door."""
KNOCKING = 32
ACCEPTED_AT_ONCE = 8
DOOR_RESTS_S = 0.2
"""Where no descriptor is left for a new connection the door is looked at again after this."""
ANSWER_S = 15.0
"""The longest wait for an answer; the station itself waits a few seconds at most, for the first readings."""
KNOCK_S = 5.0
"""The longest wait at the door, where many knock."""
FULL = "all lines of the station are taken; allowed: close one of them, or evenbath abandon"

Peer = tuple[int, int, int]


def trusted(peer: Peer) -> bool:
    """Whether the process at the other end runs as the station's own user, in its group, or as root."""
    _, user, group = peer
    own_user, own_group = os.geteuid(), os.getegid()
    if user in (own_user, 0) or group == own_group:
        return True
    try:
        return pwd.getpwuid(user).pw_name in grp.getgrgid(own_group).gr_mem
    except KeyError:
        return False


class _Connection:
    """`asked`: an answer is owed to it, or still to be written. `answer`: that answer, once the station has given it. `known`: it has one
    of the lines. `last`: it is dropped once what waits has gone out."""

    def __init__(self, number: int, end: socket.socket, since_s: float) -> None:
        self.number = number
        self.since_s = since_s
        self.end = end
        self.incoming = bytearray()
        self.searched = 0
        self.bodies: deque[Mapping[str, Any]] = deque()
        self.writing: Iterator[bytes] | None = None
        self.ends_answer = False
        self.outgoing = bytearray()
        self.asked = False
        self.answer: Mapping[str, Any] | None = None
        self.known = False
        self.last = False
        self.gone = False

    def fill(self) -> None:
        """Make what waits into text, up to a piece."""
        while len(self.outgoing) < PIECE:
            if self.writing is None:
                if not self.bodies:
                    return
                body = self.bodies.popleft()
                self.writing, self.ends_answer = pieces(body), body is self.answer
            piece = next(self.writing, None)
            if piece is None:
                self.writing = None
                if self.ends_answer:
                    self.answer, self.asked = None, False
            else:
                self.outgoing += piece

    def reply(self, answer: Mapping[str, Any]) -> None:
        """Answer what it asked."""
        self.answer = answer
        self.bodies.append(answer)

    @property
    def has_more(self) -> bool:
        """Whether something waits to go out."""
        return bool(self.outgoing or self.writing is not None or self.bodies)


class Control:
    """The server. `allow` decides whether a peer may connect, by its process, user and group id."""

    def __init__(
        self, state: Path, post: Callable[[Message], None], allow: Callable[[Peer], bool] = trusted, clock: Clock | None = None
    ) -> None:
        self._mono_s = (RealClock() if clock is None else clock).mono_s
        self._state = state
        self._post = post
        self._allow = allow
        self._lock = threading.Lock()
        self._connections: dict[int, _Connection] = {}
        self._owed: set[int] = set()
        self._numbers = 0
        self._poll = select.poll()
        self._door: socket.socket | None = None
        self._door_rests = False
        self._bell_in, self._bell_out = os.pipe2(os.O_NONBLOCK | os.O_CLOEXEC)
        self._ending = False
        self._thread: threading.Thread | None = None

    def open(self) -> None:
        """Create the socket. One that a dead station left is removed (the lock on the state folder says that it is dead); anything else of
        this name is not ours. Raises `InputWrong`."""
        try:
            self._door = open_door(self._state, NAME, KNOCKING)
        except OSError as wrong:
            name = self._state / NAME
            raise InputWrong(f"{name}: cannot be made ({wrong.strerror}); allowed: a state folder without a {NAME} of your own") from None
        self._poll.register(self._bell_in, select.POLLIN)

    def start(self) -> None:
        """Serve in a thread until `stop`."""
        self._thread = threading.Thread(target=self._run, name="control", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End, and remove the socket. What has been answered already is still sent."""
        self._ending = True
        self._ring()
        if self._thread is not None:
            self._thread.join(2.0)
        if self._door is not None:
            (self._state / NAME).unlink(missing_ok=True)

    def send(self, number: int, body: Mapping[str, Any]) -> bool:
        """Send one object to a connection; never blocks. False if it is closed, or so far behind that it is dropped."""
        with self._lock:
            connection = self._connections.get(number)
            if connection is None or connection.gone:
                return False
            if len(connection.bodies) >= MOST_BEHIND:
                connection.gone = True
            else:
                connection.bodies.append(body)
            kept = not connection.gone
        self._ring()
        return kept

    @property
    def open_lines(self) -> list[_Connection]:
        """The connections that are open now."""
        with self._lock:
            return list(self._connections.values())

    def _answer(self, number: int, body: Mapping[str, Any]) -> None:
        """The station has answered: that connection may ask again once it has the answer, and one that has gone leaves its line."""
        with self._lock:
            self._owed.discard(number)
            connection = self._connections.get(number)
            if connection is not None:
                connection.reply(body)
        self._ring()

    def _ring(self) -> None:
        try:
            os.write(self._bell_out, b"!")
        except OSError as wrong:
            if wrong.errno not in (errno.EAGAIN, errno.EBADF):
                raise

    # -- the thread -------------------------------------------------------------------------------------------------

    def _run(self) -> None:
        while not self._ending:
            self._turn(None)
        self._turn(0.0)
        for connection in self.open_lines:
            self._drop(connection)
        if self._door is not None:
            self._door.close()

    def _turn(self, timeout_s: float | None) -> None:
        by_descriptor: dict[int, _Connection] = {}
        for connection in self.open_lines:
            if connection.gone:
                self._drop(connection)
                continue
            try:
                self._lines(connection)
            except Exception:  # a fault of ours costs this connection, and never the door
                self._drop(connection)
            if connection.number not in self._connections:
                continue
            by_descriptor[connection.end.fileno()] = connection
            wanted = 0 if connection.asked or connection.last else select.POLLIN
            self._poll.register(connection.end, wanted | (select.POLLOUT if connection.has_more else 0))
        rests_s = DOOR_RESTS_S if self._door_rests else self._until_room_s()
        if self._door is not None:
            self._poll.register(self._door, 0 if rests_s else select.POLLIN)
        wait_s = rests_s if rests_s and timeout_s is None else timeout_s
        self._door_rests = False
        for descriptor, events in self._poll.poll(None if wait_s is None else wait_s * 1000.0):
            if descriptor == self._bell_in:
                os.read(self._bell_in, 4096)
            elif descriptor in by_descriptor:
                self._serve(by_descriptor[descriptor], events)
            else:
                self._accept()

    def _accept(self) -> None:
        for _ in range(ACCEPTED_AT_ONCE):
            try:
                assert self._door is not None
                end, _address = self._door.accept()
            except BlockingIOError:
                return
            except OSError as wrong:
                self._door_rests = wrong.errno in (errno.EMFILE, errno.ENFILE, errno.ENOBUFS, errno.ENOMEM)
                return
            end.setblocking(False)
            peer = struct.unpack("3i", end.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, 12))
            if not self._allow((peer[0], peer[1], peer[2])):
                end.close()
                continue
            with self._lock:
                self._numbers += 1
                self._connections[self._numbers] = _Connection(self._numbers, end, self._mono_s())
            if self._until_room_s():
                return

    def _until_room_s(self) -> float:
        """0 where one more connection may come in; else how long it has to wait. The oldest newcomer that has had its time goes."""
        newcomers = [c for c in self.open_lines if not c.known]
        if len(newcomers) < NEWCOMERS:
            return 0.0
        silent = next((c for c in newcomers if c.number not in self._owed), None)
        if silent is None:
            return TO_SPEAK_S
        left_s = silent.since_s + TO_SPEAK_S - self._mono_s()
        if left_s > 0:
            return left_s
        self._drop(silent)
        return 0.0

    def _serve(self, connection: _Connection, events: int) -> None:
        try:
            if events & select.POLLOUT:
                connection.fill()
                del connection.outgoing[: connection.end.send(connection.outgoing)]
                if connection.last and not connection.has_more:
                    self._drop(connection)
                    return
            if events & select.POLLIN:
                data = connection.end.recv(PIECE)
                connection.incoming += data
                if not data and connection.has_more:
                    connection.last = True  # it says nothing more, and may still listen
                elif not data or sum(len(c.incoming) for c in self.open_lines) > MOST_INCOMING:
                    self._drop(connection)
            elif events & (select.POLLHUP | select.POLLERR | select.POLLNVAL):
                self._drop(connection)
        except BlockingIOError:
            return
        except Exception:  # it has gone, or a fault of ours: it costs this connection, and never the door
            self._drop(connection)

    def _lines(self, connection: _Connection) -> None:
        """Take whole lines up to a request that the station has to answer."""
        while not (connection.asked or connection.last or connection.gone):
            end = connection.incoming.find(b"\n", connection.searched)
            connection.searched = len(connection.incoming) if end < 0 else 0
            if end > LONGEST_REQUEST or (end < 0 and len(connection.incoming) > LONGEST_REQUEST):
                self._drop(connection)
                return
            if end < 0:
                return
            line = bytes(connection.incoming[:end])
            del connection.incoming[: end + 1]
            connection.asked = True
            self._line(connection, line)

    def _line(self, connection: _Connection, line: bytes) -> None:
        try:
            body = read_line(line)
        except LineWrong as wrong:
            self._refuse(connection, 2, f"not a request: {wrong}")
            return
        taken = sum(c.known for c in self.open_lines) + len(self._owed - self._connections.keys())
        if not connection.known and taken >= MOST_LINES and body.get("verb") != "abandon":
            connection.last = True
            self._refuse(connection, 3, FULL)
            return
        connection.known = connection.known or taken < MOST_LINES
        with self._lock:
            self._owed.add(connection.number)
        self._post(Request(connection.number, body, lambda answer, number=connection.number: self._answer(number, answer)))  # type: ignore[misc]

    def _refuse(self, connection: _Connection, status: int, why: str) -> None:
        with self._lock:
            connection.reply({"ok": False, "status": status, "lines": [why]})

    def _drop(self, connection: _Connection) -> None:
        with self._lock:
            if self._connections.pop(connection.number, None) is None:
                return
        with contextlib.suppress(KeyError):
            self._poll.unregister(connection.end)
        connection.end.close()
        if connection.known or connection.number in self._owed:
            self._post(HungUp(connection.number))


class StationLink:
    """A connection to a running station. Raises `NotThere` where none answers."""

    def __init__(self, state: Path, timeout_s: float = ANSWER_S) -> None:
        self._state = state
        self._end = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM | socket.SOCK_CLOEXEC)
        self._rest = b""
        try:
            # A socket with Python's own timeout would not wait before a door at which many knock, but fail at once.
            self._end.setsockopt(socket.SOL_SOCKET, socket.SO_SNDTIMEO, struct.pack("@ll", int(KNOCK_S), 0))
            with short_path(state, NAME) as name:
                self._end.connect(name)
            self._end.settimeout(timeout_s)
        except OSError as wrong:
            self._end.close()
            if isinstance(wrong, BlockingIOError):
                raise NotThere(f"the station in {state} does not answer") from None
            if isinstance(wrong, PermissionError):
                raise NotThere(f"{state}: the station there belongs to another user and group; allowed: its user or group") from None
            raise NotThere(f"no station answers in {state}; start one first: evenbath station --file ...") from None

    def __enter__(self) -> StationLink:
        return self

    def __exit__(self, kind: type[BaseException] | None, wrong: BaseException | None, trace: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Close the connection."""
        self._end.close()

    def fileno(self) -> int:
        """For `select`, beside the keyboard."""
        return self._end.fileno()

    def send(self, request: Mapping[str, Any]) -> None:
        """Send a request."""
        try:
            self._end.sendall(json.dumps(request).encode() + b"\n")
        except OSError:
            raise self._hung_up() from None

    def receive(self) -> dict[str, Any]:
        """Wait for the next object that the station sends."""
        while b"\n" not in self._rest:
            try:
                data = self._end.recv(65536)
            except TimeoutError:
                raise NotThere(f"the station in {self._state} does not answer") from None
            except OSError:
                data = b""
            if not data:
                raise self._hung_up()
            self._rest += data
        line, self._rest = self._rest.split(b"\n", 1)
        answer = json.loads(line)
        if not isinstance(answer, dict):
            raise self._hung_up()
        return answer

    @property
    def pending(self) -> bool:
        """Whether a whole object has arrived already."""
        return b"\n" in self._rest

    def ask(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """Send a request and wait for its answer."""
        self.send(request)
        return self.receive()

    def _hung_up(self) -> NotThere:
        return NotThere(f"the station in {self._state} hung up")


def ask(state: Path, request: Mapping[str, Any]) -> dict[str, Any]:
    """One request, one answer. Raises `NotThere` where no station answers."""
    with StationLink(state) as link:
        return link.ask(request)
