"""What may be posted, under attack, on a real socket: other pages, types and names, too much, too slow, cookies that are not ours."""

from __future__ import annotations

import json
import socket
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from monitor.page import pairing as pairing_module
from monitor.page import sentences
from monitor.page import server as page_server
from monitor.page.bodies import Text
from monitor.page.guards import COOKIE, MOST_BODY
from monitor.page.pairing import Pairing
from monitor.page.writes import Write, Writes
from tests.fake_clock import FakeClock
from tests.page.served import NAME, Served, Told
from tests.page.test_server import LIT, _wait


class Desk:
    """Something that can be written, and what was."""

    def __init__(self) -> None:
        self.written: list[str] = []

    def write(self, told: Any) -> str:
        """Keep it."""
        self.written.append(told["text"])
        return "kept"


class Posted(Served):
    """A server with a desk and a pairing."""

    def __init__(self, state: Path) -> None:
        self.desk = Desk()
        self.pairing = Pairing(state, FakeClock())
        writes = Writes(self.pairing, {"/writes/note": Write({"text": Text(50)}, self.desk.write)})
        super().__init__(Told(LIT), writes=writes)

    def token(self) -> str:
        """Of a phone that has just been paired."""
        token = self.pairing.trade(self.pairing.new_code())
        assert token is not None
        return token


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Posted]:
    """One for all."""
    rounds, pairing_module.ROUNDS = pairing_module.ROUNDS, 1
    made = Posted(tmp_path_factory.mktemp("state"))
    yield made
    made.close()
    pairing_module.ROUNDS = rounds


@pytest.fixture(autouse=True)
def _fresh(served: Posted) -> None:
    served.source.tell(LIT)
    _wait(lambda: served.pulse.lit)
    served.desk.written.clear()
    served.pairing.revoke(None)


def test_our_own_page_writes_with_the_cookie_of_a_paired_phone(served: Posted) -> None:
    """The control of all that follows."""
    assert served.post("/writes/note", {"text": "x"}, served.token())[::2] == (200, "kept")
    assert served.desk.written == ["x"]


def test_a_code_is_traded_for_a_cookie_that_no_script_reads_and_no_other_page_sends(served: Posted) -> None:
    """HttpOnly, SameSite=Strict, this host alone; the token is in no body."""
    code = served.pairing.new_code()
    status, headers, words = served.post("/pair", {"code": code})
    assert status == 200
    token, *attributes = headers["set-cookie"].split("; ")
    assert {"HttpOnly", "SameSite=Strict", "Path=/"} <= set(attributes)
    assert not [one for one in attributes if one.startswith("Domain")]
    assert token.removeprefix(f"{COOKIE}=") not in words
    assert served.post("/writes/note", {"text": "x"}, token.removeprefix(f"{COOKIE}="))[0] == 200
    assert served.post("/pair", {"code": code})[0] == 403, "one use"


@pytest.mark.parametrize("code", ["", "00000000", "K7QF-29MX", 12345678, None, ["K7QF29MX"], "x" * 5000, "K7QF\r\nSet-Cookie: evenbath=x"])
def test_a_wrong_code_gets_no_cookie(served: Posted, code: object) -> None:
    """Of whatever kind."""
    served.pairing.new_code()
    status, headers, _ = served.post("/pair", {"code": code})
    assert status in (400, 403, 413)
    assert "set-cookie" not in headers
    assert served.pairing.devices() == ()


def test_the_sixth_try_is_refused_over_the_network_too(served: Posted) -> None:
    """In the same words as every wrong one: they tell nothing."""
    code = served.pairing.new_code()
    wrong = "".join("3" if sign != "3" else "4" for sign in code)
    answers = {served.post("/pair", {"code": wrong})[::2] for _ in range(5)}
    answers.add(served.post("/pair", {"code": code})[::2])
    assert len(answers) == 1
    assert answers.pop()[0] == 403


