"""The connection alone: how it is refused, given up, and tried again."""

from __future__ import annotations

import contextlib
import socket
import subprocess
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from monitor.live.broker import MqttConfig
from monitor.live.clock import Clock, RealClock
from monitor.live.telemetry.broker_link import BrokerLink, Timing
from monitor.live.telemetry.dial import BrokerRefused
from tests.fake_clock import FakeClock
from tests.live.telemetry.brokers import MOSQUITTO, NO_MOSQUITTO, Mosquitto, free_port, until
from tests.live.telemetry.publishers import QUICK

real = pytest.mark.skipif(MOSQUITTO is None, reason=NO_MOSQUITTO)
CONNACK = b"\x20\x03\x00\x00\x00"
"""Of MQTT 5, without properties."""


class Told:
    """An owner that writes down what it is told."""

    def __init__(self) -> None:
        self.ups = 0
        self.downs: list[str] = []
        self.lines: list[str] = []

    def link_told(self, line: str) -> None:
        """Remember."""
        self.lines.append(line)

    def link_up(self) -> None:
        """Count."""
        self.ups += 1

    def link_down(self, why: str) -> None:
        """Remember."""
        self.downs.append(why)

    def link_acked(self, mid: int) -> None:
        """Not used."""

    def link_message(self, topic: str, payload: bytes, retained: bool) -> None:
        """Not used."""


def link(port: int, owner: Told, clock: Clock | None = None, timing: Timing = QUICK, **config: Any) -> BrokerLink:
    """A link to loopback."""
    return BrokerLink(MqttConfig("127.0.0.1", port, **config), "test", owner, clock or RealClock(), timing, 65536)


def turned(one: BrokerLink) -> bool:
    """Give it a round. Always False, so that a condition can follow."""
    one.turn(0.02)
    return False


@pytest.fixture
def server() -> Iterator[socket.socket]:
    """A port of which the test plays the broker."""
    with socket.create_server(("127.0.0.1", 0)) as made:
        yield made


def test_tries_again_after_1_2_4_and_at_most_30_seconds() -> None:
    """The moments of the attempts, on a clock that the test moves."""
    owner, clock = Told(), FakeClock(mono_s=1000.0)
    waiting = link(free_port(), owner, clock, Timing())
    moments: list[float] = []
    while clock.mono_s() < 1125.0:
        waiting.turn(0.0)
        moments += [clock.mono_s() - 1000.0] * (len(owner.downs) - len(moments))
        clock.advance(0.5)
    waiting.close()
    assert moments == [0.0, 1.0, 3.0, 7.0, 15.0, 31.0, 61.0, 91.0, 121.0]


def test_a_server_that_accepts_and_says_nothing_is_given_up(server: socket.socket) -> None:
    """It may be another service on that port, or a broker that hangs."""
    owner = Told()
    waiting = link(server.getsockname()[1], owner, timing=Timing(connect_s=0.1))
    until(lambda: turned(waiting) or owner.downs, "given up")
    assert "said nothing" in owner.downs[0]
    assert owner.ups == 0
    waiting.close()


def test_a_message_that_announces_100_mb_is_cut_off_at_its_announcement(server: socket.socket) -> None:
    """Memory is bounded although the protocol knows no limit."""
    owner = Told()
    small = link(server.getsockname()[1], owner)
    small.open()
    peer, _ = server.accept()
    peer.sendall(CONNACK)
    until(lambda: turned(small) or owner.ups, "up")
    peer.sendall(b"\x30\x80\xc2\xd7\x2f" + b"\0\1a" + b"x" * 1000)
    until(lambda: turned(small) or owner.downs, "cut")
    assert small.oversize == 1
    assert "65536" in owner.downs[0]
    small.close()
    peer.close()


