"""What a session has told of a lag: kept for that probe, said before the next film, adopted by a person; and where it cannot be stored."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest

from monitor.cli.main import main
from monitor.cli.status import lines
from monitor.core.development.replay import RERUN_S
from monitor.core.journal.summary import Summary
from monitor.core.probes.learned import Comparison, ComparisonPoint, Learned, ProbeLag, VesselLag
from monitor.live.clock import RealClock
from monitor.live.inbox import Inbox, Trouble
from monitor.live.station.keeper import LAGS, Keeper
from monitor.prepare.probes.learned_store import load_learned, save_comparison, save_probe_lag, save_vessel_lag
from tests.live.simulated import BOWL, JUG, SHORT, World

TRUE_S = 20.0
LONG = SHORT.replace('"2:00"', '"9:00"')


class Dipped:
    """A station whose developer probe comes from the bench, 5 C colder, and has another lag than the 8 s of the station file."""

    def __init__(self, state: Path, *, kept: Learned | None = None) -> None:
        self.dipped_s, self.lag_s = math.inf, TRUE_S
        self.world = World(state, {JUG: self.read, BOWL: lambda t: 20.0}, learned=kept)
        self.world.go(10)

    def read(self, t_s: float) -> float:
        """What it says."""
        return 20.0 - 5.0 * math.exp(-max(t_s - self.dipped_s, 0.0) / self.lag_s)

    def begin(self, **more: Any) -> str:
        """Arm and begin."""
        world = self.world
        name = world.develop(LONG, **more)
        world.go(2)
        self.dipped_s = world.clock.mono_s() + 1.0
        world.press(1.2)
        world.go(RERUN_S[-1] + 5.0)
        return name

    def end(self, name: str) -> None:
        """It is ended, and the keeper has had its turn."""
        self.world.ask(verb="abandon", why="enough")
        self.world.go(11)
        self.dipped_s = math.inf
        assert self.world.station.sessions.mishaps == []
        assert self.world.records(name)[-1]["event"] == "close"

    def session(self, **more: Any) -> str:
        """One, from arming to its close."""
        name = self.begin(**more)
        self.end(name)
        return name

    def told(self, name: str) -> dict[str, Any]:
        """The one `learned` record of a session."""
        (found,) = self.world.records(name, "learned")
        return found

    def status(self) -> list[str]:
        """What `status` says."""
        return list(lines(self.world.ask(verb="status")))

    def remarks(self) -> list[str]:
        """What the next pre-flight says; nothing is armed."""
        world = self.world
        answer = world.ask(verb="develop", recipe=SHORT, file="recipe.toml")
        world.hang_up()
        return [str(remark) for remark in answer["remarks"]]


def test_a_lag_that_nobody_measured_counts_for_its_probe_from_the_next_session_on(tmp_path: Path) -> None:
    """It is said at the close, by status and before the next film, with its day and session; the next one begins with it and its doubt."""
    dipped = Dipped(tmp_path)
    name = dipped.session()
    told = dipped.told(name)
    assert told["lag_s"] == pytest.approx(TRUE_S, rel=0.15)
    assert told["use"] == "next"
    summary = Summary()
    for record in dipped.world.records(name):
        summary.add(record)
    assert any("that is to count for it from the next session on" in line for line in summary.lines())
    kept = load_learned(tmp_path).probe_lag("jug", JUG)
    assert kept is not None
    assert len((tmp_path / "learned" / "probe_lags.jsonl").read_text().splitlines()) == 1, "stored once"
    assert (kept.lag_s, kept.session, kept.id, kept.date) == (told["lag_s"], name, JUG, "2026-11-25")
    said = f"lag of jug: {kept.lag_s:.1f} +/- {2 * kept.sd_s:.1f} s, learned on 2026-11-25 from session {name}"
    assert f"  {said}" in dipped.status()
    assert said in dipped.remarks()
    second = dipped.session()
    opening = dipped.world.records(second)[0]
    jug = next(p for p in opening["probes"] if p["probe"] == "jug")
    assert (jug["lag_s"], jug["lag_from"]) == (kept.lag_s, "session")
    assert jug["lag_log_sd"] == pytest.approx(max(0.15, kept.sd_s / kept.lag_s))
    assert dipped.world.records(second, "learned") == []


def test_a_measured_lag_stands_and_the_session_s_is_offered(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Until a person adopts it, by the command that is told; a dip after that goes before both."""
    save_probe_lag(tmp_path, ProbeLag("jug", None, 8.0, 0.1, "2026-03-01"))
    dipped = Dipped(tmp_path)
    name = dipped.session()
    told = dipped.told(name)
    assert told["use"] == "offered"
    assert load_learned(tmp_path).probe_lag("jug", JUG) == ProbeLag("jug", None, 8.0, 0.1, "2026-03-01")
    adopt = "evenbath lag --file station.toml --probe jug --adopt"
    (said,) = [line for line in dipped.status() if "lag of jug" in line]
    assert said.startswith("  lag of jug: 8.0 +/- 0.2 s, measured on 2026-03-01; that stands. ")
    assert said.endswith(f"in session {name} on 2026-11-25; to adopt that: {adopt}")
    assert said.strip() in dipped.remarks()
    second = dipped.session()
    jug = next(p for p in dipped.world.records(second)[0]["probes"] if p["probe"] == "jug")
    assert (jug["lag_s"], jug["lag_from"]) == (8.0, "measured")
    assert main(["lag", "--state", str(tmp_path), "--probe", "jug", "--adopt"]) == 0
    assert f"as session {second} told it, counts from now on" in capsys.readouterr().out
    adopted = load_learned(tmp_path).probe_lag("jug", JUG)
    assert adopted is not None
    assert (adopted.session, adopted.by_person) == (second, True)
    dipped.world.go(11)
    assert "adopt that" not in "".join(dipped.status())
    save_probe_lag(tmp_path, ProbeLag("jug", None, 9.0, 0.1, "2026-12-01"))
    assert load_learned(tmp_path).probe_lag("jug", JUG) == ProbeLag("jug", None, 9.0, 0.1, "2026-12-01")
    assert load_learned(tmp_path).offered_probe_lag("jug", JUG) is None


