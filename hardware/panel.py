"""Sounder, lamp and foot switch on real pins, through gpiozero with the one factory that was named.

Decides nothing about cues or debouncing: levels go out, raw edges come in. No factory stands in for another. The lamp's pin is
untouched until `open_lamp`. Handlers run inside a catch-all, because an exception in one would end lgpio's only thread and with
it every switch. Everything is switched off on every exit that this process can notice. Tests: tests/hardware/test_panel.py.
"""

from __future__ import annotations

import atexit
import importlib
import os
import shutil
import sys
import tempfile
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from hardware.errors import HardwareAbsent, HardwareConfig
from hardware.panel_config import factory_problem
from hardware.ports import PIN_FACTORIES, PanelConfig

_CLASSES = {
    "lgpio": ("gpiozero.pins.lgpio", "LGPIOFactory"),
    "rpigpio": ("gpiozero.pins.rpigpio", "RPiGPIOFactory"),
    "pigpio": ("gpiozero.pins.pigpio", "PiGPIOFactory"),
    "native": ("gpiozero.pins.native", "NativeFactory"),
}
_GET_LGPIO = "on a Pi: apt install python3-lgpio, and a venv made with --system-site-packages"


def load_factory(name: str) -> Any:
    """The pin factory of this name and no other. Raises `HardwareConfig` for an unknown name, `HardwareAbsent` where it does not start
    here."""
    if name not in PIN_FACTORIES:
        raise HardwareConfig(factory_problem(name))
    try:
        if name == "lgpio":
            _import_lgpio()
        module, factory = _CLASSES[name]
        return getattr(importlib.import_module(module), factory)()
    except ImportError as wrong:
        hint = _GET_LGPIO if name == "lgpio" else "install its library, or name another factory"
        raise HardwareAbsent(f"pin factory {name} is not installed ({wrong}); {hint}; no other is tried") from None
    except HardwareAbsent:
        raise
    except Exception as wrong:  # every factory has its own errors, and none is a reason for a traceback
        why = f"{type(wrong).__name__}: {wrong}"
        raise HardwareAbsent(f"pin factory {name} does not start here ({why}); {chips_hint()}; no other is tried") from None


def chips_hint(devices: Path = Path("/dev")) -> str:
    """What to do where no pins can be had: a right that is missing is named as one."""
    chips = sorted(devices.glob("gpiochip*"))
    barred = [chip for chip in chips if not os.access(chip, os.R_OK | os.W_OK)]
    if barred and len(barred) == len(chips):
        return f"this user may not use {barred[0]}: put it into the group gpio, and a service's unit must allow the device"
    return "it needs a Raspberry Pi, and there is no gpiochip here" if not chips else "it needs a Raspberry Pi"


def _import_lgpio() -> None:
    """Import lgpio with a writable place for its FIFO, and undo its change of the working directory.

    At import the library makes `.lgd-nfyN` in $LG_WD, or in the working directory, and moves the whole process there.
    """
    if "lgpio" in sys.modules:
        return
    here = Path.cwd()
    if not os.environ.get("LG_WD"):
        runtime = os.environ.get("RUNTIME_DIRECTORY", "").split(":")[0]
        os.environ["LG_WD"] = runtime or _scratch_folder()
    try:
        lgpio = importlib.import_module("lgpio")
    except (OSError, RuntimeError) as wrong:
        raise HardwareAbsent(f"lgpio cannot make its FIFO in {os.environ['LG_WD']} ({wrong}); set LG_WD to a writable folder") from None
    finally:
        os.chdir(here)
    if not hasattr(lgpio, "gpiochip_open"):
        raise HardwareAbsent(f"the installed lgpio is an empty stub; {_GET_LGPIO}; no other factory is tried")


def _scratch_folder() -> str:
    folder = tempfile.mkdtemp(prefix="evenbath-lgpio-")
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder


