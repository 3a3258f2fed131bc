"""Sounder, lamp and foot switch through the real gpiozero classes on its mock pins."""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
import threading
import types
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from gpiozero.pins.mock import MockFactory, MockPWMPin

from hardware.errors import HardwareAbsent, HardwareConfig
from hardware.panel import Panel, load_factory, notifier_alive
from hardware.panel_config import cautions, panel_from, read_panel
from hardware.ports import PanelConfig, tone_from

CONFIG = PanelConfig("lgpio", "GPIO18", "GPIO23", "GPIO24")


class Now:
    """A clock set by hand."""

    mono_s = 5.0

    def __call__(self) -> float:
        """The time that was set."""
        return self.mono_s


@pytest.fixture
def factory() -> Iterator[Any]:
    """Fresh mock pins."""
    made = MockFactory()
    yield made
    made.reset()


@pytest.fixture
def panel(factory: Any) -> Iterator[Panel]:
    """A panel with all three parts named."""
    made = Panel(CONFIG, Now(), factory)
    yield made
    made.close()


def _touched(factory: Any) -> set[str]:
    return {info.name for info in factory.pins}


def test_the_sounder_starts_silent_and_follows_what_it_is_told(panel: Panel, factory: Any) -> None:
    """Off from the first moment, active high."""
    pin = factory.pin("GPIO18")
    assert (pin.function, pin.state) == ("output", False)
    panel.sounder.set(True)
    assert pin.state
    panel.sounder.set(False)
    assert not pin.state


def test_the_lamp_s_pin_is_not_even_opened_until_asked_for(panel: Panel, factory: Any) -> None:
    """A session that never asks leaves the lamp's pin untouched; asking opens it dark, once."""
    panel.sounder.set(True)
    panel.close()
    assert "GPIO23" not in _touched(factory)
    again = Panel(CONFIG, Now(), factory)
    lamp = again.open_lamp()
    assert (factory.pin("GPIO23").function, factory.pin("GPIO23").state) == ("output", False)
    assert again.open_lamp() is lamp
    again.close()


def test_no_lamp_named_none_opened(factory: Any) -> None:
    """Where the station has no lamp, asking for it is an error with what is allowed."""
    panel = Panel(PanelConfig("lgpio", "GPIO18"), Now(), factory)
    with pytest.raises(HardwareConfig, match="no lamp"):
        panel.open_lamp()
    assert panel.switch is None
    assert panel.alive()
    panel.close()


def test_raw_edges_of_the_switch_arrive_with_their_time(factory: Any) -> None:
    """Pressed pulls the pin to ground; every edge comes, bounces too, stamped by our own clock."""
    now = Now()
    panel = Panel(CONFIG, now, factory)
    edges: list[tuple[float, bool]] = []
    assert panel.switch is not None
    panel.switch.listen(lambda mono_s, down: edges.append((mono_s, down)))
    pin = factory.pin("GPIO24")
    assert pin.pull == "up"
    for mono_s, low in ((6.0, True), (6.001, False), (6.002, True), (6.4, False)):
        now.mono_s = mono_s
        pin.drive_low() if low else pin.drive_high()
        assert panel.switch.is_down() is low
    assert edges == [(6.0, True), (6.001, False), (6.002, True), (6.4, False)]
    panel.close()
    assert not panel.switch.is_down()
    assert not panel.switch.alive()


def test_a_handler_that_raises_harms_nobody(panel: Panel, factory: Any) -> None:
    """The exception stays inside and is counted; the next edge arrives."""
    heard: list[bool] = []

    def clumsy(_: float, down: bool) -> None:
        heard.append(down)
        raise SystemExit("clumsy")

    assert panel.switch is not None
    panel.switch.listen(clumsy)
    factory.pin("GPIO24").drive_low()
    factory.pin("GPIO24").drive_high()
    assert heard == [True, False]
    assert panel.switch.lost_edges == 2


def test_everything_is_off_after_close_and_stays_off(panel: Panel, factory: Any) -> None:
    """Close silences and darkens, may come twice, and nothing can come on afterwards."""
    lamp = panel.open_lamp()
    panel.sounder.set(True)
    lamp.set(True)
    panel.close()
    panel.close()
    assert not factory.pin("GPIO18").state
    assert not factory.pin("GPIO23").state
    panel.sounder.set(False)
    with pytest.raises(OSError, match="GPIO18 is closed"):
        panel.sounder.set(True)
    assert not factory.pin("GPIO18").state


