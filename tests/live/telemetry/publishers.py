"""A station's journal and publisher, a recorder in a thread, a plain listener, and outages by the dice: for the tests of MQTT."""

from __future__ import annotations

import itertools
import json
import os
import random
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import TracebackType
from typing import Any

from monitor.core.journal.records import encode
from monitor.live.broker import MqttConfig
from monitor.live.clock import RealClock
from monitor.live.telemetry.broker_link import BrokerLink, Timing
from monitor.live.telemetry.mqtt import Publisher, PublishPace
from monitor.live.telemetry.recorder import Patience, Recorder
from tests.live.telemetry.brokers import Broker, SwallowingProxy, until

QUICK = Timing(keepalive_s=1, connect_s=2.0, backoff_first_s=0.02, backoff_most_s=0.2, stall_s=0.5)
PATIENT = replace(QUICK, stall_s=60.0)
"""What was under way at a loss a `Listener` does not send again."""
FAST = PublishPace(live_per_s=50_000.0, again_per_s=20_000.0, save_s=0.2, farewell_s=2.0)
EAGER = Patience(ask_s=0.3, ask_most_s=1.0, quiet_s=0.6, quiet_most_s=2.0, asks_per_s=500.0)
STATION = "laundry"
_NUMBERS = itertools.count()


def record(session: str, seq: int, **fields: Any) -> bytes:
    """One line of a journal, newline included: a reading, unless `fields` say otherwise. The first one opens the session."""
    if seq == 1 and not fields:
        return opening(session)
    body = {"seq": seq, "session": session, "t_s": seq * 0.5, "wall": "2026-11-25T19:00:00.000Z", "kind": "reading"}
    reading = {"probe": "jug", "role": "developer", "raw_c": 20.0625, "celsius": 20.0625 + seq * 1e-5, "quality": "good"}
    return encode({**body, **(fields or reading)}).encode()


def opening(session: str) -> bytes:
    """The first record."""
    return record(session, 1, kind="session", event="open", mode="live", version="0", zone="UTC", recipe={"note": "Läufer, 20 °C"})


def closing(session: str, seq: int) -> bytes:
    """The last record."""
    return record(session, seq, kind="session", event="close", why="done")


def journal(session: str, records: int, closed: bool = True) -> bytes:
    """A whole journal of so many records."""
    lines = [opening(session), *(record(session, seq) for seq in range(2, records + (not closed)))]
    return b"".join([*lines, closing(session, records)] if closed else lines)


class Writer:
    """Writes a journal as a station does, and says what is safe. Not synced: these tests cut networks and processes, not power."""

    def __init__(self, journals: Path, session: str, safe: Callable[[str, int], None]) -> None:
        journals.mkdir(parents=True, exist_ok=True)
        self.path, self.session, self._safe = journals / f"{session}.jsonl", session, safe
        self.seq = 0
        self._file = self.path.open("ab", buffering=0)

    def write(self, count: int) -> None:
        """So many records more."""
        lines = []
        for _ in range(count):
            self.seq += 1
            lines.append(opening(self.session) if self.seq == 1 else record(self.session, self.seq))
        self._put(b"".join(lines))

    def finish(self) -> None:
        """The closing record."""
        self.seq += 1
        self._put(closing(self.session, self.seq))
        self._file.close()

    def _put(self, data: bytes) -> None:
        os.write(self._file.fileno(), data)
        self._safe(self.session, self.path.stat().st_size)

    def leave(self) -> None:
        """Close the file without a closing record."""
        self._file.close()


def publisher(port: int, state: Path, station: str = STATION, timing: Timing = QUICK, pace: PublishPace = FAST, **config: Any) -> Publisher:
    """A publisher, not started. `state`: with or without journals."""
    return Publisher(MqttConfig("127.0.0.1", port, **config), station, state / "journals", state, RealClock(), timing, pace)


class RunningRecorder:
    """A recorder at work in a thread, for a `with` statement."""

    def __init__(
        self, port: int, into: Path, stations: tuple[str, ...] = (), until_closed: str | None = None, patience: Patience = EAGER
    ) -> None:
        self.told: list[str] = []
        config = MqttConfig("127.0.0.1", port)
        name = f"keeper-{next(_NUMBERS)}"
        self.recorder = Recorder(config, name, into, stations, RealClock(), self.told.append, until_closed, QUICK, patience)
        self.into = into
        self.thread = threading.Thread(target=self.recorder.run, name="recorder")

    def __enter__(self) -> RunningRecorder:
        self.recorder.connect()
        self.thread.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None) -> None:
        self.recorder.stop()
        self.thread.join(10.0)
        self.recorder.close()

    def file(self, session: str, station: str = STATION) -> bytes:
        """What it has kept so far."""
        try:
            return (self.into / station / f"{session}.jsonl").read_bytes()
        except FileNotFoundError:
            return b""


