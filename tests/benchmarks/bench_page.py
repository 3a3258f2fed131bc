"""What the page costs and how soon it tells: its memory, a reading's way to a stream, the station's cues beside it, how soon it is black.

    python -m tests.benchmarks.bench_page [SECONDS [ROUNDS]]

A rig session whose stage ticks each second. Phases of SECONDS (default 20): no page; 20 streams; 200 streams; a stream that never reads; a
loop of report requests; all of them ROUNDS times (default 5), so that what else the machine does falls on each. Printed: the page's RSS,
seconds from the reading to the stream, p50, p90 and p99 of the cues' lateness in each phase by the station's own word, each p99 over that
without a page, and seconds to black after the word and after a silence. Budgets: 64 MiB, 1.2 s, a ratio near 1, 1 s, 20 s. Only x86 was
tried; the ratios are of one run.
"""

from __future__ import annotations

import json
import selectors
import signal
import socket
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable
from pathlib import Path

from monitor.live.clock import RealClock
from monitor.live.station.control import ask
from tests.cli.rigged import Rigged

TICKS = """schema = 1
name = "ticks"
film = "panchromatic"
vessel = "lidded tank"
[[stage]]
name = "develop"
role = "develop"
time = "40:00"
reference = "20 C"
rate = { law = "coefficient", per_10_c = 2.5 }
agitation = "continuous"
[[stage]]
name = "fix"
role = "fix"
time = "5:00"
"""
TRAY = TICKS.replace("lidded tank", "open tray")
CLOCK = RealClock()
SETTLES_S = 1.5
"""What a phase begins or ends with, 200 sockets opened or closed in one breath, is not what it measures."""


