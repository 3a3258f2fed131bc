"""The server under attack, on a real socket: each rule of who is answered, how much, how long, and what."""

from __future__ import annotations

import json
import socket
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from monitor.live.clock import RealClock
from monitor.page import made as made_module
from monitor.page import server as page_server
from monitor.page.documents import BLACK, assets
from monitor.page.lists import Lists
from monitor.page.made import Maker
from tests.page.served import NAME, Listener, Served, Told
from tests.page.test_journals import put

LIT = {"light": True, "id": "x:1", "slots": {}, "films": []}


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """One server for all; what its child makes is in line with everything else on a busy machine."""
    state = tmp_path_factory.mktemp("state")
    (state / "journals").mkdir()
    put(state / "journals", "01-cold-laundry", closed=True)
    source = Told(LIT)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(made_module, "LAST_IN_LINE", 0)
        maker = Maker(lambda: source.busy)
        made = Served(source, Lists(state / "station.toml", state, maker, RealClock().wall))
        yield made
        made.close()
        maker.close()


@pytest.fixture(autouse=True)
def _lit(served: Served) -> None:
    served.source.tell(LIT)
    _wait(lambda: served.pulse.lit)


def _answering() -> int:
    """Threads that answer a request now."""
    return sum("process_request_thread" in thread.name for thread in threading.enumerate())


def _wait(what: Any) -> None:
    bell = threading.Event()
    for _ in range(400):
        if what():
            return
        bell.wait(0.01)
    raise AssertionError("it never came")


def test_our_own_page_is_answered_with_headers_that_shut_it_in(served: Served) -> None:
    """No other host, no frame, no guessing of types, no address handed on, nothing kept; no permission for other pages."""
    status, headers, body = served.ask("/")
    assert status == 200
    assert b"lease.js" in body
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "no-referrer"
    assert headers["cache-control"] == "no-store"
    assert not [name for name in headers if name.startswith("access-control")]


@pytest.mark.parametrize("path", ["/", "/events", "/snapshot", "/page.js", "/journals", "/nowhere"])
@pytest.mark.parametrize("host", ["evil.example", "evil.example:{port}", "127.0.0.1", "127.0.0.1:1"])
def test_a_rebound_name_is_misdirected_on_every_path(served: Served, path: str, host: str) -> None:
    """421, and nothing of ours in the answer."""
    status, _, body = served.ask(path, host=host.format(port=served.port))
    assert status == 421
    assert len(body) < 100


def test_the_name_on_the_network_is_answered(served: Served) -> None:
    """As phones ask for it."""
    assert served.ask("/", host=f"{NAME}:{served.port}")[0] == 200


def test_without_a_host_or_with_two_there_is_no_answer(served: Served) -> None:
    """HTTP/1.0, HTTP/0.9, a second header."""
    own = f"Host: 127.0.0.1:{served.port}\r\n".encode()
    assert b" 421 " in served.raw(b"GET / HTTP/1.0\r\n\r\n").split(b"\r\n")[0]
    assert b"lease" not in served.raw(b"GET /\r\n\r\n")
    assert b" 421 " in served.raw(b"GET / HTTP/1.1\r\n" + own + own + b"\r\n").split(b"\r\n")[0]


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "http://127.0.0.1:1"])
def test_another_page_reads_nothing(served: Served, origin: str) -> None:
    """Neither by fetch nor by an event stream."""
    for path in ("/snapshot", "/events", "/"):
        assert served.ask(path, Origin=origin)[0] == 403


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT", "BREW"])
@pytest.mark.parametrize("origin", [None, "own", "http://evil.example"])
def test_nothing_can_be_written(served: Served, method: str, origin: str | None) -> None:
    """With its own origin, without one, with another one: refused, and there is no code behind it."""
    more = {} if origin is None else {"Origin": f"http://127.0.0.1:{served.port}" if origin == "own" else origin}
    for path in ("/", "/events", "/snapshot", "/develop", "/abandon"):
        assert served.ask(path, method, **more)[0] in (403, 405, 501)


def test_a_form_with_a_body_is_refused_unread(served: Served) -> None:
    """A cross-site form arrives from any page that the person visits."""
    assert served.ask("/", "POST", Content_Type="text/plain", Content_Length="7")[0] == 413
    assert served.ask("/", "GET", Transfer_Encoding="chunked")[0] == 413


