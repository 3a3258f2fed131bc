"""What a recipe may say, but a person should know before the film is wet: whole sentences, shown by `plan` and before the start.

Orders of baths that no process has, and what is most likely forgotten: `sense`, with lines.
Tests: tests/core/recipe/test_reader.py.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby, pairwise

from monitor.core.development.rate import Pairs, planned_time
from monitor.core.recipe.kinds import CLOSED_VESSELS
from monitor.core.recipe.sense import matters
from monitor.core.recipe.values import SAME, Recipe, Stage
from monitor.core.text.quantities import format_duration, format_number

SHORTEST_DEVELOP_S = 300.0
"""Below five minutes development may be uneven: common practice, no source."""
BATHS_WITHIN_C, RETICULATION_C = 3.0, 8.0
"""Steps between baths: 3 C is common practice (a navy manual: 5 F between trays); reticulation is reported from 15 F."""
MOST_SHEETS_EASILY = 6
"""NAVEDTRA 14209 names 6 to 12 with experience; six for a first year is common practice."""


def warnings(recipe: Recipe) -> Iterator[str]:
    """Everything to warn of, in whole sentences."""
    for stage in recipe.stages:
        yield from _stage_warnings(recipe, stage)
    if recipe.film not in ("colour", "paper"):  # these have short times of their own
        yield from _short_warnings(recipe.stages)
    for stage in recipe.stages[1:]:
        if stage.role == "load":
            yield f"Stage {stage.number} ({stage.name}) loads film, but is not the first stage."
    for stage in recipe.stages:
        if stage.appearance_factor is not None and recipe.vessel in CLOSED_VESSELS:
            unseen = f"nobody sees a first trace in a {recipe.vessel}; without a tap its time is the limit"
            yield f"Stage {stage.number} ({stage.name}): {unseen}."
    if recipe.sheets is not None and recipe.sheets.count > MOST_SHEETS_EASILY:
        yield f"{recipe.sheets.count} sheets at once: more than {MOST_SHEETS_EASILY} take practice (common practice)."
    if recipe.film != "colour":  # colour processes state their own wide ranges for the later baths
        yield from _shock_warnings([s for s in recipe.stages if s.reference_stated])
    yield from (matter.sentence for matter in matters(recipe))


def _stage_warnings(recipe: Recipe, stage: Stage) -> Iterator[str]:
    said = f"Stage {stage.number} ({stage.name})"
    if stage.law is None:
        return
    low_c, high_c = stage.law.valid_c
    if not low_c <= stage.reference_c <= high_c:
        yield f"{said}: the reference {format_number(stage.reference_c)} C is outside the data, {_span(low_c, high_c)}."
    if isinstance(stage.law, Pairs) and (low_c < stage.law.pairs[0][0] - SAME or high_c > stage.law.pairs[-1][0] + SAME):
        yield f"{said}: valid goes beyond the pairs, {_span(stage.law.pairs[0][0], stage.law.pairs[-1][0])}; the last slope goes on."
    if stage.steer and stage.role == "develop" and recipe.film != "paper":
        warm_s = planned_time(stage.law, stage.target_ref_s, high_c)
        if warm_s < SHORTEST_DEVELOP_S <= stage.target_ref_s:
            yield f"{said}: at {format_number(high_c)} C it is {format_duration(warm_s)}, under 5:00 (common practice)."
    if recipe.film == "colour":
        yield f"{said}: the rate does not move the time of colour film; temperature is watched and recorded."


def _short_warnings(stages: tuple[Stage, ...]) -> Iterator[str]:
    """Development under five minutes; consecutive developing baths count as one."""
    for developing, run in groupby(stages, key=lambda stage: stage.role == "develop"):
        together = list(run)
        whole_s = sum(stage.target_ref_s for stage in together)
        if developing and whole_s < SHORTEST_DEVELOP_S:
            said = " and ".join(f"{stage.number} ({stage.name})" for stage in together)
            yield f"Stage {said}: {format_duration(whole_s)} is under 5:00, development may be uneven (common practice)."


def _span(low_c: float, high_c: float) -> str:
    return f"{format_number(low_c)} C to {format_number(high_c)} C"


def _shock_warnings(stages: list[Stage]) -> Iterator[str]:
    for before, after in pairwise(stages):
        step_c = abs(after.reference_c - before.reference_c)
        if step_c > BATHS_WITHIN_C:
            risk = f"common practice keeps baths within {format_number(BATHS_WITHIN_C)} C"
            if step_c >= RETICULATION_C:
                risk = "the gelatine may wrinkle (reticulation is reported from 15 F)"
            apart = f"{format_number(step_c, 1)} C away from stage {before.number} ({before.name})"
            yield f"Stage {after.number} ({after.name}) is {apart}: {risk}."
