"""The rig: a trace played onto a bus that the real w1thermsensor reads, and the real panel on mock pins."""

from __future__ import annotations

import json
import os
import queue
import select
import threading
import time
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from hardware.errors import HardwareConfig
from hardware.one_wire import OneWireBus
from hardware.ports import PanelConfig
from hardware.rig import PROBE_IDS, RENEW_EVERY_S, RigPanel, RigPlayer
from hardware.simulated.probes import ProbeOptions, SimulatedProbes
from hardware.simulated.trace import load_trace

CONFIG = PanelConfig("lgpio", "GPIO18", "GPIO23", "GPIO24")
QUIET = ProbeOptions(lag_s=0, noise_c=0)
COLUMNS = "t_s,developer_c,bath_c,room_c,developer_fault"


class Stage:
    """A clock that goes on when the player waits, and a look at the bus at each wait."""

    def __init__(self, directory: Path, stop_s: float = 1e9) -> None:
        self.now_s = 1000.0
        self.stop_s = stop_s
        self.bus = OneWireBus(self.clock, directory / "w1")
        self.seen: list[tuple[float, float | None, str | None]] = []

    def clock(self) -> float:
        """Now."""
        return self.now_s

    def wait(self, seconds: float) -> bool:
        """Look, then let the time pass."""
        sample = self.bus.read(PROBE_IDS["developer"])
        self.seen.append((self.now_s - 1000.0, sample.raw_c, sample.fault))
        self.now_s += max(seconds, 0.0)
        return self.now_s - 1000.0 > self.stop_s


def _play(directory: Path, rows: str, speed: float = 1.0, columns: str = COLUMNS, stop_s: float = 1e9) -> tuple[Stage, bool]:
    player = RigPlayer(directory, load_trace(f"{columns}\n{rows}\n".encode()), QUIET)
    stage = Stage(directory, stop_s)
    with closing(player):
        return stage, player.play(speed, stage.clock, stage.wait)


def test_the_bus_says_what_the_trace_says_when_it_says_it(tmp_path: Path) -> None:
    """A ramp of 1 C a second is on the bus within a step and half a period at every moment, and rig.json tells its zero."""
    stage, ended = _play(tmp_path, "0,20,15,10,\n8,28,15,10,")
    assert ended
    assert len(stage.seen) == 8 / RENEW_EVERY_S
    errors_c = [raw_c - (20 + at_s) for at_s, raw_c, _ in stage.seen[1:] if raw_c is not None]
    assert len(errors_c) == len(stage.seen) - 1
    assert all(abs(error_c) <= RENEW_EVERY_S / 2 + 0.04 for error_c in errors_c)
    assert stage.seen[0] == (0.0, 20.0, None)
    assert json.loads((tmp_path / "rig.json").read_text())["mono_s0"] == 1000.0
    assert stage.bus.read(PROBE_IDS["bath"]).raw_c == 15.0
    assert stage.bus.read(PROBE_IDS["room"]).raw_c == 10.0


def test_a_faster_rig_plays_the_same_trace_in_less_time(tmp_path: Path) -> None:
    """At twenty times real time the trace is over in a twentieth."""
    stage, ended = _play(tmp_path, "0,20,15,10,\n80,28,15,10,", speed=20)
    assert ended
    assert stage.now_s == pytest.approx(1004.0)


def test_the_rig_stops_when_told(tmp_path: Path) -> None:
    """Stopped in the middle it says so, and the probes stay as they are."""
    stage, ended = _play(tmp_path, "0,20,15,10,\n80,28,15,10,", stop_s=2.0)
    assert not ended
    assert stage.now_s < 1003.0
    assert stage.bus.read(PROBE_IDS["developer"]).fault is None


def test_each_fault_is_on_the_bus_and_ends(tmp_path: Path) -> None:
    """Unplugged, unreadable, power-on, stuck and in air, seen through the adapter."""
    faults = ["", "missing", "crc", "reset", "stuck", "stuck", "air", "", ""]
    rows = "\n".join(f"{t_s},{20 if t_s < 5 else 30},20,10,{fault}" for t_s, fault in enumerate(faults))
    stage, _ = _play(tmp_path, rows)
    middles = {int(at_s): (raw_c, fault) for at_s, raw_c, fault in stage.seen if at_s % 1 == 0.5}
    assert middles[0] == (20.0, None)
    assert [middles[s][1] for s in (1, 2, 3, 4, 5, 6, 7)] == ["missing", "crc", "reset", None, None, None, None]
    assert [middles[s][0] for s in (3, 4, 5)] == [85.0, 20.0, 20.0]
    in_air_c = middles[6][0]
    assert in_air_c is not None
    assert 29.8 < in_air_c < 30.0
    assert middles[7][0] == 30.0