class Streams:
    """So many event streams, read by one thread. `seen`: seconds from the measurement to the arrival, for each event with a new one."""

    def __init__(self, port: int, count: int) -> None:
        self._select = selectors.DefaultSelector()
        self.seen: list[float] = []
        self.dark_s: float | None = None
        self._last: float | None = None
        self._rest: dict[int, bytes] = {}
        self._ends = []
        for _ in range(count):
            end = socket.create_connection(("127.0.0.1", port), timeout=10.0)
            end.sendall(f"GET /events HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode())
            end.setblocking(False)
            self._rest[end.fileno()] = b""
            self._select.register(end, selectors.EVENT_READ)
            self._ends.append(end)
        self._first = self._ends[0].fileno() if self._ends else -1
        self._ending = False
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        while not self._ending:
            for key, _ in self._select.select(0.2):
                end = key.fileobj
                assert isinstance(end, socket.socket)
                try:
                    data = end.recv(1 << 16)
                except BlockingIOError:
                    continue
                if end.fileno() == self._first:
                    self._take(data)
                if not data:
                    self._select.unregister(end)

    def _take(self, data: bytes) -> None:
        now_s = CLOCK.mono_s()
        rest = self._rest[self._first] + data
        *whole, self._rest[self._first] = rest.split(b"\n\n")
        for block in whole:
            told = next((json.loads(line[6:]) for line in block.split(b"\n") if line.startswith(b"data: ")), None)
            if told is None:
                continue
            if not told["light"]:
                self.dark_s = self.dark_s or now_s
                continue
            if told["age_s"] is None:
                continue
            read_s = now_s - told["age_s"]
            if self._last is None or read_s > self._last + 0.4:
                self._last = read_s
                self.seen.append(told["age_s"])

    def close(self) -> None:
        """Hang up."""
        self._ending = True
        self._thread.join(2.0)
        for end in self._ends:
            end.close()


class Bench(Rigged):
    """A station, and a page that comes and goes."""

    page: subprocess.Popen[str] | None = None
    port = 0

    def serve(self) -> None:
        """Start the page."""
        words = self.command("page", "--file", str(self.file), "--port", "0")
        self.page = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
        assert self.page.stdout is not None
        self.port = int(self.page.stdout.readline().strip().rstrip("/").rpartition(":")[2])
        self.wait(lambda: b'"station":"laundry"' in self.get("/snapshot"))

    def get(self, path: str) -> bytes:
        """All that is answered."""
        with socket.create_connection(("127.0.0.1", self.port), timeout=30.0) as end:
            end.sendall(f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{self.port}\r\n\r\n".encode())
            got = b""
            while piece := end.recv(1 << 16):
                got += piece
            return got

    def hang_up(self) -> None:
        """The page ends."""
        assert self.page is not None
        self.page.terminate()
        self.page.wait(10)
        assert self.page.stdout is not None
        self.page.stdout.close()

    def rss_mib(self) -> float:
        """Of the page's process."""
        assert self.page is not None
        text = Path(f"/proc/{self.page.pid}/status").read_text()
        return int(text.split("VmRSS:")[1].split()[0]) / 1024.0


def main(seconds: float, rounds: int) -> None:
    """One run, printed."""
    bench = Bench(Path(tempfile.mkdtemp(prefix="evenbath-page-bench-")))
    bench.start()
    closed = bench.arm(TICKS)
    bench.hold(closed)
    bench.pause(5.0)
    bench.run("abandon", "--file", str(bench.file), "--why", "bench")
    name = bench.arm(TICKS)
    bench.hold(name)
    mono0_s = bench.records(name)[0]["mono0_s"]
    spans: dict[str, list[tuple[float, float]]] = {}
    seen: dict[int, list[float]] = {20: [], 200: []}
    asked = 0

    def phase(what: str) -> None:
        bench.pause(SETTLES_S)
        begin_s = CLOCK.mono_s()
        while CLOCK.mono_s() < begin_s + seconds:
            bench.pause(0.2)
        spans.setdefault(what, []).append((begin_s - mono0_s, CLOCK.mono_s() - mono0_s))

    bench.pause(5.0)
    for number in range(rounds):
        phase("no page")
        bench.serve()
        if not number:
            print(f"page alone: {bench.rss_mib():.1f} MiB")
        for count in (20, 200):
            streams = Streams(bench.port, count)
            phase(f"{count} streams")
            seen[count] += streams.seen
            if not number:
                print(f"{count} streams: {bench.rss_mib():.1f} MiB")
            streams.close()
        deaf = socket.socket()
        deaf.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)  # full after one snapshot
        deaf.connect(("127.0.0.1", bench.port))
        deaf.sendall(f"GET /events HTTP/1.1\r\nHost: 127.0.0.1:{bench.port}\r\n\r\n".encode())
        phase("a stopped reader")
        deaf.close()
        asked += _reports(bench, closed, lambda: phase("a loop of reports"))
        if number < rounds - 1:
            bench.hang_up()
    for count, told in seen.items():
        told.sort()
        print(f"a reading's way to {count} streams: median {told[len(told) // 2]:.2f} s, worst {told[-1]:.2f} s of {len(told)}")
    cues = [r for r in bench.records(name, kind="cue") if "lateness_s" in r]
    base = 0.0
    print(f"reports asked for: {asked}; {bench.rss_mib():.1f} MiB")
    print(f"{'beside':<20}{'cues':>6}{'p50 ms':>9}{'p90 ms':>9}{'p99 ms':>9}{'of none':>9}")
    for what, during in spans.items():
        late = sorted(1000.0 * r["lateness_s"] for r in cues if any(a <= r["t_s"] < b for a, b in during))
        half, most, worst = (late[min(len(late) - 1, int(len(late) * q))] for q in (0.5, 0.9, 0.99))
        base = base or worst
        print(f"{what:<20}{len(late):>6}{half:>9.2f}{most:>9.2f}{worst:>9.2f}{worst / base:>9.2f}")
    black(bench)


def _reports(bench: Bench, session: str, during: Callable[[], None]) -> int:
    """Four who ask for a report again and again meanwhile; how often they did."""
    stop, asked = threading.Event(), [0]

    def ask_again() -> None:
        while not stop.is_set():
            bench.get(f"/reports/{session}")
            asked[0] += 1

    threads = [threading.Thread(target=ask_again, daemon=True) for _ in range(4)]
    for thread in threads:
        thread.start()
    during()
    stop.set()
    for thread in threads:
        thread.join()
    return asked[0]


def black(bench: Bench) -> None:
    """How soon a stream is dark after bare film is asked for, and after the station has fallen silent."""
    bench.run("abandon", "--file", str(bench.file), "--why", "bench")
    streams = Streams(bench.port, 1)
    bench.pause(2.0)
    asked_s = CLOCK.mono_s()
    start = {"verb": "develop", "recipe": TRAY, "file": "tray.toml", "waive": "bench"}
    answer = ask(bench.state, start)
    bench.wait(lambda: streams.dark_s is not None)
    assert streams.dark_s is not None
    print(f"black after bare film was asked for: {streams.dark_s - asked_s:.2f} s; put off by {answer['wait_s']:.1f} s")
    streams.close()
    bench.pause(answer["wait_s"] + 0.1)
    print(f"armed then: {ask(bench.state, start)['ok']}")
    bench.run("abandon", "--file", str(bench.file), "--why", "bench")
    name = bench.arm(TICKS)
    bench.hold(name)
    streams = Streams(bench.port, 1)
    bench.pause(2.0)
    assert bench.process is not None
    stopped_s = CLOCK.mono_s()
    bench.process.send_signal(signal.SIGSTOP)
    bench.wait(lambda: streams.dark_s is not None)
    assert streams.dark_s is not None
    print(f"black after the station fell silent in a session: {streams.dark_s - stopped_s:.1f} s")
    bench.process.send_signal(signal.SIGCONT)
    streams.close()
    bench.hang_up()
    bench.stop()


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 20.0, int(sys.argv[2]) if len(sys.argv) > 2 else 5)