def test_nothing_is_kept_of_a_rehearsal(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It says what it found, and no more; nor can that be adopted from its journal."""
    dipped = Dipped(tmp_path)
    name = dipped.session(rehearsal=True)
    told = dipped.told(name)
    assert "use" not in told
    assert not (tmp_path / "learned").exists()
    assert main(["lag", str(dipped.world.journal(name)), "--state", str(tmp_path), "--probe", "jug", "--adopt"]) == 2
    assert "a rehearsal" in capsys.readouterr().err


def test_a_session_that_was_taken_up_again_keeps_what_it_learned(tmp_path: Path) -> None:
    """What its probe's lag was taken to be, and where from, is in the journal."""
    save_probe_lag(tmp_path, ProbeLag("jug", None, 8.0, 0.1, "2026-03-01"))
    dipped = Dipped(tmp_path)
    name = dipped.begin()
    dipped.world.write()
    dipped.world.life()
    dipped.world.go(5)
    dipped.end(name)
    assert dipped.told(name)["use"] == "offered"
    offered = load_learned(tmp_path).offered_probe_lag("jug", JUG)
    assert offered is not None
    assert (offered.session, offered.lag_s) == (name, dipped.told(name)["lag_s"])


def test_a_lag_that_cannot_be_stored_is_said_and_tried_again(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A link in the folder's place is not followed; the film is none the worse; once the link is gone the lag is there. Until then it can
    be adopted from the journal."""
    elsewhere, state = tmp_path / "elsewhere", tmp_path / "state"
    elsewhere.mkdir()
    dipped = Dipped(state)
    name = dipped.begin()
    (state / "learned").symlink_to(elsewhere)
    dipped.end(name)
    assert list(elsewhere.iterdir()) == []
    assert any("cannot be stored" in line and "tried again" in line for line in dipped.status())
    assert any("cannot be stored" in line for line in dipped.world.said)
    assert any("cannot be stored" in line for line in dipped.remarks())
    (state / "learned").unlink()
    words = ["lag", str(dipped.world.journal(name)), "--state", str(state), "--probe", "jug", "--adopt", "--json"]
    assert main(words) == 0
    assert json.loads(capsys.readouterr().out)["lag_s"] == dipped.told(name)["lag_s"]
    (state / "learned" / "probe_lags.jsonl").unlink()
    dipped.world.go(21)
    kept = load_learned(state).probe_lag("jug", JUG)
    assert kept is not None
    assert kept.session == name
    assert not any("cannot be stored" in line for line in dipped.status())


def test_a_false_lag_of_the_vessel_is_offered_and_never_adopted_by_itself(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """360 s learned; the developer nears a bath 3 C warmer in 160 s."""
    save_vessel_lag(tmp_path, VesselLag("lidded tank", 360.0, 7.0, "bath", "2026-03-01", 500.0))
    liquids = {JUG: lambda t: 22.0 - 3.0 * math.exp(-max(t - 1010.0, 0.0) / 160.0), BOWL: lambda t: 22.0 + 0.0625 * (t % 7 < 1)}
    world = World(tmp_path, liquids)
    world.go(10)
    name = world.develop(LONG)
    world.go(1)
    world.press(1.2)
    world.go(400)
    world.ask(verb="abandon", why="enough")
    world.go(11)
    (told,) = world.records(name, "learned")
    assert (told["probe"], told["use"]) == (None, "offered")
    measured = VesselLag("lidded tank", 360.0, 7.0, "bath", "2026-03-01", 500.0)
    assert load_learned(tmp_path).vessel_lag("lidded tank") == measured
    adopt = "evenbath lag --file station.toml --vessel 'lidded tank' --adopt"
    assert any(line.endswith(f"to adopt that: {adopt}") for line in lines(world.ask(verb="status")))
    second = world.develop(LONG)
    assert world.records(second)[0]["vessel"]["lag_s"] == 360.0
    assert main(["lag", "--state", str(tmp_path), "--vessel", "lidded tank", "--adopt"]) == 0
    assert f"as session {name} told it" in capsys.readouterr().out
    adopted = load_learned(tmp_path).vessel_lag("lidded tank")
    assert adopted is not None
    assert adopted.lag_s == pytest.approx(160.0, rel=0.15)
    assert main(["lag", "--state", str(tmp_path), "--vessel", "lidded tank", "--adopt"]) == 2
    assert "no session has told a lag of lidded tank" in capsys.readouterr().err


def test_the_keeper_stores_as_its_last_act_and_waits_for_no_full_disk(tmp_path: Path) -> None:
    """A station that is ended right after a session loses nothing; a disk that takes nothing is told once."""
    inbox, stored = Inbox(), list[ProbeLag | VesselLag]()
    lag = ProbeLag("jug", JUG, 11.0, 1.0, "2026-11-20", "20261120-1900")
    keeper = Keeper(RealClock(), tmp_path, inbox.put, store=stored.append)
    keeper.keep(lag)
    keeper.stop()
    keeper.start()
    keeper.stop()
    assert stored == [lag]

    def full(_: ProbeLag | VesselLag) -> None:
        raise OSError(28, "No space left on device")

    posted: list[object] = []
    keeper = Keeper(RealClock(), tmp_path, posted.append, store=full)
    keeper.keep(lag)
    keeper.step()
    keeper.step()
    (trouble,) = [m for m in posted if isinstance(m, Trouble)]
    assert (trouble.part, trouble.well) == (LAGS, False)
    assert "No space left on device" in trouble.why


def test_what_is_learned_while_a_film_runs_counts_after_it(tmp_path: Path) -> None:
    """A film goes on with what it began with; status knows it as soon as the film is over, without another start."""
    dipped = Dipped(tmp_path)
    world = dipped.world
    world.develop(LONG)
    world.go(3)
    points = (ComparisonPoint(20.0, 1.0, 0.01),)
    save_comparison(tmp_path, Comparison("jug", JUG, 20.0, 1.0, 0.0, 0.01, 0.0, "glass", 0.05, "Ann", "2026-11-25", points))
    world.go(22)
    assert world.ask(verb="status")["probes"][0]["celsius"] == 15.0
    world.ask(verb="abandon", why="enough")
    world.go(3)
    assert world.ask(verb="status")["probes"][0]["celsius"] == 14.0
