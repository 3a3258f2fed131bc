"""A broker that does what a test tells it to, packet by packet, on loopback: the protocol's other end as raw bytes.

A behaviour is a function of one `Wire`. It runs in a thread of its own for each connection, and what it does when the other end has
gone ends it without a word.
"""

from __future__ import annotations

import contextlib
import socket
import ssl
import threading
from collections.abc import Callable
from types import TracebackType

PUBLISH, PUBACK, PUBREC, PUBREL, SUBACK, PINGREQ, PINGRESP, DISCONNECT = 0x30, 0x40, 0x50, 0x62, 0x90, 0xC0, 0xD0, 0xE0


def length_of(size: int) -> bytes:
    """A remaining length, MQTT 3.1.1 section 2.2.3."""
    out = bytearray()
    while True:
        size, low = divmod(size, 128)
        out.append(low | (128 if size else 0))
        if not size:
            return bytes(out)


def packet(first: int, body: bytes = b"") -> bytes:
    """One packet whose announced length is true."""
    return bytes([first]) + length_of(len(body)) + body


def connack(version: int, properties: bytes = b"", reason: int = 0) -> bytes:
    """CONNACK of a broker that speaks this version: 4 is MQTT 3.1.1, 5 is MQTT 5."""
    return packet(0x20, bytes([0, reason]) + (length_of(len(properties)) + properties if version == 5 else b""))


def publish(version: int, topic: bytes, payload: bytes, qos: int = 0, mid: int = 1, retain: bool = False) -> bytes:
    """PUBLISH."""
    number = mid.to_bytes(2, "big") if qos else b""
    return packet(
        PUBLISH | qos << 1 | retain, len(topic).to_bytes(2, "big") + topic + number + (b"\0" if version == 5 else b"") + payload
    )  # fmt: skip


class Wire:
    """One connection, after its CONNECT has been read. `version`: what the client speaks; `connect`: its whole CONNECT."""

    def __init__(self, sock: socket.socket, ending: threading.Event) -> None:
        self.sock, self._ending, self._bytes = sock, ending, b""
        self.version, self.connect = 0, b""

    def greet(self, properties: bytes = b"") -> Wire:
        """Read CONNECT and accept it."""
        self.hear_connect()
        self.send(connack(self.version, properties))
        return self

    def hear_connect(self) -> None:
        """Read CONNECT."""
        first, self.connect = self.read()
        assert first == 0x10
        self.version = self.connect[6]

    def send(self, data: bytes) -> None:
        """Send all of it, as far as the other end takes it; ends the behaviour when the broker is closed."""
        view = memoryview(data)
        self.sock.settimeout(0.1)
        while view:
            if self._ending.is_set():
                raise ConnectionAbortedError
            with contextlib.suppress(TimeoutError):
                view = view[self.sock.send(view) :]

    def read(self) -> tuple[int, bytes]:
        """The next packet: its first byte and its body. Raises ConnectionError at the end."""
        while True:
            found = self._whole()
            if found is not None:
                return found
            self._more()

    def more(self, within_s: float) -> bool:
        """Whether any byte came within this time."""
        self.sock.settimeout(within_s)
        try:
            fresh = self.sock.recv(65536)
        except TimeoutError:
            return False
        self._bytes += fresh
        return bool(fresh)

    def serve(self, count: list[tuple[int, bytes]] | None = None, acks: bool = True) -> None:
        """Answer pings, subscriptions and publishes like a good broker, until the end. `count`: takes what was read."""
        while True:
            first, body = self.read()
            if count is not None:
                count.append((first, body))
            if first == PINGREQ:
                self.send(packet(PINGRESP))
            elif first == 0x82:
                self.send(packet(SUBACK, body[:2] + (b"\0" if self.version == 5 else b"") + b"\1"))
            elif first >> 4 == 3 and acks:
                length = int.from_bytes(body[:2], "big")
                self.send(packet(PUBACK, body[2 + length : 4 + length]))

    def wait(self) -> None:
        """Say nothing more, and read nothing, until the broker is closed."""
        self._ending.wait()

    def drip(self, data: bytes, every_s: float) -> None:
        """One byte after the other."""
        for at in range(len(data)):
            self.send(data[at : at + 1])
            if self._ending.wait(every_s):
                return

    def _more(self) -> None:
        self.sock.settimeout(0.1)
        while not self._ending.is_set():
            with contextlib.suppress(TimeoutError):
                fresh = self.sock.recv(65536)
                if not fresh:
                    break
                self._bytes += fresh
                return
        raise ConnectionAbortedError

    def _whole(self) -> tuple[int, bytes] | None:
        length, at = 0, 1
        while at < len(self._bytes):
            length += (self._bytes[at] & 127) << 7 * (at - 1)
            at += 1
            if not self._bytes[at - 1] & 128:
                if len(self._bytes) < at + length:
                    return None
                first, body, self._bytes = self._bytes[0], self._bytes[at : at + length], self._bytes[at + length :]
                return first, body
        return None


class FakeBroker:
    """Listens on loopback while the `with` statement runs. `connections`: how many came.

    `tls`: shakes hands first. `small`: the kernel keeps as little as it can of what was not read.
    """

    def __init__(self, behaviour: Callable[[Wire], None], tls: ssl.SSLContext | None = None, small: bool = False) -> None:
        self._behaviour, self._tls = behaviour, tls
        self._server = socket.create_server(("127.0.0.1", 0), backlog=100)
        if small:
            self._server.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1)
        self._server.settimeout(0.05)
        self.port: int = self._server.getsockname()[1]
        self.connections = 0
        self._ending = threading.Event()
        self._threads = [threading.Thread(target=self._accept, name="fake broker")]

    def __enter__(self) -> FakeBroker:
        self._threads[0].start()
        return self

    def __exit__(self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None) -> None:
        self._ending.set()
        for thread in self._threads:
            thread.join(10.0)
        self._server.close()

    def _accept(self) -> None:
        while not self._ending.is_set():
            with contextlib.suppress(TimeoutError):
                sock, _ = self._server.accept()
                self.connections += 1
                thread = threading.Thread(target=self._one, args=(sock,), name="fake broker's connection")
                self._threads.append(thread)
                thread.start()

    def _one(self, sock: socket.socket) -> None:
        with contextlib.suppress(OSError):
            if self._tls is not None:
                sock.settimeout(5.0)
                sock = self._tls.wrap_socket(sock, server_side=True)
            self._behaviour(Wire(sock, self._ending))
        sock.close()
