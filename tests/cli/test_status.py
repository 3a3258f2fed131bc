"""`evenbath status`: the session, each probe with age and quality, and words that promise nothing."""

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.cli.status import lines
from tests.cli.rigged import LONG, Rigged


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


def test_a_bad_reading_is_told_without_a_number() -> None:
    """Missing is missing."""
    probe = {"probe": "jug", "role": "developer", "celsius": None, "quality": "crc", "age_s": 1.0, "good_age_s": 7.0, "compared": False}
    answer = {
        "station": "laundry", "version": "1", "session": None, "recipe": None, "view": None, "probes": [probe], "free_bytes": None,
        "throttled": 5, "switch": False, "wall_set": True, "broker": "away", "unsafe_records": 9,
    }  # fmt: skip
    text = "\n".join(lines(answer))
    assert "(crc), 1 s ago, last good one 7 s ago" in text
    assert "0x5" in text
    assert "no edge can come" in text
    assert "9 records wait" in text


def test_without_a_station_it_is_status_3(tmp_path: Path) -> None:
    """One line."""
    done = Rigged(tmp_path).run("status", "--file", str(tmp_path / "station.toml"))
    assert done.returncode == 3
    assert len(done.stderr.splitlines()) == 1
