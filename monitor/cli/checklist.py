"""`evenbath checklist RECIPE.toml`: the pre-flight checklist, the recipe's cautions, and how long each stage may wait; `--card` on paper.

The questions stand alone: what a "no" means is told by the station where somebody says it, and here by `--if-not`. It also shows what
is on record: the ledger's bottles with the names of the recipe's solutions, whether the room was tested for this film, and what was ticked
on a phone this evening. The station goes through the same list itself (monitor.core.recipe.checklist). Tests: tests/cli/test_checklist.py.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from monitor.cli.arguments.common import add_json, add_state, today

if TYPE_CHECKING:
    from monitor.core.recipe.values import Recipe

_WIDTH = 110


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("recipe", metavar="RECIPE.toml", help="the recipe that is about to be used")
    parser.add_argument("--card", metavar="FILE.html", help="also write one printable page in two columns, with boxes to tick")
    parser.add_argument("--if-not", action="store_true", help="below each question what a no means and what to do")
    parser.add_argument("--cautions", action="store_true", help="also the cautions that are the same each evening")
    add_state(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Print the checklist. Raises `InputWrong` for a wrong recipe."""
    from monitor.cli.arguments.recipe_file import open_recipe
    from monitor.cli.terminal.fit import fitted

    recipe = open_recipe(args.recipe)
    known = _on_record(recipe, args.state)
    if args.card is not None:
        from monitor.cli.arguments.page_file import write_page
        from monitor.prepare.paper.checklist_page import checklist_html

        write_page("--card", args.card, checklist_html(recipe, known))
    if args.json:
        import json

        sys.stdout.write(json.dumps({**_data(recipe), "on_record": known}, ensure_ascii=False) + "\n")
        return 0
    marks = _ticked(args.recipe, args.state)
    sys.stdout.write(fitted("".join(f"{line}\n" for line in _lines(recipe, known, marks, args.if_not, args.cautions))))
    if args.card is not None:
        sys.stdout.write(f"\nThe checklist on paper: {args.card}\n")
    return 0


def _on_record(recipe: Recipe, state: str | None) -> list[str]:
    """What the ledger and the record of darkness say about this recipe, in sentences."""
    from monitor.prepare.bottles.bottles import standing
    from monitor.prepare.bottles.ledger import read_ledger
    from monitor.prepare.darkness.coin_test import darkness, kind_of, load
    from monitor.prepare.state.folder import state_folder

    folder, day = state_folder(state), today()
    bottles = read_ledger(folder).bottles
    said: list[str] = []
    for solution in dict.fromkeys(stage.solution for stage in recipe.stages if stage.solution is not None):
        bottle = standing(bottles, solution)
        word, why = "no bottle", "there is none with this name in the ledger"
        if bottle is not None:
            word, why = bottle.called(day), bottle.state(day)[1]
        said.append(f"{solution}: {word}; {why}")
    if recipe.open_film:
        known = darkness(load(folder), kind_of(recipe), day)
        said.append(f"darkness, {recipe.material}: {known.in_words}; {known.why}")
    return said


def _ticked(recipe: str, state: str | None) -> frozenset[str]:
    """What was ticked this evening, on a phone, for a file of this name."""
    from pathlib import Path

    from monitor.live.clock import RealClock
    from monitor.live.station.ended import newest_armed
    from monitor.prepare.logbook.ticks import ticked
    from monitor.prepare.state.folder import state_folder
    from monitor.prepare.state.journal_lines import JOURNALS

    folder = state_folder(state)
    return ticked(folder, Path(recipe).name, RealClock().wall(), newest_armed(folder / JOURNALS))


def _data(recipe: Recipe) -> dict[str, Any]:
    from dataclasses import asdict

    from monitor.core.recipe.checklist import items_for
    from monitor.prepare.cautions import cautions_for
    from monitor.prepare.waiting import ALARM_FIRST, waits_for

    return {
        "name": recipe.name,
        "items": [
            {"id": i.id, "part": i.part, "asked_of": i.asked_of, "stops": i.stops, "text": i.text, "if_no": i.if_no}
            for i in items_for(recipe)
        ],
        "cautions": [{"id": c.id, "text": c.text, "where": list(c.where), "source": c.source} for c in cautions_for(recipe)],
        "first": ALARM_FIRST,
        "waits": [asdict(wait) for wait in waits_for(recipe)],
    }


def _lines(recipe: Recipe, known: list[str], marks: frozenset[str], if_not: bool, cautions: bool) -> Iterator[str]:
    from textwrap import wrap

    from monitor.core.recipe.checklist import PARTS, items_for
    from monitor.core.text.degrees import in_unit_shown
    from monitor.prepare.recipes.read_back import caution_lines
    from monitor.prepare.waiting import ALARM_FIRST, SOURCE, waits_for

    def folded(text: str, head: str, hang: int = 6) -> list[str]:
        return wrap(text, _WIDTH, initial_indent=head, subsequent_indent=" " * hang, break_on_hyphens=False)

    yield f"Before {recipe.name}"
    if known:
        yield ""
        yield "On record"
        yield from (f"  {line}" for line in known)
    for part, heading in PARTS.items():
        items = [item for item in items_for(recipe) if item.part == part]
        if not items:
            continue
        yield ""
        yield heading
        for item in items:
            looks = "the station checks: " if item.asked_of == "machine" else ""
            yield from folded(looks + in_unit_shown(item.text), "  [x] " if item.id in marks else "  [ ] ")
            if if_not:
                yield from folded(f"if not: {in_unit_shown(item.if_no)}", " " * 6)
    yield ""
    yield f"When something happens ({SOURCE})"
    yield f"  {ALARM_FIRST}"
    for wait in waits_for(recipe):
        yield from folded(f"  {wait.stage}. {wait.name}: {wait.text}", "", 5)
    yield ""
    yield from caution_lines(recipe, cautions, _WIDTH)
