"""`evenbath`: finds the command, runs it, and turns what went wrong into an exit status and plain lines on stderr.

A command is a module of this package with `configure(parser)` and `run(args) -> int`; it is imported only when it is
asked for, and imports what it needs inside `run`. Exit status: 0 done, 1 the program's own fault, 2 the input is wrong,
3 something is not there; 130 after Ctrl-C.
"""

from __future__ import annotations

import errno
import os
import sys
from typing import TYPE_CHECKING

from monitor import __version__

if TYPE_CHECKING:
    import argparse
    from typing import NoReturn

COMMANDS: dict[str, tuple[str, str]] = {
    "new": ("monitor.cli.new", "turn the sheet in your hand into a recipe, by asking"),
    "plan": ("monitor.cli.plan", "read a recipe back, with its chart of times; --card prints it for the wall"),
    "fit": ("monitor.cli.fit", "make a rate from your own pairs of temperature and time"),
    "mix": ("monitor.cli.mix", "how much stock and water"),
    "temper": ("monitor.cli.temper", "how much hot, cold water or ice brings a bath to temperature"),
    "forecast": ("monitor.cli.forecast", "where a bath is going and whether it lasts"),
    "season": ("monitor.cli.season", "whether it can be held with this tap and this room, and at which temperature"),
    "compare": ("monitor.cli.compare", "compare a probe with a thermometer that you trust"),
    "lag": ("monitor.cli.lag", "learn the lag of a probe or of a vessel"),
    "bottle": ("monitor.cli.bottle", "the ledger of bottles"),
    "clearing": ("monitor.cli.clearing", "fixing time from today's clearing time"),
    "powder": ("monitor.cli.powder", "order of mixing a powder, and when it has cooled enough to be used"),
    "label": ("monitor.cli.label", "what to write on a bottle, also as a page to print"),
    "checklist": ("monitor.cli.checklist", "what to go through before this recipe, its cautions, and what may wait"),
    "darkness": ("monitor.cli.darkness", "the test of darkness with coins on film, and its record"),
    "rehearse": ("monitor.cli.rehearse", "play a recipe on a simulated bath"),
    "station": ("monitor.cli.station", "run the station on probes, sounder, lamp and switch"),
    "develop": ("monitor.cli.develop", "hand a recipe to the station and follow the session"),
    "abandon": ("monitor.cli.abandon", "end the running session from this machine"),
    "status": ("monitor.cli.status", "what the station is doing now"),
    "rig": ("monitor.cli.rig", "a virtual probe bus and panel, for a station without a Pi"),
    "record": ("monitor.cli.record", "keep the journals of stations that publish on a broker"),
    "review": ("monitor.cli.review", "what happened, what was measured and what was only estimated"),
    "judge": ("monitor.cli.judge", "write down what the dry film looks like"),
}


def _help() -> str:
    width = max(map(len, COMMANDS))
    rows = "\n".join(f"  {name:<{width}}  {text}" for name, (_, text) in COMMANDS.items())
    return (
        "usage: evenbath COMMAND ...\n\n"
        "A second pair of senses for developing film: knows how warm the developer is, turns it into development done,\n"
        "says by ear what the hands do next, and keeps a truthful record.\n\n"
        f"{rows}\n\n  evenbath COMMAND --help tells more; evenbath --version tells which one this is.\n"
        "It guides film, not health: it is no gas or fire alarm. Keep a second clock that needs neither this nor mains.\n"
    )


def main(argv: list[str] | None = None) -> int:
    """Run one command. Returns the exit status; never lets a traceback reach a person unless EVENBATH_TRACEBACK is set."""
    words = sys.argv[1:] if argv is None else argv
    if not words or words[0] in ("-h", "--help"):
        sys.stdout.write(_help())
        return 0 if words else 2
    if words[0] in ("-V", "--version"):
        sys.stdout.write(f"evenbath {__version__}\n")
        return 0
    if words[0] not in COMMANDS:
        sys.stderr.write(f'evenbath: "{words[0]}" is not a command; allowed: {", ".join(COMMANDS)}\n')
        return 2
    return _run(words[0], words[1:])


def _run(name: str, words: list[str]) -> int:
    import argparse
    import importlib

    from monitor.core.errors import EvenbathError

    if sys.stdout is None:  # closed by the caller, `>&-`: what is said goes nowhere, what is done is done
        sys.stdout = open(os.devnull, "w")  # noqa: SIM115, PTH123
    module = importlib.import_module(COMMANDS[name][0])
    parser = _parser(argparse.ArgumentParser)(
        prog=f"evenbath {name}", description=COMMANDS[name][1].capitalize() + ".", allow_abbrev=False
    )
    module.configure(parser)
    try:
        status: int = module.run(parser.parse_args(words))
        sys.stdout.flush()
        return status
    except SystemExit as stop:  # argparse: 0 after --help, 2 after a usage error
        return stop.code if isinstance(stop.code, int) else 2
    except EvenbathError as wrong:
        for line in wrong.lines:
            sys.stderr.write(f"{line}\n")
        return wrong.exit_status
    except KeyboardInterrupt:
        sys.stderr.write("evenbath: stopped by the keyboard\n")
        return 130
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as fault:
        if isinstance(fault, OSError) and fault.errno in (errno.ENOSPC, errno.EDQUOT):
            return _no_room(name, fault)
        if os.environ.get("EVENBATH_TRACEBACK"):
            raise
        sys.stderr.write(f"evenbath {name}: a fault of the program itself: {type(fault).__name__}: {fault}\n")
        sys.stderr.write("Nothing more was done. Set EVENBATH_TRACEBACK=1 and run it again for a report to the developers.\n")
        return 1


def _parser(base: type[argparse.ArgumentParser]) -> type[argparse.ArgumentParser]:
    """A parser, its sub-parsers too, that says in one line what is wrong, without the whole usage before it."""

    class Parser(base):  # type: ignore[misc, valid-type]
        def error(self, message: str) -> NoReturn:
            sys.stderr.write(f"{self.prog}: {message}; {self.prog} --help tells what is allowed\n")
            raise SystemExit(2)

    return Parser


def _no_room(name: str, wrong: OSError) -> int:
    """A disk or an output that takes no more is told in one line; it is not the program's fault."""
    sys.stderr.write(f"evenbath {name}: cannot be written ({wrong.strerror}); allowed: a disk with room\n")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # nothing more is tried when the interpreter ends
    return 2


if __name__ == "__main__":
    sys.exit(main())
