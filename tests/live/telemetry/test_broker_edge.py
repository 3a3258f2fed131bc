"""A broker that misbehaves, at the protocol's edge: what was not asked for is refused, memory stays flat, and waiting grows."""

from __future__ import annotations

import errno
import itertools
import json
import resource
import socket
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from monitor.live.broker import MqttConfig
from monitor.live.clock import RealClock
from monitor.live.telemetry.broker_link import BrokerLink, Timing
from monitor.live.telemetry.mqtt import Publisher, PublishPace
from monitor.live.telemetry.recorder import Recorder
from tests.fake_clock import FakeClock
from tests.live.telemetry.brokers import until
from tests.live.telemetry.fake_broker import DISCONNECT, PINGREQ, PUBACK, PUBLISH, FakeBroker, Wire, connack, packet, publish
from tests.live.telemetry.publishers import EAGER, QUICK, journal, publisher

LONGEST = 65536
PATIENT = Timing(keepalive_s=60)
"""Nothing ends within a test by itself."""
AGAIN = b"evenbath/laundry/again"


class Heard:
    """An owner that writes down what it is told."""

    def __init__(self) -> None:
        self.ups = 0
        self.downs: list[str] = []
        self.acks: list[int] = []
        self.lines: list[str] = []
        self.messages = 0

    def link_up(self) -> None:
        """Count."""
        self.ups += 1

    def link_down(self, why: str) -> None:
        """Remember."""
        self.downs.append(why)

    def link_acked(self, mid: int) -> None:
        """Remember."""
        self.acks.append(mid)

    def link_message(self, topic: str, payload: bytes, retained: bool) -> None:
        """Count."""
        self.messages += 1

    def link_told(self, line: str) -> None:
        """Remember."""
        self.lines.append(line)


def link(port: int, owner: Heard, timing: Timing = QUICK, **more: Any) -> BrokerLink:
    """A link to loopback."""
    return BrokerLink(MqttConfig("127.0.0.1", port), "test", owner, RealClock(), timing, LONGEST, **more)


def against(behaviour: Callable[[Wire], None], enough: Callable[[Heard], object], timing: Timing = QUICK, **more: Any) -> Heard:
    """A link turns against this broker until that is enough."""
    owner = Heard()
    with FakeBroker(behaviour) as broker:
        one = link(broker.port, owner, timing, **more)

        def done() -> object:
            one.turn(0.02)
            return enough(owner)

        until(done, f"enough: {owner.downs}", 10.0)
        one.close()
    return owner


def sends(*packets: Callable[[int], bytes]) -> Callable[[Wire], None]:
    """A broker that accepts, then sends these (each told the version of MQTT), then waits."""

    def behave(wire: Wire) -> None:
        wire.greet()
        for one in packets:
            wire.send(one(wire.version))
        wire.wait()

    return behave


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        (lambda v: publish(v, AGAIN, b"x", qos=2), "QoS 2"),
        (lambda v: packet(PUBLISH | 6, b"\0\1a\0\1\0x"), "QoS 2"),  # QoS 3 does not exist
        (lambda v: packet(0x50, b"\0\1"), "no broker may"),
        (lambda v: packet(0x62, b"\0\1"), "no broker may"),
        (lambda v: packet(0x70, b"\0\1"), "no broker may"),
        (lambda v: packet(PINGREQ), "no broker may"),
        (lambda v: packet(0x82, b"\0\1\0\0\1a\1"), "no broker may"),
        (lambda v: connack(v), "no broker may"),
        (lambda v: packet(0x10, b"\0\4MQTT\5\0\0\0\0\0\0"), "no broker may"),
        (lambda v: packet(0xF0), "no broker may"),
        (lambda v: packet(0), "no broker may"),
        (lambda v: packet(PUBACK | 3, b"\0\1"), "no broker may"),
    ],
)
def test_what_no_broker_may_send_or_nobody_asked_for_ends_the_connection(sent: Callable[[int], bytes], words: str) -> None:
    """QoS 2 was never asked for, and the library keeps each such message until it is released: 250 MB on one connection."""
    told = against(sends(sent), lambda owner: owner.downs, PATIENT)
    assert words in told.downs[0]
    assert told.messages == 0


