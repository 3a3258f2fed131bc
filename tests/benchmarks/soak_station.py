"""A session under floods, stuck probes and a broker that misbehaves, for as long as wanted: what it costs, and whether anything grows.

    python -m tests.benchmarks.soak_station [MINUTES]

A real station on a rig with a bath, a room probe and a broker; every minute another flood at its socket, another probe whose read never
comes back, and at each connection another fault of the broker. A person presses now and then. Printed each minute: records, cue lateness
(p99), resident memory, descriptors, threads, readings by quality. In the end: seq without gaps, no mishap, memory and threads.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import random
import socket
import struct
import sys
import tempfile
import threading
from pathlib import Path
from typing import Any

from hardware.ports import Sample
from monitor.live.station.control import ask
from tests.benchmarks.bench_flood import KINDS, flood
from tests.benchmarks.bench_memory import ROOM, cost
from tests.cli.rigged import LONG, Rigged

TICKS = 'agitation = [{ from = "0:00", for = "0:04" }]'
RECIPE = LONG.replace('time = "10:00"', 'time = "5:00:00"').replace(TICKS, 'agitation = "continuous"')
QUALITIES = ("good", "missing", "crc", "stale")


class BadBroker:
    """Accepts, and then does one of several wrong things; sometimes it does its work for a while."""

    KINDS = ("silent", "closes", "garbage", "no acknowledgement", "works", "half a packet", "publishes", "resets", "works")

    def __init__(self) -> None:
        self._door = socket.create_server(("127.0.0.1", 0))
        self.port = self._door.getsockname()[1]
        self.met: dict[str, int] = {}
        self._dice = random.Random(3)
        threading.Thread(target=self._run, daemon=True).start()

    def _run(self) -> None:
        number = 0
        while True:
            end, _ = self._door.accept()
            kind = self.KINDS[number % len(self.KINDS)]
            number += 1
            self.met[kind] = self.met.get(kind, 0) + 1
            threading.Thread(target=self._serve, args=(end, kind), daemon=True).start()

    def _serve(self, end: socket.socket, kind: str) -> None:
        with contextlib.suppress(OSError, IndexError, ValueError, struct.error), end:
            end.settimeout(30.0)
            if kind == "closes":
                return
            first = end.recv(4096)
            level = first[first.index(b"MQTT") + 4]
            if kind == "silent":
                end.recv(1)
                return
            end.sendall(b"\x20\x03\x00\x00\x00" if level == 5 else b"\x20\x02\x00\x00")
            if kind == "garbage":
                end.sendall(os.urandom(5000))
            elif kind == "half a packet":
                end.sendall(b"\x30\xff\xff\x7f\x00\x05again")
            elif kind == "resets":
                end.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
                return
            self._work(end, kind, level)

    def _work(self, end: socket.socket, kind: str, level: int) -> None:
        """Acknowledge what comes, or not; publish what nobody asked for. A minute at most."""
        data, packets = b"", 0
        while packets < 400:
            data += end.recv(65536)
            while len(data) > 2:
                length, shift, at = 0, 0, 1
                while True:
                    length |= (data[at] & 0x7F) << shift
                    shift, at = shift + 7, at + 1
                    if not data[at - 1] & 0x80:
                        break
                if len(data) < at + length:
                    break
                packet, data = data[: at + length], data[at + length :]
                packets += 1
                what = packet[0] >> 4
                if what == 8:
                    head, properties = (b"\x90\x04", b"\x00") if level == 5 else (b"\x90\x03", b"")
                    end.sendall(head + packet[at : at + 2] + properties + b"\x01")
                elif what == 12:
                    end.sendall(b"\xd0\x00")
                elif what == 3 and packet[0] & 6 and kind != "no acknowledgement":
                    topic = struct.unpack(">H", packet[at : at + 2])[0]
                    end.sendall(b"\x40\x02" + packet[at + 2 + topic : at + 4 + topic])
            if kind == "publishes":
                body = b"\x00\x17evenbath/laundry/again" + b"\x00\x07" + (b"\x00" if level == 5 else b"") + b"x" * 60
                end.sendall((b"\x32" + bytes([len(body)]) + body) * 50)


class Stuck:
    """Takes a probe's file away and puts a FIFO that nobody writes in its place: the read never comes back."""

    def __init__(self, rigged: Rigged, probe_id: str) -> None:
        self._file = rigged.rig / "w1" / probe_id / "w1_slave"
        self._kept = self._file.read_bytes()
        self._file.unlink()
        os.mkfifo(self._file)

    def let_go(self) -> None:
        """The read ends, with nothing; the file is a file again."""
        with contextlib.suppress(OSError):
            os.close(os.open(self._file, os.O_WRONLY | os.O_NONBLOCK))
        self._file.unlink()
        self._file.write_bytes(self._kept)


