"""One connection to an MQTT broker, driven by the thread that owns it: opened, kept alive, dropped, opened again.

Decides when to connect again (after 1, 2, 4 ... 30 s), when a silent connection is dead, and in which version to speak: MQTT 5 first,
because there a broker can be told how much may come; 3.1.1 where that is all it speaks. What was not asked for is refused by
monitor.live.telemetry.guarded_client in both, since a broker need not keep to it; and nothing is read while anything waits to be
written, or faster than its owner wants it, so memory stays flat whatever the broker does. It keeps nothing that has to arrive: after a
loss it makes a new client without memory, and its owner sends again what was not acknowledged, in order. So nothing depends on
the client library's queue, which forgets at a crash and refuses the newest message when it is full. QoS 1 only: with QoS 2 and a
backlog, library and broker keep disconnecting each other. It uses paho's documented interface for a foreign event loop (`loop_read`,
`loop_write`, `loop_misc`): one thread, and no lock that a callback could need. Only `wake` may be called from other threads.
Tests: tests/live/telemetry/test_mqtt_link.py, test_broker_edge.py.
"""

from __future__ import annotations

import contextlib
import select
import socket
import ssl
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

from monitor.live.broker import MqttConfig
from monitor.live.clock import Clock
from monitor.live.telemetry.dial import BrokerRefused, Dial, Waker, open_to_others, password_of
from monitor.live.telemetry.token_bucket import TokenBucket

if TYPE_CHECKING:
    from paho.mqtt.client import MQTTMessage

    from monitor.live.telemetry.guarded_client import GuardedClient

INFLOW_PER_S = 4000.0
"""What is read in a second: so many packets, and as many KiB beside them. The rest waits at the broker."""
RECEIVE_MAXIMUM = 20
"""How many messages of QoS 1 a broker may have under way to us: as many as a common broker allows by itself."""
OVERHEAD = 16
"""Bytes of a PUBLISH beside its topic and its payload, at most: header, two lengths, number, properties."""

_SHARE_OF_MQTT_5 = 0.4
"""Of the time for an answer: an older broker may be silent where it does not understand (amqtt 0.12 is)."""
_WRONG_VERSION = "Unsupported protocol version"


@dataclass(frozen=True, slots=True)
class Timing:
    """How long a connection waits, seconds. The defaults suit a home network; tests wait less.

    A connection that has gone silent is noticed after `stall_s` if something waits for its acknowledgement, else after at most
    twice `keepalive_s`, and so is one whose packet does not come to its end. Both are less than half of the 45 s within which a
    station answers a recorder. `connect_s` is for name, connection and TLS handshake together, and once more for the broker's answer.
    """

    keepalive_s: int = 10
    connect_s: float = 5.0
    backoff_first_s: float = 1.0
    backoff_most_s: float = 30.0
    stall_s: float = 10.0


class Owner(Protocol):
    """What a link tells its owner, always in the owner's thread: during `turn`; `link_down` also during `publish` and `drop`."""

    def link_up(self) -> None:
        """The broker has accepted the connection."""
        ...

    def link_down(self, why: str) -> None:
        """It is lost. Called once for each connection, whether or not it was ever up."""
        ...

    def link_acked(self, mid: int) -> None:
        """The broker has acknowledged the message with this number."""
        ...

    def link_message(self, topic: str, payload: bytes, retained: bool) -> None:
        """A message came."""
        ...

    def link_told(self, line: str) -> None:
        """Something that a person should know."""
        ...


