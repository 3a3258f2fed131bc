"""`evenbath abandon --file STATION --why "..." [--session ID]`: ends what runs, or one film, from this machine, recorded."""

from __future__ import annotations

import argparse
import sys

from monitor.core.errors import InputWrong


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("--file", metavar="STATION.toml", required=True, help="the station file")
    parser.add_argument("--session", metavar="ID", help="end this film alone (default: all that run, and the films to come)")
    parser.add_argument("--why", metavar='"why"', required=True, help="the reason, written into the journal")


def run(args: argparse.Namespace) -> int:
    """End it. Raises `InputWrong` where nothing runs and `NotThere` where no station answers."""
    from monitor.cli.station import open_station
    from monitor.cli.terminal.refusals import told
    from monitor.live.station.control import ask

    if not args.why.strip():
        raise InputWrong("--why without words; allowed: a few words that will be written into the journal")
    answer = told(ask(open_station(args.file).state, {"verb": "abandon", "why": args.why, "session": args.session}))
    for session in answer.get("sessions") or [answer["session"]]:
        sys.stdout.write(f"abandoned: {session}\n")
    if answer.get("left_bare"):
        sys.stdout.write("the film was bare: pages stay dark for an hour, or until a recipe is armed that bares none\n")
    return 0
