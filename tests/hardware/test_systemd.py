"""The units of the service, against systemd's own checks and against what the station relies on."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from monitor.cli.page import NICE as PAGE_NICE
from monitor.cli.page import PORT
from monitor.cli.station import BOOT_PATIENCE_S, URGENT_NICE
from monitor.live.station.player import REALTIME_PRIORITY
from monitor.page.guards import PRIVATE
from monitor.page.pairing import FOLDER as PAIRED
from monitor.page.server import MOST_AT_ONCE
from monitor.prepare.bottles.ledger import FOLDER as LEDGER
from monitor.prepare.logbook.book import FOLDER as LOGBOOK

FOLDER = Path(__file__).parents[2] / "hardware" / "systemd"
UNITS = sorted(FOLDER.glob("*.service"))
ANALYZE = shutil.which("systemd-analyze")

needs_systemd = pytest.mark.skipif(ANALYZE is None, reason="the program systemd-analyze is not on this machine")


def _service(name: str) -> list[tuple[str, str]]:
    lines = (FOLDER / name).read_text().splitlines()
    return [(key, value) for key, _, value in (line.partition("=") for line in lines if line and line[0] not in "#[")]


def _analyze(*words: str) -> subprocess.CompletedProcess[str]:
    assert ANALYZE is not None
    return subprocess.run([ANALYZE, *words], capture_output=True, text=True, check=False)


def test_the_units_are_there() -> None:
    """The lamps', the page's and the station's."""
    assert [unit.name for unit in UNITS] == ["evenbath-lamps.service", "evenbath-page.service", "evenbath.service"]


@needs_systemd
@pytest.mark.parametrize("unit", UNITS, ids=lambda unit: unit.name)
def test_systemd_finds_nothing_wrong(unit: Path, tmp_path: Path) -> None:
    """`systemd-analyze verify` says nothing; the programs' paths are put to ones that exist here."""
    here = tmp_path / unit.name
    text = unit.read_text()
    here.write_text(text.replace("/opt/evenbath/bin/python", sys.executable).replace("/opt/evenbath/bin/evenbath", sys.executable))
    done = _analyze("verify", "--man=no", "--recursive-errors=no", str(here))
    assert (done.returncode, done.stdout + done.stderr) == (0, "")


EXPOSURE = {"evenbath.service": 17, "evenbath.service with offline.conf": 8, "evenbath-lamps.service": 9, "evenbath-page.service": 13}
"""Tenths, as systemd 252 counts them; README.md in that folder says the same."""


@needs_systemd
@pytest.mark.parametrize("name", EXPOSURE)
def test_the_services_are_shut_in(name: str, tmp_path: Path) -> None:
    """`systemd-analyze security`, offline: no more exposed than is said, where a bare unit has 9.5."""
    if "--offline" not in _analyze("--help").stdout:
        pytest.skip("this systemd-analyze is too old to look at a unit offline")
    unit, _, further = name.partition(" with ")
    here = tmp_path / unit
    here.write_text((FOLDER / unit).read_text() + (f"\n{(FOLDER / further).read_text()}" if further else ""))
    done = _analyze("security", "--no-pager", "--offline=yes", f"--threshold={EXPOSURE[name]}", str(here))
    assert done.returncode == 0, done.stdout.splitlines()[-1]
    assert f"{EXPOSURE[name] / 10:.1f}" in (FOLDER / "README.md").read_text()


def test_what_the_station_relies_on_is_in_its_unit() -> None:
    """Restarted as a service and never as a board, silenced after a kill, a place for lgpio's FIFO, pins and no other device."""
    found = _service("evenbath.service")
    values = dict(found)
    assert values["Type"] == "notify"
    assert values["Restart"] == "on-failure"
    assert values["RestartPreventExitStatus"] == "2"
    assert values["FailureAction"] == "none"
    assert not any(key in values for key in ("StartLimitAction", "SuccessAction", "PrivateDevices", "ProcSubset"))
    assert "reboot" not in (FOLDER / "evenbath.service").read_text()
    assert "ExecStopPost" not in values, "it would hold up the restart; the station has a process beside it"
    assert int(values["TimeoutStartSec"]) > 2 * BOOT_PATIENCE_S
    assert values["WorkingDirectory"] == "%t/evenbath"
    assert ("Environment", "LG_WD=%t/evenbath") in found
    assert values["RuntimeDirectory"] == values["StateDirectory"] == "evenbath"
    assert values["DevicePolicy"] == "closed"
    assert [value for key, value in found if key == "DeviceAllow"] == ["char-gpiochip rw"], "one that need not exist when the unit starts"
    assert 0 < int(values["WatchdogSec"]) <= 20


