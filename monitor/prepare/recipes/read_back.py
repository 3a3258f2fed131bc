"""A recipe read back: as data for other programs, and as lines for a person to check before anything is poured.

Three lines answer first: how long, what to set out, what light; then the film, the jugs (what, how much, how warm, how long), the
stages, the times over temperature, and what to be careful about. No clock, no files.
Tests: tests/cli/test_plan.py.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from textwrap import wrap
from typing import Any

from monitor.core.development.rate import planned_time
from monitor.core.recipe.light import session_refusal
from monitor.core.recipe.values import READY_AFTER_BEGIN_LEAST_S, SAME, Recipe, Stage
from monitor.core.session.agitation import QUIET_S
from monitor.core.text.degrees import celsius_of, figure, in_unit_shown, plain, plain_difference, span, unit
from monitor.core.text.doubt import TWO_SD, two_sd
from monitor.core.text.quantities import format_duration, format_number, format_volume
from monitor.prepare.cautions import HABITUAL, cautions_for

_FINE_STEP_C, _COARSE_STEP_C = 0.5, 1.0
_WIDTH = 110
_FINE_SPAN_C = 12.0
"""Up to this span the chart's steps are half a degree."""
HALVES_WITHIN_C = 1.0
"""A person is told half degrees no farther from the reference: beyond it a whole one is as near as anybody reads."""


def chart_points(stage: Stage) -> list[dict[str, float | int]]:
    """Planned seconds at each temperature of a steered stage's valid range, with both ends and the reference.

    Each point: `celsius`, `planned_s` (factor included), `sd_s` (one standard deviation, from the rate's uncertainty alone), `stage`.
    """
    law = stage.law
    if law is None:
        return []
    low_c, high_c = law.valid_c
    step_c = _FINE_STEP_C if high_c - low_c <= _FINE_SPAN_C else _COARSE_STEP_C
    grid = (i * step_c for i in range(math.ceil(low_c / step_c), math.floor(high_c / step_c) + 1))
    inside = [stage.reference_c] if low_c <= stage.reference_c <= high_c else []
    return _points(stage, [low_c, high_c, *inside, *grid])


def whole_degrees(stage: Stage) -> range:
    """The whole degrees, in the unit shown, in the range of a steered stage's data."""
    low_c, high_c = (0.0, -1.0) if stage.law is None else stage.law.valid_c
    return range(math.ceil(figure(low_c) - SAME), math.floor(figure(high_c) + SAME) + 1)


def time_grid(stage: Stage) -> tuple[float, dict[int, float]]:
    """For a chart with rows and columns: its step (half a degree, or one of Fahrenheit), and by multiples of it the planned seconds."""
    law, step = stage.law, 0.5 if unit() == "C" else 1.0
    if law is None:
        return step, {}
    low, high = (figure(celsius) / step for celsius in law.valid_c)
    places = range(math.ceil(low - SAME), math.floor(high + SAME) + 1)
    return step, {place: planned_time(law, stage.target_ref_s, celsius_of(place * step)) for place in places}


def _points(stage: Stage, temperatures_c: Sequence[float]) -> list[dict[str, float | int]]:
    law = stage.law
    if law is None:
        return []
    points: list[dict[str, float | int]] = []
    for celsius in sorted({round(c, 6) for c in temperatures_c}):
        planned_s = planned_time(law, stage.target_ref_s, celsius)
        points.append(
            {"celsius": celsius, "planned_s": planned_s, "sd_s": planned_s * abs(law.log_rate_sd_slope(celsius)), "stage": stage.number}
        )
    return points


def read_points(stage: Stage) -> list[dict[str, float | int]]:
    """The points for a person: whole degrees of the unit shown, of Celsius halves near the reference too, both ends of the data and the
    reference."""
    if unit() == "F":
        return _points(stage, [celsius_of(number) for number in whole_degrees(stage)])
    points = chart_points(stage)
    ends = (points[0], points[-1]) if points else ()

    def kept(point: dict[str, float | int]) -> bool:
        celsius = point["celsius"]
        whole = abs(celsius - round(celsius)) <= SAME
        return whole or point in ends or abs(celsius - stage.reference_c) <= HALVES_WITHIN_C + SAME

    return [point for point in points if kept(point)]


