"""The clearing test of a fixer: how long to fix today, and whether the bath is exhausted. Pure.

The test: a drop of fixer on a piece of scrap film for 30 s, then the whole piece into the fixer; the time until the spot
can no longer be told from the rest is the clearing time. Rules: fix for at least twice the clearing time; a fixer is exhausted
when clearing takes twice its fresh time (NAVEDTRA 14209, chapter 10; the same in the public notes on fixer capacity). Three times
for films with tabular grain or much iodide, and the words about how many films are left: common practice, no source.
Tests: tests/prepare/bottles/test_clearing.py.
"""

from __future__ import annotations

from dataclasses import dataclass

from monitor.core.errors import InputWrong
from monitor.core.text.quantities import format_duration, format_number

TIMES = 2.0
TIMES_FLAT_GRAIN = 3.0
TIMES_RANGE = (2.0, 5.0)
SHORTEST_S = 120.0
"""However fast a test clears, nobody fixes for less: common practice, no source; rapid fixers' sheets begin here (from memory)."""
FINISHED_AT = 2.0
"""From this many times the fresh time on, the fixer is discarded."""
NEARLY_AT, FAIRLY_AT = 1.75, 1.5
HOW = "Put a drop of fixer on scrap film for 30 s, then dip the whole piece and time it until the spot has gone."


@dataclass(frozen=True, slots=True)
class Clearing:
    """`fix_s`: the shortest fixing time today; `discard`: true from twice the fresh clearing time on. Seconds."""

    fresh_s: float
    today_s: float
    times: float
    fix_s: float
    discard: bool

    @property
    def ratio(self) -> float:
        """Today's clearing time divided by the fresh one."""
        return self.today_s / self.fresh_s


def clearing(fresh_s: float, today_s: float, times: float = TIMES) -> Clearing:
    """Judge a clearing test. Times in seconds, above 0; `times` from 2 to 5. Raises `InputWrong`."""
    if fresh_s <= 0 or today_s <= 0:
        raise InputWrong("a clearing time of zero; allowed: the time until the spot has gone, above 0:00")
    if not TIMES_RANGE[0] <= times <= TIMES_RANGE[1]:
        raise InputWrong(f"{format_number(times)} times the clearing time; allowed: 2 to 5 times, 3 for flat-grain films")
    return Clearing(fresh_s, today_s, times, times * today_s, today_s >= FINISHED_AT * fresh_s)


def clearing_lines(result: Clearing) -> list[str]:
    """The result in words: discard it, or how long to fix, and how much is left in the bath."""
    ratio = f"{format_number(result.ratio, 2)} times the fresh time"
    if result.discard:
        return [
            f"Discard this fixer: {format_duration(result.today_s)} is {ratio}, and at twice it is exhausted.",
            "Fix recently fixed film again in a fresh bath.",
        ]
    said = f"Fix at least {format_duration(result.fix_s)} ({format_number(result.times)} times {format_duration(result.today_s)})"
    if result.times == TIMES:
        said += f"; {format_duration(TIMES_FLAT_GRAIN * result.today_s)} for flat-grain films (common practice); colour as its sheet says"
    if result.fix_s < SHORTEST_S:
        said += f"; in no case less than {format_duration(SHORTEST_S)} (common practice)"
    lines = [f"{said}.", f"Clearing takes {ratio}: {_left(result.ratio)}."]
    if result.ratio < 0.8:
        lines.append("Faster than when fresh: was the fresh time measured with this film, at this temperature?")
    return lines


def _left(ratio: float) -> str:
    if ratio >= NEARLY_AT:
        return "near the end; one or two more films, then a fresh bath (common practice)"
    if ratio >= FAIRLY_AT:
        return "well used; test it before each film (common practice)"
    return "good; discard it when that is twice the fresh time"