class PinOutput:
    """One output, active high, off from the first moment."""

    def __init__(self, pin: str, factory: Any) -> None:
        from gpiozero import DigitalOutputDevice

        self._pin = pin
        self._lock = threading.Lock()
        self._device: Any = _opened(pin, lambda: DigitalOutputDevice(pin, active_high=True, initial_value=False, pin_factory=factory))

    def set(self, on: bool) -> None:
        """Drive the level. Raises `OSError` where the pin is gone, or closed and asked to come on."""
        with self._lock:
            if self._device is None:
                if on:
                    raise OSError(f"pin {self._pin} is closed")
                return
            try:
                self._device.value = self._level(on)
            except Exception as wrong:  # lgpio.error and others are plain Exceptions
                raise OSError(f"pin {self._pin} cannot be driven: {type(wrong).__name__}: {wrong}") from None

    def _level(self, on: bool) -> float | bool:
        return on

    @property
    def closed(self) -> bool:
        """Whether the pin has been released."""
        return self._device is None

    def close(self) -> None:
        """Switch off and let the pin go; a second time does nothing."""
        with self._lock:
            device, self._device = self._device, None
        if device is None:
            return
        for step in (device.off, device.close):
            # A pin that cannot be switched off is still let go, and the transistor's own pull-down then takes over.
            _quietly(step)


class TonePinOutput(PinOutput):
    """An output that drives a passive sounder with a tone of `tone_hz`, made by the pin library as half-on half-off pulses.

    A tone begins up to one of its periods after the call (0.8 ms at 1200 Hz) and, where the library makes it in software, wavers with
    the machine's load: heard as roughness, not as lateness.
    """

    def __init__(self, pin: str, factory: Any, tone_hz: float) -> None:
        from gpiozero import PWMOutputDevice

        self._pin = pin
        self._lock = threading.Lock()
        self._device: Any = _opened(
            pin, lambda: PWMOutputDevice(pin, active_high=True, initial_value=0.0, frequency=tone_hz, pin_factory=factory)
        )

    def _level(self, on: bool) -> float:
        return 0.5 if on else 0.0


class PinSwitch:
    """The foot switch between pin and ground, with the board's pull-up; closed is down. Bounces are passed on."""

    def __init__(self, pin: str, factory: Any, clock: Callable[[], float], notifier_alive: Callable[[], bool]) -> None:
        from gpiozero import DigitalInputDevice

        self._clock = clock
        self._notifier_alive = notifier_alive
        self._device: Any = _opened(pin, lambda: DigitalInputDevice(pin, pull_up=True, bounce_time=None, pin_factory=factory))
        self._lost_edges = 0

    def listen(self, on_edge: Callable[[float, bool], None]) -> None:
        """Deliver every edge from now on, stamped when it arrives here."""

        def deliver(down: bool) -> None:
            try:
                on_edge(self._clock(), down)
            except BaseException:  # this is somebody else's only thread: it must outlive whatever happens here
                self._lost_edges += 1

        self._device.when_activated = lambda: deliver(True)
        self._device.when_deactivated = lambda: deliver(False)

    @property
    def lost_edges(self) -> int:
        """How often `on_edge` raised, which it must not: an edge was lost each time."""
        return self._lost_edges

    def is_down(self) -> bool:
        """The level now; up where the pin cannot be read."""
        device = self._device
        try:
            return device is not None and bool(device.is_active)
        except Exception:
            return False

    def alive(self) -> bool:
        """False once the thread that delivers edges is known to be dead, or after `close`."""
        return self._device is not None and self._notifier_alive()

    def close(self) -> None:
        """Stop listening and let the pin go; a second time does nothing."""
        device, self._device = self._device, None
        if device is not None:
            _quietly(device.close)