@pytest.mark.parametrize("header", ["X-Forwarded-For", "Forwarded", "X-Real-IP", "Via"])
def test_nobody_comes_through_a_proxy(served: Served, header: str) -> None:
    """Its address would be this machine's."""
    assert served.ask("/", **{header.replace("-", "_"): "127.0.0.1"})[0] == 403


def test_a_public_peer_is_hung_up_on_unread(served: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    """Before a byte is read, so before any name is looked at."""
    monkeypatch.setattr(page_server, "private", lambda address: address != "127.0.0.1")
    assert served.raw(f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{served.port}\r\n\r\n".encode()) == b""


@pytest.mark.parametrize(
    "path",
    [
        "/reports/../../../../etc/passwd", "/reports/..%2f..%2fetc%2fpasswd", "/reports/%2e%2e/%2e%2e/state", "/reports/261106-1910a.jsonl",
        "/reports/", "/reports/x%00", "/reports//etc/passwd", "/../page.py", "/static/page.js", "/page.html", "/journals/..",
        "//etc/passwd",
        "/recipes/..%2fstation.toml", "/recipes/station.toml/card/x", "http://evil.example/", "/%2fevents", "/reports/" + "a" * 500, "*",
    ],
)  # fmt: skip
def test_no_path_leads_anywhere_else(served: Served, path: str) -> None:
    """What is not on the list is not here."""
    status, _, body = served.ask(path)
    assert status in (200, 404)
    assert b"root:" not in body
    assert status == 404 or path == "http://evil.example/"


def test_a_request_that_is_too_long_is_refused(served: Served) -> None:
    """Its line, one header, many headers."""
    own = f"Host: 127.0.0.1:{served.port}\r\n".encode()
    for attack in (
        b"GET /" + b"a" * 9000 + b" HTTP/1.1\r\n" + own + b"\r\n",
        b"GET / HTTP/1.1\r\n" + own + b"X: " + b"a" * 9000 + b"\r\n\r\n",
        b"GET / HTTP/1.1\r\n" + own + b"A: b\r\n" * 2000 + b"\r\n",
    ):
        assert served.raw(attack).split(b"\r\n")[0].split()[1] in (b"431", b"414")


def test_bytes_that_are_no_request_get_a_short_answer_or_none(served: Served) -> None:
    """And the server goes on."""
    tls = b"\x16\x03\x01\x02\x00\x01" * 20
    for attack in (tls + b"\r\n\r\n", b"\r\n\r\n", b"GET\r\n\r\n", b"GET / HTTP/9.9\r\n\r\n", b"\xff\xfe / HTTP/1.1\r\n\r\n"):
        assert len(served.raw(attack)) < 700
    assert served.ask("/")[0] == 200


def test_who_sends_slowly_is_hung_up_on(served: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    """The whole request has so long, however many pieces keep coming."""
    monkeypatch.setattr(page_server, "HEAD_S", 0.4)
    bell = threading.Event()
    with socket.create_connection(("127.0.0.1", served.port), timeout=5.0) as end:
        end.sendall(b"GET / HTTP/1.1\r\n")
        hung_up = False
        for _ in range(60):
            try:
                end.sendall(b"X")
            except OSError:
                hung_up = True
                break
            bell.wait(0.05)
    assert hung_up


def test_silent_connections_take_so_many_threads_and_no_more(served: Served) -> None:
    """The next one is told to come again, at once; streams that are open go on, and so does everything once they have gone."""
    listener = Listener(served.port)
    listener.event()
    silent = [socket.create_connection(("127.0.0.1", served.port)) for _ in range(page_server.MOST_AT_ONCE + 10)]
    try:
        _wait(lambda: _answering() == page_server.MOST_AT_ONCE)
        answer = b""
        with socket.create_connection(("127.0.0.1", served.port), timeout=5.0) as end:
            answer = end.recv(400)
        assert _answering() == page_server.MOST_AT_ONCE
        assert b" 503 " in answer
        assert b"Retry-After" in answer
        assert listener.event()["light"] is True
    finally:
        for end in silent:
            end.close()
    listener.close()
    _wait(lambda: _answering() == 0)
    assert served.ask("/")[0] == 200


def test_a_stream_costs_no_thread(served: Served) -> None:
    """Sixty of them, each with its snapshots; a page is answered as ever."""
    listeners = [Listener(served.port) for _ in range(60)]
    for listener in listeners:
        assert listener.event()["light"] is True
    _wait(lambda: _answering() == 0)
    assert served.ask("/")[0] == 200
    for listener in listeners:
        listener.close()
    _wait(lambda: len(served.pulse.streams) == 0)


def test_an_event_stream_is_one(served: Served) -> None:
    """Type, retry, and nothing kept."""
    with socket.create_connection(("127.0.0.1", served.port), timeout=5.0) as end:
        end.sendall(f"GET /events HTTP/1.1\r\nHost: 127.0.0.1:{served.port}\r\n\r\n".encode())
        got = b""
        while b"data: " not in got:
            got += end.recv(4096)
    assert b"Content-Type: text/event-stream" in got
    assert b"no-store" in got
    assert b"\r\n\r\nretry: 1000\n\n" in got


def test_there_is_no_room_for_more_streams_than_were_named() -> None:
    """503 and a time to come again."""
    few = Served(Told(LIT), most=2)
    listeners = [Listener(few.port) for _ in range(2)]
    for listener in listeners:
        listener.event()
    status, headers, _ = few.ask("/events")
    assert (status, "retry-after" in headers) == (503, True)
    for listener in listeners:
        listener.close()
    few.close()


@pytest.mark.parametrize("path", ["/", "/journals", "/recipes", "/ledger", "/reports/261106-1910a", "/nowhere", "/recipes/x.toml/card"])
def test_in_the_dark_every_document_is_black(served: Served, path: str) -> None:
    """Status 503, no word; the stream and the snapshot say that it is dark, and nothing else."""
    served.source.tell({"light": False})
    _wait(lambda: not served.pulse.lit)
    status, headers, body = served.ask(path)
    assert (status, body) == (503, BLACK)
    assert "retry-after" in headers
    assert served.ask("/snapshot")[2] == b'{"light":false}'
    listener = Listener(served.port)
    assert listener.event() == {"light": False}
    listener.close()


def test_what_is_served_from_the_disk_is_a_list_made_once(served: Served) -> None:
    """Styles and scripts, with their types; they ask for nothing from elsewhere."""
    assert {"/page.js", "/lease.js", "/write.js", "/class.js", "/page.css", "/lease.css"} == assets().keys()
    for path, (kind, body) in assets().items():
        status, headers, got = served.ask(path)
        assert (status, headers["content-type"], got) == (200, kind, body)
        assert b"//" not in body.replace(b"\n// ", b"").replace(b"// ", b"") or path.endswith(".js")
        assert b"http" not in body
        assert b"eval(" not in body


def test_answers_are_of_closed_sessions_and_not_for_the_dark(served: Served) -> None:
    """JSON; elsewhere not here, and in the dark a black page like any other path."""
    status, headers, body = served.ask("/answers/261106-1910a")
    assert (status, headers["content-type"]) == (200, "application/json")
    assert "Hands" in json.loads(body)
    for attack in ("/answers/", "/answers/..%2f..%2fetc%2fpasswd", "/answers/../x", "/answers/261106-9999z"):
        assert served.ask(attack)[0] == 404
    served.source.tell({"light": False})
    _wait(lambda: not served.pulse.lit)
    assert served.ask("/answers/261106-1910a")[2] == BLACK


def test_head_is_answered_without_a_body(served: Served) -> None:
    """As GET, but for that."""
    status, headers, body = served.ask("/", "HEAD")
    assert (status, body) == (200, b"")
    assert int(headers["content-length"]) > 1000


def test_lists_are_read_only_pages_under_the_lease(served: Served, tmp_path: Path) -> None:
    """The sessions with a link to each report."""
    status, _, body = served.ask("/journals")
    assert status == 200
    assert b'href="/reports/261106-1910a"' in body
    assert b"<form" not in body
    assert b"lease.css" in body


def test_where_no_thread_can_be_started_no_place_is_lost(served: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    """The kernel's limit: whoever asks then is hung up on, more often than there are places, and later all are answered."""
    _wait(lambda: _answering() == 0)

    def refused(self: threading.Thread) -> None:
        raise RuntimeError("can't start new thread")

    with monkeypatch.context() as limited:
        limited.setattr(threading.Thread, "start", refused)
        for _ in range(page_server.MOST_AT_ONCE + 2):
            assert served.raw(f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{served.port}\r\n\r\n".encode()) == b""
    assert served.ask("/")[0] == 200
