"""What the dry film looks like, kept beside the journal, and what is said to it.

Decides the form of `SESSION.judgement.jsonl` (append only, never inside the journal), what contradicts itself, and the one change that
is named. The sights and their causes are monitor.review.sights's, what the record says to them monitor.review.record_says's.
Tests: tests/review/test_judgement.py.
"""

from __future__ import annotations

import itertools
import json
import os
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import get_args

from monitor.core.errors import FileWrong, InputWrong, Problem
from monitor.core.journal.words import FINISHED
from monitor.core.recipe.kinds import VesselKind, is_paper
from monitor.core.text.degrees import in_unit_shown, plain
from monitor.core.text.doubt import said_once, share
from monitor.core.text.quantities import format_duration
from monitor.review.numbers import SessionMeasures, StageMeasures
from monitor.review.record_says import Findings, leading, ruled_out
from monitor.review.sight import Cause, Kind, Sight
from monitor.review.sights import NEGATIVES, ON_ANY_FILM, SIGHTS
from monitor.review.sights_of_positives import POSITIVES
from monitor.review.sights_of_prints import PRINTS

SCHEMA_VERSION = 1
DENSITIES = ("thin", "normal", "dense")
EVENNESS = ("even", "slightly uneven", "uneven")


@dataclass(frozen=True, slots=True)
class Judgement:
    """One entry. `wall`: when it was written, RFC 3339 UTC. Densities are above clear, without unit; None: not judged.

    `density` in `DENSITIES`; `measured_density`: of a grey card or step; `base_fog`: of clear film; `evenness` in `EVENNESS`;
    `grade`: paper grade printed at, 0 to 5; `contrast`: average gradient, measured; `seen`: keys of `SIGHTS`;
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


BLANK = ("blank", "blank-numbers")
DENSE = ("black", "dense-highlights", "fog-all")
AGAINST_EACH_OTHER = (
    ("thin-all", "dense-highlights"),
    ("thin-all", "thin-shadows"),
    ("thin-all", "black"),
    ("thin-shadows", "black"),
    ("fog-all", "fog-edge"),
    BLANK,
    *((blank, other) for blank in BLANK for other in (*DENSE, "thin-all", "thin-shadows")),
    ("slide-clear", "slide-black"),
    *((all_over, other) for all_over in ("slide-clear", "slide-black") for other in ("slide-dark", "slide-light")),
    ("slide-dark", "slide-light"),
    ("print-white", "print-black"),
    *((paper, other) for paper in ("print-white", "print-black") for other in ("print-light", "print-dark", "print-flat", "print-hard")),
    ("print-light", "print-dark"),
    ("print-flat", "print-hard"),
)
"""Sights that one film cannot show both: thin everywhere has no dense and no good highlights; fog over all is no fog at the edge only;
clear film has no density at all."""
AGAINST_DENSITY = {
    "thin-all": ("dense",),
    "dense-highlights": ("thin",),
    "black": ("thin", "normal"),
    "blank": ("dense", "normal"),
    "blank-numbers": ("dense", "normal"),
}
"""The densities by eye that a sight contradicts."""


def contradiction(judgement: Judgement) -> str | None:
    """Two things that cannot both be true of one film, in words; None where there are none."""
    if 0 < sum(key in PRINTS for key in judgement.seen) < len(judgement.seen):
        return "what is seen on film and what is seen on a print are judged each by itself"
    if any(key in POSITIVES for key in judgement.seen) and any(key in NEGATIVES and key not in ON_ANY_FILM for key in judgement.seen):
        return "what is seen on a negative and what is seen on a positive are judged each by itself"
    for first, second in AGAINST_EACH_OTHER:
        if first in judgement.seen and second in judgement.seen:
            what = "print" if first.startswith("print-") else "film"
            return f'"{SIGHTS[first].seen}" and "{SIGHTS[second].seen}" cannot both be seen on one {what}'
    for sight, densities in AGAINST_DENSITY.items():
        if sight in judgement.seen and judgement.density in densities:
            return f'"{SIGHTS[sight].seen}" does not go with a density called {judgement.density}'
    return None


COLOUR_ALONE = ("slide-cast", "print-cast")
"""Sights that black-and-white cannot show."""
NEGATIVE_NUMBERS = {"density": "--density", "base_fog": "--base-fog", "contrast": "--contrast"}
"""What is judged or measured on a negative alone, with the option that says it."""


def not_of_this_kind(judgement: Judgement, session: SessionMeasures) -> str | None:
    """What was written down and cannot be seen on the prints or the positive of this session, and what is allowed; None where all can.

    A recipe for film says nothing against a print that was made of its negative.
    """
    if "black-and-white" in kinds_of(session) and (is_paper(session.film, session.contents) or _makes_a_positive(session)):
        colour = next((key for key in COLOUR_ALONE if key in judgement.seen), None)
        if colour is not None:
            group = POSITIVES if colour in POSITIVES else PRINTS
            allowed = ", ".join(key for key in group if key not in COLOUR_ALONE)
            return f'"{SIGHTS[colour].seen}" is seen in colour, and this session was black-and-white; allowed: --seen {allowed}'
    if is_paper(session.film, session.contents):
        wrong = next((key for key in judgement.seen if key in SIGHTS and key not in PRINTS), None)
        if wrong is not None:
            return f'"{SIGHTS[wrong].seen}" is seen on film, and this session was of paper; allowed for a print: --seen {", ".join(PRINTS)}'
        number = next((option for name, option in NEGATIVE_NUMBERS.items() if getattr(judgement, name) is not None), None)
        if number is not None:
            return f"{number} is of a negative, and this session was of paper; allowed for a print: --seen {', '.join(PRINTS)}"
        return None
    if _makes_a_positive(session):
        wrong = next((key for key in judgement.seen if key in NEGATIVES and key not in ON_ANY_FILM), None)
        if wrong is not None:
            allowed = ", ".join((*POSITIVES, *ON_ANY_FILM))
            seen = SIGHTS[wrong].seen
            return f'"{seen}" is seen on a negative, and this session was of reversal; allowed for a positive: --seen {allowed}'
        number = next((NEGATIVE_NUMBERS[name] for name in ("density", "base_fog") if getattr(judgement, name) is not None), None)
        if number is not None:
            allowed = ", ".join(POSITIVES)
            return f"{number} is of a negative, and this session was of reversal; allowed for a positive: --seen {allowed}"
    elif _makes_a_negative(session):
        wrong = next((key for key in judgement.seen if key in POSITIVES), None)
        if wrong is not None:
            seen = SIGHTS[wrong].seen
            return f'"{seen}" is seen on a positive, and this session made a negative; allowed for it: --seen {", ".join(NEGATIVES)}'
    return None


def _makes_a_positive(session: SessionMeasures) -> bool:
    """A reversal, by the trade's name of its first stage of development; a split developer has two of them and is none."""
    return any(s.role == "develop" and "first developer" in s.name.casefold() for s in session.stages)


