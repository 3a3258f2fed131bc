"""`evenbath guide [shopping | water | drying | ...]`: advice for a beginner, the answer first; `--html` makes a page to print.

Without a topic it lists them.

Tests: tests/cli/test_guide.py.
"""

from __future__ import annotations

import argparse
import sys

from monitor.cli.arguments.common import add_json


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    from monitor.prepare.guide.advice import TOPICS

    parser.add_argument("topic", nargs="?", choices=tuple(TOPICS), help="; ".join(f"{key}: {topic.says}" for key, topic in TOPICS.items()))
    parser.add_argument("--hardness", metavar="HARDNESS", help='of your water, as your supplier prints it, such as "14 dH" or "250 mg/l"')
    parser.add_argument("--html", metavar="FILE.html", help="also write it as a page to print")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Print it. Raises `InputWrong`."""
    from monitor.core.errors import InputWrong
    from monitor.prepare.guide.advice import TOPICS
    from monitor.prepare.guide.hardness import read_hardness
    from monitor.prepare.guide.lines import topic_lines

    if args.topic is None:
        return _topics(args)
    topic = TOPICS[args.topic]
    if args.hardness is not None and args.topic != "water":
        raise InputWrong("--hardness belongs to water; allowed: evenbath guide water --hardness HARDNESS")
    hardness = None if args.hardness is None else read_hardness(args.hardness)
    if args.html is not None:
        from monitor.cli.arguments.page_file import write_page
        from monitor.prepare.paper.guide_page import guide_html

        write_page("--html", args.html, guide_html(topic, hardness))
    if args.json:
        import json
        from dataclasses import asdict

        data = {"topic": args.topic, **asdict(topic), "hardness": None if hardness is None else asdict(hardness), "html": args.html}
        sys.stdout.write(json.dumps(data, ensure_ascii=False) + "\n")
        return 0
    sys.stdout.write("".join(f"{line}\n" for line in topic_lines(topic, hardness)))
    return 0


def _topics(args: argparse.Namespace) -> int:
    """What there is advice on."""
    from monitor.core.errors import InputWrong
    from monitor.prepare.guide.advice import TOPICS

    if args.hardness is not None or args.html is not None:
        raise InputWrong(f"no topic named; allowed: {', '.join(TOPICS)}")
    if args.json:
        import json

        sys.stdout.write(json.dumps({"topics": {key: topic.says for key, topic in TOPICS.items()}}, ensure_ascii=False) + "\n")
        return 0
    sys.stdout.write("".join(f"{key:<10}{topic.says}\n" for key, topic in TOPICS.items()))
    return 0
