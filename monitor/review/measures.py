"""All numbers of one session, recomputed from its raw records; joins the timeline, the tracks and the measures of the stages.

Tests: tests/review/test_measures.py, tests/review/test_outside.py.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from monitor.core.development.beliefs import LAG_LOG_SD
from monitor.core.probes.classify import STALE_S
from monitor.core.probes.learned import DEFAULT_LAG_S, NOT_COMPARED_SD_C
from monitor.core.probes.readings import EXCHANGED, other_of
from monitor.core.recipe.values import Recipe
from monitor.review.beside_bath import BathsWord, beside_bath
from monitor.review.load import Journal
from monitor.review.numbers import Doubted, FilmOfEvening, NamedSpan, RecordedProbe, SessionMeasures, StageMeasures
from monitor.review.stage_measures import measure_stage
from monitor.review.timeline import Stretch, believed_spans, stretches
from monitor.review.track import TemperatureTrack, believed_readings, good_readings, stuck_spans, track_of


@dataclass(slots=True)
class Review:
    """What `measure` returns beside the numbers, for figures and for the CSV."""

    numbers: SessionMeasures
    tracks: dict[int, TemperatureTrack]
    stretches: list[Stretch]
    recipe: Recipe | None


def recorded_probes(journal: Journal) -> dict[str, RecordedProbe]:
    """Lag and comparison of each probe as the opening of the session recorded them; the project's defaults where it did not."""
    told: dict[str, Mapping[str, Any]] = {}
    recorded = journal.opening.get("probes")
    if isinstance(recorded, Mapping):
        told = {str(name): value for name, value in recorded.items() if isinstance(value, Mapping)}
    elif isinstance(recorded, list):
        told = {str(p.get("probe", p.get("name", ""))): p for p in recorded if isinstance(p, Mapping)}
    facts = {}
    for name in dict.fromkeys((*told, *journal.readings)):
        said = told.get(name, {})
        role = journal.readings[name].role if name in journal.readings else str(said.get("role", "unknown"))
        compared = said.get("compared", said.get("comparison"))
        facts[name] = RecordedProbe(
            name,
            role,
            float(said["lag_s"])
            if isinstance(said.get("lag_s"), (int, float))
            else (DEFAULT_LAG_S if role in ("developer", "witness") else 0.0),
            float(said["comparison_sd_c"]) if isinstance(said.get("comparison_sd_c"), (int, float)) else NOT_COMPARED_SD_C,
            compared if isinstance(compared, Mapping) else {} if compared is True else None,
            float(said["lag_log_sd"]) if isinstance(said.get("lag_log_sd"), (int, float)) else LAG_LOG_SD,
            float(said["witness_sd_c"]) if isinstance(said.get("witness_sd_c"), (int, float)) else 0.0,
        )
    return facts


def measure(journal: Journal, only_counted: bool = False) -> Review:
    """All numbers of one session. `only_counted`: leave out the temperatures of stages that have no rate (comparing many)."""
    facts = recorded_probes(journal)
    parts = stretches(journal)
    words = _baths_words(journal, facts, parts)
    exchanged = [word for word in words.values() if word.exchanged]
    if exchanged:  # each speaks for the other's in the whole journal, as where live has found it (`load`)
        mine, its = journal.readings[exchanged[0].probe], journal.readings[exchanged[0].bath]
        mine.role, its.role = its.role, mine.role
        facts = recorded_probes(journal)
    names = {name for word in exchanged for name in (word.probe, word.bath)}
    believed = {
        series.probe: good_readings(series) if series.probe in names else believed_readings(journal, series)
        for series in journal.readings.values()
    }
    recipe = journal.recipe
    tracks: dict[int, TemperatureTrack] = {}
    made: list[StageMeasures] = []
    for number in sorted({p.stage for p in parts}):
        own = [p for p in parts if p.stage == number]
        stage = journal.stage(number)
        track = None
        if not only_counted or stage is None or stage.law is not None or stage.role == "develop":
            track = track_of(journal, facts, believed, stage, own, recipe is not None and recipe.lifted, words.get(number))
        if track is not None:
            tracks[number] = track
        made += [measure_stage(journal, believed, recipe, stage, part, track) for part in own]
    numbers = _session(journal, facts, made, tracks)
    numbers.exchanged = (exchanged[0].probe, exchanged[0].bath) if exchanged else _exchanged_live(journal)
    return Review(numbers, tracks, parts, recipe)


def _baths_words(journal: Journal, facts: Mapping[str, RecordedProbe], parts: Sequence[Stretch]) -> dict[int, BathsWord]:
    """What the bath says of the developer's probe in each develop stage, by its number."""
    words = {}
    for number in sorted({p.stage for p in parts}):
        stage, own = journal.stage(number), [p for p in parts if p.stage == number]
        if stage is not None and stage.role == "develop":
            word = beside_bath(journal, facts, min(p.begin_s for p in own), max(p.end_s for p in own))
            if word is not None:
                words[number] = word
    return words


RESUME_FIELDS = ("t_s", "gap_s", "same_boot", "counted_s", "least_s", "most_s", "missed")


