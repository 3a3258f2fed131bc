"""Bottles as frozen values: their content, how much film has gone through, how long they keep, and whether they are still good.

Folds the ledger's entries, one after another, over the bottles; reads no file and no clock (the day is an argument).
A test overrules the count: at twice the fresh time a solution is dead whatever the count says, and a passed test makes a
bottle good whose count is exceeded, until it is used again. Film area is in units of 80 sq in.

Sources: units per litre, per cent per film and keeping times, full and part-full, are entered by the person from the maker's
sheet: none is built in. The growth of time with use as a straight line ("+10 % a film") and "part-full from the first opening": common
practice, no source. Tests: tests/prepare/bottles/test_ledger.py, tests/cli/test_bottle.py.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any, Literal

from monitor.core.recipe.kinds import FIXING_ROLES
from monitor.core.text.quantities import format_duration, format_number, format_volume
from monitor.prepare.bottles.clearing import FAIRLY_AT, FINISHED_AT, NEARLY_AT, TIMES
from monitor.prepare.bottles.leader import DEAD_AT
from monitor.prepare.days import read_day, read_span

State = Literal["good", "test first", "too old", "used up", "empty", "dead", "discarded"]
TestKind = Literal["clearing", "leader"]
LAST_UNITS = 2.0
"""Units that a fixer still bears once its clearing test says that it is near its end: one or two films (common practice, no source)."""
NOTHING_ML = 0.5
"""Balances are accurate to 1 ml; less than this counts as nothing."""


class NotAllowed(ValueError):
    """An entry that does not fit the ledger so far: what is wrong; what is allowed."""


@dataclass(frozen=True, slots=True)
class Rules:
    """What the maker's sheet says, as the person entered it; None if nothing was entered.

    `per_litre`: units per litre. `discard_at`: units for this bottle. `longer_percent`: by how much each unit that went through
    lengthens the time. `replenish_ml`: added for each unit, from the bottle named `replenisher` if there is one.
    `keeps_full`, `keeps_part`: spans such as "6 months". `fresh_s`: clearing or leader time of the fresh solution. `least_ml`: of this
    concentrate for each unit of film, however much it is diluted.
    """

    one_shot: bool = False
    per_litre: float | None = None
    discard_at: float | None = None
    longer_percent: float | None = None
    replenish_ml: float | None = None
    replenisher: str | None = None
    keeps_full: str | None = None
    keeps_part: str | None = None
    fresh_s: float | None = None
    least_ml: float | None = None


@dataclass(frozen=True, slots=True)
class Tested:
    """The last test of a bottle: seconds today and when fresh, and how many units had gone through by then."""

    kind: TestKind
    day: str
    today_s: float
    fresh_s: float
    at_units: float

    @property
    def failed(self) -> bool:
        """From twice the fresh time on."""
        return self.today_s >= (FINISHED_AT if self.kind == "clearing" else DEAD_AT) * self.fresh_s

    @property
    def clearing_ratio(self) -> float | None:
        """Of a clearing test: today's time divided by the fresh one."""
        return self.today_s / self.fresh_s if self.kind == "clearing" else None


