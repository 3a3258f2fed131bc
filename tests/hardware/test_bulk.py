"""One conversion for all probes, where the kernel has it: what is read when, and when each probe is read by itself."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from hardware.bulk import AGAIN_S, FRESH_S, BulkConversion
from hardware.one_wire import CONVERSION_S, OneWireBus
from hardware.simulated.w1_tree import scratchpad, slave_text
from tests.fake_clock import FakeClock

PROBES = tuple(f"28-00000000000{n}" for n in range(1, 6))


def tree(base: Path, masters: int = 1) -> Path:
    """Five probes at 20 C, and so many buses."""
    for probe in PROBES:
        (base / probe).mkdir(parents=True)
        (base / probe / "w1_slave").write_text(slave_text(scratchpad(20.0)))
    for number in range(1, masters + 1):
        (base / f"w1_bus_master{number}").mkdir()
        (base / f"w1_bus_master{number}" / "therm_bulk_read").write_text("0\n")
    return base


class Kernel:
    """Takes 0.75 s for a conversion, and counts them."""

    def __init__(self, clock: FakeClock) -> None:
        self.clock = clock
        self.begun = 0
        self.broken = False

    def begin(self, file: Path) -> None:
        """One."""
        if self.broken:
            raise OSError(5, "Input/output error")
        self.begun += 1
        self.clock.advance(CONVERSION_S)


def test_five_probes_share_one_conversion_and_each_gets_it_once(tmp_path: Path) -> None:
    """Whoever has had its value begins the next."""
    clock = FakeClock()
    kernel = Kernel(clock)
    bulk = BulkConversion(tree(tmp_path), clock.mono_s, kernel.begin)
    for second in range(1, 4):
        spans = {bulk.conversion(probe) for probe in PROBES}
        assert len(spans) == 1
        assert kernel.begun == second


def test_readers_that_come_together_wait_for_the_one_that_converts(tmp_path: Path) -> None:
    """Five threads, one conversion."""
    clock = FakeClock()
    inside, go_on = threading.Event(), threading.Event()
    begun: list[Path] = []

    def begin(file: Path) -> None:
        begun.append(file)
        inside.set()
        assert go_on.wait(10.0)

    bulk = BulkConversion(tree(tmp_path), clock.mono_s, begin)
    spans: list[object] = []
    readers = [threading.Thread(target=lambda p=probe: spans.append(bulk.conversion(p))) for probe in PROBES]
    readers[0].start()
    assert inside.wait(10.0)
    for reader in readers[1:]:
        reader.start()
    go_on.set()
    for reader in readers:
        reader.join(10.0)
    assert len(begun) == 1
    assert len(spans) == 5
    assert len(set(spans)) == 1


def test_a_conversion_that_is_old_is_not_read_any_more(tmp_path: Path) -> None:
    """The kernel would hand out its value whenever that is."""
    clock = FakeClock()
    kernel = Kernel(clock)
    bulk = BulkConversion(tree(tmp_path), clock.mono_s, kernel.begin)
    bulk.conversion(PROBES[0])
    clock.advance(FRESH_S + 0.1)
    bulk.conversion(PROBES[1])
    assert kernel.begun == 2


@pytest.mark.parametrize("why", ["no file", "no right", "broken"])
def test_where_it_cannot_be_done_each_is_read_by_itself(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, why: str) -> None:
    """And tried again a minute later."""
    clock = FakeClock()
    kernel = Kernel(clock)
    kernel.broken = why == "broken"
    bulk = BulkConversion(tree(tmp_path, masters=0 if why == "no file" else 1), clock.mono_s, kernel.begin)
    if why == "no right":
        monkeypatch.setattr("os.access", lambda path, mode: False)
    assert [bulk.conversion(probe) for probe in PROBES] == [None] * 5
    kernel.broken = False
    monkeypatch.undo()
    (tmp_path / "w1_bus_master1").mkdir(exist_ok=True)
    (tmp_path / "w1_bus_master1" / "therm_bulk_read").write_text("0\n")
    assert bulk.conversion(PROBES[0]) is None
    clock.advance(AGAIN_S + 1.0)
    assert bulk.conversion(PROBES[0]) is not None


def test_a_sample_speaks_for_the_middle_of_the_conversion_of_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Also that of the last probe, which is read much later."""
    clock = FakeClock()
    kernel = Kernel(clock)
    monkeypatch.setattr("hardware.one_wire.BulkConversion", lambda base, mono_s: BulkConversion(base, mono_s, kernel.begin))
    bus = OneWireBus(clock.mono_s, tree(tmp_path))
    begin_s = clock.mono_s()
    times = []
    for probe in PROBES:
        times.append(bus.read(probe).t_s)
        clock.advance(0.05)
    assert times == pytest.approx([begin_s + CONVERSION_S / 2] * 5)


def test_a_value_that_was_left_over_is_thrown_away(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Converted for all, not read, and then the bulk file goes away: the first read of that probe alone would be the old value."""
    clock = FakeClock()
    kernel = Kernel(clock)
    monkeypatch.setattr("hardware.one_wire.BulkConversion", lambda base, mono_s: BulkConversion(base, mono_s, kernel.begin))
    bus = OneWireBus(clock.mono_s, tree(tmp_path))
    bus.read(PROBES[0])
    clock.advance(FRESH_S + 1.0)
    kernel.broken = True
    reads: list[str] = []
    attempt = bus._attempt

    def counted(probe_id: str) -> object:
        reads.append(probe_id)
        return attempt(probe_id)

    bus._attempt = counted  # type: ignore[method-assign, assignment]
    for probe in (PROBES[1], PROBES[1], PROBES[0]):
        assert bus.read(probe).fault is None
    assert reads == [PROBES[1], PROBES[1], PROBES[1], PROBES[0]]


@pytest.mark.parametrize(("took_s", "middle_s"), [(2.4, 2.4 - CONVERSION_S / 2), (0.4, 0.2)])
def test_a_read_alone_that_had_to_wait_for_the_bus_speaks_for_its_end(tmp_path: Path, took_s: float, middle_s: float) -> None:
    """The kernel makes one probe wait for another; the conversion is the last 0.75 s of the read. A shorter read speaks for its middle."""
    clock = FakeClock()
    bus = OneWireBus(clock.mono_s, tree(tmp_path, masters=0))
    attempt = bus._attempt

    def slow(probe_id: str) -> object:
        clock.advance(took_s)
        return attempt(probe_id)

    bus._attempt = slow  # type: ignore[method-assign, assignment]
    begin_s = clock.mono_s()
    assert bus.read(PROBES[0]).t_s == pytest.approx(begin_s + middle_s)
