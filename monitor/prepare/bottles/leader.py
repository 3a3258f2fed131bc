"""The leader test: is this developer alive? Pure.

A bit of film leader into a few millilitres poured aside, in daylight: the seconds until it is fully dark, against the
seconds in fresh developer. From twice the fresh time on the start is withheld, which a person may override with a reason
that is recorded. Common practice without a source. Tests: tests/prepare/bottles/test_leader.py.
"""

from __future__ import annotations

from dataclasses import dataclass

from monitor.core.errors import InputWrong
from monitor.core.text.quantities import format_duration, format_number

DEAD_AT = 2.0
DOUBTFUL_AT = 1.5
HOW = "Put a piece of film leader into a little developer in daylight, at working temperature, and time it until it is fully dark."


@dataclass(frozen=True, slots=True)
class LeaderTest:
    """`withhold`: from twice the fresh time the start is withheld. Seconds."""

    fresh_s: float
    today_s: float
    withhold: bool

    @property
    def ratio(self) -> float:
        """Today's time until dark over the fresh one."""
        return self.today_s / self.fresh_s


def leader_test(fresh_s: float, today_s: float) -> LeaderTest:
    """Judge a leader test. Seconds above 0. Raises `InputWrong`."""
    if fresh_s <= 0 or today_s <= 0:
        raise InputWrong("a leader test of zero seconds; allowed: the seconds until the leader was dark, above 0:00")
    return LeaderTest(fresh_s, today_s, today_s >= DEAD_AT * fresh_s)


def leader_lines(result: LeaderTest) -> list[str]:
    """The result in words."""
    ratio = f"{format_number(result.ratio, 2)} times the fresh time"
    if result.withhold:
        return [
            f"Dead: {format_duration(result.today_s)} until dark is {ratio}. The start is withheld: mix fresh developer.",
            "Were all its parts in? A forgotten second part looks just like this.",
        ]
    doubt = "; getting weak, test it again before each film" if result.ratio >= DOUBTFUL_AT else ""
    return [f"Alive: {format_duration(result.today_s)} until dark is {ratio}{doubt}."]