@pytest.mark.parametrize("origin", ["", "null", "http://evil.example", "https://127.0.0.1:{port}", "http://127.0.0.1", "http://127.0.0.1:1"])
@pytest.mark.parametrize("path", ["/pair", "/writes/note"])
def test_without_our_own_origin_nothing_is_written(served: Posted, origin: str, path: str) -> None:
    """Absent, null, another one, our own with another scheme or port."""
    code, token = served.pairing.new_code(), ""
    body = {"code": code} if path == "/pair" else {"text": "x"}
    status, headers, _ = served.post(path, body, token, Origin=origin.format(port=served.port))
    assert status == 403
    assert "set-cookie" not in headers
    assert served.desk.written == []
    assert served.pairing.trade(code) is not None, "no try was counted"


def test_of_two_names_of_ours_the_one_that_was_asked_counts(served: Posted) -> None:
    """A page at the other name is another origin, with another cookie."""
    token = served.token()
    assert served.post("/writes/note", {"text": "x"}, token, Origin=f"http://{NAME}:{served.port}")[0] == 403
    both = {"Host": f"{NAME}:{served.port}", "Origin": f"http://{NAME}:{served.port}"}
    assert served.post("/writes/note", {"text": "x"}, token, **both)[0] == 200


@pytest.mark.parametrize(
    "kind",
    ["", "text/plain", "application/x-www-form-urlencoded", "multipart/form-data", "text/plain; application/json",
     "application/json, text/plain", "application/jsonp"],
)  # fmt: skip
def test_a_type_that_a_form_can_send_is_refused(served: Posted, kind: str) -> None:
    """What a cross-site form sends without asking."""
    assert served.post("/writes/note", {"text": "x"}, served.token(), Content_Type=kind)[0] == 415
    assert served.desk.written == []


def test_without_a_paired_cookie_nothing_is_written(served: Posted) -> None:
    """None, an empty one, a made-up one, a hash, a revoked one, one beside another."""
    token = served.token()
    device = served.pairing.device(token)
    assert device is not None
    for made_up in (None, "", "A" * 43, device.hash, device.id, token[:-1], token + "A", f'"{token}"', token.swapcase()):
        assert served.post("/writes/note", {"text": "x"}, made_up)[0] == 401
    served.pairing.revoke(device.id)
    assert served.post("/writes/note", {"text": "x"}, token)[0] == 401
    assert served.desk.written == []


def test_a_planted_cookie_is_never_taken_over(served: Posted) -> None:
    """Another service of the same machine can plant one: it pairs nothing, and pairing gives another one."""
    planted = "P" * 43
    _, headers, _ = served.post("/pair", {"code": served.pairing.new_code()}, planted)
    token = headers["set-cookie"].partition("=")[2].partition(";")[0]
    assert token != planted
    assert served.post("/writes/note", {"text": "x"}, planted)[0] == 401
    for cookie in (f"evenbath={planted}; evenbath={token}", f"evenbath={token}; evenbath={planted}", f"evenbath={token}; evenbath={token}"):
        assert served.post("/writes/note", {"text": "x"}, Cookie=cookie)[0] == 401
    assert served.post("/writes/note", {"text": "x"}, Cookie=f"a=b; evenbath={token}; c=d")[0] == 200


def test_a_rebound_name_writes_nothing(served: Posted) -> None:
    """It is its own origin, and says so; the name is not ours."""
    evil = {"Host": f"evil.example:{served.port}", "Origin": f"http://evil.example:{served.port}"}
    assert served.post("/writes/note", {"text": "x"}, served.token(), **evil)[0] == 421
    assert served.post("/pair", {"code": served.pairing.new_code()}, **evil)[0] == 421


