"""Where a session is shown: drawn on a terminal, or in plain lines where there is none.

What is drawn is `layout`'s; the values come from `Watched` (monitor.live.view.state), fed by a rehearsal (`open_view`) or by what a
station sends (`follow_view`). It may not decide anything about a session. It stays in the terminal's own two colours, bold, dim and
inverse apart. `rich` is loaded only where a terminal is drawn on; no daemon loads this.
Tests: tests/live/view/test_screen.py, tests/cli/test_demo.py.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, TextIO

from monitor.core.journal.snapshot import Snapshot
from monitor.live.view.layout import Look, render
from monitor.live.view.lines import PlainLines
from monitor.live.view.state import Gone, Watched
from monitor.live.view.text import clean

if TYPE_CHECKING:
    from monitor.core.recipe.values import Recipe
    from monitor.core.session.session import Session

POOR_TERMINALS = ("vt", "linux", "dumb", "ansi", "cons")
"""Kinds of terminal whose fonts have no braille, whatever their encoding."""


class TerminalView:
    """Draws on a terminal, on its other screen, and gives it back in `close`."""

    def __init__(self, watched: Watched, snapshot: Callable[[], Snapshot] | None) -> None:
        from rich.console import Console
        from rich.live import Live

        self._watched = watched
        self._snapshot = snapshot
        self._console = Console(highlight=False, markup=False, emoji=False)
        self._look = Look(unicode_terminal(sys.stdout, os.environ))
        self._live = Live(console=self._console, screen=True, auto_refresh=False, transient=True, redirect_stdout=False)
        self._live.start()

    def record(self, record: Mapping[str, Any]) -> None:
        """A record was written."""
        self._watched.record(record)

    def seen(self, snapshot: Mapping[str, Any]) -> None:
        """A snapshot has come, as the station sends it."""
        self._watched.snapshot(Snapshot.read(snapshot))

    def notice(self, text: str) -> None:
        """Show a sentence for a while."""
        self._watched.notice(text)

    def gone(self, gone: Gone | None) -> None:
        """The station that is followed does not answer, or (None) it does."""
        self._watched.gone = gone

    def word(self, age_s: float) -> None:
        """How old the station's last word is."""
        self._watched.word_s = age_s

    def show(self) -> None:
        """Draw."""
        from rich.text import Text

        if self._snapshot is not None:
            self._watched.snapshot(self._snapshot())
        width, height = self._console.size
        picture = Text(no_wrap=True, end="")
        for number, line in enumerate(render(self._watched.state, self._watched.trace, width, height, self._look)):
            picture.append("\n" if number else "")
            for piece in line:
                picture.append(piece.text, style=piece.style or None)
        self._live.update(picture, refresh=True)

    def close(self) -> None:
        """Give the terminal back."""
        self._live.stop()


class PlainView:
    """One plain line when something changes."""

    def __init__(self, watched: Watched, out: TextIO) -> None:
        self._lines = PlainLines(watched)
        self._out = out
        self._gone = False
        self._told_gone = False

    def record(self, record: Mapping[str, Any]) -> None:
        """A record was written."""
        for line in self._lines.record(record):
            self._say(line)

    def seen(self, snapshot: Mapping[str, Any]) -> None:
        """Snapshots change nothing here: the lines hang on the records alone."""

    def notice(self, text: str) -> None:
        """Say a sentence."""
        self._say(text)

    def gone(self, gone: Gone | None) -> None:
        """Say once that the station is gone, and once that it is back."""
        if (gone is None) == self._told_gone:
            self._say("the station is back" if gone is None else f"STATION GONE since {gone.since}: go on by the second clock")
        self._told_gone = gone is not None

    def word(self, age_s: float) -> None:
        """Lines have the time of what they tell."""

    def show(self) -> None:
        """Nothing is drawn; what was said shall be seen."""
        self._flush()

    def close(self) -> None:
        """Over."""
        self._flush()

    def _say(self, line: str) -> None:
        encoding = self._out.encoding or "utf-8"
        if not self._gone:
            self._out.write(clean(line).encode(encoding, "replace").decode(encoding) + "\n")

    def _flush(self) -> None:
        try:
            self._out.flush()
        except BrokenPipeError:  # whoever read has gone; what is watched goes on
            self._gone = True


def drawable(out: TextIO, environ: Mapping[str, str]) -> bool:
    """Whether a view can be drawn there: a terminal that can move its cursor."""
    return out.isatty() and environ.get("TERM", "dumb") not in ("dumb", "unknown", "")


def unicode_terminal(out: TextIO, environ: Mapping[str, str]) -> bool:
    """Whether braille and blocks can be shown: by the encoding, the locale as it was before Python mended it, the kind of terminal."""
    if (out.encoding or "").lower().replace("-", "").replace("_", "") != "utf8":
        return False
    if environ.get("TERM", "dumb").startswith(POOR_TERMINALS):
        return False
    own = environ.get("LC_CTYPE", "")
    coerced = own == "C.UTF-8" and environ.get("LANG", "") in ("", "C", "POSIX")  # PEP 538: Python sets this by itself
    locale = environ.get("LC_ALL") or ("" if coerced else own) or environ.get("LANG", "")
    return locale not in ("", "C", "POSIX")


def open_view(session: Session, speed: float | None) -> TerminalView | PlainView:
    """A view of a rehearsal. `speed`: how many times as fast as real time, None as fast as the machine can."""
    fast = "as fast as it can" if speed is None else "real time" if speed == 1 else f"{speed:g} times as fast"
    watched = Watched(session.recipe, f"rehearsal, {fast}")
    if drawable(sys.stdout, os.environ) and speed is not None:
        return TerminalView(watched, lambda: session.snapshot)
    return PlainView(watched, sys.stdout)


def follow_view(recipe: Recipe, opening: Mapping[str, Any], keys: str = "") -> TerminalView | PlainView:
    """A view of a session that runs elsewhere: give it each `record` and each snapshot (`seen`), and `show`.

    `opening`: `probes` and `vessel` of the session's open record, so that each +/- can be said; a probe that is not there counts as
    not compared. `keys`: what the keyboard does, if anything.
    """
    watched = Watched(recipe, "live", opening, keys)
    return TerminalView(watched, None) if drawable(sys.stdout, os.environ) else PlainView(watched, sys.stdout)
