"""What the rig and the adapters cost: `python -m tests.benchmarks.bench_rig`. Prints figures, asserts none.

Foot to handler through the FIFO, one edge of an output written down, one read of a probe through w1thermsensor, simulated seconds a
second, and the processor time of `evenbath rig` itself.
"""

from __future__ import annotations

import os
import resource
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path

from hardware.one_wire import OneWireBus
from hardware.ports import PanelConfig
from hardware.rig import PROBE_IDS, RigPanel, RigPlayer
from hardware.simulated.probes import ProbeOptions, SimulatedProbes
from hardware.simulated.trace import load_trace

TRACE = b"t_s,developer_c,bath_c,room_c\n" + b"".join(b"%d,%.3f,%.3f,12\n" % (t, 24 - t / 900, 22 - t / 900) for t in range(0, 3601, 10))
CONFIG = PanelConfig("lgpio", "GPIO18", "GPIO23", "GPIO24")


def _say(name: str, seconds: list[float]) -> None:
    ordered = sorted(seconds)
    at_99 = ordered[min(len(ordered) - 1, int(0.99 * len(ordered)))]
    p50, p99, worst = (f"{value * 1e3:7.3f} ms" for value in (statistics.median(ordered), at_99, ordered[-1]))
    sys.stdout.write(f"{name:<44} p50 {p50}   p99 {p99}   worst {worst}\n")


def _times(count: int, step: Callable[[], object]) -> list[float]:
    found = []
    for _ in range(count):
        before_s = time.perf_counter()
        step()
        found.append(time.perf_counter() - before_s)
    return found


def _foot(directory: Path, count: int) -> list[float]:
    panel = RigPanel(directory, CONFIG, time.monotonic)
    arrived = threading.Semaphore(0)
    stamps: list[float] = []

    def heard(mono_s: float, _: bool) -> None:
        stamps.append(mono_s)
        arrived.release()

    assert panel.switch is not None
    panel.switch.listen(heard)
    found = []
    fifo = os.open(directory / "switch", os.O_WRONLY)
    for index in range(count):
        before_s = time.monotonic()
        os.write(fifo, b"up\n" if index % 2 else b"down\n")
        arrived.acquire()
        found.append(stamps[-1] - before_s)
    os.close(fifo)
    panel.close()
    return found


def _edges(directory: Path, count: int) -> list[float]:
    panel = RigPanel(directory, CONFIG, time.monotonic)
    levels = iter([True, False] * count)
    found = _times(count, lambda: panel.sounder.set(next(levels)))
    panel.close()
    return found


def _play(directory: Path, wall_s: float) -> float:
    """Processor seconds of a rig that plays for this long at real time, per second."""
    player = RigPlayer(directory, load_trace(TRACE), ProbeOptions())
    stop = threading.Event()
    threading.Timer(wall_s, stop.set).start()
    before_s = time.process_time()
    player.play(1.0, time.monotonic, stop.wait)
    return (time.process_time() - before_s) / wall_s


def main() -> None:
    """Print the figures."""
    with tempfile.TemporaryDirectory() as name:
        directory = Path(name)
        _say("foot: written to the FIFO, stamped", _foot(directory, 2000))
        _say("sounder: one edge, in panel.jsonl", _edges(directory, 5000))
        share = _play(directory, 10.0)
        bus = OneWireBus(time.monotonic, directory / "w1")
        _say("probe: one read through w1thermsensor", _times(2000, lambda: bus.read(PROBE_IDS["developer"])))
        probes = SimulatedProbes(load_trace(TRACE), ProbeOptions())
        took = _times(1, lambda: [probes.sample(name, float(t)) for t in range(3600) for name in probes.names])[0]
        sys.stdout.write(f"three simulated probes: {3600 / took:,.0f} simulated seconds a second\n")
        sys.stdout.write(f"a rig of three probes at real time: {share:.2%} of a core\n")
        sys.stdout.write(f"resident with all adapters loaded, peak: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.1f} MiB\n")


if __name__ == "__main__":
    main()
