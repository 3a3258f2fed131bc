"""The journal's records: a frozen type for each kind, and how one is written as a line.

JSON Lines, UTF-8, one record a line (contract, section 5). The order on the line is `seq`, `session`, `t_s`, `wall`, `kind`,
then the kind's fields in the order of its type. A field with a default is left out while it has that default; all others
always stand there, null included. Numbers are not rounded for show. `parse` reads a record back; fields that a type does
not know are passed over, kinds that it does not know become a `Note`.
Whether a line may be believed is decided by `monitor.core.journal.check`. Tests: tests/core/journal/test_records.py.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, ClassVar, Literal

from monitor.core.journal.words import Cue, GateState, Meaning
from monitor.core.probes.readings import Quality, Role, Source
from monitor.core.text.doubt import plus_minus

LagUse = Literal["next", "offered"]

SCHEMA_VERSION = 1
"""Version of the journal's format; `session` records carry it as `schema`. A reader refuses a newer one."""

_ENCODER = json.JSONEncoder(ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def encode(record: Mapping[str, Any]) -> str:
    """One record as one line, newline included. Raises ValueError for a number that is not finite."""
    return _ENCODER.encode(record) + "\n"


def reached_s(record: Mapping[str, Any]) -> float:
    """The session time that this record shows to have come, in seconds: its `t_s`, or 0 for the planned end of a stage, which stands in the
    journal before it has come where the tap (of a load: the lid) came first."""
    planned = record["kind"] == "stage" and record.get("event") == "end"
    return 0.0 if planned else float(record["t_s"])


def is_close(record: Mapping[str, Any]) -> bool:
    """Whether this record closes its session."""
    return record.get("kind") == "session" and record.get("event") == "close"


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """What every record has beside `seq`, `session` and `wall`: its kind, and the session time that it speaks of."""

    kind: ClassVar[str] = ""
    event: ClassVar[str | None] = None
    t_s: float

    def fields(self) -> dict[str, Any]:
        """The kind's own fields in the order of the file."""
        told: dict[str, Any] = {} if self.event is None else {"event": self.event}
        for name, default in _own_fields(type(self)):
            value = getattr(self, name)
            if default is dataclasses.MISSING or value != default:
                told[name] = value
        return told


_FIELDS: dict[type[Record], tuple[tuple[str, Any], ...]] = {}


def _own_fields(of: type[Record]) -> tuple[tuple[str, Any], ...]:
    """Name and default of each field but `t_s`, looked up once for each type."""
    known = _FIELDS.get(of)
    if known is None:
        known = _FIELDS[of] = tuple((f.name, f.default) for f in dataclasses.fields(of) if f.name != "t_s")
    return known


# -- the session itself -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened(Record):
    """The first record. `opening`: what the driver knows (version, zone, probes ...); `recipe`: as loaded."""

    kind: ClassVar[str] = "session"
    event: ClassVar[str | None] = "open"
    schema: int = SCHEMA_VERSION
    name: str
    mode: Literal["live", "rehearsal"]
    opening: Mapping[str, Any] = field(default_factory=dict)
    recipe: Mapping[str, Any]

    def fields(self) -> dict[str, Any]:
        """`schema`, `name` and `mode`, what the driver knows, and the recipe last."""
        told: dict[str, Any] = {"event": self.event, "schema": self.schema, "name": self.name, "mode": self.mode}
        return told | dict(self.opening) | {"recipe": self.recipe}


@dataclass(frozen=True, slots=True)
class GapDoubt:
    """By how many seconds a gap may have been longer, and shorter, than it was counted. Several gaps add up on each side."""

    longer_s: float = 0.0
    shorter_s: float = 0.0

    def __bool__(self) -> bool:
        return self.longer_s > 0.0 or self.shorter_s > 0.0

    def __add__(self, other: GapDoubt) -> GapDoubt:
        return GapDoubt(self.longer_s + other.longer_s, self.shorter_s + other.shorter_s)

    @property
    def spread_s(self) -> float:
        """The larger of both."""
        return max(self.longer_s, self.shorter_s)

    def of_end(self, begin_s: float, end_s: float) -> tuple[float, float]:
        """Earliest and latest end of what began at `begin_s`: a gap that was longer brings it sooner, but never before its begin."""
        return max(begin_s, end_s - self.longer_s), max(begin_s, end_s + self.shorter_s)


def gap_doubt(resume: Mapping[str, Any]) -> GapDoubt:
    """Of a `resume` record, whoever wrote it."""
    counted_s, least_s, most_s, spread_s = (resume.get(name) for name in ("counted_s", "least_s", "most_s", "spread_s"))
    if counted_s is None or least_s is None or most_s is None:
        return GapDoubt(spread_s or 0.0, spread_s or 0.0)
    return GapDoubt(max(0.0, most_s - counted_s), max(0.0, counted_s - least_s))


@dataclass(frozen=True, slots=True, kw_only=True)
class Resumed(Record):
    """The program is back. `gap_s`: how long nothing was recorded, None if unknown; `missed`: calls that fell due meanwhile.

    After a power cut `counted_s` is what the gap was taken for; it was at least `least_s` and at most `most_s`. `spread_s`: the larger of
    the two distances; alone in journals of version 0.1, where the gap may be wrong by so much either way.
    """

    kind: ClassVar[str] = "session"
    event: ClassVar[str | None] = "resume"
    gap_s: float | None
    same_boot: bool
    spread_s: float | None
    missed: Sequence[Cue] = ()
    counted_s: float | None = None
    least_s: float | None = None
    most_s: float | None = None

    @property
    def doubt(self) -> GapDoubt:
        """How much longer and shorter than counted the gap may have been."""
        return gap_doubt(self.fields())


@dataclass(frozen=True, slots=True, kw_only=True)
class Closed(Record):
    """The last record."""

    kind: ClassVar[str] = "session"
    event: ClassVar[str | None] = "close"
    why: str = ""


# -- probes and development ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Read(Record):
    """One reading; `t_s` is the middle of its conversion. `celsius` is None unless `quality` is good."""

    kind: ClassVar[str] = "reading"
    probe: str
    role: Role
    raw_c: float | None
    celsius: float | None
    quality: Quality


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress(Record):
    """Development of one film in one stage so far, and when it will be complete; each `sd` is one standard deviation.

    `earliest_end_t_s` and `latest_end_t_s` stand there where an interruption left the time itself in doubt.
    """

    kind: ClassVar[str] = "progress"
    stage: int
    sheet: int | None = None
    developer_c: float | None
    developer_sd_c: float | None
    age_s: float | None
    done_ref_s: float
    target_ref_s: float
    done_sd_ref_s: float | None
    end_t_s: float | None
    end_sd_s: float | None
    earliest_end_t_s: float | None = None
    latest_end_t_s: float | None = None
    source: Source


@dataclass(frozen=True, slots=True, kw_only=True)
class TrustChanged(Record):
    """A probe or source gained or lost, since `since_t_s`. `source`: what is used from now on. `loss`: false where a probe is not believed
    and nothing was lost by it, so that no FAULT calls for it; left out elsewhere, and by versions that did not know of it."""

    kind: ClassVar[str] = "trust"
    probe: str
    believed: bool
    why: str
    since_t_s: float | None
    source: Source | None = None
    loss: bool | None = None

    @property
    def is_loss(self) -> bool:
        """Whether something else stands in for the probe."""
        return not self.believed and self.source is not None and self.loss is not False


# -- stages -------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class StageBegun(Record):
    """A film goes into a stage. `assumed`: no press said so. `target_ref_s` is None where the stage's clock does not begin with
    this record: all sheets but the last, as they leave the stage before. `now_t_s` and `end_t_s`: where they are fixed from the begin."""

    kind: ClassVar[str] = "stage"
    stage: int
    name: str
    event: ClassVar[str | None] = None
    role: str = ""
    sheet: int | None = None
    assumed: bool = False
    target_ref_s: float | None = None
    steered: bool | None = None
    now_t_s: float | None = None
    end_t_s: float | None = None
    jug: int | None = None
    solution: str | None = None

    def fields(self) -> dict[str, Any]:
        """`event` stands after the name."""
        return _with_event("begin", Record.fields(self))


@dataclass(frozen=True, slots=True, kw_only=True)
class StageMoment(Record):
    """A moment of a stage that has begun: READY and NOW (with what they fix), the minimum, the planned end."""

    kind: ClassVar[str] = "stage"
    stage: int
    name: str
    moment: Literal["ready", "now", "minimum", "end"]
    sheet: int | None = None
    now_t_s: float | None = None
    end_t_s: float | None = None
    why: str | None = None

    def fields(self) -> dict[str, Any]:
        """`moment` is called `event` in the file."""
        told = Record.fields(self)
        return _with_event(told.pop("moment"), told)


def _with_event(event: str, told: dict[str, Any]) -> dict[str, Any]:
    return {"stage": told.pop("stage"), "name": told.pop("name"), "event": event} | told


@dataclass(frozen=True, slots=True, kw_only=True)
class Corrected(Record):
    """The begin with the seq `replaces_seq` was at `begin_t_s`. `assumed`: that is where it was put, no press said so."""

    kind: ClassVar[str] = "correction"
    stage: int
    begin_t_s: float
    replaces_seq: int
    sheet: int | None = None
    assumed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Appeared(Record):
    """A tap said that the first trace of a print has appeared, `appearance_ref_s` of development after its begin (plain seconds where
    temperature does not move the time): from here on its target is `target_ref_s`."""

    kind: ClassVar[str] = "appeared"
    stage: int
    appearance_ref_s: float
    target_ref_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Annulled(Record):
    """The begin with the seq `replaces_seq`, assumed after one that has now been corrected, did not happen."""

    kind: ClassVar[str] = "annulled"
    stage: int
    replaces_seq: int


@dataclass(frozen=True, slots=True, kw_only=True)
class GateChanged(Record):
    """The gate before a stage: `why` where the person overrode it, `celsius` and `sd_c` where it opened."""

    kind: ClassVar[str] = "gate"
    stage: int | None = None
    state: GateState
    why: str | None = None
    celsius: float | None = None
    sd_c: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BandLeft(Record):
    """The developer has left the wanted band of a stage."""

    kind: ClassVar[str] = "band"
    stage: int
    event: ClassVar[str | None] = None
    celsius: float
    reference_c: float
    band_c: float

    def fields(self) -> dict[str, Any]:
        """`event` stands after the stage."""
        told = Record.fields(self)
        return {"stage": told.pop("stage"), "event": "left"} | told


@dataclass(frozen=True, slots=True, kw_only=True)
class BandSummary(Record):
    """How a stage with a wanted band went: seconds outside it, mean and extremes. `compared`: the probe had been compared."""

    kind: ClassVar[str] = "band"
    stage: int
    outside_s: float
    below_s: float
    above_s: float
    watched_s: float
    mean_c: float
    lowest_c: float | None
    highest_c: float | None
    compared: bool

    def fields(self) -> dict[str, Any]:
        """`event` stands after the stage."""
        told = Record.fields(self)
        return {"stage": told.pop("stage"), "event": "summary"} | told


# -- sound and foot -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class CueSounded(Record):
    """A sound's first onset. `lateness_s` after the intended moment, None in a rehearsal; `late_s`: how much later than it was due,
    because the program was away; `why`: what a FAULT is about; `waited_s`: how much of its lateness it waited for the other film's call."""

    kind: ClassVar[str] = "cue"
    cue: Cue
    sheet: int | None = None
    lateness_s: float | None = None
    late_s: float | None = None
    why: str | None = None
    waited_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Tapped(Record):
    """A press of the foot switch and what it meant; `t_s` is the moment when it went down."""

    kind: ClassVar[str] = "tap"
    meaning: Meaning


@dataclass(frozen=True, slots=True, kw_only=True)
class SwitchStuck(Record):
    """The foot switch has been closed since `since_t_s` and is ignored until it opens."""

    kind: ClassVar[str] = "switch"
    event: ClassVar[str | None] = "stuck"
    since_t_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ToolFault(Record):
    """The tool itself is not to be trusted in something."""

    kind: ClassVar[str] = "fault"
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LagFound(Record):
    """At the close: a lag that fitted better than the one that was told, of `probe`, or of the vessel where that is None. Seconds.
    `log_sd`: standard deviation of its logarithm. `use`: what is to become of it, `next`: it counts for this probe from the next session
    on, `offered`: what was told stands until a person adopts this one; None in a rehearsal, after which nothing is kept."""

    kind: ClassVar[str] = "learned"
    probe: str | None
    lag_s: float
    told_lag_s: float
    log_sd: float | None = None
    use: LagUse | None = None

    @property
    def sentence(self) -> str:
        """For people."""
        doubt = "" if self.log_sd is None else f" {plus_minus(self.lag_s * self.log_sd, 0)}"
        if self.probe is None:
            adopt = ", or adopt this one: evenbath lag --vessel NAME --adopt" if self.use == "offered" else ""
            fitted = f"{self.lag_s:.0f}{doubt} s would have fitted"
            return f"the vessel's lag of {self.told_lag_s:.0f} s was false, {fitted}: learn it again{adopt}"
        lagged = f"{self.probe} lagged by {self.lag_s:.0f}{doubt} s, not {self.told_lag_s:.0f} s"
        if self.use == "next":
            return f"{lagged}; that is to count for it from the next session on, a dip makes it surer (evenbath lag)"
        if self.use == "offered":
            adopt = f"evenbath lag --probe {self.probe} --adopt"
            return f"{lagged} as measured, which stands: learn it again by a dip, or adopt this one: {adopt}"
        return lagged


@dataclass(frozen=True, slots=True, kw_only=True)
class Note(Record):
    """Any other kind: what the station writes beside the session, and kinds of a later version."""

    named: str
    told: Mapping[str, Any] = field(default_factory=dict)

    def fields(self) -> dict[str, Any]:
        """As they came."""
        return dict(self.told)


Anything = (
    Opened | Resumed | Closed | Read | Progress | TrustChanged | StageBegun | StageMoment | Corrected | Appeared | Annulled | GateChanged
    | BandLeft | BandSummary | CueSounded | Tapped | SwitchStuck | ToolFault | LagFound | Note
)  # fmt: skip

_BY_KIND: dict[str, type[Anything]] = {
    "reading": Read,
    "progress": Progress,
    "trust": TrustChanged,
    "correction": Corrected,
    "appeared": Appeared,
    "annulled": Annulled,
    "gate": GateChanged,
    "cue": CueSounded,
    "tap": Tapped,
    "fault": ToolFault,
    "learned": LagFound,
}
_BY_EVENT: dict[tuple[str, Any], type[Anything]] = {
    ("session", "resume"): Resumed,
    ("session", "close"): Closed,
    ("stage", "begin"): StageBegun,
    ("band", "left"): BandLeft,
    ("band", "summary"): BandSummary,
    ("switch", "stuck"): SwitchStuck,
}
_FRAME = ("seq", "session", "t_s", "wall", "kind")


def parse(record: Mapping[str, Any]) -> Anything:
    """One record of a journal as its type. Raises ValueError where a field that must be there is missing."""
    kind, event = str(record["kind"]), record.get("event")
    if kind == "session" and event == "open":
        opening = {k: v for k, v in record.items() if k not in (*_FRAME, "event", "schema", "name", "mode", "recipe")}
        return _read(Opened, {"name": "", **record, "opening": opening})
    if kind == "stage" and event in ("ready", "now", "minimum", "end"):
        return _read(StageMoment, {**record, "moment": event})
    of = _BY_KIND.get(kind) or _BY_EVENT.get((kind, event))
    if of is None:
        return Note(t_s=record["t_s"], named=kind, told={k: v for k, v in record.items() if k not in _FRAME})
    return _read(of, record)


def _read(of: type[Anything], record: Mapping[str, Any]) -> Anything:
    known = {name: record[name] for name, _ in _own_fields(of) if name in record}
    try:
        return of(t_s=record["t_s"], **known)
    except TypeError as missing:
        raise ValueError(f"a {record['kind']} record: {str(missing).split('()', 1)[-1].strip()}") from None


def line(seq: int, record: Record) -> dict[str, Any]:
    """A record as the session hands it out: `seq`, `t_s`, `kind` and its fields; the driver adds `session` and `wall`."""
    kind = record.named if isinstance(record, Note) else record.kind
    return {"seq": seq, "t_s": record.t_s, "kind": kind, **record.fields()}
