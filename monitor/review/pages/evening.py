"""The picture of a developing stage: three strips on one axis of minutes. Gathers what is drawn, then draws it for a desk or a phone.

Above: when the film was to be moved, READY, NOW as one bar from its first call to the pour; with sheets a row for each. In the middle
the temperature now known with its doubt, the wanted band, the bath as read, what was estimated and why. Below how far the development
lay behind a steady reference. Lines are named at their ends, events where they happened. Tests: tests/review/pages/test_evening.py.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monitor.core.development.rate import rate
from monitor.core.drawing.strips import DEGREES, SECONDS, Drawing, Point, Scale, nice_step, ticks, time_axis
from monitor.core.drawing.words import ON_WORDS, Box, Room, apart, box, width
from monitor.core.text.degrees import celsius_of, degrees, figure, in_unit_shown, plain, span, unit
from monitor.core.text.doubt import two_sd
from monitor.core.text.quantities import format_duration
from monitor.core.text.typeset import typeset
from monitor.review.integrals import weights
from monitor.review.load import Journal
from monitor.review.measures import Review
from monitor.review.numbers import NamedSpan, SessionMeasures, StageMeasures
from monitor.review.smoother import Array
from monitor.review.timeline import Stretch, counted_from_to

WIDE_PX, NARROW_PX = 880.0, 358.0
WIDE_TEXT_PX, NARROW_TEXT_PX = 13.0, 14.0
BIN_S = 20.0
"""A bath is drawn by means over so many seconds: its register's steps would hide its dashes."""
FAR_C = 6.0
"""A bath that is never nearer to the developer is named, not drawn."""
ROOM_FAR_C = 1.5
"""Likewise a room, which would flatten everything else."""
APART_S = 2.5
"""Ticks that lie nearer together belong to one movement."""
CALLS_APART_S = 12.0
"""Soundings of one NOW lie nearer together."""
MOST_NAMED = 3
"""More FAULTs or estimated stretches than this are drawn and counted; the table of calls names each."""
LONGEST_NAME = 14
"""Characters of a probe's name on a phone."""
LEAST_SPAN_C = 0.5
"""The temperature strip shows at least so many degrees: noise does not look like a storm."""


@dataclass(frozen=True, slots=True)
class Part:
    """One film in the stage, seconds since the stage began (of sheets: since the first began). None where there was nothing."""

    name: str
    begin_s: float
    end_s: float
    plan_end_s: float | None
    ready_s: float | None
    now_s: float | None
    told: bool
    result: str
    between_s: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class Curve:
    """A line over seconds since the begin, broken where there is nothing: its pieces."""

    name: str
    kind: str
    pieces: tuple[tuple[Point, ...], ...]

    @property
    def last(self) -> Point:
        """Its end."""
        return self.pieces[-1][-1]


@dataclass(frozen=True, slots=True)
class Evening:
    """What is drawn of one stage. Times: seconds since its begin. `curve`: (t_s, C, two standard deviations, estimated)."""

    name: str
    parts: tuple[Part, ...]
    moved: tuple[tuple[float, float], ...]
    faults: tuple[tuple[float, str], ...]
    curve: tuple[tuple[float, float, float, bool], ...]
    others: tuple[Curve, ...]
    far: tuple[str, ...]
    reference_c: float | None
    band_c: float | None
    estimated: tuple[tuple[float, float, str], ...]
    cuts: tuple[tuple[float, float, str], ...]
    behind: tuple[tuple[Point, ...], ...]
    behind_sd_s: float
    behind_words: tuple[str, str]

    @property
    def end_s(self) -> float:
        """The latest moment on the axis."""
        ends = [max(p.end_s, p.plan_end_s or 0.0, p.between_s[1] if p.between_s else 0.0) for p in self.parts]
        return max(ends)


# --- what is drawn ---------------------------------------------------------------------------------------------------


