"""What to write on a bottle: as plain text, or as a page with one label to cut out. Pure.

Decides its content: the name in large type, what it is and its dilution, dates, how long it keeps full and part-full, boxes
to tick for each unit of film, when to throw it away, and that it is never food. Tests: tests/prepare/paper/test_label.py.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from html import escape

from monitor.core.recipe.kinds import FIXING_ROLES, names_paper
from monitor.core.text.degrees import plain
from monitor.core.text.quantities import format_duration, format_number, format_volume
from monitor.prepare.bottles.bottles import Bottle
from monitor.prepare.cautions import named_hazards
from monitor.prepare.days import read_day, read_span
from monitor.prepare.paper.page_fit import FACE

MOST_BOXES = 40
NEVER_FOOD = "NEVER FOOD OR DRINK. Keep from children and animals."
RULE = "The maker's safety data sheet rules."
BOX = '<span class="box"></span>'
"""A box to tick, drawn; as text it is "[ ]"."""
_BLANK = "__________"


def label_lines(bottle: Bottle) -> list[str]:
    """The label as lines of text, the name first."""
    return [bottle.name, *_contents(bottle), *_dates(bottle), *_limits(bottle), NEVER_FOOD, *_careful(bottle), RULE]


def label_html(bottle: Bottle) -> str:
    """One label on a page, 95 mm wide, black on white, self-contained."""
    rows = [*_contents(bottle), *_dates(bottle), *_limits(bottle)]
    body = "".join(f"<p>{escape(row).replace('[ ]', BOX)}</p>" for row in rows)
    careful = "".join(f'<p class="small">{escape(row)}</p>' for row in (*_careful(bottle), RULE))
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{escape(bottle.name)}: label</title>
<style>
@page {{ size: A4 portrait; margin: 10mm; }}
* {{ box-sizing: border-box; }}
html {{ font: 10pt/1.25 {FACE}; color: #000; background: #fff; }}
body {{ margin: 0; }}
.label {{ width: 95mm; max-width: 100%; border: 1pt dashed #000; padding: 3mm 4mm; overflow-wrap: break-word; }}
.box {{ display: inline-block; width: 3.4mm; height: 3.4mm; border: .8pt solid #000; margin: 0 .7mm .2mm 0; vertical-align: text-bottom; }}
@media screen {{ body {{ padding: 10px 12px; }} }}
h1 {{ font-size: 22pt; line-height: 1.1; margin: 0 0 1mm; border-bottom: 3pt solid #000; }}
p {{ margin: .6mm 0; }}
.food {{ font-weight: bold; font-size: 12pt; border: 2pt solid #000; padding: 1mm 2mm; margin: 1.5mm 0; }}
.small {{ font-size: 8pt; }}
</style>
</head>
<body><div class="label"><h1>{escape(bottle.name)}</h1>{body}<p class="food">{NEVER_FOOD}</p>{careful}</div></body>
</html>
"""


def _contents(bottle: Bottle) -> Iterator[str]:
    words = [w for w in (bottle.what, bottle.dilution, format_volume(bottle.filled_ml)) if w]
    yield ", ".join(words)
    if bottle.role not in (None, "other"):
        yield f"for: {bottle.role}{', ONE-SHOT: use once, then throw away' if bottle.rules.one_shot else ''}"


def _dates(bottle: Bottle) -> Iterator[str]:
    yield f"mixed {bottle.mixed}, opened {bottle.opened or _BLANK}"
    yield "[ ] full, [ ] part-full"
    keeps = []
    if bottle.rules.keeps_full is not None:
        until = read_span(bottle.rules.keeps_full).after(read_day(bottle.mixed)).isoformat()
        keeps.append(f"full until {until}")
    if bottle.rules.keeps_part is not None:
        ends = bottle.keeps_until if bottle.opened is not None else None
        since = f"{bottle.rules.keeps_part} from opening" if ends is None else f"until {ends.isoformat()}"
        keeps.append(f"part-full {since}")
    yield f"keeps {'; '.join(keeps)}" if keeps else f"keeps until {_BLANK} (your sheet says)"


def _limits(bottle: Bottle) -> Iterator[str]:
    rules = bottle.rules
    capacity = bottle.capacity_units
    if capacity is not None:
        boxes = min(MOST_BOXES, math.floor(capacity + 1e-9))
        more = "" if capacity <= MOST_BOXES else " ..."
        yield f"good for {format_number(capacity, 1)} units of 80 sq in ({_unit(bottle)}): {'[ ]' * boxes}{more}"
    if rules.longer_percent:
        yield f"each unit: time longer by {format_number(rules.longer_percent)} %"
    if rules.replenish_ml:
        yield f"replenish {format_volume(rules.replenish_ml)} for each unit"
    if rules.fresh_s is not None:
        spent = "do not use it any more" if bottle.role in FIXING_ROLES else "throw it away"
        test = f"{_test_piece(bottle)} dark" if bottle.role == "develop" else "clears"
        yield f"fresh: {test} in {format_duration(rules.fresh_s)}; from {format_duration(2 * rules.fresh_s)} on {spent}"


def _for_paper(bottle: Bottle) -> bool:
    return names_paper(f"{bottle.name} {bottle.what or ''}")


def _unit(bottle: Bottle) -> str:
    return "one 8x10, four 4x5" if _for_paper(bottle) else "roll, four 4x5"


def _test_piece(bottle: Bottle) -> str:
    return "strip of paper" if _for_paper(bottle) else "piece of leader"


def _careful(bottle: Bottle) -> Iterator[str]:
    named = named_hazards(f"{bottle.name} {bottle.what or ''}")
    yield from (hazard.text for hazard in named)
    if bottle.role in ("develop", "replenisher"):
        yield "Developer: nitrile gloves that are not powdered."
        yield f"No crystals may be left: warm the closed bottle to {plain(40.0)} and shake."
        yield "Its colour does not tell: some darken and still work, others die without a colour."
        before = "session" if _for_paper(bottle) else "film"
        yield f"Test a {_test_piece(bottle)} before each {before} (common practice)."
    elif bottle.role == "bleach-fix":
        yield "Bleach-fix gives off gas: do not stopper it tight. Never add acid or household bleach."
        yield "With a sediment: do not use it any more."
        yield "Used bleach-fix carries silver: collect it, never down the drain."
    elif bottle.role == "fix":
        yield "Fixer: never add acid or household bleach. Yellow, milky or with a sediment: do not use it any more."
        yield "Used fixer carries silver: collect it, never down the drain."
    elif bottle.role == "bleach" and not named:
        yield "Bleach: no strong acid, no heat, no household bleach; away from the developer. Collect it."
    elif bottle.role == "stop":
        yield "Acid: acid into water, never water into acid; not together with fixer or household bleach."
