"""`evenbath develop EVENING.toml`: hands an evening to the station, which arms the first film of each vessel; the others are armed by foot.

Tests: tests/cli/test_develop_evening.py.
"""

from __future__ import annotations

import argparse
import select
import sys
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from monitor.cli.arguments.vessels import check_vessels
from monitor.core.errors import EvenbathError, InputWrong
from monitor.core.text.quantities import shown

if TYPE_CHECKING:
    from monitor.cli.arguments.ledger_times import LedgerTimes
    from monitor.core.evening.values import Evening
    from monitor.live.station.station_file import StationConfig

LOOK_EVERY_S = 2.0
"""Between two films it is looked so often whether the next one has been armed."""


def hand_over(evening: Evening, config: StationConfig, args: argparse.Namespace, asks: bool) -> Mapping[str, Any]:
    """What `develop` sends in place of a recipe. `asks`: a person is there to be asked about the ledger's times. Raises `FileWrong`."""
    from monitor.live.station.requests import refuse_lamp

    check_vessels(evening, config, args.recipe)
    for film in evening.films if args.lamp else ():
        refuse_lamp(film.recipe)
    told = _with_ledger(evening, config.state, args, asks)
    recipes = dict.fromkeys(sentence for film in evening.films for sentence in film.recipe.warnings)
    for sentence in (*evening.warnings, *recipes, *told.said):
        sys.stderr.write(f"note: {sentence}\n")
    solutions = told.solutions or ((),) * len(evening.films)
    films = [
        {
            "what": film.what, "vessel": film.vessel, "start_s": film.start_s, "recipe": film.recipe.data,
            "solutions": [dict(row) for row in rows],
        }
        for film, rows in zip(told.evening.films, solutions, strict=True)
    ]  # fmt: skip
    return {"evening": {"name": evening.name, "between_s": evening.between_s, "films": films}}


def from_film(evening: Evening, number: str | None) -> Evening:
    """The evening from this film on: those before it are done. Raises `InputWrong`, also for a recipe alone."""
    if number is None:
        return evening
    if evening.from_recipe:
        raise InputWrong("--film with a recipe; allowed: an evening's file, or no --film")
    if not number.isdecimal() or not 1 <= int(number) <= len(evening.films):
        raise InputWrong(f"--film {shown(number)}: no film of this evening; allowed: 1 to {len(evening.films)}")
    first, *others = evening.films[int(number) - 1 :]
    films = tuple(replace(film, number=i) for i, film in enumerate((replace(first, start_s=None), *others), start=1))
    return replace(evening, films=films)


def _with_ledger(evening: Evening, state: Path, args: argparse.Namespace, asks: bool) -> LedgerTimes:
    """The evening with the ledger's times where they are agreed, by option or by answer; a ledger that cannot be read stops nothing."""
    from monitor.cli.arguments.common import today
    from monitor.cli.arguments.ledger_times import LedgerTimes, ledger_times

    try:
        agreed = args.ledger
        longer = ledger_times(state, evening, today(), "apply").evening
        if agreed is None and asks and longer.films != evening.films:
            agreed = "apply" if _yes("The ledger asks for other times. Shall these films get them?") else "ignore"
        return ledger_times(state, evening, today(), agreed)
    except (EvenbathError, OSError) as wrong:
        sys.stderr.write(f"note: the ledger of bottles cannot be read, the record will not tell the solutions: {wrong}\n")
        return LedgerTimes(evening, (), ())


def _yes(question: str) -> bool:
    from monitor.cli.terminal.keyboard import AnswerLines
    from monitor.cli.terminal.questions import write

    lines = AnswerLines(sys.stdin.fileno(), write)
    answer = lines.ask(f"{question} yes or no: ")
    while answer.strip().lower() not in ("yes", "y", "no", "n"):
        answer = lines.more("yes or no: ")
    return answer.strip().lower() in ("yes", "y")


def armed_lines(answer: Mapping[str, Any]) -> Iterator[str]:
    """What has been armed, a line each: the first film's name as for a recipe, each with what it is."""
    for film in answer["films"]:
        yield f"armed: {film['session']}"
    for film in answer["films"]:
        sys.stderr.write(f"note: {film['session']} is {film['what']}" + (f", {film['vessel']}\n" if film["vessel"] else "\n"))


def stays_dark(evening: Evening) -> bool:
    """Whether nothing is shown because a film of this evening will be bare and this is a screen; that is said."""
    if not sys.stdout.isatty() or not any(film.recipe.open_film for film in evening.films):
        return False
    sys.stdout.write("Film will be bare in this evening, so nothing more is shown here. Switch this screen off now.\n")
    return True


def follow_all(config: StationConfig, file: str) -> int:
    """Follow one film after another, the one whose hands are due next first, until none runs and none is to come."""
    from monitor.cli.terminal.following import INTERRUPTED, Following, refuse_beside
    from monitor.cli.terminal.refusals import told
    from monitor.cli.terminal.surroundings import RealSurroundings
    from monitor.core.recipe.reader import recipe_from_data
    from monitor.live.station.control import StationLink, ask

    while True:
        status = told(ask(config.state, {"verb": "status"}))
        if not status["films"]:
            if not status["to_come"]:
                return 0
            select.select([], [], [], LOOK_EVERY_S)  # nothing is written meanwhile: the next film may be bare
            continue
        with StationLink(config.state) as link:
            answer = link.ask({"verb": "follow", "session": status["session"]})
            if not answer.get("ok"):
                continue
            refuse_beside(answer, sys.stdout.isatty())
            recipe, has_switch = recipe_from_data(answer["recipe"]), config.panel.switch is not None
            following = Following(RealSurroundings(config), recipe, answer["session"], file, has_switch=has_switch)
            if following.run(link, answer) == INTERRUPTED:
                return INTERRUPTED


def refuse_vessel_option(args: argparse.Namespace) -> None:
    """Raise `InputWrong` for an option that is about one film's vessel."""
    if args.vessel is not None:
        raise InputWrong("--vessel with an evening; allowed: vessel = ... at each film of the evening's file")