def gather(journal: Journal, review: Review, number: int) -> Evening | None:
    """All of one stage's picture; None where its temperature is not known at all."""
    track = review.tracks.get(number)
    own = [(p, s) for p, s in zip(review.stretches, review.numbers.stages, strict=True) if p.stage == number]
    if track is None or not own:
        return None
    origin, end_s = min(p.begin_s for p, _ in own), max(p.end_s for p, _ in own)
    times = track.smoothed.t_s
    inside = (times >= origin - 1e-5) & (times <= end_s + 1e-5)
    known_c, marks = track.smoothed.celsius[inside], track.estimated[inside] > 0
    around_c = two_sd(1.0) * np.hypot(track.smoothed.sd_c, track.systematic_sd_c)[inside]
    curve = tuple(zip((times[inside] - origin).tolist(), known_c.tolist(), around_c.tolist(), marks.tolist(), strict=True))
    first = own[0][1]
    others, far = _others(journal, known_c, origin, end_s)
    behind = _behind(review, own, number, origin) if first.rate_law is not None else ()
    return Evening(
        name=first.name,
        parts=tuple(_part(p, s, origin) for p, s in own),
        moved=_moved(journal, own, origin, end_s),
        faults=tuple((f["t_s"] - origin, f["why"] or "") for f in review.numbers.fault_calls if origin <= f["t_s"] <= end_s),
        curve=curve,
        others=(*others, *_live(journal, own, origin, curve)),
        far=far,
        reference_c=first.reference_c,
        band_c=first.band_c,
        estimated=_estimated(review.numbers, own[0][1], origin),
        cuts=tuple(
            (r["t_s"] - (r.get("counted_s") or r.get("gap_s") or 0.0) - origin, r["t_s"] - origin, _away(r))
            for r in review.numbers.resumes
            if origin <= r["t_s"] <= end_s
        ),
        behind=behind,
        behind_sd_s=own[-1][1].done_sd_ref_s or 0.0,
        behind_words=_behind_words(behind, own[-1][1], len(own)) if behind else ("", ""),
    )


def _part(part: Stretch, stage: StageMeasures, origin: float) -> Part:
    plan = stage.begin_s + stage.planned_s - origin if stage.planned_s else None
    least, most = stage.actual_between_s
    cut = stage.longer_s or stage.shorter_s
    result = format_duration(part.actual_s)
    if stage.rate_law is not None and stage.done_percent is not None and stage.done_between_percent is None:
        result += f" · {stage.done_percent:.1f} %"
    return Part(
        name=part.name if part.sheet is None else f"sheet {part.sheet}",
        begin_s=part.begin_s - origin,
        end_s=part.end_s - origin,
        plan_end_s=plan,
        ready_s=None if part.ready_s is None else part.ready_s - origin,
        now_s=None if part.now_s is None or part.now_s > part.end_s else part.now_s - origin,
        told=part.end_told,
        result=result,
        between_s=(part.begin_s - origin + least, part.begin_s - origin + most) if cut else None,
    )


def _moved(journal: Journal, own: Sequence[tuple[Stretch, StageMeasures]], origin: float, end_s: float) -> tuple[tuple[float, float], ...]:
    """(from, to) of every movement that the ticks called for: from its first tick to a second after its last."""
    ticked = [c["t_s"] for c in journal.of("cue") if c["cue"] == "tick" and origin - 1e-6 <= c["t_s"] <= end_s]
    pieces: list[tuple[float, float]] = []
    for t_s in ticked:
        if pieces and t_s - pieces[-1][1] < APART_S - 1.0:
            pieces[-1] = (pieces[-1][0], t_s + 1.0)
        else:
            pieces.append((t_s, t_s + 1.0))
    return tuple((a - origin, b - origin) for a, b in pieces)


def _others(journal: Journal, celsius: Array, origin: float, end_s: float) -> tuple[tuple[Curve, ...], tuple[str, ...]]:
    """Bath, room and wash as read, and in words those that lie too far away to be drawn."""
    drawn, far = [], []
    low, high = float(np.nanmin(celsius)), float(np.nanmax(celsius))
    for series in journal.readings.values():
        if series.role not in ("bath", "room", "wash"):
            continue
        t_s, values = np.frombuffer(series.t_s), np.frombuffer(series.celsius)
        counts = ~np.isnan(values) & (t_s >= origin) & (t_s <= end_s)
        if not counts.any():
            continue
        bins = np.floor((t_s[counts] - origin) / BIN_S).astype(int)
        _, first, sizes = np.unique(bins, return_index=True, return_counts=True)
        x = (np.add.reduceat(t_s[counts], first) / sizes - origin).tolist()
        y = (np.add.reduceat(values[counts], first) / sizes).tolist()
        near_c = ROOM_FAR_C if series.role == "room" else FAR_C
        if max(y) < low - near_c or min(y) > high + near_c:
            far.append(f"{series.probe} {degrees(float(np.median(values[counts])))}")
            continue
        points = list(zip(x, y, strict=True))
        drawn.append(Curve(series.probe, "bath" if series.role == "bath" else "room", _pieces(points, 2.5 * BIN_S)))
    return tuple(drawn), tuple(far)


