"""`evenbath`: finds the command, runs it, and turns errors into an exit status and plain lines on stderr.

A command is a module of this package with `configure(parser)` and `run(args) -> int`. It is imported only when called,
and imports what it needs inside `run`. Exit status: 0 done, 1 the program's own fault, 2 the input is wrong,
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
    from contextlib import AbstractContextManager
    from typing import NoReturn

COMMANDS: dict[str, tuple[str, str]] = {
    "new": ("monitor.cli.new", "turn the sheet in your hand into a recipe, question by question"),
    "guide": ("monitor.cli.guide", "for a beginner: what to buy and what can wait, water, drying, ways of developing, hazards"),
    "plan": ("monitor.cli.plan", "read a recipe back, with its chart of times; --card prints it for the wall"),
    "fit": ("monitor.cli.fit", "make a rate from your own pairs of temperature and time"),
    "mix": ("monitor.cli.mix", "how much stock and water"),
    "temper": ("monitor.cli.temper", "how much hot water, cold water or ice brings a bath to temperature"),
    "forecast": ("monitor.cli.forecast", "where a bath is going and whether it lasts"),
    "season": ("monitor.cli.season", "whether a recipe can be held with this tap and room, and at which temperature"),
    "compare": ("monitor.cli.compare", "compare a probe with a thermometer that you trust"),
    "lag": ("monitor.cli.lag", "learn the lag of a probe or of a vessel"),
    "bottle": ("monitor.cli.bottle", "the ledger of bottles"),
    "clearing": ("monitor.cli.clearing", "fixing time from today's clearing time"),
    "wash": ("monitor.cli.wash", "washing by ear or by flow, its arithmetic, and tests for what was left in"),
    "powder": ("monitor.cli.powder", "how to mix a powder, and when it has cooled enough to be used"),
    "label": ("monitor.cli.label", "what to write on a bottle, also as a page to print"),
    "checklist": ("monitor.cli.checklist", "what to check before this recipe, its cautions, and how long each bath may wait"),
    "darkness": ("monitor.cli.darkness", "the darkness test with coins on film, and its record"),
    "note": ("monitor.cli.note", "keep a note on this evening or on a session, or read the notes"),
    "lesson": ("monitor.cli.lesson", "learn the sounds by ear, and the foot with scrap film"),
    "rehearse": ("monitor.cli.rehearse", "play a recipe on a simulated bath"),
    "station": ("monitor.cli.station", "run the station on probes, sounder, lamp and switch"),
    "develop": ("monitor.cli.develop", "hand a recipe to the station and follow the session"),
    "abandon": ("monitor.cli.abandon", "end the running session from this machine"),
    "status": ("monitor.cli.status", "what the station is doing now"),
    "page": ("monitor.cli.page", "the station on a phone; pairing of phones that may write; or all stations of a class"),
    "rig": ("monitor.cli.rig", "a virtual probe bus and panel, for a station without a Pi"),
    "record": ("monitor.cli.record", "keep the journals of stations that publish on a broker"),
    "review": ("monitor.cli.review", "what happened, what was measured and what was only estimated"),
    "wedge": ("monitor.cli.wedge", "film tests: a step wedge's curve, times for N-1 to N+2, the clip test, a bracketed leader"),
    "judge": ("monitor.cli.judge", "write down what the dry film looks like"),
    "archive": ("monitor.cli.archive", "negatives and prints by number: notes on exposure, a strip for the sleeve, and finding them again"),
    "completion": ("monitor.cli.completion", "a script that lets bash, zsh or fish complete commands, options and files"),
}


UNITS = "EVENBATH_UNITS"
"""The variable with the unit of temperature that people see: C or F."""
KEEP_STATE = frozenset({"station", "record"})
"""Commands whose files are for their own user and group alone, whatever the umask."""
OURS_ALONE, OTHERS_WRITE = 0o027, 0o002
"""A umask that lets everybody write, as 000 does, is nobody's wish."""


def _help() -> str:
    width = max(map(len, COMMANDS))
    rows = "\n".join(f"  {name:<{width}}  {text}" for name, (_, text) in COMMANDS.items())
    return (
        "usage: evenbath COMMAND ...\n\n"
        "A second pair of senses for developing film: it knows how warm the developer is, turns that into development done,\n"
        "tells you by ear what to do next, and keeps a truthful record.\n\n"
        f"{rows}\n\n  evenbath COMMAND --help says more; evenbath --version shows the version.\n"
        "It guides film, not health: it is not a gas or fire alarm. Keep a second clock that needs neither this tool nor the mains.\n"
    )


