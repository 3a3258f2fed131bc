"""A board that has just booted is waited for; one that has been up for long is not."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from hardware import one_wire, panel
from hardware.errors import HardwareAbsent
from hardware.ports import PanelConfig
from monitor.cli.station import BOOT_PATIENCE_S, LOOK_AGAIN_S, open_bus, open_panel
from monitor.core.errors import NotThere
from tests.fake_clock import FakeClock
from tests.live.simulated import BOWL, JUG, config_for


class Booting(FakeClock):
    """Something appears when the board has been up for so long."""

    def __init__(self, up_s: float, at_s: float, appears: object) -> None:
        super().__init__(up_s)
        self._at_s = at_s
        self._appears = appears

    def wait(self, condition: threading.Condition, until_s: float | None) -> None:
        """Time passes."""
        super().wait(condition, until_s)
        if self.mono_s() >= self._at_s:
            self._appears()  # type: ignore[operator]


def test_a_tree_that_comes_late_in_the_boot_is_waited_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Twenty seconds after the boot, and its probes with it."""
    tree = tmp_path / "devices"
    monkeypatch.setattr(one_wire, "KERNEL_TREE", tree)

    def appear() -> None:
        for probe in (JUG, BOWL):
            (tree / probe).mkdir(parents=True, exist_ok=True)

    clock = Booting(8.0, 25.0, appear)
    bus = open_bus(config_for(tmp_path), clock, None, must_be_there=True)
    assert set(bus.ids()) == {JUG, BOWL}
    assert clock.mono_s() < 26.0


@pytest.mark.parametrize(("up_s", "most_s"), [(8.0, BOOT_PATIENCE_S), (5000.0, LOOK_AGAIN_S)])
def test_hardware_that_never_comes_is_told_in_good_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, up_s: float, most_s: float
) -> None:
    """Within the patience of a service's start, and at once to somebody who waits before a board that has long been up."""
    monkeypatch.setattr(one_wire, "KERNEL_TREE", tmp_path / "none")
    clock = FakeClock(up_s)
    with pytest.raises(NotThere, match="no 1-Wire tree"):
        open_bus(config_for(tmp_path), clock, None, must_be_there=True)
    assert clock.mono_s() - up_s == pytest.approx(most_s, abs=0.3)


def test_pins_that_come_late_in_the_boot_are_waited_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Or the right to them, or another process that still holds them."""
    there: list[str] = []

    class Pins:
        def __init__(self, config: PanelConfig, clock: object) -> None:
            if not there:
                raise HardwareAbsent("pin factory lgpio does not start here")

    monkeypatch.setattr(panel, "Panel", Pins)
    clock = Booting(8.0, 20.0, lambda: there.append("chip"))
    assert isinstance(open_panel(config_for(tmp_path), clock, None), Pins)
    assert clock.mono_s() < 21.0
    there.clear()
    late = FakeClock(5000.0)
    with pytest.raises(NotThere, match="does not start"):
        open_panel(config_for(tmp_path), late, None)
    assert late.mono_s() - 5000.0 <= LOOK_AGAIN_S + 0.3


def test_a_right_that_is_missing_is_named_as_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Not as a board that is missing."""
    assert "no gpiochip" in panel.chips_hint(tmp_path)
    chip = tmp_path / "gpiochip0"
    chip.touch()
    monkeypatch.setattr("os.access", lambda path, mode: False)
    assert panel.chips_hint(tmp_path).startswith(f"this user may not use {chip}: put it into the group gpio")
    monkeypatch.setattr("os.access", lambda path, mode: True)
    assert panel.chips_hint(tmp_path) == "it needs a Raspberry Pi"
