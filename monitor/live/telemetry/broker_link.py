"""One connection to an MQTT broker, driven by the thread that owns it: opened, kept alive, dropped, opened again.

Decides when to connect again (after 1, 2, 4 ... 30 s), when a silent connection is dead, and how large a message may be. It
keeps nothing that has to arrive: after a loss it makes a new client without memory, and its owner sends again what was not
acknowledged, in order. So nothing depends on the client library's queue, which forgets at a crash and refuses the newest
message when it is full. QoS 1 only: with QoS 2 and a backlog, library and broker keep disconnecting each other. It uses paho's
documented interface for a foreign event loop (`loop_read`, `loop_write`, `loop_misc`): one thread, and no lock that a callback
could need. Only `wake` may be called from other threads. Tests: tests/live/telemetry/test_mqtt_link.py.
"""

from __future__ import annotations

import contextlib
import select
import socket
import ssl
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from monitor.live.broker import MqttConfig
from monitor.live.clock import Clock

if TYPE_CHECKING:
    from paho.mqtt.client import Client, MQTTMessage

_TLS_FILES = "ca_file, cert_file or key_file"


@dataclass(frozen=True, slots=True)
class Timing:
    """How long a connection waits, seconds. The defaults suit a home network; tests wait less.

    A connection that has gone silent is noticed after `stall_s` if something waits for its acknowledgement, else after at most
    twice `keepalive_s`. Both are less than half of the 45 s within which a station answers a recorder.
    """

    keepalive_s: int = 10
    connect_s: float = 5.0
    backoff_first_s: float = 1.0
    backoff_most_s: float = 30.0
    stall_s: float = 10.0


class BrokerRefused(Exception):
    """No connection: `why` in plain words. `by_input`: a file or the user name is wrong, and waiting will not help."""

    def __init__(self, why: str, by_input: bool = False) -> None:
        self.why, self.by_input = why, by_input
        super().__init__(why)


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


