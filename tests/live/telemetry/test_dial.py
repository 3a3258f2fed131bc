"""From a name to a connection: names that are not answered, addresses that swallow, handshakes that never end, files that are wrong."""

from __future__ import annotations

import os
import shutil
import socket
import ssl
import subprocess
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from monitor.live.broker import MqttConfig
from monitor.live.clock import RealClock
from monitor.live.telemetry.broker_link import BrokerLink, Timing
from monitor.live.telemetry.dial import BrokerRefused, Dial, Waker, open_to_others, password_of, tls_context
from monitor.live.telemetry.mqtt import Publisher, PublishPace
from tests.live.telemetry.brokers import free_port, until
from tests.live.telemetry.certificates import authority, signed
from tests.live.telemetry.fake_broker import FakeBroker, Wire
from tests.live.telemetry.publishers import QUICK
from tests.live.telemetry.test_broker_edge import Heard

CLOCK = RealClock()
needs_openssl = pytest.mark.skipif(shutil.which("openssl") is None, reason="the openssl program is not installed: apt-get install openssl")


class Phone:
    """A dial for one test, with what it needs."""

    def __init__(self, port: int, host: str = "127.0.0.1", resolve: Callable[..., list[Any]] | None = None, **files: Any) -> None:
        self.waker, self.stopping = Waker(), False
        config = MqttConfig(host, port, **files)
        self.dial = Dial(config, CLOCK, self.waker, lambda: self.stopping, *([] if resolve is None else [resolve]))

    def __enter__(self) -> Phone:
        return self

    def __exit__(self, *_: object) -> None:
        self.waker.close()

    def refused(self, within_s: float = 5.0) -> str:
        """Why there is no connection."""
        with pytest.raises(BrokerRefused) as refused:
            self.dial.connect(within_s)
        return refused.value.why