def _makes_a_negative(session: SessionMeasures) -> bool:
    """Of this it is sure: nothing was bleached, and it was developed once."""
    roles = [s.role for s in session.stages if s.sheet in (None, 1)]
    return session.close_why == FINISHED and roles.count("develop") == 1 and "bleach" not in roles


def kinds_of(session: SessionMeasures) -> frozenset[Kind]:
    """In what vessel, and of what material, as far as the record knows: the causes that fit, and their words, hang on it."""
    vessel = [kind for kind in get_args(VesselKind) if kind == session.vessel]
    material: list[Kind] = [] if session.film is None else ["colour" if session.film == "colour" else "black-and-white"]
    return frozenset((*vessel, *material))


def sights(judgement: Judgement, kinds: frozenset[Kind] = frozenset()) -> list[Sight]:
    """What was seen, the sight to act on first leading, with the causes that a session of these kinds can have."""
    return [sight.of(kinds) for key, sight in SIGHTS.items() if key in judgement.seen]


def sight_lines(sight: Sight) -> list[str]:
    """One sight without a session: its causes, the likeliest first, the question, and the change for the likeliest.

    Where that is of some vessels or materials only, those that follow it and are so too have theirs.
    """
    lines = [sight.seen]
    lines += [f"  {number}. {cause.in_words()}" for number, cause in enumerate(sight.causes, 1)]
    if sight.question is not None:
        lines.append(f"  Ask: {sight.question}")
    leads = 1 + sum(1 for _ in itertools.takewhile(lambda pair: pair[0].only_in and pair[1].only_in, itertools.pairwise(sight.causes)))
    for number, cause in enumerate(sight.causes[:leads], 1):
        lines.append(f"  One change{f' for {number}' if len(sight.causes) > 1 else ''}: {in_unit_shown(cause.next_time)}")
    return lines


