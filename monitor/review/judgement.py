"""What the dry film looks like, kept beside the journal, and what the person's own numbers say about the next one.

Decides the form of `SESSION.judgement.jsonl` (append only, never inside the journal), the arithmetic on a series, and which
causes belong to what was seen. It advises nothing beyond arithmetic on the person's own data, and refuses that with fewer
than three sessions. Causes: common practice, no source (the project's practice text, section 10).
Tests: tests/review/test_judgement.py.
"""

from __future__ import annotations

import json
import math
import os
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Literal

from monitor.core.development.rate import Arrhenius, Fit, fit
from monitor.core.errors import FileWrong, InputWrong, Problem
from monitor.review.integrals import integral, mean_kinetic_temperature, weights
from monitor.review.measures import Review
from monitor.review.numbers import StageMeasures
from monitor.review.timeline import counted_from_to

SCHEMA_VERSION = 1
DENSITIES = ("thin", "normal", "dense")
EVENNESS = ("even", "slightly uneven", "uneven")
LEAST_SERIES = 3
SAME_DENSITY = 0.1
"""Densities of a series for a temperature law may differ by this much; more would be read as temperature. A choice, no source."""

T_95 = (
    12.706,
    4.303,
    3.182,
    2.776,
    2.571,
    2.447,
    2.365,
    2.306,
    2.262,
    2.228,
    2.201,
    2.179,
    2.160,
    2.145,
    2.131,
    2.120,
    2.110,
    2.101,
    2.093,
    2.086,
)
"""Student's t, two-sided 95 %, for 1 to 20 degrees of freedom (standard table; held against scipy in a test); beyond, 2.086."""


@dataclass(frozen=True, slots=True)
class Judgement:
    """One entry. `wall`: when it was written, RFC 3339 UTC. Densities are above clear, without unit; None: not judged.

    `density` in `DENSITIES`; `measured_density`: of a grey card or step; `base_fog`: of clear film; `evenness` in `EVENNESS`;
    `grade`: paper grade printed at, 0 to 5; `contrast`: average gradient, measured; `seen`: keys of `CAUSES`.
    """

    wall: str
    session: str
    density: str | None = None
    measured_density: float | None = None
    base_fog: float | None = None
    evenness: str | None = None
    grade: float | None = None
    contrast: float | None = None
    seen: tuple[str, ...] = ()
    notes: str | None = None


@dataclass(frozen=True, slots=True)
class Cause:
    """What a sight means: `about` tells development from exposure and from the rest; `next_time` is one change."""

    sight: str
    about: Literal["development", "exposure", "agitation", "handling", "light or material", "fixing", "temperature"]
    cause: str
    next_time: str


CAUSES: dict[str, Cause] = {
    "milky": Cause(
        "milky or pink", "fixing", "not fixed to the end", "fix again now, in fresh fixer; next time test the clearing time first"
    ),
    "wrinkles": Cause(
        "a net of fine wrinkles",
        "temperature",
        "a shock of temperature between two baths",
        "bring stop, fix and wash to within 3 C of the developer",
    ),
    "fog-all": Cause(
        "fog over all, edges too",
        "light or material",
        "old material, light in the room, or chemistry",
        "develop a piece that was never exposed, in the dark",
    ),
    "fog-edge": Cause(
        "fog at the edge only", "light or material", "light into the tank or the cassette", "try the tank's lid and the cassette with paper"
    ),
    "thin-shadows": Cause(
        "thin shadows with good highlights", "exposure", "too little exposure", "expose more; leave the development as it is"
    ),
    "thin-all": Cause(
        "thin everywhere, edge numbers thin too", "development", "too little development", "develop longer; leave the exposure as it is"
    ),
    "dense-highlights": Cause("dense highlights", "development", "too much development", "develop shorter; leave the exposure as it is"),
    "edge-marks": Cause(
        "marks at the sprocket holes or a bright border",
        "agitation",
        "surge or bromide drag",
        "agitate otherwise: gentler where it surges, more where it drags",
    ),
    "air-bells": Cause("small clear round spots", "agitation", "air bells", "knock the tank once or twice after pouring in"),
    "crescents": Cause("crescents", "handling", "film kinked in loading", "load slower, with dry hands and a dry reel"),
}
"""Common practice, no source. In the order in which one change is chosen: what spoils all first, then exposure before development."""


