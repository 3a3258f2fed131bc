"""The live view of a session in the terminal, and plain lines where there is no terminal.

`render` is a pure function from plain values to lines of characters; it never writes more cells than there are. The values
come from `Watched` (monitor.live.view.state), fed by a rehearsal (`open_view`) or by what a station sends (`follow_view`).
It may not decide anything about a session. It stays in the terminal's own two colours, bold, dim and inverse apart; meaning never
hangs on colour. `rich` is loaded only where a terminal is drawn on; no daemon loads this.
Tests: tests/live/view/test_screen.py, tests/cli/test_demo.py.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TextIO

from monitor.core.journal.snapshot import Snapshot
from monitor.core.journal.words import OUTSIDE_DATA
from monitor.core.probes.learned import NOT_COMPARED_SD_C
from monitor.core.recipe.data_range import known_outside
from monitor.core.text.quantities import format_duration
from monitor.live.view import words
from monitor.live.view.hands import hands, last_word
from monitor.live.view.lines import PlainLines
from monitor.live.view.state import Gone, KnownProbe, Point, ViewState, Watched
from monitor.live.view.text import Line, Piece, cells, clean, cut, cut_line, fold, labelled
from monitor.live.view.trace import LEAST_ROWS, draw

if TYPE_CHECKING:
    from monitor.core.recipe.values import Recipe
    from monitor.core.session.session import Session

NARROW = 60
"""Below this many columns the labels stand closer and the bar alone in its line."""
MOST_TRACE_ROWS = 14
POOR_TERMINALS = ("vt", "linux", "dumb", "ansi", "cons")
"""Kinds of terminal whose fonts have no braille, whatever their encoding."""


@dataclass(frozen=True, slots=True)
class Look:
    """What the terminal can show. `unicode`: braille and blocks."""

    unicode: bool = True


@dataclass(frozen=True, slots=True)
class _LineGroup:
    """Lines that stay together. Of blocks that do not fit all, the one with the highest `rank` goes first."""

    rank: int
    lines: list[Line]


def render(state: ViewState, trace: Sequence[Point], width: int, height: int, look: Look | None = None) -> list[Line]:
    """The whole view in at most `height` lines of at most `width` cells."""
    look = Look() if look is None else look
    blocks = _blocks(state, width, look) if state.gone is None else _gone(state, state.gone, width, look)
    while len(blocks) > 1 and sum(len(b.lines) for b in blocks) > height:
        blocks.remove(max(blocks, key=lambda b: b.rank))
    lines = [line for block in blocks for line in block.lines]
    rows = min(MOST_TRACE_ROWS, height - len(lines))
    if rows >= LEAST_ROWS and state.gone is None:
        lines += draw(trace, state.begins, width, rows, look.unicode)
    return [cut_line([Piece(clean(p.text), p.style) for p in line], width) for line in lines[:height]]


def _blocks(state: ViewState, width: int, look: Look) -> list[_LineGroup]:
    column = 7 if width < NARROW else 11
    seen = state.seen
    limit = words.limit(seen.compared, state.colour)
    return [
        *_title(state, width),
        _LineGroup(6, [_stages(state, width, look)]),
        _LineGroup(9, [[]] if width >= NARROW else []),
        *_development(state, width, column, limit, look),
        _LineGroup(2, [line for i, (label, text) in enumerate(hands(state)) for line in _hand(label, text, width, column, i == 0)]),
        _LineGroup(7, labelled("sounded" if width >= NARROW else "sound", _sounded(state), width, column)),
        _LineGroup(9, [[]] if width >= NARROW else []),
        *_temperatures(state, width, column, limit),
        _LineGroup(4, labelled("trust", _trust(state), width, column, "bold" if state.lost or state.outside else "")),
        *([_LineGroup(3, labelled("keys", state.keys, width, column))] if state.keys else []),
    ]


def _gone(state: ViewState, gone: Gone, width: int, look: Look) -> list[_LineGroup]:
    """The station is gone: nothing that it measured or counted is shown as if it still held; what it had promised is told as the past."""
    column = 7 if width < NARROW else 11
    ago = format_duration(float(int(gone.for_s)))
    told = fold(f"STATION GONE since {gone.since} ({ago}). Go on by the second clock.", width)
    before, card = last_word(state), "by the second clock and the wall card; the station takes the session up by itself when it is back"
    return [
        *_title(state, width),
        _LineGroup(6, [_stages(state, width, look)]),
        _LineGroup(9, [[]]),
        _LineGroup(0, [[Piece(line.ljust(width), "reverse")] for line in told]),
        _LineGroup(9, [[]]),
        _LineGroup(1, labelled("time", "not known any more; nothing is measured here now", width, column, "bold")),
        *([_LineGroup(2, labelled("said", before, width, column))] if before else []),
        _LineGroup(4, labelled("next", card, width, column)),
    ]


def _title(state: ViewState, width: int) -> list[_LineGroup]:
    mode = state.mode
    if width < NARROW:
        return [_LineGroup(0, [[Piece(cut(clean(state.name), width), "bold")]]), _LineGroup(9, [[Piece(mode, "dim")]])]
    name = cut(clean(state.name), max(10, width - cells(mode) - 2))
    gap = width - cells(name) - cells(mode)
    return [_LineGroup(0, [[Piece(name, "bold"), Piece(" " * max(2, gap)), Piece(mode, "dim")]])]


def _stages(state: ViewState, width: int, look: Look) -> Line:
    """All stages in a row, the current one in brackets; where that does not fit, the current one alone."""
    number, stages = state.seen.stage, state.stages
    arrow = " > " if not look.unicode else " \u203a "
    line: Line = []
    for stage in stages:
        here = stage.number == number
        line.append(Piece(f"[{stage.name.upper()}]" if here else stage.name, "bold" if here else "dim"))
        line.append(Piece(arrow, "dim"))
    line.pop()
    if sum(cells(p.text) for p in line) <= width:
        return line
    if number is None:
        return [Piece(f"{len(stages)} stages; first: {stages[0].name}")]
    return [Piece(f"stage {number} of {len(stages)}: "), Piece(f"[{stages[number - 1].name.upper()}]", "bold")]


def _hand(label: str, text: str, width: int, column: int, first: bool) -> list[Line]:
    return labelled(label, text, width, column, "bold" if first else "")


def _development(state: ViewState, width: int, column: int, limit: str, look: Look) -> list[_LineGroup]:
    seen = state.seen
    stage, begun_s, end_s, t_s = state.stage, seen.began_s, seen.end_t_s, state.t_s
    if stage is None or begun_s is None or end_s is None:
        waits = "not begun" if seen.waits_for in (None, 1) else f"{state.stages[seen.waits_for - 1].name.upper()} waits, no clock runs"
        return [_LineGroup(1, labelled("time", state.closed or waits, width, column))]
    if stage.has_no_clock:
        return [_LineGroup(1, labelled("time", f"loading: {words.loading(state.following)}", width, column, "bold"))]
    blocks = [_LineGroup(1, labelled("time", _time(state, begun_s), width, column, "bold"))]
    if seen.done_ref_s is not None and seen.done_sd_ref_s is not None and seen.target_ref_s is not None:
        percent = words.percent(seen.done_ref_s, seen.target_ref_s)
        by_clock = "" if seen.steered else "; by the clock"
        what = f"{words.done(seen)}{by_clock}" + (f", {limit}" if limit else "")
        blocks.append(_LineGroup(1, _bar("done", percent, what, width, column, look)))
    else:
        share = 100.0 * min(1.0, max(0.0, (t_s - begun_s) / (end_s - begun_s))) if end_s > begun_s else 100.0
        blocks.append(_LineGroup(5, _bar("passed", share, f"{share:5.1f} % of the time", width, column, look)))
    blocks.append(_LineGroup(3, labelled("end", _end(state, limit), width, column)))
    if state.sheets is not None and state.exits:
        out = ", ".join(f"{sheet} at {format_duration(at_s - begun_s)}" for sheet, at_s in state.exits)
        blocks.append(_LineGroup(5, labelled("sheets", f"out: {out}", width, column)))
    if state.notices:
        blocks.append(_LineGroup(3, labelled("news", "; ".join(dict.fromkeys(state.notices[-2:])), width, column, "bold")))
    return blocks


def _time(state: ViewState, begun_s: float) -> str:
    seen = state.seen
    at = format_duration(float(int(state.t_s - begun_s)))
    sheet = "" if seen.sheet is None else f" for sheet {seen.sheet}"
    if state.left_s is None:
        return at
    if seen.until == "at least":
        if state.left_s <= 0:
            return f"{at} in {seen.name}; the minimum is over"
        return f"{at} in {seen.name}; {words.left(state.left_s)} to the minimum"
    counted = "" if seen.end_between_s is None else " as counted"
    return f"{at} in {seen.name}; {words.left(state.left_s)} left{sheet}{counted}"


def _bar(label: str, percent: float, text: str, width: int, column: int, look: Look) -> list[Line]:
    full, empty = ("\u2588", "\u2591") if look.unicode else ("#", ".")
    alone = width < NARROW
    room = max(6, min(40, width - column - (0 if alone else cells(text) + 2)))
    done = min(room, max(0, int(room * percent / 100.0 + 1e-9)))
    line = [Piece(label.ljust(column), "dim"), Piece(full * done), Piece(empty * (room - done), "dim")]
    if not alone:
        return [cut_line([*line, Piece("  "), Piece(text, "bold")], width)]
    return [cut_line(line, width), *labelled("", text.strip(), width, column, "bold")]


def _end(state: ViewState, limit: str) -> str:
    seen = state.seen
    if not seen.steered and seen.end_between_s is None:
        return f"{words.end(seen)} by the clock" + ("; temperature does not move it" if seen.role == "develop" else "")
    fixed = "fixed now" if seen.frozen else "forecast"
    moved = "" if state.moved_s is None or abs(state.moved_s) < 0.5 else f"; {words.moved(state.moved_s)}"
    return f"{words.end(seen)}, {fixed}" + (f", {limit}" if limit else "") + moved


def _sounded(state: ViewState) -> str:
    sound = state.sound
    if sound is None:
        return "nothing yet"
    sheet = "" if sound.sheet is None else f", sheet {sound.sheet}"
    ago_s = max(0.0, state.t_s - sound.t_s)
    return f"{words.SOUNDS.get(sound.cue, sound.cue)}{sheet}, {'just now' if ago_s < 1 else f'{format_duration(ago_s)} ago'}"


def _temperatures(state: ViewState, width: int, column: int, limit: str) -> list[_LineGroup]:
    figure, where = words.developer(state.seen, state.coupled_to)
    blocks = [_LineGroup(1, _temperature("developer", figure, where, limit if figure != "not known" else "", width, column))]
    for name, told in state.readings.items():
        if told.role in ("developer", "witness"):
            continue
        probe = state.probes.get(name, KnownProbe(told.role, NOT_COMPARED_SD_C, False))
        figure, where = words.reading(name, told, probe.sd_c, state.t_s)
        own_limit = words.limit(probe.compared, False) if figure != "not known" else ""
        blocks.append(_LineGroup(4 if told.role == "bath" else 8, _temperature(told.role, figure, where, own_limit, width, column)))
    return blocks


def _temperature(label: str, figure: str, where: str, limit: str, width: int, column: int) -> list[Line]:
    text = ", ".join(part for part in (where, limit) if part)
    if width >= NARROW and cells(figure) + cells(text) + column + 2 <= width:
        return [[Piece(label.ljust(column), "dim"), Piece(figure, "bold"), Piece(f"  {text}")]]
    return [[Piece(label.ljust(column - 1) + " ", "dim"), Piece(figure, "bold")], *labelled("", text, width, column)]


def _trust(state: ViewState) -> str:
    seen = state.seen
    began_s = seen.began_s or 0.0
    estimated = ""
    if state.estimated_s >= 1.0:
        estimated = f"{format_duration(state.estimated_s)} of the development was only estimated"
    outside = []
    if state.outside and state.stage is not None and state.stage.law is not None and seen.developer_c is not None:
        outside = [f"{OUTSIDE_DATA}: {known_outside(state.stage, seen.developer_c)}"]
    if state.lost:
        lost = [f"{probe} NOT believed {_since(since_s, state)}: {why}" for probe, (why, since_s) in state.lost.items()]
        return "; ".join([*lost, "time goes on", *outside] + ([estimated] if estimated else []))
    if seen.source not in ("developer", "witness"):
        told_by = words.source(seen.source, state.coupled_to)
        return "; ".join([*outside, f"no probe in the developer is believed; the temperature is {told_by}"])
    believed = f"the {words.source(seen.source)} is believed"
    for told in state.readings.values():
        if told.role in ("developer", "witness") and told.quality != "good":
            believed += f", but just now it {words.QUALITIES.get(told.quality, told.quality)}"
    for since_s, until_s in list(state.back.values())[-1:]:
        if since_s >= began_s:
            believed += f" again ({format_duration(since_s - began_s)} to {format_duration(until_s - began_s)} it was not)"
    return "; ".join(part for part in (*outside, believed, estimated) if part)


def _since(since_s: float | None, state: ViewState) -> str:
    """Since when, on the stage's clock; where it was before the stage, for how long; where nobody saw it, only that it is so."""
    if since_s is None:
        return "when this view began"
    began_s = state.seen.began_s
    if began_s is not None and since_s >= began_s:
        return f"since {format_duration(since_s - began_s)}"
    return f"for {format_duration(state.t_s - since_s)} now"


# -- where it is shown --------------------------------------------------------------------------------------------------


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
