"""The publisher against a broker that the test plays packet by packet, on a clock that the test moves."""

from __future__ import annotations

import json
import socket
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from monitor.live.broker import MqttConfig
from monitor.live.telemetry.broker_link import Timing
from monitor.live.telemetry.mqtt import PUBLISHES_IN_FLIGHT, Publisher, PublishPace
from monitor.live.telemetry.outbox import SEEK_COST
from monitor.live.telemetry.turns import SAVED_S
from tests.fake_clock import FakeClock
from tests.live.telemetry.brokers import until
from tests.live.telemetry.publishers import journal

JOURNAL, AGAIN = "evenbath/laundry/journal", "evenbath/laundry/again"
CONNACK = b"\x20\x03\x00\x00\x00"
QUIET_S = 0.25
"""When nothing has come for so long nothing will."""


@dataclass(frozen=True)
class Packet:
    """One PUBLISH or SUBSCRIBE."""

    kind: str
    topic: str
    mid: int
    payload: bytes
    retain: bool


class PlayedBroker:
    """One connection at a time, MQTT 5, as much of it as a publisher uses."""

    def __init__(self, server: socket.socket) -> None:
        self._server = server
        self.port: int = server.getsockname()[1]
        self._end: socket.socket | None = None
        self._bytes = b""

    def accept(self) -> None:
        """Let the publisher connect."""
        self.close()
        self._server.settimeout(10.0)
        self._end, _ = self._server.accept()
        self._bytes = b""
        assert self._packet(5.0)[0] == 0x10
        self._end.sendall(CONNACK)

    def close(self) -> None:
        """Cut the connection."""
        if self._end is not None:
            self._end.close()

    def read(self, most: int = 10_000) -> list[Packet]:
        """The packets until none comes any more, or so many."""
        found: list[Packet] = []
        while len(found) < most:
            try:
                first, body = self._packet(QUIET_S)
            except TimeoutError:
                break
            if first >> 4 == 3:
                length = int.from_bytes(body[:2], "big")
                topic, rest = body[2 : 2 + length].decode(), body[2 + length :]
                found.append(Packet("publish", topic, int.from_bytes(rest[:2], "big"), rest[3:], bool(first & 1)))
            elif first == 0x82:
                length = int.from_bytes(body[3:5], "big")
                found.append(Packet("subscribe", body[5 : 5 + length].decode(), int.from_bytes(body[:2], "big"), b"", False))
        return found

    def acknowledge(self, packets: list[Packet]) -> None:
        """PUBACK."""
        assert self._end is not None
        self._end.sendall(b"".join(b"\x40\x02" + p.mid.to_bytes(2, "big") for p in packets if p.kind == "publish"))

    def take(self) -> list[Packet]:
        """Read and acknowledge until nothing comes any more."""
        found: list[Packet] = []
        while fresh := self.read():
            self.acknowledge(fresh)
            found += fresh
        return found

    def say(self, topic: str, payload: bytes) -> None:
        """Publish to the publisher, QoS 0."""
        assert self._end is not None
        body = len(topic).to_bytes(2, "big") + topic.encode() + b"\0" + payload
        assert len(body) < 128
        self._end.sendall(bytes([0x30, len(body)]) + body)

    def is_cut(self) -> bool:
        """Whether the other end has closed the connection."""
        assert self._end is not None
        self._end.settimeout(0.05)
        try:
            while self._end.recv(65536):
                pass
        except TimeoutError:
            return False
        except OSError:
            return True
        return True

    def _packet(self, timeout_s: float) -> tuple[int, bytes]:
        while True:
            if len(self._bytes) >= 2:
                length, at, shift = 0, 1, 0
                while at < len(self._bytes):
                    length += (self._bytes[at] & 127) << shift
                    at, shift = at + 1, shift + 7
                    if not self._bytes[at - 1] & 128:
                        if len(self._bytes) >= at + length:
                            first, body = self._bytes[0], self._bytes[at : at + length]
                            self._bytes = self._bytes[at + length :]
                            return first, body
                        break
            assert self._end is not None
            self._end.settimeout(timeout_s)
            fresh = self._end.recv(65536)
            if not fresh:
                raise TimeoutError
            self._bytes += fresh


@pytest.fixture
def broker() -> Iterator[PlayedBroker]:
    """A broker that the test plays."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        played = PlayedBroker(server)
        yield played
        played.close()


@pytest.fixture
def clock() -> FakeClock:
    """A clock that stands still unless the test moves it."""
    return FakeClock()


class Told:
    """A publisher over journals on the disk, stopped at the end."""

    def __init__(self, broker: PlayedBroker, clock: FakeClock, state: Path, records: int, pace: PublishPace, **config: Any) -> None:
        (state / "journals").mkdir()
        (state / "journals" / "a1.jsonl").write_bytes(journal("a1", records))
        timing = Timing(keepalive_s=60, connect_s=5.0)
        self.voice = Publisher(
            MqttConfig("127.0.0.1", broker.port, **config), "laundry", state / "journals", state, clock, timing, pace
        )  # fmt: skip

    def __enter__(self) -> Publisher:
        self.voice.start()
        return self.voice

    def __exit__(self, *_: object) -> None:
        self.voice.stop()


FAST = PublishPace(live_per_s=50_000.0, again_per_s=50_000.0, save_s=1.0, farewell_s=0.1)


def seqs(packets: list[Packet]) -> list[int]:
    """The numbers of the journal's records among them."""
    return [json.loads(p.payload)["seq"] for p in packets if p.topic == JOURNAL]