def judgement_file(journal: Path) -> Path:
    """SESSION.judgement.jsonl beside SESSION.jsonl."""
    return journal.with_name(journal.name.removesuffix(".jsonl") + ".judgement.jsonl")


def append_judgement(journal: Path, judgement: Judgement) -> Path:
    """Add one entry to the file beside the journal, on the disk when this returns. The journal itself is not touched."""
    path = judgement_file(journal)
    line = json.dumps({"schema": SCHEMA_VERSION, **asdict(judgement)}, ensure_ascii=False, allow_nan=False) + "\n"
    handle = os.open(path, os.O_RDWR | os.O_APPEND | os.O_CREAT, 0o644)
    try:
        size = os.fstat(handle).st_size
        if size and os.pread(handle, 1, size - 1) != b"\n":  # an earlier entry was cut off: begin a line of our own
            line = "\n" + line
        os.write(handle, line.encode("utf-8"))
        os.fsync(handle)
    finally:
        os.close(handle)
    return path


def read_judgements(journal: Path) -> list[Judgement]:
    """All entries beside a journal, oldest first; none if there is no file. Raises `FileWrong` for lines that are none."""
    path = judgement_file(journal)
    if not path.exists():
        return []
    found: list[Judgement] = []
    problems: list[Problem] = []
    raw = path.read_bytes()
    lines = raw.split(b"\n")
    for number, line in enumerate(lines, 1):
        if not line.strip():
            continue
        try:
            value = json.loads(line.decode("utf-8"))
            if value.pop("schema", 1) != SCHEMA_VERSION:
                problems.append(Problem(str(path), number, "a judgement of another format", f"allowed: format {SCHEMA_VERSION}"))
                continue
            value["seen"] = tuple(value.get("seen") or ())
            known = set(Judgement.__dataclass_fields__)
            found.append(Judgement(**{k: v for k, v in value.items() if k in known}))
        except (ValueError, TypeError, AttributeError):
            if number == len(lines):  # no newline: the last entry was cut off
                break
            problems.append(Problem(str(path), number, "not a judgement", "allowed: one JSON object a line, as evenbath judge writes it"))
    if problems:
        raise FileWrong(problems)
    return found


def latest(judgements: Sequence[Judgement]) -> Judgement | None:
    """The entries folded into one: each field as it was judged last, what was seen and noted all together."""
    if not judgements:
        return None
    fields: dict[str, object] = {}
    for judgement in judgements:
        fields.update({k: v for k, v in asdict(judgement).items() if v is not None and k not in ("seen", "notes")})
    seen = tuple(dict.fromkeys(s for j in judgements for s in j.seen))
    notes = "; ".join(j.notes for j in judgements if j.notes) or None
    return Judgement(**fields, seen=seen, notes=notes)  # type: ignore[arg-type]


# --- one film: causes, and one change --------------------------------------------------------------------------------


def causes(judgement: Judgement) -> list[Cause]:
    """What was seen with its causes, the one to change first leading."""
    return [cause for key, cause in CAUSES.items() if key in judgement.seen]


def advice(judgement: Judgement, stage: StageMeasures | None, warmest_gap_c: float | None = None) -> list[str]:
    """Lines: each sight with its cause, what the record says to it, and one change for next time.

    `stage`: the develop stage. `warmest_gap_c`: the largest step of temperature between two stages in a row.
    """
    found = causes(judgement)
    lines = [f"{c.sight}: {c.cause} ({c.about})" for c in found]
    if not found:
        return ["nothing was seen that asks for a change"] if judgement.density == "normal" and judgement.evenness == "even" else []
    if any(c.about == "exposure" for c in found) and any(c.about == "development" for c in found):
        lines.append("exposure and development both look off: change the exposure first, judge again, then the development")
    first = found[0]
    record = _record_says(first, stage, warmest_gap_c)
    if record is not None:
        lines.append(record)
    lines.append(f"one change for next time: {record_change(first, stage) or first.next_time}")
    return lines