@pytest.mark.parametrize("mqtt_5", [True, False])
def test_on_the_wire_everything_is_qos_1_and_the_will_is_retained(server: socket.socket, mqtt_5: bool) -> None:
    """Byte for byte as the standards have it (sections 3.1.2.3, 3.3.1, 3.8.3): QoS 0 loses, QoS 2 livelocks with a backlog.

    In MQTT 5 the broker is told how much may come (3.1.2.11.3 and .4): 20 messages at once, packets of 65,536 bytes. In 3.1.1, which
    is spoken after a refusal of the version (CONNACK 1), there is no word for it.
    """
    owner = Told()
    config = MqttConfig("127.0.0.1", server.getsockname()[1])
    plain = BrokerLink(config, "test", owner, RealClock(), QUICK, 65536, ("evenbath/hut/status", b"offline"))
    plain.open()
    peer, _ = server.accept()
    peer.settimeout(5.0)
    connect = peer.recv(1000)
    if not mqtt_5:
        peer.sendall(b"\x20\x02\x00\x01")
        peer.close()
        server.settimeout(0.02)
        peers: list[socket.socket] = []

        def came() -> bool:
            with contextlib.suppress(TimeoutError):
                peers.append(server.accept()[0])
            return bool(peers)

        until(lambda: turned(plain) or came(), "comes again")
        assert owner.downs == []
        peer = peers[0]
        peer.settimeout(5.0)
        connect = peer.recv(1000)
    clean, will, will_qos_1, will_retained = 0x02, 0x04, 0x08, 0x20
    assert connect[0] == 0x10
    assert connect[2:9] == b"\0\4MQTT" + bytes([5 if mqtt_5 else 4])
    assert connect[9] == clean | will | will_qos_1 | will_retained
    if mqtt_5:
        properties = connect[13 : 13 + connect[12]]
        assert (b"\x21\x00\x14" in properties, b"\x27\x00\x01\x00\x00" in properties) == (True, True)
    assert connect.endswith(b"\0\x13evenbath/hut/status\0\x07offline")
    peer.sendall(CONNACK if mqtt_5 else b"\x20\x02\x00\x00")
    until(lambda: turned(plain) or owner.ups, "up")
    none = b"\0" if mqtt_5 else b""
    for retain, first in ((False, 0x32), (True, 0x33)):
        mid = plain.publish("evenbath/hut/a", b"x", retain)
        assert mid is not None
        assert peer.recv(1000) == bytes([first, 19 + mqtt_5]) + b"\0\x0eevenbath/hut/a" + mid.to_bytes(2, "big") + none + b"x"
    plain.subscribe("evenbath/hut/b")
    plain.turn(0.0)
    assert peer.recv(1000).endswith(b"\0\x0eevenbath/hut/b\x01")
    plain.close()
    peer.close()


def test_a_loss_is_told_once(server: socket.socket) -> None:
    """Whichever way the connection goes."""
    owner = Told()
    lost = link(server.getsockname()[1], owner)
    lost.open()
    peer, _ = server.accept()
    peer.sendall(CONNACK)
    until(lambda: turned(lost) or owner.ups, "up")
    peer.close()
    until(lambda: turned(lost) or owner.downs, "down")
    assert len(owner.downs) == 1
    assert lost.publish("a", b"") is None
    lost.drop("again")
    assert len(owner.downs) == 1
    lost.close()


def test_waking_ends_the_waiting(server: socket.socket) -> None:
    """From another thread, in any state, also after the end."""
    owner, clock = Told(), RealClock()
    idle = link(free_port(), owner, timing=Timing(backoff_first_s=30.0))
    idle.turn(0.0)
    begin_s = clock.mono_s()
    timer = threading.Timer(0.02, idle.wake)
    timer.start()
    idle.turn(20.0)
    timer.join()
    assert clock.mono_s() - begin_s < 10.0
    idle.close()
    idle.wake()


