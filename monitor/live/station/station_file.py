"""The station file: probes, pins, state folder, broker. Everything wrong in it is found before anything is opened.

Decides what a station file may say (contract, section 8) and holds it as frozen values. Which names of pins, factories and
probes are allowed stands in `hardware.ports`. No hardware is touched: whether an id is on the bus and a factory can be loaded
is found out later, by whoever opens them. `lock_state` creates the state folder and takes the lock that keeps a second station
away. Tests: tests/live/station/test_station_file.py.
"""

from __future__ import annotations

import errno
import fcntl
import ipaddress
import os
import re
import stat
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from hardware.ports import (
    PIN_FACTORIES,
    SOUNDER_KINDS,
    TONE_HZ,
    USUAL_TONE_HZ,
    PanelConfig,
    is_probe_id,
    pin_problems,
    second_problems,
    tone_from,
)
from monitor.core.errors import FileWrong, Problem
from monitor.core.probes.readings import ROLES, Role
from monitor.core.text.degrees import UNITS
from monitor.core.text.quantities import shown
from monitor.core.text.toml_table import Document, Table, parse
from monitor.live.broker import HOST, PLAIN_PORT, PROBE, STATION, MqttConfig, usual_port

IN_VESSEL: tuple[Role, ...] = ("developer", "witness")
"""Probes that lie in one vessel; the others serve all."""
MOST_VESSELS = 2
_LAG_SAYS = "seconds, 0 to 120, such as 8.0"


@dataclass(frozen=True, slots=True)
class ProbeConfig:
    """One probe. `lag_s` None: not given. `line`: the line of its id, for messages. `vessel`: the vessel that a developer or witness
    probe belongs to, where the station has two; None: it serves all."""

    name: str
    id: str
    role: Role
    lag_s: float | None
    line: int
    vessel: str | None = None


@dataclass(frozen=True, slots=True)
class StationConfig:
    """A station file that has passed every check. `state_line`: the line that names the state folder, 1 if none does."""

    file: str
    name: str
    state: Path
    state_line: int
    probes: tuple[ProbeConfig, ...]
    panel: PanelConfig
    mqtt: MqttConfig | None

    @property
    def journals(self) -> Path:
        """The folder of the journals."""
        return self.state / "journals"

    @property
    def vessels(self) -> tuple[str, ...]:
        """The named vessels, in the order of the file: two at most, none where the only vessel has no name."""
        return tuple(dict.fromkeys(p.vessel for p in self.probes if p.vessel is not None))

    def probes_of(self, vessel: str | None) -> tuple[ProbeConfig, ...]:
        """The probes that a film in this vessel has: its own, and those that serve all. None: all of them."""
        return tuple(p for p in self.probes if vessel is None or p.vessel in (None, vessel))

    def probe(self, name: str) -> ProbeConfig:
        """One probe by name."""
        return next(p for p in self.probes if p.name == name)


def load_station(text: bytes, file: str, default_state: Path) -> StationConfig:
    """Read a station file; `default_state` is used where it names no folder. Raises `FileWrong` with every problem and its line."""
    document = parse(text, file)
    root = document.root()
    root.whole("schema", 1, 1, "1, the only schema", required=True)
    name = root.text("name", required=True)
    if name is not None and not STATION.fullmatch(name):
        root.wrong("name", f"name: {shown(name)} cannot be a segment of a topic", "a-z, 0-9 and -, at most 32 characters")
    state = root.text("state", longest=4096)
    if state is not None and not Path(state).expanduser().is_absolute():
        root.wrong("state", f"state: {shown(state)} is not an absolute path", "a path from / on, such as /var/lib/evenbath")
    root.choice("units", UNITS)  # for the commands that show something; the station itself speaks Celsius
    probes = _probes(root)
    panel = _panel(root, probes)
    mqtt = _mqtt(root)
    root.finish()
    document.raise_problems()
    if name is None or panel is None:
        raise AssertionError("a missing value was not written down")
    folder = default_state if state is None else Path(state).expanduser()
    return StationConfig(file, name, folder, document.line(("state",)), tuple(probes), panel, mqtt)