def _pieces(points: Sequence[Point], gap_s: float) -> tuple[tuple[Point, ...], ...]:
    """A line's pieces: it is broken where its points lie farther apart than `gap_s`."""
    made: list[list[Point]] = []
    for point in points:
        if made and point[0] - made[-1][-1][0] <= gap_s:
            made[-1].append(point)
        else:
            made.append([point])
    return tuple(tuple(piece) for piece in made)


def _live(
    journal: Journal, own: Sequence[tuple[Stretch, StageMeasures]], origin: float, curve: Sequence[tuple[float, float, float, bool]]
) -> tuple[Curve, ...]:
    """What was said at the time, where it lay farther from what is now known than two standard deviations of its own."""
    said = journal.progress.get((own[0][0].stage, own[0][0].sheet))
    if said is None or not curve:
        return ()
    t_s, celsius, sds = np.frombuffer(said.t_s) - origin, np.frombuffer(said.developer_c), np.frombuffer(said.developer_sd_c)
    known = np.interp(t_s, [c[0] for c in curve], [c[1] for c in curve])
    off = np.abs(celsius - known) > two_sd(1.0) * sds
    pieces = _pieces(list(zip(t_s[off].tolist(), celsius[off].tolist(), strict=True)), 6.0)
    pieces = tuple(p for p in pieces if len(p) > 2)
    return (Curve("said then", "said", pieces),) if pieces else ()


def _estimated(numbers: SessionMeasures, stage: StageMeasures, origin: float) -> tuple[tuple[float, float, str], ...]:
    """(from, to, why) of what was estimated, pieces that touch together."""
    joined: list[NamedSpan] = []
    for piece in stage.estimated_spans:
        if joined and piece.from_s - joined[-1].to_s < 1.0:
            joined[-1] = NamedSpan(piece.what, joined[-1].from_s, piece.to_s)
        else:
            joined.append(piece)
    found = []
    for piece in joined:
        if piece.to_s - piece.from_s < 3.0:
            continue
        lost = [t for t in numbers.losses if piece.from_s - 20.0 <= t["t_s"] <= piece.to_s]
        found.append((piece.from_s - origin, piece.to_s - origin, lost[0]["why"] if lost else ""))
    return tuple(found)


def _away(resume: dict[str, object]) -> str:
    least, most = resume.get("least_s"), resume.get("most_s")
    if isinstance(least, (int, float)) and isinstance(most, (int, float)) and most - least >= 1.0:
        return f"no power for {format_duration(least)} to {format_duration(most)}"
    gap_s = resume.get("gap_s")
    return "the program was away" + (f" for {gap_s:.0f} s" if isinstance(gap_s, (int, float)) else "")


def _behind(
    review: Review, own: Sequence[tuple[Stretch, StageMeasures]], number: int, origin: float
) -> tuple[tuple[Point, ...], ...]:
    """For each film (t_s, seconds by which its development lies behind what a steady reference would have done)."""
    assert review.recipe is not None
    stage, track = review.recipe.stages[number - 1], review.tracks[number]
    assert stage.law is not None
    times = track.smoothed.t_s
    rates = np.array([rate(stage.law, c) for c in track.smoothed.celsius.tolist()])
    made = []
    for part, _ in own:
        seconds = weights(times, *counted_from_to(stage, part))
        inside = (times >= part.begin_s - 1e-5) & (times <= part.end_s + 1e-5)
        made.append(tuple(zip((times[inside] - origin).tolist(), np.cumsum(seconds * (1.0 - rates))[inside].tolist(), strict=True)))
    return tuple(made)