@pytest.fixture(scope="module")
def papers(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Certificates of an authority of ours, and one of another's."""
    folder = tmp_path_factory.mktemp("papers")
    authority(folder)
    authority(folder, "stranger")
    signed(folder, "good", "IP:127.0.0.1")
    signed(folder, "expired", "IP:127.0.0.1", end="20210101000000Z")
    signed(folder, "not-yet", "IP:127.0.0.1", begin="20390101000000Z")
    signed(folder, "elsewhere", "DNS:broker.lan")
    signed(folder, "foreign", "IP:127.0.0.1", ca="stranger")
    return folder


def server_side(papers: Path, name: str) -> ssl.SSLContext:
    """What a broker with this certificate speaks."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(papers / f"{name}.crt", papers / f"{name}.key")
    return context


@needs_openssl
def test_a_broker_with_a_good_certificate_is_connected_and_encrypted(papers: Path) -> None:
    """And the connection does not block."""
    with FakeBroker(Wire.wait, server_side(papers, "good")) as broker, Phone(broker.port, ca_file=str(papers / "ca.crt")) as phone:
        sock = phone.dial.connect(5.0)
        assert isinstance(sock, ssl.SSLSocket)
        assert sock.version() in ("TLSv1.2", "TLSv1.3")
        assert not sock.getblocking()
        sock.close()


@needs_openssl
@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("expired", "expired); a wrong clock"),
        ("not-yet", "not yet valid); a wrong clock"),
        ("elsewhere", 'not for "127.0.0.1"'),
        ("foreign", "allowed: one signed by the authority in ca_file"),
    ],
)
def test_a_certificate_that_is_not_to_be_trusted_is_refused_with_the_reason(papers: Path, name: str, words: str) -> None:
    """Expired and not yet valid, for another name, of an unknown authority."""
    with FakeBroker(Wire.wait, server_side(papers, name)) as broker, Phone(broker.port, ca_file=str(papers / "ca.crt")) as phone:
        assert words in phone.refused()


@needs_openssl
def test_a_broker_that_does_not_speak_tls_is_told_as_such(papers: Path) -> None:
    """The plain port was given, with TLS."""

    def plain(wire: Wire) -> None:
        wire.more(1.0)
        wire.send(b"HTTP/1.1 400 Bad Request\r\n\r\n")

    with FakeBroker(plain) as broker, Phone(broker.port, ca_file=str(papers / "ca.crt")) as phone:
        assert phone.refused() == "what answers at that port does not speak TLS"


@needs_openssl
@pytest.mark.parametrize("behaviour", [Wire.wait, lambda wire: wire.drip(b"\x16\x03\x03\x0f\xff" + bytes(4000), 0.05)])
def test_a_handshake_that_never_ends_is_given_up_in_time(papers: Path, behaviour: Callable[[Wire], None]) -> None:
    """Silent, or a byte now and then: the time counts from the beginning, not from the last byte."""
    with FakeBroker(behaviour) as broker, Phone(broker.port, ca_file=str(papers / "ca.crt")) as phone:
        begin_s = CLOCK.mono_s()
        assert "TLS handshake in time" in phone.refused(0.5)
        assert CLOCK.mono_s() - begin_s < 2.0


@needs_openssl
def test_a_connection_that_is_cut_in_the_handshake_is_told(papers: Path) -> None:
    """A proxy that has nobody behind it."""
    with FakeBroker(lambda wire: None) as broker, Phone(broker.port, ca_file=str(papers / "ca.crt")) as phone:
        assert "TLS handshake" in phone.refused()


@needs_openssl
def test_a_broker_that_wants_a_certificate_of_ours_says_so_in_words(papers: Path) -> None:
    """In TLS 1.3 it says so after the handshake, which the client has taken for done."""
    asking = server_side(papers, "good")
    asking.verify_mode = ssl.CERT_REQUIRED
    asking.load_verify_locations(papers / "ca.crt")
    owner = Heard()
    with FakeBroker(lambda wire: wire.greet().wait(), asking) as broker:
        config = MqttConfig("127.0.0.1", broker.port, ca_file=str(papers / "ca.crt"))
        one = BrokerLink(config, "test", owner, CLOCK, QUICK, 1000)

        def given_up() -> object:
            one.turn(0.02)
            return owner.downs

        until(given_up, "given up", 10.0)
        one.close()
    assert "certificate" in owner.downs[0]


class NameServer:
    """Answers when it is told to."""

    def __init__(self, *answers: Any) -> None:
        self.asked, self.go, self._answers = 0, threading.Event(), answers

    def __call__(self, host: str, port: int, **more: Any) -> list[Any]:
        """As `socket.getaddrinfo`."""
        self.asked += 1
        self.go.wait(30.0)
        if not self._answers:
            raise socket.gaierror(-2, "Name or service not known")
        return [(socket.AF_INET, socket.SOCK_STREAM, 6, "", answer) for answer in self._answers]


@pytest.fixture
def quiet() -> Iterator[NameServer]:
    """A name server that does not answer before the end of the test."""
    server = NameServer()
    yield server
    server.go.set()


def test_a_name_server_that_does_not_answer_holds_nobody_up(quiet: NameServer) -> None:
    """The library's own look-up cannot be interrupted, and waits half a minute. The question is asked once, however often one tries."""
    with Phone(1883, "broker.lan", quiet) as phone:
        for _ in range(3):
            begin_s = CLOCK.mono_s()
            assert "name server" in phone.refused(0.1)
            assert CLOCK.mono_s() - begin_s < 1.0
        assert quiet.asked == 1


def test_an_answer_that_comes_late_is_used_the_next_time() -> None:
    """And the one after asks anew: addresses change."""
    with FakeBroker(Wire.wait) as broker:
        late = NameServer(("127.0.0.1", broker.port))
        with Phone(broker.port, "broker.lan", late) as phone:
            phone.refused(0.05)
            late.go.set()
            phone.dial.connect(5.0).close()
            phone.dial.connect(5.0).close()
            assert late.asked == 2


def test_a_name_that_does_not_exist_is_told(quiet: NameServer) -> None:
    """In the resolver's own words."""
    quiet.go.set()
    with Phone(1883, "broker.lan", quiet) as phone:
        assert phone.refused() == "Name or service not known"


def test_of_several_addresses_the_one_that_answers_is_taken() -> None:
    """The first refuses."""
    with FakeBroker(Wire.wait) as broker:
        known = NameServer(("127.0.0.1", free_port()), ("127.0.0.1", broker.port))
        known.go.set()
        with Phone(broker.port, "broker.lan", known) as phone:
            phone.dial.connect(5.0).close()


@pytest.fixture
def swallowing() -> Iterator[tuple[str, int]]:
    """An address whose queue is full, so that a further connection is never answered."""
    with socket.create_server(("127.0.0.1", 0), backlog=0) as full:
        fillers = []
        for _ in range(4):
            filler = socket.socket()
            filler.setblocking(False)
            filler.connect_ex(full.getsockname())
            fillers.append(filler)
        yield full.getsockname()
        for filler in fillers:
            filler.close()


def test_addresses_that_swallow_everything_share_the_time(swallowing: tuple[str, int]) -> None:
    """Each had its own five seconds, so ten of them took fifty."""
    many = NameServer(*[swallowing] * 5)
    many.go.set()
    with Phone(1883, "broker.lan", many) as phone:
        begin_s = CLOCK.mono_s()
        assert phone.refused(0.5) == "timed out"
        assert 0.3 < CLOCK.mono_s() - begin_s < 1.5


def test_an_address_that_swallows_everything_leaves_time_for_the_next(swallowing: tuple[str, int]) -> None:
    """A home's name often has two addresses, of which one leads nowhere."""
    with FakeBroker(Wire.wait) as broker:
        two = NameServer(swallowing, ("127.0.0.1", broker.port))
        two.go.set()
        with Phone(broker.port, "broker.lan", two) as phone:
            phone.dial.connect(1.0).close()


@needs_openssl
def test_a_station_that_ends_waits_for_no_handshake(papers: Path, tmp_path: Path) -> None:
    """The service manager waits five seconds for the whole station."""
    with FakeBroker(Wire.wait) as broker:
        config = MqttConfig("127.0.0.1", broker.port, ca_file=str(papers / "ca.crt"))
        voice = Publisher(config, "laundry", tmp_path, tmp_path, CLOCK, Timing(connect_s=30.0), PublishPace(farewell_s=0.5))
        voice.start()
        until(lambda: broker.connections, "connects")
        begin_s = CLOCK.mono_s()
        voice.stop()
        assert CLOCK.mono_s() - begin_s < 1.4
        assert not voice._thread.is_alive()


@pytest.mark.parametrize("while_doing", ["the name", "the handshake"])
@needs_openssl
def test_whoever_wants_to_end_waits_for_no_connection(papers: Path, quiet: NameServer, while_doing: str) -> None:
    """Ctrl-C in `evenbath record`, and the end of a station."""
    with FakeBroker(Wire.wait) as broker:
        name = while_doing == "the name"
        phone = Phone(broker.port, "broker.lan", quiet) if name else Phone(broker.port, ca_file=str(papers / "ca.crt"))
        with phone:

            def end() -> None:
                phone.stopping = True
                phone.waker.ring()

            timer = threading.Timer(0.1, end)
            timer.start()
            begin_s = CLOCK.mono_s()
            assert phone.refused(20.0) == "this program is ending"
            assert CLOCK.mono_s() - begin_s < 5.0
            timer.join()


def test_ringing_without_wanting_to_end_ends_no_attempt(quiet: NameServer) -> None:
    """The station rings for every record."""
    with Phone(1883, "broker.lan", quiet) as phone:
        timers = [threading.Timer(0.02 * n, phone.waker.ring) for n in range(5)]
        for timer in timers:
            timer.start()
        assert "name server" in phone.refused(0.3)
        for timer in timers:
            timer.join()


def test_a_password_file_that_others_can_read_is_told_once(tmp_path: Path) -> None:
    """By name, with what to do; one for the owner and the group is not."""
    secret = tmp_path / "password"
    secret.write_text("secret\n", encoding="utf-8")
    secret.chmod(0o640)
    config = MqttConfig("127.0.0.1", free_port(), user="u", password_file=str(secret))
    assert open_to_others(config) == []
    secret.chmod(0o644)
    owner = Heard()
    one = BrokerLink(config, "test", owner, CLOCK, Timing(backoff_first_s=0.0), 1000)
    for _ in range(3):
        one.turn(0.0)
    one.close()
    assert owner.lines == [f"{secret}: can be read by every user of this machine (mode 0644); chmod o= keeps it secret"]
    secret.chmod(0o646)
    assert "can be changed by" in open_to_others(config)[0]


def test_a_key_that_others_can_read_is_told_too(tmp_path: Path) -> None:
    """Also where it stands in the file of the certificate."""
    key = tmp_path / "key"
    key.write_text("", encoding="utf-8")
    key.chmod(0o644)
    assert str(key) in open_to_others(MqttConfig("h", cert_file="none", key_file=str(key)))[0]
    assert str(key) in open_to_others(MqttConfig("h", cert_file=str(key)))[0]


@pytest.mark.parametrize("key", ["password_file", "ca_file", "cert_file"])
def test_a_pipe_or_a_device_in_place_of_a_file_is_refused_at_once(tmp_path: Path, key: str) -> None:
    """A pipe without a writer would keep the program waiting for ever."""
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    for file in (str(pipe), "/dev/zero"):
        files: dict[str, Any] = {key: file}
        owner = Heard()
        one = BrokerLink(MqttConfig("127.0.0.1", free_port(), user="u", **files), "test", owner, CLOCK, QUICK, 1000)
        with pytest.raises(BrokerRefused, match="no ordinary file") as refused:
            one.open()
        assert refused.value.by_input
        one.close()


@needs_openssl
def test_a_key_with_a_passphrase_is_refused_and_nobody_is_asked_for_it(papers: Path, tmp_path: Path) -> None:
    """The library would ask on the terminal, in the middle of a daemon."""
    locked = tmp_path / "locked.key"
    words = ["openssl", "rsa", "-aes128", "-passout", "pass:hush", "-in", str(papers / "good.key"), "-out", str(locked)]
    subprocess.run(words, check=True, capture_output=True)
    config = MqttConfig("h", ca_file=str(papers / "ca.crt"), cert_file=str(papers / "good.crt"), key_file=str(locked))
    with pytest.raises(BrokerRefused, match="no certificate or key that can be used") as refused:
        tls_context(config)
    assert refused.value.by_input


def test_only_the_first_line_of_a_password_file_counts_and_only_its_beginning_is_read(tmp_path: Path) -> None:
    """A file of a gigabyte costs no memory."""
    file = tmp_path / "password"
    file.write_text("sécret\r\nmore\n", encoding="utf-8")
    assert password_of(str(file)) == "sécret"
    file.write_bytes(b"")
    assert password_of(str(file)) == ""
    with file.open("wb") as big:
        big.truncate(1 << 30)
    assert len(password_of(str(file))) == 4096