@pytest.mark.parametrize(
    "body",
    [b"", b"x", b"[]", b"null", b'"text"', b'{"text": "x"', b'{"text": "x"}{}', b'{"text": NaN}', b'{"text": 1e999}', b'{"text": 7}',
     b'{"text": null}', b'{"text": ["x"]}', b'{"text": ""}', b'{"text": " \\n "}', b'{"text": "' + b"x" * 51 + b'"}', b"{}",
     b'{"text": "x", "session": "y"}', b'{"text": "x", "text": "y"}', b'{"__proto__": 1, "text": "x"}', b"[" * 3000 + b"]" * 900,
     b'{"text":' * 400, b'{"text": ' + b"9" * 4000 + b"}", b'\xff\xfe{"text": "x"}', b'{"text": "\xff"}', '{"text": "x"}'.encode("utf-16")],
)  # fmt: skip
def test_a_body_that_is_not_as_declared_is_refused_in_one_sentence(served: Posted, body: bytes) -> None:
    """No JSON, no object, not that kind, too deep, a field more, less or twice, bytes that are no text."""
    status, _, words = served.post("/writes/note", body, served.token())
    assert status == 400
    assert "allowed:" in words
    assert "\n" not in words
    assert served.desk.written == []


def test_control_characters_and_lines_of_a_text_become_blanks(served: Posted) -> None:
    """Nothing that is shown later can ring, move or forge a line, and no answer gets a header more."""
    told = "a\r\nSet-Cookie: x=y\x1b[2J\u202e\ud800b"
    status, headers, _ = served.post("/writes/note", {"text": told}, served.token())
    assert status == 200
    assert "set-cookie" not in headers
    assert served.desk.written == ["a Set-Cookie: x=y\ufffd[2J\ufffd\ufffdb"]


def test_a_refusal_shows_no_control_character_of_what_was_sent(served: Posted) -> None:
    """A field's name stands in it."""
    _, _, words = served.post("/writes/note", {"text": "x", "\x1b[2J\r\nX: y": 1}, served.token())
    assert words.isprintable()


@pytest.mark.parametrize(
    ("headers", "status"),
    [({"Content_Length": str(MOST_BODY + 1)}, 413), ({"Content_Length": "9" * 30}, 413), ({"Content_Length": ""}, 411),
     ({"Content_Length": "-1"}, 411), ({"Content_Length": "+5"}, 411), ({"Content_Length": "0x5"}, 411),
     ({"Content_Length": "5, 5"}, 411), ({"Transfer_Encoding": "chunked"}, 411)],
)  # fmt: skip
def test_a_body_is_bounded_before_it_is_read(served: Posted, headers: dict[str, str], status: int) -> None:
    """By its own word, which must be a plain number."""
    assert served.post("/writes/note", b"{}" if "Content_Length" in headers else {"text": "x"}, served.token(), **headers)[0] == status


def test_two_lengths_are_none(served: Posted) -> None:
    """As smuggled requests have them; what comes after a body is never a second request."""
    own = f"127.0.0.1:{served.port}"
    head = f"POST /writes/note HTTP/1.1\r\nHost: {own}\r\nOrigin: http://{own}\r\nContent-Type: application/json\r\n"
    cookie = f"Cookie: evenbath={served.token()}\r\n"
    assert b" 411 " in served.raw((head + cookie + "Content-Length: 13\r\nContent-Length: 13\r\n\r\n").encode() + b'{"text": "x"}')
    twice = (head + cookie + "Content-Length: 13\r\n\r\n").encode() + b'{"text": "x"}'
    assert served.raw(twice + twice).count(b"HTTP/1.1") == 1
    assert served.desk.written == ["x"]


def test_the_longest_body_comes_in_behind_the_longest_head(served: Posted) -> None:
    """Its bytes are not those of the head."""
    text = json.dumps({"text": "x"}).ljust(MOST_BODY).encode()
    assert served.post("/writes/note", text, served.token(), X="y" * 6000)[0] == 200


