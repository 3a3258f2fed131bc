"""A station without a Pi: a trace played into a virtual 1-Wire tree, and the real panel code on mock pins that write down each edge.

`RigPlayer` is the world (`evenbath rig`), `RigPanel` the station's side (`evenbath station --rig`); they meet in one folder and may be
two processes. Only the pins and the bus are simulated. Tests: tests/hardware/test_rig.py.
"""

from __future__ import annotations

import json
import os
import select
import stat
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from hardware.errors import HardwareConfig
from hardware.panel import Panel, PinOutput, PinSwitch
from hardware.ports import PanelConfig
from hardware.simulated.probes import LIFTED_OUT_OF, ProbeOptions, SimulatedProbes
from hardware.simulated.trace import Trace
from hardware.simulated.w1_tree import W1Tree

PROBE_IDS = {
    "developer": "28-000000000a01", "bath": "28-000000000a02", "room": "28-000000000a03", "developer_2": "28-000000000a04",
}  # fmt: skip
"""Folder of each probe of a trace on the rig's bus."""

RENEW_EVERY_S = 0.25
"""How often the rig renews its files: often enough that a reader's second is not blurred, seldom enough to cost nothing."""

_LONGEST_LINE = 4096


class RigPlayer:
    """Plays a trace into `directory`/w1. `clock` is CLOCK_MONOTONIC; `wait(seconds)` returns True to stop.

    Lines `lift developer` and `dip developer` (or bath) in the FIFO `directory`/hand take a probe out of its liquid and put it back,
    as a person does in the pre-flight. `say` gets a sentence for each. Raises `OSError` where the folder cannot be written, and
    `HardwareConfig` where something else stands in the FIFO's place.
    """

    def __init__(self, directory: Path, trace: Trace, options: ProbeOptions, say: Callable[[str], None] = lambda _: None) -> None:
        self._directory = directory
        self._trace = trace
        self._say = say
        self._probes = SimulatedProbes(trace, options)
        self._tree = W1Tree(directory / "w1")
        self._hand = _Fifo(directory / "hand")
        for name in PROBE_IDS.keys() - set(self._probes.names):
            self._tree.remove(PROBE_IDS[name])

    def play(self, speed: float, clock: Callable[[], float], wait: Callable[[float], bool]) -> bool:
        """Play at `speed` times real time until the trace ends (True) or `wait` says stop (False)."""
        self._show(0.0)
        zero_s = clock()
        _replace(self._directory / "rig.json", json.dumps({"mono_s0": zero_s, "speed": speed}) + "\n")
        ticks = 0
        while ticks * RENEW_EVERY_S * speed < self._trace.end_s:
            ticks += 1
            if wait(zero_s + ticks * RENEW_EVERY_S - clock()):
                return False
            for line in self._hand.lines():
                self._move(line)
            # A file stands for a whole period, so it says what is true in its middle.
            self._show((ticks + 0.5) * RENEW_EVERY_S * speed)
        return True

    def close(self) -> None:
        """Listen to no hand any more; a second time does nothing."""
        self._hand.close()

    def _move(self, line: bytes) -> None:
        """One line of the hand; what is no such line is said and moves nothing."""
        words = line.decode("ascii", "replace").split()
        try:
            if len(words) != 2 or words[0] not in ("lift", "dip"):
                raise HardwareConfig(f'"{" ".join(words)[:60]}" moves nothing; allowed: lift or dip, and {" or ".join(LIFTED_OUT_OF)}')
            (self._probes.lift if words[0] == "lift" else self._probes.dip)(words[1])
        except HardwareConfig as wrong:
            self._say(f"{self._directory / 'hand'}: {wrong}")
        else:
            self._say(f"the {words[1]} probe is {'in the air' if words[0] == 'lift' else 'back in its liquid'}")

    def _show(self, t_s: float) -> None:
        for name in self._probes.names:
            self._tree.show(PROBE_IDS[name], self._probes.sample(name, t_s))


class RigPanel:
    """The real `Panel` on mock pins. Lines `down` and `up` in the FIFO `directory`/switch press the switch, in `directory`/switch_2 the
    second vessel's; each edge of each output is a
    line of `directory`/panel.jsonl, stamped by `clock` (CLOCK_MONOTONIC) as it happens.

    The factory's name in `config` has been checked and is not loaded. Raises `HardwareConfig` and `OSError`.
    """

    def __init__(self, directory: Path, config: PanelConfig, clock: Callable[[], float]) -> None:
        directory.mkdir(parents=True, exist_ok=True)
        self._edges = _EdgeFile(directory / "panel.jsonl", clock)
        self._mock = _recording_factory(config, self._edges)
        self._panel = Panel(config, clock, self._mock)
        self._feet: list[_FootFifo] = []
        try:
            for name, pin in (("switch", config.switch), ("switch_2", config.switch_2)):
                if name == "switch" or pin is not None:
                    self._feet.append(_FootFifo(directory / name, None if pin is None else self._mock.pin(pin)))
        except BaseException:
            self.close()
            raise

    @property
    def sounder(self) -> PinOutput:
        """The sounder."""
        return self._panel.sounder

    @property
    def vibrator(self) -> PinOutput | None:
        """The vibrating motor; None where none is named."""
        return self._panel.vibrator

    @property
    def switch(self) -> PinSwitch | None:
        """The foot switch; None where none is named."""
        return self._panel.switch

    @property
    def sounder_2(self) -> PinOutput | None:
        """The second vessel's sounder; None where none is named."""
        return self._panel.sounder_2

    @property
    def switch_2(self) -> PinSwitch | None:
        """The second vessel's foot switch; None where none is named."""
        return self._panel.switch_2

    def open_lamp(self) -> PinOutput:
        """As `Panel.open_lamp`."""
        return self._panel.open_lamp()

    def alive(self) -> bool:
        """False once the thread that reads the FIFO is dead."""
        return all(foot.alive() for foot in self._feet) and self._panel.alive()

    def close(self) -> None:
        """Everything off and written down, the FIFO's reader ended; a second time does nothing."""
        for foot in self._feet:
            foot.close()
        self._panel.close()
        self._edges.close()