def test_no_more_than_twenty_messages_wait_for_their_acknowledgement(broker: PlayedBroker, clock: FakeClock, tmp_path: Path) -> None:
    """What a common broker allows a client by default; each acknowledgement lets one more go."""
    with Told(broker, clock, tmp_path, 200, FAST):
        broker.accept()
        first = [p for p in broker.read() if p.kind == "publish"]
        assert len(first) == PUBLISHES_IN_FLIGHT == 20
        broker.acknowledge(first[:5])
        assert len(broker.read()) == 5
        broker.close()


def test_what_an_earlier_life_left_on_the_broker_is_taken_away_at_the_start(broker: PlayedBroker, clock: FakeClock, tmp_path: Path) -> None:
    """Online, and no progress of a session that does not run: both retained."""
    with Told(broker, clock, tmp_path, 3, FAST):
        broker.accept()
        told = {p.topic: (p.payload, p.retain) for p in broker.take()}
        assert told["evenbath/laundry/status"] == (b"online", True)
        assert told["evenbath/laundry/session"] == (b"", True)
        broker.close()


@pytest.mark.parametrize("discovery", [True, False])
def test_home_automation_is_told_only_where_the_station_file_says_so(
    broker: PlayedBroker, clock: FakeClock, tmp_path: Path, discovery: bool
) -> None:
    """Nothing is subscribed and nothing said otherwise."""
    with Told(broker, clock, tmp_path, 3, FAST, discovery=discovery) as voice:
        broker.accept()
        voice.probe("jug", {"celsius": 20.0})
        told = broker.take()
        assert AGAIN in {p.topic for p in told if p.kind == "subscribe"}
        assert any(p.topic.startswith("homeassistant/") for p in told) is discovery
        broker.close()


def test_a_broker_that_acknowledges_nothing_is_left_and_tried_again(broker: PlayedBroker, clock: FakeClock, tmp_path: Path) -> None:
    """The connection looks alive for as long as the kernel likes: after `stall_s` it is cut."""
    with Told(broker, clock, tmp_path, 50, FAST) as voice:
        broker.accept()
        assert broker.read()
        clock.advance(Timing().stall_s - 0.5)
        assert not broker.is_cut()
        clock.advance(1.0)
        until(broker.is_cut, "the connection is cut")
        until(lambda: "acknowledges nothing" in (voice.counters()["why_down"] or ""), "the reason is told")
        clock.advance(2.0)
        broker.accept()
        assert seqs(broker.take()) == list(range(1, 51))
        broker.close()


def test_what_is_asked_for_again_goes_at_its_rate(broker: PlayedBroker, clock: FakeClock, tmp_path: Path) -> None:
    """A fifth of a second's worth at once, less what finding the place costs; then only as time passes."""
    pace = PublishPace(live_per_s=50_000.0, again_per_s=500.0, save_s=1.0, farewell_s=0.1)
    with Told(broker, clock, tmp_path, 150, pace):
        broker.accept()
        assert len(seqs(broker.take())) == 150
        broker.say(AGAIN, b'{"session":"a1","from_seq":1}')
        at_once = seqs(broker.take())
        assert 0 < len(at_once) <= 500 * SAVED_S
        clock.advance(0.1)
        later = seqs(broker.take())
        assert len(later) == pytest.approx(500 * 0.1, abs=SEEK_COST + 5)
        clock.advance(0.1)
        assert at_once + later + seqs(broker.take()) == list(range(1, 151))
        broker.close()


def test_new_lines_and_those_asked_for_again_take_turns(broker: PlayedBroker, clock: FakeClock, tmp_path: Path) -> None:
    """A recorder far behind delays no record of the evening that runs, and is not delayed by it."""
    with Told(broker, clock, tmp_path, 300, FAST) as voice:
        broker.accept()
        assert len(seqs(broker.take())) == 300
        (tmp_path / "journals" / "b1.jsonl").write_bytes(journal("b1", 300))
        broker.say(AGAIN, b'{"session":"a1","from_seq":1}')
        waiting = broker.read(20)
        voice.safe("b1", (tmp_path / "journals" / "b1.jsonl").stat().st_size)
        until(lambda: voice.counters()["pending_bytes"] > 0, "the new lines are known")
        broker.acknowledge(waiting)
        mixed: list[str] = []
        while len(mixed) < 200:
            fresh = broker.read(20)
            broker.acknowledge(fresh)
            mixed += [json.loads(p.payload)["session"] for p in fresh if p.topic == JOURNAL]
        assert 80 <= mixed[:200].count("b1") <= 120
        broker.close()
