"""`evenbath wash`: fill and dump, or running water by its flow, with the arithmetic shown; cold water; tests for what was left in.

Decides nothing itself: monitor.prepare.water.washing does. Tests: tests/prepare/water/test_washing.py.
"""

from __future__ import annotations

import argparse
import sys

from monitor.cli.arguments.common import add_json


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    from monitor.prepare.water.washing import MATERIALS

    parser.add_argument("--vessel", default="500 ml", metavar="VOLUME", help='water in the tank or tray; default "500 ml"')
    parser.add_argument("--left", default="15 ml", metavar="VOLUME", help='what stays in it when it is poured out; default "15 ml"')
    parser.add_argument("--jug", metavar="VOLUME", help='running water: a jug, "1 l", that you held under the tap')
    parser.add_argument("--fills-in", metavar="m:ss", help="how long the jug took to fill")
    parser.add_argument("--material", default="film", choices=tuple(MATERIALS), help="what is washed; default film")
    parser.add_argument("--aid", action="store_true", help="wash aid is used")
    parser.add_argument("--water", metavar="TEMPERATURE", help='of the water, "9 C"')
    parser.add_argument("--fixer", metavar="TEMPERATURE", help='of the bath before it, "20 C"')
    parser.add_argument("--tests", action="store_true", help="the tests for fixer and silver left in, with their hazards")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Print it. Raises `InputWrong`."""
    from monitor.cli.terminal.fit import fitted
    from monitor.core.errors import InputWrong
    from monitor.core.text.degrees import degrees
    from monitor.core.text.quantities import read_duration, read_temperature, read_volume
    from monitor.prepare.water import washing

    if (args.jug is None) != (args.fills_in is None):
        raise InputWrong("a jug and its time belong together; allowed: --jug VOLUME --fills-in m:ss, or neither")
    vessel_ml = read_volume(args.vessel)
    dumped = washing.fill_and_dump(vessel_ml, read_volume(args.left))
    flowing = None
    if args.jug is not None:
        flowing = washing.running(vessel_ml, read_volume(args.jug), read_duration(args.fills_in), args.material, args.aid)
    water_c, fixer_c = (None if text is None else read_temperature(text) for text in (args.water, args.fixer))
    careful = list(washing.water_warnings(water_c, fixer_c, args.material))
    in_a_tank, cold = args.material == washing.IN_A_TANK, water_c is not None and water_c < washing.COLDEST_C
    if args.json:
        import json
        from dataclasses import asdict

        data = {
            "movements": list(washing.MOVEMENTS) if in_a_tank else None,
            "fill_and_dump": asdict(dumped) if in_a_tank else None,
            "running_s": washing.MATERIALS[args.material][1 if args.aid else 0],
            "running": None if flowing is None else asdict(flowing),
            "warnings": careful,
            "tests": [asdict(test) for test in washing.RESIDUAL_TESTS] if args.tests else [],
        }
        sys.stdout.write(json.dumps(data, ensure_ascii=False) + "\n")
        return 0
    lines = list(careful)
    if args.tests:
        lines += washing.residual_lines()
    else:
        if cold and lines:
            lines.append(f"Once the water has {degrees(washing.COLDEST_C)} or more:")
        if flowing is not None:
            lines += washing.running_lines(flowing, args.material, args.aid)
        else:
            lines += washing.fill_lines(dumped) if in_a_tank else ()
            lines += washing.minutes_lines(args.material, args.aid)
        lines += washing.aid_lines(args.material) if args.aid else ()
    sys.stdout.write(fitted("".join(f"{line}\n" for line in lines)))
    return 0
