"""What we lean on in libraries beyond what they promise: each private part by name, and what we take it to do.

pyproject.toml keeps these libraries to the minor versions that passed here. A failure here means: look at what the named module of ours
does with it before the bound is moved.
"""

from __future__ import annotations

import importlib.metadata
import importlib.util
import os
import re
import socket
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


def test_paho_tells_the_length_of_a_packet_before_it_is_read_whole() -> None:
    """`Client._in_packet["remaining_length"]` is the length that a packet's header announces, while the packet is still coming.

    monitor.live.telemetry.broker_link drops the connection by it: in MQTT 3.1.1 no broker can be told a limit.
    """
    from paho.mqtt.client import Client, MQTTv311
    from paho.mqtt.enums import CallbackAPIVersion

    client = Client(CallbackAPIVersion.VERSION2, client_id="contract", protocol=MQTTv311)
    assert client._in_packet["remaining_length"] == 0
    with socket.create_server(("127.0.0.1", 0)) as server:
        client.connect(*server.getsockname())
        broker, _ = server.accept()
        with broker:
            broker.sendall(b"\x20\x02\x00\x00")  # CONNACK, accepted
            broker.sendall(b"\x30\x80\x80\x80\x01" + b"\x00\x01a")  # PUBLISH of 2 MiB, the first bytes of it
            for _ in range(10):
                client.loop_read()
            assert client._in_packet["remaining_length"] == 2 << 20
            sock = client.socket()
            assert sock is not None
            sock.close()


def test_gpiozeros_mock_pin_tells_each_change_of_its_state() -> None:
    """`MockPin._change_state(value)` is called for every change of level and answers whether there was one; `info.name` is the pin.

    hardware.rig writes the edges of its outputs by it, and `MockFactory` makes pins of the class that it is given.
    """
    from gpiozero import DigitalInputDevice, DigitalOutputDevice
    from gpiozero.pins.mock import MockFactory, MockPin

    changes: list[tuple[str, bool, bool]] = []

    class Told(MockPin):  # type: ignore[misc]
        def _change_state(self, value: bool) -> bool:
            changed = super()._change_state(value)
            changes.append((self.info.name, bool(value), changed))
            return bool(changed)

    factory = MockFactory(pin_class=Told)
    output = DigitalOutputDevice("GPIO18", pin_factory=factory)
    changes.clear()
    output.on()
    output.on()
    assert changes == [("GPIO18", True, True), ("GPIO18", True, False)]
    edges: list[str] = []
    switch = DigitalInputDevice("GPIO24", pull_up=True, bounce_time=None, pin_factory=factory)
    switch.when_activated = lambda: edges.append("down")
    switch.when_deactivated = lambda: edges.append("up")
    factory.pin("GPIO24").drive_low()
    factory.pin("GPIO24").drive_high()
    assert edges == ["down", "up"]
    output.close()
    switch.close()
    factory.reset()


@pytest.mark.parametrize("part", ["_set_state", "_set_function", "_set_pull"])
def test_gpiozeros_mock_pin_is_driven_through_these(part: str) -> None:
    """Setting `state`, `function` and `pull` of a pin goes through the method of that name; tests of hardware stand in there."""
    from gpiozero.pins.mock import MockFactory, MockPin

    told: list[object] = []

    def tell(self: MockPin, value: object) -> None:
        told.append(value)
        getattr(MockPin, part)(self, value)

    pin = MockFactory(pin_class=type("Told", (MockPin,), {part: tell})).pin("GPIO18")
    if part == "_set_state":
        pin.function = "output"
    value: object = {"_set_state": True, "_set_function": "input", "_set_pull": "up"}[part]
    setattr(pin, part.removeprefix("_set_"), value)
    assert told[-1] == value


def test_w1thermsensor_reads_below_the_folder_that_its_class_names(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """`W1ThermSensor.BASE_DIRECTORY` is looked at anew on each read, so a subclass may name another; and the import may be told
    by `W1THERMSENSOR_NO_KERNEL_MODULE` to load no kernel module.

    hardware.one_wire and its rig read through it. It reads `ID/w1_slave`, in sixteenths of a degree from the first two bytes.
    """
    monkeypatch.setenv("W1THERMSENSOR_NO_KERNEL_MODULE", "1")
    import w1thermsensor

    for folder, raw in (("one", "44 01"), ("two", "3e 01")):
        probe = tmp_path / folder / "28-000000000a01"
        probe.mkdir(parents=True)
        (probe / "w1_slave").write_text(f"{raw} 4b 46 7f ff 0c 10 d8 : crc=d8 YES\n{raw} 4b 46 7f ff 0c 10 d8 t=1000\n", encoding="ascii")
    kind = w1thermsensor.Sensor.from_id_string("28")
    for folder, celsius in (("one", 20.25), ("two", 19.875)):
        sensor = type("Probe", (w1thermsensor.W1ThermSensor,), {"BASE_DIRECTORY": tmp_path / folder})
        assert sensor(kind, "000000000a01").get_temperature() == celsius
    assert Path("/sys/bus/w1/devices") == w1thermsensor.W1ThermSensor.BASE_DIRECTORY


LGPIO = """
import os, threading
from pathlib import Path
import lgpio
assert isinstance(lgpio._notify_thread, threading.Thread), "hardware.panel asks this thread whether it lives"
assert lgpio._notify_thread.is_alive(), "it runs from the import on, for all edges of all pins"
assert lgpio._notify_thread.daemon, "it does not hold the process up at its end"
assert Path.cwd() == Path(os.environ["LG_WD"]), "the import moves the process to LG_WD; hardware.panel moves it back"
assert list(Path.cwd().glob(".lgd-nfy*")), "and makes its FIFO there"
from gpiozero.pins import lgpio as factory
assert "lgpio.callback(" in Path(factory.__file__).read_text(), "gpiozero hands its edges to that thread"
"""


def test_lgpio_delivers_all_edges_by_one_thread_that_can_be_asked_whether_it_lives(tmp_path: Path) -> None:
    """`lgpio._notify_thread`: started by the import, which also makes a FIFO in LG_WD and moves the process there."""
    if importlib.util.find_spec("lgpio") is None:  # not imported here: its thread would stay in this process
        pytest.skip("lgpio is not installed: it has no wheel for this Python or this machine")
    environment = {**os.environ, "LG_WD": str(tmp_path)}
    done = subprocess.run([sys.executable, "-c", LGPIO], cwd="/", env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_the_libraries_that_we_lean_on_are_bound_to_the_minor_version_that_was_tried() -> None:
    """And the installed ones lie within; their private parts may change with any release."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = {re.split(r"[<>=; ]", line)[0]: line for line in [*project["dependencies"], *project["optional-dependencies"]["pi"]]}
    for name in ("paho-mqtt", "gpiozero", "w1thermsensor", "lgpio"):
        bound = re.search(r"<(\d+)\.(\d+)", wanted[name])
        assert bound is not None, f"{name} has no upper bound to the minor version: {wanted[name]}"
        try:
            major, minor = map(int, importlib.metadata.version(name).split(".")[:2])
        except importlib.metadata.PackageNotFoundError:
            assert name == "lgpio"
            continue
        assert (int(bound[1]), int(bound[2])) == (major, minor + 1), f"{name} {major}.{minor} was installed: {wanted[name]}"
