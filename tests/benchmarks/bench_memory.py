"""What the station costs: resident memory and processor, watching a bath and in a session; and whether two hours make it grow.

    python -m tests.benchmarks.bench_memory [MINUTES]

First a real station on a rig with three probes at one reading a second, then two hours of simulated time through the same
classes in one process. Budgets: below 40 MiB, below 1 % of a core, and neither grows.
"""

from __future__ import annotations

import gc
import os
import sys
import tempfile
import tracemalloc
from pathlib import Path

from hardware.ports import Sample
from tests.cli.rigged import LONG, Rigged
from tests.live.simulated import World

ROOM = "28-000000000a03"
TWO_HOURS = LONG.replace('"10:00"', '"2:00:00"')


def cost(pid: int) -> tuple[float, float]:
    """Resident MiB, and processor seconds so far."""
    resident = Path(f"/proc/{pid}/status").read_text().split("VmRSS:")[1].split()[0]
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return int(resident) / 1024, (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def real(minutes: float) -> None:
    """A station on a rig."""
    rigged = Rigged(Path(tempfile.mkdtemp(prefix="evenbath-memory-")))
    rigged.tree.show(ROOM, Sample(ROOM, 0.0, 15.0))
    text = rigged.file.read_text()
    rigged.file.write_text(text.replace("[panel]", f'[probes.wall]\nid = "{ROOM}"\nrole = "room"\n[panel]'))
    process = rigged.start()
    try:
        for what in ("watching", "in a session"):
            if what == "in a session":
                rigged.hold(rigged.arm(TWO_HOURS))
            for _ in range(3):
                begin_s = rigged.clock.mono_s()
                before_mib, before_s = cost(process.pid)
                rigged.pause(minutes * 20.0)
                after_mib, after_s = cost(process.pid)
                share = 100 * (after_s - before_s) / (rigged.clock.mono_s() - begin_s)
                print(f"{what:<14} {before_mib:6.2f} -> {after_mib:6.2f} MiB resident, {share:5.2f} % of a core")
    finally:
        rigged.stop()


def simulated() -> None:
    """Two hours of a session in simulated time; what Python itself holds on to, at each half hour."""
    world = World(Path(tempfile.mkdtemp(prefix="evenbath-memory-")))
    world.go(5)
    world.develop(TWO_HOURS)
    world.press(1.2)
    tracemalloc.start()
    for half_hour in range(4):
        world.go(1740)
        world.panel.sounder.edges.clear()
        gc.collect()
        print(f"simulated: {(half_hour + 1) * 29:4d} min  {tracemalloc.get_traced_memory()[0] / 1024:8.0f} KiB held")
    tracemalloc.stop()


if __name__ == "__main__":
    real(float(sys.argv[1]) if len(sys.argv) > 1 else 5.0)
    simulated()
