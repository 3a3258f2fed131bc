"""What the ledger says of the next film, as the station is told it by whoever starts: asked in the pre-flight, applied where agreed.

The station keeps no ledger. It is told by how many times each stage ought to be longer and in which words, asks the person (or is told
beforehand what was agreed), and multiplies the stages' factors; the record says which. Pure. Tests: tests/live/station/test_ledger_word.py.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from monitor.core.errors import InputWrong
from monitor.core.recipe.scaled import scaled
from monitor.core.recipe.values import Recipe
from monitor.core.text.quantities import format_duration, format_number

QUESTION = "ledger"
IF_NO = "The recipe's own times are kept, and the record says so."
MOST_WORDS = 400


@dataclass(frozen=True, slots=True)
class LedgerWord:
    """`factors`: by stage number, other than 1. `said`: why, in one sentence. `apply`: what was agreed beforehand, None if it is asked."""

    factors: Mapping[int, float]
    said: str
    apply: bool | None


def ledger_word_of(told: object, recipe: Recipe) -> LedgerWord | None:
    """What a request tells of the ledger; None where it tells nothing that changes a time. Raises `InputWrong` for anything else."""
    if not isinstance(told, Mapping) or not told.get("factors"):
        return None
    factors, said, apply = told["factors"], told.get("said", ""), told.get("apply")
    numbers = {str(stage.number) for stage in recipe.stages}
    sound = isinstance(factors, Mapping) and all(key in numbers and _factor(value) for key, value in factors.items())
    if not sound or not isinstance(said, str) or not said.isprintable() or apply not in (True, False, None):
        raise InputWrong("ledger: no factors of this recipe's stages; allowed: a number above 0 for each stage's number")
    longer = {int(number): float(factor) for number, factor in factors.items() if factor != 1.0}
    if not longer:
        return None
    scaled(recipe, longer)  # raises where the recipe does not bear it
    return LedgerWord(longer, said[:MOST_WORDS], apply)


def _factor(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value) and value > 0


def question_text(word: LedgerWord, recipe: Recipe) -> str:
    """The question: why, and the time of each stage before and after."""
    stages = [stage for stage in recipe.stages if stage.number in word.factors]
    changes = ", ".join(
        f"{s.name} {format_duration(s.target_ref_s * word.factors[s.number])} in place of {format_duration(s.target_ref_s)}"
        f" (x {format_number(word.factors[s.number], 2)})"
        for s in stages
    )
    return f"The ledger says: {word.said.rstrip('.')}. Shall this film get it: {changes}?"


def question_id(word: LedgerWord) -> str:
    """Another factor is another question: a yes of ten minutes ago does not answer it."""
    return " ".join([QUESTION, *(f"{number}x{factor:.4g}" for number, factor in sorted(word.factors.items()))])


def agreed(word: LedgerWord | None, answers: Mapping[str, Any]) -> bool:
    """Whether the ledger's times are to be used: as agreed beforehand, else as answered; without either they are not."""
    if word is None:
        return False
    return answers.get(question_id(word)) is True if word.apply is None else word.apply


def with_word(recipe: Recipe, word: LedgerWord | None, answers: Mapping[str, Any]) -> Recipe:
    """The recipe that is followed. Raises `FileWrong` where it does not bear the factor, which `ledger_word_of` has refused before."""
    return scaled(recipe, word.factors) if word is not None and agreed(word, answers) else recipe


def told_solution(solution: Mapping[str, Any], used: bool) -> dict[str, Any]:
    """A solution's row for the record: where the ledger asks for another time it says whether that was used."""
    changes = solution.get("time_factor", 1.0) != 1.0
    return {**solution, "applied": used} if changes else dict(solution)


def remark(word: LedgerWord, used: bool) -> str:
    """What is told where nobody was asked."""
    longest = format_number(max(word.factors.values()), 2)
    if used:
        return f"the ledger's times are used: {word.said}"
    return f"the ledger's times are not used (x {longest}): {word.said}; --ledger apply uses them"

