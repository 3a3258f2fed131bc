"""The local control socket, in the state folder, for the station's own user and group alone. JSON, one object a line.

The server only passes lines on: what a request may do is decided by the thread that owns the state, which gets each as a
`Request` with a way to answer. A follower that does not read is dropped; nobody waits for it. `ask` and `StationLink` are the
client side, for the commands. Tests: tests/live/station/test_control.py.
"""

from __future__ import annotations

import errno
import grp
import json
import os
import pwd
import selectors
import socket
import stat
import struct
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any

from monitor.core.errors import InputWrong, NotThere
from monitor.live.disk.own_files import kind_of
from monitor.live.inbox import HungUp, Message, Request

NAME = "control.sock"
LONGEST_REQUEST = 1 << 20
MOST_BEHIND = 4 << 20
"""A connection with more bytes than this waiting for it is dropped."""
MOST_LINES = 16
ANSWER_S = 15.0
"""The longest wait for an answer; the station itself waits a few seconds at most, for the first readings."""

Peer = tuple[int, int, int]


@contextmanager
def _short(state: Path) -> Iterator[str]:
    """A path of the socket that is short enough for the kernel (108 bytes), however deep the folder lies."""
    folder = os.open(state, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        yield f"/proc/self/fd/{folder}/{NAME}"
    finally:
        os.close(folder)


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
    def __init__(self, number: int, end: socket.socket) -> None:
        self.number = number
        self.end = end
        self.incoming = b""
        self.outgoing = bytearray()
        self.gone = False


class Control:
    """The server. `allow` decides whether a peer may connect, by its process, user and group id."""

    def __init__(self, state: Path, post: Callable[[Message], None], allow: Callable[[Peer], bool] = trusted) -> None:
        self._state = state
        self._post = post
        self._allow = allow
        self._lock = threading.Lock()
        self._connections: dict[int, _Connection] = {}
        self._numbers = 0
        self._selector = selectors.DefaultSelector()
        self._door: socket.socket | None = None
        self._bell_in, self._bell_out = os.pipe2(os.O_NONBLOCK | os.O_CLOEXEC)
        self._ending = False
        self._thread: threading.Thread | None = None

    def open(self) -> None:
        """Create the socket. One that a dead station left is removed (the lock on the state folder says that it is dead); anything else of
        this name is not ours. Raises `InputWrong`."""
        try:
            self._open()
        except OSError as wrong:
            name = self._state / NAME
            raise InputWrong(f"{name}: cannot be made ({wrong.strerror}); allowed: a state folder without a {NAME} of your own") from None

    def _open(self) -> None:
        before = self._state / NAME
        if os.path.lexists(before):
            mode = os.lstat(before).st_mode
            if not stat.S_ISSOCK(mode):
                raise OSError(errno.EEXIST, f"{kind_of(mode)} of this name stands there")
            before.unlink()
        door = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM | socket.SOCK_CLOEXEC)
        door.setblocking(False)
        mask = os.umask(0o117)
        try:
            with _short(self._state) as name:
                door.bind(name)
        finally:
            os.umask(mask)
        door.listen(8)
        self._door = door
        self._selector.register(door, selectors.EVENT_READ, None)
        self._selector.register(self._bell_in, selectors.EVENT_READ, None)

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
        line = json.dumps(body, ensure_ascii=False, allow_nan=False, separators=(",", ":"), default=str).encode() + b"\n"
        with self._lock:
            connection = self._connections.get(number)
            if connection is None or connection.gone:
                return False
            if len(connection.outgoing) + len(line) > MOST_BEHIND:
                connection.gone = True
            else:
                connection.outgoing += line
            kept = not connection.gone
        self._ring()
        return kept

    def _ring(self) -> None:
        try:
            os.write(self._bell_out, b"!")
        except OSError as wrong:
            if wrong.errno not in (errno.EAGAIN, errno.EBADF):
                raise

    def _run(self) -> None:
        while not self._ending:
            self._turn(None)
        self._turn(0.0)
        for connection in list(self._connections.values()):
            self._drop(connection)
        if self._door is not None:
            self._door.close()
        self._selector.close()

    def _turn(self, timeout_s: float | None) -> None:
        with self._lock:
            for connection in self._connections.values():
                wanted = selectors.EVENT_READ | (selectors.EVENT_WRITE if connection.outgoing else 0)
                self._selector.modify(connection.end, wanted, connection)
            lost = [c for c in self._connections.values() if c.gone]
        for connection in lost:
            self._drop(connection)
        for key, events in self._selector.select(timeout_s):
            if key.fileobj is self._door:
                self._accept()
            elif key.fd == self._bell_in:
                os.read(self._bell_in, 4096)
            elif isinstance(key.data, _Connection):
                self._serve(key.data, events)

    def _accept(self) -> None:
        assert self._door is not None
        try:
            end, _ = self._door.accept()
        except OSError:
            return
        end.setblocking(False)
        peer = struct.unpack("3i", end.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, 12))
        if not self._allow((peer[0], peer[1], peer[2])) or len(self._connections) >= MOST_LINES:
            end.close()
            return
        with self._lock:
            self._numbers += 1
            connection = self._connections[self._numbers] = _Connection(self._numbers, end)
        self._selector.register(end, selectors.EVENT_READ, connection)

    def _serve(self, connection: _Connection, events: int) -> None:
        try:
            if events & selectors.EVENT_WRITE:
                with self._lock:
                    sent = connection.end.send(connection.outgoing)
                    del connection.outgoing[:sent]
            if events & selectors.EVENT_READ:
                data = connection.end.recv(65536)
                if not data:
                    self._drop(connection)
                    return
                connection.incoming += data
                self._lines(connection)
        except BlockingIOError:
            return
        except OSError:
            self._drop(connection)

    def _lines(self, connection: _Connection) -> None:
        while b"\n" in connection.incoming:
            line, connection.incoming = connection.incoming.split(b"\n", 1)
            number = connection.number
            try:
                body = json.loads(line)
            except (ValueError, RecursionError):
                body = None
            if not isinstance(body, dict):
                self.send(number, {"ok": False, "status": 2, "lines": ["not a request; allowed: one JSON object a line"]})
                continue
            self._post(Request(number, body, lambda answer, number=number: void(self.send(number, answer))))  # type: ignore[misc]
        if len(connection.incoming) > LONGEST_REQUEST:
            self._drop(connection)

    def _drop(self, connection: _Connection) -> None:
        with self._lock:
            if self._connections.pop(connection.number, None) is None:
                return
        self._selector.unregister(connection.end)
        connection.end.close()
        self._post(HungUp(connection.number))


def void(_: object) -> None:
    """Discard a result."""


class StationLink:
    """A connection to a running station. Raises `NotThere` where none answers."""

    def __init__(self, state: Path, timeout_s: float = ANSWER_S) -> None:
        self._state = state
        self._end = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM | socket.SOCK_CLOEXEC)
        self._end.settimeout(timeout_s)
        self._rest = b""
        try:
            with _short(state) as name:
                self._end.connect(name)
        except OSError as wrong:
            self._end.close()
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
            self._end.sendall(json.dumps(request, ensure_ascii=False).encode() + b"\n")
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
