"""The bus of temperature probes, through w1thermsensor and the kernel's tree; every error and every false value becomes a `fault`.

Decides what a reading is worth by itself; how it compares with others is decided elsewhere. Writes nothing to a probe, neither its
resolution nor its EEPROM; one conversion for all probes is begun where that is permitted (`hardware.bulk`), and so it needs no
root. A probe that comes back is read again. Tests: tests/hardware/test_one_wire.py.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from hardware.bulk import BulkConversion
from hardware.errors import HardwareAbsent
from hardware.ports import Sample, SampleFault, is_probe_id

KERNEL_TREE = Path("/sys/bus/w1/devices")

RANGE_C = (-55.0, 125.0)
"""What the probe can measure (DS18B20 data sheet)."""

NO_POWER_C = 127.9375
"""What the register holds when a conversion failed for lack of power (kernel, Documentation/w1/slaves/w1_therm.rst)."""

CONVERSION_S = 0.75
"""A conversion at 12 bits (DS18B20 data sheet, the longest)."""
PULLED_READS = 4
"""So many empty reads in a row are a probe that is not there. The kernel keeps the folder of a pulled probe for a minute and more, and its
file reads empty as after a bad checksum; but then it has tried five times, and the next read as a rule succeeds."""

LONGEST_READ_S = 5.0
"""A read that took longer says nothing about when the conversion was; a slow board needs up to 1.9 s (common reports)."""


_EMPTY = "empty, refused by its checksum, or all zero"


class OneWireBus:
    """Probes below `base_directory` (default: the kernel's tree). `clock` returns seconds of CLOCK_MONOTONIC.

    `read` blocks for about 0.8 s on a real bus, so each probe needs a thread of its own; several threads may call it at the
    same time. Raises `HardwareAbsent` where there is no such tree.
    """

    def __init__(self, clock: Callable[[], float], base_directory: Path | None = None) -> None:
        self._clock = clock
        self._empty: dict[str, int] = {}
        self._bulk = BulkConversion(KERNEL_TREE if base_directory is None else Path(base_directory), clock)
        self._base = KERNEL_TREE if base_directory is None else Path(base_directory)
        if not self._base.is_dir():
            on_board = "enable it with dtoverlay=w1-gpio in the board's config.txt and restart"
            raise HardwareAbsent(f"no 1-Wire tree at {self._base}; {on_board if base_directory is None else 'is the rig running?'}")
        # Without this the library loads kernel modules as a side effect of its import.
        os.environ["W1THERMSENSOR_NO_KERNEL_MODULE"] = "1"
        import w1thermsensor

        self._library = w1thermsensor
        # A class of our own, so that the library's own directory stays what it is for everybody else in the process.
        self._sensor: Any = type("Probe", (w1thermsensor.W1ThermSensor,), {"BASE_DIRECTORY": self._base})

    def ids(self) -> tuple[str, ...]:
        """The ids of the probes present now, sorted; none where the tree has gone."""
        try:
            return tuple(sorted(entry.name for entry in self._base.iterdir() if is_probe_id(entry.name)))
        except OSError:
            return ()

    def read(self, probe_id: str) -> Sample:
        """Read one probe once, stamped in the middle of its conversion. Never raises for a fault of the world."""
        begin_s = self._clock()
        span = self._bulk.conversion(probe_id) if is_probe_id(probe_id) else None
        if span is None and self._bulk.holds_an_old_value(probe_id):
            self._attempt(probe_id)
        before_s = self._clock()
        raw_c, fault, detail = self._attempt(probe_id)
        empty = self._empty[probe_id] = self._empty.get(probe_id, 0) + 1 if detail == _EMPTY else 0
        if empty >= PULLED_READS:
            fault, detail = "missing", f"its folder stays and its file is empty, {empty} reads long: pulled, or its wire"
        after_s = self._clock()
        if fault is None and after_s - begin_s > LONGEST_READ_S:
            fault, detail = "stale", f"the read took {after_s - begin_s:.1f} s"
        if span is None or after_s - before_s > CONVERSION_S / 2:  # it has converted by itself, at the end of the read
            span = (max(before_s, after_s - CONVERSION_S), after_s)
        return Sample(probe_id, (span[0] + span[1]) / 2, raw_c, fault, detail)

    def _attempt(self, probe_id: str) -> tuple[float | None, SampleFault | None, str]:
        if not is_probe_id(probe_id):
            return None, "missing", "not the id of a temperature probe"
        library = self._library
        try:
            with _signals_held():
                kind = library.Sensor.from_id_string(probe_id[:2])
                raw_c = float(self._sensor(kind, probe_id[3:]).get_temperature())
        except library.ResetValueError:
            return 85.0, "reset", "power-on value: probe power"
        except library.NoSensorFoundError:
            return None, "missing", "not on the bus" if not (self._base / probe_id).is_dir() else "cannot be opened"
        except library.SensorNotReadyError:
            return None, "crc", _EMPTY
        except IndexError:
            return None, "crc", "half a file"
        except Exception as wrong:  # the one place that meets the library: nothing of it gets past here
            return None, "crc", f"unreadable ({type(wrong).__name__})"
        if raw_c == NO_POWER_C:
            return raw_c, "implausible", "conversion failed: probe power"
        if not RANGE_C[0] <= raw_c <= RANGE_C[1]:
            return raw_c, "implausible", "outside the probe's range"
        return raw_c, None, ""


@contextmanager
def _signals_held() -> Iterator[None]:
    """Hold signals back from this thread: one that arrives during a conversion makes the kernel return an empty file."""
    held = signal.pthread_sigmask(signal.SIG_BLOCK, signal.valid_signals())
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, held)
