"""Options of many commands, the state folder they mean, and today's date. Tests: tests/cli/test_plan.py, tests/cli/test_bottle.py."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import argparse
    import datetime as dt
    from pathlib import Path


def add_state(parser: argparse.ArgumentParser) -> None:
    """Declare `--state`; `state_of` or `monitor.prepare.state.folder.state_folder` resolves it."""
    parser.add_argument("--state", metavar="FOLDER", help="the state folder; default $STATE_DIRECTORY, else the XDG one")


def state_of(args: argparse.Namespace) -> Path:
    """The state folder: `--state`, else that of the station's file (`--file`), else the default one. Raises as `station_state`."""
    from monitor.prepare.state.folder import state_folder, station_state

    if args.file is not None and args.state is None:
        return station_state(args.file)
    return state_folder(args.state)


def add_json(parser: argparse.ArgumentParser) -> None:
    """Declare `--json`."""
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of words; nothing in it is rounded")


def add_action(actions: Any, name: str, text: str) -> argparse.ArgumentParser:
    """Declare one action of a command that keeps something in the state folder: `--json`, `--state`, `--file`."""
    made: argparse.ArgumentParser = actions.add_parser(name, help=text, description=f"{text[0].upper()}{text[1:]}.", allow_abbrev=False)
    add_json(made)
    add_state(made)
    made.add_argument("--file", metavar="STATION.toml", help="take the state folder of this station")
    return made


def today() -> dt.date:
    """Today's date by the wall clock, in the machine's time zone."""
    from monitor.live.clock import RealClock

    return RealClock().wall().astimezone().date()
