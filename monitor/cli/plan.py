"""`evenbath plan RECIPE.toml`: read a recipe back, in words or as data; `--card` prints it for the wall.

Decides nothing itself: monitor.prepare.read_back says what the plan is. Tests: tests/cli/test_plan.py.
"""

from __future__ import annotations

import argparse
import sys


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("recipe", metavar="RECIPE.toml", help="the recipe to read back")
    parser.add_argument("--json", action="store_true", help="one object in place of words; seconds and Celsius, not rounded")
    parser.add_argument("--brief", action="store_true", help="leave out the cautions, which are the same each evening")
    parser.add_argument("--card", metavar="FILE.html", help="also write one printable page for the wall")


def run(args: argparse.Namespace) -> int:
    """Print the plan. Raises `InputWrong` for a recipe or a path that is wrong."""
    from monitor.cli.recipe_file import open_recipe
    from monitor.prepare.read_back import plan_data, plan_lines

    recipe = open_recipe(args.recipe)
    if args.card is not None:
        from monitor.prepare.card import card_html

        _write_card(args.card, card_html(recipe))
    if args.json:
        import json

        sys.stdout.write(json.dumps(plan_data(recipe)) + "\n")
        return 0
    for line in plan_lines(recipe, brief=args.brief):
        sys.stdout.write(f"{line}\n")
    if args.card is not None:
        sys.stdout.write(f"\nThe card for the wall: {args.card}\n")
    return 0


def _write_card(name: str, page: str) -> None:
    """Write the page. A name that does not end in .html is refused, so that no recipe is overwritten by a slip."""
    from pathlib import Path

    from monitor.core.errors import InputWrong

    if not name.endswith((".html", ".htm")):
        raise InputWrong(f"--card {name}: not a page; allowed: a name that ends in .html")
    try:
        Path(name).write_text(page, encoding="utf-8")
    except OSError as wrong:
        raise InputWrong(f"--card {name}: cannot be written ({wrong.strerror}); allowed: a file in a folder that can be written") from None