def test_a_body_that_never_comes_holds_no_thread(served: Posted, monkeypatch: pytest.MonkeyPatch) -> None:
    """Cut off, or dripping: the time of the whole request counts."""
    monkeypatch.setattr(page_server, "HEAD_S", 0.3)
    own = f"127.0.0.1:{served.port}"
    head = f"POST /writes/note HTTP/1.1\r\nHost: {own}\r\nOrigin: http://{own}\r\nContent-Type: application/json\r\n"
    head += "Content-Length: 13\r\n\r\n"
    assert served.raw(head.encode() + b'{"te') == b"", "hung up on"
    with socket.create_connection(("127.0.0.1", served.port), timeout=5.0) as end:
        end.sendall(head.encode() + b'{"te')
        end.shutdown(socket.SHUT_WR)
        assert b" 400 " in end.recv(4096)
    assert served.desk.written == []


def test_nobody_is_told_to_go_on(served: Posted) -> None:
    """`Expect: 100-continue` would be answered before the name was looked at."""
    assert served.post("/writes/note", {"text": "x"}, served.token(), Expect="100-continue")[0] == 417


def test_in_the_dark_nothing_is_written_and_nothing_is_said(served: Posted) -> None:
    """Not even that the phone is not paired."""
    token = served.token()
    code = served.pairing.new_code()
    served.source.tell({"light": False})
    _wait(lambda: not served.pulse.lit)
    for path, told in (("/writes/note", {"text": "x"}), ("/pair", {"code": code})):
        status, headers, body = served.post(path, told, token)
        assert status == 503
        assert "set-cookie" not in headers
        assert "<body bgcolor" in body
    assert served.desk.written == []
    assert served.pairing.trade(code) is not None


@pytest.mark.parametrize("path", ["/writes", "/writes/note/", "/writes/note?x=1", "/writes/../pair", "/writes/start", "/Pair", "/"])
def test_nothing_else_can_be_posted_to(served: Posted, path: str) -> None:
    """The list is the list: no start, no stop, no shift, no light."""
    assert served.post(path, {"text": "x"}, served.token())[0] in (405, 413)
    assert served.desk.written == []


@pytest.mark.parametrize("method", ["GET", "PUT", "DELETE", "PATCH", "OPTIONS", "HEAD"])
def test_only_post_writes(served: Posted, method: str) -> None:
    """And a preflight of another page is never allowed anything."""
    status, headers, _ = served.ask("/writes/note", method, Cookie=f"evenbath={served.token()}")
    assert status in (404, 405)
    assert not [name for name in headers if name.startswith("access-control")]


def test_a_broken_list_of_phones_is_told_and_opens_nothing(served: Posted, tmp_path: Path) -> None:
    """To the phone in one sentence, without the path."""
    token = served.token()
    path = served.pairing._path
    sound = path.read_bytes()
    path.write_bytes(b"{")
    try:
        for where, told in (("/writes/note", {"text": "x"}), ("/pair", {"code": "00000000"})):
            status, _, words = served.post(where, told, token)
            assert status == 503
            assert words == sentences.PAIRING_BROKEN
            assert "/" not in words
    finally:
        path.write_bytes(sound)
    assert served.desk.written == []
    assert served.post("/writes/note", {"text": "x"}, token)[0] == 200


def test_a_write_that_waits_for_another_one_is_told_to_come_again(served: Posted, monkeypatch: pytest.MonkeyPatch) -> None:
    """One at a time, so a shell that holds the ledger holds one thread of the page and no more."""
    monkeypatch.setattr("monitor.page.writes.PATIENCE_S", 0.05)
    writes = served.server.writes
    assert writes is not None
    with writes._turn:
        assert served.post("/writes/note", {"text": "x"}, served.token())[0] == 503


def test_a_page_without_writes_has_no_pairing(tmp_path: Path) -> None:
    """As a class's."""
    made = Served(Told(LIT))
    try:
        assert made.post("/pair", {"code": "00000000"})[0] in (405, 413)
        assert made.ask("/pair")[0] == 404
    finally:
        made.close()