@dataclass(frozen=True, slots=True)
class Bottle:
    """One bottle. `id`: number of the entry that added it. Volumes in ml; days are ISO text, None if unknown.

    Balance at every moment: filled_ml + added_ml = volume_ml + taken_ml + poured_off_ml + discarded_ml.
    """

    id: int
    name: str
    role: str | None
    what: str | None
    dilution: str | None
    rules: Rules
    mixed: str
    opened: str | None
    filled_ml: float
    volume_ml: float
    source: str | None = None
    added_ml: float = 0.0
    taken_ml: float = 0.0
    poured_off_ml: float = 0.0
    discarded_ml: float = 0.0
    units: float = 0.0
    uses: int = 0
    sessions: tuple[str, ...] = ()
    tested: Tested | None = None
    discarded: str | None = None

    @property
    def capacity_units(self) -> float | None:
        """How many units it is good for by its rules; None if they set no limit."""
        limits = []
        if self.rules.per_litre is not None:
            limits.append(self.rules.per_litre * self.filled_ml / 1000.0)
        if self.rules.discard_at is not None:
            limits.append(self.rules.discard_at)
        return min(limits) if limits else None

    @property
    def remaining_units(self) -> float | None:
        """What is left of the capacity, never below 0; None if there is no limit."""
        capacity = self.capacity_units
        return None if capacity is None else max(0.0, capacity - self.units)

    @property
    def units_left(self) -> float | None:
        """What it still bears: by the count and, where a clearing test says that it is near its end, by that; None: no limit.

        A test that was passed overrules a count that is exceeded, until film goes through it again.
        """
        left = self.remaining_units
        tested = self.tested
        if tested is None or tested.clearing_ratio is None:
            return left
        if left == 0.0 and tested.at_units >= self.units - 1e-9 and not tested.failed:
            left = None
        if tested.clearing_ratio < NEARLY_AT:
            return left
        by_test = 0.0 if tested.failed else max(0.0, LAST_UNITS - (self.units - tested.at_units))
        return by_test if left is None else min(left, by_test)

    @property
    def fix_least_s(self) -> float | None:
        """Twice the clearing time of its last clearing test, None without a passed one."""
        tested = self.tested
        return None if tested is None or tested.kind != "clearing" or tested.failed else TIMES * tested.today_s

    @property
    def time_factor(self) -> float:
        """The factor by which the next film's time is longer than in a fresh bath."""
        return 1.0 + (self.rules.longer_percent or 0.0) / 100.0 * self.units

    @property
    def part_full(self) -> bool:
        """Opened, or with less in it than was filled in."""
        return self.opened is not None or self.volume_ml < self.filled_ml - NOTHING_ML

    @property
    def keeps_until(self) -> dt.date | None:
        """The last day by its keeping times: full from the mixing, part-full from the opening; None without limits."""
        ends = []
        if self.rules.keeps_full is not None:
            ends.append(read_span(self.rules.keeps_full).after(dt.date.fromisoformat(self.mixed)))
        if self.rules.keeps_part is not None and self.opened is not None:
            ends.append(read_span(self.rules.keeps_part).after(dt.date.fromisoformat(self.opened)))
        return min(ends) if ends else None

    def state(self, today: dt.date) -> tuple[State, str]:
        """Whether it is still good on a day, and why, in a sentence without its full stop."""
        if self.discarded is not None:
            return "discarded", f"on {self.discarded}"
        if self.tested is not None and self.tested.failed:
            what = "clearing" if self.tested.kind == "clearing" else "leader dark"
            times = format_number(self.tested.today_s / self.tested.fresh_s, 2)
            return "dead", f"{what} after {format_duration(self.tested.today_s)} on {self.tested.day}, {times} times fresh: discard it"
        if self.rules.one_shot and self.uses:
            return "used up", "one-shot, used once"
        if self.volume_ml < NOTHING_ML:
            return "empty", "nothing left in it"
        until = self.keeps_until
        if until is not None and today > until:
            return "too old", f"kept until {until.isoformat()}"
        capacity = self.capacity_units
        if capacity is not None and self.units >= capacity - 1e-9:
            return self._over(capacity)
        tired = self._tired()
        if tired is not None:
            return tired
        if capacity is None:
            return "good", "one-shot, not used yet" if self.rules.one_shot else "no limit of area entered"
        return "good", f"{format_number(capacity - self.units, 2)} of {format_number(capacity, 2)} units left"

    def called(self, today: dt.date) -> str:
        """Its state in a word; a fixer, or a developer that is used again, is called untested where nobody has tested it, whatever its
        count says."""
        state, _ = self.state(today)
        tested = self.role in FIXING_ROLES or (self.role == "develop" and not self.rules.one_shot)
        return "untested" if state == "good" and self.tested is None and tested else state

    def _tired(self) -> tuple[State, str] | None:
        """What its last clearing test says of a fixer that is well used: that goes before a count that is not exceeded."""
        tested = self.tested
        if tested is None or tested.clearing_ratio is None or tested.clearing_ratio < FAIRLY_AT:
            return None
        times = format_number(tested.clearing_ratio, 2)
        cleared = f"cleared in {format_duration(tested.today_s)} on {tested.day}, {times} times fresh"
        if self.units > tested.at_units + 1e-9:
            return "test first", f"{cleared}, and film since: test it before each film"
        if tested.clearing_ratio >= NEARLY_AT:
            return "good", f"{cleared}: near its end, one or two more films, then a fresh bath"
        return "good", f"{cleared}: well used, test it before each film"

    def _over(self, capacity: float) -> tuple[State, str]:
        """The count is exceeded: a test passed since the last film overrules it."""
        counted = f"{format_number(self.units, 2)} of {format_number(capacity, 2)} units through it"
        if self.tested is None:
            return "used up", f"{counted}; a test can overrule the count"
        if self.tested.at_units >= self.units - 1e-9:
            return "good", f"{counted}, but tested good on {self.tested.day}: the test rules"
        return "test first", f"{counted}, and film since the test of {self.tested.day}"


