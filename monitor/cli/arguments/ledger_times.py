"""What the ledger says of an evening's films, for the commands that can use its times: said, applied where agreed, and in the record.

Tests: tests/cli/test_rehearse_ledger.py.
"""

from __future__ import annotations

import argparse
import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from monitor.core.evening.values import Evening

Agreed = Literal["apply", "ignore"]


def add_ledger(parser: argparse.ArgumentParser) -> None:
    """Declare `--ledger`: what has been agreed about the ledger's times."""
    parser.add_argument("--ledger", choices=("apply", "ignore"), help="the ledger's times or the recipe's own, in place of the question")


@dataclass(frozen=True, slots=True)
class LedgerTimes:
    """`evening` with the times that are followed; for each film the `solutions` of its record; `said`: sentences for a person."""

    evening: Evening
    solutions: tuple[tuple[Mapping[str, Any], ...], ...]
    said: tuple[str, ...]


def ledger_times(state: Path, evening: Evening, today: dt.date, agreed: Agreed | None) -> LedgerTimes:
    """What the ledger in this state folder says of the films, each counting for those after it. Raises `FileWrong` for a damaged one."""
    from monitor.prepare.bottles.ledger import read_ledger
    from monitor.prepare.evening.planned import planned

    plan = planned(evening, read_ledger(state).bottles, today)
    apply = agreed == "apply"
    films, solutions, said = [], [], []
    for film, placed, row in zip(evening.films, plan.films, plan.standings, strict=True):
        films.append(replace(film, recipe=placed.recipe) if apply else film)
        told = [standing.as_json() for standing in row]
        solutions.append(tuple({**one, "applied": apply} if one["time_factor"] != 1.0 else one for one in told))
        of_film = "" if len(evening.films) == 1 else f"film {film.number} ({film.what}): "
        said += [f"{of_film}{words}" for standing in row for words in (standing.sentence, *standing.concerns)]
        if row and placed.recipe.data != film.recipe.data:
            said.append(f"{of_film}{'its times are used' if apply else 'its times are not used; --ledger apply uses them'}")
    return LedgerTimes(replace(evening, films=tuple(films)), tuple(solutions), tuple(said))