@pytest.mark.parametrize(
    "sent",
    [
        b"\x30\xff\xff\xff\xff\x7f",  # a length of five bytes
        b"\x30\x02\xff\xff",  # a topic longer than its packet
        b"\x30\x00",  # no topic at all
        b"\x40\x01\x00",  # half a number
        b"\x90\x00",
        b"\xd0\x05hello",
        packet(0x30, b"\0\1a\xff\xff\xff\x7f"),  # properties longer than their packet
        packet(0x30, b"\0\1a\x02\xff\0"),  # a property that does not exist
        packet(0xE0, b"\xee"),  # a reason that does not exist
    ],
)
def test_packets_that_lie_about_themselves_end_the_connection_and_nothing_else(sent: bytes) -> None:
    """Whatever the library makes of them."""
    told = against(sends(lambda version: sent), lambda owner: owner.downs, PATIENT)
    assert told.downs[0]


def test_a_packet_too_long_is_refused_before_its_body_is_read() -> None:
    """A header announces 256 MB, and 4 MB are there at once: none of it is read.

    The library reads on while anything is there, and that was 150 MB before the announced length was looked at.
    """

    def behave(wire: Wire) -> None:
        wire.greet()
        wire.send(b"\x30\xff\xff\xff\x7f" + bytes(4 << 20))

    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    told = against(behave, lambda owner: owner.downs)
    assert str(LONGEST) in told.downs[0]
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 20_000


def test_messages_are_read_no_faster_than_their_acknowledgements_are_taken() -> None:
    """A broker that sends at QoS 1 and reads nothing: its answers would wait in memory, one for each message."""

    def behave(wire: Wire) -> None:
        wire.greet()
        for first in itertools.count():
            wire.send(b"".join(publish(wire.version, AGAIN, b"x", 1, (first * 500 + n) % 65535 + 1) for n in range(500)))

    owner, clock = Heard(), RealClock()
    with FakeBroker(behave, small=True) as broker:
        one = link(broker.port, owner, PATIENT)
        still_s, heard = clock.mono_s(), 0

        def stands_still() -> bool:
            nonlocal still_s, heard
            one.turn(0.02)
            if owner.messages != heard:
                still_s, heard = clock.mono_s(), owner.messages
            return heard > 0 and clock.mono_s() - still_s > 0.7

        until(stands_still, "reads no further", 60.0)
        one.close()
    assert owner.downs == []


def test_a_broker_that_takes_nothing_any_more_is_left() -> None:
    """It sends, and reads no answer: a connection that helps nobody."""

    def behave(wire: Wire) -> None:
        wire.greet()
        while True:
            wire.send(publish(wire.version, AGAIN, b"x", 1, 7) * 500)

    owner = Heard()
    with FakeBroker(behave, small=True) as broker:
        one = link(broker.port, owner, Timing(keepalive_s=60, stall_s=0.5))

        def left() -> object:
            one.turn(0.02)
            return owner.downs

        until(left, "left", 20.0)
        one.close()
    assert owner.downs == ["it takes nothing any more"]


@pytest.mark.parametrize("error", [KeyError("reason"), IndexError("index out of range"), ValueError("packet"), RecursionError()])
def test_whatever_the_library_raises_at_foreign_bytes_ends_the_connection(monkeypatch: pytest.MonkeyPatch, error: Exception) -> None:
    """Older versions of it let such errors through; in `record` one ended the program."""

    def raises(self: object) -> None:
        raise error

    monkeypatch.setattr("paho.mqtt.client.Client._handle_publish", raises)
    told = against(sends(lambda v: publish(v, AGAIN, b"x")), lambda owner: owner.downs, PATIENT)
    assert told.downs == [f"it sent what is not MQTT ({type(error).__name__})"]


