"""`evenbath status`: the session, each probe with age and quality, and words that promise nothing."""

import json
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from monitor.cli.main import main
from monitor.cli.status import lines
from monitor.core.probes.learned import ProbeLag
from monitor.prepare.probes.learned_store import save_probe_lag
from tests.cli.rigged import IDS, LONG, Rigged


@pytest.fixture
def rigged(tmp_path: Path) -> Iterator[Rigged]:
    """A station that runs."""
    rigged = Rigged(tmp_path)
    rigged.start()
    yield rigged
    rigged.kill()


def test_one_object_with_session_probes_source_and_space(rigged: Rigged) -> None:
    """Numbers not rounded, units in the names."""
    words = ("status", "--file", str(rigged.file), "--json")
    rigged.wait(lambda: json.loads(rigged.run(*words).stdout)["probes"][0]["quality"] == "good")
    idle = json.loads(rigged.run(*words).stdout)
    assert idle["session"] is None
    name = rigged.arm(LONG)
    rigged.hold(name)
    seen = json.loads(rigged.run(*words).stdout)
    assert seen["session"] == name
    assert seen["view"]["stage"] == 1
    assert seen["source"] == seen["view"]["source"]
    assert seen["free_bytes"] > 0
    jug = next(p for p in seen["probes"] if p["probe"] == "jug")
    assert (jug["celsius"], jug["role"]) == (20.25, "developer")
    assert 0 <= jug["age_s"] < 3


def test_in_words_every_temperature_has_age_and_limit(rigged: Rigged) -> None:
    """And nothing is called OK or compensated."""
    rigged.wait(lambda: "20.25 C" in rigged.run("status", "--file", str(rigged.file)).stdout)
    text = rigged.run("status", "--file", str(rigged.file)).stdout
    for line in text.splitlines():
        if " C" in line:
            assert "s ago" in line or "just read" in line or "never read" in line
            assert "+/-" in line or "compared" in line
    assert "OK" not in text
    assert "compensated" not in text


def test_its_words_fit_the_terminal(rigged: Rigged, monkeypatch: pytest.MonkeyPatch) -> None:
    """Folded to the width, nothing lost; without a width a line for each fact."""
    rigged.wait(lambda: "20.25 C" in rigged.run("status", "--file", str(rigged.file)).stdout)
    whole = rigged.run("status", "--file", str(rigged.file)).stdout
    assert max(map(len, whole.splitlines())) > 44
    monkeypatch.setenv("COLUMNS", "44")
    fitted = rigged.run("status", "--file", str(rigged.file)).stdout
    assert max(map(len, fitted.splitlines())) <= 44


def test_a_bad_reading_is_told_without_a_number() -> None:
    """Missing is missing."""
    probe = {"probe": "jug", "role": "developer", "celsius": None, "quality": "crc", "age_s": 1.0, "good_age_s": 7.0, "compared": False}
    answer = {
        "station": "laundry", "version": "1", "session": None, "recipe": None, "view": None, "probes": [probe], "free_bytes": None,
        "throttled": 5, "switch": False, "wall_set": True, "broker": "away", "unsafe_records": 9,
    }  # fmt: skip
    text = "\n".join(lines(answer))
    assert "(crc), 1 s ago, last good one 7 s ago" in text
    sound = {**probe, "celsius": 20.0, "quality": "good", "step_c": 0.0625}
    told = "\n".join(lines({**answer, "probes": [sound, {**sound, "probe": "bowl", "step_c": 0.25}, {**sound, "step_c": None}]}))
    assert told.count("in steps of") == 1
    assert "bowl (developer): 20.00 C, 1 s ago, not compared, +/- 0.58 C, in steps of 0.25 C" in told
    ice = "\n".join(lines({**answer, "probes": [{**sound, "compared": True, "comparison_sd_c": 0.09}, {**sound, "comparison_sd_c": 0.35}]}))
    assert "jug (developer): 20.00 C, 1 s ago, compared, +/- 0.18 C\n" in ice
    assert "jug (developer): 20.00 C, 1 s ago, not compared, +/- 0.70 C\n" in ice
    assert "0x5" in text
    assert "no longer arrive" in text
    assert "9 records wait" in text


