"""The pre-flight of one session: what the machine finds by itself, and the questions that a person answers one by one.

The list is `monitor.core.recipe.checklist`'s. Here is decided what counts as a yes for the machine's items, and how three of the
person's are tried out instead of believed: the switch is pressed, a sounded number is tapped back, and each probe is lifted,
so that two that were swapped are found. Whether the developer is within the recipe's data, and whether its probe's steps are fine
enough, is asked only where they are not. A "no" withholds the start where the list says so; `--waive` passes a person's items with
a reason, never a machine's. Pure but for the dice handed in; the daemon plays and reads.
Tests: tests/live/station/test_preflight.py.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from monitor.core.development.rate import believed_at
from monitor.core.probes.learned import POURED_OFF_C, SAME_WITNESS, WitnessCheck
from monitor.core.probes.readings import Role
from monitor.core.probes.register import DATASHEET_STEP_C
from monitor.core.recipe.checklist import EXCHANGE, FREE_MIB, TEMPER_FIRST, Item, items_for
from monitor.core.recipe.conditions import steered
from monitor.core.recipe.data_range import data_matter, known_outside
from monitor.core.recipe.sense import grave
from monitor.core.recipe.values import Recipe
from monitor.core.session.sounds import TICK
from monitor.core.text.doubt import two_sd
from monitor.live.station.ledger_word import IF_NO, LedgerWord, question_id, question_text
from monitor.live.station.probes_now import ProbeStatus

FRESH_S = 5.0
"""A good reading not older than this answers for its probe."""
NEEDED_ROLES: frozenset[Role] = frozenset({"developer", "witness", "bath"})
"""A silent room or wash probe is remarked on; it does not withhold the start."""
LIFTED_C = 0.4
"""A lifted probe has moved when its reading has gone this far (a steel sheath in air: a degree in half a minute)."""
LIFT_WINDOW_S = 60.0
"""A lift that is tried once more is measured from where it began, but no longer: by then a cooling bath has moved by itself."""
CONTINUES_S = 1800.0
"""A yes counts for half an hour when the pre-flight is begun again: long enough to mix a bath anew (own choice)."""
SAME_STEP_C = 0.001
ROUNDS = 3
COUNT_GAP_S = 1.0
COUNT_AFTER_S = 0.8

Kind = Literal["yes", "press", "count", "lift"]


@dataclass(frozen=True, slots=True)
class PreflightFacts:
    """What the machine knows when somebody wants to start. `throttled`: the board's word, None where it has none. `pour_c`: the
    developer's temperature as the person measured it, None if not. `follows_bath`: the vessel has a learned lag behind the bath.
    `own`: the names of the probes that this film has, None: all of them. `new_witnesses`: those that nobody has checked yet by the
    developer poured off; `wrong_witnesses`: those that this showed to be wrong, each with the check. `lags`: what sessions have told of
    lags, in words.
    """

    probes: tuple[ProbeStatus, ...]
    has_switch: bool
    switch_alive: bool
    switch_down: bool
    free_bytes: int | None
    wall_set: bool
    wall_plausible: bool
    throttled: int | None
    has_vessel_lag: bool
    broker: Literal["none", "there", "away"]
    pour_c: float | None = None
    new_witnesses: tuple[str, ...] = ()
    wrong_witnesses: tuple[tuple[str, WitnessCheck], ...] = ()
    lags: tuple[str, ...] = ()
    follows_bath: bool = False
    own: frozenset[str] | None = None


@dataclass(frozen=True, slots=True)
class FilmNow:
    """A film that is asked for, with what the machine knows for it. Of an evening: its `number`, from 1 on, and its `name`."""

    recipe: Recipe
    facts: PreflightFacts
    number: int | None = None
    name: str = ""


@dataclass(frozen=True, slots=True)
class Finding:
    """What the machine found for one item. `stops`: it withholds the start, with this exit status."""

    item: str
    well: bool
    stops: bool
    status: int
    said: str


def machine_findings(recipe: Recipe, facts: PreflightFacts) -> tuple[Finding, ...]:
    """The machine's items of this recipe, each with its finding, and besides the broker, and what sessions have told of lags."""
    found: list[Finding] = []
    for item in items_for(recipe):
        if item.asked_of == "machine" and item.id in _CHECKS:
            found += _CHECKS[item.id](item, facts)
    if facts.broker == "away":
        found.append(Finding("broker", False, False, 3, "the broker is not connected: the record stays on this disk and is sent later"))
    if steered(recipe):
        found += [Finding("lags", True, False, 3, said) for said in facts.lags]
    return tuple(found)


