"""A journal named by its path, or by the session's id, whole or its end, in the station's state folder.

Tests: tests/cli/test_session_names.py.
"""

from __future__ import annotations

import argparse
import re
from pathlib import Path

from monitor.core.errors import InputWrong

MOST_LISTED = 8
"""An id so short that it fits more sessions than this is answered by the newest of them."""
_ID = re.compile(r"[0-9a-z-]+", re.ASCII)


def add_state(parser: argparse.ArgumentParser) -> None:
    """Declare `--file` and `--state`, which say where the journals stand; `journals_folder` reads them."""
    parser.add_argument("--file", metavar="STATION.toml", help="the station whose journals are looked in (default: your own state folder)")
    parser.add_argument("--state", metavar="FOLDER", help="the state folder itself; it goes before --file")


def journals_folder(args: argparse.Namespace) -> Path:
    """The folder of journals: in --state, else in the station file's state folder, else in the default one."""
    from monitor.cli.arguments.common import state_of
    from monitor.prepare.state.journal_lines import JOURNALS

    return state_of(args) / JOURNALS


def find_journal(name: str, journals: Path) -> Path:
    """The file or folder of this name where there is one, else the journal of the session whose id this is, or ends in this.

    A whole id goes before the end of another. Raises `InputWrong` where there is none, and where an end fits several.
    """
    from monitor.live.station.ended import ids_named

    if _there(name):
        return Path(name)
    if not _ID.fullmatch(name):
        raise InputWrong(f"{name}: there is no such file; allowed: a journal, a folder of them, or the id of a session in {journals}")
    ids = sorted(p.stem for p in journals.glob("*.jsonl") if not p.name.endswith(".judgement.jsonl"))
    found = ids_named(name, ids)
    if not found:
        none = f"{name}: there is no such file, and no session in {journals} has an id that ends so"
        raise InputWrong(f"{none}; allowed: a path, an id, or the end of one")
    if len(found) > 1:
        more = "" if len(found) <= MOST_LISTED else f"{len(found) - MOST_LISTED} older and "
        listed = ", ".join(found[-MOST_LISTED:])
        raise InputWrong(f"{name}: {len(found)} sessions end so ({more}{listed}); allowed: more of the id")
    return journals / f"{found[0]}.jsonl"


def _there(name: str) -> bool:
    try:
        return bool(name) and Path(name).exists()
    except OSError:  # longer than a name can be
        return False