def plan_data(recipe: Recipe) -> dict[str, Any]:
    """The plan as one JSON object (contract, section 10). Nothing is rounded."""
    sheets = recipe.sheets
    return {
        "name": recipe.name,
        "film": recipe.film,
        "vessel": recipe.vessel,
        "what": recipe.what,
        "area_units": recipe.area_units,
        "stages": [_stage_data(stage) for stage in recipe.stages],
        "sheets": None if sheets is None else {
            "count": sheets.count, "interval_s": sheets.interval_s, "factors": list(sheets.factors), "exits_s": list(recipe.sheet_exits_s),
        },
        "total_s": recipe.total_s,
        "open_film": list(recipe.open_film),
        "lamp_refused": _lamp_refused(recipe),
        "chart": [chart_points(stage) for stage in recipe.stages if stage.steer],
        "warnings": list(recipe.warnings),
        "cautions": [{"text": caution.text, "source": caution.source} for caution in cautions_for(recipe)],
    }  # fmt: skip


def plan_lines(recipe: Recipe, *, cautions: bool = False) -> Iterator[str]:
    """The plan in words, line by line. `cautions`: also those that are the same each evening."""
    yield recipe.name
    yield f"About {format_duration(recipe.total_s)} in all, each stage at its reference or its minimum{_by_degree(recipe)}."
    yield f"Set out, from the left: {', '.join(f'{place} {what}' for place, what in _set_out(recipe))}."
    yield _light_line(recipe)
    yield ""
    yield f"{recipe.medium.capitalize()}: {_film_words(recipe)}"
    yield ""
    yield f"{recipe.place.capitalize()}s, from the left"
    for place, stages in _jugs(recipe):
        yield f"  {place}  {_jug_words(stages)}"
    yield ""
    yield "Stages"
    for stage in recipe.stages:
        before = recipe.stages[stage.number - 2] if stage.number > 1 else None
        yield from _stage_lines(stage, waits=before is None or before.role == "load")
    if recipe.sheets is not None:
        yield from _sheet_lines(recipe)
    for stage in recipe.stages:
        if stage.has_times_by_temperature:
            yield from _chart_lines(stage)
    yield ""
    yield _lamp_line(recipe)
    if recipe.warnings:
        yield ""
        yield "Careful"
        yield from (f"  {warning}" for warning in recipe.warnings)
    yield ""
    yield from caution_lines(recipe, cautions, _WIDTH)


def caution_lines(recipe: Recipe, everything: bool, width: int) -> Iterator[str]:
    """The cautions of today's dangers, or all of them; how many more there are, and the rule that always comes last."""
    told = [c for c in cautions_for(recipe) if everything or c.id not in HABITUAL]
    more = len(cautions_for(recipe)) - len(told)
    yield "Cautions"
    for caution in told:
        sentence = f"{in_unit_shown(caution.text)} [{caution.source}]"
        yield from wrap(sentence, width, initial_indent="  - ", subsequent_indent="    ", break_on_hyphens=False)
    if more:
        yield f"  {more} more, the same each evening: --cautions"


def _by_degree(recipe: Recipe) -> str:
    """What a degree does to the first steered stage; empty where temperature moves nothing."""
    stage = next((stage for stage in recipe.stages if stage.has_times_by_temperature), None)
    if stage is None or stage.law is None:
        return ""
    told = [
        f"{format_duration(planned_time(stage.law, stage.target_ref_s, celsius))} at {plain(celsius)}"
        for celsius in (stage.reference_c, stage.reference_c - 1.0 / span(1.0), stage.reference_c + 1.0 / span(1.0))
    ]
    return f"; {stage.name} {', '.join(told)}"


def _set_out(recipe: Recipe) -> Iterator[tuple[str, str]]:
    for place, stages in _jugs(recipe):
        what = stages[0].solution or stages[0].name
        yield place, what if stages[0].dilution is None else f"{what} {stages[0].dilution}"


def _lamp_refused(recipe: Recipe) -> str | None:
    return session_refusal(recipe.film, recipe.vessel, tuple(stage.role for stage in recipe.stages), recipe.medium)


