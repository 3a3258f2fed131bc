"""A page of two columns with headings, in the largest type that fits one sheet of A4: black on white, no script, picture or network.

Tests: tests/prepare/paper/test_printed.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from monitor.prepare.paper.page_fit import FACE, GAP_PT, LINE_EM, NARROWED, Block, Text, below, type_size_pt


def two_columns_html(title: str, heading: str, blocks: Sequence[Block]) -> str:
    """The page. `title` and `heading` are plain words."""
    body = "\n".join(f"<section>{block.html}</section>" for block in blocks)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>\n{_style(type_size_pt(blocks, 2))}</style>\n</head>\n<body>\n"
        f"<h1>{escape(heading)}</h1>\n<main>\n{body}\n</main>\n</body>\n</html>\n"
    )


def _style(size_pt: float) -> str:
    return f"""{NARROWED}@page {{ size: A4 portrait; margin: 10mm; }}
* {{ box-sizing: border-box; }}
html {{ font: {size_pt}pt/{LINE_EM} {FACE}; color: #000; background: #fff; }}
body {{ margin: 0 auto; max-width: 190mm; overflow-wrap: break-word; }}
main {{ columns: 2; column-gap: {GAP_PT}pt; }}
h1 {{ font-size: 1.5em; line-height: 1.2; margin: 0 0 .2em; }}
h2 {{ font-size: 1.1em; margin: .3em 0 .2em; border-bottom: .14em solid #000; break-after: avoid; }}
p {{ margin: 0 0 .3em; break-inside: avoid; }}
.ask {{ padding-left: 1.6em; position: relative; }}
.ask::before {{ content: ""; position: absolute; left: 0; top: .15em; width: 1em; height: 1em; border: .1em solid #000; }}
.alarm {{ font-weight: bold; }}
@media screen {{ body {{ padding: 10px 12px; }} }}
@media screen and (max-width: 640px) {{ html {{ font-size: 15px; }} main {{ columns: 1; }} }}
"""


def block(heading: str, lines: Sequence[tuple[str, str]]) -> Block:
    """A heading and its paragraphs, each with its class: "ask" with a box to tick, "alarm" in bold, or none."""
    html = f"<h2>{escape(heading)}</h2>" + "".join(
        f'<p class="{kind}">{escape(words)}</p>' if kind else f"<p>{escape(words)}</p>" for words, kind in lines
    )
    texts = (Text(words, padding_em=1.6 if kind == "ask" else 0.0, above_em=0.3, bold=kind == "alarm") for words, kind in lines)
    return Block(html, below(Text(heading, 1.1), *texts), 0.8)