def _record_says(cause: Cause, stage: StageMeasures | None, warmest_gap_c: float | None) -> str | None:
    if cause.about == "development" and stage is not None and stage.done_percent is not None and stage.rate_law is not None:
        sd = stage.done_sd_percent or 0.0
        late = (
            f"; the hands were {stage.overrun_s:+.0f} s off the planned end"
            if stage.overrun_s is not None and abs(stage.overrun_s) >= 2
            else ""
        )
        return f"the record says: development {stage.done_percent:.1f} % +/-{sd:.1f} of what was wanted{late}"
    if cause.about == "temperature" and warmest_gap_c is not None:
        return f"the record says: the largest step of the mean between two stages was {warmest_gap_c:.1f} C"
    return None


def record_change(cause: Cause, stage: StageMeasures | None) -> str | None:
    """Where the record explains what was seen, the change is to do what was planned, not to plan something else."""
    if cause.about != "development" or stage is None or stage.done_percent is None or stage.rate_law is None:
        return None
    off, sd = stage.done_percent - 100.0, stage.done_sd_percent or 0.0
    wanted_more = cause is CAUSES["thin-all"]
    if (off < -max(2.0, sd)) if wanted_more else (off > max(2.0, sd)):
        return (
            "keep the recipe, and let the development come to 100 %: this film had too "
            + ("little" if wanted_more else "much")
            + " of it by the record"
        )
    return None


# --- a series: arithmetic on the person's own data -------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class SeriesPoint:
    """One session of a series: development done, and the number that was judged."""

    session: str
    done_ref_s: float
    value: float


@dataclass(frozen=True, slots=True)
class Series:
    """value = intercept + slope ln(done), least squares. `sd`: of one value about the line. `interval`: 95 % of the line at `done`.

    Straight in ln(done) over a modest range is common practice for contrast; outside the data it is not to be used.
    """

    what: str
    points: tuple[SeriesPoint, ...]
    intercept: float
    slope: float
    sd: float

    @property
    def _log_mean(self) -> float:
        return sum(math.log(p.done_ref_s) for p in self.points) / len(self.points)

    @property
    def _spread(self) -> float:
        mean = self._log_mean
        return sum((math.log(p.done_ref_s) - mean) ** 2 for p in self.points)

    @property
    def t(self) -> float:
        """Student's t for the 95 % interval."""
        return T_95[min(len(self.points) - 2, len(T_95)) - 1]

    def at(self, done_ref_s: float) -> tuple[float, float]:
        """(value on the line, half-width of its 95 % interval)."""
        x = math.log(done_ref_s)
        half = self.t * self.sd * math.sqrt(1.0 / len(self.points) + (x - self._log_mean) ** 2 / self._spread)
        return self.intercept + self.slope * x, half

    def wanted(self, value: float) -> tuple[float, float, float]:
        """(done, low, high): seconds of development at the reference for a wanted value with its 95 % interval (E. C. Fieller, 1954).

        Raises `InputWrong` where the data do not show that the value moves with development.
        """
        mean_x = self._log_mean
        mean_y = self.intercept + self.slope * mean_x
        g = (self.t * self.sd) ** 2 / (self.slope**2 * self._spread) if self.slope else math.inf
        if g >= 1.0:
            raise InputWrong(
                f"these {len(self.points)} sessions do not show that {self.what} moves with development (the slope may be nothing); "
                "allowed: more sessions, or sessions that differ more in development"
            )
        away = (value - mean_y) / self.slope
        half = self.t * self.sd / abs(self.slope) * math.sqrt((1.0 - g) / len(self.points) + away**2 / self._spread)
        low, high = (mean_x + (away - half) / (1.0 - g), mean_x + (away + half) / (1.0 - g))
        return math.exp(mean_x + away), math.exp(low), math.exp(high)

    @property
    def range_ref_s(self) -> tuple[float, float]:
        """Least and most development of the series."""
        done = [p.done_ref_s for p in self.points]
        return min(done), max(done)


