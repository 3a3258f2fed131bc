"""The leader test: does this developer still work? Pure.

Dip a piece of film leader into a few millilitres, in daylight: the seconds until it is fully dark, compared with fresh
developer. From twice the fresh time on the start is withheld; a person may override that with a reason,
which is recorded. Common practice without a source. Tests: tests/prepare/bottles/test_leader.py.
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
    """`withhold`: the start is withheld, from twice the fresh time on. Seconds."""

    fresh_s: float
    today_s: float
    withhold: bool

    @property
    def ratio(self) -> float:
        """Today's time until dark divided by the fresh one."""
        return self.today_s / self.fresh_s


def leader_test(fresh_s: float, today_s: float) -> LeaderTest:
    """Judge a leader test. Seconds above 0. Raises `InputWrong`."""
    if fresh_s <= 0 or today_s <= 0:
        raise InputWrong("a leader test of zero seconds; allowed: the time until the leader was dark, above 0:00")
    return LeaderTest(fresh_s, today_s, today_s >= DEAD_AT * fresh_s)


def leader_lines(result: LeaderTest) -> list[str]:
    """The result in words."""
    ratio = f"{format_number(result.ratio, 2)} times the fresh time"
    if result.withhold:
        return [
            f"Dead: {format_duration(result.today_s)} until dark is {ratio}. The start is withheld: mix fresh developer.",
            "Were all parts mixed in? A forgotten second part looks just like this.",
        ]
    doubt = "; getting weak, test it again before each film" if result.ratio >= DOUBTFUL_AT else ""
    return [f"Alive: {format_duration(result.today_s)} until dark is {ratio}{doubt}."]
