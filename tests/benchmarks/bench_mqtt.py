"""What MQTT costs and what it loses, through a real mosquitto on loopback. `python -m tests.benchmarks.bench_mqtt`, about a minute.

Prints: records a second and the time for an hour's backlog; memory of publisher and recorder, the recorder with 200 stations;
what is lost on one schedule (broker killed, publisher killed) by this outbox and by plain paho with its own queue; lateness
of 50 ms ticks in the publisher's process with no broker set up, during an outage and during the drain.
"""

from __future__ import annotations

import json
import logging
import signal
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable
from pathlib import Path

from monitor.live.clock import RealClock
from monitor.live.telemetry.broker_link import Timing
from monitor.live.telemetry.mqtt import PublishPace
from tests.live.telemetry.brokers import Mosquitto, free_port, until
from tests.live.telemetry.publishers import FAST, Listener, RunningRecorder, closing, journal, opening, publisher, record

HOUR = 16_000
"""Records of an hour: three probes each second, progress every 2 s, sounds and the rest."""
CLOCK = RealClock()


def proc(pid: int, key: str) -> int:
    """A kB figure from /proc/PID/status."""
    text = Path(f"/proc/{pid}/status").read_text()
    return next(int(line.split()[1]) for line in text.splitlines() if line.startswith(key + ":"))


def cpu_s(pid: int) -> float:
    """Processor time of a process, user and system."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / 100.0


def in_broker(work: Callable[[Mosquitto, Path], None]) -> None:
    """Run one measurement with a fresh broker and folder."""
    with tempfile.TemporaryDirectory() as name:
        broker = Mosquitto(Path(name))
        broker.start()
        try:
            work(broker, Path(name))
        finally:
            broker.stop()


def keep(state: Path, records: int) -> bytes:
    """A journal on the disk."""
    (state / "journals").mkdir(parents=True, exist_ok=True)
    body = journal("a1", records)
    (state / "journals" / "a1.jsonl").write_bytes(body)
    return body


def start_recorder(broker: Mosquitto, folder: Path, *more: str) -> subprocess.Popen[bytes]:
    """`evenbath record` in a process of its own, connected."""
    words = ["--broker", f"127.0.0.1:{broker.port}", "--into", str(folder / "kept"), *more]
    running = subprocess.Popen([sys.executable, "-m", "monitor.cli.main", "record", *words], stdout=subprocess.PIPE)
    assert running.stdout is not None
    running.stdout.readline()
    return running


def drain(pace: PublishPace, name: str) -> None:
    """An hour's backlog, to a recorder's disk."""

    def work(broker: Mosquitto, folder: Path) -> None:
        body = keep(folder, HOUR)
        running = start_recorder(broker, folder, "--until-closed", "a1")
        voice = publisher(broker.port, folder, pace=pace)
        begin_s = CLOCK.mono_s()
        voice.start()
        running.communicate(timeout=120.0)
        took_s = CLOCK.mono_s() - begin_s
        voice.stop()
        assert (folder / "kept" / "laundry" / "a1.jsonl").read_bytes() == body
        print(f"an hour's backlog, {HOUR} records, {name}: {took_s:.1f} s, {HOUR / took_s:.0f} records a second")

    in_broker(work)


VOICE = """
import sys, threading
from pathlib import Path
from tests.live.telemetry.publishers import publisher
from monitor.live.telemetry.mqtt import PublishPace
from monitor.live.telemetry.broker_link import Timing
timing, pace = Timing(backoff_first_s=0.2, backoff_most_s=1.0), PublishPace(live_per_s=float(sys.argv[3]))
voice = publisher(int(sys.argv[1]), Path(sys.argv[2]), timing=timing, pace=pace)
voice.start()
threading.Event().wait()
"""
PLAIN = """
import sys, threading
from pathlib import Path
import paho.mqtt.client as mqtt
client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, client_id="plain", clean_session=False)
client.reconnect_delay_set(1, 30)
client.connect_async("127.0.0.1", int(sys.argv[1]))
client.loop_start()
done = Path(sys.argv[2]) / "handed-over"
first = int(done.read_text()) if done.exists() else 0
for number, line in enumerate((Path(sys.argv[2]) / "journals" / "a1.jsonl").read_bytes().splitlines()):
    if number >= first:
        client.publish("evenbath/laundry/journal", line, qos=1)
        if number % 100 == 99:
            done.write_text(str(number + 1))
            threading.Event().wait(100 / float(sys.argv[3]))
