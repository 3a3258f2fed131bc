"""A flood at the station's local door beside a session: what becomes of taps, readings, `abandon`, and memory.

    python -m tests.benchmarks.bench_flood [SECONDS]

Real station on a rig, floods from processes of their own: pipelined requests that nobody reads, half hours of readings, connections that
say nothing, connect and run away, strange lines, lines without end, followers that never read. Budgets: a tap is answered within 0.1 s,
readings go on, `status` within 1 s where a line is free, `abandon` within 2 s, memory grows by less than 20 MiB.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import random
import socket
import sys
import tempfile
import time
from pathlib import Path

from monitor.core.errors import NotThere
from monitor.live.station.control import ask
from tests.benchmarks.bench_memory import cost
from tests.cli.rigged import LONG, Rigged

PIPELINED = b'{"verb":"status"}\n' * 2000
HALF_HOURS = b'{"verb":"readings"}\n' * 200
STRANGE = (
    b'{"verb":"readings","minutes":1e999}\n', b"[" * 50_000 + b"\n", rb'{"verb":"abandon_","why":"\ud800"}' + b"\n",
    b'{"verb":"readings","minutes":1' + b"0" * 4000 + b"}\n", b"\xff\xfe\n", b"\n",
    b'{"verb":"develop","recipe":"' + b"[[stage]]" * 3000 + b'"}\n',
)  # fmt: skip


def _connected(state: str) -> socket.socket:
    """However deep the folder lies."""
    folder = os.open(state, os.O_RDONLY | os.O_DIRECTORY)
    end = socket.socket(socket.AF_UNIX)
    try:
        end.settimeout(1.0)
        end.connect(f"/proc/self/fd/{folder}/control.sock")
    except OSError:
        end.close()
        raise
    finally:
        os.close(folder)
    return end


def flood(state: str, kind: str, seed: int) -> None:
    """One flooder; it never ends by itself."""
    os.nice(5)
    dice, kept = random.Random(seed), []
    while True:
        try:
            end = _connected(state)
            if kind == "silent":
                kept.append(end)
                del kept[:-200]
                continue
            end.settimeout(2.0)
            if kind == "deaf follower":
                end.sendall(b'{"verb":"follow"}\n' * 200)
                kept.append(end)
                time.sleep(60.0 if len(kept) % 5 == 0 else 0.1)
                continue
            if kind == "run away":
                end.sendall(b'{"verb":"status"}\n')
            elif kind == "strange":
                for _ in range(50):
                    end.sendall(dice.choice(STRANGE))
            elif kind == "no end":
                for _ in range(20):
                    end.sendall(b"x" * 65536)
            else:
                while True:
                    end.sendall(HALF_HOURS if kind == "half hours" else PIPELINED)
                    if kind == "reading":
                        end.recv(1 << 20)
            end.close()
        except OSError:
            with contextlib.suppress(UnboundLocalError):
                end.close()


KINDS = ("pipelined", "reading", "half hours", "silent", "run away", "strange", "no end", "deaf follower")


def tap_s(rigged: Rigged) -> float:
    """From the foot to the first edge of the click."""
    before = len(rigged.edges())
    pressed_s = rigged.clock.mono_s()
    rigged.foot("down")
    rigged.wait(lambda: any(e["on"] for e in rigged.edges()[before:]))
    edge_s = next(float(e["mono_s"]) for e in rigged.edges()[before:] if e["on"])
    rigged.foot("up")
    rigged.pause(0.3)
    return edge_s - pressed_s


def run(seconds: float) -> int:
    """All kinds at once, then the end. Returns an exit status."""
    rigged = Rigged(Path(tempfile.mkdtemp(prefix="evenbath-flood-")))
    quiet = LONG.replace("agitation", "# agitation")  # no ticks: the first edge after a tap is its click
    process = rigged.start()
    name = rigged.arm(quiet)
    rigged.hold(name)
    rigged.pause(3.0)
    calm = [tap_s(rigged) for _ in range(5)]
    before_mib, _ = cost(process.pid)
    flooders = [multiprocessing.Process(target=flood, args=(str(rigged.state), kind, n), daemon=True) for n, kind in enumerate(KINDS * 2)]
    for flooder in flooders:
        flooder.start()
    try:
        taps, status, most_mib = [], [], 0.0
        begin_s = rigged.clock.mono_s()
        readings = len(rigged.records(name, kind="reading"))
        while rigged.clock.mono_s() - begin_s < seconds:
            taps.append(tap_s(rigged))
            most_mib = max(most_mib, cost(process.pid)[0])
            asked_s = rigged.clock.mono_s()
            with contextlib.suppress(NotThere):
                ask(rigged.state, {"verb": "status"})
            status.append(rigged.clock.mono_s() - asked_s)
        took_s = rigged.clock.mono_s() - begin_s
        fresh = len(rigged.records(name, kind="reading")) - readings
        late = sorted(r["lateness_s"] for r in rigged.records(name, kind="cue"))
        asked_s = rigged.clock.mono_s()
        ended = ask(rigged.state, {"verb": "abandon", "why": "the flood"})
        abandoned_s = rigged.clock.mono_s() - asked_s
    finally:
        for flooder in flooders:
            flooder.terminate()
    mishaps = len(rigged.records(name, kind="mishap"))
    taps.sort()
    status.sort()
    print(f"{len(KINDS)} kinds of flood, two processes each, for {took_s:.0f} s")
    flooded = f"median {1000 * taps[len(taps) // 2]:.0f} ms, most {1000 * taps[-1]:.0f} ms of {len(taps)}"
    print(f"tap to click: calm at most {1000 * max(calm):.0f} ms; flooded {flooded}")
    print(f"cue lateness: p99 {1000 * late[int(len(late) * 0.99)]:.1f} ms, most {1000 * late[-1]:.1f} ms")
    print(f"readings: {fresh} in {took_s:.0f} s from 2 probes")
    print(f"an answer to status, or word that all lines are taken: median {status[len(status) // 2]:.3f} s, most {status[-1]:.3f} s")
    print(f"abandon: {ended} after {abandoned_s:.3f} s")
    print(f"memory: {before_mib:.1f} -> at most {most_mib:.1f} MiB; mishaps {mishaps}")
    seqs = [r["seq"] for r in rigged.records(name)]
    good = bool(ended.get("ok")) and mishaps == 0 and seqs == list(range(1, len(seqs) + 1)) and fresh > took_s
    if rigged.process is not None:
        print(f"exit status of the station: {rigged.stop()}")
    print("counts: good" if good else "counts: WRONG")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(run(float(sys.argv[1]) if len(sys.argv) > 1 else 20.0))
