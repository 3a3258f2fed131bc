"""`evenbath abandon --file STATION --why "..." [--session ID]`: ends what runs, or one film, from this machine, recorded."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping
from typing import Any

from monitor.core.errors import InputWrong

NOTHING_BEGUN = "Nothing was begun: all is as it was."
KEEP = {"lid": ["Keep the lid on until it is fixed."], "dark": ["It may be bare: keep it in the dark until it is fixed."]}


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("--file", metavar="STATION.toml", required=True, help="the station file")
    parser.add_argument("--session", metavar="ID", help="end this film alone; the end of its id will do (default: all)")
    parser.add_argument("--why", metavar='"why"', required=True, help="the reason, written into the journal")


def run(args: argparse.Namespace) -> int:
    """End it. Raises `InputWrong` where nothing runs and `NotThere` where no station answers."""
    from monitor.cli.station import open_station
    from monitor.cli.terminal.refusals import told
    from monitor.live.station.control import ask

    if not args.why.strip():
        raise InputWrong("--why without words; allowed: a few words that will be written into the journal")
    answer = told(ask(open_station(args.file).state, {"verb": "abandon", "why": args.why, "session": args.session}))
    left = {film["session"]: film for film in answer.get("left") or ()}
    for session in answer.get("sessions") or [answer["session"]]:
        sys.stdout.write(f"abandoned: {session}\n")
        if session in left:
            sys.stdout.write(f"{_left(left[session])}\n")
    if answer.get("left_bare"):
        sys.stdout.write("film or paper was bare: pages stay dark for an hour, or until a recipe is armed that bares none\n")
    return 0


def _left(film: Mapping[str, Any]) -> str:
    """Where it was, what it never saw, and what protects it now."""
    return " ".join([_where(film) if film["begun"] else NOTHING_BEGUN, *KEEP.get(film["keep"] or "", ())])


def _where(film: Mapping[str, Any]) -> str:
    never = film["never_begun"]
    listed = never[-1:] if len(never) < 2 else [", ".join(never[:-1]), never[-1]]
    where = f"In {film['in']}" if film["in"] is not None else "Between two stages"
    rest = f"; {' and '.join(listed)} {'was' if len(never) == 1 else 'were'} never begun." if never else ", the last stage."
    return where + rest
