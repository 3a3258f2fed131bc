"""What a broker that misbehaves costs. `python -m tests.benchmarks.bench_broker [SECONDS [NAME...]]`, about four minutes.

For each attack of a raw broker on a publisher and on a recorder, each in a process of its own: by how much its memory grew at most,
how many connections it made, how much of a core it took, and how late ticks of 50 ms came beside it: the publisher lives in the station's
process.
"""

from __future__ import annotations

import itertools
import logging
import os
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable
from pathlib import Path

from monitor.live.broker import MqttConfig
from monitor.live.clock import RealClock
from monitor.live.telemetry.mqtt import Publisher
from monitor.live.telemetry.recorder import Recorder
from tests.live.telemetry.fake_broker import DISCONNECT, PINGREQ, PUBACK, PUBLISH, FakeBroker, Wire, connack, packet, publish
from tests.live.telemetry.publishers import journal

CLOCK = RealClock()
OUR_TOPICS = (b"evenbath/laundry/again", b"evenbath/laundry/journal")


def flood(piece: Callable[[int, int], bytes]) -> Callable[[Wire], None]:
    """Accept, then send `piece(version, number)` for ever and read nothing."""

    def behave(wire: Wire) -> None:
        wire.greet()
        for first in itertools.count(0, 200):
            wire.send(b"".join(piece(wire.version, first + n) for n in range(200)))

    return behave


def huge(wire: Wire) -> None:
    """A packet of 256 MB, whole, as fast as it goes."""
    wire.greet()
    wire.send(b"\x30\xff\xff\xff\x7f\0\1a")
    for _ in range(4096):
        wire.send(bytes(1 << 16))


def noise(wire: Wire) -> None:
    """Bytes by the dice."""
    wire.greet()
    while True:
        wire.send(os.urandom(4096))


def dribble(wire: Wire) -> None:
    """A packet of 60,000 bytes that comes a byte at a time."""
    wire.greet()
    wire.drip(publish(wire.version, b"evenbath/laundry/journal", bytes(60_000)), 1.0)


def goodbye(wire: Wire) -> None:
    """Accepts, and takes leave at once with a reason."""
    wire.greet()
    wire.send(packet(DISCONNECT, b"\x97\0" if wire.version == 5 else b""))


def no_acks(wire: Wire) -> None:
    """Everything is answered but what matters."""
    wire.greet()
    wire.serve(acks=False)


PROPERTIES = b"".join(b"\x26\0\1k\0\1v" for _ in range(9000))
ATTACKS: dict[str, Callable[[Wire], None]] = {
    "QoS 2 without PUBREL, 4 KB each": flood(lambda v, n: publish(v, b"evenbath/laundry/again", bytes(4000), 2, n % 65535 + 1)),
    "one packet of 256 MB": huge,
    "QoS 1, acknowledgements never read": flood(lambda v, n: publish(v, b"evenbath/laundry/again", b"x", 1, n % 65535 + 1)),
    "QoS 0, topics of its own": flood(lambda v, n: publish(v, b"evenbath/s%d/status" % n, b"online")),
    "QoS 0, requests": flood(lambda v, n: publish(v, b"evenbath/laundry/again", b'{"session":"a1","from_seq":1}')),
    "QoS 0, records of invented sessions": flood(
        lambda v, n: publish(v, b"evenbath/laundry/journal", b'{"seq":7,"session":"s%d","kind":"x"}' % n)
    ),
    "topics of 64 KB": flood(lambda v, n: publish(v, b"t" * 65_000, b"", 1, n % 65535 + 1)),
    "retained, a listing each": flood(
        lambda v, n: publish(v, b"evenbath/s%d/sessions" % n, b'{"sessions":[{"session":"a%d","records":5}]}' % n, 0, 0, True)
    ),
    "user properties, 63 KB": flood(
        lambda v, n: packet(PUBLISH, b"\0\1a" + (b"\xf8\xec\3" + PROPERTIES[:63_096] if v == 5 else b"") + b"x")
    ),
    "CONNACK again and again": flood(lambda v, n: connack(v)),
    "PUBACK for what was never sent": flood(lambda v, n: packet(PUBACK, (n % 65535 + 1).to_bytes(2, "big"))),
    "PINGREQ, answers never read": flood(lambda v, n: packet(PINGREQ)),
    "SUBACK again and again": flood(lambda v, n: packet(0x90, b"\0\1" + (b"\0" if v == 5 else b"") + b"\x80")),
    "noise": noise,
    "a byte a second": dribble,
    "accepts, never answers": Wire.wait,
    "accepts, disconnects": goodbye,
    "acknowledges nothing": no_acks,
}


