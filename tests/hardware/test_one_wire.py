"""Every error and every lying value of the bus becomes a quality, with the real w1thermsensor reading a tree of files."""

from __future__ import annotations

import signal
import subprocess
import sys
from pathlib import Path

import pytest

from hardware.errors import HardwareAbsent
from hardware.one_wire import OneWireBus
from hardware.simulated.w1_tree import POWER_ON, crc8, slave_text

PROBE = "28-0316a2795f3c"
GOOD = "41 01 4b 46 7f ff 0f 10 aa : crc=aa YES\n41 01 4b 46 7f ff 0f 10 aa t=20062\n"


class SteppingClock:
    """Goes on by `step_s` at each look."""

    def __init__(self, step_s: float = 0.8) -> None:
        self.now_s = 100.0
        self.step_s = step_s

    def __call__(self) -> float:
        """The next look."""
        self.now_s += self.step_s
        return self.now_s


def _plug(base: Path, text: str | bytes, probe: str = PROBE) -> Path:
    folder = base / probe
    folder.mkdir(exist_ok=True)
    (folder / "w1_slave").write_bytes(text.encode() if isinstance(text, str) else text)
    return folder


def _bus(base: Path, step_s: float = 0.8) -> OneWireBus:
    return OneWireBus(SteppingClock(step_s), base)


def _eight(register: str) -> bytes:
    high, low = bytes.fromhex(register)
    return bytes([low, high]) + bytes.fromhex("4b467fff0010")


@pytest.mark.parametrize(
    ("register", "celsius"),
    [
        ("07D0", 125.0),
        ("0191", 25.0625),
        ("00A2", 10.125),
        ("0008", 0.5),
        ("0000", 0.0),
        ("FFF8", -0.5),
        ("FF5E", -10.125),
        ("FE6F", -25.0625),
        ("FC90", -55.0),
    ],
)
def test_the_register_table_of_the_data_sheet(tmp_path: Path, register: str, celsius: float) -> None:
    """DS18B20 data sheet, table of temperatures and register contents: each through the whole adapter."""
    eight = _eight(register)
    _plug(tmp_path, slave_text(eight + bytes([crc8(eight)])))
    sample = _bus(tmp_path).read(PROBE)
    assert (sample.raw_c, sample.fault) == (celsius, None)


def test_85_is_never_a_temperature(tmp_path: Path) -> None:
    """The table's tenth row: +85 C is the power-on value, also where byte 6 looks converted."""
    for text in (slave_text(POWER_ON), slave_text(_eight("0550") + bytes([crc8(_eight("0550"))]))):
        _plug(tmp_path, text)
        sample = _bus(tmp_path).read(PROBE)
        assert (sample.raw_c, sample.fault) == (85.0, "reset")
        assert "probe power" in sample.detail


@pytest.mark.parametrize(
    ("text", "raw_c", "fault", "detail"),
    [
        (GOOD, 20.0625, None, ""),
        ("", None, "crc", "empty"),
        (GOOD.replace("YES", "NO"), None, "crc", "refused"),
        ("00 00 00 00 00 00 00 00 00 : crc=00 YES\n00 00 00 00 00 00 00 00 00 t=0\n", None, "crc", "all zero"),
        (GOOD.splitlines(keepends=True)[0], None, "crc", "half a file"),
        ("YES\nzz yy\n", None, "crc", "ValueError"),
        ("YES\n41\n", None, "crc", "half a file"),
        (b"\xff\xfe YES\n", None, "crc", "UnicodeDecodeError"),
        (slave_text(bytes.fromhex("ff074b467fff0c1000")).replace("NO", "YES"), 127.9375, "implausible", "probe power"),
        (slave_text(bytes.fromhex("00804b467fff0c1000")).replace("NO", "YES"), -2048.0, "implausible", "range"),
        (slave_text(bytes.fromhex("01fc4b467fff0c1000")).replace("NO", "YES"), -63.9375, "implausible", "range"),
    ],
)
def test_each_lie_has_its_name(tmp_path: Path, text: str | bytes, raw_c: float | None, fault: str | None, detail: str) -> None:
    """Empty, refused, all zero, half a file, garbage, too little power, out of range: none is a temperature, and each says why."""
    _plug(tmp_path, text)
    sample = _bus(tmp_path).read(PROBE)
    assert (sample.raw_c, sample.fault) == (raw_c, fault)
    assert detail in sample.detail
    assert bool(sample.detail) == (fault is not None)


def test_a_read_that_took_far_too_long_is_stale(tmp_path: Path) -> None:
    """When the conversion was cannot be said any more, so the value is not used, though shown."""
    _plug(tmp_path, GOOD)
    sample = _bus(tmp_path, step_s=6.0).read(PROBE)
    assert (sample.raw_c, sample.fault) == (20.0625, "stale")