class Listener:
    """A client that hears everything and can say anything, in a thread: the rest of the network."""

    def __init__(self, port: int, *topics: str, **config: Any) -> None:
        self.heard: list[tuple[str, bytes, bool]] = []
        number = next(_NUMBERS)
        self._own = f"listener/{number}"
        self._topics = (*topics, self._own)
        self._out: list[tuple[str, bytes, bool]] = []
        self._lock = threading.Lock()
        self._acked = 0
        self._ending = self._greet = False
        self._link = BrokerLink(MqttConfig("127.0.0.1", port, **config), f"listener-{number}", self, RealClock(), PATIENT, 1 << 20)
        self._thread = threading.Thread(target=self._run, name="listener")
        self._ready = threading.Event()
        self._greetings: set[int | None] = set()
        self._thread.start()
        assert self._ready.wait(10.0), self._link.why_down

    def say(self, topic: str, payload: bytes | dict[str, Any], retain: bool = False) -> None:
        """Publish, in order."""
        body = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
        with self._lock:
            self._out.append((topic, body, retain))
        self._link.wake()

    def said(self) -> int:
        """How many messages the broker has acknowledged."""
        return self._acked

    def on(self, topic: str) -> list[bytes]:
        """What came on a topic."""
        return [payload for t, payload, _ in list(self.heard) if t == topic]

    def close(self) -> None:
        """End."""
        self._ending = True
        self._link.wake()
        self._thread.join(10.0)

    def link_up(self) -> None:
        """Subscribe; what this listener says to itself comes back once that is done."""
        self._link.subscribe(*self._topics)
        self._greet = True

    def link_down(self, why: str) -> None:
        """Nothing is sent again."""

    def link_acked(self, mid: int) -> None:
        """Count what was said to others."""
        if mid not in self._greetings:
            self._acked += 1

    def link_told(self, line: str) -> None:
        """Not used."""

    def link_message(self, topic: str, payload: bytes, retained: bool) -> None:
        """Remember."""
        if topic == self._own:
            self._ready.set()
        else:
            self.heard.append((topic, payload, retained))

    def _run(self) -> None:
        sent = 0
        while not self._ending:
            if self._greet and self._link.up:
                self._greet = False
                self._greetings.add(self._link.publish(self._own, b""))
            while self._link.up and self._out and sent - self._acked < 20:
                with self._lock:
                    topic, payload, retain = self._out.pop(0)
                self._link.publish(topic, payload, retain)
                sent += 1
            self._link.turn(0.2)
        self._link.close()


def play_outages(broker: Broker, folder: Path, seed: int, records: int = 600) -> RunningRecorder:
    """One schedule: a journal grows while broker and network fail by the dice; at the end all is well and the session is closed.

    Asserts that the recorder's file becomes the station's, byte for byte, and returns the recorder, which has ended.
    """
    dice = random.Random(seed)
    session = f"s{seed:04d}"
    near, far = SwallowingProxy(broker.port), SwallowingProxy(broker.port)
    station = publisher(near.port, folder / "station")
    writer = Writer(folder / "station" / "journals", session, station.safe)
    running = RunningRecorder(far.port, folder / "kept")
    down = swallowed = False
    pause = threading.Event()
    try:
        with running:
            station.start()
            while writer.seq < records:
                writer.write(dice.randint(1, 40))
                pause.wait(dice.random() * 0.02)  # the journal grows in real time; nothing is waited for
                act = dice.choice(["none", "none", "kill", "stop", "up", "cut near", "cut far", "swallow", "heal"])
                if act in ("kill", "stop") and not down:
                    (broker.kill if act == "kill" else broker.stop)()
                    down = True
                    if dice.random() < 0.5:
                        broker.start()
                        down = False
                elif act == "up" and down:
                    broker.start()
                    down = False
                elif act == "cut near":
                    near.cut()
                elif act == "cut far":
                    far.cut()
                elif act == "swallow" and not swallowed:
                    dice.choice([near, far]).swallow()
                    swallowed = True
                elif act == "heal":
                    near.heal()
                    far.heal()
                    swallowed = False
            writer.finish()
            near.heal(forget=dice.random() < 0.8)
            far.heal(forget=dice.random() < 0.8)
            if down:
                broker.start()
            want = writer.path.read_bytes()
            until(lambda: len(running.file(session)) >= len(want), f"seed {seed}: {station.counters()} {running.recorder.heard}")
            assert running.file(session) == want, f"seed {seed}"
            assert running.recorder.heard.contradictions == 0
            until(lambda: running.recorder.heard.complete == 1, "told complete")
    finally:
        station.stop()
        near.close()
        far.close()
    return running
