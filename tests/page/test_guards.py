"""Who is answered: by address, name and the page that asks."""

from __future__ import annotations

import pytest

from monitor.page.guards import body_length, cookie_token, hosts, private, refusal

OWN = hosts(["127.0.0.1", "localhost", "laundry.local", "192.168.178.42"], 8410)


@pytest.mark.parametrize("address", ["127.0.0.1", "127.8.9.1", "10.1.2.3", "172.16.0.1", "172.31.255.255", "192.168.178.20", "169.254.3.4"])
def test_this_machine_and_private_networks_are_answered(address: str) -> None:
    """Loopback, RFC 1918, link-local."""
    assert private(address)


@pytest.mark.parametrize(
    "address", ["8.8.8.8", "172.15.0.1", "172.32.0.1", "100.64.0.7", "0.0.0.0", "224.0.0.1", "::1", "fe80::1", "192.168.1", "", "127.1"]
)
def test_everybody_else_is_not(address: str) -> None:
    """Public addresses, overlays, IPv6, and what is no address."""
    assert not private(address)


@pytest.mark.parametrize("host", ["127.0.0.1:8410", "localhost:8410", "LAUNDRY.local:8410", "192.168.178.42:8410"])
def test_our_own_names_are_answered(host: str) -> None:
    """With the port, whatever the case."""
    assert refusal({"host": host}, OWN) is None


@pytest.mark.parametrize(
    "host",
    ["", "evil.example:8410", "127.0.0.1", "127.0.0.1:80",
     "laundry.local.evil.example:8410", "laundry.local:8410,evil:8410", "[::1]:8410"],
)
def test_any_other_name_is_refused_before_anything(host: str) -> None:
    """A rebound name, no name, another port, two names."""
    refused = refusal({"host": host, "origin": "http://evil.example"}, OWN)
    assert refused is not None
    assert refused[0] == 421


def test_without_a_host_there_is_no_answer() -> None:
    """As HTTP/1.0 and 0.9 ask."""
    assert refusal({}, OWN) is not None


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1:8410", "http://127.0.0.1", "http://127.0.0.1:8411"])
def test_what_another_page_asks_is_refused(origin: str) -> None:
    """Its name is told by the browser; our own page's is ours."""
    refused = refusal({"host": "127.0.0.1:8410", "origin": origin}, OWN)
    assert refused is not None
    assert refused[0] == 403
    assert refusal({"host": "127.0.0.1:8410", "origin": "http://laundry.local:8410"}, OWN) is None


@pytest.mark.parametrize("header", ["x-forwarded-for", "forwarded", "x-real-ip", "via", "x-forwarded-host"])
def test_nobody_comes_through_a_proxy(header: str) -> None:
    """Its peer is this machine, whoever is behind it."""
    refused = refusal({"host": "127.0.0.1:8410", header: "127.0.0.1"}, OWN)
    assert refused is not None
    assert refused[0] == 403


def test_a_request_has_no_body() -> None:
    """There is nothing to write to."""
    for more in ({"content-length": "1"}, {"transfer-encoding": "chunked"}, {"content-length": "0,5"}):
        refused = refusal({"host": "127.0.0.1:8410", **more}, OWN)
        assert refused is not None
        assert refused[0] == 413
    assert refusal({"host": "127.0.0.1:8410", "content-length": "0"}, OWN) is None


def test_what_is_posted_has_a_body_and_all_the_other_rules() -> None:
    """A name, a proxy, an origin that are not right are refused there too; then type and length are looked at."""
    own = {"host": "127.0.0.1:8410", "origin": "http://127.0.0.1:8410", "content-type": "application/json", "content-length": "2"}
    assert refusal(own, OWN, writes=True) is None
    assert body_length(own) == 2
    assert refusal({**own, "host": "evil.example:8410"}, OWN, writes=True) is not None
    assert refusal({**own, "origin": "null"}, OWN, writes=True) is not None
    assert refusal({**own, "via": "x"}, OWN, writes=True) is not None
    assert body_length({name: value for name, value in own.items() if name != "origin"}) == (403, "asked by no page of this station")
    assert body_length({**own, "content-length": "\u0665"}) == (411, "how long is it?")
    assert body_length({**own, "content-length": "4097"}) == (413, "longer than 4096 bytes")


@pytest.mark.parametrize(
    ("cookie", "token"),
    [("evenbath=x", "x"), ("a=b; evenbath=x", "x"), ("evenbath=x; evenbath=x", None), ("evenbathx=x", None), ("", None),
     ("x=evenbath=y", None)],
)  # fmt: skip
def test_one_cookie_of_ours_counts_and_two_are_none(cookie: str, token: str | None) -> None:
    """Whoever can plant one cannot put his before ours."""
    assert cookie_token({"cookie": cookie}) == token