def test_a_flood_is_read_no_faster_than_its_owner_wants() -> None:
    """The rest waits at the broker: the publisher's thread lives beside the one that sounds the cues."""
    owner, clock = Heard(), RealClock()

    def behave(wire: Wire) -> None:
        wire.greet()
        while True:
            wire.send(publish(wire.version, AGAIN, b"x") * 200)

    with FakeBroker(behave) as broker:
        one = link(broker.port, owner, inflow_per_s=500.0)
        begin_s = clock.mono_s()
        while clock.mono_s() - begin_s < 1.0:
            one.turn(0.02)
        took_s = clock.mono_s() - begin_s
        one.close()
    assert owner.downs == []
    assert 300 < owner.messages < 500 * (took_s + 0.6)


def test_a_message_that_never_ends_ends_the_connection() -> None:
    """A byte now and then keeps a connection looking alive for as long as anybody likes."""

    def behave(wire: Wire) -> None:
        wire.greet()
        wire.drip(publish(wire.version, AGAIN, bytes(60_000)), 0.05)

    told = against(behave, lambda owner: owner.downs)
    assert told.downs == ["a message did not come to its end"]


def test_an_answer_that_drips_is_no_answer() -> None:
    """CONNACK, a byte at a time: given up when its time is over."""

    def behave(wire: Wire) -> None:
        wire.hear_connect()
        wire.drip(b"\x20\xf0\x01" + bytes(240), 0.05)

    told = against(behave, lambda owner: owner.downs, Timing(connect_s=0.3))
    assert told.downs == ["the broker accepted the connection and said nothing"]


@pytest.mark.parametrize("reason", [0x00, 0x82, 0x8B, 0x97, 0x9D])
def test_a_broker_that_takes_leave_at_once_is_tried_less_and_less_often(reason: int) -> None:
    """Accepting a connection proves nothing: one that broke at once counts as one more vain attempt."""

    def behave(wire: Wire) -> None:
        wire.greet()
        wire.send(packet(DISCONNECT, bytes([reason, 0])))

    owner, clock = Heard(), RealClock()
    with FakeBroker(behave) as broker:
        one = link(broker.port, owner, Timing(backoff_first_s=0.05, backoff_most_s=30.0))
        begin_s = clock.mono_s()
        while clock.mono_s() - begin_s < 1.2:
            one.turn(0.01)
        one.close()
    assert 3 <= owner.ups <= 6  # at 0, 0.05, 0.15, 0.35, 0.75 s


def test_after_a_connection_that_held_the_first_wait_is_short_again() -> None:
    """A broker that is restarted once a day is found at once."""
    owner, clock, moments = Heard(), FakeClock(), []
    ending = threading.Event()

    def behave(wire: Wire) -> None:
        moments.append(clock.mono_s())
        wire.greet()
        ending.wait(5.0)

    with FakeBroker(behave) as broker:
        one = BrokerLink(MqttConfig("127.0.0.1", broker.port), "test", owner, clock, Timing(), LONGEST)

        def is_up() -> bool:
            one.turn(0.02)
            return one.up

        for wait_s in (1.0, 2.0, 4.0):
            clock.advance(wait_s)
            until(is_up, "up")
            one.drop("broke at once")
        clock.advance(8.0)
        until(is_up, "up")
        clock.advance(20.0)
        one.drop("after it has held")
        clock.advance(0.9)
        one.turn(0.0)
        assert len(moments) == 4
        clock.advance(0.2)
        until(is_up, "at once")
        one.close()
        ending.set()


def test_acknowledgements_of_what_was_never_sent_count_for_nothing() -> None:
    """They neither reach the owner nor keep a connection on which nothing is acknowledged."""

    def behave(wire: Wire) -> None:
        wire.greet()
        while True:
            wire.send(b"".join(packet(PUBACK, mid.to_bytes(2, "big")) for mid in range(1000, 1100)))
            wire.more(0.02)

    owner = Heard()
    with FakeBroker(behave) as broker:
        one = link(broker.port, owner)

        def given_up() -> object:
            one.turn(0.02)
            if one.up and not owner.lines:
                owner.lines.append("sent")
                assert one.publish("evenbath/hut/a", b"x") is not None
            return owner.downs

        until(given_up, "given up", 10.0)
        one.close()
    assert owner.downs == ["it acknowledges nothing"]
    assert owner.acks == []


