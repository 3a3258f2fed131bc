"""What goes with a film in its sleeve: a strip to slip in at the top, and the words for the contact sheet, as one page. Pure.

The strip is 190 mm by 10 mm: sleeves for strips of six are about 200 mm wide (common practice, no source; trim it to your own).
Tests: tests/prepare/paper/test_sleeve.py.
"""

from __future__ import annotations

from html import escape

from monitor.prepare.archive.negatives import Negative, contact_lines, sleeve_lines
from monitor.prepare.paper.page_fit import FACE


def sleeve_text(negative: Negative) -> list[str]:
    """Strip and contact sheet as lines of text."""
    return [*sleeve_lines(negative), *contact_lines(negative)]


def sleeve_html(negative: Negative) -> str:
    """One page, black on white, self-contained: the strip to cut out, below it the words for the contact sheet."""
    first, *rest = sleeve_lines(negative)
    rows = "".join(f"<li>{escape(line)}</li>" for line in contact_lines(negative))
    spans = "".join(f"<span>{escape(line)}</span>" for line in rest)
    about = first.removeprefix(negative.number).strip()
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{escape(negative.number)}: sleeve</title>
<style>
@page {{ size: A4 portrait; margin: 10mm; }}
* {{ box-sizing: border-box; }}
html {{ font: 10pt/1.3 {FACE}; color: #000; background: #fff; }}
body {{ margin: 0; overflow-wrap: anywhere; }}
.strip {{ width: 190mm; max-width: 100%; min-height: 10mm; border: 1pt dashed #000; padding: .5mm 2mm; }}
.strip b {{ font-size: 14pt; margin-right: 3mm; }}
.strip span {{ font-size: 8pt; margin-right: 3mm; }}
h1 {{ font-size: 14pt; margin: 8mm 0 1mm; border-bottom: 2pt solid #000; }}
ul {{ margin: 1mm 0; padding-left: 5mm; }}
@media screen {{ body {{ padding: 10px 12px; }} }}
</style>
</head>
<body>
<div class="strip"><b>{escape(negative.number)}</b><span>{escape(about)}</span>{spans}</div>
<h1>{escape(negative.number)}</h1>
<p>{escape(about)}{"".join(f"<br>{escape(line)}" for line in rest)}</p>
{f"<ul>{rows}</ul>" if rows else "<p>No notes.</p>"}
</body>
</html>
"""
