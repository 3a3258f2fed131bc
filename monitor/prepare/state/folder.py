"""Which folder a station and its tools keep their state in: the one answer to that question.

Decides between the `--state` option, a station file's `state`, $STATE_DIRECTORY, the service's folder for a station file below
/etc, and the XDG state folder, in this order; creates nothing. So whoever names the service's station file finds the service.
The station itself checks the whole station file; only `state`, `units` and the probes' ids are read here.
Tests: tests/prepare/state/test_folder.py.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from monitor.core.errors import InputWrong, NotThere

if TYPE_CHECKING:
    from monitor.core.text.degrees import Unit
    from monitor.core.text.toml_table import Document

PROGRAM = "evenbath"
SYSTEM_FILES, SERVICE_STATE = Path("/etc"), Path("/var/lib/evenbath")
"""Where the service's station file and its state are (hardware/systemd)."""
LEARNED = "learned"
"""The subfolder for what was learned about probes, vessels and rooms."""


def state_folder(given: str | Path | None = None, station_file: str | Path | None = None) -> Path:
    """The state folder: `given` if not empty, else $STATE_DIRECTORY (its first entry), else the service's folder if `station_file` lies
    below /etc, else the XDG state folder. It is not created."""
    if given is not None and str(given):
        return Path(given).expanduser()
    from_service = os.environ.get("STATE_DIRECTORY", "").split(":")[0]
    if from_service:
        return Path(from_service)
    if station_file is not None and SYSTEM_FILES in Path(os.path.realpath(station_file)).parents:
        return SERVICE_STATE
    base = os.environ.get("XDG_STATE_HOME", "")
    root = Path(base) if base and Path(base).is_absolute() else Path.home() / ".local" / "state"
    return root / PROGRAM


def station_state(file: str | Path) -> Path:
    """The state folder named in a station file, else the default one.

    Raises `NotThere` for a file that cannot be read, `InputWrong` for what is no file, and `FileWrong` for one that is not TOML or whose
    `state` is not text.
    """
    document = _document(file)
    named = document.root().text("state", longest=4096)
    document.raise_problems()
    return state_folder(named, file)


def station_probe_id(file: str | Path, probe: str) -> str | None:
    """The hardware id that a station file gives a probe; None if there is no such probe in it. Raises as `station_state`."""
    probes = _document(file).root().table("probes", "[probes]")
    table = None if probes is None or probe not in probes else probes.table(probe, f"[probes.{probe}]")
    return None if table is None else table.text("id")


def station_units(file: str | Path) -> Unit | None:
    """The unit of temperature that a station file names for people; None if it names none. Raises as `station_state`."""
    from monitor.core.text.degrees import UNITS

    document = _document(file)
    named = document.root().choice("units", UNITS)
    document.raise_problems()
    return named


def _document(file: str | Path) -> Document:
    from monitor.core.text.toml_table import parse

    path = Path(file)
    try:
        if path.exists() and not path.is_file():
            raise InputWrong(f"{path}: not a file; allowed: the path of a station file in TOML")
        text = path.read_bytes()
    except OSError as wrong:
        raise NotThere(f"{path}: cannot be read ({wrong.strerror}); allowed: a station file") from None
    return parse(text, str(path))