@pytest.mark.parametrize("key", ["password_file", "ca_file", "cert_file"])
def test_a_file_that_is_missing_is_named(tmp_path: Path, key: str) -> None:
    """Waiting will not help, and the person is told which file."""
    owner = Told()
    files: dict[str, Any] = {key: tmp_path / "none"}
    wrong = link(free_port(), owner, user="station", **files)
    with pytest.raises(BrokerRefused, match="cannot be read") as refused:
        wrong.open()
    assert refused.value.by_input
    wrong.close()


def test_no_broker_says_so() -> None:
    """In plain words."""
    nobody = link(free_port(), Told())
    with pytest.raises(BrokerRefused, match="refused"):
        nobody.open()
    nobody.close()


def make_certificates(folder: Path) -> None:
    """An authority of our own, a broker's certificate for 127.0.0.1 and a client's, as the README tells."""
    (folder / "san.cnf").write_text("subjectAltName=IP:127.0.0.1\n")
    commands = [
        ["req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "30", "-subj", "/CN=home", "-keyout", "ca.key", "-out", "ca.crt"],
        ["req", "-newkey", "rsa:2048", "-nodes", "-subj", "/CN=broker", "-keyout", "broker.key", "-out", "broker.csr"],
        ["x509", "-req", "-in", "broker.csr", "-CA", "ca.crt", "-CAkey", "ca.key", "-CAcreateserial", "-days", "30", "-extfile", "san.cnf",
         "-out", "broker.crt"],
        ["req", "-newkey", "rsa:2048", "-nodes", "-subj", "/CN=station", "-keyout", "station.key", "-out", "station.csr"],
        ["x509", "-req", "-in", "station.csr", "-CA", "ca.crt", "-CAkey", "ca.key", "-CAcreateserial", "-days", "30",
         "-out", "station.crt"],
    ]  # fmt: skip
    for command in commands:
        subprocess.run(["openssl", *command], cwd=folder, check=True, capture_output=True)
    for key in folder.glob("*.key"):
        key.chmod(0o644)


@pytest.mark.broker
@real
def test_password_tls_and_client_certificate_against_the_real_broker(tmp_path: Path) -> None:
    """Let in with all of them; a wrong password and an unknown authority are refused in plain words."""
    make_certificates(tmp_path)
    passwords = tmp_path / "passwords"
    passwords.write_text("station:secret\n")
    subprocess.run(["mosquitto_passwd", "-U", str(passwords)], check=True, capture_output=True)
    passwords.chmod(0o644)
    tmp_path.chmod(0o755)
    (tmp_path / "password").write_text("secret\n")
    (tmp_path / "wrong").write_text("guess\n")
    tls = f"cafile {tmp_path}/ca.crt\ncertfile {tmp_path}/broker.crt\nkeyfile {tmp_path}/broker.key\nrequire_certificate true\n"
    more = f"allow_anonymous false\npassword_file {passwords}\nuser root\n"
    broker = Mosquitto(tmp_path, more, tls, log=tmp_path / "log")
    broker.start()
    own = {"cert_file": tmp_path / "station.crt", "key_file": tmp_path / "station.key"}
    certificates: dict[str, Any] = {"ca_file": tmp_path / "ca.crt", **own}
    try:
        owner = Told()
        good = link(broker.port, owner, user="station", password_file=tmp_path / "password", **certificates)
        until(lambda: turned(good) or owner.ups, f"let in: {owner.downs} {(tmp_path / 'log').read_text()}", 5.0)
        good.close()
        guess = Told()
        bad = link(broker.port, guess, user="station", password_file=tmp_path / "wrong", **certificates)
        until(lambda: turned(bad) or guess.downs, "turned away", 5.0)
        assert "not authori" in guess.downs[0]
        bad.close()
        certificates["ca_file"] = tmp_path / "station.crt"
        system = link(broker.port, Told(), **certificates)
        with pytest.raises(BrokerRefused, match="not trusted"):
            system.open()
        system.close()
    finally:
        broker.stop()
