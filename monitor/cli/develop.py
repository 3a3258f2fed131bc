"""`evenbath develop RECIPE --file STATION`: hands a recipe to the running station, goes through the pre-flight, follows.

What is asked and what is seen meanwhile stands in monitor.cli.terminal. Tests: tests/cli/test_develop.py.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from monitor.cli.arguments.ledger_times import add_ledger
from monitor.core.errors import EvenbathError, InputWrong

if TYPE_CHECKING:
    from monitor.cli.terminal.questions import Asked
    from monitor.core.evening.values import Evening
    from monitor.core.recipe.values import Recipe
    from monitor.prepare.bottles.counting import Standing

MOST_PUT_OFF = 3


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the options of the contract, section 8."""
    parser.add_argument("recipe", metavar="RECIPE.toml", nargs="?", help="the recipe, or an evening's file")
    parser.add_argument("--chosen", action="store_true", help="the recipe that was chosen for next time, in place of RECIPE.toml")
    parser.add_argument("--file", metavar="STATION.toml", required=True, help="the station's file")
    parser.add_argument("--detach", action="store_true", help="print the session's name once it is armed, and return")
    parser.add_argument("--waive", metavar='"why"', help="ask no person; the reason is written into the journal")
    parser.add_argument("--lamp", action="store_true", help="permit the lamp, for this session alone")
    parser.add_argument("--pour-c", metavar='"20.3 C"', help="the developer's temperature, measured at pour-in")
    parser.add_argument("--override-gate", metavar='"why"', help="begin although the gate is closed; the reason is written down")
    add_ledger(parser)
    parser.add_argument("--afresh", action="store_true", help="ask all questions, those too that were answered yes a short while ago")
    parser.add_argument("--film", metavar="N", help="of an evening: begin with this film, those before it are done")
    parser.add_argument("--vessel", metavar="NAME", help="whose learned lag counts, and of two vessels which one the film is in")


def run(args: argparse.Namespace) -> int:
    """Start a session. Raises `InputWrong` where it is refused and `NotThere` where no station answers."""
    from monitor.cli.evening_develop import armed_lines, follow_all, hand_over, stays_dark
    from monitor.cli.station import open_station
    from monitor.cli.terminal.following import INTERRUPTED, Following
    from monitor.cli.terminal.keyboard import AnswerLines
    from monitor.cli.terminal.questions import Questions, folded, write
    from monitor.cli.terminal.surroundings import RealSurroundings
    from monitor.live.station.control import StationLink
    from monitor.prepare.bottles.counting import with_ledger

    _take_chosen(args)
    request, recipe, evening = _request(args)
    config = open_station(args.file)
    standings: tuple[Standing, ...] = ()
    if evening is None:
        _tell({"remarks": recipe.warnings})
        standings = _standings(config.state, recipe)
        request |= _ledger_told(recipe, standings, args.ledger)
    else:
        request |= hand_over(evening, config, args, asks=args.waive is None)
    with StationLink(config.state) as link:
        answer = _armed_or_asked(link, request)
        _tell(answer)
        if "questions" in answer:
            try:
                Questions(link, AnswerLines(sys.stdin.fileno(), write)).ask_all(answer)
                answer = _armed_or_asked(link, {"verb": "arm"})
                _tell(answer)
            except InputWrong as wrong:
                raise InputWrong(*wrong.lines, _goes_on()) from None
            except KeyboardInterrupt:
                write(f"\n{folded(f'Nothing is armed. {_goes_on()}')}\n")
                return INTERRUPTED
        if evening is not None:
            sys.stdout.write("".join(f"{line}\n" for line in armed_lines(answer)))
            sys.stdout.flush()
            return 0 if args.detach or stays_dark(evening) else follow_all(config, args.file)
        if answer.get("ledger_used"):
            recipe = with_ledger(recipe, standings)[0]
        sys.stdout.write(f"armed: {answer['armed']}\n")
        sys.stdout.flush()
        if args.detach:
            return 0
        following = Following(
            RealSurroundings(config), recipe, answer["armed"], args.file, has_switch=bool(answer["has_switch"])
        )
        return following.run(link)


def _take_chosen(args: argparse.Namespace) -> None:
    """One recipe, given or chosen. What came from a phone is read back by a person at the pre-flight, never waived."""
    if args.chosen == (args.recipe is not None):
        raise InputWrong("which recipe? allowed: RECIPE.toml, or --chosen in its place")
    if not args.chosen:
        return
    from monitor.core.text.controls import one_line
    from monitor.prepare.logbook.chosen import chosen
    from monitor.prepare.state.folder import station_state

    if args.waive is not None:
        raise InputWrong("--chosen with --waive; allowed: --chosen alone, so that a person reads the recipe back")
    name = chosen(station_state(args.file))
    if not name or Path(name).name != name:
        raise InputWrong("--chosen: no recipe was chosen for next time; allowed: RECIPE.toml, or choose one on a paired phone")
    args.recipe = str(Path(args.file).resolve().parent / name)
    sys.stdout.write(f"chosen: {one_line(name)}\n")


