"""The HTTP server: the standard library's, with a small handler of our own and a short list of what it answers.

Order of the checks: the peer's address before a byte is read; then the request's size and the time that it takes; then the name that was
asked for, on every request; then method and path. GET and HEAD read; a POST is taken from a paired phone alone, for the few writes of
`desk`; everything else is refused. While nothing may be lit each document is a black page with status 503. Sources: page.md, sections 1,
2 and 4. Tests: tests/page/test_server.py.
"""

from __future__ import annotations

import contextlib
import http.server
import io
import json
import socket
import socketserver
import threading
from collections.abc import Callable, Iterable, Mapping
from typing import Any
from urllib.parse import unquote, urlsplit

from monitor.page import sentences
from monitor.page.documents import BLACK, Documents, assets
from monitor.page.forms import pair_form
from monitor.page.guards import body_length, cookie_token, hosts, private, refusal
from monitor.page.lists import READER, Leaf, Lists, Reader, page_at
from monitor.page.pulse import Pulse
from monitor.page.writes import PAIR, Writes

MOST_AT_ONCE = 24
"""Requests that are answered at the same time, each by a thread. A stream is not among them: it costs none."""
MOST_STREAMS, MOST_STREAMS_A_PEER = 256, 24
"""A class of twenty with two displays each has room, and one phone's forgotten tabs cannot take all of it."""
MOST_HEAD = 8 * 1024
"""Bytes of a request: its line and its headers."""
HEAD_S, WRITE_S = 5.0, 10.0
"""The longest time that a request may take to come in, and an answer to go out."""
HTML = "text/html; charset=utf-8"
TEXT = "text/plain; charset=utf-8"
POLICY = (
    "default-src 'none'; script-src 'self'; style-src {style}; img-src data:; connect-src 'self'; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'"
)
OWN_STYLE, ANY_STYLE = "'self'", "'self' 'unsafe-inline'"
"""A report has its style in itself."""


class _TooMuch(Exception):
    """A request that is longer than any of ours."""


class _Bounded(io.RawIOBase):
    """What comes in: so many bytes, within so much time, whatever the pieces. Raises `_TooMuch` and TimeoutError."""

    def __init__(self, end: socket.socket, mono_s: Callable[[], float]) -> None:
        self._end = end
        self._mono_s = mono_s
        self._until_s = mono_s() + HEAD_S
        self._left = MOST_HEAD

    def readable(self) -> bool:
        """It is."""
        return True

    def readinto(self, buffer: Any) -> int:
        """As much as has come."""
        if self._left <= 0:
            raise _TooMuch
        left_s = self._until_s - self._mono_s()
        if left_s <= 0:
            raise TimeoutError
        self._end.settimeout(left_s)
        count = self._end.recv_into(memoryview(buffer)[: self._left])
        self._left -= count
        return count

    def let_in(self, count: int) -> None:
        """So many bytes more, within the same time."""
        self._left += count