def _probes(item: Item, facts: PreflightFacts) -> list[Finding]:
    found = []
    for probe in facts.probes:
        well = probe.good_age_s is not None and probe.good_age_s <= FRESH_S
        state = "no reading at all" if probe.quality is None else f"newest reading: {probe.quality}"
        said = f"probe {probe.name} ({probe.role}): {state}; {item.if_no}"
        found.append(Finding(item.id, well, not well and probe.role in NEEDED_ROLES, 3, "" if well else said))
    return found


def _compared(item: Item, facts: PreflightFacts) -> list[Finding]:
    believed = [p for p in facts.probes if p.role in ("developer", "witness")]
    return [Finding(item.id, p.compared, False, 2, "" if p.compared else f"probe {p.name}: {item.if_no}") for p in believed]


def _coarse(facts: PreflightFacts) -> list[ProbeStatus]:
    return [p for p in facts.probes if p.step_c is not None and p.step_c > DATASHEET_STEP_C + SAME_STEP_C]


def _steps(probe: ProbeStatus) -> str:
    return f"probe {probe.name} moves in steps of {probe.step_c:g} C, a sound one in steps of {DATASHEET_STEP_C:g} C"


def _register(item: Item, facts: PreflightFacts) -> list[Finding]:
    return [Finding(item.id, False, False, 2, f"{_steps(p)}: {item.if_no}") for p in _coarse(facts)]


def _witness(item: Item, facts: PreflightFacts) -> list[Finding]:
    now = {p.name: f" (now +/- {two_sd(p.comparison_sd_c):.2f} C)" for p in facts.probes if p.comparison_sd_c is not None}
    told = [f"witness {name}: no developer poured off has shown it yet{now.get(name, '')}. {item.if_no}" for name in facts.new_witnesses]
    for name, check in facts.wrong_witnesses:
        off = f"{'colder' if check.difference_c < 0.0 else 'warmer'} than it said by {abs(check.difference_c):.1f} C"
        told.append(
            f"witness {name}: on {check.date} the developer poured off was {off}. Until a check is within {POURED_OFF_C} C it counts as "
            f"+/- {two_sd(check.sd_c):.1f} C at best{now.get(name, '')}. {SAME_WITNESS}"
        )
    return [Finding(item.id, False, False, 2, said) for said in told]


def _lag(item: Item, facts: PreflightFacts) -> list[Finding]:
    well = facts.has_vessel_lag or any(p.role in ("developer", "witness") for p in facts.probes)
    return [Finding(item.id, well, False, 2, "" if well else item.if_no)]


def _disk(item: Item, facts: PreflightFacts) -> list[Finding]:
    if facts.free_bytes is None:
        return [Finding(item.id, False, True, 3, f"the state folder's disk does not answer; {item.if_no}")]
    free_mib = facts.free_bytes / (1 << 20)
    well = free_mib >= FREE_MIB
    said = f"{free_mib:.1f} MiB free on the state folder's disk; allowed: at least {FREE_MIB} MiB; {item.if_no}"
    return [Finding(item.id, well, not well, 3, "" if well else said)]


def _clock(item: Item, facts: PreflightFacts) -> list[Finding]:
    if not facts.wall_plausible:
        return [Finding(item.id, False, False, 2, f"the wall clock is wrong: {item.if_no}")]
    said = "" if facts.wall_set else f"network time has not set the wall clock: {item.if_no}"
    return [Finding(item.id, facts.wall_set, False, 2, said)]


def _power(item: Item, facts: PreflightFacts) -> list[Finding]:
    well = not facts.throttled
    return [Finding(item.id, well, False, 3, "" if well else f"the board says 0x{facts.throttled:x}: {item.if_no}")]


def _switch(item: Item, facts: PreflightFacts) -> list[Finding]:
    if not facts.has_switch:
        return [Finding(item.id, True, False, 3, "no foot switch: begins are assumed, or made by the keyboard in the light")]
    if not facts.switch_alive:
        return [Finding(item.id, False, True, 3, f"the foot switch does not answer; {item.if_no}")]
    said = "the foot switch is closed and nobody should be standing on it; see to its lead, or lift what lies on it"
    return [Finding(item.id, not facts.switch_down, facts.switch_down, 3, said if facts.switch_down else "")]