def _probes(root: Table) -> list[ProbeConfig]:
    around = root.table("probes", "[probes]", required=True)
    found: list[ProbeConfig] = []
    if around is None:
        return found
    names = [key for key, value in root.raw("probes").items() if isinstance(value, dict)]
    for name in names:
        table = around.table(name, f"[probes.{name}]")
        if table is not None:
            probe = _probe(table, name)
            if probe is not None:
                found.append(probe)
    if not names:
        root.document.problem(around.path, "no probe", "one table for each probe, such as [probes.jug]")
    around.finish()
    _check_probes(root.document, found)
    return found


def _probe(table: Table, name: str) -> ProbeConfig | None:
    if not PROBE.fullmatch(name):
        table.document.problem(table.path, f"probe name {shown(name)}", "letters, digits, - and _, at most 32 characters")
    number = table.text("id", required=True)
    if number is not None and not is_probe_id(number):
        table.wrong("id", f"id: {shown(number)} is not the name of a probe's folder on the bus", "such as 28-0316a2795f3c, small letters")
        number = None
    role = table.choice("role", ROLES, required=True)
    lag_s = table.number("lag_s", 0.0, 120.0, _LAG_SAYS)
    vessel = _vessel(table, role)
    table.finish()
    if number is None or role is None:
        return None
    return ProbeConfig(name, number, role, lag_s, table.document.line((*table.path, "id")), vessel)


def _vessel(table: Table, role: Role | None) -> str | None:
    vessel = table.text("vessel")
    if vessel is not None and not PROBE.fullmatch(vessel):
        table.wrong("vessel", f"vessel: {shown(vessel)} is no name", "letters, digits, - and _, at most 32 characters")
    if vessel is not None and role not in (None, *IN_VESSEL):
        table.wrong("vessel", f"vessel: a {role} probe serves every vessel", "vessel with a developer or a witness probe only")
        return None
    return vessel


def _check_probes(document: Document, probes: list[ProbeConfig]) -> None:
    """Refuse an id used twice, a second probe in a role that allows one, of each vessel, a third vessel, and a probe that could be in
    either of two."""
    by_id: dict[str, str] = {}
    by_role: dict[tuple[str, str | None], str] = {}
    vessels: list[str] = []
    for probe in probes:
        path = ("probes", probe.name)
        if probe.id in by_id:
            document.problem((*path, "id"), f"id: {probe.id} is used twice, by {by_id[probe.id]} and {probe.name}", "one probe an id")
        by_id.setdefault(probe.id, probe.name)
        place = (probe.role, probe.vessel)
        if place in by_role:
            what = f'role: two probes have the role "{probe.role}", {by_role[place]} and {probe.name}'
            where = "" if probe.vessel is None else f" a vessel, and two have vessel {shown(probe.vessel)}"
            document.problem((*path, "role"), what, f"one {probe.role} probe{where}")
        by_role.setdefault(place, probe.name)
        if probe.vessel is not None and probe.vessel not in vessels:
            if len(vessels) == MOST_VESSELS:
                what = f"vessel: {shown(probe.vessel)} is a third one beside {shown(vessels[0])} and {shown(vessels[1])}"
                document.problem((*path, "vessel"), what, f"{MOST_VESSELS} vessels at most")
            vessels.append(probe.vessel)
    for probe in probes if vessels else ():
        if probe.role in IN_VESSEL and probe.vessel is None:
            named = ", ".join(shown(vessel) for vessel in vessels)
            document.problem(("probes", probe.name), f"probe {probe.name} has no vessel, and others have one", f"vessel, such as {named}")


