"""The rows of the live view: which there are, what stands in each, and which go first where there are too few.

`render` is a pure function from plain values to lines of characters; it never writes more cells than there are. Which rows there are
hangs on the size of the terminal and on the recipe, never on what happens: each row keeps its place from the first second to the last.
Two are always kept for a FAULT with its reason and what to do. Tests: tests/live/view/test_layout.py, tests/live/view/test_screen.py.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from monitor.core.probes.readings import NOT_ITS_BATH
from monitor.core.recipe.values import Stage
from monitor.core.text.degrees import degrees, in_unit_shown, unit
from monitor.core.text.doubt import TWO_SD
from monitor.core.text.quantities import format_duration
from monitor.live.view import trace, words
from monitor.live.view.hands import Hands, agitation, gate, hands, last_word, moment_s, moved_spans
from monitor.live.view.state import NOTICE_S, Point, ViewState
from monitor.live.view.text import Line, Piece, Style, cells, clean, cut, cut_line, fold
from monitor.live.view.trust import of_role, trust

WIDE = 76
"""From so many columns on the figures at the right have their words in full."""
LEAST_PLOT_ROWS, MOST_PLOT_ROWS = 4, 14
WAITING_S = 300.0
"""While no clock runs the columns are the last five minutes."""
FIGURE_CELLS = 7
RANKS = {
    "time": 0, "fault": 1, "under": 2, "keys": 3, "title": 4, "progress": 5, "trust": 6, "do": 7, "movement": 8, "then": 9, "sheets": 10,
    "plot": 11, "trust more": 12, "rule": 13, "gap": 14,
}  # fmt: skip
"""Where there are too few lines the highest goes first; of several alike the last."""
ROWS = (
    "title", "rule", "fault", "do", "gap", "time", "under", "gap", "movement", "progress", "gap", "plot", "gap", "trust",
    "trust more", "gap", "then", "sheets", "keys",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Look:
    """What the terminal can show. `unicode`: braille and blocks."""

    unicode: bool = True


@dataclass(frozen=True, slots=True)
class _Frame:
    """The columns: `left` of the plot the labels, then `columns`, then at least `right` for the figures."""

    width: int
    look: Look

    @property
    def wide(self) -> bool:
        return self.width >= WIDE

    @property
    def left(self) -> int:
        return 8 if self.wide else 7 if self.width >= 30 else 0

    @property
    def columns(self) -> int:
        columns = self.width - self.left - (28 if self.wide else 22 if self.look.unicode else 25)
        return columns if columns >= trace.LEAST_COLUMNS else 0


def render(state: ViewState, points: Sequence[Point], width: int, height: int, look: Look | None = None) -> list[Line]:
    """The whole view in at most `height` lines of at most `width` cells."""
    frame = _Frame(width, Look() if look is None else look)
    rows, plot_rows = _rows(state, frame, height)
    picture = _Picture(state, points, frame)
    lines: list[Line] = []
    for row in rows:
        lines += picture.plot(plot_rows) if row == "plot" else [picture.row(row)]
    return [cut_line([Piece(clean(p.text), p.style) for p in line], width) for line in lines]


def _rows(state: ViewState, frame: _Frame, height: int) -> tuple[list[str], int]:
    """The rows from above, and how many lines the plot has without its times. By size and recipe alone."""
    rows = list(ROWS)
    if state.sheets is None:
        rows.remove("sheets")
    if not state.keys:
        rows.remove("keys")
    if not frame.columns:
        rows.remove("plot")
    while rows and (needed := len(rows) + (LEAST_PLOT_ROWS if "plot" in rows else 0)) > height:
        worst = max(rows, key=lambda row: RANKS[row])
        del rows[len(rows) - 1 - rows[::-1].index(worst)]
    needed = len(rows) + LEAST_PLOT_ROWS
    return rows, min(MOST_PLOT_ROWS, LEAST_PLOT_ROWS + height - needed) if "plot" in rows else 0


class _Picture:
    """One moment, row by row."""

    def __init__(self, state: ViewState, points: Sequence[Point], frame: _Frame) -> None:
        self._state = state
        self._points = points
        self._frame = frame
        self._hands = hands(state)
        self._axis = _axis(state, frame.columns) if frame.columns else None
        self._by_row: dict[str, Callable[[], Line]] = {
            "title": self._title,
            "rule": self._rule,
            "fault": lambda: self._told()[0],
            "do": lambda: self._told()[1],
            "time": self._time,
            "under": self._under,
            "movement": self._movement,
            "progress": self._progress,
            "trust": lambda: self._labelled("trust", self._trust()[0]),
            "trust more": lambda: self._labelled("", self._trust()[1]),
            "then": lambda: self._labelled("then", self._then()),
            "sheets": lambda: self._labelled("sheets", self._sheets()),
            "keys": lambda: self._labelled("keys", self._state.keys),
        }

    def row(self, name: str) -> Line:
        """One row; empty where it has nothing to say."""
        return self._by_row[name]() if name in self._by_row else []

    def plot(self, rows: int) -> list[Line]:
        """The temperatures and the times below them, in exactly `rows` + 1 lines."""
        if self._state.gone is not None or self._axis is None:
            return [[] for _ in range(rows + 1)]
        unicode, frame = self._frame.look.unicode, self._frame
        wanted = None if self._stage is None or self._stage.band_c is None else self._stage
        band = None if wanted is None or wanted.band_c is None else (wanted.reference_c - wanted.band_c, wanted.reference_c + wanted.band_c)
        lines = trace.draw(self._points, self._axis, rows, band, list(self._endings()), frame.left, frame.width, unicode)
        times = trace.times(self._axis, self._end_s).ljust(frame.columns + 6)
        room = self._room()
        return [*lines, [Piece(" " * frame.left + times, "dim"), Piece(f" {room}" if room else "", "dim")]]

    # -- above ------------------------------------------------------------------------------------------------------

    @property
    def _stage(self) -> Stage | None:
        """The stage that runs, or that waits."""
        state = self._state
        if state.stage is not None:
            return state.stage
        return None if state.closed is not None else state.stages[(state.seen.waits_for or 1) - 1]

    def _title(self) -> Line:
        state, width = self._state, self._frame.width
        stage = self._stage
        here = "OVER" if stage is None or state.closed is not None else stage.name.upper()
        of = "" if stage is None or state.closed is not None else f" {stage.number} of {len(state.stages)}"
        waits = ", waits" if stage is not None and state.stage is None else ""
        word = state.mode if state.word_s is None else f"word {state.word_s:.1f} s old"
        head = cut(clean(here), max(4, width - cells(of + waits)))
        name = cut(f"  {clean(state.name)}", max(0, width - cells(head + of + waits) - cells(word) - 2))
        gap = width - cells(head + of + waits + name) - cells(word)
        return [Piece(head, "bold"), Piece(of + waits), Piece(name), Piece(" " * max(2, gap)), Piece(word, "dim")]

    def _rule(self) -> Line:
        """A line that says what +/- means wherever it stands below."""
        line, sign = ("\u2500", "\u00b1") if self._frame.look.unicode else ("-", "+/-")
        told = f" {sign} {TWO_SD}"
        return [Piece(line * max(0, self._frame.width - cells(told)) + told, "dim")]

    def _told(self) -> tuple[Line, Line]:
        """The two rows that are always kept: a station that is gone, else FAULT with its reason and what to do, else what is new."""
        state, width = self._state, self._frame.width
        if state.gone is not None:
            ago = format_duration(float(int(state.gone.for_s)))
            gone, clock = f" STATION GONE since {state.gone.since} ({ago}).", " Go on by the second clock."
            card = " Use the wall card; the station takes the session up by itself when it is back."
            gone, card = (gone + clock, card) if cells(gone + clock) <= width else (gone, clock)
            return [Piece(cut(gone, width).ljust(width), "bold reverse")], [Piece(cut(card, width), "bold")]
        if state.faults:
            return self._fault()
        new = [*([gate(state)] if gate(state) else []), *dict.fromkeys(state.notices[-2:])]
        told = self._labelled("news", "; ".join(new)) if new else []
        return told, self._labelled("sounded", self._sounded()) if self._sounded() and not self._hands.alarm else []

    def _fault(self) -> tuple[Line, Line]:
        state, width = self._state, self._frame.width
        fault = state.faults[-1]
        at = "" if fault.t_s is None else f" {format_duration(max(0.0, fault.t_s - (state.seen.began_s or 0.0)))}"
        if fault.t_s is not None and fault.t_s < (state.seen.began_s or 0.0):
            at = f" {format_duration(state.t_s - fault.t_s)} ago"
        more = f", {len(state.faults) - 1} more" if len(state.faults) > 1 else ""
        label = f" FAULT{at}{more} "
        hang = cells(label) + 1 if self._frame.wide else 1
        first, rest = _in_two(in_unit_shown(fault.why), max(8, width - cells(label) - 1), width - hang - cells(fault.do) - 1)
        head = [Piece(label, "bold reverse"), Piece(f" {first}", "bold")]
        return head, [Piece(" " * hang), Piece(f"{rest} " if rest else "", "bold"), Piece(fault.do)]

    def _sounded(self) -> str:
        """The newest sound, for a minute: one that is longer ago speaks of nothing here."""
        sound = self._state.sound
        if sound is None or self._state.t_s - sound.t_s > NOTICE_S:
            return ""
        sheet = "" if sound.sheet is None else f", sheet {sound.sheet}"
        ago_s = max(0.0, self._state.t_s - sound.t_s)
        ago = "just now" if ago_s < 1 else f"{format_duration(float(int(ago_s)))} ago"
        why = f": {in_unit_shown(sound.why)}" if sound.why else ""
        return f"{words.SOUNDS.get(sound.cue, sound.cue)}{sheet}, {ago}{why}"

    def _time(self) -> Line:
        """The hands' moment; inverse over the whole width when it has come."""
        told, width = self._hands, self._frame.width
        if self._state.gone is not None:
            told = Hands("?:??", "time not known any more;", "nothing is measured here now")
        if told.alarm:
            return [Piece(cut(f"{told.figure:>{FIGURE_CELLS}}  {told.verb}{told.rest}", width).ljust(width), "bold reverse")]
        return [
            Piece(f"{told.figure:>{FIGURE_CELLS}}  ", "bold"),
            Piece(f"{told.lead} " if told.lead else "", "bold" if told.lead.startswith("READY") else ""),
            Piece(told.verb, "bold"),
            Piece(told.rest),
        ]

    def _under(self) -> Line:
        told = self._hands
        if self._state.gone is not None:
            said = last_word(self._state)
            return [Piece(self._fitting(f"said: {said}" if said else ""))]
        style: Style = "bold" if told.urgent or told.alarm or self._state.moved_new else "dim"
        return [Piece(self._fitting(told.under), style)]

    def _fitting(self, text: str) -> str:
        """The text below the hands' figure, without the last of its clauses that have no room."""
        indent = " " * (FIGURE_CELLS + 2) if self._frame.width >= 30 else ""
        parts = text.split("; ")
        while len(parts) > 1 and cells(indent + "; ".join(parts)) > self._frame.width:
            parts.pop()
        return indent + "; ".join(parts)

    # -- on the columns of the picture ------------------------------------------------------------------------------

    @property
    def _end_s(self) -> float | None:
        seen = self._state.seen
        return None if seen.began_s is None or self._state.stage is None or self._state.stage.has_no_clock else seen.end_t_s

    def _movement(self) -> Line:
        state, axis, end_s = self._state, self._axis, self._end_s
        told = agitation(state) if state.gone is None else ""
        style: Style = "bold" if told.startswith("AGITATE") else ""
        if axis is None:
            return [Piece("move ", "dim"), Piece(told, style)]
        spans: list[tuple[float, float]] = []
        if state.stage is not None and state.seen.began_s is not None and end_s is not None and state.gone is None:
            spans = list(moved_spans(state, state.stage, state.seen.began_s, axis.until_s))
        rail = trace.movement(axis, spans, state.t_s, self._frame.look.unicode)
        return [Piece("move".ljust(self._frame.left), "dim"), *rail, Piece(f"  {told}", style)]

    def _progress(self) -> Line:
        state, axis, end_s = self._state, self._axis, self._end_s
        seen, stage = state.seen, state.stage
        if stage is None or seen.began_s is None or end_s is None or state.gone is not None:
            return [Piece("done".ljust(self._frame.left), "dim")]
        told = self._signs(words.done(seen).removesuffix(" %"))
        if not told:
            share = min(1.0, max(0.0, (state.t_s - seen.began_s) / max(0.1, end_s - seen.began_s)))
            told = f"{100.0 * share:.0f} % of the time"
        if seen.until == "at least" and state.t_s >= end_s:
            told = "the minimum is over"
        limit = words.limit(seen.compared, state.colour) if seen.done_ref_s is not None else ""
        if axis is None:
            return [Piece("done ", "dim"), Piece(told, "bold")]
        now_s = moment_s(seen, stage)
        if seen.until == "time":
            marks = [(now_s - stage.ready_s if seen.ready_s is None else seen.ready_s, "R"), (now_s, "N")]
        else:
            marks = [(end_s, "M"), *([] if stage.at_most_s is None else [(seen.began_s + stage.at_most_s, "N")])]
        until_s = max([end_s, *(at_s for at_s, _ in marks)])
        rail = trace.progress(axis, state.t_s, until_s, marks, self._frame.look.unicode)
        line = [Piece("done".ljust(self._frame.left), "dim"), *rail, Piece(f"  {told}", "bold")]
        tail = f" {limit}" if limit else ""
        fits = sum(cells(p.text) for p in line) + cells(tail) <= self._frame.width
        return [*line, Piece(tail)] if fits else line

    def _endings(self) -> Iterable[trace.Ending]:
        """The value at the end of each line, with its unit and doubt, and what it is of."""
        state, wide = self._state, self._frame.wide
        if not self._points:
            return
        last = self._points[-1]
        if last.developer_c is not None and state.seen.developer_c is not None:
            by = {"developer": "developer", "witness": "witness", "vessel model": "estimated", "held": "held"}
            word = by.get(state.seen.source, state.seen.source)
            if not wide:
                word = {"developer": "dev.", "estimated": "est."}.get(word, word)
            yield trace.Ending(last.developer_c, self._figure(state.seen.developer_c, state.seen.developer_sd_c or 0.0), word)
        bath = of_role(state, "bath")
        if last.bath_c is not None and bath is not None and bath[1].celsius is not None:
            if state.doubts.get(bath[0], ("", None))[0].startswith(NOT_ITS_BATH):
                yield trace.Ending(last.bath_c, self._signs(degrees(bath[1].celsius, ".2f")), "bath, not believed" if wide else "not so")
            else:
                yield trace.Ending(last.bath_c, self._figure(bath[1].celsius, words.reading_sd(bath[2])), "bath")
        if last.disbelieved_c is not None:
            yield trace.Ending(last.disbelieved_c, self._signs(degrees(last.disbelieved_c, ".2f")), "not believed" if wide else "not so")

    def _figure(self, celsius: float, sd_c: float) -> str:
        return self._signs(f"{degrees(celsius, '.2f')} {words.doubt(sd_c).removesuffix(f' {unit()}')}")

    def _signs(self, text: str) -> str:
        if not self._frame.look.unicode:
            return text.replace("+/- ", "+/-")
        return text.replace("+/- ", "\u00b1").replace(f" {unit()}", f" \u00b0{unit()}")

    def _room(self) -> str:
        """The room's temperature where there is a place for it; what is old has no figure."""
        found = of_role(self._state, "room")
        if found is None or not self._frame.wide:
            return ""
        _, told, sd_c = found
        if told.celsius is None or told.quality != "good":
            return f"room {words.QUALITIES.get(told.quality, 'is not read')}"
        return f"room {self._figure(told.celsius, words.reading_sd(sd_c))}"

    # -- below ------------------------------------------------------------------------------------------------------

    def _labelled(self, label: str, text: str) -> Line:
        left = max(self._frame.left, cells(label) + 1 if label else self._frame.left)
        return [Piece(label.ljust(left), "dim"), Piece(cut(clean(text), max(0, self._frame.width - left)))]

    def _trust(self) -> tuple[str, str]:
        if self._state.gone is not None:
            return "", ""
        room = max(8, self._frame.width - self._frame.left)
        parts = [part for part in trust(self._state) if part]
        while len(parts) > 1 and len(fold("; ".join(parts), room)) > 2:
            parts.pop()
        first, *rest = fold("; ".join(parts), room)
        return first, " ".join(rest)

    def _then(self) -> str:
        state = self._state
        if state.closed is not None:
            return "nothing"
        number = state.seen.stage or (state.seen.waits_for or 1)
        told = [f"{s.number} {s.name.upper()}{words.how_long(s)}" for s in state.stages[number:]]
        all_of_them = len(told)
        while len(told) > 1 and cells("   ".join(told)) + 5 * (len(told) < all_of_them) > self._frame.width - self._frame.left:
            told.pop()
        return "   ".join([*told, *([".."] if len(told) < all_of_them else [])]) or "nothing: this is the last stage"

    def _sheets(self) -> str:
        state, began_s = self._state, self._state.seen.began_s or 0.0
        if not state.exits or state.gone is not None:
            return ""
        return "out: " + ", ".join(f"{sheet} at {format_duration(at_s - began_s)}" for sheet, at_s in state.exits)


def _in_two(why: str, above: int, below: int) -> tuple[str, str]:
    """A reason in two rows of so many cells; where it is too long its first clause alone, and where that is too, cut."""
    for told in (why, why.partition("; ")[0]):
        first, *rest = fold(told, above)
        if cells(" ".join(rest)) < below:
            return first, f"{' '.join(rest)}." if rest else ""
    return cut(why, above), ""


def _axis(state: ViewState, columns: int) -> trace.Axis:
    """The stage from its begin to its end, or to its plan's where that is later; the last minutes where no clock runs."""
    seen, stage = state.seen, state.stage
    if stage is None or seen.began_s is None or seen.end_t_s is None or stage.has_no_clock:
        return trace.Axis(state.t_s - WAITING_S, state.t_s, state.t_s, columns)
    planned_s = seen.began_s + max(stage.begin_to_end_s, stage.at_most_s or 0.0, 10.0)
    out_s = [at_s for _, at_s in state.exits]
    return trace.Axis(seen.began_s, max([planned_s, seen.end_t_s, state.t_s, *out_s]), seen.began_s, columns)
