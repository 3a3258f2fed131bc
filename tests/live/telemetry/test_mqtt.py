"""The publisher on a real connection to a broker on loopback."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from monitor.live.broker import PROBE, MqttConfig
from monitor.live.clock import RealClock
from monitor.live.telemetry.mqtt import Publisher, PublishPace
from tests.live.telemetry.brokers import MOSQUITTO, Broker, EmbeddedBroker, Mosquitto, free_port, until
from tests.live.telemetry.publishers import FAST, QUICK, Listener, RunningRecorder, Writer, closing, journal, publisher, record

ROOT = Path(__file__).parents[3]
JOURNAL, AGAIN = "evenbath/laundry/journal", "evenbath/laundry/again"


@pytest.fixture(scope="module")
def broker() -> Iterator[EmbeddedBroker]:
    """One embedded broker for the module; tests use stations of their own where something is retained."""
    running = EmbeddedBroker()
    running.start()
    yield running
    running.stop()


@pytest.fixture(scope="module")
def fast_broker(broker: EmbeddedBroker, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Broker]:
    """The real program where it is installed, for tests with ten thousand messages; else the embedded one."""
    if MOSQUITTO is None:
        yield broker
        return
    # it holds what a recorder on a busy machine has not taken yet: what it drops is asked for again, and how much would hang on the load
    running = Mosquitto(tmp_path_factory.mktemp("mosquitto"), more="allow_anonymous true\nmax_queued_messages 20000\n")
    running.start()
    yield running
    running.stop()


class Cast:
    """Publishers and listeners that are ended with the test, however it ends."""

    def __init__(self) -> None:
        self._voices: list[Publisher] = []
        self._ears: list[Listener] = []

    def voice(self, port: int, state: Path, station: str, **more: Any) -> Publisher:
        """A publisher at work."""
        made = publisher(port, state, station, **more)
        self._voices.append(made)
        made.start()
        return made

    def ear(self, port: int, *topics: str) -> Listener:
        """A listener at work."""
        made = Listener(port, *topics)
        self._ears.append(made)
        return made

    def end(self) -> None:
        """All of them."""
        for ear in self._ears:
            ear.close()
        for voice in self._voices:
            voice.stop()


@pytest.fixture
def cast() -> Iterator[Cast]:
    """Makes publishers and listeners."""
    made = Cast()
    yield made
    made.end()


@pytest.fixture
def listener(cast: Cast, broker: EmbeddedBroker) -> Listener:
    """Hears everything that the station says."""
    return cast.ear(broker.port, "evenbath/laundry/#", "homeassistant/#")


@pytest.fixture
def station(cast: Cast, broker: EmbeddedBroker, tmp_path: Path) -> Publisher:
    """A publisher at work."""
    return cast.voice(broker.port, tmp_path, "laundry")


def keep(state: Path, session: str, records: int, closed: bool = True) -> bytes:
    """A journal on the disk, before the station starts."""
    (state / "journals").mkdir(exist_ok=True)
    body = journal(session, records, closed)
    (state / "journals" / f"{session}.jsonl").write_bytes(body)
    return body


def resident_kib() -> int:
    """Resident memory of this process."""
    return int(Path("/proc/self/statm").read_text().split()[1]) * (os.sysconf("SC_PAGE_SIZE") // 1024)


def test_records_are_published_exactly_and_in_order(station: Publisher, listener: Listener, tmp_path: Path) -> None:
    """What a listener hears on `journal`, joined by newlines, is the file."""
    writer = Writer(tmp_path / "journals", "a1", station.safe)
    for count in (1, 2, 50, 200):
        writer.write(count)
    writer.finish()
    until(lambda: len(listener.on(JOURNAL)) >= 254, "all records")
    assert b"".join(line + b"\n" for line in listener.on(JOURNAL)) == writer.path.read_bytes()
    assert not any(retained for topic, _, retained in listener.heard if topic == JOURNAL)


def test_a_record_waits_until_it_is_safe_on_the_disk(station: Publisher, listener: Listener, tmp_path: Path) -> None:
    """Bytes that are in the file, but beyond the safe offset, are not published."""
    until(lambda: station.counters()["connected"], "connected")
    body = keep(tmp_path, "a1", 10)
    three = sum(len(line) + 1 for line in body.split(b"\n")[:3])
    station.safe("a1", three)
    until(lambda: station.counters()["acked"] == 3 and len(listener.on(JOURNAL)) == 3, "three records")
    station.progress({"stage": 1})
    until(lambda: b'{"stage":1}' in listener.on("evenbath/laundry/session"), "a message after them")
    assert len(listener.on(JOURNAL)) == 3


def test_status_is_online_and_after_a_clean_stop_offline(cast: Cast, broker: EmbeddedBroker, tmp_path: Path) -> None:
    """Retained: whoever comes later is told too."""
    voice = cast.voice(broker.port, tmp_path, "tidy")
    first = cast.ear(broker.port, "evenbath/tidy/status")
    until(lambda: first.on("evenbath/tidy/status") == [b"online"], "online")
    meanwhile = cast.ear(broker.port, "evenbath/tidy/status")
    until(lambda: ("evenbath/tidy/status", b"online", True) in meanwhile.heard, "the retained word that it is online")
    voice.stop()
    until(lambda: first.on("evenbath/tidy/status")[-1] == b"offline", "offline")
    second = cast.ear(broker.port, "evenbath/tidy/status")
    until(lambda: second.on("evenbath/tidy/status"), "the retained status")
    assert ("evenbath/tidy/status", b"offline", True) in second.heard
    assert set(second.on("evenbath/tidy/status")) == {b"offline"}


def test_progress_is_kept_for_whoever_comes_later_and_taken_away_at_the_close(cast: Cast, broker: EmbeddedBroker, tmp_path: Path) -> None:
    """The newest only; an empty retained message ends it. Readings of probes are not retained."""
    voice = cast.voice(broker.port, tmp_path, "cellar")
    early = cast.ear(broker.port, "evenbath/cellar/#")
    voice.probe("jug", {"celsius": 20.5})
    voice.progress({"stage": 2})
    until(lambda: early.on("evenbath/cellar/session")[-1:] == [b'{"stage":2}'] and early.on("evenbath/cellar/probe/jug"), "both")
    late = cast.ear(broker.port, "evenbath/cellar/#")
    until(lambda: late.on("evenbath/cellar/session"), "the retained progress")
    assert set(late.on("evenbath/cellar/session")) == {b'{"stage":2}'}
    assert late.on("evenbath/cellar/probe/jug") == []
    voice.progress(None)
    until(lambda: early.on("evenbath/cellar/session")[-1] == b"", "the empty message")
    voice.stop()
    last = cast.ear(broker.port, "evenbath/cellar/#")
    until(lambda: last.on("evenbath/cellar/status"), "the retained status")
    assert last.on("evenbath/cellar/session") == []


def test_a_probe_is_published_under_every_name_that_a_station_file_allows(cast: Cast, broker: EmbeddedBroker, tmp_path: Path) -> None:
    """One rule for both: letters, digits, - and _, in any place."""
    names = ["_jug", "-", "B0wl_2", "x" * 32]
    assert all(PROBE.fullmatch(name) for name in names)
    voice = cast.voice(broker.port, tmp_path, "names")
    ear = cast.ear(broker.port, "evenbath/names/probe/+")
    for name in [*names, "a/b", "+", "x" * 33]:
        voice.probe(name, {"celsius": 20.0})
    until(lambda: all(ear.on(f"evenbath/names/probe/{name}") for name in names), "each of them")
    probes = {topic for topic, _, _ in ear.heard if topic.startswith("evenbath/names/probe/")}
    assert probes == {f"evenbath/names/probe/{name}" for name in names}


def test_of_readings_during_an_outage_only_the_newest_is_told(cast: Cast, tmp_path: Path) -> None:
    """An hour of readings without a broker costs one slot a probe."""
    port = free_port()
    voice = publisher(port, tmp_path)
    voice.start()
    for tick in range(5000):
        voice.probe("jug", {"celsius": tick})
        voice.progress({"done_ref_s": tick})
    broker = EmbeddedBroker()
    broker._command[-1], broker.port = str(port), port
    broker.start()
    ear = cast.ear(port, "evenbath/laundry/#")
    until(lambda: ear.on("evenbath/laundry/session"), "the newest progress")
    assert ear.on("evenbath/laundry/session")[-1] == b'{"done_ref_s":4999}'
    assert ear.on("evenbath/laundry/probe/jug") in ([], [b'{"celsius":4999}'])
    voice.stop()
    broker.stop()


def test_no_call_blocks_or_raises_whatever_is_handed_over(tmp_path: Path) -> None:
    """With a broker that nobody can reach, odd values included; stopping takes no longer than it may."""
    clock = RealClock()
    begin_s = clock.mono_s()
    voice = Publisher(MqttConfig("192.0.2.1"), "laundry", tmp_path / "none", tmp_path, clock, QUICK, FAST)
    voice.start()
    for _ in range(2000):
        voice.safe("../../etc/passwd", 100)
        voice.safe("a", 10**12)
        voice.probe("jug/#", {"celsius": 1.0})
        voice.probe("jug", {"celsius": float("nan"), "clock": clock})
        voice.progress({"deep": [[[[]]]]})
        voice.counters()
    assert clock.mono_s() - begin_s < 1.5
    voice.stop()
    assert clock.mono_s() - begin_s < 7.0
    assert not voice._thread.is_alive()


def test_journals_of_an_earlier_life_are_sent_and_not_twice(cast: Cast, broker: EmbeddedBroker, listener: Listener, tmp_path: Path) -> None:
    """What was acknowledged before a clean stop is not sent again by the next start."""
    body = keep(tmp_path, "a1", 300)
    for _ in range(2):
        voice = cast.voice(broker.port, tmp_path, "laundry")
        until(lambda v=voice: v.counters()["connected"] and v.counters()["pending_bytes"] == 0, "drained")  # type: ignore[misc]
        voice.stop()
    assert b"".join(line + b"\n" for line in listener.on(JOURNAL)) == body


def test_a_part_is_published_once_more_when_it_is_asked_for(station: Publisher, listener: Listener, tmp_path: Path) -> None:
    """From the seq that was asked for to the newest, exactly as before."""
    writer = Writer(tmp_path / "journals", "a1", station.safe)
    writer.write(100)
    until(lambda: len(listener.on(JOURNAL)) == 100, "all records")
    listener.say(AGAIN, {"session": "a1", "from_seq": 91})
    until(lambda: len(listener.on(JOURNAL)) == 110, "ten again")
    assert listener.on(JOURNAL)[100:] == listener.on(JOURNAL)[90:100]
    writer.leave()


BAD_REQUESTS: list[bytes] = [
    b"", b"{", b"null", b"[]", b"[" * 200, b'{"session": "a1"}', b'{"session": "a1", "from_seq": 0}', b'{"session": "a1", "from_seq": -1}',
    b'{"session": "a1", "from_seq": true}', b'{"session": "a1", "from_seq": 1.5}', b'{"session": "a1", "from_seq": "1"}',
    b'{"session": "a1", "from_seq": 1e999}', b'{"session": ["a1"], "from_seq": 1}', b'{"session": "../a1", "from_seq": 1}',
    b'{"session": "/etc/passwd", "from_seq": 1}', b'{"session": "", "from_seq": 1}', b'{"session": "a1\\u0000", "from_seq": 1}',
    b"\xff\xfe\x00", b'{"session": "a1", "from_seq": 99999999999999999999999}',
]  # fmt: skip


def test_requests_that_are_not_to_the_letter_are_counted_and_dropped(station: Publisher, listener: Listener, tmp_path: Path) -> None:
    """Malformed, oversize, unknown and retained ones, each by its own counter; nothing is published for them."""
    writer = Writer(tmp_path / "journals", "a1", station.safe)
    writer.write(5)
    until(lambda: len(listener.on(JOURNAL)) == 5, "the records")
    for payload in BAD_REQUESTS:
        listener.say(AGAIN, payload)
    listener.say(AGAIN, b'{"session": "a1", "from_seq": 1}' + b" " * 300)
    listener.say(AGAIN, {"session": "zz", "from_seq": 1})
    until(lambda: station.counters()["asks_unknown"] == 1, "the last request")
    counters = station.counters()
    assert counters["asks_malformed"] == len(BAD_REQUESTS)
    assert (counters["asks_oversize"], counters["asks"], counters["sent_again"]) == (1, 0, 0)
    assert len(listener.on(JOURNAL)) == 5
    writer.leave()


def test_a_retained_request_is_not_carried_out(cast: Cast, broker: EmbeddedBroker, tmp_path: Path) -> None:
    """It would be, at each connection, for ever."""
    other = cast.ear(broker.port, "evenbath/attic/journal")
    other.say("evenbath/attic/again", {"session": "a1", "from_seq": 1}, retain=True)
    until(lambda: other.said() == 1, "retained")
    keep(tmp_path, "a1", 5)
    voice = cast.voice(broker.port, tmp_path, "attic")
    until(lambda: voice.counters()["asks_retained"] == 1 and voice.counters()["acked"] == 5, "dropped")
    assert voice.counters()["sent_again"] == 0
    voice.stop()


def test_a_flood_changes_nothing_and_a_true_request_is_answered(cast: Cast, fast_broker: Broker, tmp_path: Path) -> None:
    """10,000 spoofed messages on every topic, retained garbage among them: same journal, bounded memory, an answer in time."""
    body = keep(tmp_path, "a1", 400)
    voice = cast.voice(fast_broker.port, tmp_path, "yard", pace=PublishPace(save_s=0.2))
    until(lambda: voice.counters()["acked"] == 400, "drained")
    flooder = cast.ear(fast_broker.port)
    before_kib = resident_kib()
    topics = ["again", "journal", "status", "session", "sessions", "probe/jug", "again", "again/x", "lamp/set", "develop"]
    for number in range(10_000):
        junk = [b"on", b"\0" * 100, b'{"session": "a1", "from_seq": %d}' % (number % 400 + 1)][number % 3]
        flooder.say(f"evenbath/yard/{topics[number % 10]}", junk, retain=number % 7 == 0)
    until(lambda: flooder.said() == 10_000, "the flood")
    ear = cast.ear(fast_broker.port, "evenbath/yard/journal")
    ear.say("evenbath/yard/again", {"session": "a1", "from_seq": 399})
    want = body.split(b"\n")[398:400]
    until(lambda: set(want) <= set(ear.on("evenbath/yard/journal")), "the true answer", 45.0)
    counters = voice.counters()
    assert counters["asks"] + counters["asks_covered"] > 100
    assert counters["asks_malformed"] + counters["asks_retained"] > 1000
    assert counters["faults"] == 0
    assert resident_kib() - before_kib < 16_000
    assert (tmp_path / "journals" / "a1.jsonl").read_bytes() == body
    voice.stop()


def test_a_message_too_large_to_be_true_is_not_read(cast: Cast, broker: EmbeddedBroker, tmp_path: Path) -> None:
    """2 MB in place of a request: records go on."""
    keep(tmp_path, "a1", 3)
    voice = cast.voice(broker.port, tmp_path, "loft")
    until(lambda: voice.counters()["acked"] == 3, "drained")
    other = cast.ear(broker.port)
    other.say("evenbath/loft/again", b"x" * 2_000_000)
    until(lambda: 1 in (voice.counters()["oversize"], voice.counters()["asks_oversize"]), "cut or dropped")
    writer = Writer(tmp_path / "journals", "a2", voice.safe)
    writer.write(5)
    until(lambda: voice.counters()["acked"] >= 8, "records go on")
    writer.leave()
    voice.stop()


def test_home_automation_is_told_and_told_again(cast: Cast, broker: EmbeddedBroker, listener: Listener, tmp_path: Path) -> None:
    """The description is retained, grows with the first reading of a probe, and is repeated after `online`."""
    voice = cast.voice(broker.port, tmp_path, "laundry", discovery=True)
    topic = "homeassistant/device/evenbath_laundry/config"
    voice.probe("jug", {"celsius": 20.0})
    until(lambda: any(b"probe_jug" in body for body in listener.on(topic)), "a description with the probe")
    assert json.loads(listener.on(topic)[-1])["cmps"]["probe_jug"]["p"] == "sensor"
    count = len(listener.on(topic))
    listener.say("homeassistant/status", b"online")
    until(lambda: len(listener.on(topic)) > count, "told again")
    voice.stop()
    late = cast.ear(broker.port, "homeassistant/#")
    until(lambda: late.heard, "retained")
    assert late.heard[0][2]


CHILD = """
import sys, threading
from pathlib import Path
from monitor.live.telemetry.mqtt import PublishPace
from tests.live.telemetry.publishers import publisher
voice = publisher(int(sys.argv[1]), Path(sys.argv[2]), station="hut", pace=PublishPace(live_per_s=400.0, save_s=0.1))
voice.start()
threading.Event().wait()
"""


def test_a_station_killed_with_3_000_records_unsent_loses_none(cast: Cast, fast_broker: Broker, tmp_path: Path) -> None:
    """kill -9 in the middle of sending; the last will is told; the next start sends the rest, and a recorder has the file."""
    body = keep(tmp_path, "a1", 3_000)
    ear = cast.ear(fast_broker.port, "evenbath/hut/status")
    with RunningRecorder(fast_broker.port, tmp_path / "kept") as running:
        child = subprocess.Popen([sys.executable, "-c", CHILD, str(fast_broker.port), str(tmp_path)], cwd=ROOT)
        until(lambda: running.file("a1", "hut").count(b"\n") > 150, "some records")
        child.send_signal(signal.SIGKILL)
        child.wait()
        assert len(running.file("a1", "hut")) < len(body)
        until(lambda: b"offline" in ear.on("evenbath/hut/status"), "the last will")
        # at the pace of a real station: faster than the recorder takes it, a broker would drop what it must hold for it
        voice = cast.voice(fast_broker.port, tmp_path, "hut", pace=PublishPace(save_s=0.2))
        until(lambda: len(running.file("a1", "hut")) >= len(body), "the rest")
        voice.stop()
        assert running.file("a1", "hut") == body
        assert voice.counters()["sent"] < 3_000
        assert voice.counters()["sent_again"] < 1_500


def test_what_the_recorder_lost_after_the_acknowledgement_is_asked_for(cast: Cast, broker: EmbeddedBroker, tmp_path: Path) -> None:
    """PUBACK is not delivery: a record that the broker took and nobody heard arrives in the end."""
    voice = cast.voice(broker.port, tmp_path, "barn")
    writer = Writer(tmp_path / "journals", "a1", voice.safe)
    writer.write(20)
    until(lambda: voice.counters()["acked"] == 20, "taken by the broker, heard by nobody")
    with RunningRecorder(broker.port, tmp_path / "kept", stations=("barn",)) as running:
        writer.write(1)
        writer.finish()
        until(lambda: running.recorder.heard.complete == 1, "complete")
        assert running.file("a1", "barn") == writer.path.read_bytes()
        assert running.told[-1] == "barn a1: complete, 22 records"
    voice.stop()


def test_a_session_that_nobody_heard_of_is_found_by_the_listing(cast: Cast, broker: EmbeddedBroker, tmp_path: Path) -> None:
    """A recorder that comes after the end of a whole session still gets it."""
    body = keep(tmp_path, "a1", 30)
    voice = cast.voice(broker.port, tmp_path, "well")
    until(lambda: voice.counters()["acked"] == 30, "over")
    with RunningRecorder(broker.port, tmp_path / "kept", stations=("well",)) as running:
        until(lambda: running.recorder.heard.complete == 1, "found")
        assert running.file("a1", "well") == body
    voice.stop()


def test_fields_of_another_shape_are_published_as_they_stand(station: Publisher, listener: Listener, tmp_path: Path) -> None:
    """The publisher interprets no record: text that is not ASCII, numbers in any notation, odd spacing stay as they are."""
    odd = '{"seq": 1,  "session":"a1","kind":"session","note":"Grüße, 20,5 °C","x":1.50e+01}\n'.encode()
    (tmp_path / "journals").mkdir(exist_ok=True)
    (tmp_path / "journals" / "a1.jsonl").write_bytes(odd + closing("a1", 2))
    station.safe("a1", len(odd) + len(closing("a1", 2)))
    until(lambda: len(listener.on(JOURNAL)) == 2, "both")
    assert listener.on(JOURNAL)[0] + b"\n" == odd
    assert record("a1", 3) not in listener.on(JOURNAL)


def test_what_the_log_says_of_a_lost_broker_it_takes_back(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """A warning for the loss and one for the return, which are printed; none where nothing was lost."""
    made = publisher(free_port(), tmp_path, "laundry")
    made.link_up()
    assert not caplog.records
    for _ in range(3):
        made.link_down("connection refused")
    made.link_up()
    made.link_up()
    made.stop()
    lost, back = [record.getMessage() for record in caplog.records if record.levelname == "WARNING"]
    assert lost.startswith("no broker at 127.0.0.1:")
    assert "is back" in back
