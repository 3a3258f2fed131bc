"""Pictures of a session as inline SVG: drawn by matplotlib without its windows, coloured by the page that holds them.

Decides line styles, marks and words in a picture; computes nothing. Nothing depends on colour: each line has its own dashes
and its name, estimated stretches are dotted, gaps stay gaps. Colours are place-holders that become CSS variables, so that the
same picture serves light, dark and paper. Each picture is drawn twice, for a desk and for a phone.
Tests: tests/review/test_report.py.
"""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from monitor.core.probes.classify import STALE_S
from monitor.review.smoother import Array

INK, DIM, FIRST, SECOND, THIRD, SHADE = "#010101", "#020202", "#030303", "#040404", "#050505", "#060606"
VARIABLES = {INK: "--ink", DIM: "--dim", FIRST: "--first", SECOND: "--second", THIRD: "--third", SHADE: "--shade"}
MOST_POINTS = 1500
WIDE_IN, NARROW_IN = (10.0, 4.6), (4.9, 4.9)

SOLID: Any = "solid"
DOTTED: Any = (0, (1, 1.6))
DASHED: Any = (0, (6, 2))
DASH_DOT: Any = (0, (7, 2, 1.5, 2))
LONG: Any = (0, (11, 3))
STYLES: tuple[Any, ...] = (SOLID, DASHED, DASH_DOT, LONG, (0, (3, 1.5)), (0, (9, 2, 1.5, 2, 1.5, 2)))


@dataclass(frozen=True, slots=True)
class PlotLine:
    """One line: `x_min` minutes and `y`, NaN where there is nothing. `dotted`: points that were only estimated."""

    name: str
    x_min: Array
    y: Array
    style: Any = SOLID
    colour: str = INK
    width: float = 1.6
    dotted: Array | None = None
    spread: Array | None = None
    at_end: bool = False
    marker: str = ""


@dataclass(frozen=True, slots=True)
class Mark:
    """A moment with a word; `stage` ones are named above, others at the foot. The greater `weight` keeps its word where two collide."""

    x_min: float
    word: str
    stage: bool = False
    weight: float = 0.0


@dataclass(frozen=True, slots=True)
class Picture:
    """All of one picture. `levels`: (y, word) of horizontal lines, words at the right or left; `band`: (low, high) shaded."""

    lines: Sequence[PlotLine]
    marks: Sequence[Mark]
    x_label: str
    y_label: str
    levels: Sequence[tuple[float, str]] = ()
    words_left: bool = False
    band: tuple[float, float] | None = None


def thinned(x: Array, y: Array, *more: Array | None) -> list[Any]:
    """At most `MOST_POINTS` points, evenly; the last one stays."""
    count = len(x)
    if count <= MOST_POINTS:
        return [x, y, *more]
    pick = np.unique(np.append(np.linspace(0, count - 1, MOST_POINTS).astype(int), count - 1))
    return [a[pick] if a is not None else None for a in (x, y, *more)]


def with_gaps(times: Array, values: Array, gap_s: float = STALE_S) -> tuple[Array, Array]:
    """A NaN in each gap of time, so that a line is not drawn across it."""
    where = np.flatnonzero(np.diff(times) > gap_s) + 1
    return np.insert(times, where, times[where - 1] + 0.01) if len(where) else times, np.insert(values, where, np.nan) if len(
        where
    ) else values


def means(times: Array, values: Array, bin_s: float) -> tuple[Array, Array]:
    """Means over bins of `bin_s` seconds, so that a register's steps do not hide a line's dashes."""
    bins = np.floor(times / bin_s).astype(int)
    names, first, counts = np.unique(bins, return_index=True, return_counts=True)
    return np.add.reduceat(times, first) / counts, np.add.reduceat(values, first) / counts if len(names) else values


def draw(picture: Picture, salt: str, alt: str) -> str:
    """Both sizes as HTML. `alt` carries the numbers; `salt` keeps the ids of several pictures on a page apart."""
    wide = _svg(picture, WIDE_IN, f"{salt}-w")
    narrow = _svg(picture, NARROW_IN, f"{salt}-n")
    return "".join(
        f'<div class="{size}"><svg role="img" aria-label="{_escape(alt)}" {body}</div>'
        for size, body in (("wide", wide), ("narrow", narrow))
    )


def _escape(text: str) -> str:
    return text.replace("&", "&amp;").replace('"', "&quot;").replace("<", "&lt;").replace(">", "&gt;")