def seen(pid: int) -> tuple[int, int]:
    """Descriptors and threads of a process."""
    return len(list(Path(f"/proc/{pid}/fd").iterdir())), len(list(Path(f"/proc/{pid}/task").iterdir()))


def minute(rigged: Rigged, name: str, number: int, until_s: float) -> None:
    """One minute of trouble."""
    dice = random.Random(number)
    kinds = [KINDS[number % len(KINDS)], dice.choice(KINDS)]
    flooders = [multiprocessing.Process(target=flood, args=(str(rigged.state), kind, number), daemon=True) for kind in kinds]
    stuck = Stuck(rigged, ROOM if number % 3 else "28-000000000a01") if number % 2 else None
    for flooder in flooders:
        flooder.start()
    try:
        rigged.pause(max(1.0, min(40.0, until_s - rigged.clock.mono_s())))
        rigged.press(0.1)
    finally:
        for flooder in flooders:
            flooder.terminate()
            flooder.join()
        if stuck is not None:
            stuck.let_go()
    rigged.pause(max(0.5, until_s - rigged.clock.mono_s()))


def run(minutes: float) -> int:
    """All of it, printed. Returns an exit status."""
    broker = BadBroker()
    rigged = Rigged(Path(tempfile.mkdtemp(prefix="evenbath-soak-")), mqtt=f'[mqtt]\nhost = "127.0.0.1"\nport = {broker.port}\n')
    rigged.tree.show(ROOM, Sample(ROOM, 0.0, 15.0))
    text = rigged.file.read_text()
    rigged.file.write_text(text.replace("[panel]", f'[probes.wall]\nid = "{ROOM}"\nrole = "room"\n[panel]'))
    process = rigged.start()
    name = rigged.arm(RECIPE)
    rigged.hold(name)
    rigged.pause(10.0)
    begin_s, first_mib, most_mib, number = rigged.clock.mono_s(), cost(process.pid)[0], 0.0, 0
    print(f"begin: {first_mib:.1f} MiB, {seen(process.pid)} descriptors and threads", flush=True)
    while rigged.clock.mono_s() - begin_s < minutes * 60.0:
        number += 1
        minute(rigged, name, number, begin_s + number * 60.0)
        records: list[dict[str, Any]] = rigged.records(name)
        late = sorted(r["lateness_s"] for r in records if r["kind"] == "cue")
        counts = {q: sum(r["kind"] == "reading" and r["quality"] == q for r in records) for q in QUALITIES}
        mib, (files, threads) = cost(process.pid)[0], seen(process.pid)
        most_mib = max(most_mib, mib)
        p99, worst = 1000 * late[int(0.99 * (len(late) - 1))], 1000 * late[-1]
        print(
            f"{number:3d} min: {len(records)} records, lateness p99 {p99:.1f} most {worst:.1f} ms of {len(late)}, {mib:.1f} MiB, "
            f"{files} descriptors, {threads} threads, {counts}", flush=True,
        )  # fmt: skip
    status = ask(rigged.state, {"verb": "status"})
    ended = ask(rigged.state, {"verb": "abandon", "why": "the soak is over"})
    seqs = [r["seq"] for r in rigged.records(name)]
    mishaps, faults = rigged.records(name, kind="mishap"), rigged.records(name, kind="cue", cue="fault")
    print(f"broker: {broker.met}; station: {status['mqtt']}")
    print(f"memory: {first_mib:.1f} -> at most {most_mib:.1f} MiB; FAULTs {len(faults)}; mishaps {len(mishaps)}; exit {rigged.stop()}")
    good = bool(ended.get("ok")) and not mishaps and seqs == list(range(1, len(seqs) + 1))
    print("counts: good" if good else "counts: WRONG")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(run(float(sys.argv[1]) if len(sys.argv) > 1 else 20.0))
