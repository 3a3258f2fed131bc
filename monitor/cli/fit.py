"""`evenbath fit PAIRS...`: make a rate from your own pairs of temperature and time, and show the residuals.

Decides nothing itself: monitor.prepare.recipes.fitting does. Tests: tests/cli/test_fit.py.
"""

from __future__ import annotations

import argparse
import sys

from monitor.cli.arguments.common import add_json


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("pairs", nargs="+", metavar="PAIR", help='temperature and time, such as "20 C=10:00"; two or more')
    parser.add_argument("--reference", metavar="TEMPERATURE", help='the recipe\'s reference, such as "20 C" (the default)')
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Print the fit. Raises `InputWrong` for pairs that do not give a rate."""
    from monitor.prepare.recipes.fitting import fit_data, fit_lines, not_falling, own_rate

    own = own_rate(args.pairs, args.reference)
    for line in not_falling(own):
        sys.stderr.write(f"note: {line}\n")
    if args.json:
        import json

        sys.stdout.write(json.dumps(fit_data(own)) + "\n")
        return 0
    for line in fit_lines(own):
        sys.stdout.write(f"{line}\n")
    return 0