def test_the_thread_that_sounds_the_cues_may_ask_for_what_it_asks_for() -> None:
    """The unit allows the real-time class up to the player's priority and no higher; nothing else in it forbids the call."""
    found = _service("evenbath.service")
    values = dict(found)
    assert int(values["LimitRTPRIO"]) == REALTIME_PRIORITY
    assert values.get("RestrictRealtime", "no") == "no"
    assert [value for key, value in found if key == "SystemCallFilter"] == ["@system-service", "~@privileged"]
    assert int(values["Nice"]) == URGENT_NICE


def test_a_station_answers_no_call_from_the_network_and_can_be_cut_off_from_it() -> None:
    """It opens no port; and where it has no broker, one more file takes the network away."""
    found = _service("evenbath.service")
    assert ("SocketBindDeny", "any") in found
    offline = [value for key, value in _service("offline.conf") if key == "RestrictAddressFamilies"]
    assert offline == ["", "AF_UNIX"]
    assert ("PrivateNetwork", "yes") in _service("offline.conf")


def test_what_the_station_writes_is_for_its_group_to_read() -> None:
    """No file of it can be changed by another user, and none is readable by all."""
    assert dict(_service("evenbath.service"))["UMask"] == "0027"


def test_the_lamps_unit_may_write_below_sys() -> None:
    """What makes /sys read-only for the station is not set here."""
    values = dict(_service("evenbath-lamps.service"))
    assert "ProtectKernelTunables" not in values
    assert "User" not in values
    assert values["Type"] == "oneshot"


def test_the_page_and_the_station_need_nothing_of_each_other() -> None:
    """No unit requires, binds or stops the other; the order alone is said."""
    page, station = ((FOLDER / name).read_text() for name in ("evenbath-page.service", "evenbath.service"))
    for word in ("Requires", "Requisite", "BindsTo", "PartOf", "Conflicts", "Upholds"):
        assert f"{word}=" not in page
        assert f"{word}=" not in station
    assert "evenbath-page" not in station


def test_the_page_goes_behind_the_station_and_is_small() -> None:
    """Processor, disk, memory; and where memory is short a report ends before the page, the page before the station."""
    values, station = dict(_service("evenbath-page.service")), dict(_service("evenbath.service"))
    assert int(values["Nice"]) == PAGE_NICE
    assert values["MemoryMax"] == "64M"
    assert values["OOMPolicy"] == "continue"
    assert int(values["OOMScoreAdjust"]) > 0 > int(station["OOMScoreAdjust"])
    assert int(values["TasksMax"]) > MOST_AT_ONCE + 8


def test_the_page_has_one_port_for_private_networks_and_writes_what_a_paired_phone_may_write() -> None:
    """IPv4 alone, the networks that the page itself answers; of the state folder three folders, never the journals. The state folder is the
    station file's: what systemd would put in its place is taken away."""
    found = _service("evenbath-page.service")
    values = dict(found)
    assert values["RestrictAddressFamilies"] == "AF_UNIX AF_INET"
    assert values["SocketBindAllow"] == f"ipv4:tcp:{PORT}"
    allowed = values["IPAddressAllow"].replace("localhost", "127.0.0.0/8").split()
    assert {*allowed} == {str(network) for network in PRIVATE}
    assert values["IPAddressDeny"] == "any"
    assert values["ReadOnlyPaths"] == "-/var/lib/evenbath"
    assert values["StateDirectory"].split() == [f"evenbath/{folder}" for folder in (PAIRED, LOGBOOK, LEDGER)]
    assert values["StateDirectoryMode"] == "0750"
    assert values["UnsetEnvironment"] == "STATE_DIRECTORY"
    assert not [key for key, _ in found if key in ("ReadWritePaths", "CacheDirectory", "LogsDirectory", "BindPaths")]