@pytest.mark.parametrize("way", ["pass", "raise RuntimeError('x')", "sys.exit(4)"])
def test_the_end_of_the_process_silences(way: str) -> None:
    """A process that ends without closing the panel switches the outputs off on its way out."""
    code = f"""
import sys
from gpiozero.pins.mock import MockFactory, MockPin
from hardware.panel import Panel
from hardware.panel_config import PanelConfig
class Told(MockPin):
    def _change_state(self, value):
        sys.stdout.write(f"{{self.info.name}}={{value}} ")
        return super()._change_state(value)
panel = Panel(PanelConfig("lgpio", "GPIO18", "GPIO23"), lambda: 0.0, MockFactory(pin_class=Told))
panel.sounder.set(True)
panel.open_lamp().set(True)
sys.stdout.write("| ")
{way}
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.stdout.split("| ")[1].split() == ["GPIO18=False", "GPIO23=False"]


def test_a_pin_that_fails_is_an_os_error(panel: Panel, factory: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever the library raises while driving, the caller meets the one error of the port; closing still goes on."""

    def broken(value: object) -> None:
        raise RuntimeError("chip gone")

    monkeypatch.setattr(factory.pin("GPIO18"), "_set_state", broken)
    with pytest.raises(OSError, match="GPIO18 cannot be driven: RuntimeError: chip gone"):
        panel.sounder.set(True)
    panel.close()


def test_a_pin_in_use_is_refused_and_nothing_stays_open(factory: Any) -> None:
    """A second panel on the same pins is told which pin, and the first goes on; what it had opened is let go."""
    first = Panel(PanelConfig("lgpio", "GPIO24"), Now(), factory)
    with pytest.raises(HardwareConfig, match="GPIO24"):
        Panel(CONFIG, Now(), factory)
    third = Panel(PanelConfig("lgpio", "GPIO18"), Now(), factory)
    first.close()
    third.close()


@pytest.mark.parametrize("name", ["GPIO28", "GPIO018", "gpio18", "18", "BOARD12", "GPIO", "GPIO-1", "GPIO1٨", ""])
def test_only_names_of_the_header_s_pins_are_pins(name: str) -> None:
    """Any other name is refused with the form that is allowed."""
    with pytest.raises(HardwareConfig, match=r'sounder: ".*" is not a pin; allowed: "GPIO0" to "GPIO27"'):
        panel_from({"factory": "lgpio", "sounder": name})


def test_all_problems_of_a_panel_come_together() -> None:
    """Factory, names and doubles in one refusal, a line each."""
    with pytest.raises(HardwareConfig) as caught:
        panel_from({"factory": "mock", "sounder": "GPIO99", "lamp": "GPIO5", "switch": "GPIO5"})
    assert [line.split()[0] for line in str(caught.value).splitlines()] == ["factory", "sounder:", "switch:"]


def test_pins_that_come_on_while_the_board_starts_are_warned_about() -> None:
    """Pulled up at reset, the serial console's and the probes' own pin: a sentence each; the pins of the wiring page: none."""
    assert cautions(CONFIG) == []
    assert len(cautions(PanelConfig("lgpio", "GPIO5", "GPIO14", "GPIO4"))) == 3
    assert cautions(PanelConfig("lgpio", "GPIO18", None, "GPIO5")) == []


def test_the_table_of_a_station_file(tmp_path: Path) -> None:
    """The table [panel] is read, the rest left alone; unknown and missing keys and wrong kinds are refused."""
    path = tmp_path / "station.toml"
    path.write_text('name = 3\n[panel]\nfactory = "lgpio"\nsounder = "GPIO18"\n')
    assert read_panel(path) == PanelConfig("lgpio", "GPIO18")
    for table in ({"factory": "lgpio"}, {"factory": "lgpio", "sounder": "GPIO18", "buzzer": "GPIO5"}, {"factory": 1, "sounder": 18}):
        with pytest.raises(HardwareConfig):
            panel_from(table)
    for text in ("", "panel = 3", "[panel", '[panel]\nfactory = "lgpio"\nsounder = "x"'):
        path.write_text(text)
        with pytest.raises(HardwareConfig, match=r"station\.toml"):
            read_panel(path)


def test_a_factory_that_does_not_start_is_said_and_no_other_is_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without its library, or on a machine that is no Pi, the named factory is absent; no other name is imported."""
    monkeypatch.setitem(sys.modules, "RPi", None)
    with pytest.raises(HardwareAbsent, match=r"rpigpio is not installed.*no other is tried"):
        load_factory("rpigpio")
    with pytest.raises(HardwareConfig, match="allowed: lgpio"):
        load_factory("mock")


def test_an_empty_lgpio_is_told_from_a_real_one(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """An old release of the library is an empty stub that installs without a word; it is not taken for the library."""
    (tmp_path / "lgpio.py").write_text("")
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.delitem(sys.modules, "lgpio", raising=False)
    monkeypatch.setenv("LG_WD", str(tmp_path))
    with pytest.raises(HardwareAbsent, match="empty stub"):
        load_factory("lgpio")
    sys.modules.pop("lgpio", None)


def test_lgpio_s_move_of_the_working_directory_is_undone(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The library moves the whole process to where its FIFO is; relative paths of the station must not follow it."""
    (tmp_path / "lgpio.py").write_text("import os\nos.chdir(os.environ['LG_WD'])\nraise ImportError('far enough')")
    (tmp_path / "run").mkdir()
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.delitem(sys.modules, "lgpio", raising=False)
    monkeypatch.setenv("LG_WD", "set once, so that it is put back")
    monkeypatch.delenv("LG_WD")
    monkeypatch.setenv("RUNTIME_DIRECTORY", str(tmp_path / "run"))
    here = Path.cwd()
    with pytest.raises(HardwareAbsent, match="not installed"):
        load_factory("lgpio")
    assert Path.cwd() == here
    assert os.environ["LG_WD"] == str(tmp_path / "run")