def test_the_hand_lifts_a_probe_and_dips_it(tmp_path: Path) -> None:
    """By lines in a FIFO while the trace plays; each is said, a line that is none is said and moves nothing."""
    said: list[str] = []
    player = RigPlayer(tmp_path, load_trace(b"t_s,developer_c,bath_c,room_c\n0,20,20,6\n80,20,20,6\n"), QUIET, said.append)
    stage = Stage(tmp_path)
    writes = {5: "lift developer\n", 35: "dip developer\nlift room\n", 40: "lift\nhe", 41: "llo\n\xff\n", 45: "lift bath\n"}

    def wait(seconds: float) -> bool:
        text = writes.pop(int(stage.now_s - 1000.0), None)
        if text is not None:
            with (tmp_path / "hand").open("w") as hand:
                hand.write(text)
        return stage.wait(seconds)

    assert player.play(1.0, stage.clock, wait)
    player.close()
    player.close()
    read = {int(at_s): raw_c for at_s, raw_c, _ in stage.seen if at_s % 1 == 0.5}
    assert read[4] == read[40] == read[70] == 20.0
    assert read[34] is not None
    assert read[34] < 18.0
    bath_c = stage.bus.read(PROBE_IDS["bath"]).raw_c
    assert bath_c is not None
    assert bath_c < 18.0
    assert [line for line in said if "allowed" not in line] == [
        "the developer probe is in the air", "the developer probe is back in its liquid", "the bath probe is in the air",
    ]  # fmt: skip
    assert len([line for line in said if line.startswith(f"{tmp_path / 'hand'}: ") and "allowed" in line]) == 4


def test_a_file_in_the_place_of_the_hand_is_refused(tmp_path: Path) -> None:
    """It is left as it is."""
    (tmp_path / "hand").write_text("mine")
    with pytest.raises(HardwareConfig, match="not a FIFO"):
        RigPlayer(tmp_path, load_trace(b"t_s,developer_c,bath_c\n0,20,20\n"), QUIET)
    assert (tmp_path / "hand").read_text() == "mine"


def test_a_rig_s_folder_is_used_again(tmp_path: Path) -> None:
    """A second trace without a room takes the room's probe away; a stranger's probe stays."""
    _play(tmp_path, "0,20,20,10,\n1,20,20,10,")
    (tmp_path / "w1" / "28-0316a2795f3c").mkdir()
    stage, _ = _play(tmp_path, "0,21,20\n1,21,20", columns="t_s,developer_c,bath_c")
    assert stage.bus.ids() == (PROBE_IDS["developer"], PROBE_IDS["bath"], "28-0316a2795f3c")


@pytest.fixture
def panel(tmp_path: Path) -> Iterator[RigPanel]:
    """A rig's panel in a folder of its own, on the machine's clock."""
    made = RigPanel(tmp_path, CONFIG, time.monotonic)
    yield made
    made.close()


def _edges(directory: Path) -> list[tuple[str, bool]]:
    return [(edge["output"], edge["on"]) for edge in map(json.loads, (directory / "panel.jsonl").read_text().splitlines())]


def test_every_edge_of_an_output_is_a_line_stamped_as_it_happens(panel: RigPanel, tmp_path: Path) -> None:
    """Each edge is in the file when `set` returns, between a look at the clock before and one after; the same level again is none."""
    before_s = time.monotonic()
    panel.sounder.set(True)
    after_s = time.monotonic()
    line = json.loads((tmp_path / "panel.jsonl").read_text())
    assert line.keys() == {"mono_s", "output", "on"}
    assert before_s <= line["mono_s"] <= after_s
    panel.sounder.set(True)
    panel.sounder.set(False)
    panel.open_lamp().set(True)
    panel.close()
    panel.close()
    assert _edges(tmp_path) == [("sounder", True), ("sounder", False), ("lamp", True), ("lamp", False)]


def test_a_station_that_starts_again_adds_to_the_file(panel: RigPanel, tmp_path: Path) -> None:
    """Edges of before a restart are kept."""
    panel.sounder.set(True)
    panel.close()
    again = RigPanel(tmp_path, CONFIG, time.monotonic)
    again.sounder.set(True)
    again.close()
    assert _edges(tmp_path) == [("sounder", True), ("sounder", False)] * 2


def test_the_fifo_moves_the_switch_whoever_writes(panel: RigPanel, tmp_path: Path) -> None:
    """Writers come and go, lines come in pieces and with rubbish between; each `down` and `up` is an edge."""
    edges: list[bool] = []
    enough = threading.Semaphore(0)

    def heard(_: float, down: bool) -> None:
        edges.append(down)
        enough.release()

    assert panel.switch is not None
    panel.switch.listen(heard)
    for text in ("down\n", "up\n", "do", "wn\nhello\n\xff\n\n", "up\r\ndown\nup\n"):
        with (tmp_path / "switch").open("w") as fifo:
            fifo.write(text)
    assert all(enough.acquire(timeout=10) for _ in range(6))
    assert edges == [True, False] * 3
    assert not select.select([panel._feet[0]._fifo], [], [], 0)[0]  # no writer is no end of the file, or the reader would spin
    assert panel.alive()
    panel.close()
    assert not panel.alive()