def status_kb(key: str) -> int:
    """A kB figure of this process."""
    text = Path("/proc/self/status").read_text()
    return next(int(line.split()[1]) for line in text.splitlines() if line.startswith(key + ":"))


def victim(kind: str, port: int, folder: Path, seconds: float) -> None:
    """The attacked: prints growth of memory in kB, processor time in percent, then lateness p50, p99, worst in ms."""
    logging.disable(logging.CRITICAL)
    sys.setswitchinterval(0.001)
    config = MqttConfig("127.0.0.1", port)
    if kind == "publisher":
        made = Publisher(config, "laundry", folder / "journals", folder, CLOCK)
        stop: Callable[[], None] = made.stop
        made.start()
    else:
        recorder = Recorder(config, "r", folder / "kept", (), CLOCK, lambda line: None)
        thread = threading.Thread(target=recorder.run, daemon=True)
        stop = recorder.stop
        import paho.mqtt.client

        assert paho.mqtt.client
        thread.start()
    pause, late = threading.Event(), []
    pause.wait(0.3)
    before = status_kb("VmRSS")
    begin_s, used_s = CLOCK.mono_s(), sum(os.times()[:2])
    for number in range(1, int(seconds / 0.05) + 1):
        due_s = begin_s + number * 0.05
        pause.wait(max(0.0, due_s - CLOCK.mono_s()))
        late.append((CLOCK.mono_s() - due_s) * 1000.0)
    late.sort()
    busy = 100.0 * (sum(os.times()[:2]) - used_s) / (CLOCK.mono_s() - begin_s)
    grown = status_kb("VmHWM") - before
    stop()
    print(grown, busy, *(f"{late[min(len(late) - 1, int(len(late) * share))]:.2f}" for share in (0.5, 0.99, 1.0)), flush=True)
    os._exit(0)


def attack(name: str, seconds: float) -> None:
    """One attack on each."""
    for kind in ("publisher", "recorder"):
        with tempfile.TemporaryDirectory() as folder, FakeBroker(ATTACKS[name]) as broker:
            (Path(folder) / "journals").mkdir()
            (Path(folder) / "journals" / "a1.jsonl").write_bytes(journal("a1", 2000))
            words = ["-m", "tests.benchmarks.bench_broker", "victim", kind, str(broker.port), folder, str(seconds)]
            done = subprocess.run([sys.executable, *words], capture_output=True, text=True, check=False)
            if done.returncode != 0:
                print(f"{name:38s} {kind:9s} DIED: {done.stderr.strip().splitlines()[-1:]}")
                continue
            grown, busy, p50, p99, worst = map(float, done.stdout.split())
            print(
                f"{name:38s} {kind:9s} +{grown / 1024:7.1f} MB  {broker.connections:4d} connections  {busy:3.0f} % of a core  "
                f"ticks p50 {p50:.2f} p99 {p99:.2f} worst {worst:.2f} ms",
                flush=True,
            )


def main() -> None:
    """All of them, or those whose name begins as asked."""
    if sys.argv[1:2] == ["victim"]:
        victim(sys.argv[2], int(sys.argv[3]), Path(sys.argv[4]), float(sys.argv[5]))
    seconds, wanted = float(sys.argv[1]) if len(sys.argv) > 1 else 6.0, sys.argv[2:]
    for name in ATTACKS:
        if not wanted or any(name.startswith(start) for start in wanted):
            attack(name, seconds)


if __name__ == "__main__":
    main()