class PageServer(socketserver.ThreadingMixIn, socketserver.TCPServer):
    """One address. Several may share a `pulse`. `names`: what may stand in `Host` beside the address. Without `lists`: a class's;
    without `writes` nothing can be written."""

    daemon_threads = True
    block_on_close = False
    allow_reuse_address = True
    request_queue_size = 64

    def __init__(
        self, address: tuple[str, int], names: Iterable[str], pulse: Pulse, documents: Documents, lists: Lists | None,
        mono_s: Callable[[], float], writes: Writes | None = None,
    ) -> None:  # fmt: skip
        self.pulse = pulse
        self.documents = documents
        self.lists = lists
        self.writes = writes
        self.mono_s = mono_s
        self._room = threading.BoundedSemaphore(MOST_AT_ONCE)
        self._handed_over: set[int] = set()
        super().__init__(address, _Handler)
        self.port = int(self.server_address[1])
        self.address = address[0]
        self.own = hosts([*names, "127.0.0.1", "localhost", self.address], self.port)

    def verify_request(self, request: Any, client_address: Any) -> bool:
        """A peer from elsewhere is hung up on, unread."""
        return private(str(client_address[0]))

    def process_request(self, request: Any, client_address: Any) -> None:
        """In a thread, where there is room for one more."""
        if not self._room.acquire(blocking=False):
            with contextlib.suppress(OSError):
                request.setblocking(False)
                request.send(b"HTTP/1.1 503 Service Unavailable\r\nRetry-After: 2\r\nContent-Length: 0\r\nConnection: close\r\n\r\n")
            self.shutdown_request(request)
            return
        try:
            super().process_request(request, client_address)
        except RuntimeError:  # no thread can be started: this one is hung up on, and its place is free again
            self._room.release()
            raise

    def process_request_thread(self, request: Any, client_address: Any) -> None:
        """The thread of one request."""
        try:
            super().process_request_thread(request, client_address)
        finally:
            self._room.release()

    def hand_over(self, request: socket.socket, peer: str) -> bool:
        """A stream: its socket lives on without its thread. False where there is no room."""
        end = request.dup()
        if not self.pulse.add(end, peer):
            end.close()
            return False
        self._handed_over.add(id(request))
        return True

    def shutdown_request(self, request: Any) -> None:
        """Hang up, unless it was handed over."""
        if id(request) in self._handed_over:
            self._handed_over.discard(id(request))
            self.close_request(request)
            return
        super().shutdown_request(request)

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Whoever hangs up in the middle is no fault of ours, and nothing from a request is written anywhere."""


class _Handler(http.server.BaseHTTPRequestHandler):
    """One request, one answer, and the connection is closed."""

    server: PageServer
    protocol_version = "HTTP/1.1"
    server_version = "evenbath"
    sys_version = ""
    command = ""
    request_version = "HTTP/1.1"

    def setup(self) -> None:
        """With a bound on what comes in."""
        super().setup()
        self._comes_in = _Bounded(self.connection, self.server.mono_s)
        self.rfile = io.BufferedReader(self._comes_in, 1024)

    def handle(self) -> None:
        """Never a second request on a connection: who keeps one open holds a thread."""
        self.close_connection = True
        try:
            self.raw_requestline = self.rfile.readline(MOST_HEAD + 1)
            if not self.raw_requestline or not self.parse_request():
                return
            self.close_connection = True
            self.connection.settimeout(WRITE_S)
            self._answer()
        except _TooMuch:
            self._plain(431, "too long")
        except (TimeoutError, ConnectionError):
            return
        except Exception:  # a fault of ours costs this answer, and no details of it go to whoever asked
            self._plain(500, "a fault of the page itself")

    def log_message(self, format: str, *args: Any) -> None:
        """Nothing of a request is written down."""

    def send_error(self, code: int, message: str | None = None, explain: str | None = None) -> None:
        """What the library refuses, in as few words as our own refusals."""
        self._plain(int(code), "not a request")

    def handle_expect_100(self) -> bool:
        """Nobody is told to go on before all of his headers were looked at."""
        self._plain(417, "send it at once")
        return False

    # -- what is answered -------------------------------------------------------------------------------------------

    def _answer(self) -> None:
        headers: dict[str, str] = {}
        for name, value in self.headers.items():
            key = name.lower()
            headers[key] = f"{headers[key]},{value}" if key in headers else value
        writes = self.server.writes
        posted = self.command == "POST" and writes is not None and self.path in writes.paths
        turned_away = refusal(headers, self.server.own, writes=posted)
        if turned_away is not None:
            self._plain(*turned_away)
        elif posted and writes is not None:
            self._post(headers, writes)
        elif self.command not in ("GET", "HEAD"):
            self._plain(405, "this page can only be read", {"Allow": "GET, HEAD"})
        else:
            self._get(urlsplit(self.path).path, headers)

    def _post(self, headers: Mapping[str, str], writes: Writes) -> None:
        """Take the body, and what it says, if it comes from our own page while something may be lit."""
        length = body_length(headers)
        if isinstance(length, tuple):
            self._plain(*length)
            return
        self._comes_in.let_in(length)
        body = self.rfile.read(length)
        if len(body) < length:
            self._plain(400, "cut off")
        elif not self.server.pulse.lit:
            self._send(503, HTML, BLACK, {"Retry-After": "5"})
        else:
            told = writes.take(self.path, cookie_token(headers), body)
            more = {} if told.cookie is None else {"Set-Cookie": told.cookie}
            self._plain(told.status, told.words, more)

    def _get(self, path: str, headers: Mapping[str, str]) -> None:
        pulse = self.server.pulse
        if path == "/events":
            self._stream()
        elif path == "/snapshot":
            self._send(200, "application/json", pulse.newest())
        elif path in assets():
            self._send(200, *assets()[path])
        elif path.startswith("/answers/") and pulse.lit:
            self._answers(path.removeprefix("/answers/"))
        else:
            self._document(path, headers)

    def _answers(self, session: str) -> None:
        """A few words about a session that is over, for the page that shows it."""
        told = None if self.server.lists is None else self.server.lists.answers(session)
        if told is None:
            self._plain(404, "not here")
        else:
            self._send(200 if told else 503, "application/json", json.dumps(told, ensure_ascii=False).encode())

    def _stream(self) -> None:
        if self.command == "HEAD":
            self._send(200, "text/event-stream; charset=utf-8", b"")
        elif not self.server.hand_over(self.connection, str(self.client_address[0])):
            self._plain(503, "too many open pages", {"Retry-After": "5"})

    def _reader(self, headers: Mapping[str, str]) -> Reader:
        """Whether forms are shown, and which."""
        writes, pulse = self.server.writes, self.server.pulse
        if writes is None or writes.device(cookie_token(headers)) is None:
            return READER
        return Reader(True, pulse.free, pulse.awake)

    def _document(self, path: str, headers: Mapping[str, str]) -> None:
        """A page: black while nothing may be lit, whatever the path."""
        pulse, documents = self.server.pulse, self.server.documents
        if not pulse.lit:
            self._send(503, HTML, BLACK, {"Retry-After": "5", "Refresh": "10"})
            return
        if path == "/":
            self._send(200, HTML, documents.page())
            return
        if path == PAIR and self.server.writes is not None:
            self._send(200, HTML, documents.leaf(Leaf(200, sentences.PAIR_HEAD, pair_form()), path))
            return
        parts = [unquote(part) for part in path.split("/")[1:]]
        made = None if self.server.lists is None else page_at(self.server.lists, parts, self._reader(headers))
        leaf = None if made is None else made()
        if leaf is None:
            self._plain(404, "not here")
        elif not pulse.lit:  # making it has taken its time
            self._send(503, HTML, BLACK, {"Retry-After": "5", "Refresh": "10"})
        else:
            more = {"Retry-After": "10"} if leaf.later else {}
            self._send(leaf.status, HTML, documents.leaf(leaf, path), more, ANY_STYLE if leaf.whole else OWN_STYLE)

    def _plain(self, status: int, words: str, more: dict[str, str] | None = None) -> None:
        self._send(status, TEXT, words.encode(), more)

    def _send(self, status: int, kind: str, body: bytes, more: dict[str, str] | None = None, style: str = OWN_STYLE) -> None:
        headers = {
            "Content-Type": kind,
            "Content-Length": str(len(body)),
            "Cache-Control": "no-store",
            "Content-Security-Policy": POLICY.format(style=style),
            "X-Content-Type-Options": "nosniff",
            "Referrer-Policy": "no-referrer",
            "Cross-Origin-Resource-Policy": "same-origin",
            "Connection": "close",
            **(more or {}),
        }
        self.send_response_only(status)
        for name, value in headers.items():
            self.send_header(name, value)
        self.end_headers()
        if self.command != "HEAD":
            self.wfile.write(body)
