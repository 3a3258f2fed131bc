"""`evenbath clearing --fresh 0:40 --today 1:15`: the fixing time from today's clearing test. Tests: tests/cli/test_clearing.py."""

from __future__ import annotations

import argparse
import sys

from monitor.cli.arguments.common import add_json


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    from monitor.prepare.bottles.clearing import HOW

    parser.epilog = f"The test: {HOW}"
    parser.add_argument("--fresh", required=True, metavar="m:ss", help="clearing time of this fixer when it was fresh")
    parser.add_argument("--today", required=True, metavar="m:ss", help="clearing time measured today")
    parser.add_argument("--times", default="2", metavar="N", help="fix for N times the clearing time: 2 to 5; 3 for flat-grain films")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Judge the test. Raises `InputWrong`."""
    from monitor.cli.arguments.numbers import read_plain
    from monitor.core.text.quantities import read_duration
    from monitor.prepare.bottles.clearing import clearing, clearing_lines

    result = clearing(read_duration(args.fresh), read_duration(args.today), read_plain("--times", args.times, "2 to 5"))
    if args.json:
        import json

        fields = {"fresh_s": result.fresh_s, "today_s": result.today_s, "times": result.times, "ratio": result.ratio}
        sys.stdout.write(json.dumps({"fix_s": result.fix_s, "discard": result.discard, **fields}) + "\n")
        return 0
    sys.stdout.write("".join(f"{line}\n" for line in clearing_lines(result)))
    return 0