def test_a_probe_may_go_and_come_back(tmp_path: Path) -> None:
    """Unplugged it is missing, plugged in again the same bus reads it; one that is new appears among the ids."""
    bus = _bus(tmp_path)
    assert bus.ids() == ()
    folder = _plug(tmp_path, GOOD)
    assert bus.read(PROBE).fault is None
    (folder / "w1_slave").unlink()
    assert bus.read(PROBE).detail == "cannot be opened"
    folder.rmdir()
    assert bus.read(PROBE).fault == "missing"
    assert bus.read(PROBE).raw_c is None
    _plug(tmp_path, GOOD)
    _plug(tmp_path, GOOD, "28-000000000a02")
    assert bus.read(PROBE).raw_c == 20.0625
    assert bus.ids() == ("28-000000000a02", PROBE)


def test_only_temperature_probes_are_listed(tmp_path: Path) -> None:
    """The bus master, ghosts of a bad search and stray files are no probes; reading one is a missing probe, not an error."""
    for name in ("w1_bus_master1", "00-400000000000", "28-short", ".28-0316a2795f3c", "28-0316A2795F3C"):
        (tmp_path / name).mkdir()
    bus = _bus(tmp_path)
    assert bus.ids() == ()
    assert {bus.read(name).fault for name in ("w1_bus_master1", "../../etc", "", "28-\0")} == {"missing"}


def test_no_tree_is_said_at_the_start(tmp_path: Path) -> None:
    """Without the kernel's tree there is no bus; a tree that vanishes later has no probes."""
    with pytest.raises(HardwareAbsent, match="no 1-Wire tree"):
        OneWireBus(SteppingClock(), tmp_path / "w1")
    (tmp_path / "w1").mkdir()
    bus = _bus(tmp_path / "w1")
    (tmp_path / "w1").rmdir()
    assert bus.ids() == ()
    assert bus.read(PROBE).fault == "missing"


def test_two_buses_do_not_share_a_tree(tmp_path: Path) -> None:
    """The directory belongs to one bus, not to the library for all."""
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    _plug(tmp_path / "a", GOOD)
    assert _bus(tmp_path / "a").read(PROBE).fault is None
    assert _bus(tmp_path / "b").read(PROBE).fault == "missing"


def test_nothing_is_ever_written_to_the_bus(tmp_path: Path) -> None:
    """After reads of every kind the tree's files are as they were, and none is new."""
    folder = _plug(tmp_path, GOOD)
    before = {path: (path.stat().st_mtime_ns, path.is_file() and path.read_bytes()) for path in tmp_path.rglob("*")}
    bus = _bus(tmp_path)
    for _ in range(3):
        bus.ids()
        bus.read(PROBE)
    assert {path: (path.stat().st_mtime_ns, path.is_file() and path.read_bytes()) for path in tmp_path.rglob("*")} == before
    assert folder.exists()


@pytest.mark.parametrize("text", [GOOD, ""])
def test_signals_are_held_back_during_a_read_alone(tmp_path: Path, text: str) -> None:
    """While the file is read every signal waits; afterwards the thread's mask is as it was, whatever came of the read."""
    _plug(tmp_path, text)
    during: list[bool] = []
    bus = _bus(tmp_path)

    class Watched(bus._sensor):  # type: ignore[misc, name-defined]
        def get_temperature(self) -> float:
            during.append(signal.SIGUSR1 in signal.pthread_sigmask(signal.SIG_BLOCK, []))
            return float(super().get_temperature())

    bus._sensor = Watched
    signal.pthread_sigmask(signal.SIG_UNBLOCK, signal.valid_signals())
    bus.read(PROBE)
    after = signal.pthread_sigmask(signal.SIG_SETMASK, [])
    assert during == [True]
    assert after == set()


def test_importing_the_adapter_loads_no_library_and_no_kernel_module() -> None:
    """The library is loaded by the constructor alone, so `--help` stays quick and loads no modules as a side effect."""
    modules = "import hardware.one_wire, hardware.panel, hardware.rig, sys"
    code = f"{modules}; print([m for m in ('w1thermsensor', 'gpiozero') if m in sys.modules])"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.strip() == "[]"


def test_an_empty_file_that_stays_empty_is_a_pulled_probe(tmp_path: Path) -> None:
    """The kernel keeps its folder: three empty reads may be a bad checksum, the fourth is a missing probe. A good read ends it."""
    bus = _bus(tmp_path)
    _plug(tmp_path, "")
    assert [bus.read(PROBE).fault for _ in range(6)] == ["crc"] * 3 + ["missing"] * 3
    _plug(tmp_path, GOOD)
    assert bus.read(PROBE).fault is None
    _plug(tmp_path, "")
    assert bus.read(PROBE).fault == "crc"
