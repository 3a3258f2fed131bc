"""The open event streams: sockets that were handed over by the server, all written to by one thread, none waited for.

Each event is a whole snapshot, so a stream that has not taken its last one is given no other until it has: what it gets then is the
newest. One that takes nothing for `DEAF_S` is dropped. A stream costs a socket and no thread. Tests: tests/page/test_pulse.py.
"""

from __future__ import annotations

import select
import socket
import threading

DEAF_S = 10.0
HEAD = (
    b"HTTP/1.1 200 OK\r\nContent-Type: text/event-stream; charset=utf-8\r\nCache-Control: no-store\r\nX-Content-Type-Options: nosniff\r\n"
    b"Referrer-Policy: no-referrer\r\nContent-Security-Policy: default-src 'none'\r\nConnection: close\r\n\r\nretry: 1000\n\n"
)


class _Stream:
    def __init__(self, end: socket.socket, peer: str, now_s: float) -> None:
        self.end = end
        self.peer = peer
        self.took_s = now_s
        self.outgoing = HEAD


class Streams:
    """`most` in all, `most_a_peer` from one address that is not this machine."""

    def __init__(self, most: int, most_a_peer: int) -> None:
        self._most = most
        self._most_a_peer = most_a_peer
        self._lock = threading.Lock()
        self._coming: list[_Stream] = []
        self._open: dict[int, _Stream] = {}

    def __len__(self) -> int:
        return len(self._open) + len(self._coming)

    def has_room(self, peer: str) -> bool:
        """Whether one more of this address may come."""
        with self._lock:
            mine = sum(stream.peer == peer for stream in (*self._open.values(), *self._coming))
            return len(self) < self._most and (peer.startswith("127.") or mine < self._most_a_peer)

    def add(self, end: socket.socket, peer: str, now_s: float) -> None:
        """Hand a socket over. Called by the server's threads."""
        end.setblocking(False)
        with self._lock:
            self._coming.append(_Stream(end, peer, now_s))

    # -- the thread that writes -------------------------------------------------------------------------------------

    def register(self, poll: select.poll, now_s: float) -> None:
        """What is to be waited for; those that have been deaf for too long go."""
        with self._lock:
            for stream in self._coming:
                self._open[stream.end.fileno()] = stream
            self._coming.clear()
        for descriptor, stream in list(self._open.items()):
            if stream.outgoing and now_s - stream.took_s > DEAF_S:
                self._drop(descriptor)
            else:
                poll.register(descriptor, select.POLLIN | (select.POLLOUT if stream.outgoing else 0))

    def serve(self, descriptor: int, events: int, now_s: float) -> bool:
        """A socket can be written to, or its other end has gone or said something, which nobody reads. False if it is none of ours."""
        if descriptor not in self._open:
            return False
        if events & select.POLLOUT:
            self._write(descriptor, now_s)
        if descriptor in self._open and events & (select.POLLIN | select.POLLHUP | select.POLLERR | select.POLLNVAL):
            try:
                if not self._open[descriptor].end.recv(1024):
                    self._drop(descriptor)
            except BlockingIOError:
                pass
            except OSError:
                self._drop(descriptor)
        return True

    def tell(self, event: bytes, now_s: float) -> None:
        """One event to each stream that has taken its last one."""
        for descriptor, stream in list(self._open.items()):
            if not stream.outgoing:
                stream.outgoing, stream.took_s = event, now_s
                self._write(descriptor, now_s)
            elif stream.outgoing is HEAD:
                stream.outgoing = HEAD + event
                self._write(descriptor, now_s)

    def close(self) -> None:
        """All of them."""
        for descriptor in list(self._open):
            self._drop(descriptor)
        while self._coming:
            self._coming.pop().end.close()

    def _write(self, descriptor: int, now_s: float) -> None:
        stream = self._open[descriptor]
        try:
            sent = stream.end.send(stream.outgoing)
        except BlockingIOError:
            return
        except OSError:
            self._drop(descriptor)
            return
        stream.outgoing = stream.outgoing[sent:]
        stream.took_s = now_s

    def _drop(self, descriptor: int) -> None:
        with self._lock:
            stream = self._open.pop(descriptor)
        stream.end.close()