def series(points: Sequence[SeriesPoint], what: str) -> Series:
    """Fit a series. Raises `InputWrong` for fewer than three sessions or for sessions that do not differ in development."""
    if len(points) < LEAST_SERIES:
        raise InputWrong(
            f"{len(points)} judged session{'' if len(points) == 1 else 's'} with {what}; "
            f"allowed: {LEAST_SERIES} or more, since fewer tell nothing about how sure it is"
        )
    xs = [math.log(p.done_ref_s) for p in points]
    ys = [p.value for p in points]
    mean_x, mean_y = sum(xs) / len(xs), sum(ys) / len(ys)
    spread = sum((x - mean_x) ** 2 for x in xs)
    if spread < 1e-4:
        raise InputWrong("these sessions have all the same development; allowed: sessions that differ in it, by a fifth or more in all")
    slope = sum((x - mean_x) * (y - mean_y) for x, y in zip(xs, ys, strict=True)) / spread
    intercept = mean_y - slope * mean_x
    rest = sum((y - intercept - slope * x) ** 2 for x, y in zip(xs, ys, strict=True))
    return Series(what, tuple(points), intercept, slope, math.sqrt(rest / (len(points) - 2)))


@dataclass(frozen=True, slots=True)
class OwnLaw:
    """A temperature law from films developed at different temperatures to the same density.

    `sd_kj_mol`: standard error of the energy; `rows`: session, steady temperature that would have done as much, seconds.
    """

    fitted: Fit
    sd_kj_mol: float
    reference_c: float
    rows: tuple[tuple[str, float, float], ...]


def own_law(reviews: Sequence[tuple[str, Review, float | None]], reference_c: float) -> OwnLaw:
    """Fit the energy for which all films had the same development. Entries: session, review, measured density or None.

    Each film's whole trace counts: its steady temperature is found by the energy itself, again and again until both agree.
    Raises `InputWrong` for fewer than three, for densities that differ, or temperatures that do not.
    """
    if len(reviews) < LEAST_SERIES:
        raise InputWrong(
            f"{len(reviews)} sessions; allowed: {LEAST_SERIES} or more, developed at different temperatures to the same density"
        )
    densities = [d for _, _, d in reviews if d is not None]
    if densities and max(densities) - min(densities) > SAME_DENSITY:
        raise InputWrong(
            f"densities from {min(densities):g} to {max(densities):g}; allowed: the same density within {SAME_DENSITY:g}, else development "
            "and temperature are mixed up"
        )
    energy = 65.0
    rows: list[tuple[str, float, float]] = []
    fitted: Fit | None = None
    for _ in range(6):
        law = Arrhenius(reference_c, energy, 0.0, (0.0, 60.0))
        rows = [(name, *_steady(review, law)) for name, review, _ in reviews]
        if max(c for _, c, _ in rows) - min(c for _, c, _ in rows) < 1.0:
            raise InputWrong(
                "the temperatures differ by less than 1 C; allowed: films developed at temperatures that differ by 2 C or more"
            )
        fitted = fit([(c, s) for _, c, s in rows])
        energy = fitted.activation_energy_kj_mol
        if not 1.0 < energy < 400.0:
            raise InputWrong(f"the films ask for an energy of {energy:.0f} kJ/mol, which no developer has; allowed: 10 to 200")
    assert fitted is not None
    sd = fitted.sd_kj_mol
    assert sd is not None  # three or more
    return OwnLaw(fitted, sd, reference_c, tuple(rows))


def _steady(review: Review, law: Arrhenius) -> tuple[float, float]:
    """(steady temperature by the law, counted seconds) of the develop stage."""
    numbers = next((s for s in review.numbers.stages if s.role == "develop" and s.mean_c is not None), None)
    if numbers is None or review.recipe is None:
        raise InputWrong(f"{review.numbers.file}: no develop stage with a measured temperature; allowed: sessions that have one")
    part = next(p for p in review.stretches if p.stage == numbers.stage and p.sheet == numbers.sheet)
    from_s, to_s = counted_from_to(review.recipe.stages[part.stage - 1], part)
    smoothed = review.tracks[part.stage].smoothed
    done, _, _ = integral(law, smoothed.celsius, weights(smoothed.t_s, from_s, to_s))
    return mean_kinetic_temperature(law, done / (to_s - from_s)), to_s - from_s
