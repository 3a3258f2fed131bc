"""A page server in this process with a source of snapshots that a test sets, and snapshots made of the demo journals at a moment."""

from __future__ import annotations

import json
import socket
import threading
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from monitor.live.clock import RealClock
from monitor.page.board import Board
from monitor.page.documents import Documents
from monitor.page.film import Film
from monitor.page.lists import Lists
from monitor.page.pulse import Pulse
from monitor.page.server import PageServer
from monitor.page.streams import Streams
from monitor.page.writes import Writes

DEMO = Path(__file__).parents[2] / "demo_logs"
NAME = "evenbath-test.local"
PROBES = [
    {"probe": "jug", "id": "28-a", "role": "developer", "compared": True, "raw_c": 20.0, "celsius": 20.0, "quality": "good", "age_s": 0.4,
     "good_age_s": 0.4, "step_c": None, "comparison_sd_c": 0.09},
    {"probe": "bowl", "id": "28-b", "role": "bath", "compared": False, "raw_c": 19.6, "celsius": 19.6, "quality": "good", "age_s": 0.4,
     "good_age_s": 0.4, "step_c": None, "comparison_sd_c": 0.29},
]  # fmt: skip


class Told:
    """A source that tells what it was given."""

    descriptor = None

    def __init__(self, snapshot: Mapping[str, Any]) -> None:
        self.told = dict(snapshot)
        self.lit = 0
        self.busy = False
        self.new = False
        self.is_free = True
        self.is_awake = True

    def turn(self, now_s: float) -> bool:
        """Whether something was set."""
        new, self.new = self.new, False
        return new

    def snapshot(self, now_s: float) -> Mapping[str, Any]:
        """As it was given."""
        return self.told

    def awake(self, now_s: float) -> bool:
        """As the test says."""
        return self.is_awake

    def free(self, now_s: float) -> bool:
        """As the test says."""
        return self.is_free

    def count(self, lit: int) -> None:
        """So many are lit."""
        self.lit = lit

    def tell(self, snapshot: Mapping[str, Any]) -> None:
        """From now on this."""
        self.told, self.new = dict(snapshot), True


class Served:
    """The server on a free port of this machine."""

    def __init__(
        self, source: Any, lists: Lists | None = None, *, stale_s: float = 3.0, black_s: float = 15.0, most: int = 256,
        writes: Writes | None = None, template: str = "page.html",
    ) -> None:  # fmt: skip
        self.source = source
        self.pulse = Pulse(source, Streams(most, 24), RealClock().mono_s)
        documents = Documents(stale_s, black_s, template)
        self.server = PageServer(("127.0.0.1", 0), [NAME], self.pulse, documents, lists, RealClock().mono_s, writes)
        self.port = self.server.port
        self.pulse.start()
        self._thread = threading.Thread(target=self.server.serve_forever, args=(0.05,), daemon=True)
        self._thread.start()

    def close(self) -> None:
        """End."""
        self.server.shutdown()
        self.server.server_close()
        self._thread.join(5.0)
        self.pulse.stop()

    def raw(self, request: bytes, timeout_s: float = 10.0) -> bytes:
        """Bytes in, all bytes out."""
        with socket.create_connection(("127.0.0.1", self.port), timeout=timeout_s) as end:
            end.sendall(request)
            got = b""
            while piece := end.recv(1 << 16):
                got += piece
            return got

    def ask(self, path: str, method: str = "GET", host: str | None = None, **headers: str) -> tuple[int, dict[str, str], bytes]:
        """Status, headers by lower-case name, body."""
        told = {"Host": f"127.0.0.1:{self.port}" if host is None else host, **{k.replace("_", "-"): v for k, v in headers.items()}}
        lines = "".join(f"{name}: {value}\r\n" for name, value in told.items())
        head, _, body = self.raw(f"{method} {path} HTTP/1.1\r\n{lines}\r\n".encode()).partition(b"\r\n\r\n")
        first, *rest = head.decode().split("\r\n")
        return int(first.split()[1]), {k.lower(): v for k, _, v in (line.partition(": ") for line in rest)}, body


    def post(self, path: str, told: object, token: str | None = None, **headers: str) -> tuple[int, dict[str, str], str]:
        """As our own page posts it, but for the headers that are given; an empty one is left out. `told`: bytes, or what becomes JSON."""
        body = told if isinstance(told, bytes) else json.dumps(told).encode()
        own = f"127.0.0.1:{self.port}"
        usual = {"Host": own, "Origin": f"http://{own}", "Content-Type": "application/json", "Content-Length": str(len(body))}
        if token is not None:
            usual["Cookie"] = f"evenbath={token}"
        usual |= {name.replace("_", "-"): value for name, value in headers.items()}
        lines = "".join(f"{name}: {value}\r\n" for name, value in usual.items() if value)
        head, _, answer = self.raw(f"POST {path} HTTP/1.1\r\n{lines}\r\n".encode() + body).partition(b"\r\n\r\n")
        first, *rest = head.decode().split("\r\n")
        pairs = (line.partition(": ") for line in rest)
        return int(first.split()[1]), {name.lower(): value for name, _, value in pairs}, answer.decode()


