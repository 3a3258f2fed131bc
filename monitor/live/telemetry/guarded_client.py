"""paho's client, with a guard between the broker's bytes and the library: what was not asked for is refused at its first byte.

Decides which packets a broker may send, and how long one may be; keeps no message. The library reads a packet whole whatever its
header announces, and keeps each message of QoS 2 until the broker releases it: 256 MB of either cost 150 to 250 MB of memory
(`bench_broker`). Here a longer packet is refused before its body is read, and QoS 2, of which nothing was ever asked, before it is
handled. The connection is handed in, ready, so that the library resolves and connects nothing. It leans on five private parts of
paho (`_create_socket`, `_sock_recv`, `_packet_handle`, `_in_packet`, `_keepalive`), which tests/test_libraries.py holds.
Tests: tests/live/telemetry/test_broker_edge.py.
"""

from __future__ import annotations

import socket
import ssl
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from paho.mqtt.client import Client, MQTTv5, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion

CONNACK, PUBLISH, PUBACK, SUBACK, PINGRESP, DISCONNECT = 0x20, 0x30, 0x40, 0x90, 0xD0, 0xE0
QOS_2_OR_MORE = 0x04
"""The higher bit of the quality of service, in the first byte of PUBLISH."""


@dataclass(frozen=True, slots=True)
class Listeners:
    """Who is told what: the broker's answer to CONNECT, an acknowledgement, an answer to SUBSCRIBE, a message, the end."""

    answered: Callable[[Any, Any], None]
    acked: Callable[[int, Any], None]
    subscribed: Callable[[list[Any]], None]
    came: Callable[[Any], None]
    ended: Callable[[str], None]


class GuardedClient(Client):
    """One connection. `ready`: the connected socket; `longest`: the most bytes after a packet's header; `mqtt_5`: else 3.1.1.

    What it is told is noted, and handed to `listeners` by `deliver`, when the library is not in the middle of something: so a
    fault of a listener is never taken for one of the broker. `cost`: packets read, and KiB of them, since its owner set it to 0.
    """

    def __init__(self, client_id: str, ready: socket.socket, longest: int, mqtt_5: bool, listeners: Listeners) -> None:
        version: MQTTProtocolVersion = MQTTv5 if mqtt_5 else MQTTv311
        clean = None if mqtt_5 else True  # MQTT 5 says so at `connect`
        super().__init__(
            CallbackAPIVersion.VERSION2, client_id=client_id, clean_session=clean, protocol=version, reconnect_on_failure=False
        )
        self._ready, self._longest, self._mqtt_5 = ready, longest, mqtt_5
        self._greeted = False
        self.packets = 0
        self.cost = 0.0
        self.refused: str | None = None
        self.too_long = False
        self._noted: deque[tuple[Callable[..., None], tuple[Any, ...]]] = deque()
        note = self._noted.append
        self.on_connect = lambda _client, _data, _flags, reason, properties: note((listeners.answered, (reason, properties)))
        self.on_publish = lambda _client, _data, mid, reason, _properties: note((listeners.acked, (mid, reason)))
        self.on_subscribe = lambda _client, _data, _mid, reasons, _properties: note((listeners.subscribed, (list(reasons),)))
        self.on_message = lambda _client, _data, message: note((listeners.came, (message,)))
        self.on_disconnect = lambda _client, _data, _flags, reason, _properties: note((listeners.ended, (str(reason).lower(),)))

    def deliver(self) -> None:
        """Tell the listeners what was noted, in order, up to the end."""
        while self._noted:
            what, values = self._noted.popleft()
            what(*values)

    @property
    def arriving(self) -> bool:
        """Whether a packet has begun and has not ended."""
        return bool(self._in_packet["command"])

    def ping_within(self, seconds: int) -> None:
        """Ask for a sign of life at least so often, whatever the broker said of it: 0 there would end the asking."""
        self._keepalive = min(self._keepalive or seconds, seconds)

    def let_go(self) -> None:
        """Close the connection without a word."""
        self.on_disconnect = None
        self._noted.clear()
        self._ready.close()

    def _create_socket(self) -> socket.socket:
        return self._ready

    def _sock_recv(self, bufsize: int) -> bytes:
        if bufsize > self._longest:  # only a packet's body is asked for in such pieces: first as a whole
            self.too_long = True
            self.refused = f"a message of more than {self._longest} bytes was coming"
            raise ConnectionAbortedError(self.refused)
        try:
            return super()._sock_recv(bufsize)
        except ssl.SSLError as wrong:
            self.refused = f"the broker ended the TLS connection ({(wrong.reason or 'unknown').replace('_', ' ').lower()})"
            raise

    def _packet_handle(self) -> MQTTErrorCode:
        self.packets += 1
        self.cost += 1.0 + self._in_packet["remaining_length"] / 1024.0
        self.refused = self._unasked(self._in_packet["command"])
        return MQTTErrorCode.MQTT_ERR_PROTOCOL if self.refused else super()._packet_handle()

    def _unasked(self, first: int) -> str | None:
        """Why a packet with this first byte is refused, None if it may come (MQTT 3.1.1 and 5, sections 2.2.1 and 3)."""
        kind = first & 0xF0
        if not self._greeted:
            self._greeted = kind == CONNACK
            return None if kind == CONNACK else "what it sent first is not MQTT"
        if kind == PUBLISH:
            return "it sends at QoS 2, which nobody asked for" if first & QOS_2_OR_MORE else None
        if first in (PUBACK, SUBACK, PINGRESP) or (first == DISCONNECT and self._mqtt_5):
            return None
        return f"it sent what no broker may (a packet of type {first >> 4})"