def test_without_a_word_on_keep_alive_the_link_keeps_its_own() -> None:
    """Server Keep Alive 0 (MQTT 5, 3.2.2.3.14) would end the pings, and with them the notice of a dead connection."""
    pings: list[tuple[int, bytes]] = []

    def behave(wire: Wire) -> None:
        wire.greet(b"\x13\0\0").serve(pings)

    told = against(behave, lambda owner: sum(first == PINGREQ for first, _ in pings) >= 2)
    assert told.downs == []


def test_a_broker_that_keeps_nothing_or_acknowledges_nothing_is_refused_in_words() -> None:
    """Maximum QoS 0 and Retain Available 0 (MQTT 5, 3.2.2.3.4 and .5): sending all the same would end each connection anew."""
    told = against(lambda wire: wire.greet(b"\x24\0").wait(), lambda owner: owner.downs)
    assert "acknowledges no messages" in told.downs[0]
    told = against(lambda wire: wire.greet(b"\x25\0").wait(), lambda owner: owner.downs, will=("a", b""))
    assert "no retained messages" in told.downs[0]
    told = against(lambda wire: wire.greet(b"\x25\0").wait(), lambda owner: owner.ups)
    assert told.downs == []


def test_a_refused_subscription_and_a_refused_message_are_told_once() -> None:
    """Else a recorder would wait for ever for what it is not allowed to hear."""

    def behave(wire: Wire) -> None:
        wire.greet()
        while True:
            first, body = wire.read()
            if first == 0x82:
                wire.send(packet(0x90, body[:2] + b"\0\x87"))
            elif first >> 4 == 3:
                length = int.from_bytes(body[:2], "big")
                wire.send(packet(PUBACK, body[2 + length : 4 + length] + b"\x97\0"))

    owner = Heard()
    with FakeBroker(behave) as broker:
        one = link(broker.port, owner)

        def told() -> object:
            one.turn(0.02)
            if one.up:
                one.subscribe("evenbath/+/journal")
                one.publish("evenbath/hut/a", b"x")
            return len(owner.lines) >= 2 and len(owner.acks) > 5

        until(told, "told", 10.0)
        one.close()
    assert sorted(owner.lines) == [
        "the broker does not let us listen: not authorized",
        "the broker does not take what is published: quota exceeded",
    ]  # fmt: skip


def state_with(tmp_path: Path, body: bytes) -> Path:
    """A state folder with one journal."""
    (tmp_path / "journals").mkdir()
    (tmp_path / "journals" / "a1.jsonl").write_bytes(body)
    return tmp_path


def seqs(read: list[tuple[int, bytes]]) -> list[int]:
    """The numbers of the journal's records among these packets."""
    return [json.loads(body[body.index(b"{") :])["seq"] for first, body in read if first >> 4 == 3 and b"laundry/journal" in body]


def test_a_broker_that_takes_one_message_at_a_time_gets_one_at_a_time(tmp_path: Path) -> None:
    """Receive Maximum 1 (MQTT 5, 3.2.2.3.3): a second one would end the connection, and the same again after each new one."""
    most, read = [0], []

    def behave(wire: Wire) -> None:
        wire.greet(b"\x21\0\1")
        while True:
            found = [wire.read()]
            while wire.more(0.01):
                found.append(wire.read())
            flying = [body for first, body in found if first >> 4 == 3]
            most[0] = max(most[0], len(flying))
            read.extend(found)
            for body in flying:
                length = int.from_bytes(body[:2], "big")
                wire.send(packet(PUBACK, body[2 + length : 4 + length]))

    with FakeBroker(behave) as broker:
        voice = publisher(broker.port, state_with(tmp_path, journal("a1", 30)))
        voice.start()
        until(lambda: seqs(read)[-1:] == [30], "all of it")
        voice.stop()
    assert seqs(read) == list(range(1, 31))
    assert most[0] == 1


