"""A second reading of the contract's section 5, written apart from the session: what each press means, and when each stage begins.

For recipes that go by the clock, without sheets. It knows no sounds, no records and no time but that of the presses.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field

from tests.core.session.by_the_clock import LOAD

NEAR_S = 1e-6


@dataclass(frozen=True)
class Plan:
    """One stage, seconds. `time_s` None: a load without a time."""

    role: str
    time_s: float | None
    at_least: bool = False
    drain_s: float = 10.0
    ready_s: float = 30.0

    @property
    def body(self) -> str:
        """The stage as a recipe has it."""
        if self.role == "load":
            return LOAD + ("" if self.time_s is None else f'\ntime = "{_words(self.time_s)}"')
        lines = [f'name = "{self.role}"', f'role = "{self.role}"', f'time = "{_words(self.time_s or 0.0)}"']
        lines += [f'until = "{"at least" if self.at_least else "time"}"'] + (["steer = false"] if self.role == "develop" else [])
        if not self.at_least:
            lines += [f'drain = "{_words(self.drain_s)}"', f'ready = "{_words(self.ready_s)}"']
        return "\n".join(lines)


def _words(seconds: float) -> str:
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"


@dataclass
class Reading:
    """What follows from presses, each (down, up): their meanings, and the begin of each stage (from 1 on)."""

    stages: list[Plan]
    taps: list[tuple[float, str]] = field(default_factory=list)
    begins: dict[int, float] = field(default_factory=dict)
    closed_s: float | None = None
    index: int = -1
    waiting: bool = True
    begin_s: float = 0.0
    again_from_s: float | None = None
    heard: bool = False
    unanswered_until_s: float | None = None

    def press(self, down_s: float, up_s: float) -> None:
        """The next press."""
        self._pass(down_s)
        if self.closed_s is not None:
            return
        state = self._state(down_s)
        meaning = _meaning(state, up_s - down_s)
        self.taps.append((down_s, meaning))
        self._do(state, meaning, down_s)
        self._pass(up_s)

    def _begin(self, at_s: float) -> None:
        self.index, self.begin_s, self.waiting = self.index + 1, at_s, False
        self.heard, self.unanswered_until_s, self.again_from_s = False, None, None
        self.begins[self.index + 1] = at_s

    @property
    def _stage(self) -> Plan:
        return self.stages[self.index]

    @property
    def _is_last(self) -> bool:
        return self.index == len(self.stages) - 1

    @property
    def _end_s(self) -> float:
        return self.begin_s + (math.inf if self._stage.time_s is None else self._stage.time_s)

    @property
    def _now_s(self) -> float:
        return math.inf if self._stage.at_least else self._end_s - self._stage.drain_s

    @property
    def _first_call_s(self) -> float:
        """READY; NOW where READY would come less than 10 s after the begin; the minimum."""
        if self._stage.at_least:
            return self._end_s
        ready_s = self._now_s - self._stage.ready_s
        return ready_s if ready_s >= self.begin_s + 10.0 - NEAR_S else self._now_s

    def _pass(self, t_s: float) -> None:
        """Begins that are assumed up to this moment."""
        while self.closed_s is None and not self.waiting and self.index >= 0 and not self._stage.at_least and t_s > self._end_s + NEAR_S:
            end_s, left, heard = self._end_s, self._stage, self.heard
            if self._is_last:
                if left.role != "develop" or heard:
                    self.closed_s = end_s
                elif t_s > end_s + 600.0:
                    self.closed_s = end_s + 600.0
                else:
                    self.unanswered_until_s = math.inf
                return
            self._begin(end_s)
            if not heard:
                goes_on = left.role == "develop" and self._stage.role != "develop"
                self.unanswered_until_s = min(math.inf if goes_on else end_s + 60.0, self._first_call_s)

    def _state(self, t_s: float) -> str:
        if self.waiting:
            return "waiting"
        if self._stage.role == "load":
            return "loading"
        if self.unanswered_until_s is not None and t_s < self.unanswered_until_s - NEAR_S:
            return "unanswered"
        if self._stage.at_least and t_s >= self._end_s - NEAR_S:
            return "past minimum"
        if not self.heard and t_s >= self._now_s - NEAR_S:
            return "due" if t_s >= self._end_s - 5.0 - NEAR_S else "now"
        again = self.again_from_s is not None and t_s <= self.again_from_s + 120.0 + NEAR_S and t_s < self._first_call_s - NEAR_S
        return "just begun" if again else "counting"

    def _do(self, state: str, meaning: str, press_s: float) -> None:
        if meaning == "begin":
            self._begin(press_s)
            self.again_from_s = None if self._stage.role == "load" else press_s
        elif meaning == "lid on":
            self.waiting = not self._is_last
            self.closed_s = press_s if self._is_last else None
        elif meaning == "again":
            self.begin_s = self.again_from_s = self.begins[self.index + 1] = press_s
        elif meaning == "heard":
            self.heard = True
        elif state == "unanswered" and meaning in ("poured", "on time"):
            self.unanswered_until_s = None
            if self._is_last and press_s > self._end_s:
                self.closed_s = press_s
            elif meaning == "poured":
                self.begin_s = self.begins[self.index + 1] = press_s
        elif meaning == "poured" and self._is_last:
            self.closed_s = press_s if state == "past minimum" else self._end_s
        elif meaning == "poured":
            self._begin(press_s)
            self.again_from_s = press_s if state == "past minimum" and self._stage.role == "develop" else None


def _meaning(state: str, length_s: float) -> str:
    tap, full, three = length_s < 0.7 - NEAR_S, length_s >= 1.0 - NEAR_S, length_s >= 3.0 - NEAR_S
    if length_s > 10.0 + NEAR_S:
        return "mark"
    if state in ("waiting", "loading") and full:
        return "begin" if state == "waiting" else "lid on"
    if state == "unanswered":
        return "poured" if tap else "on time"
    if tap:
        return {"now": "heard", "due": "poured", "past minimum": "poured"}.get(state, "mark")
    return "again" if state == "just begun" and three else "question"


LENGTHS_S = [0.05, 0.2, 0.3, 0.5, 0.69, 0.7, 0.71, 0.9, 0.99, 1.0, 1.01, 1.5, 2.5, 2.99, 3.0, 3.01, 4.5, 9.9, 10.2, 12.0]


def any_stages(draw: random.Random) -> list[Plan]:
    """An evening of this kind."""
    stages: list[Plan] = []
    if draw.random() < 0.3:
        stages.append(Plan("load", draw.choice([None, 30.0, 60.0]), at_least=True))
    if draw.random() < 0.4:
        stages.append(
            Plan("presoak", draw.choice([45.0, 60.0, 90.0]), draw.random() < 0.3, draw.choice([5.0, 15.0]), draw.choice([15.0, 30.0]))
        )
    stages.append(Plan("develop", draw.choice([45.0, 60.0, 240.0]), False, draw.choice([5.0, 10.0, 20.0]), draw.choice([15.0, 30.0])))
    if draw.random() < 0.3:
        stages.append(Plan("develop", draw.choice([60.0, 120.0]), False, draw.choice([5.0, 15.0])))
    if draw.random() < 0.8:
        stages.append(Plan("stop", draw.choice([20.0, 30.0, 60.0, 180.0]), False, draw.choice([5.0, 10.0])))
    if draw.random() < 0.8:
        stages.append(Plan("fix", draw.choice([60.0, 120.0]), at_least=True))
    return stages


def any_presses(draw: random.Random, count: int, longest_pause_s: float = 90.0) -> list[tuple[float, float]]:
    """Presses of any length at any distance, as (down, up), hundredths of a second."""
    at_s, presses = 0.0, []
    for _ in range(count):
        at_s = round(at_s + draw.uniform(0.1, min(longest_pause_s, draw.choice([3.0, 20.0, 90.0]))), 2)
        length_s = draw.choice(LENGTHS_S)
        presses.append((at_s, round(at_s + length_s, 2)))
        at_s += length_s + 0.01
    return presses
