"""Where `forecast`, `compare` and `lag` take their readings from: a journal, or the running station via its socket.

Tests: tests/cli/test_forecast.py, tests/cli/test_compare.py.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from monitor.cli.arguments.common import add_json, state_of
from monitor.core.errors import InputWrong

if TYPE_CHECKING:
    from monitor.core.probes.learned import Learned
    from monitor.prepare.probes.readings import ReadingSource

LIVE_MINUTES = 20
NOT_STORED = "not stored; use --save to store it for the station"


def add_source(parser: argparse.ArgumentParser) -> None:
    """Declare JOURNAL, --file and --state."""
    parser.add_argument("journal", nargs="?", metavar="SESSION|JOURNAL", help="the id of a session or its end, or a SESSION.jsonl")
    parser.add_argument("--file", metavar="STATION.toml", help="read from the running station instead of a journal")
    parser.add_argument("--state", metavar="FOLDER", help="state folder with what was learned; default: the station's, or your own")
    add_json(parser)


def open_source(args: argparse.Namespace) -> ReadingSource:
    """The readings. Raises `InputWrong` unless exactly one source is named, `NotThere` if no station answers."""
    from monitor.prepare.probes.readings import read_journal

    if (args.journal is None) == (args.file is None):
        raise InputWrong("give one source of readings; allowed: a JOURNAL, or --file STATION.toml for the live bath")
    if args.journal is not None:
        return read_journal(journal_named(args))
    return live_source(args.file, state_of(args))


def journal_named(args: argparse.Namespace) -> Path:
    """The journal that was named, by its path or by the session's id. Raises `InputWrong` where there is none."""
    from monitor.cli.arguments.session_names import find_journal, journals_folder

    return find_journal(args.journal, journals_folder(args))


def live_source(file: str, state: Path) -> ReadingSource:
    """The last 20 minutes of the running station's readings. Raises `NotThere` if no station answers."""
    from monitor.live.station.control import ask
    from monitor.prepare.probes.readings import from_station

    return from_station(file, ask(state, {"verb": "readings", "minutes": LIVE_MINUTES}))


def learned_in(state: Path) -> Learned:
    """What was learned so far."""
    from monitor.prepare.probes.learned_store import load_learned

    return load_learned(state)
