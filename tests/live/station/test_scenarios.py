"""Acceptance scenarios 6 and 7 of the project's practice, section 8, through a whole station in simulated time."""

from pathlib import Path

import pytest

from tests.live.simulated import BOWL, JUG, World
from tests.live.station.storm import LIDDED, TRAY

ROLL = LIDDED.replace('[[stage]]\nname = "presoak"\nrole = "presoak"\ntime = "2:00"\n', "")


def liquids(world_begin_s: float = 1000.0) -> dict[str, object]:
    """Session (a): a bowl that falls, a witness of it that falls more slowly."""
    return {JUG: lambda t: 20.5 - (t - world_begin_s) / 600, BOWL: lambda t: 20.5 - (t - world_begin_s) / 260}


def begun(folder: Path, recipe: str = ROLL) -> tuple[World, str]:
    """Armed and begun."""
    folder.mkdir()
    world = World(folder, liquids())  # type: ignore[arg-type]
    world.go(10)
    name = world.develop(recipe)
    world.go(5)
    world.press(1.2)
    return world, name


def now_s(world: World, name: str) -> float:
    """When NOW of the development was first heard."""
    world.go_until(lambda: bool(world.records(name, "cue", cue="now")))
    return float(world.records(name, "cue", cue="now")[0]["t_s"])


@pytest.fixture(scope="module")
def calm_now_s(tmp_path_factory: pytest.TempPathFactory) -> float:
    """NOW of the undisturbed session."""
    return now_s(*begun(tmp_path_factory.mktemp("calm") / "state"))


def test_scenario_7_a_kill_at_five_minutes(tmp_path: Path, calm_now_s: float) -> None:
    """Ticks are back within 3 s, NOW within 0.2 s of the plan."""
    world, name = begun(tmp_path / "state")
    world.go(298.7)
    world.write()
    world.life()
    world.go(12)
    resume_s = world.records(name, "session", event="resume")[0]["t_s"]
    begin_s = world.records(name, "stage", stage=1, event="begin")[0]["t_s"]
    ticks = [t["t_s"] for t in world.records(name, "cue", cue="tick") if t["t_s"] > resume_s]
    assert ticks
    assert ticks[0] - resume_s < 3.0
    assert all((t - begin_s) % 1 == pytest.approx(0, abs=0.01) or (t - begin_s) % 1 == pytest.approx(1, abs=0.01) for t in ticks)
    assert abs(now_s(world, name) - calm_now_s) <= 0.2


def test_scenario_7_wall_clock_disk_and_network_change_nothing(tmp_path: Path, calm_now_s: float) -> None:
    """An hour forward, two back, a card that takes nothing for four minutes."""
    world, name = begun(tmp_path / "state")
    world.go(100)
    world.clock.step_wall(3600)
    world.go(60)
    world.clock.step_wall(-7200)
    world.disk.broken = True
    world.go(240)
    world.disk.broken = False
    world.go(5)
    assert abs(now_s(world, name) - calm_now_s) <= 0.2
    seqs = [r["seq"] for r in world.records(name)]
    assert seqs == list(range(1, len(seqs) + 1))


def test_scenario_7_a_power_cut_of_twenty_seconds(tmp_path: Path) -> None:
    """FAULT within 5 s, then earliest and latest, with the undisturbed end between them."""
    world, name = begun(tmp_path / "state")
    world.go(300)
    world.write()
    undisturbed_s = world.records(name, "progress")[-1]["end_t_s"]
    world.clock.reboot(20.0, "boot-2")
    world.life()
    boot_s = world.clock.mono_s()
    world.go_until(lambda: bool(world.records(name, "cue", cue="fault")), 10.0)
    assert world.clock.mono_s() - boot_s <= 5.0
    world.go(10)
    last = world.records(name, "progress")[-1]
    assert last["earliest_end_t_s"] <= undisturbed_s <= last["latest_end_t_s"]
    assert world.ask(verb="status")["view"]["spread_s"] > 0


@pytest.mark.parametrize("power", [False, True], ids=["killed", "power cut"])
def test_scenario_6_dark_means_dark(tmp_path: Path, power: bool) -> None:
    """A fault, a crash, a power cut at minute four, somebody asking for light: no lamp is ever opened."""
    world, name = begun(tmp_path / "state", TRAY)
    world.bus.faults[JUG] = "crc"
    world.go(240)
    world.write()
    assert world.panel.lamp is None
    assert world.ask(verb="develop", recipe=ROLL, file="r", waive="light, please", lamp=True)["status"] == 2
    if power:
        world.clock.reboot(20.0, "boot-2")
    world.life()
    world.go(120)
    assert world.station.running is not None
    assert world.station.running.name == name
    assert world.panel.lamp is None
    assert world.station.sessions.mishaps == []