class BrokerLink:
    """The connection. `will` is (topic, payload), retained; `longest`: the largest packet that is read, bytes.

    `stopping`: whether its owner is about to end; then a connection that is being made is given up at the next `wake`. `inflow_per_s`:
    how much is read, see `INFLOW_PER_S`; None: whatever comes. `window`: how many messages may be unacknowledged, and `fits`: whether
    one is short enough, as the broker said when it accepted the connection.
    """

    def __init__(
        self,
        config: MqttConfig,
        client_id: str,
        owner: Owner,
        clock: Clock,
        timing: Timing,
        longest: int,
        will: tuple[str, bytes] | None = None,
        stopping: Callable[[], bool] = lambda: False,
        inflow_per_s: float | None = None,
    ) -> None:
        self._config, self._client_id, self._owner, self._clock, self._timing = config, client_id, owner, clock, timing
        self._longest, self._will, self._stopping = longest, will, stopping
        self._inflow = None if inflow_per_s is None else TokenBucket(inflow_per_s, inflow_per_s / 2.0)
        self._client: GuardedClient | None = None
        self._mqtt_5 = True
        self._unacked: set[int] = set()
        self._acked_s = self._up_s = self._written_s = self._packet_s = 0.0
        self._packet = -1
        self._told: set[str] = set()
        self._refusal: str | None = None
        self._backoff_s = timing.backoff_first_s
        self._next_try_s = 0.0
        self._connack_by_s = 0.0
        self._waker = Waker()
        self._dial = Dial(config, clock, self._waker, stopping)
        self.up = False
        self.oversize = 0
        self.window = RECEIVE_MAXIMUM
        self._most_bytes: int | None = None
        self.why_down = "not connected yet"

    def wake(self) -> None:
        """End the wait inside `turn`; may be called from any thread. Never blocks, never fails."""
        self._waker.ring()

    def turn(self, timeout_s: float) -> None:
        """One round: connect if it is time to, else exchange what there is; waits no longer than `timeout_s` (connecting: `connect_s`)."""
        now_s = self._clock.mono_s()
        if self._client is not None:
            self._exchange(self._client, max(0.0, timeout_s))
            self._give_up_on_silence()
        elif now_s < self._next_try_s:
            self._waker.sleep(min(max(0.0, timeout_s), self._next_try_s - now_s))
        else:
            try:
                self.open()
            except (BrokerRefused, OSError) as wrong:
                if not self._stopping():
                    self._lost(str(wrong))

    def open(self) -> None:
        """Connect and send CONNECT; `link_up` follows in a later turn. Blocks for `connect_s` at most.

        Raises `BrokerRefused`, and OSError where this process may open no further file.
        """
        for line in open_to_others(self._config):
            self._tell(line)
        password = None if self._config.password_file is None else password_of(self._config.password_file)
        ready = self._dial.connect(self._timing.connect_s)
        try:
            client = self._new_client(ready, password)
        except BaseException:
            ready.close()
            raise
        self._client, self._refusal = client, None
        self._unacked.clear()
        self.window, self._most_bytes = RECEIVE_MAXIMUM, None
        self._written_s, self._packet = self._clock.mono_s(), -1
        self._connack_by_s = self._written_s + self._timing.connect_s * (_SHARE_OF_MQTT_5 if self._mqtt_5 else 1.0)
        try:
            self._greet(client)
        except (OSError, ValueError) as wrong:
            self._client = None
            client.let_go()
            raise BrokerRefused(str(wrong), by_input=isinstance(wrong, ValueError)) from None

    def publish(self, topic: str, payload: bytes, retain: bool = False) -> int | None:
        """Send one message at QoS 1. Returns its number, or None if the connection is lost (`link_down` was called then)."""
        client = self._client
        if client is None or not self.up:
            return None
        if not self._unacked:
            self._acked_s = self._clock.mono_s()
        info = client.publish(topic, payload, qos=1, retain=retain)
        client.deliver()
        if info.rc != 0 or self._client is None:
            self.drop("sending failed")
            return None
        self._unacked.add(info.mid)
        return info.mid

    def fits(self, topic: str, payload: bytes) -> bool:
        """Whether the broker takes a message of this length."""
        return self._most_bytes is None or len(topic.encode()) + len(payload) + OVERHEAD <= self._most_bytes

    def subscribe(self, *topics: str) -> None:
        """Subscribe to these topics, QoS 1."""
        if self._client is not None and topics:
            client = self._client
            client.subscribe([(topic, 1) for topic in topics])
            client.deliver()

    def drop(self, why: str) -> None:
        """Cut the connection without a DISCONNECT, so that the broker publishes the will."""
        client, self._client = self._client, None
        if client is None:
            return
        client.let_go()
        self._lost(why)

    def close(self) -> None:
        """Disconnect (no will) if connected, and close the wake sockets. The link cannot be used afterwards."""
        client, self._client, self.up = self._client, None, False
        if client is not None:
            with contextlib.suppress(OSError, ValueError):
                client.disconnect()
                if client.want_write():
                    client.loop_write()
            client.let_go()
        self._waker.close()

    def _new_client(self, ready: socket.socket, password: str | None) -> GuardedClient:
        from monitor.live.telemetry.guarded_client import GuardedClient, Listeners

        listeners = Listeners(self._answered, self._acked, self._subscribed, self._came, self._ended)
        client = GuardedClient(self._client_id, ready, self._longest, self._mqtt_5, listeners)
        client.max_queued_messages_set(1000)
        if self._config.user is not None:
            client.username_pw_set(self._config.user, password)
        if self._will is not None:
            client.will_set(self._will[0], self._will[1], qos=1, retain=True)
        return client

    def _greet(self, client: GuardedClient) -> None:
        from paho.mqtt.packettypes import PacketTypes
        from paho.mqtt.properties import Properties

        if self._mqtt_5:
            limits = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
            limits.ReceiveMaximum = RECEIVE_MAXIMUM
            limits.MaximumPacketSize = self._longest
            client.connect(self._config.host, self._config.port, self._timing.keepalive_s, clean_start=True, properties=limits)
        else:
            client.connect(self._config.host, self._config.port, self._timing.keepalive_s)

    def _exchange(self, client: GuardedClient, timeout_s: float) -> None:
        sock: Any = client.socket()
        if sock is None:  # it ended while something was sent
            client.deliver()
            self.drop("the connection was lost")
            return
        writes, reads = client.want_write(), self._may_read(client)
        buffered = reads and isinstance(sock, ssl.SSLSocket) and sock.pending() > 0
        poll = select.poll()
        poll.register(self._waker.ear, select.POLLIN)
        poll.register(sock, (select.POLLIN if reads else 0) | (select.POLLOUT if writes else 0))
        wait_s = timeout_s if reads or writes else min(timeout_s, 0.01)
        ready = dict(poll.poll(0 if buffered else wait_s * 1000.0))
        if self._waker.ear.fileno() in ready:
            self._waker.hush()
        events = ready.get(sock.fileno(), 0)
        try:
            if buffered or events & (select.POLLHUP | select.POLLERR) or (reads and events & select.POLLIN):
                self._read(client)
            if not writes or events & select.POLLOUT:
                self._written_s = self._clock.mono_s()
            if events & select.POLLOUT and client.socket() is not None:
                client.loop_write()
            if client.socket() is not None:
                client.loop_misc()
        except Exception as wrong:  # what the library makes of bytes that nobody foresaw is the fault of who sent them
            client.deliver()
            if self._client is client:
                self.drop(f"it sent what is not MQTT ({type(wrong).__name__})")
        client.deliver()

    def _may_read(self, client: GuardedClient) -> bool:
        """Not while answers wait to be written: they would pile up as fast as questions come."""
        if self._inflow is None:
            return not client.want_write()
        self._inflow.refill(self._clock.mono_s())
        return not client.want_write() and not self._inflow.empty

    def _read(self, client: GuardedClient) -> None:
        for _ in range(RECEIVE_MAXIMUM):
            before = client.packets
            client.loop_read()
            if self._inflow is not None:
                self._inflow.take(client.cost)
            client.cost = 0.0
            if client.packets == before or client.socket() is None or not self._may_read(client):
                break

    def _give_up_on_silence(self) -> None:
        client, now_s = self._client, self._clock.mono_s()
        if client is None:
            return
        if not client.arriving or client.packets != self._packet:
            self._packet, self._packet_s = client.packets, now_s
        if not self.up:
            if now_s > self._connack_by_s:
                self._client = None
                client.let_go()
                self._unanswered("the broker accepted the connection and said nothing")
        elif self._unacked and now_s - self._acked_s > self._timing.stall_s:
            self.drop("it acknowledges nothing")
        elif now_s - self._written_s > self._timing.stall_s:
            self.drop("it takes nothing any more")
        elif now_s - self._packet_s > 2.0 * self._timing.keepalive_s:
            self.drop("a message did not come to its end")

    def _lost(self, why: str) -> None:
        now_s = self._clock.mono_s()
        if self.up and now_s - self._up_s >= self._backoff_s:  # one that broke at once is no reason to hurry
            self._backoff_s = self._timing.backoff_first_s
        self.up = False
        self.why_down = why
        self._next_try_s = now_s + self._backoff_s
        self._backoff_s = min(self._backoff_s * 2.0, self._timing.backoff_most_s)
        self._owner.link_down(why)

    def _tell(self, line: str) -> None:
        """Once each, for as long as this program runs."""
        if line not in self._told and len(self._told) < 100:
            self._told.add(line)
            self._owner.link_told(line)

    # What the client tells.

    def _answered(self, reason: Any, properties: Any) -> None:
        client = self._client
        if client is None or self.up:
            return
        if reason.is_failure:
            if str(reason) != _WRONG_VERSION or not self._mqtt_5:
                self._refusal = f"the broker refuses: {str(reason).lower()}"
            return
        lacks = _lacks(properties, retains=self._will is not None)
        if lacks:
            self.drop(f"the broker {lacks}, which this program cannot do without")
            return
        self.window = min(RECEIVE_MAXIMUM, getattr(properties, "ReceiveMaximum", RECEIVE_MAXIMUM))
        self._most_bytes = getattr(properties, "MaximumPacketSize", None)
        client.ping_within(self._timing.keepalive_s)
        self.up, self._up_s = True, self._clock.mono_s()
        self._owner.link_up()

    def _ended(self, reason: str) -> None:
        client, self._client = self._client, None
        if client is None:
            return
        client.let_go()
        self.oversize += client.too_long
        why = self._refusal or client.refused or f"the connection was lost: {reason}"
        if self._config.tls and not self.up and not (self._refusal or client.refused):  # TLS 1.3 refuses a client only after the handshake
            why = "it cut the connection after the TLS handshake; it may want a certificate of this client (cert_file), or another one"
        if self.up or self._refusal is not None:
            self._lost(why)
        else:
            self._unanswered(why)

    def _unanswered(self, why: str) -> None:
        """It may not know MQTT 5: then 3.1.1 is tried at once. What worked last is tried first the next time."""
        self._mqtt_5 = not self._mqtt_5
        if self._mqtt_5:
            self._lost(why)
        else:
            self._next_try_s = self._clock.mono_s()

    def _acked(self, mid: int, reason: Any) -> None:
        self._acked_s = self._clock.mono_s()
        self._unacked.discard(mid)
        if reason is not None and reason.is_failure:
            self._tell(f"the broker does not take what is published: {str(reason).lower()}")
        self._owner.link_acked(mid)

    def _subscribed(self, reasons: list[Any]) -> None:
        for reason in reasons:
            if reason.is_failure:
                self._tell(f"the broker does not let us listen: {str(reason).lower()}")

    def _came(self, message: MQTTMessage) -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError:
            return
        self._owner.link_message(topic, bytes(message.payload), message.retain)

    @property
    def refused(self) -> str | None:
        """What the broker said when it last refused this client, else None."""
        return self._refusal


def _lacks(properties: Any, retains: bool) -> str | None:
    """What a broker said that it does not do, in words, where we need it."""
    if getattr(properties, "MaximumQoS", 1) < 1:
        return "acknowledges no messages (QoS 0 only)"
    if retains and not getattr(properties, "RetainAvailable", 1):
        return "keeps no retained messages"
    return None