_CHECKS: Mapping[str, Callable[[Item, PreflightFacts], list[Finding]]] = {
    "probes": _probes, "compared": _compared, "register": _register, "witness": _witness, "lag": _lag, "disk": _disk, "clock": _clock,
    "power": _power, "switch": _switch,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class PreflightQuestion:
    """One thing to ask a person. `kind`: answered by yes, by pressing the switch, by a count, or by lifting the probe `probe`."""

    id: str
    kind: Kind
    text: str
    stops: bool
    if_no: str
    probe: str | None = None

    def as_json(self) -> dict[str, Any]:
        """For the socket."""
        return {"id": self.id, "kind": self.kind, "text": self.text, "stops": self.stops, "probe": self.probe}


def questions_for(recipe: Recipe, facts: PreflightFacts, evening: Sequence[FilmNow] = ()) -> tuple[PreflightQuestion, ...]:
    """The person's items in the order of the list; probes are lifted one by one, the switch is pressed. `evening`: all of its films,
    about whose data is asked at once."""
    asked: list[PreflightQuestion] = []
    for item in items_for(recipe):
        if item.id == "switch" and facts.has_switch:
            asked.append(PreflightQuestion("switch", "press", "Press the foot switch once.", item.stops, item.if_no))
        elif item.id == "register":
            for probe in (p for p in _coarse(facts) if p.role in ("developer", "witness")):
                text = f"The {_steps(probe)}. Start with it all the same?"
                asked.append(PreflightQuestion(f"register {probe.name}", "yes", text, True, item.if_no))
        elif item.asked_of == "machine":
            continue
        elif item.id == "sounder":
            asked.append(PreflightQuestion("sounder", "count", item.text, item.stops, item.if_no))
        elif item.id == "roles":
            lifted = [p for p in facts.probes if p.role in NEEDED_ROLES]
            for probe in lifted if len(facts.probes) > 1 else ():
                text = f"Lift the {probe.name} probe ({probe.role}) out of the water and hold it in the air."
                asked.append(PreflightQuestion(f"roles {probe.name}", "lift", text, item.stops, item.if_no, probe.name))
        elif item.id == "data":
            for number, outside in outside_of(evening or (FilmNow(recipe, facts),)):
                asked.append(PreflightQuestion(number, "yes", f"{outside} Start all the same?", item.stops, TEMPER_FIRST))
        else:
            asked.append(PreflightQuestion(item.id, "yes", item.text, item.stops, item.if_no))
    return tuple(asked)


def ledger_questions(recipe: Recipe, word: LedgerWord | None) -> tuple[PreflightQuestion, ...]:
    """Whether the ledger's times are to be used, asked first; nothing where it has none or it was agreed beforehand."""
    if word is None or word.apply is not None:
        return ()
    return (PreflightQuestion(question_id(word), "yes", question_text(word, recipe), False, IF_NO),)


def grave_questions(recipe: Recipe) -> tuple[PreflightQuestion, ...]:
    """Whether a recipe that would leave nothing on the film is meant."""
    said = " ".join(text[:1].upper() + text[1:] for text in grave(recipe))
    return (PreflightQuestion("sense", "yes", f"{said} Start all the same?", True, "Put the baths in order first."),) if said else ()


def outside_of(films: Sequence[FilmNow]) -> list[tuple[str, str]]:
    """That the developer is outside these films' data now: the question's id and its sentence, once for all films that it fits alike."""
    alike: dict[tuple[str, str], list[FilmNow]] = {}
    for film in films:
        for stage, said in outside_now(film.recipe, film.facts):
            alike.setdefault((stage, said), []).append(film)
    told = []
    for (stage, said), group in alike.items():
        numbers = "+".join(str(film.number) for film in group if film.number is not None)
        names = ", ".join(dict.fromkeys(film.name for film in group if film.name))
        of = f" of {stage}" if stage else ""
        told.append((f"data{of}" + (f" {numbers}" if numbers else ""), f"Outside data{of}{f' ({names})' if names else ''}: {said}."))
    return told


def outside_now(recipe: Recipe, facts: PreflightFacts) -> list[tuple[str, str]]:
    """The stages whose data do not cover the developer now, by name (empty where it is the only one with data), and what is said of each.

    Believed, in this order, as the session will: a developer probe, what the person measured, a witness
    probe; where there is neither, the bath that the vessel follows with its learned lag. A reading that is not fresh says nothing.
    """
    stages = [stage for stage in recipe.stages if data_matter(stage)]
    told = _developer_now(facts)
    if told is None:
        return []
    said, celsius = told
    return [
        (stage.name if len(stages) > 1 else "", f"{said} {celsius:.1f} C, {known_outside(stage, celsius)}")
        for stage in stages
        if stage.law is not None and not believed_at(stage.law, celsius)
    ]


def _developer_now(facts: PreflightFacts) -> tuple[str, float] | None:
    """Who tells the developer's temperature, and what it is; None where nobody does."""
    own = [p for p in facts.probes if facts.own is None or p.name in facts.own]
    fresh = [(p, p.celsius) for p in own if p.celsius is not None and p.good_age_s is not None and p.good_age_s <= FRESH_S]
    told = [(f"the {p.name} probe reads", celsius) for p, celsius in fresh if p.role == "developer"]
    told += [("you measured", facts.pour_c)] if facts.pour_c is not None else []
    told += [(f"the {p.name} probe (witness) reads", celsius) for p, celsius in fresh if p.role == "witness"]
    if facts.follows_bath and not any(p.role in ("developer", "witness") for p in own):
        bath = "nothing measures the developer, so it is taken to follow the bath; the"
        told += [(f"{bath} {p.name} probe reads", celsius) for p, celsius in fresh if p.role == "bath"]
    return told[0] if told else None


@dataclass(slots=True)
class Preflight:
    """The questions of one start and what has been answered. `line`: the connection that asks; it may hang up. `remarks`: what was told."""

    line: int
    questions: tuple[PreflightQuestion, ...]
    remarks: Sequence[str] = ()
    answers: dict[str, Any] = field(default_factory=dict)
    refused: str | None = None
    _baseline: dict[str, float] = field(default_factory=dict)
    _lifting: tuple[str, float] | None = None
    _count: int = 0
    _taps: int = 0
    _presses: int = 0
    _rounds: int = 0

    @property
    def open(self) -> tuple[PreflightQuestion, ...]:
        """The questions that are not answered."""
        return tuple(q for q in self.questions if q.id not in self.answers)

    @property
    def left(self) -> int:
        """How many questions are open."""
        return len(self.open)

    @property
    def passed(self) -> bool:
        """Whether it may start."""
        return self.refused is None and self.left == 0

    def find(self, number: object) -> PreflightQuestion | None:
        """A question by its id."""
        return next((q for q in self.questions if q.id == number), None)

    def answer_yes(self, question: PreflightQuestion, yes: bool) -> str | None:
        """A plain answer. Returns why it cannot start, None if it can go on."""
        self.answers[question.id] = yes
        if not yes and question.stops:
            self.refused = f'"{question.text}" was answered no. {question.if_no}'
        return self.refused

    def pressed(self) -> None:
        """The switch went down."""
        self._presses += 1
        self._taps += 1

    def begin_press(self) -> None:
        """From now on presses count."""
        self._presses = 0

    def look_press(self, question: PreflightQuestion) -> bool:
        """Whether the switch has been pressed since."""
        if self._presses:
            self.answers[question.id] = True
        return self._presses > 0

    def begin_count(self, number: int) -> list[tuple[float, tuple[float, ...]]]:
        """Sound `number` ticks: (seconds from now, pattern) of each. Taps count from now on."""
        self._count, self._taps = number, 0
        return [(COUNT_AFTER_S + COUNT_GAP_S * i, TICK) for i in range(number)]

    def look_count(self, question: PreflightQuestion, typed: int | None) -> tuple[bool, bool]:
        """What was tapped (or typed) against what was sounded: (right, done). Three right in a row are wanted."""
        right = (self._taps if typed is None else typed) == self._count > 0
        self._rounds = self._rounds + 1 if right else 0
        done = self._rounds >= ROUNDS
        if done:
            self.answers[question.id] = True
        return right, done

    def begin_lift(self, question: PreflightQuestion, now_c: Mapping[str, float], now_s: float) -> None:
        """Remember where every probe stands before one is lifted. `now_s`: monotonic; a second try soon goes on with the first one's."""
        if self._lifting is None or self._lifting[0] != question.id or now_s - self._lifting[1] > LIFT_WINDOW_S:
            self._lifting, self._baseline = (question.id, now_s), dict(now_c)

    def look_lift(self, question: PreflightQuestion, now_c: Mapping[str, float]) -> str | None:
        """Which probe has moved most, once one has moved enough. The right one answers the question, another one refuses the start.

        A probe that has answered its own question is on its way back into its liquid: it says nothing about this one.
        """
        known = {q.probe for q in self.questions if q.kind == "lift" and self.answers.get(q.id)}
        moved = {name: abs(now_c[name] - was_c) for name, was_c in self._baseline.items() if name in now_c and name not in known}
        if not moved:
            return None
        most = max(moved, key=lambda name: moved[name])
        others = [c for name, c in moved.items() if name != most]
        if moved[most] < LIFTED_C or (others and moved[most] < 2 * max(others)):
            return None
        if most == question.probe:
            self.answers[question.id] = True
        else:
            how = EXCHANGE[:1].upper() + EXCHANGE[1:]
            self.refused = f"the {question.probe} probe was lifted and {most} moved: they are swapped. {how}."
            for lifted in (q for q in self.questions if q.kind == "lift"):
                self.answers.pop(lifted.id, None)
        return most


def stopping(findings: Sequence[Finding]) -> list[Finding]:
    """Those that withhold the start."""
    return [f for f in findings if f.stops]