class _EdgeFile:
    """Appends edges, each line in one write. A file that takes no more loses edges, never the sound."""

    def __init__(self, path: Path, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._file: int | None = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND | os.O_CLOEXEC, 0o666)
        self.lost = 0

    def append(self, output: str, on: bool) -> None:
        mono_s = self._clock()
        line = json.dumps({"mono_s": mono_s, "output": output, "on": on}) + "\n"
        with self._lock:
            try:
                if self._file is not None:
                    os.write(self._file, line.encode())
            except OSError:
                self.lost += 1

    def close(self) -> None:
        with self._lock:
            file, self._file = self._file, None
        if file is not None:
            os.close(file)


def _recording_factory(config: PanelConfig, edges: _EdgeFile) -> Any:
    """gpiozero's own mock factory, whose output pins tell their edges."""
    from gpiozero.pins.mock import MockFactory, MockPin, MockPWMPin

    outputs = {pin: use for use, pin in config.pins().items() if not use.startswith("switch")}

    class RecordingPin(MockPin):  # type: ignore[misc]
        def _change_state(self, value: bool) -> bool:
            changed = bool(super()._change_state(value))
            if changed and self.function == "output":
                edges.append(outputs[self.info.name], bool(value))
            return changed

    class RecordingTonePin(MockPWMPin):  # type: ignore[misc]
        def _change_state(self, value: float) -> bool:
            was_on = bool(self._state)
            changed = bool(super()._change_state(value))
            if changed and self.function == "output" and was_on != bool(value):
                edges.append(outputs[self.info.name], bool(value))
            return changed

    return MockFactory(pin_class=RecordingPin if config.tone_hz is None else RecordingTonePin)


class _Fifo:
    """Lines that others write into a FIFO, which is made where it is not there. Writers may come and go: both ends are held open."""

    def __init__(self, path: Path) -> None:
        if not path.exists():
            os.mkfifo(path)
        if not stat.S_ISFIFO(path.stat().st_mode):
            raise HardwareConfig(f"{path}: not a FIFO; allowed: remove it, the rig makes its own")
        self._file = os.open(path, os.O_RDWR | os.O_NONBLOCK | os.O_CLOEXEC)
        self._rest = b""

    def fileno(self) -> int:
        """For waiting on it."""
        return self._file

    def lines(self) -> list[bytes]:
        """The whole lines that have come since the last time; never waits."""
        if self._file < 0:
            return []
        try:
            *lines, rest = (self._rest + os.read(self._file, _LONGEST_LINE)).split(b"\n")
        except BlockingIOError:
            return []
        self._rest = rest[-_LONGEST_LINE:]
        return [line.strip() for line in lines]

    def close(self) -> None:
        """Both ends; a second time does nothing."""
        if self._file >= 0:
            os.close(self._file)
            self._file = -1


class _FootFifo:
    """Reads the FIFO in a thread and moves the mock pin."""

    def __init__(self, path: Path, pin: Any) -> None:
        self._pin = pin
        self._fifo = _Fifo(path)
        self._stop_read, self._stop_write = os.pipe()
        self._thread = threading.Thread(target=self._run, name="rig foot", daemon=True)
        self._thread.start()

    def alive(self) -> bool:
        return self._thread.is_alive()

    def close(self) -> None:
        if self._stop_write < 0:
            return
        os.write(self._stop_write, b"x")
        self._thread.join()
        self._fifo.close()
        for file in (self._stop_read, self._stop_write):
            os.close(file)
        self._stop_write = -1

    def _run(self) -> None:
        while self._stop_read not in select.select([self._fifo.fileno(), self._stop_read], [], [])[0]:
            for line in self._fifo.lines():
                self._move(line)

    def _move(self, word: bytes) -> None:
        """Close or open the contact; any other word is no foot."""
        if self._pin is not None and word == b"down":
            self._pin.drive_low()
        elif self._pin is not None and word == b"up":
            self._pin.drive_high()


def _replace(path: Path, text: str) -> None:
    fresh = path.with_name(f".{path.name}.new")
    fresh.write_text(text, encoding="utf-8")
    fresh.replace(path)