def test_a_dead_notification_thread_is_noticed(panel: Panel, monkeypatch: pytest.MonkeyPatch) -> None:
    """lgpio has one thread for all edges; once it is dead the panel says so."""
    library = types.ModuleType("lgpio")
    thread = threading.Thread(target=lambda: None)
    library._notify_thread = types.SimpleNamespace(is_alive=lambda: True)  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "lgpio", library)
    assert panel.alive()
    thread.start()
    thread.join()
    library._notify_thread = thread  # type: ignore[attr-defined]
    assert not notifier_alive()
    assert not panel.alive()


REAL = """
import os, sys, time
from pathlib import Path
from hardware.panel import _import_lgpio, notifier_alive, load_factory
from hardware.errors import HardwareAbsent
_import_lgpio()
assert Path.cwd() == Path("/proc"), Path.cwd()
import lgpio
assert notifier_alive()
def clumsy(*_): raise ValueError
sys.stderr = open(os.devnull, "w")
lgpio._notify_thread.append(lgpio._callback_ADT(0, 5, 2, clumsy))
fifo = Path(os.environ["LG_WD"], f".lgd-nfy{lgpio._notify_thread._notify}")
fifo.open("wb", buffering=0).write(__import__("struct").pack("QBBBBI", 1, 0, 5, 1, 0, 0))
lgpio._notify_thread.join(5)
assert not notifier_alive()
try:
    load_factory("lgpio")
except HardwareAbsent as wrong:
    print(wrong)
"""


def test_the_real_lgpio_dies_of_a_raising_callback_and_is_seen_to(tmp_path: Path) -> None:
    """The library itself, where it is installed: FIFO in an unwritable directory, death of its thread, no board."""
    if importlib.util.find_spec("lgpio") is None:  # not imported here: its thread would stay in this process
        pytest.skip("lgpio is not installed: it has no wheel for this Python or this machine")
    environment = {**os.environ, "LG_WD": str(tmp_path), "PYTHONPATH": os.pathsep.join([str(Path(__file__).parents[2]), *sys.path])}
    done = subprocess.run([sys.executable, "-c", REAL], cwd="/proc", env=environment, capture_output=True, text=True, check=True)
    assert "no other is tried" in done.stdout


def test_a_passive_sounder_is_driven_with_its_tone_and_off_is_off() -> None:
    """Half-on half-off pulses of the frequency that was named; silent from the first moment and after the close."""
    factory = MockFactory(pin_class=MockPWMPin)
    panel = Panel(replace(CONFIG, tone_hz=1200.0), Now(), factory)
    pin = factory.pin("GPIO18")
    assert (pin.frequency, pin.state) == (1200.0, 0.0)
    panel.sounder.set(True)
    assert pin.state == 0.5
    panel.sounder.set(False)
    assert pin.state == 0.0
    panel.sounder.set(True)
    panel.close()
    assert not pin.state
    factory.reset()


def test_a_vibrator_starts_still_and_is_let_go_with_the_rest(factory: Any) -> None:
    """A plain output of its own."""
    panel = Panel(replace(CONFIG, vibrator="GPIO25"), Now(), factory)
    pin = factory.pin("GPIO25")
    assert (pin.function, pin.state) == ("output", False)
    assert panel.vibrator is not None
    panel.vibrator.set(True)
    assert pin.state
    panel.close()
    assert not pin.state


@pytest.mark.parametrize(
    ("kind", "tone_hz", "key"),
    [
        ("loud", None, "sounder_kind"), ("active", 1200, "tone_hz"), ("passive", 199, "tone_hz"), ("passive", 4001, "tone_hz"),
        ("passive", "a", "tone_hz"),
    ],
)
def test_a_tone_that_no_sounder_has_is_refused_with_what_is_allowed(kind: str, tone_hz: object, key: str) -> None:
    """Bounds included: 200 and 4000 Hz are tones; where nobody says it is 1200 Hz."""
    _, wrong = tone_from(kind, tone_hz)
    assert wrong is not None
    assert wrong[0] == key
    assert [tone_from("passive", hz)[0] for hz in (None, 200, 4000)] == [1200.0, 200.0, 4000.0]
    assert tone_from("active", None) == (None, None)