class Panel:
    """The real panel. Opens sounder, vibrator and switch; the lamp only by `open_lamp`. `factory` is gpiozero's, loaded by its name where
    none is given.

    Raises `HardwareConfig` and `HardwareAbsent`; what was opened before is released again.
    """

    def __init__(self, config: PanelConfig, clock: Callable[[], float], factory: Any = None) -> None:
        self._config = config
        self._own_factory = factory is None
        self._factory: Any = load_factory(config.factory) if factory is None else factory
        self._lamp: PinOutput | None = None
        self._vibrator: PinOutput | None = None
        self._switch: PinSwitch | None = None
        self._sounder_2: PinOutput | None = None
        self._switch_2: PinSwitch | None = None
        atexit.register(self.close)
        try:
            self._sounder = _sounder(config.sounder, config, self._factory)
            if config.sounder_2 is not None:
                self._sounder_2 = _sounder(config.sounder_2, config, self._factory)
            if config.vibrator is not None:
                self._vibrator = PinOutput(config.vibrator, self._factory)
            if config.switch is not None:
                self._switch = PinSwitch(config.switch, self._factory, clock, notifier_alive)
            if config.switch_2 is not None:
                self._switch_2 = PinSwitch(config.switch_2, self._factory, clock, notifier_alive)
        except BaseException:
            self.close()
            raise

    @property
    def sounder(self) -> PinOutput:
        """The sounder."""
        return self._sounder

    @property
    def vibrator(self) -> PinOutput | None:
        """The vibrating motor; None where none is named."""
        return self._vibrator

    @property
    def switch(self) -> PinSwitch | None:
        """The foot switch; None where none is named."""
        return self._switch

    @property
    def sounder_2(self) -> PinOutput | None:
        """The second vessel's sounder; None where none is named."""
        return self._sounder_2

    @property
    def switch_2(self) -> PinSwitch | None:
        """The second vessel's foot switch; None where none is named."""
        return self._switch_2

    def open_lamp(self) -> PinOutput:
        """Open the lamp's pin, dark; the same lamp if it is open, anew if it was closed. Raises `HardwareConfig` where none is named."""
        if self._config.lamp is None:
            raise HardwareConfig("the station has no lamp; allowed: a pin for it in [panel]")
        if self._lamp is None or self._lamp.closed:
            self._lamp = PinOutput(self._config.lamp, self._factory)
        return self._lamp

    def alive(self) -> bool:
        """False once the thread that delivers edges is known to be dead."""
        return all(switch.alive() for switch in (self._switch, self._switch_2) if switch is not None)

    def close(self) -> None:
        """Everything off, every pin let go; a second time does nothing."""
        atexit.unregister(self.close)
        for part in (
            getattr(self, "_sounder", None), self._sounder_2, self._vibrator, self._lamp, self._switch, self._switch_2,
        ):  # fmt: skip
            if part is not None:
                part.close()
        if self._own_factory and self._factory is not None:
            _quietly(self._factory.close)
        self._factory = None


def _sounder(pin: str, config: PanelConfig, factory: Any) -> PinOutput:
    return PinOutput(pin, factory) if config.tone_hz is None else TonePinOutput(pin, factory, config.tone_hz)


def notifier_alive() -> bool:
    """Whether lgpio's one notification thread lives; True where lgpio is not loaded (other factories cannot tell)."""
    thread = getattr(sys.modules.get("lgpio"), "_notify_thread", None)
    return thread is None or bool(thread.is_alive())


def _opened(pin: str, make: Callable[[], Any]) -> Any:
    from gpiozero import GPIOZeroError

    try:
        return make()
    except GPIOZeroError as wrong:
        raise HardwareConfig(f"pin {pin} cannot be used: {wrong}") from None
    except Exception as wrong:  # lgpio.error: busy, no rights, no such line
        why = f"{type(wrong).__name__}: {wrong}"
        raise HardwareAbsent(f"pin {pin} does not open ({why}); is another program using it, and may this user?") from None


def _quietly(step: Callable[[], Any]) -> None:
    """Do one step of closing; whatever goes wrong in it, the next one has to be done."""
    try:
        step()
    except Exception as wrong:
        sys.stderr.write(f"panel: while closing: {type(wrong).__name__}: {wrong}\n")
