"""Who is answered at all: by address, by the name that was asked for, by the page that asks. Before anything else is looked at.

A web page that the person visits can send requests to this address, and by DNS rebinding read the answers; a router may let the whole
internet in. Sources: page.md, section 4. Pure. Tests: tests/page/test_guards.py.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Iterable, Mapping

PRIVATE = tuple(map(ipaddress.IPv4Network, ("127.0.0.0/8", "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16")))
"""Loopback, RFC 1918 and link-local. Shared address space (100.64.0.0/10) is not among them: overlays reach through it from far."""
PROXIED = ("forwarded", "via", "x-forwarded-for", "x-forwarded-host", "x-forwarded-proto", "x-real-ip")
"""Whoever comes through a proxy is somebody else than his address says."""


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


def refusal(headers: Mapping[str, str], own: frozenset[str]) -> tuple[int, str] | None:
    """Status and reason for which a request is turned away; None if it may go on. `headers`: by lower-case name, repeated ones joined by
    commas; `own`: what `hosts` allows."""
    if headers.get("host", "").lower() not in own:
        return 421, "not the name of this station"
    if any(name in headers for name in PROXIED):
        return 403, "not through a proxy"
    origin = headers.get("origin")
    if origin is not None and origin.lower() not in {f"http://{name}" for name in own}:
        return 403, "asked by another page"
    if ("content-length" in headers and headers["content-length"] != "0") or "transfer-encoding" in headers:
        return 413, "a request has no body here"
    return None