def test_a_record_too_long_for_the_broker_is_passed_over_and_said(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """Maximum Packet Size (MQTT 5, 3.2.2.3.6): sent all the same it would end every connection, and no later record would arrive."""
    read: list[tuple[int, bytes]] = []
    long = json.dumps({"seq": 2, "session": "a1", "kind": "note", "x": "y" * 500}).encode() + b"\n"
    lines = journal("a1", 5).splitlines(keepends=True)
    with FakeBroker(lambda wire: wire.greet(b"\x27\0\0\1\x90").serve(read)) as broker:
        voice = publisher(broker.port, state_with(tmp_path, b"".join([lines[0], long, *lines[2:]])))
        voice.start()
        until(lambda: seqs(read)[-1:] == [5], "the others")
        counts = voice.counters()
        until(lambda: voice.counters()["pending_bytes"] == 0, "nothing waits")
        voice.stop()
    assert seqs(read) == [1, 3, 4, 5]
    assert counts["too_long"] == 1
    assert any(f"no message of {len(long) - 1} bytes" in one.getMessage() for one in caplog.records)


def test_a_recorder_leaves_a_broker_that_acknowledges_none_of_its_requests(tmp_path: Path) -> None:
    """Pings are answered, so it looks alive; ten requests under way, and none could ever follow."""
    told: list[str] = []

    def behave(wire: Wire) -> None:
        wire.greet()
        wire.send(publish(wire.version, b"evenbath/laundry/journal", b'{"seq":7,"session":"a1","kind":"reading"}'))
        wire.serve(acks=False)

    with FakeBroker(behave) as broker:
        recorder = Recorder(MqttConfig("127.0.0.1", broker.port), "r", tmp_path, (), RealClock(), told.append, None, QUICK, EAGER)
        thread = threading.Thread(target=recorder.run)
        thread.start()
        until(lambda: broker.connections >= 2, "comes again", 10.0)
        recorder.stop()
        thread.join(10.0)
        recorder.close()
    assert any("it acknowledges nothing" in line for line in told)


@pytest.mark.parametrize("where", ["silent", "greeted", "nothing acknowledged"])
def test_a_publisher_stops_in_time_whatever_the_broker_does(tmp_path: Path, where: str) -> None:
    """The service manager waits five seconds for the whole station."""
    behaviours: dict[str, Callable[[Wire], None]] = {
        "silent": Wire.wait,
        "greeted": lambda wire: wire.greet().wait(),
        "nothing acknowledged": lambda wire: wire.greet().serve(acks=False),
    }
    clock = RealClock()
    with FakeBroker(behaviours[where]) as broker:
        voice = Publisher(
            MqttConfig("127.0.0.1", broker.port),
            "laundry",
            state_with(tmp_path, journal("a1", 30)) / "journals",
            tmp_path,
            clock,
            Timing(),
            PublishPace(farewell_s=0.5),
        )
        voice.start()
        until(lambda: broker.connections, "connected")
        begin_s = clock.mono_s()
        voice.stop()
        assert clock.mono_s() - begin_s < 1.4


def test_a_fault_of_the_owner_is_not_taken_for_one_of_the_broker() -> None:
    """It reaches whoever turns the link, as it is."""

    class Clumsy(Heard):
        def link_message(self, topic: str, payload: bytes, retained: bool) -> None:
            raise KeyError("ours")

    owner = Clumsy()
    with FakeBroker(sends(lambda v: publish(v, AGAIN, b"x"))) as broker:
        one = link(broker.port, owner)
        with pytest.raises(KeyError, match="ours"):
            until(lambda: one.turn(0.02), "raised", 5.0)
        assert owner.downs == []
        one.close()


def test_a_process_without_descriptors_waits_as_for_a_broker_that_is_gone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each further attempt would fail in the same way, and without a pause between them they would take a whole core."""

    def none_left(*_: object) -> socket.socket:
        raise OSError(errno.EMFILE, "Too many open files")

    owner, clock = Heard(), FakeClock()
    one = BrokerLink(MqttConfig("127.0.0.1", 1), "test", owner, clock, Timing(), LONGEST)
    with monkeypatch.context() as few:
        few.setattr(socket, "socket", none_left)
        for _ in range(10):
            one.turn(0.0)
        clock.advance(1.1)
        one.turn(0.0)
    one.close()
    assert owner.downs == ["[Errno 24] Too many open files"] * 2
