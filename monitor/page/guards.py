"""Who is answered at all: by address, by the name that was asked for, by the page that asks. Before anything else is looked at.

A web page that the person visits can send requests to this address, and by DNS rebinding read the answers; a router may let the whole
internet in. Sources: page.md, section 4. Pure. Tests: tests/page/test_guards.py.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Iterable, Mapping

from monitor.page.pairing import DEVICE_DAYS

PRIVATE = tuple(map(ipaddress.IPv4Network, ("127.0.0.0/8", "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16")))
"""Loopback, RFC 1918 and link-local. Shared address space (100.64.0.0/10) is not among them: overlays reach through it from far."""
PROXIED = ("forwarded", "via", "x-forwarded-for", "x-forwarded-host", "x-forwarded-proto", "x-real-ip")
"""Whoever comes through a proxy is somebody else than his address says."""
COOKIE = "evenbath"
MOST_BODY = 4096
"""Bytes of what a page may send to be written."""
JSON_TYPES = ("application/json", "application/json; charset=utf-8", "application/json;charset=utf-8")


def private(address: str) -> bool:
    """Whether this peer is on this machine or on a private network. Anything that is no IPv4 address is not."""
    try:
        told = ipaddress.IPv4Address(address)
    except ValueError:
        return False
    return any(told in network for network in PRIVATE)


def hosts(names: Iterable[str], port: int) -> frozenset[str]:
    """What may stand in `Host`, in lower case: each name with the port, and alone where it is the usual one."""
    told = {f"{name.lower()}:{port}" for name in names}
    return frozenset(told | ({name.lower() for name in names} if port == 80 else set()))


def refusal(headers: Mapping[str, str], own: frozenset[str], *, writes: bool = False) -> tuple[int, str] | None:
    """Status and reason for which a request is turned away; None if it may go on. `headers`: by lower-case name, repeated ones joined by
    commas; `own`: what `hosts` allows; `writes`: it asks for something to be written, for which `body_length` has more rules."""
    if headers.get("host", "").lower() not in own:
        return 421, "not the name of this station"
    if any(name in headers for name in PROXIED):
        return 403, "not through a proxy"
    origin = headers.get("origin")
    if origin is not None and origin.lower() not in {f"http://{name}" for name in own}:
        return 403, "asked by another page"
    if writes:
        return None
    if ("content-length" in headers and headers["content-length"] != "0") or "transfer-encoding" in headers:
        return 413, "a request has no body here"
    return None


def body_length(headers: Mapping[str, str]) -> int | tuple[int, str]:
    """The bytes of a body that may be read, or status and reason for which it is not. `headers` have passed `refusal`.

    A form of another page can send neither this type nor this origin without the browser asking first, and we never say yes to that.
    """
    if headers.get("origin", "").lower() != f"http://{headers['host'].lower()}":
        return 403, "asked by no page of this station"
    if headers.get("content-type", "").lower() not in JSON_TYPES:
        return 415, "only application/json"
    length = headers.get("content-length", "")
    if "transfer-encoding" in headers or not (length.isascii() and length.isdigit()):
        return 411, "how long is it?"
    if len(length) > 6 or int(length) > MOST_BODY:
        return 413, f"longer than {MOST_BODY} bytes"
    return int(length)


def cookie_token(headers: Mapping[str, str]) -> str | None:
    """What our cookie says; None where there is none, or more than one: then somebody else has planted one beside ours."""
    pairs = (part.strip().partition("=") for part in headers.get("cookie", "").split(";"))
    told = [value for name, _, value in pairs if name == COOKIE]
    return told[0] if len(told) == 1 else None


def set_cookie(token: str) -> str:
    """The header's value: for this host alone, never for a script, never sent along by another page. `Secure` needs https."""
    return f"{COOKIE}={token}; Path=/; HttpOnly; SameSite=Strict; Max-Age={DEVICE_DAYS * 86400}"