def test_the_time_of_a_stage_is_that_of_its_own_clock() -> None:
    """Not the session's; with the doubt of the end where it is steered, and of a least time that it is one."""
    view = {
        "stage": 2, "stages": 6, "name": "develop", "role": "develop", "until": "time", "t_s": 25.4, "began_s": 19.0, "end_t_s": 120.0,
        "end_sd_s": 1.5, "target_ref_s": 120.0, "steered": True, "developer_c": None, "source": "held", "compared": True, "lost": {},
        "gate": "none", "now_s": 105.0,
    }  # fmt: skip
    answer: dict[str, Any] = {
        "station": "laundry", "version": "1", "session": "x", "recipe": "y", "view": view, "probes": [], "free_bytes": None,
        "wall_set": True, "broker": "none",
    }  # fmt: skip
    assert "  stage 2 of 6, develop: 1:20 to POUR OFF; 0:06 in develop; end at 1:41 of it +/- 3 s" in list(lines(answer))
    now = {**view, "t_s": 106.0}
    assert any(": NOW: POUR OFF; 1:27 in develop" in line for line in lines({**answer, "view": now}))
    sheet = {**view, "sheet": 3}
    assert any("develop, sheet 3: 1:20 to LIFT IT" in line for line in lines({**answer, "view": sheet}))
    blind = {**view, "source": "clock"}
    assert any("end between 1:38 and 1:44 of it, counted 1:41: nothing measured" in line for line in lines({**answer, "view": blind}))
    fix = {**view, "name": "fix", "role": "fix", "until": "at least", "steered": False}
    assert "  stage 2 of 6, fix: 0:06 in fix; minimum over at 1:41 of it" in list(lines({**answer, "view": fix}))
    load = {**view, "name": "load", "role": "load", "until": "at least", "steered": False, "target_ref_s": 0.0}
    assert any("no clock" in line for line in lines({**answer, "view": load}))


def test_a_developer_outside_the_recipes_data_is_told_in_the_words_of_the_view() -> None:
    """As long as the session says so."""
    view = {
        "stage": 1, "stages": 3, "name": "develop", "role": "develop", "until": "time", "t_s": 25.0, "began_s": 0.0, "end_t_s": 120.0,
        "developer_c": 12.5, "source": "developer", "compared": True, "lost": {}, "gate": "none", "steered": True,
    }  # fmt: skip
    answer: dict[str, Any] = {
        "station": "laundry", "version": "1", "session": "x", "recipe": "y", "view": view, "probes": [], "free_bytes": 900 << 20,
        "wall_set": True, "broker": "none",
    }  # fmt: skip
    assert "data" not in "\n".join(lines(answer))
    said = "the recipe's data go from 16 C to 24 C; outside them the rate is three times as uncertain"
    assert f"  outside data: {said}" in list(lines({**answer, "view": {**view, "outside_data": said}}))


def test_what_is_to_be_known_of_a_probe_stands_below_the_developer() -> None:
    """It counts in part, it is not believed though nothing hangs on it, or two are exchanged: these are named by where they hang."""
    view = {
        "stage": 1, "stages": 2, "name": "develop", "role": "develop", "until": "time", "t_s": 25.4, "began_s": 19.0, "end_t_s": 120.0,
        "end_sd_s": 1.5, "target_ref_s": 120.0, "steered": True, "developer_c": None, "source": "developer", "compared": True, "lost": {},
        "gate": "none", "now_s": 105.0, "exchanged": ["jug", "bowl"],
        "doubts": {
            "bowl": "in part only: bath and vessel's lag put the developer 0.3 C below what this probe reads",
            "jug": "the developer does not follow it: it reads 4.0 C below its bath",
        },
    }  # fmt: skip
    probes = [{"probe": name, "role": role, "quality": None} for name, role in (("jug", "developer"), ("bowl", "bath"), ("wall", "room"))]
    answer: dict[str, Any] = {
        "station": "laundry", "version": "1", "session": "x", "recipe": "y", "view": view, "probes": probes, "free_bytes": None,
        "wall_set": True, "broker": "none",
    }  # fmt: skip
    said = list(lines(answer))
    assert "  jug and bowl are exchanged: each is taken for the other; leave them" in said
    assert "  bowl counts in part: the bath speaks against it" in said
    assert "  jug NOT believed: it reads 4.0 C below its bath; put it back into the bath" in said
    assert [line for line in said if line.endswith("no reading yet")] == [
        "  jug (exchanged: bath): no reading yet", "  bowl (exchanged: developer): no reading yet", "  wall (room): no reading yet",
    ]  # fmt: skip


