"""What the dry film looks like, kept beside the journal, and the causes of what was seen.

Decides the form of `SESSION.judgement.jsonl` (append only, never inside the journal) and which causes belong to what was seen.
Causes: common practice, no source (the project's practice text, section 10).
Tests: tests/review/test_judgement.py.
"""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Literal

from monitor.core.errors import FileWrong, InputWrong, Problem
from monitor.core.text.degrees import difference, in_unit_shown, plain
from monitor.core.text.doubt import said_once, share
from monitor.core.text.quantities import format_duration
from monitor.review.numbers import StageMeasures

SCHEMA_VERSION = 1
DENSITIES = ("thin", "normal", "dense")
EVENNESS = ("even", "slightly uneven", "uneven")


@dataclass(frozen=True, slots=True)
class Judgement:
    """One entry. `wall`: when it was written, RFC 3339 UTC. Densities are above clear, without unit; None: not judged.

    `density` in `DENSITIES`; `measured_density`: of a grey card or step; `base_fog`: of clear film; `evenness` in `EVENNESS`;
    `grade`: paper grade printed at, 0 to 5; `contrast`: average gradient, measured; `seen`: keys of `CAUSES`;
    `not_seen`: those that are taken back.
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
    not_seen: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Cause:
    """What a sight means: `about` tells development from exposure and from the rest; `next_time` is one change."""

    sight: str
    about: Literal["development", "exposure", "agitation", "handling", "light or material", "fixing", "temperature"]
    cause: str
    next_time: str


CAUSES: dict[str, Cause] = {
    "milky": Cause(
        "milky, or pink",
        "fixing",
        "not fixed to the end; pink alone is often only dye, and no sign by itself",
        "fix again now, in fresh fixer; next time test the clearing time first",
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
    try:
        handle = os.open(path, os.O_RDWR | os.O_APPEND | os.O_CREAT | os.O_NOFOLLOW | os.O_CLOEXEC, 0o644)
    except OSError as wrong:
        raise InputWrong(f"{path}: cannot be written ({wrong.strerror}); allowed: a folder of journals that you may write") from None
    try:
        size = os.fstat(handle).st_size
        if size and os.pread(handle, 1, size - 1) != b"\n":  # an earlier entry was cut off: begin a line of our own
            line = "\n" + line
        os.write(handle, line.encode("utf-8", "replace"))
        os.fsync(handle)
    finally:
        os.close(handle)
    return path


def read_judgements(journal: Path) -> list[Judgement]:
    """All entries beside a journal, oldest first; none if there is no file. Raises `FileWrong` for lines that are none."""
    path = judgement_file(journal)
    if not os.path.lexists(path):
        return []
    if not path.is_file():
        raise InputWrong(f"{path}: no regular file; allowed: the judgements of this session, or nothing of this name")
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
            value["seen"], value["not_seen"] = tuple(value.get("seen") or ()), tuple(value.get("not_seen") or ())
            known = set(Judgement.__dataclass_fields__)
            found.append(Judgement(**{k: v for k, v in value.items() if k in known}))
        except (ValueError, TypeError, AttributeError, RecursionError):
            if number == len(lines):  # no newline: the last entry was cut off
                break
            problems.append(Problem(str(path), number, "not a judgement", "allowed: one JSON object a line, as evenbath judge writes it"))
    if problems:
        raise FileWrong(problems)
    return found


def latest(judgements: Sequence[Judgement]) -> Judgement | None:
    """The entries folded into one: each field as it was judged last, what was noted all together, and what was seen unless taken back."""
    if not judgements:
        return None
    fields: dict[str, object] = {}
    for judgement in judgements:
        fields.update({k: v for k, v in asdict(judgement).items() if v is not None and k not in ("seen", "not_seen", "notes")})
    seen: tuple[str, ...] = ()
    for judgement in judgements:
        seen = tuple(dict.fromkeys(s for s in (*seen, *judgement.seen) if s not in judgement.not_seen))
    notes = "; ".join(j.notes for j in judgements if j.notes) or None
    return Judgement(**fields, seen=seen, notes=notes)  # type: ignore[arg-type]


# --- one film: causes, and one change --------------------------------------------------------------------------------


AGAINST_EACH_OTHER = (
    ("thin-all", "dense-highlights"),
    ("thin-all", "thin-shadows"),
    ("fog-all", "fog-edge"),
)
"""Sights that one film cannot show both: thin everywhere has no dense and no good highlights; fog over all is no fog at the edge only."""
AGAINST_DENSITY = {"thin-all": "dense", "dense-highlights": "thin"}
"""The density by eye that a sight contradicts."""


def contradiction(judgement: Judgement) -> str | None:
    """Two things that cannot both be true of one film, in words; None where there are none."""
    for first, second in AGAINST_EACH_OTHER:
        if first in judgement.seen and second in judgement.seen:
            return f'"{CAUSES[first].sight}" and "{CAUSES[second].sight}" cannot both be seen on one film'
    for sight, density in AGAINST_DENSITY.items():
        if sight in judgement.seen and judgement.density == density:
            return f'"{CAUSES[sight].sight}" does not go with a density called {density}'
    return None


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
    lines.append(f"one change for next time: {change_for(first, stage)}")
    return lines


def change_for(cause: Cause, stage: StageMeasures | None) -> str:
    """What to change for this sight: as the record explains it, else as the trade does, with a time where the record has one."""
    what, semicolon, rest = in_unit_shown(record_change(cause, stage) or cause.next_time).partition(";")
    return f"{what}{_in_numbers(cause, stage)}{semicolon}{rest}"


STEP = 0.15
"""By how much a developing time is changed at once: 10 to 20 per cent, common practice, no source. Your own --series says it better."""


def _in_numbers(cause: Cause, stage: StageMeasures | None) -> str:
    """The time for next time, where the record has one and does not itself explain what was seen."""
    steps = {"thin-all": 1.0 + STEP, "dense-highlights": 1.0 - STEP}
    factor = next((by for key, by in steps.items() if cause is CAUSES[key]), None)
    if factor is None or stage is None or not stage.target_ref_s or record_change(cause, stage) is not None:
        return ""
    if stage.rate_law is not None and not stage.end_told:
        return ""
    at = "" if stage.reference_c is None else f" at {plain(stage.reference_c)}"
    return (
        f", {format_duration(round(stage.target_ref_s * factor / 5.0) * 5.0)}{at} in place of {format_duration(stage.target_ref_s)} "
        f"(a step of {100.0 * STEP:.0f} %, common practice; --series of your own films says it better)"
    )


NOT_TOLD = "the record does not know when the developer was poured off: nobody told it, so no advice is drawn from its development"
"""For a development whose end nobody told."""


def _record_says(cause: Cause, stage: StageMeasures | None, warmest_gap_c: float | None) -> str | None:
    if cause.about == "development" and stage is not None and stage.rate_law is not None and not stage.end_told:
        return NOT_TOLD
    if cause.about == "development" and stage is not None and stage.done_percent is not None and stage.rate_law is not None:
        words = share(stage.done_percent, stage.done_sd_percent or 0.0, stage.done_between_percent)
        late = (
            f"; the pour was {stage.overrun_s:+.0f} s off the end that was called{_station_words(stage)}"
            if stage.overrun_s is not None and abs(stage.overrun_s) >= 2
            else ""
        )
        return f"the record says: development {said_once(words)} of what was wanted{late}"
    if cause.about == "temperature" and warmest_gap_c is not None:
        return f"the record says: the largest step of the mean between two stages was {difference(warmest_gap_c)}"
    return None


def _station_words(stage: StageMeasures) -> str:
    return "" if stage.station_late_s is None else f" (NOW came {stage.station_late_s:.0f} s late: the station was away)"


def record_change(cause: Cause, stage: StageMeasures | None) -> str | None:
    """Where the record explains what was seen, the change is to do what was planned, not to plan something else."""
    if cause.about != "development" or stage is None or stage.done_percent is None or stage.rate_law is None or not stage.end_told:
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
