"""Which folder is the state folder."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from monitor.cli.station import open_station
from monitor.core.errors import FileWrong, InputWrong, NotThere
from monitor.prepare.state import folder
from monitor.prepare.state.folder import state_folder, station_probe_id, station_state

STATION = """schema = 1
name = "laundry"
[probes.jug]
id = "28-0316a2795f3c"
role = "developer"
[panel]
factory = "lgpio"
sounder = "GPIO18"
"""


def test_what_is_given_wins_over_the_environment(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """--state beats $STATE_DIRECTORY, which beats the XDG folder, which has a default of its own."""
    monkeypatch.setenv("STATE_DIRECTORY", "/var/lib/evenbath:/second")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    assert state_folder("/elsewhere") == Path("/elsewhere")
    assert state_folder() == Path("/var/lib/evenbath")
    monkeypatch.delenv("STATE_DIRECTORY")
    assert state_folder() == tmp_path / "evenbath"
    monkeypatch.setenv("XDG_STATE_HOME", "relative/is/ignored")
    monkeypatch.setenv("HOME", str(tmp_path))
    assert state_folder() == tmp_path / ".local" / "state" / "evenbath"


def test_a_station_file_names_its_own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its `state` counts; without one, the default; what is no text is refused with its line."""
    monkeypatch.setenv("STATE_DIRECTORY", "/var/lib/evenbath")
    file = tmp_path / "station.toml"
    file.write_text('schema = 1\nname = "laundry"\nstate = "/data/laundry"\n')
    assert station_state(file) == Path("/data/laundry")
    file.write_text('schema = 1\nname = "laundry"\n')
    assert station_state(file) == Path("/var/lib/evenbath")
    file.write_text("schema = 1\nstate = 3\n")
    with pytest.raises(FileWrong) as refused:
        station_state(file)
    assert refused.value.lines[0].startswith(f"{file}:2: ")


def test_whoever_names_the_service_s_file_finds_the_service(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without an environment variable, also through a link; `state` in the file and --state still win."""
    monkeypatch.delenv("STATE_DIRECTORY", raising=False)
    monkeypatch.setattr(folder, "SYSTEM_FILES", tmp_path / "etc")
    (tmp_path / "etc" / "evenbath").mkdir(parents=True)
    file = tmp_path / "etc" / "evenbath" / "station.toml"
    file.write_text(STATION)
    (tmp_path / "link.toml").symlink_to(file)
    for name in (file, tmp_path / "link.toml"):
        assert station_state(name) == Path("/var/lib/evenbath")
        assert open_station(str(name)).state == Path("/var/lib/evenbath")
    (tmp_path / "own.toml").write_text(STATION)
    assert open_station(str(tmp_path / "own.toml")).state == state_folder() != Path("/var/lib/evenbath")
    file.write_text(f'state = "/data/laundry"\n{STATION}')
    assert open_station(str(file)).state == station_state(file) == Path("/data/laundry")


def test_a_probes_permanent_number_stands_in_the_station_file(tmp_path: Path) -> None:
    """By its name there; None for a name it does not have."""
    file = tmp_path / "station.toml"
    file.write_text('[probes.jug]\nid = "28-0316a2795f3c"\nrole = "developer"\n')
    assert station_probe_id(file, "jug") == "28-0316a2795f3c"
    assert station_probe_id(file, "bowl") is None
    file.write_text("schema = 1\n")
    assert station_probe_id(file, "jug") is None


def test_a_station_file_that_is_not_there_is_something_missing(tmp_path: Path) -> None:
    """Exit status 3, with the path."""
    with pytest.raises(NotThere, match=r"nowhere\.toml"):
        station_state(tmp_path / "nowhere.toml")


def test_a_fifo_as_station_file_is_refused_at_once(tmp_path: Path) -> None:
    """Nobody waits for a writer that never comes."""
    os.mkfifo(tmp_path / "station.toml")
    with pytest.raises(InputWrong, match="not a file"):
        station_state(tmp_path / "station.toml")