def _stage_data(stage: Stage) -> dict[str, Any]:
    return {
        "number": stage.number,
        "name": stage.name,
        "role": stage.role,
        "time_s": stage.time_s,
        "factor": stage.factor,
        "planned_s": stage.target_ref_s,
        "begin_to_end_s": stage.begin_to_end_s,
        "reference_c": stage.reference_c,
        "reference_stated": stage.reference_stated,
        "steered": stage.steer,
        "counted": stage.counted,
        "fill_s": stage.fill_s,
        "drain_s": stage.drain_s,
        "ready_s": stage.ready_s,
        "until": stage.until,
        "at_most_s": stage.at_most_s,
        "valid_c": None if stage.valid_c is None else list(stage.valid_c),
        "band_c": stage.band_c,
        "gate": None if stage.gate is None else {"band_c": stage.gate.band_c, "for_s": stage.gate.for_s},
        "agitation": "continuous" if stage.continuous else [
            {"from_s": burst.from_s, "every_s": burst.every_s, "for_s": burst.for_s} for burst in stage.agitation
        ],
        "solution": stage.solution,
        "jug": stage.jug,
        "dilution": None if stage.dilution is None else str(stage.dilution),
        "volume_ml": stage.volume_ml,
    }  # fmt: skip


def _jugs(recipe: Recipe) -> list[tuple[str, list[Stage]]]:
    """The jugs, in the order in which they are reached for: numbered ones from the left, then the others in order of use."""
    numbered: dict[int, list[Stage]] = {}
    loose: list[tuple[str, list[Stage]]] = []
    for stage in recipe.stages:
        if stage.jug is not None:
            numbered.setdefault(stage.jug, []).append(stage)
        elif stage.role != "load":
            loose.append(("-", [stage]))
    return [(str(jug), numbered[jug]) for jug in sorted(numbered)] + loose


def _jug_words(stages: list[Stage]) -> str:
    """What, how much, how warm, how long. If the recipe gives no temperature, it is near the developer's."""
    first = stages[0]
    what = first.solution or first.name
    words = [what if first.dilution is None else f"{what} {first.dilution}"]
    if first.volume_ml is not None:
        words.append(_volume_words(first))
    elif first.role != "wash":
        words.append("amount: your recipe does not say")
    degrees = plain(first.reference_c)
    band = f" within {plain_difference(first.band_c)}" if first.band_c else ""
    words.append(f"at {degrees}{band}" if first.reference_stated else f"near {degrees}")
    words += [f"{_time_words(stage)} ({stage.name})" if len(stages) > 1 else _time_words(stage) for stage in stages]
    return ", ".join(words)


def _volume_words(stage: Stage) -> str:
    if stage.volume_ml is None:
        return ""
    parts = stage.stock_and_water_ml
    if parts is None:
        return format_volume(stage.volume_ml)
    stock_ml, water_ml = parts
    return f"{format_volume(stage.volume_ml)} ({format_number(stock_ml, 1)} ml stock, {format_number(water_ml, 1)} ml water)"


def _time_words(stage: Stage) -> str:
    pushed = "" if stage.factor == 1 else f" ({format_duration(stage.time_s)} x {format_number(stage.factor)})"
    least = "at least " if stage.until == "at least" else ""
    if stage.appearance_factor is not None:
        return f"first trace x {format_number(stage.appearance_factor)}, limit {format_duration(stage.target_ref_s)}"
    most = "" if stage.at_most_s is None else f", at most {format_duration(stage.at_most_s)}"
    return f"{least}{format_duration(stage.target_ref_s)}{pushed}{most}"


def _film_words(recipe: Recipe) -> str:
    what = f"{recipe.what}; " if recipe.what else ""
    area = f"; area {format_number(recipe.area_units)} x 80 sq in" if recipe.area_units else ""
    sheets = f"; {recipe.sheets.count} sheets one after another" if recipe.sheets else ""
    kind = "" if recipe.film == "paper" else f"{recipe.film}, "
    return f"{what}{kind}in a{'n' if recipe.vessel.startswith('open') else ''} {recipe.vessel}{area}{sheets}"


def _stage_lines(stage: Stage, waits: bool) -> Iterator[str]:
    """`waits`: for a press of its own; only such a stage is held back by its gate (contract 5)."""
    if stage.role == "load":
        yield f"  {stage.number}. {stage.name}: dark and silent, no clock; your press ends it."
        return
    yield f"  {stage.number}. {stage.name}: {_time_words(stage)}{_at_words(stage)}. {_end_words(stage)}"
    if stage.counted == "full to empty":
        yield f"     Counted from full ({format_duration(stage.fill_s)} after the begin) to NOW; the drain comes after it."
    if stage.gate is not None:
        band = f"{plain_difference(stage.gate.band_c)} of {plain(stage.reference_c)}"
        near = f"until the developer has been within {band} for {format_duration(stage.gate.for_s)}"
        yield f"     The start waits {near}." if waits else f"     Do not begin {near}: nothing else holds it back."
    yield f"     {_agitation_words(stage)}"


