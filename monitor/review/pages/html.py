"""What every page is made of: the page around a body, tables, a picture in two sizes with its numbers behind it.

A page is one file, asks the network for nothing, has no script, prints, and follows the reader's light, dark or forced colours.
Tests: tests/review/pages/test_session.py (also in a real Chromium, with axe-core where it is).
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from html import escape
from pathlib import Path
from typing import Any

from monitor.core.drawing.strips import DARK, LIGHT, STROKES
from monitor.core.text.typeset import typeset

UNBROKEN = 18
"""Characters; a longer cell may be broken into lines."""
TABLE_ROWS = 40
"""Rows of the table behind a picture; the full one is what `--csv` writes."""


def page(title: str, body: str) -> str:
    """A whole page around a body."""
    style = Path(__file__).with_name("page.css").read_text(encoding="utf-8")
    colours = f":root{{color-scheme:light dark;{LIGHT}}}@media (prefers-color-scheme:dark){{:root{{{DARK}}}}}\n"
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width,initial-scale=1">'
        f'<link rel="icon" href="data:,"><title>{escape(title)}</title><style>\n{colours}{STROKES}\n{style}</style></head>\n'
        f"<body><main>\n{body}\n</main></body></html>\n"
    )


def cell(value: Any) -> str:
    """What stands in a cell, escaped."""
    return "" if value is None else escape(str(value), quote=False)


def table(caption: str, head: Sequence[str], rows: Iterable[Sequence[Any]], narrow: Collection[str] = (), kind: str = "") -> str:
    """A table that can be scrolled sideways by keyboard too. The first cell of a row is its heading. `narrow`: the columns
    that a phone shows, by their heads; all where none is named.

    What stands in it is written as it is: sentences of ours go through `typeset` before.
    """
    name = escape(caption)

    def wide(i: int, words: str = "long enough to be broken") -> str:
        classes = [name for name, holds in (("w", bool(narrow) and head[i] not in narrow), ("n", len(words) <= UNBROKEN)) if holds]
        return f' class="{" ".join(classes)}"' if classes else ""

    lines = [f'<div class="scroll {kind}" tabindex="0" role="region" aria-label="{name}"><table><caption>{name}</caption><thead><tr>']
    lines += [f'<th scope="col"{wide(i)}>{cell(h)}</th>' for i, h in enumerate(head)]
    lines.append("</tr></thead><tbody>")
    for first, *rest in rows:
        cells = "".join(f"<td{wide(i, str(c))}>{cell(c)}</td>" for i, c in enumerate(rest, 1))
        lines.append(f'<tr><th scope="row">{cell(first)}</th>{cells}</tr>')
    lines.append("</tbody></table></div>")
    return "".join(lines)


def picture(wide: str, narrow: str, caption: str, behind: str = "") -> str:
    """A picture at a desk's and at a phone's size, of which one is shown; `behind`: its numbers, closed."""
    sizes = f'<div class="wide">{wide}</div><div class="narrow">{narrow}</div>'
    shown = f"<figure>{sizes}<figcaption>{cell(typeset(caption))}</figcaption></figure>"
    return shown + (details("The numbers behind this picture", behind) if behind else "")


def details(summary: str, inside: str, opened: bool = False, kind: str = "") -> str:
    """What is closed until somebody asks; on paper only what is `opened`."""
    classes = f' class="{kind}"' if kind else ""
    return f"<details{' open' if opened else ''}{classes}><summary>{cell(summary)}</summary>{inside}</details>\n"


def items(lines: Iterable[str]) -> str:
    """A list of sentences."""
    return "<ul>" + "".join(f"<li>{cell(line)}</li>" for line in lines) + "</ul>"


def thin_rows(rows: Sequence[Sequence[Any]], most: int = TABLE_ROWS) -> list[Sequence[Any]]:
    """At most about `most` rows, evenly; the last one stays."""
    step = max(1, -(-len(rows) // most))
    picked = list(rows[::step])
    return picked if not rows or picked[-1] == rows[-1] else [*picked, rows[-1]]
