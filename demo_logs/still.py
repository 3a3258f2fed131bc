"""A still of the live view as SVG: text on a grid, as a terminal shows it, whatever font the reader has.

Each piece of a line is as wide as its cells, so that rails and plot stay on the same columns. The colours are those of a dark terminal,
with bold, dim and inverse alone. Used by `pictures.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from monitor.live.view.text import Line, cells

CELL_PX, ROW_PX, MARGIN_PX = 8.4, 18.0, 14.0
STYLE = (
    "text{font:14px ui-monospace,'DejaVu Sans Mono',Menlo,Consolas,monospace;fill:#e9eaea;white-space:pre}"
    ".bold,.bold-reverse{font-weight:700}.dim{fill:#a3a9ae}.bold-reverse{fill:#101112}"
)


def svg(lines: Sequence[Line], columns: int, says: str) -> str:
    """The lines on a dark ground. `says`: what the picture says, for those who do not see it."""
    width, height = columns * CELL_PX + 2 * MARGIN_PX, len(lines) * ROW_PX + 2 * MARGIN_PX
    drawn = [text for row, line in enumerate(lines) for text in _row(line, MARGIN_PX + row * ROW_PX)]
    size = f'viewBox="0 0 {width:.0f} {height:.0f}" width="{width:.0f}" height="{height:.0f}"'
    head = f'<svg xmlns="http://www.w3.org/2000/svg" {size} role="img" aria-label="{escape(says, quote=True)}"><style>{STYLE}</style>'
    ground = f'<rect width="{width:.0f}" height="{height:.0f}" rx="10" fill="#101112"/>'
    return "\n".join([head, ground, *drawn, "</svg>", ""])


def _row(line: Line, top_px: float) -> list[str]:
    drawn, at = [], 0
    for piece in line:
        wide = cells(piece.text)
        text = piece.text.rstrip() if "reverse" not in piece.style else piece.text
        left = MARGIN_PX + (at + len(text) - len(text.lstrip())) * CELL_PX
        name = piece.style.replace(" ", "-")
        if "reverse" in piece.style:
            place = f'x="{MARGIN_PX + at * CELL_PX:.1f}" y="{top_px:.1f}" width="{wide * CELL_PX:.1f}" height="{ROW_PX}"'
            drawn.append(f'<rect {place} fill="#e9eaea"/>')
        if text.strip():
            length = cells(text.strip()) * CELL_PX
            style = f' class="{name}"' if name else ""
            place = f'x="{left:.1f}" y="{top_px + 13.5:.1f}" textLength="{length:.1f}" lengthAdjust="spacingAndGlyphs"'
            drawn.append(f"<text {place}{style}>{escape(text.strip())}</text>")
        at += wide
    return drawn