class Listener:
    """A browser's event stream, without the browser."""

    def __init__(self, port: int) -> None:
        self.end = socket.create_connection(("127.0.0.1", port), timeout=10.0)
        self.end.sendall(f"GET /events HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode())
        self._rest = b""

    def event(self) -> dict[str, Any]:
        """The next whole snapshot."""
        while True:
            *whole, self._rest = self._rest.split(b"\n\n")
            for k, block in enumerate(whole):
                data = [line[6:] for line in block.split(b"\n") if line.startswith(b"data: ")]
                if data:
                    self._rest = b"\n\n".join([*whole[k + 1 :], self._rest])
                    told = json.loads(data[0])
                    assert isinstance(told, dict)
                    return told
            piece = self.end.recv(1 << 16)
            assert piece, "it hung up"
            self._rest += piece

    def close(self) -> None:
        """Hang up."""
        self.end.close()


def waiting(folder: Path) -> dict[str, Any]:
    """No session."""
    board = Board(folder / "none", 15.0, lambda: datetime(2026, 11, 6, tzinfo=UTC))
    for k in range(100):
        bowl = {**PROBES[1], "celsius": 19.9 - 0.005 * k}
        board.word({"station": "laundry", "light": True, "films": [], "probes": [PROBES[0], bowl]}, float(k))
    return board.snapshot(99.4)


def at(folder: Path, journal: str, t_s: float) -> dict[str, Any]:
    """The snapshot of a demo evening at `t_s`, as a station would have told it; after its end: closed."""
    lines = (DEMO / f"{journal}.jsonl").read_text(encoding="utf-8").splitlines()
    records = [json.loads(line) for line in lines]
    kept = [line for line, record in zip(lines, records, strict=True) if record["t_s"] <= t_s]
    return made_of(folder, records[0]["session"], kept)


def gate(folder: Path) -> dict[str, Any]:
    """A colour film whose start is withheld: armed, and no stage has begun."""
    lines = (DEMO / "04-colour-left-its-band.jsonl").read_text(encoding="utf-8").splitlines()
    seen = {"t_s": 9.0, "developer_c": 37.2, "developer_sd_c": 0.29, "developer_age_s": 0.6, "source": "developer"}
    return made_of(folder, json.loads(lines[0])["session"], lines[:1], gate="withheld", **seen)


def made_of(folder: Path, session: str, lines: list[str], **view_has: Any) -> dict[str, Any]:
    """The snapshot of a session whose journal has these lines. `view_has`: what the station's view has in place of the journal's."""
    journals = folder / f"{len(lines)}-{session}"
    journals.mkdir(exist_ok=True)
    (journals / f"{session}.jsonl").write_text("".join(f"{line}\n" for line in lines))
    film = Film(journals, session)
    film.read()
    assert film.state is not None
    board = Board(journals, 15.0, lambda: datetime(2026, 11, 6, tzinfo=UTC))
    view = {**film.state.seen.plain(), **view_has}
    word = {"station": "laundry", "light": True, "films": [{"session": session, "vessel": None, "view": view}], "probes": PROBES}
    board.word(word, 100.0)
    if film.closed:
        board.word({**word, "films": []}, 101.0)
    return board.snapshot(101.4 if film.closed else 100.4)