def test_without_a_switch_the_fifo_takes_lines_and_moves_nothing(tmp_path: Path) -> None:
    """The FIFO is there all the same, so that no writer hangs."""
    panel = RigPanel(tmp_path, PanelConfig("lgpio", "GPIO18"), time.monotonic)
    (tmp_path / "switch").write_text("down\nup\n")
    assert panel.switch is None
    assert panel.alive()
    panel.close()


def test_the_lamp_s_pin_is_untouched_in_the_rig_too(panel: RigPanel, tmp_path: Path) -> None:
    """Without `open_lamp` no line of the lamp is ever written."""
    for _ in range(3):
        panel.sounder.set(True)
        panel.sounder.set(False)
    panel.close()
    assert {output for output, _ in _edges(tmp_path)} == {"sounder"}


def test_a_file_that_takes_no_more_never_stops_the_sound(tmp_path: Path) -> None:
    """A full disk loses lines of the observer, not the edge itself."""
    (tmp_path / "panel.jsonl").symlink_to("/dev/full")
    panel = RigPanel(tmp_path, CONFIG, time.monotonic)
    panel.sounder.set(True)
    panel.sounder.set(False)
    panel.close()


def test_something_else_in_the_fifo_s_place_is_refused(tmp_path: Path) -> None:
    """A plain file called `switch` is not overwritten, and no thread stays behind."""
    threads = threading.active_count()
    (tmp_path / "switch").write_text("mine")
    with pytest.raises(HardwareConfig, match="not a FIFO"):
        RigPanel(tmp_path, CONFIG, time.monotonic)
    assert threading.active_count() == threads
    assert (tmp_path / "switch").read_text() == "mine"


def test_no_descriptor_is_left_open(tmp_path: Path) -> None:
    """Ten panels opened and closed leave as many open files as before."""

    def count() -> int:
        return sum(1 for _ in Path("/proc/self/fd").iterdir())

    RigPanel(tmp_path, CONFIG, time.monotonic).close()
    before = count()
    for _ in range(10):
        RigPanel(tmp_path, CONFIG, time.monotonic).close()
    assert count() == before
    assert os.path.exists(tmp_path / "switch")  # noqa: PTH110 - a FIFO must not be opened


def test_a_passive_sounder_and_a_vibrator_have_their_edges_on_the_rig_too(tmp_path: Path) -> None:
    """A tone counts as on; its single pulses are no edges."""
    panel = RigPanel(tmp_path, replace(CONFIG, tone_hz=1000.0, vibrator="GPIO25"), time.monotonic)
    assert panel.vibrator is not None
    panel.sounder.set(True)
    panel.vibrator.set(True)
    panel.sounder.set(False)
    panel.close()
    assert _edges(tmp_path) == [("sounder", True), ("vibrator", True), ("sounder", False), ("vibrator", False)]


def test_a_second_vessel_has_its_own_foot_and_sounder_on_the_rig(tmp_path: Path) -> None:
    """Lines in DIR/switch_2 press the second switch, and the second sounder's edges have its name."""
    config = PanelConfig("lgpio", "GPIO18", switch="GPIO24", switch_2="GPIO17", sounder_2="GPIO27")
    panel = RigPanel(tmp_path, config, time.monotonic)
    try:
        heard: queue.SimpleQueue[bool] = queue.SimpleQueue()
        assert panel.switch_2 is not None
        assert panel.sounder_2 is not None
        panel.switch_2.listen(lambda _, down: heard.put(down))
        (tmp_path / "switch_2").write_text("down\nup\n")
        assert [heard.get(timeout=5), heard.get(timeout=5)] == [True, False]
        panel.sounder_2.set(True)
        assert json.loads((tmp_path / "panel.jsonl").read_text().splitlines()[-1])["output"] == "sounder_2"
    finally:
        panel.close()


def test_the_second_vessel_s_liquid_has_its_own_probe_on_the_rig(tmp_path: Path) -> None:
    """It follows developer_2_c with the developer's lag, its noise is its own, and its fault too."""
    text = b"t_s,developer_c,bath_c,developer_2_c,developer_2_fault\n0,20,20,25,\n10,20,20,25,missing\n"
    probes = SimulatedProbes(load_trace(text), ProbeOptions(noise_c=0.0))
    assert probes.sample("developer_2", 5.0).raw_c == 25.0
    assert probes.sample("developer_2", 11.0).fault == "missing"
    assert probes.sample("developer", 11.0).raw_c == 20.0