def _svg(picture: Picture, size_in: tuple[float, float], salt: str) -> str:
    """The inner part of an svg element, from its attributes on."""
    import matplotlib as mpl
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    narrow = size_in[0] < 6
    settings: Any = {"svg.fonttype": "none", "svg.hashsalt": salt, "font.size": 11.0, "path.simplify": True, "path.simplify_threshold": 0.2}
    with mpl.rc_context(settings):
        figure = Figure(figsize=size_in, layout="constrained")
        figure.patch.set_alpha(0.0)
        axes = figure.add_subplot()
        _axes(axes, picture)
        if picture.band is not None:
            axes.axhspan(*picture.band, facecolor=SHADE, edgecolor="none", zorder=0)
        for y, word in picture.levels:
            axes.axhline(y, color=DIM, linewidth=0.9, linestyle=(0, (2, 2)))
            at, side = (0.01, "left") if picture.words_left else (0.99, "right")
            axes.annotate(word, (at, y), xycoords=("axes fraction", "data"), xytext=(0, 2), textcoords="offset points", ha=side, color=DIM)
        for number, line in enumerate(picture.lines):
            earlier = any(before.dotted is not None and before.dotted.any() for before in picture.lines[:number])
            _line(axes, line, "_" if earlier else "estimated, no probe believed")
        _marks(axes, picture.marks, narrow)
        named = [line for line in picture.lines if not line.at_end]
        if named:
            axes.legend(
                loc="upper center", bbox_to_anchor=(0.5, -0.14 if not narrow else -0.13), ncols=1 if narrow else 2,
                frameon=False, labelcolor=INK, handlelength=4.0,
            )  # fmt: skip
        out = io.StringIO()
        canvas: Any = FigureCanvasSVG(figure)
        canvas.print_svg(out, metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    return _for_page(out.getvalue())


def _axes(axes: Any, picture: Picture) -> None:
    axes.set_facecolor("none")
    axes.set_xlabel(picture.x_label, color=INK)
    axes.set_ylabel(picture.y_label, color=INK)
    axes.tick_params(colors=INK, which="both")
    axes.grid(visible=True, color=DIM, alpha=0.25, linewidth=0.6)
    for side, spine in axes.spines.items():
        spine.set_visible(side in ("left", "bottom"))
        spine.set_color(DIM)


def _line(axes: Any, line: PlotLine, dotted_name: str) -> None:
    """`dotted_name`: what the legend calls an estimated stretch; one that begins with a low line is not named."""
    x, y, dotted, spread = thinned(line.x_min, line.y, line.dotted, line.spread)
    if spread is not None:
        axes.fill_between(x, y - spread, y + spread, facecolor=line.colour, alpha=0.15, linewidth=0)
    if dotted is None or not dotted.any():
        axes.plot(x, y, color=line.colour, linewidth=line.width, linestyle=line.style, marker=line.marker, label=line.name)
    else:
        before, after = np.append(dotted[1:], dotted[-1]), np.append(dotted[0], dotted[:-1])
        solid = np.where((dotted > 0) & (before > 0) & (after > 0), np.nan, y)
        axes.plot(x, solid, color=line.colour, linewidth=line.width, linestyle=line.style, label=line.name)
        axes.plot(
            x,
            np.where(dotted > 0, y, np.nan),
            color=line.colour,
            linewidth=line.width + 1.2,
            linestyle=DOTTED,
            label=dotted_name,
        )
    if line.at_end and len(x):
        axes.annotate(
            line.name, (x[-1], y[-1]), xytext=(2, 6), textcoords="offset points", color=line.colour, va="bottom", annotation_clip=False
        )


def _marks(axes: Any, marks: Sequence[Mark], narrow: bool) -> None:
    """Stages are named above the picture, cues at its foot; a word that would stand on a weightier one is left to the table."""
    low, high = axes.get_xlim()
    apart = (high - low) * (0.06 if narrow else 0.022)
    taken: dict[bool, list[float]] = {True: [], False: []}
    for mark in sorted(marks, key=lambda m: -m.weight):
        axes.axvline(mark.x_min, color=DIM, linewidth=0.8, linestyle=SOLID if mark.stage else (0, (1, 2)), ymax=1.0 if mark.stage else 0.94)
        if any(abs(mark.x_min - x) < apart for x in taken[mark.stage]):
            continue
        taken[mark.stage].append(mark.x_min)
        axes.annotate(
            mark.word, (mark.x_min, 1.0 if mark.stage else 0.0), xycoords=("data", "axes fraction"), xytext=(0 if mark.stage else -1, 3),
            textcoords="offset points", rotation=45 if mark.stage else 90, ha="left" if mark.stage else "right", va="bottom",
            color=INK if mark.stage else DIM, fontsize=10, annotation_clip=False,
        )  # fmt: skip


def _for_page(svg: str) -> str:
    """The element's inside, without prologue, metadata and addresses, with colours as CSS variables."""
    body = svg[svg.index("<svg") + 4 :]
    body = re.sub(r"<metadata>.*?</metadata>", "", body, flags=re.DOTALL)
    body = re.sub(r'\s+xmlns(:\w+)?="[^"]*"', "", body)
    body = re.sub(r'(?<=\s)(width|height)="[\d.]+pt"\s*', "", body, count=2)
    for colour, variable in VARIABLES.items():
        body = body.replace(colour, f"var({variable})")
    return re.sub(r"\n\s*", "\n", body).replace(' version="1.1"', "")
