"""`evenbath season RECIPE.toml --tap "26 C" --room "30 C"`: can it be held here, and which temperature is best to plan for?

Decides nothing itself: monitor.prepare.water.season does. Tests: tests/prepare/water/test_season.py.
"""

from __future__ import annotations

import argparse
import sys

from monitor.cli.arguments.common import add_json


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("recipe", metavar="RECIPE.toml")
    parser.add_argument("--tap", required=True, metavar="TEMPERATURE", help='the coldest tap water, "26 C"')
    parser.add_argument("--room", required=True, metavar="TEMPERATURE", help='temperature of the air around the bath, "30 C"')
    parser.add_argument("--bath", default="2.5 l", metavar="VOLUME", help="water in the bath; 2.5 l if left out")
    parser.add_argument("--tau", metavar="m:ss", help='its time constant, as measured by forecast, "49:00"; default: a rule of thumb')
    parser.add_argument("--hot", default="60 C", metavar="TEMPERATURE", help="temperature of the hot water at hand; 60 C if left out")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Print the plan for every develop stage. Raises `InputWrong` for impossible temperatures."""
    from dataclasses import asdict

    from monitor.cli.arguments.recipe_file import open_recipe
    from monitor.core.text.quantities import read_duration, read_temperature, read_volume
    from monitor.prepare.water.season import plan_season, season_lines

    bath_ml = read_volume(args.bath)
    tau_s = read_duration(args.tau) if args.tau is not None else None
    plans = plan_season(
        open_recipe(args.recipe),
        read_temperature(args.tap),
        read_temperature(args.room),
        bath_ml=bath_ml,
        tau_s=tau_s,
        hot_c=read_temperature(args.hot),
    )
    if args.json:
        import json

        sys.stdout.write(json.dumps({"held": all(p.held for p in plans), "stages": [asdict(p) for p in plans]}) + "\n")
        return 0
    for plan in plans:
        sys.stdout.write("".join(f"{line}\n" for line in season_lines(plan, bath_ml, tau_s is not None)))
    return 0