class BrokerLink:
    """The connection. `will` is (topic, payload), retained; `longest`: the largest message that is read, bytes."""

    def __init__(
        self,
        config: MqttConfig,
        client_id: str,
        owner: Owner,
        clock: Clock,
        timing: Timing,
        longest: int,
        will: tuple[str, bytes] | None = None,
    ) -> None:
        self._config, self._client_id, self._owner, self._clock, self._timing = config, client_id, owner, clock, timing
        self._longest, self._will = longest, will
        self._client: Client | None = None
        self._refusal: str | None = None
        self._backoff_s = timing.backoff_first_s
        self._next_try_s = 0.0
        self._connack_by_s = 0.0
        self._wake_r, self._wake_w = socket.socketpair()
        self._wake_r.setblocking(False)
        self._wake_w.setblocking(False)
        self.up = False
        self.oversize = 0
        self.why_down = "not connected yet"

    def wake(self) -> None:
        """End the wait inside `turn`; may be called from any thread. Never blocks, never fails."""
        with contextlib.suppress(OSError):
            self._wake_w.send(b"\0")

    def turn(self, timeout_s: float) -> None:
        """One round: connect if it is time to, else exchange what there is; waits no longer than `timeout_s`."""
        now_s = self._clock.mono_s()
        if self._client is not None:
            self._exchange(max(0.0, timeout_s))
            if self._client is not None and not self.up and self._clock.mono_s() > self._connack_by_s:
                self.drop("the broker accepted the connection and said nothing")
        elif now_s < self._next_try_s:
            self._sleep(min(max(0.0, timeout_s), self._next_try_s - now_s))
        else:
            try:
                self.open()
            except BrokerRefused as refused:
                self._lost(refused.why)

    def open(self) -> None:
        """Connect and send CONNECT; `link_up` follows in a later turn. Blocks for `connect_s` at most. Raises `BrokerRefused`."""
        client = self._new_client()
        try:
            client.connect(self._config.host, self._config.port, self._timing.keepalive_s)
        except ssl.SSLCertVerificationError as wrong:
            reason = f"its certificate is not trusted ({wrong.verify_message}); a wrong clock on this machine can be the reason"
            raise BrokerRefused(reason) from None
        except OSError as wrong:
            raise BrokerRefused(wrong.strerror or str(wrong) or type(wrong).__name__) from None
        except ValueError as wrong:
            raise BrokerRefused(str(wrong), by_input=True) from None
        self._client, self._refusal = client, None
        self._connack_by_s = self._clock.mono_s() + self._timing.connect_s

    def publish(self, topic: str, payload: bytes, retain: bool = False) -> int | None:
        """Send one message at QoS 1. Returns its number, or None if the connection is lost (`link_down` was called then)."""
        if self._client is None or not self.up:
            return None
        info = self._client.publish(topic, payload, qos=1, retain=retain)
        if info.rc != 0 or self._client is None:
            self.drop("sending failed")
            return None
        return info.mid

    def subscribe(self, *topics: str) -> None:
        """Subscribe to these topics, QoS 1."""
        if self._client is not None and topics:
            self._client.subscribe([(topic, 1) for topic in topics])

    def drop(self, why: str) -> None:
        """Cut the connection without a DISCONNECT, so that the broker publishes the will."""
        client, self._client = self._client, None
        if client is None:
            return
        sock = client.socket()
        client.on_disconnect = None
        if sock is not None:
            sock.close()
        self._lost(why)

    def close(self) -> None:
        """Disconnect (no will) if connected, and close the wake sockets. The link cannot be used afterwards."""
        client, self._client, self.up = self._client, None, False
        if client is not None:
            client.on_disconnect = None
            with contextlib.suppress(OSError, ValueError):
                client.disconnect()
                if client.want_write():
                    client.loop_write()
            sock = client.socket()
            if sock is not None:
                sock.close()
        self._wake_r.close()
        self._wake_w.close()

    def _new_client(self) -> Client:
        from paho.mqtt.client import Client, MQTTv311
        from paho.mqtt.enums import CallbackAPIVersion

        client = Client(CallbackAPIVersion.VERSION2, client_id=self._client_id, clean_session=True, protocol=MQTTv311)
        client.connect_timeout = self._timing.connect_s
        client.max_queued_messages_set(1000)
        config = self._config
        try:
            if config.user is not None:
                client.username_pw_set(config.user, _password(config.password_file))
            if config.tls:
                client.tls_set_context(_tls(config))
        except ssl.SSLError as wrong:
            raise BrokerRefused(f"{_TLS_FILES}: no certificate or key that can be used ({wrong.reason})", by_input=True) from None
        except OSError as wrong:
            raise BrokerRefused(f"{wrong.filename or _TLS_FILES}: cannot be read ({wrong.strerror})", by_input=True) from None
        if self._will is not None:
            client.will_set(self._will[0], self._will[1], qos=1, retain=True)
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_publish = self._on_publish
        client.on_message = self._on_message
        return client

    def _exchange(self, timeout_s: float) -> None:
        client = self._client
        assert client is not None
        sock: Any = client.socket()
        if sock is None:
            self.drop("closed")
            return
        buffered = isinstance(sock, ssl.SSLSocket) and sock.pending() > 0
        poll = select.poll()
        poll.register(self._wake_r, select.POLLIN)
        poll.register(sock, select.POLLIN | (select.POLLOUT if client.want_write() else 0))
        ready = dict(poll.poll(0 if buffered else timeout_s * 1000.0))
        if self._wake_r.fileno() in ready:
            self._drain_wake()
        events = ready.get(sock.fileno(), 0)
        if buffered or events & (select.POLLIN | select.POLLHUP | select.POLLERR):
            client.loop_read()
            self._refuse_oversize(client)
        if events & select.POLLOUT and self._client is client:
            client.loop_write()
        if self._client is client:
            client.loop_misc()

    def _refuse_oversize(self, client: Client) -> None:
        """MQTT 3.1.1 has no way to tell the broker a limit, so look at the length that a packet announces before it is read whole."""
        if self._client is client and client._in_packet["remaining_length"] > self._longest:
            self.oversize += 1
            self.drop(f"a message of more than {self._longest} bytes was coming")

    def _sleep(self, timeout_s: float) -> None:
        if select.select([self._wake_r], [], [], timeout_s)[0]:
            self._drain_wake()

    def _drain_wake(self) -> None:
        with contextlib.suppress(OSError):
            while len(self._wake_r.recv(4096)) == 4096:
                pass

    def _lost(self, why: str) -> None:
        self.up = False
        self.why_down = why
        self._next_try_s = self._clock.mono_s() + self._backoff_s
        self._backoff_s = min(self._backoff_s * 2.0, self._timing.backoff_most_s)
        self._owner.link_down(why)

    def _on_connect(self, _client: Client, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        if reason.is_failure:
            self._refusal = f"the broker refuses: {str(reason).lower()}"
            return
        self.up = True
        self._backoff_s = self._timing.backoff_first_s
        self._owner.link_up()

    def _on_disconnect(self, _client: Client, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        if self._client is not None:
            self._client = None
            self._lost(self._refusal or f"the connection was lost: {str(reason).lower()}")

    def _on_publish(self, _client: Client, _data: Any, mid: int, _reason: Any, _properties: Any) -> None:
        self._owner.link_acked(mid)

    def _on_message(self, _client: Client, _data: Any, message: MQTTMessage) -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError:
            return
        self._owner.link_message(topic, bytes(message.payload), message.retain)

    @property
    def refused(self) -> str | None:
        """What the broker said when it last refused this client, else None."""
        return self._refusal


def _password(file: str | None) -> str | None:
    if file is None:
        return None
    lines = Path(file).read_text(encoding="utf-8", errors="replace").splitlines()
    return lines[0] if lines else ""


def _tls(config: MqttConfig) -> ssl.SSLContext:
    context = ssl.create_default_context(cafile=config.ca_file)
    if config.cert_file is not None:
        context.load_cert_chain(config.cert_file, config.key_file)
    return context
