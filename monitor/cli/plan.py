"""`evenbath plan RECIPE.toml`: read a recipe back, in words or as data; `--card` prints it for the wall.

Decides nothing itself: monitor.prepare.recipes.read_back says what the plan is. Tests: tests/cli/test_plan.py.
"""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from monitor.cli.arguments.common import add_json, add_state

if TYPE_CHECKING:
    from monitor.core.recipe.values import Recipe


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("recipe", metavar="RECIPE.toml", help="the recipe to read back")
    add_json(parser)
    parser.add_argument("--cautions", action="store_true", help="also the cautions that are the same each evening")
    add_state(parser)
    parser.add_argument("--card", metavar="FILE.html", help="also write one printable page for the wall")


def run(args: argparse.Namespace) -> int:
    """Print the plan. Raises `InputWrong` for a wrong recipe or path."""
    from monitor.cli.arguments.recipe_file import open_recipe
    from monitor.prepare.recipes.read_back import plan_data, plan_lines

    recipe = open_recipe(args.recipe)
    if args.card is not None:
        from monitor.cli.arguments.page_file import write_page
        from monitor.prepare.paper.card import card_html

        write_page("--card", args.card, card_html(recipe))
    last, changes = _last_time(args, recipe)
    if args.json:
        import json

        sys.stdout.write(json.dumps({**plan_data(recipe), "last_session": last, "differences": changes}) + "\n")
        return 0
    for line in plan_lines(recipe, cautions=args.cautions):
        sys.stdout.write(f"{line}\n")
    if last is not None:
        sys.stdout.write(f"\nCompared with the last session of this kind, {last}: {'this differs' if changes else 'nothing differs'}\n")
        sys.stdout.write("".join(f"  {change}\n" for change in changes))
    if args.card is not None:
        sys.stdout.write(f"\nThe card for the wall: {args.card}\n")
    return 0


def _last_time(args: argparse.Namespace, recipe: Recipe) -> tuple[str | None, list[str]]:
    """The last session with this recipe, if there is one, and the differences."""
    from monitor.prepare.recipes.last_time import differences, last_time
    from monitor.prepare.state.folder import state_folder

    found = last_time(state_folder(args.state), recipe)
    return (None, []) if found is None else (found.session, differences(recipe, found.data))
