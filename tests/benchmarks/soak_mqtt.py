"""Fifty random schedules of outages through a real broker, or as many as asked for.

`python -m tests.benchmarks.soak_mqtt [COUNT [FIRST_SEED]]`
"""

from __future__ import annotations

import logging
import sys
import tempfile
from pathlib import Path

from monitor.live.clock import RealClock
from tests.live.telemetry.brokers import Mosquitto
from tests.live.telemetry.publishers import play_outages


def main() -> None:
    """Each schedule ends with equal files, or with an AssertionError that names its seed."""
    count, first = (*map(int, sys.argv[1:]), *(50, 1000)[len(sys.argv) - 1 :])
    logging.disable(logging.WARNING)
    clock = RealClock()
    begin_s, records, asks, longest_s = clock.mono_s(), 0, 0, 0.0
    for seed in range(first, first + count):
        one_s = clock.mono_s()
        with tempfile.TemporaryDirectory() as name:
            broker = Mosquitto(Path(name))
            broker.start()
            try:
                heard = play_outages(broker, Path(name), seed).recorder.heard
            finally:
                broker.stop()
        records, asks, longest_s = records + heard.kept, asks + heard.asks, max(longest_s, clock.mono_s() - one_s)
    print(f"{count} schedules, {records} records, {asks} requests, every file equal byte for byte;", end=" ")
    print(f"{clock.mono_s() - begin_s:.0f} s, the longest {longest_s:.1f} s")


if __name__ == "__main__":
    main()
