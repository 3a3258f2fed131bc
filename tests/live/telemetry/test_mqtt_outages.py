"""Broker and network fail in every way while a journal grows in real time; the recorder's file becomes the station's."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.live.telemetry.brokers import MOSQUITTO, NO_MOSQUITTO, EmbeddedBroker, Mosquitto, SwallowingProxy, until
from tests.live.telemetry.publishers import RunningRecorder, Writer, play_outages, publisher

real = pytest.mark.skipif(MOSQUITTO is None, reason=NO_MOSQUITTO)


@pytest.mark.broker
@real
@pytest.mark.parametrize("seed", range(3))
def test_the_files_are_equal_after_outages_of_the_real_broker(tmp_path: Path, seed: int) -> None:
    """Killed without persistence, stopped, started, cut and swallowed, by the dice. Fifty more: tests/benchmarks/soak_mqtt.py."""
    broker = Mosquitto(tmp_path)
    broker.start()
    try:
        play_outages(broker, tmp_path, seed)
    finally:
        broker.stop()


@pytest.mark.parametrize("seed", [101])
def test_the_files_are_equal_after_outages_of_the_embedded_broker(tmp_path: Path, seed: int) -> None:
    """The same with a broker that every installation of the tests has."""
    broker = EmbeddedBroker()
    broker.start()
    try:
        play_outages(broker, tmp_path, seed, records=300)
    finally:
        broker.stop()


@pytest.mark.parametrize("side", ["station", "recorder"])
def test_a_connection_that_stays_open_and_says_nothing_is_noticed(tmp_path: Path, side: str) -> None:
    """Nobody closes the swallowed connection: only the missing acknowledgements, or the missing answer to a ping, tell."""
    broker = EmbeddedBroker()
    broker.start()
    proxy = SwallowingProxy(broker.port)
    station = publisher(proxy.port if side == "station" else broker.port, tmp_path)
    writer = Writer(tmp_path / "journals", "a1", station.safe)
    try:
        with RunningRecorder(proxy.port if side == "recorder" else broker.port, tmp_path / "kept") as running:
            station.start()
            writer.write(50)
            until(lambda: running.file("a1").count(b"\n") == 50, "the first records")
            proxy.swallow()
            writer.write(50)
            writer.finish()
            proxy.heal(forget=False)
            want = writer.path.read_bytes()
            until(lambda: running.file("a1") == want, "the rest, over a new connection")
    finally:
        station.stop()
        proxy.close()
        broker.stop()


def test_a_station_that_comes_back_is_asked_for_what_it_still_has(tmp_path: Path) -> None:
    """The recorder stays connected; the station ends with records that the broker took and nobody heard, and starts again."""
    broker = EmbeddedBroker()
    broker.start()
    first = publisher(broker.port, tmp_path)
    first.start()
    writer = Writer(tmp_path / "journals", "a1", first.safe)
    writer.write(30)
    until(lambda: first.counters()["acked"] == 30, "taken by the broker")
    first.stop()
    second = publisher(broker.port, tmp_path)
    try:
        with RunningRecorder(broker.port, tmp_path / "kept", stations=("laundry",), until_closed="a1") as running:
            second.start()
            second.safe("a1", writer.path.stat().st_size)
            writer._safe = second.safe
            writer.finish()
            running.thread.join(20.0)
            assert not running.thread.is_alive()
            assert running.file("a1") == writer.path.read_bytes()
    finally:
        second.stop()
        broker.stop()
