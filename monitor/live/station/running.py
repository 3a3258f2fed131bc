"""One live session: the core's `Session` on the station's clock; carries out its effects and passes its records to the journal.

Decides how session time is tied to the monotonic clock, and what the `session` open record has to say so that a later run of
the station can resume the session. Owned by the thread that owns the state. Tests: tests/live/station/test_daemon.py,
tests/live/station/test_resume.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal, Protocol

from monitor import __version__
from monitor.core.development.beliefs import (
    LAG_LOG_SD,
    LEARNED_LAG_LOG_SD,
    SESSION_LAG_LOG_SD,
    STATED_LAG_LOG_SD,
    Beliefs,
    LagFrom,
    ProbeModel,
    Vessel,
)
from monitor.core.evening.values import USUAL_BETWEEN_S
from monitor.core.journal.words import Cue
from monitor.core.probes.learned import DEFAULT_LAG_S, Comparison, Learned
from monitor.core.probes.readings import Reading
from monitor.core.recipe.values import Recipe
from monitor.core.session.clashes import Hands
from monitor.core.session.effects import Close, Effect, Hush, Lamp, Play, Write
from monitor.core.session.presses import ALL_LENGTHS, Length
from monitor.core.session.session import Options, Session
from monitor.core.session.sounds import Sound
from monitor.core.session.sounds import Vessel as VesselNumber
from monitor.core.session.whose_press import Stand
from monitor.live.clock import Clock, stamp
from monitor.live.disk.journal import JournalWriter
from monitor.live.station.ledger_word import LedgerWord
from monitor.live.station.probes_now import comparison_of, comparison_sd_c
from monitor.live.station.resume import ResumePlan, UnfinishedSession
from monitor.live.station.station_file import ProbeConfig, StationConfig

LAMP_STAYS_DARK = "the station was away: no restart makes light; the lamp stays dark for the rest of this session"
ROUNDING_S = 1e-6
"""Monotonic and session seconds differ by up to this much through rounding."""


@dataclass(frozen=True, slots=True)
class FilmPlace:
    """Which film of an evening a session is. `vessel`: the station's vessel, None for its only one; `number`: 1 or 2 of that."""

    evening: str
    film: int
    of: int
    what: str
    vessel: str | None
    number: VesselNumber

    @classmethod
    def read(cls, opening: Mapping[str, Any]) -> FilmPlace | None:
        """As an open record tells it; None for a session of its own."""
        told = opening.get("evening")
        if not isinstance(told, dict):
            return None
        number: VesselNumber = 2 if told.get("vessel_number") == 2 else 1
        return cls(str(told["name"]), int(told["film"]), int(told["of"]), str(told["what"]), told.get("vessel"), number)

    def fields(self) -> dict[str, Any]:
        """For the open record."""
        return {
            "name": self.evening, "film": self.film, "of": self.of, "what": self.what, "vessel": self.vessel,
            "vessel_number": self.number,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class StartRequest:
    """What somebody who starts a session asks for. `waived`: the reason for asking no person, None if one is asked.

    `solutions`: what the ledger knew of the recipe's solutions, for the record; `ledger`: the times that it asks for, None if the
    recipe's own. `rehearsal`: a dry run with scrap film. `start_s`, `between_s`: the evening's (`monitor.core.evening.values`).
    """

    recipe: Recipe
    lamp: bool = False
    pour_c: float | None = None
    override_gate: str | None = None
    vessel: str | None = None
    waived: str | None = None
    solutions: tuple[Mapping[str, Any], ...] = ()
    rehearsal: bool = False
    ledger: LedgerWord | None = None
    place: FilmPlace | None = None
    others: tuple[StartRequest, ...] = ()
    start_s: float | None = None
    between_s: float = USUAL_BETWEEN_S


def reference_c(recipe: Recipe) -> float:
    """The reference temperature of the develop stage, or of the first stage, C."""
    stage = next((s for s in recipe.stages if s.role == "develop"), recipe.stages[0])
    return stage.reference_c


def probe_model(probe: ProbeConfig, learned: Learned, at_c: float) -> tuple[ProbeModel, Comparison | None]:
    """What is believed of a probe near `at_c`; what has been learned takes precedence over the station file."""
    comparison = comparison_of(probe, learned)
    lag = learned.probe_lag(probe.name, probe.id)
    lag_s = lag.lag_s if lag is not None else DEFAULT_LAG_S if probe.lag_s is None else probe.lag_s
    lag_log_sd = LAG_LOG_SD if probe.lag_s is None else STATED_LAG_LOG_SD
    lag_from: LagFrom = "usual"
    if lag is not None:
        lag_log_sd = max(lag.sd_s / lag.lag_s, LEARNED_LAG_LOG_SD if lag.by_person else SESSION_LAG_LOG_SD)
        lag_from = "measured" if lag.by_person else "session"
    sd_c = comparison_sd_c(probe, learned, at_c)
    return ProbeModel(probe.name, probe.role, lag_s, sd_c, comparison is not None, lag_log_sd, lag_from), comparison


def vessel_of(wanted: StartRequest, learned: Learned) -> tuple[str, Vessel] | None:
    """The learned lag of the named vessel, else of the station's vessel that the film is in, else of the one that the recipe names."""
    own = None if wanted.place is None else wanted.place.vessel
    for name in (wanted.vessel,) if wanted.vessel else (own, wanted.recipe.vessel):
        lag = None if name is None else learned.vessel_lag(name)
        if name is not None and lag is not None:
            return name, Vessel(lag.lag_s, lag.sd_s, lag.coupled_to)
    return None


def opening_fields(
    config: StationConfig, wanted: StartRequest, learned: Learned, clock: Clock, zero_s: float, preflight: Mapping[str, Any],
    steps_c: Mapping[str, float] | None = None,
) -> tuple[Beliefs, dict[str, Any]]:  # fmt: skip
    """What the session believes at its start, and the fields of its open record that state it. `steps_c`: the steps of registers that are
    known by then to be coarse, C."""
    at_c = reference_c(wanted.recipe)
    models, probes = [], []
    for probe in config.probes_of(None if wanted.place is None else wanted.place.vessel):
        model, comparison = probe_model(probe, learned, at_c)
        step_c = (steps_c or {}).get(probe.name)
        model = replace(model, step_c=step_c)
        models.append(model)
        compared = None
        if comparison is not None:
            compared = {
                "date": comparison.date, "against": comparison.reference, "who": comparison.who, "at_c": comparison.at_c,
                "offset_c": comparison.offset_c, "slope_per_c": comparison.slope_per_c, "sd_c": comparison.sd_at(at_c),
            }  # fmt: skip
        told = {"probe": probe.name, "id": probe.id, "role": probe.role, "lag_s": model.lag_s, "lag_log_sd": model.lag_log_sd,
                "lag_from": model.lag_from, "comparison_sd_c": model.comparison_sd_c}  # fmt: skip
        step = {} if step_c is None else {"step_c": step_c}
        worse = {"witness_sd_c": learned.witness_sd_c(probe.id, probe.name)} if probe.role == "witness" else {}
        probes.append({**told, **step, **worse, "compared": compared})
    vessel = vessel_of(wanted, learned)
    beliefs = Beliefs(at_c, tuple(models), None if vessel is None else vessel[1], wanted.pour_c)
    fields: dict[str, Any] = {
        "version": __version__,
        "zone": clock.zone(),
        "station": config.name,
        "boot_id": clock.boot_id(),
        "mono0_s": zero_s,
        "wall_set": clock.wall_set(),
        "probes": probes,
        "vessel": None if vessel is None else {"vessel": vessel[0], **_vessel_fields(vessel[1])},
        "pour_c": wanted.pour_c,
        "has_switch": config.panel.switch is not None,
        "lamp": wanted.lamp,
        "override_gate": wanted.override_gate,
        "waived": wanted.waived,
        "solutions": [dict(solution) for solution in wanted.solutions],
        "preflight": dict(preflight),
    }
    if wanted.place is not None:
        fields["evening"] = wanted.place.fields()
    return beliefs, fields


def _vessel_fields(vessel: Vessel) -> dict[str, Any]:
    return {"lag_s": vessel.lag_s, "lag_sd_s": vessel.lag_sd_s, "coupled_to": vessel.coupled_to}


def beliefs_of(opening: Mapping[str, Any], recipe: Recipe) -> Beliefs:
    """The same beliefs, read from the open record of an earlier run."""
    probes = tuple(
        ProbeModel(
            p["probe"],
            p["role"],
            float(p["lag_s"]),
            float(p["comparison_sd_c"]),
            bool(p["compared"]) if "compared" in p else None,
            float(p.get("lag_log_sd", LAG_LOG_SD)),
            p.get("lag_from", "usual"),
            p.get("step_c"),
        )
        for p in opening.get("probes", ())
    )
    told = opening.get("vessel")
    vessel = None if told is None else Vessel(float(told["lag_s"]), float(told["lag_sd_s"]), told["coupled_to"])
    return Beliefs(reference_c(recipe), probes, vessel, opening.get("pour_c"))


def options_of(opening: Mapping[str, Any]) -> Options:
    """The same options, read from the open record."""
    mode: Literal["live", "rehearsal"] = "rehearsal" if opening.get("mode") == "rehearsal" else "live"
    place = FilmPlace.read(opening)
    return Options(
        mode, bool(opening.get("has_switch", True)), bool(opening.get("lamp", False)), opening.get("override_gate"),
        1 if place is None else place.number,
    )  # fmt: skip


class Surroundings(Protocol):
    """What a session shares with one in the other vessel: sounder and lamp."""

    def enter(self, running: Running) -> None:
        """It begins, or goes on: from now on its sounds are its own, by its `generation`."""
        ...

    def play(self, running: Running, sound: Sound) -> None:
        """Let this sound begin at its onset."""
        ...

    def hush(self, running: Running, cues: Collection[Cue]) -> None:
        """Silence these families of this film."""
        ...

    def light(self, running: Running, allowed: bool) -> None:
        """Whether the lamp may mirror the sounder, as far as this film is concerned. May raise what a pin library raises."""
        ...


class Running:
    """A running session. `tell` is called with each record after it was handed to the journal. `place`: which film of an evening it is;
    `probes`: the names of those that it has. More than 25 methods: one for each event of the station."""

    def __init__(
        self, session: Session, name: str, zero_s: float, journal: JournalWriter, around: Surroundings, clock: Clock,
        tell: Callable[[Mapping[str, Any]], None], place: FilmPlace | None = None, probes: frozenset[str] | None = None,
    ) -> None:  # fmt: skip
        self.session = session
        self.name = name
        self.journal = journal
        self.place = place
        self.probes = probes
        self.generation = 0
        self._zero_s = zero_s
        self._around = around
        self._clock = clock
        self._tell = tell
        self._latest_s = 0.0
        self._why_closed = ""
        self._read_s: dict[str, float] = {}
        self._began_s: float | None = None
        self._opening: Mapping[str, Any] = {}

    @property
    def recipe(self) -> Recipe:
        """What is being developed."""
        return self.session.recipe

    @property
    def vessel(self) -> str | None:
        """The name of the vessel that the film is in; None where the station has but one."""
        return None if self.place is None else self.place.vessel

    @property
    def number(self) -> VesselNumber:
        """1 or 2 of the station's vessels."""
        return self.session.options.vessel

    @property
    def zero_s(self) -> float:
        """The monotonic moment of t_s = 0."""
        return self._zero_s

    @property
    def began_s(self) -> float | None:
        """The monotonic moment at which its first stage began; None while it waits for that."""
        return None if self._began_s is None else self._began_s + self._zero_s

    @property
    def over_s(self) -> float | None:
        """The monotonic moment at which it will be over by what is forecast now; None where nobody can tell."""
        ahead = self.session.hands_ahead(math.inf)
        return ahead[-1].end_s + self._zero_s if ahead and ahead[-1].stage == len(self.recipe.stages) else None

    @property
    def bare_now(self) -> bool:
        """Whether the film lies open now, as far as the stages tell. Before the first stage it is still in its holder; while a stage
        waits for its begin it lies as it will lie in that stage."""
        if self.session.options.mode == "rehearsal":
            return False  # a dry run: scrap film, in the light
        seen = self.session.snapshot
        stage = seen.stage if seen.stage is not None else seen.waits_for
        return stage is not None and stage in self.recipe.open_film and (seen.stage is not None or stage > 1)

    @property
    def ended(self) -> tuple[int | None, str, str]:
        """The stage that it is in, its mode, and why it was closed (empty while it runs)."""
        return self.session.snapshot.stage, self.session.options.mode, self._why_closed

    def beside(self) -> dict[str, Any]:
        """What is shown of it beside the other film."""
        return {"vessel": self.vessel, "what": self.recipe.name if self.place is None else self.place.what, "view": self.session.view}

    def begin(self, generation: int, opening: Mapping[str, Any]) -> None:
        """Arm."""
        self._enter(generation)
        self._do(self.session.open(0.0, opening))

    @property
    def opening(self) -> Mapping[str, Any]:
        """Its first record."""
        return self._opening

    def take_up(self, generation: int, earlier: UnfinishedSession, plan: ResumePlan) -> None:
        """Go on with a session of an earlier run."""
        self._opening = earlier.opening
        for record in earlier.records:
            self.session.fold(record)
            self._note_begin(record)
            if record["kind"] == "reading":
                self._read_s[record["probe"]] = float(record["t_s"])
        t_s = max(plan.t_s, self._clock.mono_s() - self._zero_s)  # reading a long journal has taken its time
        self._latest_s = t_s
        self._enter(generation)
        gap_s = None if plan.gap_s is None else plan.gap_s + t_s - plan.t_s
        self._do(self.session.resume(t_s, gap_s, plan.verdict == "same boot", plan.doubt))
        if earlier.opening.get("lamp") is True and not self.session.closed:
            self.note("lamp", {"permitted": False, "why": LAMP_STAYS_DARK}, self._zero_s + t_s)

    def _enter(self, generation: int) -> None:
        self.generation = generation
        self._around.enter(self)

    def at(self, mono_s: float) -> float:
        """Session time of a moment, which becomes the latest one; it never goes back from call to call."""
        self._latest_s = max(self._latest_s, mono_s - self._zero_s)
        return self._latest_s

    def moment(self, mono_s: float) -> float:
        """Session time of a moment; nothing else changes."""
        return mono_s - self._zero_s

    @property
    def wake_mono_s(self) -> float | None:
        """When the session wants to be woken, monotonic."""
        wake_s = self.session.next_wake_s
        return None if wake_s is None else wake_s + self._zero_s

    def wake(self, now_s: float) -> None:
        """Wake the session if that moment has come."""
        wake_s = self.wake_mono_s
        if wake_s is not None and wake_s <= now_s:
            self._do(self.session.wake(self.at(now_s)))

    def take(self, reading: Reading, now_s: float) -> None:
        """A reading whose `t_s` is monotonic."""
        own = Reading(reading.t_s - self._zero_s, reading.probe, reading.role, reading.raw_c, reading.celsius, reading.quality)
        if own.t_s < self._read_s.get(own.probe, own.t_s):
            return  # a stale one from before this life
        self._read_s[own.probe] = own.t_s
        self._do(self.session.take(own, self.at(now_s)))

    def press(self, mono_s: float, down: bool, own: frozenset[Length] = ALL_LENGTHS) -> None:
        """A debounced edge. `own`: the lengths with which the press is this film's."""
        self._do(self.session.press(self.at(mono_s), down, own))

    def stand(self, mono_s: float) -> Stand:
        """How it stands for a press that comes now, on the monotonic clock; what is due before is done first."""
        self.wake(mono_s)
        return self.stand_seen(mono_s)

    def stand_seen(self, mono_s: float) -> Stand:
        """The same for whoever only looks: nothing that is due is done."""
        return self.session.stand(mono_s - self._zero_s).later(self._zero_s)

    def hands_ahead(self, mono_s: float) -> list[Hands]:
        """When it wants the hands up to about this moment, on the monotonic clock."""
        return [hands.later(self._zero_s) for hands in self.session.hands_ahead(mono_s - self._zero_s)]

    def sounded(self, sound: Any, onset_s: float) -> None:
        """A sound began at `onset_s` of session time."""
        lateness_s = onset_s - sound.onset_s
        self._do(self.session.sounded(sound, onset_s, 0.0 if abs(lateness_s) < ROUNDING_S else lateness_s))

    def dropped(self, sound: Any, now_s: float) -> None:
        """A sound that will not be heard."""
        self._do(self.session.dropped(sound, self.at(now_s)))

    def note(self, kind: str, fields: Mapping[str, Any], now_s: float) -> None:
        """Write a note."""
        self._do(self.session.note(kind, fields, self.at(now_s)))

    def fault(self, why: str, now_s: float) -> None:
        """Say that something cannot be trusted."""
        self._do(self.session.fault(why, self.at(now_s)))

    def abandon(self, why: str, now_s: float) -> None:
        """End it."""
        self._do(self.session.abandon(self.at(now_s), why))

    def let_go(self) -> None:
        """The session never began, or cannot go on: the lamp goes dark and its pin is released, whatever was permitted."""
        self._lamp(False)

    def _do(self, effects: list[Effect]) -> None:
        """All of them, whatever goes wrong with one: a record that was passed over would leave a gap in the journal for good."""
        wrong: Exception | None = None
        for effect in effects:
            try:
                self._do_one(effect)
            except Exception as fault:
                wrong = wrong or fault
        if wrong is not None:
            raise wrong

    def _do_one(self, effect: Effect) -> None:
        if isinstance(effect, Write):
            self._write(effect.record)
        elif isinstance(effect, Play):
            self._around.play(self, effect.sound)
        elif isinstance(effect, Hush):
            self._around.hush(self, effect.cues)
        elif isinstance(effect, Lamp):
            self._lamp(effect.allowed)
        elif isinstance(effect, Close):
            self._why_closed = effect.why
            self._lamp(False)

    def _note_begin(self, record: Mapping[str, Any]) -> None:
        """The first stage's begin, and where it was taken again; a sheet's is the first one's."""
        begins = record["kind"] == "stage" and record.get("event") == "begin" and self._began_s is None
        if record.get("stage") == 1 and begins:
            self._began_s = float(record["t_s"])
        elif record.get("stage") == 1 and record["kind"] == "correction" and record.get("sheet") in (None, 1):
            self._began_s = float(record["begin_t_s"])

    def _write(self, record: dict[str, Any]) -> None:
        kind = record["kind"]
        self._note_begin(record)
        full = {"seq": record["seq"], "session": self.name, "t_s": record["t_s"], "wall": stamp(self._clock.wall()), **record}
        self._opening = self._opening or full
        if kind == "session" and record.get("event") == "resume":
            full |= {
                "boot_id": self._clock.boot_id(), "mono0_s": self._zero_s, "wall_set": self._clock.wall_set(), "version": __version__,
            }  # fmt: skip
        self.journal.append(full)
        self._tell(full)

    def _lamp(self, allowed: bool) -> None:
        """Only a session that was started with --lamp ever gets here with True."""
        try:
            self._around.light(self, allowed)
        except Exception as wrong:  # no lamp is no reason to lose the time
            self._do(self.session.note("trouble", {"part": "lamp", "well": False, "why": str(wrong)}, self._latest_s))