Bottles = Mapping[int, Bottle]
"""All bottles, discarded ones too, by id, in the order of adding."""


def standing(bottles: Bottles, name: str) -> Bottle | None:
    """The bottle with this name that has not been discarded; case does not matter."""
    wanted = name.strip().casefold()
    return next((b for b in bottles.values() if b.discarded is None and b.name.casefold() == wanted), None)


def fold(bottles: Bottles, seq: int, entry: Mapping[str, Any]) -> dict[int, Bottle]:
    """The bottles after one entry; `undo` is the ledger's. Raises `NotAllowed`, and `KeyError` or `TypeError` for missing parts."""
    made = dict(bottles)
    kind = entry["entry"]
    if kind not in _STEPS:
        raise NotAllowed(f"entry {kind!r} is not known; allowed: add, use, test, discard, undo")
    if kind == "add":
        made[seq] = _added(bottles, seq, entry)
        return made
    bottle = made.get(entry["bottle"])
    if bottle is None or bottle.discarded is not None:
        raise NotAllowed(f"there is no bottle {entry['bottle']} in the ledger; allowed: one that is listed")
    made[bottle.id] = _STEPS[kind](bottle, entry)
    if entry.get("from_bottle") is not None:
        source = made.get(entry["from_bottle"])
        if source is None or source.discarded is not None:
            raise NotAllowed("the replenisher's bottle is not in the ledger; allowed: one that is listed")
        made[source.id] = _taken(source, entry["added_ml"], entry["day"])
    return made


def _added(bottles: Bottles, seq: int, entry: Mapping[str, Any]) -> Bottle:
    name = entry["name"]
    if standing(bottles, name) is not None:
        raise NotAllowed(f'a bottle "{name}" is in the ledger already; allowed: another name, or discard that one first')
    filled_ml = float(entry["volume_ml"])
    if filled_ml < 1:
        raise NotAllowed(f"{format_number(filled_ml)} ml in a bottle; allowed: 1 ml and more")
    rules = Rules(**entry["rules"])
    for span in (rules.keeps_full, rules.keeps_part):
        if span is not None:
            read_span(span)
    mixed, opened = read_day(entry["mixed"]).isoformat(), entry.get("opened")
    if opened is not None and read_day(opened).isoformat() < mixed:
        raise NotAllowed(f"opened on {opened}, before it was mixed on {mixed}; allowed: the same day or later")
    role, what, dilution, source = (entry.get(key) for key in ("role", "what", "dilution", "source"))
    return Bottle(seq, name, role, what, dilution, rules, mixed, opened, filled_ml, filled_ml, source)


