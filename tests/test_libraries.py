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


def test_paho_takes_its_socket_and_its_bytes_and_hands_over_its_packets_by_three_methods() -> None:
    """What monitor.live.telemetry.guarded_client overrides and reads in `Client`.

    `_create_socket()` makes the connection; `_sock_recv(bufsize)` takes every byte, and a packet's body is first asked for as a whole,
    after `_in_packet` has its header; an OSError there ends the connection; `_packet_handle()` is called once for each whole packet,
    with its first byte as `_in_packet["command"]` and its length as `remaining_length`, and 0 is the first byte while none comes.
    """
    from paho.mqtt.client import Client, MQTTv311
    from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode

    ours, broker = socket.socketpair()
    asked: list[int] = []
    handled: list[tuple[int, int]] = []

    class Told(Client):
        def _create_socket(self) -> socket.socket:
            return ours

        def _sock_recv(self, bufsize: int) -> bytes:
            asked.append(bufsize)
            if bufsize > 1000:
                raise ConnectionAbortedError
            return super()._sock_recv(bufsize)

        def _packet_handle(self) -> MQTTErrorCode:
            handled.append((self._in_packet["command"], self._in_packet["remaining_length"]))
            return super()._packet_handle()

    client = Told(CallbackAPIVersion.VERSION2, client_id="contract", protocol=MQTTv311, reconnect_on_failure=False)
    client.connect("nowhere.invalid")
    assert broker.recv(100)[0] == 0x10
    assert client._in_packet["command"] == 0
    broker.sendall(b"\x20\x02\x00\x00" + b"\xd0\x00" + b"\x30")
    for _ in range(5):
        client.loop_read()
    assert (asked[:3], handled) == ([1, 1, 2], [(0x20, 2), (0xD0, 0)])
    assert client._in_packet["command"] == 0x30
    broker.sendall(b"\x80\x80\x80\x01" + b"\x00\x01a")  # PUBLISH of 2 MiB, the first bytes of it
    assert client.loop_read() == MQTTErrorCode.MQTT_ERR_CONN_LOST
    assert asked[-1] == 2 << 20
    assert client.socket() is None
    broker.close()


def test_paho_pings_by_a_number_that_the_broker_may_set() -> None:
    """`Client._keepalive`, seconds: `connect` sets it, since 2.2 also the broker (Server Keep Alive); the property is closed then."""
    from paho.mqtt.client import Client, MQTTv5
    from paho.mqtt.enums import CallbackAPIVersion

    client = Client(CallbackAPIVersion.VERSION2, client_id="contract", protocol=MQTTv5)
    with socket.create_server(("127.0.0.1", 0)) as server:
        host, port = server.getsockname()
        client.connect(host, port, 17)
        broker, _ = server.accept()
        with broker:
            assert client._keepalive == 17
            broker.sendall(b"\x20\x06\x00\x00\x03\x13\x00\x00")
            client.loop_read()
            assert client._keepalive in (0, 17)
            with pytest.raises(RuntimeError):
                client.keepalive = 10
            client._keepalive = 10
            assert client.keepalive == 10
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
