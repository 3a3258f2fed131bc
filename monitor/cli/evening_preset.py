"""`evenbath new --evening KIND`: writes the file of an evening from a preset and the recipes beside it.

What stands in it is monitor.prepare.evening.presets'. Tests: tests/cli/test_new_evening.py.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable
from pathlib import Path

from monitor.core.errors import InputWrong


def add_evening(parser: argparse.ArgumentParser) -> None:
    """Declare the options of an evening."""
    parser.add_argument("--evening", metavar="KIND", help="write an evening of several films in place of a recipe; --list shows the kinds")
    parser.add_argument("--recipe", action="append", default=[], metavar="RECIPE.toml", help="a recipe of the evening; again for another")
    parser.add_argument("--films", metavar="N", help="how many films (default: the kind's)")
    parser.add_argument("--between", metavar="m:ss", help="the gap between two films in one vessel")
    parser.add_argument(
        "--stagger", choices=("clear", "short"), default="clear",
        help="two vessels: no two films want the hands at once (clear), or sooner done, and one of them may have to wait (short)",
    )  # fmt: skip
    parser.add_argument("--vessels", metavar="LEFT,RIGHT", help="the vessels' names in the station file (default left,right)")


def list_evenings() -> None:
    """The kinds, one a line."""
    from monitor.prepare.evening.presets import PRESETS

    sys.stdout.write("\nevenings (--evening KIND --recipe RECIPE.toml)\n")
    sys.stdout.write("".join(f"{preset.key:<12}{preset.title}\n" for preset in PRESETS))


def write_evening(args: argparse.Namespace, write: Callable[[str, str], None]) -> int:
    """Write the file, say what is in it. Raises `InputWrong` and `FileWrong`."""
    from monitor.cli.arguments.recipe_file import read_file
    from monitor.core.evening.reader import RecipeText
    from monitor.core.text.quantities import read_duration
    from monitor.prepare.evening.presets import Stagger, Wanted, preset_named, said, staggered

    preset = preset_named(args.evening)
    if args.out is None:
        raise InputWrong("--evening without --out; allowed: --out FILE.toml, beside its recipes")
    if args.blank is not None or args.set or args.usual:
        raise InputWrong("--evening with --from, --set or --usual; allowed: recipes that are written already, each with --recipe")
    if args.films is not None and not (args.films.isdecimal() and len(args.films) <= 3):
        raise InputWrong(f"--films {args.films[:20]}: not a number of films; allowed: 2 to 12")
    folder = Path(args.out).parent

    def beside(name: str) -> RecipeText:
        path = str(folder / name)
        return RecipeText(read_file(path, "recipe"), path)

    wanted = Wanted(
        recipes=tuple(os.path.relpath(name, folder or ".") for name in args.recipe),
        vessels=("left", "right") if args.vessels is None else tuple(name.strip() for name in args.vessels.split(",")),
        films=None if args.films is None else int(args.films),
        between_s=None if args.between is None else read_duration(args.between),
    )
    ways = staggered(preset, wanted, args.out, beside)
    chosen: Stagger = "short" if args.stagger == "short" and "short" in ways else "clear"
    write(args.out, ways[chosen].text)
    sys.stdout.write(f"written: {args.out}\n")
    sys.stdout.write("".join(f"{line}\n" for line in said(ways, chosen, wanted.vessels[: preset.vessels])))
    sys.stdout.write(f"Look at it before you use it: evenbath plan {args.out}\n")
    return 0
