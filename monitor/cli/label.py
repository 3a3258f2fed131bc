"""`evenbath label NAME`: what to write on a bottle of the ledger; `--html` makes a page to print. Tests: tests/cli/test_label.py."""

from __future__ import annotations

import argparse
import sys

from monitor.cli.arguments.common import add_json, add_state


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("name", metavar="NAME", help="a bottle in the ledger")
    parser.add_argument("--html", metavar="FILE.html", help="also write a page with the label to cut out")
    add_state(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Print the label. Raises `InputWrong`."""
    from monitor.prepare.bottles.ledger import read_ledger
    from monitor.prepare.paper.label import label_html, label_lines
    from monitor.prepare.state.folder import state_folder

    bottle = read_ledger(state_folder(args.state)).bottle(args.name)
    if args.html is not None:
        from monitor.cli.arguments.page_file import write_page

        write_page("--html", args.html, label_html(bottle))
    lines = label_lines(bottle)
    if args.json:
        import json

        sys.stdout.write(json.dumps({"id": bottle.id, "name": bottle.name, "lines": lines, "html": args.html}, ensure_ascii=False) + "\n")
        return 0
    sys.stdout.write("".join(f"{line}\n" for line in lines))
    return 0