def main(argv: list[str] | None = None) -> int:
    """Run one command. Returns the exit status; never lets a traceback reach a person unless EVENBATH_TRACEBACK is set."""
    words = [_text(word) for word in (sys.argv[1:] if argv is None else argv)]
    if not words or words[0] in ("-h", "--help"):
        sys.stdout.write(_help())
        return 0 if words else 2
    if words[0] in ("-V", "--version"):
        sys.stdout.write(f"evenbath {__version__}\n")
        return 0
    if words[0] not in COMMANDS:
        from monitor.cli.nearest import did_you_mean
        from monitor.core.text.controls import one_line

        near = did_you_mean(words[0], COMMANDS)
        sys.stderr.write(f'evenbath: "{one_line(words[0])}" is not a command{near}; allowed: {", ".join(COMMANDS)}\n')
        return 2
    return _run(words[0], words[1:])


def _text(word: str) -> str:
    """An argument as text that can be written anywhere: bytes that are no UTF-8 are replaced, unless they are a path."""
    if word.isascii() or os.path.lexists(word) or ("/" in word and os.path.isdir(os.path.dirname(word))):  # noqa: PTH112, PTH120
        return word
    return "".join("\ufffd" if "\ud800" <= sign <= "\udfff" else sign for sign in word)


def _run(name: str, words: list[str]) -> int:
    from monitor.cli.plain_streams import plain_streams

    if sys.stdout is None:  # closed by the caller, `>&-`: output goes nowhere, the work is done all the same
        sys.stdout = open(os.devnull, "w")  # noqa: SIM115, PTH123
    if sys.stderr is None:
        sys.stderr = open(os.devnull, "w")  # noqa: SIM115, PTH123
    mask = os.umask(0o077)
    os.umask(mask | OURS_ALONE if name in KEEP_STATE or not mask & OTHERS_WRITE else mask)
    try:
        with plain_streams(name):
            return _finished(name, words)
    finally:
        os.umask(mask)


def _units(name: str, args: argparse.Namespace) -> AbstractContextManager[None]:
    """Celsius, unless the person or the station file has chosen. What keeps records speaks Celsius always."""
    from contextlib import nullcontext

    own, file = os.environ.get(UNITS), getattr(args, "file", None)
    if name in KEEP_STATE or not (own or file):
        return nullcontext()
    from monitor.cli.arguments.units import chosen

    return chosen(own, file)


def _finished(name: str, words: list[str]) -> int:
    import argparse
    import importlib

    from monitor.core.errors import EvenbathError
    from monitor.core.text.controls import one_line

    try:
        module = importlib.import_module(COMMANDS[name][0])
        says = COMMANDS[name][1]
        parser = _parser(argparse.ArgumentParser)(
            prog=f"evenbath {name}", description=f"{says[0].upper()}{says[1:]}.", allow_abbrev=False
        )
        module.configure(parser)
        args = parser.parse_args(words)
        with _units(name, args):
            status: int = module.run(args)
        sys.stdout.flush()
        return status
    except SystemExit as stop:  # argparse: 0 after --help, 2 after a usage error
        return stop.code if isinstance(stop.code, int) else 2
    except EvenbathError as wrong:
        for line in wrong.lines:
            sys.stderr.write(f"{one_line(line)}\n")
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
        if isinstance(fault, OSError) and fault.errno in (errno.EMFILE, errno.ENFILE):
            return _no_descriptors(name, fault)
        if os.environ.get("EVENBATH_TRACEBACK"):
            raise
        sys.stderr.write(f"evenbath {name}: an error in the program itself: {type(fault).__name__}: {one_line(str(fault))}\n")
        sys.stderr.write("Nothing more was done. For a report to the developers set EVENBATH_TRACEBACK=1 and run it again.\n")
        return 1


def _parser(base: type[argparse.ArgumentParser]) -> type[argparse.ArgumentParser]:
    """A parser (and its sub-parsers) that says in one line what is wrong, without the whole usage first."""

    class Parser(base):  # type: ignore[misc, valid-type]
        def error(self, message: str) -> NoReturn:
            import re

            from monitor.cli.nearest import meant
            from monitor.core.text.controls import one_line

            message = re.sub(r"^argument [^:]* \| [^:]*:", "action:", message)  # not all of them as the name of one
            sys.stderr.write(f"{self.prog}: {one_line(message + meant(self, message))}; {self.prog} --help tells what is allowed\n")
            raise SystemExit(2)

    return Parser


def _no_descriptors(name: str, wrong: OSError) -> int:
    """A limit on open files that is too low is reported in one line; it is not the program's fault."""
    sys.stderr.write(f"evenbath {name}: no more files may be opened ({wrong.strerror}); allowed: a higher limit, such as ulimit -n 256\n")
    return 2


def _no_room(name: str, wrong: OSError) -> int:
    """A full disk or output is reported in one line; it is not the program's fault."""
    sys.stderr.write(f"evenbath {name}: cannot be written ({wrong.strerror}); allowed: a disk with room\n")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # nothing more is tried when the interpreter ends
    return 2


if __name__ == "__main__":
    sys.exit(main())