def test_of_the_machine_only_what_is_wrong_is_told() -> None:
    """Disk, supply, switch, clock and broker are silent while they are well."""
    well: dict[str, Any] = {
        "station": "laundry", "version": "1", "session": None, "recipe": None, "view": None, "probes": [], "free_bytes": 900 << 20,
        "throttled": 0, "switch": True, "switch_lost_edges": 0, "wall_set": True, "broker": "there", "unsafe_records": 2,
    }  # fmt: skip
    assert list(lines(well)) == ["station laundry 1: no session"]
    for key, value, said in (
        ("free_bytes", 3 << 20, "disk: 3 MiB free"),
        ("free_bytes", None, "disk: free space not known"),
        ("unsafe_records", 9, "9 records wait to be written"),
        ("throttled", 5, "supply: the board says 0x5"),
        ("switch", False, "foot switch: its edges no longer arrive"),
        ("switch_lost_edges", 2, "2 edges lost"),
        ("wall_set", False, "wall clock: not set"),
        ("broker", "away", "broker: not connected"),
    ):
        told = list(lines({**well, key: value}))
        assert len(told) == 2
        assert said in told[1]


def test_without_a_station_it_is_status_3(tmp_path: Path) -> None:
    """One line."""
    done = Rigged(tmp_path).run("status", "--file", str(tmp_path / "station.toml"))
    assert done.returncode == 3
    assert len(done.stderr.splitlines()) == 1


def test_follow_shows_the_view_again_and_says_at_the_end_what_became_of_it(rigged: Rigged) -> None:
    """Into a pipe: what has been, what comes, summary, journal and the next command; without a session it is refused."""
    words = ("status", "--follow", "--file", str(rigged.file))
    idle = rigged.run(*words)
    assert idle.returncode == 2
    assert "no session is running" in idle.stderr
    assert rigged.run(*words, "--json").returncode == 2
    name = rigged.arm(LONG)
    rigged.hold(name)
    with subprocess.Popen(rigged.command(*words), stdout=subprocess.PIPE, stdin=subprocess.DEVNULL, text=True) as follower:
        assert follower.stdout is not None
        seen = ""
        while "DEVELOP begins" not in seen:
            seen += follower.stdout.readline()
        rigged.run("abandon", "--file", str(rigged.file), "--why", "seen enough")
        seen += follower.stdout.read()
    assert follower.returncode == 0
    assert f"session {name} is over: seen enough" in seen
    assert f"Journal: {rigged.journal(name)}" in seen


def test_what_a_session_told_of_a_lag_is_said_by_status_and_before_the_next_film(tmp_path: Path) -> None:
    """By a real station, beside what was measured; once it is adopted it is no news any more."""
    rigged = Rigged(tmp_path)
    save_probe_lag(rigged.state, ProbeLag("jug", IDS["jug"], 8.0, 0.2, "2026-03-01"))
    save_probe_lag(rigged.state, ProbeLag("jug", IDS["jug"], 11.0, 1.0, "2026-11-20", "20261120-1900"))
    rigged.start()
    try:
        rigged.wait(lambda: "20.25 C" in rigged.run("status", "--file", str(rigged.file)).stdout)
        adopt = f"evenbath lag --file {rigged.file} --probe jug --adopt"
        offer = f"11.0 +/- 2.0 s fitted in session 20261120-1900 on 2026-11-20; to adopt that: {adopt}"
        said = f"lag of jug: 8.0 +/- 0.4 s, measured on 2026-03-01; that stands. {offer}"
        assert said in rigged.run("status", "--file", str(rigged.file)).stdout
        assert said in rigged.develop().stderr
        assert rigged.run("abandon", "--file", str(rigged.file), "--why", "enough").returncode == 0
        assert main(adopt.split()[1:]) == 0
        rigged.wait(lambda: "11.0 +/- 2.0 s, adopted on" in rigged.run("status", "--file", str(rigged.file)).stdout)
        assert "lag of jug" not in rigged.develop().stderr
    finally:
        rigged.kill()