def _armed_or_asked(link: Asked, request: Mapping[str, Any]) -> Mapping[str, Any]:
    """The station's answer. A start that is put off, until every display is black, is said and asked for once more."""
    from monitor.cli.terminal.questions import pause
    from monitor.cli.terminal.refusals import told

    answer = link.ask(request)
    for _ in range(MOST_PUT_OFF):
        if "wait_s" not in answer:
            break
        sys.stderr.write("".join(f"note: {line}\n" for line in answer["lines"]))
        pause(float(answer["wait_s"]))
        answer = link.ask(request)
    return told(answer)


def _tell(answer: Mapping[str, Any]) -> None:
    """What the station remarks on, and what the recipe and the ledger have to say."""
    from monitor.cli.terminal.questions import folded
    from monitor.core.text.degrees import in_unit_shown

    for remark in answer.get("remarks", []):
        note = in_unit_shown(f"note: {remark}")
        sys.stderr.write(f"{folded(note, 6) if sys.stderr.isatty() else note}\n")


def _goes_on() -> str:
    from monitor.live.station.preflight import CONTINUES_S

    return f"Started again with this recipe within {CONTINUES_S / 60:.0f} minutes, it asks only what was not yet answered yes."


def _request(args: argparse.Namespace) -> tuple[dict[str, Any], Recipe, Evening | None]:
    """What is asked of the station, the recipe (an evening's first), and the evening where it is one of its own."""
    from monitor.cli.arguments.recipe_file import open_evening, read_file
    from monitor.cli.evening_develop import from_film, refuse_vessel_option
    from monitor.core.text.quantities import read_temperature
    from monitor.live.station.requests import refuse_lamp

    text = read_file(args.recipe, "recipe or evening")
    evening = from_film(open_evening(args.recipe), args.film)
    recipe = evening.films[0].recipe
    if not evening.from_recipe:
        refuse_vessel_option(args)
    for option, words in (("--waive", args.waive), ("--override-gate", args.override_gate), ("--vessel", args.vessel)):
        if words is not None and not words.strip():
            raise InputWrong(f"{option} without words; allowed: a few words that will be written into the journal")
    if args.lamp:
        refuse_lamp(recipe)
    if args.waive is None and args.detach:
        raise InputWrong('--detach asks no person; allowed: --detach with --waive "why"')
    if args.waive is None and not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise InputWrong('a person must answer the pre-flight, and here is no terminal; allowed: a terminal, or --waive "why"')
    pour_c = None if args.pour_c is None else read_temperature(args.pour_c)
    request = {
        "verb": "develop", "recipe": text.decode("utf-8-sig"), "file": args.recipe.encode("utf-8", "replace").decode(),
        "waive": args.waive, "lamp": args.lamp, "pour_c": pour_c,
        "override_gate": args.override_gate, "vessel": args.vessel, "afresh": args.afresh,
    }  # fmt: skip
    return request, recipe, None if evening.from_recipe else evening


def _standings(state: Path, recipe: Recipe) -> tuple[Standing, ...]:
    """What the ledger knows of the recipe's solutions; a ledger that cannot be read is said and stops nothing."""
    from monitor.live.clock import RealClock
    from monitor.prepare.bottles.booking import solutions_told

    try:
        return solutions_told(state, recipe, RealClock().wall().astimezone().date())
    except (EvenbathError, OSError) as wrong:
        sys.stderr.write(f"note: the ledger of bottles cannot be read, the record will not tell the solutions: {wrong}\n")
        return ()


def _ledger_told(recipe: Recipe, standings: tuple[Standing, ...], agreed: str | None) -> dict[str, Any]:
    """The ledger's part of the request; what a person should know of the bottles is said here."""
    from monitor.prepare.bottles.counting import longer, with_ledger

    _, unfit = with_ledger(recipe, standings)
    _tell({"remarks": [sentence for standing in standings for sentence in (standing.sentence, *standing.concerns)] + list(unfit)})
    apply = None if agreed is None else agreed == "apply"
    factors, said = ({}, "") if unfit else longer(standings)
    told = {"factors": {str(number): factor for number, factor in factors.items()}, "said": said, "apply": apply}
    return {"solutions": [standing.as_json() for standing in standings], "ledger": told}