def _at_words(stage: Stage) -> str:
    return f" at {plain(stage.reference_c)}" if stage.law is not None or stage.role == "develop" else ""


def _end_words(stage: Stage) -> str:
    if stage.until == "at least":
        return "READY sounds once at the minimum; your tap ends it."
    if stage.appearance_factor is not None:
        times = f"{format_number(stage.appearance_factor)} times that"
        drain = format_duration(stage.drain_s)
        return f"Tap when the first trace appears: it is done at {times}, NOW {drain} before. Without the tap the limit rules."
    moves = "Temperature moves its end." if stage.steer else "Temperature does not move its end."
    room_s = stage.begin_to_end_s - stage.drain_s - stage.ready_s
    ready = f"READY {format_duration(stage.ready_s)} before NOW, " if room_s >= READY_AFTER_BEGIN_LEAST_S else "No READY, it is too short; "
    return f"{moves} {ready}NOW {format_duration(stage.drain_s)} before the end."


def _agitation_words(stage: Stage) -> str:
    if stage.continuous:
        return "Agitation: all the time."
    if not stage.agitation:
        return "Agitation: none."
    bursts = [
        f"{format_duration(b.for_s)} from {format_duration(b.from_s)}" if b.from_s is not None
        else f"{format_duration(b.for_s)} every {format_duration(b.every_s or 0)}"
        for b in stage.agitation
    ]  # fmt: skip
    dropped = f"; none in the last {format_duration(QUIET_S)} before NOW" if stage.until == "time" else ""
    return f"Agitation: {', '.join(bursts)}{dropped}."


def _sheet_lines(recipe: Recipe) -> Iterator[str]:
    sheets = recipe.sheets
    if sheets is None:
        return
    stage = next(stage for stage in recipe.stages if stage.role == "develop")
    yield ""
    yield f"Sheets: {sheets.count}, one in each {format_duration(sheets.interval_s)}, out of {stage.name} as planned at the reference"
    for number, (factor, exit_s) in enumerate(zip(sheets.factors, recipe.sheet_exits_s, strict=True), start=1):
        own = "" if factor == 1 else f"  (x {format_number(factor)})"
        yield f"  sheet {number}  in {format_duration((number - 1) * sheets.interval_s)}  out {format_duration(exit_s)}{own}"


def _chart_lines(stage: Stage) -> Iterator[str]:
    yield ""
    yield f"{stage.name}, if it stayed at one temperature; +/- is {TWO_SD} of its rate"
    for point in read_points(stage):
        mark = "  <- reference" if abs(point["celsius"] - stage.reference_c) <= SAME else ""
        spread = f" +/- {format_duration(two_sd(point['sd_s']))}" if two_sd(point["sd_s"]) >= 0.5 else ""
        yield f"  {plain(point['celsius'], 2):>7}  {format_duration(point['planned_s']):>7}{spread}{mark}"
    if stage.valid_c is not None:
        low_c, high_c = stage.valid_c
        yield f"  Outside {plain(low_c)} to {plain(high_c)} the rate goes on, three times as uncertain (outside data)."


def _light_line(recipe: Recipe) -> str:
    if recipe.open_film:
        stages = ", ".join(f"{n} ({recipe.stages[n - 1].name})" for n in recipe.open_film)
        if recipe.film == "paper":
            return f"Light: paper is bare during stage {stages}: your tested safelight alone, no screen, no phone."
        return f"Light: {recipe.medium} is bare during stage {stages}: no lamp of any colour, no screen, no phone."
    return f"Light: no stage leaves {recipe.medium} bare, as long as the lid stays on."


def _lamp_line(recipe: Recipe) -> str:
    refused = _lamp_refused(recipe)
    if refused is None:
        return "The tool's lamp stays dark unless you ask for it with --lamp, for that session alone."
    return f"The tool's lamp cannot be asked for: {refused}."