threading.Event().wait()
"""


def child(code: str, port: int, state: Path, per_s: float) -> subprocess.Popen[bytes]:
    """A publisher in a process of its own."""
    return subprocess.Popen([sys.executable, "-c", code, str(port), str(state), str(per_s)], stderr=subprocess.DEVNULL)


def memory_of_the_publisher() -> None:
    """Resident, with an hour waiting for a broker that is not there, and after the drain."""

    def work(broker: Mosquitto, folder: Path) -> None:
        keep(folder, HOUR)
        away = child(VOICE, free_port(), folder, 1e5)
        until(lambda: proc(away.pid, "Threads") > 1, "running")
        threading.Event().wait(2.0)
        waiting = proc(away.pid, "VmRSS")
        away.kill()
        away.wait()
        ear = Listener(broker.port, "evenbath/laundry/journal")
        here = child(VOICE, broker.port, folder, 1e5)
        until(lambda: len(ear.heard) >= HOUR, "drained", 120.0)
        most = proc(here.pid, "VmHWM")
        print(f"publisher's process: {waiting / 1024:.1f} MiB with an hour waiting, {most / 1024:.1f} MiB at most while draining")
        here.kill()
        here.wait()
        ear.close()

    in_broker(work)


def recorder_of_200() -> None:
    """200 stations, one record a second each, 300 s of it, as fast as it goes; memory at a third and at the end."""

    def work(broker: Mosquitto, folder: Path) -> None:
        running = start_recorder(broker, folder)
        mouth = Listener(broker.port)
        stations, seconds, marks = 200, 300, {}
        last = folder / "kept" / f"st-{stations - 1}" / f"s{stations - 1:03d}.jsonl"
        begin_cpu_s = cpu_s(running.pid)
        begin_s = CLOCK.mono_s()
        for seq in range(1, seconds + 1):
            for number in range(stations):
                session = f"s{number:03d}"
                line = opening(session) if seq == 1 else closing(session, seq) if seq == seconds else record(session, seq)
                mouth.say(f"evenbath/st-{number}/journal", line[:-1])
            until(lambda s=seq: last.exists() and last.read_bytes().count(b"\n") >= s - 2, "taken", 20.0)  # type: ignore[misc]
            if seq in (seconds // 3, seconds - 1):
                marks[seq] = proc(running.pid, "VmRSS")
        until(lambda: last.exists() and b'"close"' in last.read_bytes()[-200:], "kept", 60.0)
        took_s, used_s = CLOCK.mono_s() - begin_s, cpu_s(running.pid) - begin_cpu_s
        running.send_signal(signal.SIGTERM)
        running.communicate()
        whole = sum(path.read_bytes().count(b"\n") for path in (folder / "kept").rglob("*.jsonl"))
        figures = ", ".join(f"{kib / 1024:.1f} MiB after {seq} s" for seq, kib in marks.items())
        print(f"recorder of {stations} stations: {whole} of {stations * seconds} records kept, {figures};", end=" ")
        print(f"{whole / took_s:.0f} records a second, {100 * used_s / seconds:.1f} % of a core at one record a second each")
        mouth.close()

    in_broker(work)


def losses(records: int = 6000, per_s: float = 2000.0) -> None:
    """Broker killed at a quarter and back after 1 s, publisher killed at a half and started again: who lost what."""
    for name, code in (("this outbox and recorder", VOICE), ("plain paho, its own queue, persistent session", PLAIN)):

        def work(broker: Mosquitto, folder: Path, name: str = name, code: str = code) -> None:
            body = keep(folder, records)
            got: Callable[[], int]
            with RunningRecorder(broker.port, folder / "kept") as running:
                ear = Listener(broker.port, "evenbath/laundry/journal")
                got = (lambda: running.file("a1").count(b"\n")) if code == VOICE else (lambda: len({p for _, p, _ in list(ear.heard)}))
                speaker = child(code, broker.port, folder, per_s)
                until(lambda: got() >= records // 4, "a quarter", 60.0)
                broker.kill()
                threading.Event().wait(1.0)
                broker.start()
                until(lambda: got() >= records // 2, "a half", 60.0)
                speaker.kill()
                speaker.wait()
                speaker = child(code, broker.port, folder, per_s)
                settled_s, last = CLOCK.mono_s(), -1
                while CLOCK.mono_s() - settled_s < 4.0 and got() < records:
                    if got() != last:
                        settled_s, last = CLOCK.mono_s(), got()
                    threading.Event().wait(0.05)
                wrong = code == VOICE and running.file("a1") != body
                print(f"{name}: {records - got()} of {records} lost{', and the file differs' if wrong else ''}")
                speaker.kill()
                speaker.wait()
                ear.close()

        in_broker(work)


def lateness(name: str, seconds: float = 6.0) -> None:
    """Ticks every 50 ms against absolute deadlines."""
    late: list[float] = []
    pause = threading.Event()
    begin_s = CLOCK.mono_s()
    for number in range(1, int(seconds / 0.05) + 1):
        due_s = begin_s + number * 0.05
        pause.wait(max(0.0, due_s - CLOCK.mono_s()))
        late.append((CLOCK.mono_s() - due_s) * 1000.0)
    late.sort()
    print(f"ticks {name}: lateness p50 {late[len(late) // 2]:.2f}, p99 {late[int(len(late) * 0.99)]:.2f}, worst {late[-1]:.2f} ms")


def ticks() -> None:
    """Without a publisher, with one whose broker is away, with one that drains at its usual pace, and at no pace at all."""
    lateness("without a publisher")

    def work(broker: Mosquitto, folder: Path) -> None:
        keep(folder, 4 * HOUR)
        port = broker.port
        broker.stop()
        for pace, name in ((PublishPace(), "at its pace"), (FAST, "without a bound")):
            broker.stop()
            voice = publisher(port, folder, timing=Timing(backoff_first_s=0.2, backoff_most_s=1.0), pace=pace)
            voice.start()
            lateness("during an outage", 3.0)
            broker.start()
            until(lambda v=voice: v.counters()["connected"], "connected")  # type: ignore[misc]
            lateness(f"while draining {name}", 4.0)
            print(f"   ({json.dumps({k: voice.counters()[k] for k in ('sent', 'pending_bytes')})})")
            voice.stop()

    in_broker(work)


def main() -> None:
    """All of it."""
    logging.disable(logging.WARNING)
    drain(PublishPace(), "at the usual pace")
    drain(FAST, "without a bound")
    memory_of_the_publisher()
    recorder_of_200()
    losses()
    ticks()


if __name__ == "__main__":
    main()
