"""The pre-flight checklist on paper: one A4 page in two columns with boxes to tick, the questions alone.

Decides its content and how large the type may be. One HTML file without script, picture or network, black on white.
Tests: tests/prepare/paper/test_checklist_page.py, which prints it in a real browser.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape

from monitor.core.recipe.checklist import PARTS, items_for
from monitor.core.recipe.values import Recipe
from monitor.core.text.degrees import in_unit_shown
from monitor.prepare.cautions import HABITUAL, cautions_for
from monitor.prepare.paper.page_fit import FACE, GAP_PT, LINE_EM, NARROWED, Block, Text, below, type_size_pt
from monitor.prepare.waiting import ALARM_FIRST, waits_for


def checklist_html(recipe: Recipe, known: Sequence[str]) -> str:
    """The page for one recipe. `known`: what is on record, in sentences."""
    blocks = list(_blocks(recipe, known))
    title = escape(recipe.name)
    body = "\n".join(f"<section>{block.html}</section>" for block in blocks)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{title}: checklist</title>\n<style>\n{_style(type_size_pt(blocks, 2))}</style>\n</head>\n<body>\n"
        f"<h1>Before {title}</h1>\n<main>\n{body}\n</main>\n</body>\n</html>\n"
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


def _blocks(recipe: Recipe, known: Sequence[str]) -> Iterator[Block]:
    if known:
        yield _block("On record", [(words, "") for words in known])
    for part, heading in PARTS.items():
        asked = [(("" if item.asked_of == "person" else "The station checks: ") + in_unit_shown(item.text), "ask")
                 for item in items_for(recipe) if item.part == part]  # fmt: skip
        if asked:
            yield _block(heading, asked)
    waits = [(f"{wait.stage}. {wait.name}: {wait.short}", "") for wait in waits_for(recipe)]
    yield _block("When something happens: how long film may wait", [(ALARM_FIRST, "alarm"), *waits])
    yield _block("Cautions", [(caution.text, "") for caution in cautions_for(recipe) if caution.id not in HABITUAL])


def _block(heading: str, lines: Sequence[tuple[str, str]]) -> Block:
    """A heading and its paragraphs; each with its class, or none."""
    html = f"<h2>{escape(heading)}</h2>" + "".join(
        f'<p class="{kind}">{escape(words)}</p>' if kind else f"<p>{escape(words)}</p>" for words, kind in lines
    )
    texts = (Text(words, padding_em=1.6 if kind == "ask" else 0.0, above_em=0.3, bold=kind == "alarm") for words, kind in lines)
    return Block(html, below(Text(heading, 1.1), *texts), 0.8)
