"""A virtual 1-Wire tree: folders and files as the kernel's driver shows them, for the real w1thermsensor to read.

Decides how a temperature looks as nine bytes and two lines of text. Files change by replacement, so a reader never meets half of one.
Tests: tests/hardware/test_w1_tree.py.
"""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from hardware.ports import Sample

POWER_ON = bytes.fromhex("50054b467fff0c101c")
"""The scratchpad after power-on, 85 C, before any conversion (DS18B20 data sheet)."""

_ALARMS_AND_CONFIG = bytes.fromhex("4b467f")
_CRC_POLYNOMIAL = 0x8C


def crc8(block: bytes) -> int:
    """The 1-Wire checksum: x^8 + x^5 + x^4 + 1, reflected, from 0 (DS18B20 data sheet). Zero over a block with its own checksum."""
    crc = 0
    for byte in block:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ _CRC_POLYNOMIAL if crc & 1 else crc >> 1
    return crc


def scratchpad(celsius: float) -> bytes:
    """Nine bytes that a 12-bit probe holds for this temperature, -55 to 125, to the nearest 0.0625 C."""
    steps = round(celsius * 16)
    eight = steps.to_bytes(2, "little", signed=True) + _ALARMS_AND_CONFIG + bytes([0xFF, 0x10 - steps % 16, 0x10])
    return eight + bytes([crc8(eight)])


def slave_text(block: bytes) -> str:
    """The kernel's `w1_slave` for nine bytes: the bytes, checksum and verdict; the bytes again and thousandths of a degree."""
    shown = block.hex(" ")
    verdict = "YES" if crc8(block[:8]) == block[8] else "NO"
    thousandths = int(int.from_bytes(block[:2], "little", signed=True) * 1000 / 16)  # towards zero, as the driver's C does
    return f"{shown} : crc={block[8]:02x} {verdict}\n{shown} t={thousandths}\n"


class W1Tree:
    """Folders of probes below `base`, which is made. Raises `OSError` where it cannot be written."""

    def __init__(self, base: Path) -> None:
        self._base = base
        base.mkdir(parents=True, exist_ok=True)

    def show(self, probe_id: str, sample: Sample) -> None:
        """Let the probe's folder say what the sample says: a value, the power-on pattern, an empty file or no folder."""
        if sample.fault == "missing":
            self.remove(probe_id)
        elif sample.fault == "crc" or sample.raw_c is None:
            self.write(probe_id, "")
        elif sample.fault == "reset":
            self.write(probe_id, slave_text(POWER_ON))
        else:
            self.write(probe_id, slave_text(scratchpad(sample.raw_c)))

    def write(self, probe_id: str, text: str) -> None:
        """Put this text in place of the probe's file; a probe that was not there appears."""
        folder = self._base / probe_id
        folder.mkdir(exist_ok=True)
        fresh = folder / ".w1_slave.new"
        fresh.write_text(text, encoding="ascii")
        fresh.replace(folder / "w1_slave")

    def remove(self, probe_id: str) -> None:
        """Unplug the probe; nothing if it is not there."""
        folder = self._base / probe_id
        with contextlib.suppress(FileNotFoundError):
            for name in os.listdir(folder):  # noqa: PTH208 - names are enough
                (folder / name).unlink()
            folder.rmdir()