def _taken(bottle: Bottle, amount_ml: float, day: str) -> Bottle:
    """Take this much out; from then on the bottle counts as opened."""
    if amount_ml < 0:
        raise NotAllowed(f"{format_number(amount_ml)} ml out of a bottle; allowed: not below zero")
    if amount_ml > bottle.volume_ml + NOTHING_ML:
        there = format_volume(bottle.volume_ml)
        raise NotAllowed(f'{format_volume(amount_ml)} from "{bottle.name}", which holds {there}; allowed: at most {there}')
    out_ml = min(amount_ml, bottle.volume_ml)
    opened = bottle.opened if bottle.opened is not None or out_ml < NOTHING_ML else day
    return replace(bottle, volume_ml=bottle.volume_ml - out_ml, taken_ml=bottle.taken_ml + out_ml, opened=opened)


def _used(bottle: Bottle, entry: Mapping[str, Any]) -> Bottle:
    """Film through it, something taken out, or both; then it is replenished. A one-shot bottle is used up completely."""
    units, session = float(entry["units"]), entry.get("session")
    if units < 0:
        raise NotAllowed(f"{format_number(units)} units; allowed: not below zero")
    if session is not None and session in bottle.sessions:
        raise NotAllowed(f'session {session} is booked on "{bottle.name}" already; allowed: once, or undo first')
    if bottle.rules.one_shot and bottle.uses:
        raise NotAllowed(f'"{bottle.name}" is one-shot and was used; allowed: discard it and add a fresh one')
    taken_ml = bottle.volume_ml if bottle.rules.one_shot else float(entry["taken_ml"])
    after = _taken(bottle, taken_ml, entry["day"])
    added_ml = float(entry["added_ml"])
    if added_ml < 0:
        raise NotAllowed(f"{format_number(added_ml)} ml added; allowed: not below zero")
    over_ml = max(0.0, after.volume_ml + added_ml - bottle.filled_ml)
    return replace(
        after,
        volume_ml=after.volume_ml + added_ml - over_ml,
        added_ml=bottle.added_ml + added_ml,
        poured_off_ml=bottle.poured_off_ml + over_ml,
        units=bottle.units + units,
        uses=bottle.uses + 1,
        sessions=bottle.sessions if session is None else (*bottle.sessions, session),
    )


def _tested(bottle: Bottle, entry: Mapping[str, Any]) -> Bottle:
    kind = entry["test"]
    if kind not in ("clearing", "leader"):
        raise NotAllowed(f"test {kind!r} is not known; allowed: clearing, leader")
    today_s, fresh_s = float(entry["today_s"]), float(entry["fresh_s"])
    if today_s <= 0 or fresh_s <= 0:
        raise NotAllowed("a test of zero seconds; allowed: above 0:00")
    tested = Tested(kind, read_day(entry["day"]).isoformat(), today_s, fresh_s, bottle.units)
    return replace(bottle, tested=tested, rules=replace(bottle.rules, fresh_s=fresh_s))


def _discarded(bottle: Bottle, entry: Mapping[str, Any]) -> Bottle:
    gone_ml = bottle.volume_ml
    return replace(bottle, volume_ml=0.0, discarded_ml=bottle.discarded_ml + gone_ml, discarded=read_day(entry["day"]).isoformat())


_STEPS: dict[str, Callable[[Bottle, Mapping[str, Any]], Bottle]] = {
    "add": lambda bottle, entry: bottle,
    "use": _used,
    "test": _tested,
    "discard": _discarded,
}


def bottle_data(bottle: Bottle, today: dt.date) -> dict[str, Any]:
    """A bottle as one JSON object with plain fields, including its rules; nothing is rounded."""
    state, why = bottle.state(today)
    until = bottle.keeps_until
    data = asdict(bottle)
    del data["rules"], data["tested"]
    return {
        **data,
        **asdict(bottle.rules),
        "sessions": list(bottle.sessions),
        "capacity_units": bottle.capacity_units,
        "remaining_units": bottle.remaining_units,
        "units_left": bottle.units_left,
        "fix_least_s": bottle.fix_least_s,
        "time_factor": bottle.time_factor,
        "part_full": bottle.part_full,
        "keeps_until": None if until is None else until.isoformat(),
        "last_test": None if bottle.tested is None else {**asdict(bottle.tested), "failed": bottle.tested.failed},
        "state": state,
        "why": why,
    }
