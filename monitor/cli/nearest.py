"""What somebody may have meant who mistyped a command, an option or one of a few words. Loaded only where something is wrong.

Tests: tests/cli/test_nearest.py.
"""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterable
from difflib import get_close_matches

NEAR = 0.7
"""From this share of letters in common on a word is taken for a slip (0 to 1, difflib's ratio; tried on the names of our commands)."""


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Such as '; did you mean "plan"?'; empty where nothing is near."""
    near = get_close_matches(word, list(known), n=1, cutoff=NEAR)
    return f'; did you mean "{near[0]}"?' if near else ""


def meant(parser: argparse.ArgumentParser, message: str) -> str:
    """The same for a message of argparse about an option that is not known, or a word that is none of those allowed."""
    unknown = re.match(r"unrecognized arguments: (?:[^-]\S* )*(-\S+)", message)
    if unknown:
        return did_you_mean(unknown[1].partition("=")[0], _options(parser))
    wrong = re.search(r"invalid choice: '?(.+?)'? \(choose from (.*)\)", message)
    return did_you_mean(wrong[1], (word.strip(" '") for word in wrong[2].split(","))) if wrong else ""


def _options(parser: argparse.ArgumentParser) -> Iterable[str]:
    """The long options of a parser and of all below it."""
    for action in parser._actions:
        yield from (name for name in action.option_strings if name.startswith("--"))
        if isinstance(action, argparse._SubParsersAction):
            for below in action.choices.values():
                yield from _options(below)