def _behind_words(behind: Sequence[Sequence[Point]], stage: StageMeasures, films: int) -> tuple[str, str]:
    """What the end of the lowest strip says: how far behind or ahead, and what that did to the time."""
    last_s = behind[-1][-1][1]
    size = f"{abs(last_s):.0f} s" if abs(last_s) < 60 else format_duration(abs(last_s))
    if abs(last_s) < 0.5:
        return "not behind", ""
    where = "behind" if last_s > 0 else "ahead"
    moved_s = stage.moved_s if stage.steered else None
    if moved_s is None or abs(moved_s - last_s) > max(2.0, 0.1 * abs(last_s)):
        return f"{size} {where}", "the last sheet" if films > 1 else ""
    return f"{size} {where}", f"so {size} {'longer' if last_s > 0 else 'shorter'}"


# --- drawing ---------------------------------------------------------------------------------------------------------


class _Pen:
    """Draws one evening at one width. Every strip takes its height from `_y` on."""

    def __init__(self, evening: Evening, wide: bool) -> None:
        self.e = evening
        self.wide = wide
        self.d = Drawing(WIDE_PX if wide else NARROW_PX, WIDE_TEXT_PX if wide else NARROW_TEXT_PX)
        self.size = self.d.size
        self.row = 1.42 * self.size
        self.ends = self._end_words()
        behind = [(words, i == 0) for i, words in enumerate(self._behind_lines())]
        ends = [(words, "b" in kind) for _, _, lines in self.ends for words, kind in lines] + behind
        many = len(evening.parts) > 1
        ends += [(self._result(part), False) for part in evening.parts if many]
        beside = (*(p.name for p in evening.parts if many and wide), _degrees(38.5), "moves")
        self.left = 10.0 + max(width(words, self.size) for words in beside)
        self.right = self.d.width - 12.0 - max(width(words, self.size, bold) for words, bold in ends)
        self.x = Scale(0.0, 1.008 * max(evening.end_s, 1.0), self.left, self.right)
        self.y = 0.0
        self.top = 0.0

    def _end_words(self) -> list[tuple[float, float, list[tuple[str, str]]]]:
        """What stands at the ends of the temperature's lines: (time, value, lines of words with their kind)."""
        last_t, last_c, _, _ = self.e.curve[-1]
        developer = [("developer", "b"), (_degrees(last_c) + (" at the end" if self.wide else ""), "")]
        blocks = [(last_t, last_c, developer)]
        for curve in self.e.others:
            value, kind = curve.last[1], "o" if curve.kind == "bath" else "d"
            if curve.kind == "said":
                blocks.append((last_t, value, [(curve.name, kind)]))
            elif self.wide:
                blocks.append((last_t, value, [(f"{curve.name} {_degrees(value)}", kind)]))
            else:
                name = curve.name if len(curve.name) <= LONGEST_NAME else f"{curve.name[: LONGEST_NAME - 1]}…"
                blocks.append((last_t, value, [(name, kind), (_degrees(value), kind)]))
        return blocks

    def _behind_lines(self) -> list[str]:
        lines = [words for words in self.e.behind_words if words]
        return lines if self.wide or len(lines) < 2 else [lines[0], *_broken(lines[1], 10)]

    def _result(self, part: Part) -> str:
        return part.result if self.wide else part.result.split(" · ")[0]

    def label(self, y: float, words: str, kind: str = "") -> None:
        """At the left of a strip, ending at its edge."""
        self.d.text(self.left - 8.0, y, words, kind, "end")

    def draw(self) -> Drawing:
        """All strips."""
        many = len(self.e.parts) > 1
        self.y = 2.0
        self.top = self.y
        if many:
            self._sheets()
        else:
            self._cues()
        self._temperature()
        if self.e.behind:
            self._behind()
        self._axis()
        return self.d

    # the first strip

    def _cues(self) -> None:
        part = self.e.parts[0]
        high = 14.0
        y = self.y + 4.0
        self.label(y + high - 3.0, "moves" if self.e.moved else "calls", "d")
        self.d.rects([(self.x.at(a), max(1.0, self.x.at(b) - self.x.at(a))) for a, b in self.e.moved], y, high, "full")
        named: list[tuple[float, str, str]] = [(f, f"FAULT {format_duration(f)}", "middle") for f, _ in self.e.faults]
        if len(named) > MOST_NAMED:
            named = [(named[0][0], f"{len(named)} FAULTs from {format_duration(named[0][0])}", "start")]
        for f, _ in self.e.faults:
            self.d.stroke(self.x.at(f), y - 4.0, self.x.at(f), y + high + 6.0, "bar")
        if part.ready_s is not None and part.ready_s >= 0:
            self.d.stroke(self.x.at(part.ready_s), y - 4.0, self.x.at(part.ready_s), y + high + 6.0, "bar")
            named.append((part.ready_s, f"READY {format_duration(part.ready_s)}", "end"))
        if part.now_s is not None:
            x = self.x.at(part.now_s)
            self.d.rect(x, y - 4.0, max(2.0, self.x.at(part.end_s) - x), high + 8.0, "full")
            named.append((part.now_s, f"NOW {format_duration(part.now_s)}", "start"))
        self.y = y + high + 6.0 + self._events(named, y + high + 6.0)

    def _events(self, named: Sequence[tuple[float, str, str]], top: float) -> float:
        """Words below their strokes, in as many rows as they need; how high that is."""
        rows: list[float] = []
        for t_s, words, anchor in sorted(named, reverse=True):
            wide = width(words, self.size)
            x = self.x.at(t_s) - {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor] * wide
            x = max(min(x, self.d.width - wide - 1.0), self.left)
            for row in range(len(rows) + 1):
                if row == len(rows):
                    rows.append(float("inf"))
                if x + wide + 8.0 <= rows[row]:
                    rows[row] = x
                    self.d.text(x, top + (row + 0.95) * self.row, words)
                    break
        return len(rows) * self.row + 2.0

    def _sheets(self) -> None:
        high = self.row + 2.0
        for i, part in enumerate(self.e.parts):
            y = self.y + (i + 0.5) * high
            self.label(y + 0.35 * self.size, part.name if self.wide else part.name.removeprefix("sheet "), "d")
            self.d.stroke(self.x.at(part.begin_s), y, self.x.at(part.end_s), y, "bar")
            self.d.stroke(self.x.at(part.begin_s), y - 4, self.x.at(part.begin_s), y + 4, "bar")
            if part.now_s is not None:
                x = self.x.at(part.now_s)
                self.d.rect(x, y - 3.0, max(2.0, self.x.at(part.end_s) - x), 6.0, "full")
            if part.plan_end_s is not None:
                self.d.mark(self.x.at(part.plan_end_s), y, filled=False)
            self.d.mark(self.x.at(part.end_s), y, filled=True)
            self.d.text(self.right + 10.0, y + 0.35 * self.size, self._result(part))
        y = self.y + len(self.e.parts) * high + self.row * 0.8
        if any(part.plan_end_s is not None for part in self.e.parts):
            words = "filled: out of the developer; open: as planned" if self.wide else "filled: out; open: as planned"
            self.d.text(self.right, y, words, "d", "end")
        self.y = y + 8.0

    # the second strip

    def _temperature(self) -> None:
        e = self.e
        shown = [c for _, c, _, _ in e.curve]
        edges = [c - s for _, c, s, _ in e.curve] + [c + s for _, c, s, _ in e.curve]
        others = [y for curve in e.others for piece in curve.pieces for _, y in piece]
        levels = [] if e.reference_c is None else [e.reference_c]
        if e.reference_c is not None and e.band_c is not None and e.band_c <= FAR_C / 2:
            levels += [e.reference_c - e.band_c, e.reference_c + e.band_c]
        levels = [v for v in levels if min(shown) - FAR_C < v < max(shown) + FAR_C]
        low, high = min(edges + others + levels), max(edges + others + levels)
        if high - low < LEAST_SPAN_C:
            low, high = (low + high - LEAST_SPAN_C) / 2, (low + high + LEAST_SPAN_C) / 2
        pad = 0.03 * (high - low)
        top, tall = self.y + 8.0, 200.0 if self.wide else 190.0
        bottom = top + tall
        y = Scale(low - pad, high + pad, bottom, top)
        room = Room(Box(self.left, top - 1, self.right, bottom + 1))
        if e.reference_c is not None and e.band_c is not None and levels:
            a, b = max(top, y.at(e.reference_c + e.band_c)), min(bottom, y.at(e.reference_c - e.band_c))
            if b > a:
                self.d.rect(self.left, a, self.right - self.left, b - a, "band")
        marks = ticks(figure(low - pad), figure(high + pad), 5, DEGREES)
        step = nice_step(span(high - low + 2 * pad), 5, DEGREES)
        places = 0 if step >= 1.0 else 2 if step < 0.1 else 1
        for i, mark in enumerate(reversed(marks)):
            at = y.at(celsius_of(mark))
            self.d.stroke(self.left, at, self.right, at, "grid")
            self.label(at + 0.35 * self.size, f"{mark:.{places}f}{f' °{unit()}' if i == 0 else ''}")
        self._developer(y, room)
        for curve in e.others:
            for piece in curve.pieces:
                points = [(self.x.at(t), y.at(v)) for t, v in piece]
                self.d.line(points, curve.kind)
                room.line(points)
        self._ends(y, top, bottom)
        self._frames(top, bottom, room)
        if e.reference_c is not None and e.band_c is not None and levels:
            self._band_words(y, room)
        self.y = bottom + 6.0

    def _developer(self, y: Scale, room: Room) -> None:
        curve = self.e.curve
        x = [self.x.at(t) for t, _, _, _ in curve]
        upper = [(px, y.at(c + s)) for px, (_, c, s, _) in zip(x, curve, strict=True)]
        lower = [(px, y.at(c - s)) for px, (_, c, s, _) in zip(x, curve, strict=True)]
        self.d.area(upper, lower, "doubt")
        points = [(px, y.at(c)) for px, (_, c, _, _) in zip(x, curve, strict=True)]
        room.line(points)
        index = 0
        for estimated, run in itertools.groupby(curve, key=lambda c: c[3]):
            count = len(list(run))
            piece = points[index : min(len(points), index + count + (0 if estimated else 1))]
            if estimated:
                piece = points[max(0, index) : index + count]
            self.d.line(piece, "dots" if estimated else "main")
            index += count

    def _ends(self, y: Scale, top: float, bottom: float) -> None:
        """Each line named at its end, none on another."""
        blocks = [(t, y.at(value), lines) for t, value, lines in self.ends]
        line = 1.28 * self.size
        tops = apart([(at - 0.5 * len(lines) * line, len(lines) * line + 2.0) for _, at, lines in blocks], top - 6.0, bottom + 12.0)
        for (t, _, lines), block_top in zip(blocks, tops, strict=True):
            for i, (words, kind) in enumerate(lines):
                self.d.text(self.x.at(t) + 8.0, block_top + (i + 0.8) * line, words, kind)

    def _block(self, room: Room, places: Sequence[tuple[float, float, str]], lines: Sequence[str], kind: str) -> bool:
        """A block of words at the best of some places (x, y of its first line, anchor); nothing where none is free enough."""
        line = 1.28 * self.size
        boxes = [[box(px, py + i * line, words, self.size, anchor) for i, words in enumerate(lines)] for px, py, anchor in places]
        chosen, cost = room.best(boxes)
        if cost >= ON_WORDS:
            return False
        px, py, anchor = places[chosen]
        for i, words in enumerate(lines):
            room.take(self.d.text(px, py + i * line, words, kind, anchor))
        return True

    def _frames(self, top: float, bottom: float, room: Room) -> None:
        """What was estimated, and when the power was gone, framed and named in place."""
        whole = self.e.parts[-1].end_s
        line = 1.28 * self.size
        for from_s, to_s, why in self.e.estimated:
            x1, x2 = self.x.at(max(0.0, from_s)), self.x.at(min(to_s, self.x.high))
            cut = next((words for a, b, words in self.e.cuts if a < to_s and b > from_s), None)
            if cut is not None:
                continue
            if len(self.e.estimated) > MOST_NAMED:
                self.d.add(f'<path class="frame" d="M{x1:.1f} {top:.1f}H{x2:.1f}V{bottom:.1f}H{x1:.1f}z"/>')
                continue
            if to_s - from_s < 0.97 * whole:
                self.d.add(f'<path class="frame" d="M{x1:.1f} {top:.1f}H{x2:.1f}V{bottom:.1f}H{x1:.1f}z"/>')
                lines = [f"estimated {format_duration(from_s)} to {format_duration(to_s)}"]
            else:
                lines = ["all of it estimated"]
            if why and not any(why in told for _, told in self.e.faults):
                lines += _broken(typeset(in_unit_shown(why)), 44 if self.wide else 24)
            places = [
                place
                for py in (top + 1.1 * self.size, (top + bottom) / 2, bottom - (len(lines) - 1) * line - 6.0, 0.7 * top + 0.3 * bottom)
                for place in ((x1 + 6.0, py, "start"), (x2 + 6.0, py, "start"), (x2 - 6.0, py, "end"), (x1 - 6.0, py, "end"))
            ]
            short = ["estimated", *lines[0].split(" ", 1)[1:]] if to_s - from_s < 0.97 * whole else lines[:1]
            if not self._block(room, places, lines, "o") and not self._block(room, places, lines[:1], "o"):
                self._block(room, places, short, "o")
        for at_s, why in self.e.faults:
            if why and not self.e.cuts and len(self.e.faults) <= MOST_NAMED:
                lines = _broken(typeset(in_unit_shown(why)), 46 if self.wide else 24)
                x = self.x.at(at_s)
                rows = (top + 1.1 * self.size, bottom - (len(lines) - 1) * line - 6.0, *(top + k * (bottom - top) / 8 for k in range(1, 7)))
                places = [(px, py, a) for py in rows for px, a in ((x + 6.0, "start"), (x - 6.0, "end"), (self.left + 6.0, "start"))]
                if self._block(room, places, lines, ""):
                    self.d.stroke(x, top, x, bottom, "said")
        for from_s, to_s, words in self.e.cuts:
            x1, x2 = self.x.at(from_s), self.x.at(to_s)
            self.d.rect(x1, top, max(2.0, x2 - x1), bottom - top, "doubt")
            lines = _broken(words, 30 if self.wide else 16)
            places = [
                place
                for py in (bottom - (len(lines) - 1) * line - 6.0, top + 1.1 * self.size, top + 0.5 * (bottom - top))
                for place in ((x2 + 6.0, py, "start"), (x1 - 6.0, py, "end"))
            ]
            self._block(room, places, lines, "o")

    def _band_words(self, y: Scale, room: Room) -> None:
        assert self.e.reference_c is not None
        assert self.e.band_c is not None
        low, high = self.e.reference_c - self.e.band_c, self.e.reference_c + self.e.band_c
        words = [f"wanted {plain(low).split(' ')[0]} to {_level(high)}"]
        rows = [y.at(low) - 0.4 * self.size, y.at(high) + 1.05 * self.size, y.at(low) + 1.05 * self.size, y.at(high) - 0.4 * self.size]
        places = [place for py in rows for place in ((self.left + 6.0, py, "start"), (self.right - 6.0, py, "end"))]
        places += [((self.left + self.right) / 2, py, "middle") for py in rows]
        self._block(room, places, words, "d")

    # the third strip

    def _behind(self) -> None:
        e = self.e
        values = [v for piece in e.behind for _, v in piece]
        around = two_sd(e.behind_sd_s) if e.behind_sd_s < 0.5 * max(abs(v) for v in values) + 20.0 else 0.0
        end = e.behind[-1][-1]
        low, high = min(0.0, *values, end[1] - around), max(0.0, *values, end[1] + around)
        if high - low < 4.0:
            low, high = (low - 4.0, high) if min(values) < -0.5 else (low, high + 4.0)
        top, tall = self.y + 16.0, 100.0
        bottom = top + tall
        y = Scale(low, high, top, bottom)
        room = Room(Box(self.left, top - 4, self.right, bottom + 1))
        for mark in ticks(low, high, 3, SECONDS):
            self.d.stroke(self.left, y.at(mark), self.right, y.at(mark), "edge" if mark == 0 else "grid")
            self.label(y.at(mark) + 0.35 * self.size, f"{abs(mark):.0f} s")
        for i, piece in enumerate(e.behind):
            points = [(self.x.at(t), y.at(v)) for t, v in piece]
            if i == len(e.behind) - 1:
                self.d.area(points, [(points[0][0], y.at(0.0)), (points[-1][0], y.at(0.0))], "doubt")
            self.d.line(points, "thin")
            room.line(points)
        x = self.x.at(end[0])
        if around:
            room.line([(x, y.at(end[1] + around * k / 10)) for k in range(-10, 11)])
            self.d.add(f'<path class="thin" d="M{x - 3:.1f} {y.at(end[1] - around):.1f}h6m-3 0V{y.at(end[1] + around):.1f}m-3 0h6"/>')
        line = 1.28 * self.size
        lines = self._behind_lines()
        block_top = min(max(y.at(end[1]) - 0.5 * line * len(lines), top - 12.0), bottom + 4.0 - (len(lines) - 1) * line)
        for i, words in enumerate(lines):
            room.take(self.d.text(x + 10.0, block_top + (i + 0.75) * line, words, "b" if i == 0 else ""))
        where = "behind" if end[1] >= 0 else "ahead of"
        name = f"{'seconds ' if self.wide else ''}{where} a steady {_level(e.reference_c or 0.0)}"
        rows = [bottom - 0.5 * self.size, top + 1.2 * self.size, top + 0.5 * tall]
        self._block(room, [(self.left + 6.0, py, "start") for py in rows], [name], "d")
        self.y = bottom + 6.0

    # the axis

    def _axis(self) -> None:
        """Minutes, and below them the plan and the end: open what was planned, filled what was; a bracket where the end is in doubt."""
        bottom = self.y + 4.0
        self.d.stroke(self.left, bottom, self.right, bottom, "edge")
        time_axis(self.d, self.x, self.top, bottom, 8 if self.wide else 3)
        self.y = bottom + 1.9 * self.size
        if len(self.e.parts) > 1:
            self.d.height = self.y
            return
        part = self.e.parts[0]
        y = self.y + 0.6 * self.size
        named = []
        if part.plan_end_s is not None:
            named.append((part.plan_end_s, f"plan {format_duration(part.plan_end_s)}", False))
        end_words = f"{'ended' if part.told else 'counted to'} {format_duration(part.end_s)}"
        if part.between_s is not None:
            a, b = part.between_s
            self.d.add(f'<path class="bar" d="M{self.x.at(a):.1f} {y - 5:.1f}v10m0-5H{self.x.at(b):.1f}m0-5v10"/>')
            end_words = f"ended between {format_duration(a)} and {format_duration(b)}"
        named.append((part.end_s, end_words, True))
        if part.plan_end_s is not None and abs(self.x.at(part.plan_end_s) - self.x.at(part.end_s)) < 3.0 and part.between_s is None:
            named = [(part.end_s, f"{end_words}, as planned", True)]
        for t_s, _, filled in named:
            self.d.mark(self.x.at(t_s), y, filled)
        self.y = y + 1.75 * self.size
        self._under(named)
        self.d.height = self.y + 0.5 * self.size

    def _under(self, named: Sequence[tuple[float, str, bool]]) -> None:
        """The words below the marks: side by side where they fit, else one below the other."""
        if len(named) == 2:
            (a_s, a_words, _), (b_s, b_words, _) = sorted(named)
            a_x, b_x = self.x.at(a_s), self.x.at(b_s)
            if b_x + width(b_words, self.size) < self.d.width and a_x - width(a_words, self.size) > 0:
                self.d.text(a_x + 5.0, self.y, a_words, anchor="end")
                self.d.text(max(b_x - 5.0, a_x + 14.0), self.y, b_words)
                return
        for t_s, words, _ in sorted(named):
            half = width(words, self.size) / 2
            self.d.text(min(max(self.x.at(t_s), half + 1), self.d.width - half - 1), self.y, words, anchor="middle")
            self.y += 1.28 * self.size
        self.y -= 1.28 * self.size


def _degrees(celsius: float) -> str:
    return f"{figure(celsius):.1f} °{unit()}"


def _level(celsius: float) -> str:
    return f"{plain(celsius).split(' ')[0]} °{unit()}"


def _broken(words: str, most: int) -> list[str]:
    """Lines of at most `most` characters, broken between words."""
    lines = [""]
    for word in words.split(" "):
        if lines[-1] and len(lines[-1]) + 1 + len(word) > most:
            lines.append(word)
        else:
            lines[-1] = f"{lines[-1]} {word}".strip()
    return lines


def draw(evening: Evening, alt: str, wide: bool) -> str:
    """The picture as SVG. `alt`: the same in words."""
    return _Pen(evening, wide).draw().svg(alt)
