"""`evenbath new`: turn the sheet in your hand into a recipe, question by question, from a blank; or recipes into an evening.

Asks on the terminal, or takes the answers from `--set` and from piped lines. Never overwrites a file.
The questions and the blanks are monitor.prepare.recipes.new_recipe's. Tests: tests/cli/test_new.py.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING

from monitor.cli.evening_preset import add_evening, list_evenings

if TYPE_CHECKING:
    from monitor.prepare.recipes.new_recipe import Blank


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("--from", dest="blank", metavar="BLANK", help="the blank to start from; --list shows them")
    parser.add_argument("--out", metavar="FILE.toml", help="the recipe to write; an existing file is refused")
    parser.add_argument("--set", action="append", default=[], metavar="KEY=ANSWER", help="an answer given in advance, such as time=10:00")
    parser.add_argument("--usual", action="store_true", help="take the usual answer if there is one, and ask only for the rest")
    parser.add_argument("--list", action="store_true", help="show the blanks and evenings, or with --from the questions of a blank")
    add_evening(parser)


def run(args: argparse.Namespace) -> int:
    """Ask, write the recipe, say what comes next. Raises `InputWrong`."""
    from monitor.core.errors import FileWrong
    from monitor.core.text.degrees import in_unit_shown
    from monitor.prepare.recipes.new_recipe import blank_named, fill_in, said_together

    if args.list:
        _list(args.blank)
        if args.blank is None:
            list_evenings()
        return 0
    if args.evening is not None:
        return _evening(args)
    _refuse_without_evening(args)
    beforehand = _beforehand(args.set)
    blank = blank_named(args.blank if args.blank is not None else _ask_blank())
    _refuse_unknown(blank, beforehand)
    if args.out is not None:
        _refuse_existing(args.out)
    answers = _answers(blank, beforehand, args.usual)
    out = args.out if args.out is not None else _ask("The file to write?", f"{blank.key}.toml", _refuse_existing)
    try:
        text, recipe = fill_in(blank, answers, out)
    except FileWrong as wrong:
        raise said_together(wrong) from None
    _write(out, text)
    sys.stdout.write(f"written: {out}\n")
    for warning in recipe.warnings:
        sys.stdout.write(f"careful: {in_unit_shown(warning)}\n")
    sys.stdout.write(f"Read it back before you use it: evenbath plan {out}\n")
    return 0


def _evening(args: argparse.Namespace) -> int:
    from monitor.cli.evening_preset import write_evening

    if args.out is not None:
        _refuse_existing(args.out)
    return write_evening(args, _write)


def _refuse_without_evening(args: argparse.Namespace) -> None:
    from monitor.core.errors import InputWrong

    if args.recipe or args.films is not None or args.between is not None or args.vessels is not None:
        raise InputWrong("--recipe, --films, --between or --vessels without --evening; allowed: with a kind of evening, --list shows them")


def _list(key: str | None) -> int:
    from monitor.cli.terminal.fit import fitted
    from monitor.prepare.recipes.new_recipe import blank_named, blanks, questions

    if key is None:
        wide = max(len(blank.key) for blank in blanks()) + 2
        for blank in blanks():
            sys.stdout.write(f"{blank.key:<{wide}}{blank.title}\n")
        return 0
    every = tuple(questions(blank_named(key)))
    wide = max(len(asked.key) for asked in every) + 2
    for asked in every:
        usual = f" [{asked.usual}]" if asked.usual else ""
        sys.stdout.write(fitted(f"{asked.key:<{wide}}{asked.prompt}{usual}\n"))
    return 0


def _beforehand(words: list[str]) -> dict[str, str]:
    from monitor.core.errors import InputWrong

    answers: dict[str, str] = {}
    for word in words:
        key, equals, answer = word.partition("=")
        if not equals or key in answers:
            raise InputWrong(f'--set "{word}": no answer, or a second answer to the same question; allowed: KEY=ANSWER, such as time=10:00')
        answers[key] = answer
    return answers


def _refuse_unknown(blank: Blank, answers: dict[str, str]) -> None:
    from monitor.core.errors import InputWrong
    from monitor.prepare.recipes.new_recipe import NO_WASH_AID, questions

    keys = [asked.key for asked in questions(blank)]
    unknown = [key for key in answers if key not in keys]
    if unknown:
        why = f" ({NO_WASH_AID})" if "wash" in unknown and 'film = "colour"' in blank.text else ""
        asks = f'the blank "{blank.key}" does not ask that{why}; allowed: {", ".join(keys)}'
        raise InputWrong(*(f"--set {key}: {asks}" for key in unknown))


def _answers(blank: Blank, beforehand: dict[str, str], usual: bool) -> dict[str, str]:
    from monitor.prepare.recipes.new_recipe import check, questions

    answers: dict[str, str] = {}
    for asked in questions(blank):
        if asked.key in beforehand:
            answer = beforehand[asked.key]
            check(asked.key, answer, answers)
        elif usual and asked.usual is not None:
            answer = asked.usual
        else:

            def fits(text: str, key: str = asked.key) -> None:
                check(key, text, answers)

            answer = _ask(asked.prompt, asked.usual, fits)
        answers[asked.key] = answer
    return answers


def _ask_blank() -> str:
    from monitor.prepare.recipes.new_recipe import blank_named, blanks

    _list(None)

    def known(text: str) -> None:
        blank_named(text)

    return _ask("Which of these?", blanks()[0].key, known)


def _ask(prompt: str, usual: str | None, check: Callable[[str], None]) -> str:
    """One answer. On a terminal a wrong one is asked again; from a pipe it is refused."""
    from monitor.core.errors import InputWrong

    hint = f" [{usual}]" if usual else ""
    while True:
        sys.stdout.write(f"{prompt}{hint} ")
        sys.stdout.flush()
        try:
            line = sys.stdin.readline()
        except UnicodeDecodeError:
            raise InputWrong(f"the answer to: {prompt} is not text; allowed: UTF-8") from None
        if not line:
            raise InputWrong(f"no answer to: {prompt}{hint}; allowed: one line for each question, or --set and --usual")
        if not sys.stdin.isatty():
            sys.stdout.write("\n")
        answer = line.strip()
        if not answer and usual is not None:
            answer = usual
        try:
            check(answer)
        except InputWrong as wrong:
            if not sys.stdin.isatty():
                raise
            for words in wrong.lines:
                sys.stdout.write(f"  {words}\n")
        else:
            return answer


def _refuse_existing(name: str) -> None:
    import os

    from monitor.core.errors import InputWrong
    from monitor.core.text.quantities import shown

    if not name.endswith(".toml") or not name.isprintable():
        raise InputWrong(f"{shown(name)}: not a name for a recipe; allowed: a name that ends in .toml")
    if os.path.lexists(name):
        raise InputWrong(f"{name}: exists already and is left as it is; allowed: a new name")


def _write(name: str, text: str) -> None:
    """Write a new file, completely or not at all."""
    from pathlib import Path

    from monitor.core.errors import InputWrong

    path = Path(name)
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        _refuse_existing(name)
    except OSError as wrong:
        raise InputWrong(f"{name}: cannot be written ({wrong.strerror}); allowed: a writable folder") from None
