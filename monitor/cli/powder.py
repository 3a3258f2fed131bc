"""`evenbath powder`: how to mix a powder, and when the solution has cooled enough. Tests: tests/cli/test_powder.py."""

from __future__ import annotations

import argparse
import sys

from monitor.cli.arguments.common import add_json


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("--volume", required=True, metavar="VOLUME", help='of the finished solution, such as "1 l"')
    parser.add_argument("--hot", default="45 C", metavar="TEMPERATURE", help='water to dissolve it in, as the sheet says; default "45 C"')
    parser.add_argument("--cold", default="15 C", metavar="TEMPERATURE", help='water for topping up; default "15 C"')
    parser.add_argument("--want", default="20 C", metavar="TEMPERATURE", help='temperature of use; default "20 C"')
    around = parser.add_mutually_exclusive_group()
    around.add_argument("--room", metavar="TEMPERATURE", help='it cools in air at this temperature; default "20 C"')
    around.add_argument("--bath", metavar="TEMPERATURE", help="it cools in a water bath at this temperature")
    parser.add_argument("--within", default="0.5 C", metavar="DIFFERENCE", help='near enough; default "0.5 C"')
    parser.add_argument("--lag", metavar="m:ss", help="time constant of cooling, if you measured it")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Print the steps and the estimate. Raises `InputWrong`."""
    from monitor.core.errors import InputWrong
    from monitor.core.text.quantities import read_duration, read_temperature, read_temperature_difference, read_volume
    from monitor.prepare.cautions import cautions_at
    from monitor.prepare.water.powders import SPOILS_AGENTS_C, cooling, cooling_lines, steps

    volume_ml, hot_c = read_volume(args.volume), read_temperature(args.hot)
    if not 0 < hot_c <= 100:
        raise InputWrong(f'--hot "{args.hot}": not a temperature of liquid water; allowed: above 0 C, at most 100 C')
    around = read_temperature(args.bath if args.bath is not None else args.room or "20 C")
    lag_s = None if args.lag is None else read_duration(args.lag)
    result = cooling(
        volume_ml, hot_c, read_temperature(args.cold), read_temperature(args.want), "air" if args.bath is None else "bath", around,
        within_c=read_temperature_difference(args.within), lag_s=lag_s,
    )  # fmt: skip
    order, cautions = list(steps(volume_ml, hot_c)), cautions_at("powders")
    if args.json:
        import json
        from dataclasses import asdict

        said = {"steps": order, "cautions": [{"text": c.text, "source": c.source} for c in cautions]}
        sys.stdout.write(json.dumps({**asdict(result), **said}, ensure_ascii=False) + "\n")
        return 0
    lines = [f"{number}. {step}" for number, step in enumerate(order, 1)] + ["", *cooling_lines(result)]
    if hot_c > SPOILS_AGENTS_C:
        lines.append(f"Careful: water above {SPOILS_AGENTS_C:g} C spoils most developing agents (common practice).")
    sys.stdout.write("".join(f"{line}\n" for line in [*lines, "", "Cautions", *(f"  - {c.text} [{c.source}]" for c in cautions)]))
    return 0