def gaps(journal: Journal) -> list[NamedSpan]:
    """Stretches longer than `STALE_S` without a good reading, of every probe, with the worst quality met in them."""
    found = []
    for series in journal.readings.values():
        since: float | None = None
        why = "no record"
        for t, quality in zip(series.t_s, series.quality, strict=True):
            if quality == "good":
                if since is not None and t - since > STALE_S:
                    found.append(NamedSpan(f"{series.probe}: {why}", since, t))
                since, why = t, "no record"
            else:
                since, why = (t if since is None else since), quality
        if since is not None and why != "no record" and series.t_s[-1] - since > STALE_S:
            found.append(NamedSpan(f"{series.probe}: {why}", since, series.t_s[-1]))
    return found


def _doubted(journal: Journal, tracks: Mapping[int, TemperatureTrack]) -> list[Doubted]:
    """All that was found of the readings afterwards, each with how long live had believed it."""
    found = [span for series in journal.readings.values() for span in stuck_spans(series)]
    found += [span for track in tracks.values() for span in track.doubted]
    return [replace(span, believed_s=_believed_s(journal, span)) for span in found]


def _believed_s(journal: Journal, span: Doubted) -> float:
    both = [(max(a, span.from_s), min(b, span.to_s)) for a, b in believed_spans(journal, span.probe)]
    return math.fsum(b - a for a, b in both if b > a)


def _exchanged_live(journal: Journal) -> tuple[str, str] | None:
    """The probes that live found in each other's liquid."""
    return next(((str(r["probe"]), other_of(r["why"])) for r in journal.of("trust") if r["why"].startswith(EXCHANGED)), None)


def fault_calls(journal: Journal) -> list[dict[str, Any]]:
    """Each FAULT with its moment and reason; before version 0.2 the reason stood only in the loss of trust of the same moment."""
    lost = {r["t_s"]: f"{r['probe']}: {r['why']}" for r in journal.of("trust") if not r["believed"]}
    return [{"t_s": r["t_s"], "why": r.get("why") or lost.get(r["t_s"])} for r in journal.of("cue") if r["cue"] == "fault"]


def _contents(journal: Journal) -> str | None:
    """What was in the vessel: what the evening's file calls this film, else what the recipe says."""
    evening = journal.opening.get("evening")
    what = evening.get("what") if isinstance(evening, dict) else None
    if isinstance(what, str) and what:
        return what
    return journal.recipe.what if journal.recipe else None


def _film_of_evening(journal: Journal) -> FilmOfEvening | None:
    """Which film of its evening this was; None where the record names none, or only one."""
    told = journal.opening.get("evening")
    if not isinstance(told, dict):
        return None
    name, film, of, vessel = (told.get(key) for key in ("name", "film", "of", "vessel"))
    if not isinstance(name, str) or not isinstance(film, int) or not isinstance(of, int) or of < 2:
        return None
    return FilmOfEvening(name, film, of, vessel if isinstance(vessel, str) and vessel else None)


def _session(
    journal: Journal, facts: Mapping[str, RecordedProbe], stages: list[StageMeasures], tracks: Mapping[int, TemperatureTrack]
) -> SessionMeasures:
    recipe, close, opening = journal.recipe, journal.close, journal.opening
    late = [r["lateness_s"] for r in journal.of("cue") if isinstance(r.get("lateness_s"), (int, float))]
    waited = [r["waited_s"] for r in journal.of("cue") if isinstance(r.get("waited_s"), (int, float))]
    counts: dict[str, int] = {}
    for record in journal.of("cue"):
        counts[record["cue"]] = counts.get(record["cue"], 0) + 1
    solutions = opening.get("solutions")
    last = max((stage.stage for stage in stages), default=0)
    never_begun = tuple(stage.name for stage in recipe.stages if stage.number > last) if recipe else ()
    return SessionMeasures(
        file=journal.file, session=journal.session, mode=journal.mode, recipe=recipe.name if recipe else None,
        film=recipe.film if recipe else None, vessel=recipe.vessel if recipe else None, contents=_contents(journal),
        area_units=recipe.area_units if recipe else None, program_version=opening.get("version"), opened_wall=journal.first_wall,
        zone=opening.get("zone"), closed=close is not None, close_why=str(close.get("why", "")) if close else None,
        never_begun=never_begun, stages=stages,
        max_cue_lateness_s=max(late) if late and "trace" not in opening else None,
        max_cue_waited_s=max(waited, default=None), cues=counts,
        faults=counts.get("fault", 0), fault_calls=fault_calls(journal),
        probes=list(facts.values()),
        trust=[{k: r.get(k) for k in ("t_s", "probe", "believed", "why", "since_t_s")} for r in journal.of("trust")],
        gaps=gaps(journal), doubted=_doubted(journal, tracks),
        resumes=[{k: r.get(k) for k in RESUME_FIELDS} for r in journal.of("session") if r["event"] == "resume"],
        solutions=[s for s in solutions if isinstance(s, dict)] if isinstance(solutions, list) else [],
        evening=_film_of_evening(journal),
        waived=str(opening["waived"]) if opening.get("waived") else None,
        gate_overridden=next((str(r.get("why", "no reason given")) for r in journal.of("gate") if r["state"] == "overridden"), None),
        notes=[str(r["text"]) for r in journal.of("note") if isinstance(r.get("text"), str)],
        torn=journal.findings.torn, problems=journal.findings.lines(),
    )  # fmt: skip
