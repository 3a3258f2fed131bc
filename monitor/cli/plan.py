"""`evenbath plan RECIPE.toml | EVENING.toml`: read a recipe back, or plan an evening, in words or as data; `--card` for the wall.

Decides nothing itself: `monitor.prepare.recipes.read_back` says what a recipe's plan is, `monitor.prepare.evening` an evening's, and
`monitor.prepare.bottles.counting` what the ledger has to say. Tests: tests/cli/test_plan.py, tests/cli/test_plan_evening.py.
"""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from monitor.cli.arguments.common import add_json, add_state, state_of

if TYPE_CHECKING:
    from monitor.core.evening.values import Evening
    from monitor.core.recipe.values import Recipe
    from monitor.prepare.bottles.bottles import Bottles


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("recipe", metavar="RECIPE.toml", help="the recipe to read back, or an evening of several")
    add_json(parser)
    parser.add_argument("--cautions", action="store_true", help="also the cautions that are the same each evening")
    add_state(parser)
    parser.add_argument("--file", metavar="STATION.toml", help="the station: its vessels, ledger, journals; --state goes before it")
    parser.add_argument("--card", metavar="FILE.html", help="also write one printable page for the wall")


def run(args: argparse.Namespace) -> int:
    """Print the plan. Raises `InputWrong` for a wrong recipe, evening or path."""
    from monitor.cli.arguments.recipe_file import open_evening

    evening = open_evening(args.recipe)
    return _recipe(args, evening) if evening.from_recipe else _evening(args, evening)


def _evening(args: argparse.Namespace, evening: Evening) -> int:
    """Several films: one clock, the hands, what to mix."""
    from monitor.cli.arguments.common import today
    from monitor.prepare.evening.planned import planned, planned_data
    from monitor.prepare.evening.supplies import supplies

    switches = None
    if args.file is not None:
        from monitor.cli.arguments.vessels import check_vessels
        from monitor.cli.station import open_station

        config = open_station(args.file)
        check_vessels(evening, config, args.recipe)
        switches = sum(pin is not None for pin in (config.panel.switch, config.panel.switch_2))
    plan = planned(evening, _bottles(args), today())
    needs = supplies(plan)
    if args.card is not None:
        from monitor.cli.arguments.page_file import write_page
        from monitor.prepare.paper.evening_card import evening_card_html

        write_page("--card", args.card, evening_card_html(plan, needs, switches))
    if args.json:
        import json

        sys.stdout.write(json.dumps({**planned_data(plan), "supplies": needs.as_json()}, ensure_ascii=False) + "\n")
        return 0
    import shutil

    from monitor.prepare.evening.told import WIDTH, told

    width = min(WIDTH, shutil.get_terminal_size((WIDTH, 24)).columns)
    sys.stdout.write("".join(f"{line}\n" for line in told(plan, needs, width, args.cautions)))
    if args.card is not None:
        sys.stdout.write(f"\nThe card for the wall: {args.card}\n")
    return 0


def _bottles(args: argparse.Namespace) -> Bottles:
    """The ledger's bottles. A damaged last line is said; a ledger that cannot be read is said too, and stops no plan."""
    from monitor.core.errors import EvenbathError
    from monitor.prepare.bottles.ledger import read_ledger

    state = state_of(args)
    try:
        ledger = read_ledger(state)
    except (EvenbathError, OSError) as wrong:
        sys.stderr.write(f"note: the ledger of bottles cannot be read, the times are the recipes' own: {wrong}\n")
        return {}
    if ledger.damaged is not None:
        sys.stderr.write(f"{ledger.damaged}\n")
    return ledger.bottles


def _recipe(args: argparse.Namespace, evening: Evening) -> int:
    """One film: the recipe read back, with what the ledger says of it."""
    from monitor.cli.arguments.common import today
    from monitor.cli.terminal.fit import fitted
    from monitor.prepare.bottles.counting import count, with_ledger
    from monitor.prepare.recipes.read_back import plan_data, plan_lines

    of_file = evening.films[0].recipe
    if args.card is not None:
        from monitor.cli.arguments.page_file import write_page
        from monitor.prepare.paper.card import card_html

        write_page("--card", args.card, card_html(of_file))
    last, changes = _last_time(args, of_file)
    (standings,) = count(_bottles(args), [of_file], today())
    recipe, unfit = with_ledger(of_file, standings)
    concerns = [*(concern for standing in standings for concern in standing.concerns), *unfit]
    if args.json:
        import json

        ledger = {"solutions": [standing.as_json() for standing in standings], "concerns": concerns}
        sys.stdout.write(json.dumps({**plan_data(recipe), "ledger": ledger, "last_session": last, "differences": changes}) + "\n")
        return 0
    for line in plan_lines(recipe, cautions=args.cautions):
        sys.stdout.write(fitted(f"{line}\n"))
    if standings:
        sys.stdout.write("\nLedger, in the times above\n")
        sentences = (*(standing.sentence for standing in standings), *concerns)
        sys.stdout.write(fitted("".join(f"  {sentence}\n" for sentence in sentences)))
    if last is not None:
        differs = "this differs" if changes else "nothing differs"
        sys.stdout.write(fitted(f"\nCompared with the last session with this recipe, {last}: {differs}\n"))
        sys.stdout.write(fitted("".join(f"  {change}\n" for change in changes)))
    if args.card is not None:
        sys.stdout.write(f"\nThe card for the wall: {args.card}\n")
    return 0


def _last_time(args: argparse.Namespace, recipe: Recipe) -> tuple[str | None, list[str]]:
    """The last session with this recipe, if there is one, and the differences."""
    from monitor.prepare.recipes.last_time import differences, last_time

    found = last_time(state_of(args), recipe)
    return (None, []) if found is None else (found.session, differences(recipe, found.data))