def _panel(root: Table, probes: list[ProbeConfig]) -> PanelConfig | None:
    table = root.table("panel", "[panel]", required=True)
    if table is None:
        return None
    factory = table.choice("factory", PIN_FACTORIES, required=True)
    uses = ("sounder", "lamp", "switch", "vibrator", "switch_2", "sounder_2")
    pins = {use: pin for use in uses if (pin := table.text(use, required=use == "sounder")) is not None}
    kind = table.choice("sounder_kind", SOUNDER_KINDS) or "active"
    tones = f"{TONE_HZ[0]:g} to {TONE_HZ[1]:g}, such as {USUAL_TONE_HZ:g}"
    tone_hz, tone_problem = tone_from(kind, table.number("tone_hz", *TONE_HZ, tones))
    table.finish()
    for use, what, allowed in [*pin_problems(pins), *second_problems(pins), *([tone_problem] if tone_problem else [])]:
        table.wrong(use, what, allowed)
    if len({p.vessel for p in probes if p.vessel is not None}) < MOST_VESSELS:
        for use in ("switch_2", "sounder_2"):
            if use in pins:
                table.wrong(use, f"{use} without a second vessel", "probes with vessel = ... of two names, or no " + use)
    if factory is None or "sounder" not in pins:
        return None
    return PanelConfig(factory, **pins, tone_hz=tone_hz)


def _mqtt(root: Table) -> MqttConfig | None:
    table = root.table("mqtt", "[mqtt]")
    if table is None:
        return None
    host = _host(table)
    port = table.whole("port", 1, 65535, "1 to 65535")
    user = table.text("user")
    files = {key: _readable(table, key) for key in ("password_file", "ca_file", "cert_file", "key_file")}
    client_id = table.text("client_id", longest=64)
    discovery = table.flag("discovery")
    table.finish()
    if "password_file" in table and "user" not in table:
        table.wrong("password_file", "password_file without a user", "user and password_file together")
    if ("cert_file" in table) != ("key_file" in table):
        table.wrong("cert_file" if "cert_file" in table else "key_file", "cert_file and key_file belong together", "both or neither")
    if host is None:
        return None
    usual = usual_port("ca_file" in table or "cert_file" in table)
    return MqttConfig(host, port or usual, user=user, client_id=client_id, discovery=bool(discovery), **files)


def _host(table: Table) -> str | None:
    """A host name or an address alone. What could never be resolved is refused here, instead of by a link that stays down for ever."""
    host = table.text("host", required=True, longest=253)
    if host is None or HOST.fullmatch(host):
        return host
    try:
        ipaddress.IPv6Address(host)
    except ValueError:
        port = re.search(r":([1-9]\d{0,4})$", host, re.ASCII)
        number = port[1] if port is not None and int(port[1]) <= 65535 else str(PLAIN_PORT)
        table.wrong("host", f"host: {shown(host)} is no host alone", f"a host without a port, and port = {number} beside it")
        return None
    return host


def _readable(table: Table, key: str) -> str | None:
    name = table.text(key, longest=4096)
    if name is None:
        return None
    path = Path(name)
    try:
        with path.open("rb") as file:
            if stat.S_ISREG(os.fstat(file.fileno()).st_mode):
                return name
        why = "not a file"
    except OSError as wrong:
        why = wrong.strerror or "cannot be read"
    table.wrong(key, f"{key}: {shown(name)}: {why}", "the path of a file that the station can read")
    return None


class StateLock:
    """Holds the lock on the state folder until it is closed."""

    def __init__(self, file: IO[bytes]) -> None:
        self._file = file

    def close(self) -> None:
        """Release the lock."""
        self._file.close()


def lock_state(config: StationConfig) -> StateLock:
    """Create the state folder and its journals folder, check that they can be written, and lock them.

    Raises `FileWrong` for the line of `state` where one of these fails, also where another station uses the folder.
    """

    def refuse(what: str, allowed: str) -> FileWrong:
        return FileWrong([Problem(config.file, config.state_line, what, f"allowed: {allowed}")])

    own = "a folder that the station may write, its own or one that it can make"
    try:
        config.journals.mkdir(parents=True, exist_ok=True)
        if not os.access(config.journals, os.W_OK | os.X_OK) or not os.access(config.state, os.W_OK | os.X_OK):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        lock = (config.state / "lock").open("ab")
    except (OSError, ValueError) as wrong:
        why = wrong.strerror if isinstance(wrong, OSError) and wrong.strerror else "no path"
        raise refuse(f"state: {config.state} cannot be written ({why})", own) from None
    try:
        fcntl.flock(lock.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        lock.close()
        raise refuse(f"state: {config.state} is in use by another station", "one station a folder; stop the other one first") from None
    return StateLock(lock)
