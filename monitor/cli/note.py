"""`evenbath note [WORDS]`: keeps a note in the logbook, which a paired phone writes to too; without words it shows them.

Tests: tests/cli/test_note.py.
"""

from __future__ import annotations

import argparse
import sys

from monitor.cli.arguments.common import add_state, state_of

NEWEST = 20


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("words", metavar="WORDS", nargs="*", help="the note; without it the notes are shown")
    parser.add_argument("--session", metavar="SESSION", help="the session that it is about")
    parser.add_argument("--all", action="store_true", help=f"show all notes, in place of the newest {NEWEST}")
    parser.add_argument("--file", metavar="STATION.toml", help="the station's file, which names the state folder")
    add_state(parser)


def run(args: argparse.Namespace) -> int:
    """Keep or show. Raises `InputWrong`, `FileWrong`."""
    from monitor.core.errors import InputWrong
    from monitor.live.clock import RealClock
    from monitor.prepare.logbook.notes import add_note, read_notes
    from monitor.prepare.state.journal_lines import JOURNALS

    state = state_of(args)
    if args.words:
        if args.session is not None and not (state / JOURNALS / f"{_name(args.session)}.jsonl").is_file():
            raise InputWrong(f"--session {args.session}: no journal of it in {state}; allowed: a session of this station")
        add_note(state, RealClock().wall(), " ".join(args.words), args.session)
        sys.stdout.write("kept\n")
        return 0
    if args.session is not None:
        _name(args.session)
    notes = [note for note in read_notes(state) if args.session in (None, note.session)]
    for note in notes if args.all else notes[-NEWEST:]:
        about = f"  {note.session}" if note.session else ""
        sys.stdout.write(f"{note.at.astimezone():%Y-%m-%d %H:%M}{about}  {note.text}\n")
    if not notes:
        sys.stdout.write('There is no note. Keep one: evenbath note "the tap drips"\n')
    return 0


def _name(session: str) -> str:
    from monitor.core.errors import InputWrong
    from monitor.live.disk.own_files import is_session_name

    if not is_session_name(session):
        raise InputWrong(f"--session {session}: no session's name; allowed: such as 261125-1904c7")
    return session