def advice(
    judgement: Judgement, stage: StageMeasures | None, found: Findings | None = None, kinds: frozenset[Kind] = frozenset()
) -> list[str]:
    """Lines: each sight with its causes and its question, what the record says to it, and one change for next time.

    `stage`: the develop stage. `found`: what the record says, None where there is no record; `kinds`: of the session. The cause
    that leads is the likeliest that the record does not speak against.
    """
    found = found or {}
    seen = sights(judgement, kinds)
    leads = [(sight, leading(sight, found)) for sight in seen]
    lines = []
    for sight, lead in leads:
        lines.append(f"{sight.seen}: {lead.in_words()}")
        others = [cause for cause in sight.causes if cause is not lead and not ruled_out(cause, found)]
        lines += [f"  or else: {cause.in_words()}" for cause in others]
        lines += [f"  Ask: {sight.question}"] if sight.question is not None else []
        lines += _record_says(sight, stage, found)
    if not seen:
        return ["nothing was seen that asks for a change"] if judgement.density == "normal" and judgement.evenness == "even" else []
    if any(c.about == "exposure" for _, c in leads) and any(c.about == "development" for _, c in leads):
        lines.append("exposure and development both look off: change the exposure first, judge again, then the development")
    lines.append(f"one change for next time: {change_for(leads[0][1], stage)}")
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
    factor = next((by for key, by in steps.items() if cause == SIGHTS[key].causes[0]), None)
    if factor is None or stage is None or not stage.target_ref_s or record_change(cause, stage) is not None:
        return ""
    if stage.rate_law is not None and not stage.end_told:
        return ""
    at = "" if stage.reference_c is None else f" at {plain(stage.reference_c)}"
    return (
        f", {format_duration(round(stage.target_ref_s * factor / 5.0) * 5.0)}{at} in place of {format_duration(stage.target_ref_s)} "
        f"(a step of {100.0 * STEP:.0f} %, common practice; --series of your own films says it better)"
    )


NOT_TOLD = "the record does not know when the developer was left: nobody told it, so no advice is drawn from its development"
"""For a development whose end nobody told."""


def _record_says(sight: Sight, stage: StageMeasures | None, found: Findings) -> list[str]:
    asked = dict.fromkeys(cause.evidence for cause in sight.causes if cause.evidence is not None)
    said = [f"the record says: {found[key].says}" for key in asked if key in found]
    done = _development_says(stage) if sight in _MORE_OR_LESS else None
    return said if done is None else [done, *said]


_MORE_OR_LESS = (SIGHTS["thin-all"], SIGHTS["dense-highlights"])
"""Too little and too much development."""


def _development_says(stage: StageMeasures | None) -> str | None:
    if stage is not None and stage.rate_law is not None and not stage.end_told:
        return NOT_TOLD
    if stage is not None and stage.done_percent is not None and stage.rate_law is not None:
        words = share(stage.done_percent, stage.done_sd_percent or 0.0, stage.done_between_percent)
        late = (
            f"; it ended {stage.overrun_s:+.0f} s off the end that was called{_station_words(stage)}"
            if stage.overrun_s is not None and abs(stage.overrun_s) >= 2
            else ""
        )
        return f"the record says: development {said_once(words)} of what was wanted{late}"
    return None


def _station_words(stage: StageMeasures) -> str:
    return "" if stage.station_late_s is None else f" (NOW came {stage.station_late_s:.0f} s late: the station was away)"


def record_change(cause: Cause, stage: StageMeasures | None) -> str | None:
    """Where the record explains what was seen, the change is to do what was planned, not to plan something else."""
    if not any(cause == sight.causes[0] for sight in _MORE_OR_LESS) or stage is None or not stage.end_told:
        return None
    if stage.done_percent is None or stage.rate_law is None:
        return None
    off, sd = stage.done_percent - 100.0, stage.done_sd_percent or 0.0
    wanted_more = cause == SIGHTS["thin-all"].causes[0]
    if (off < -max(2.0, sd)) if wanted_more else (off > max(2.0, sd)):
        return (
            "keep the recipe, and let the development come to 100 %: this film had too "
            + ("little" if wanted_more else "much")
            + " of it by the record"
        )
    return None
