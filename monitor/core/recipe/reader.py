"""Reads recipes: TOML to frozen values. Everything that it does not understand is refused.

The format is the project's contract, section 2. `load_recipe` takes the file's bytes and its name (for messages); all
problems are raised together as one `FileWrong`. Tests: tests/core/recipe/test_reader.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import pairwise
from typing import Any, get_args

from monitor.core.development.rate import BOUND_C, Arrhenius, Coefficient, Pairs, RateLaw
from monitor.core.recipe.kinds import AT_LEAST_ROLES, Counted, Film, StageRole, Until, VesselKind
from monitor.core.recipe.values import SAME, Burst, Gate, Recipe, Sheets, Stage, planned_exits
from monitor.core.recipe.warnings import warnings
from monitor.core.text.quantities import (
    Dilution,
    QuantityWrong,
    format_duration,
    format_number,
    format_volume,
    read_dilution,
    read_duration,
    read_temperature,
    read_volume,
    shown,
)
from monitor.core.text.toml_table import Document, Table, parse


def load_recipe(text: bytes, file: str) -> Recipe:
    """Read a recipe. Raises `FileWrong` with every problem, each with file, line, what is wrong and what is allowed."""
    return _read(parse(text, file))


def recipe_from_data(data: Mapping[str, Any]) -> Recipe:
    """A recipe from `Recipe.data`, as it stands in a journal's `session` record. Raises `FileWrong` (all lines are 0)."""
    return _read(Document(data, None, "recipe in the journal"))


# Bounds and defaults. Where a number is not the contract's, it says where it comes from.

LONGEST_STAGE_S = 24 * 3600.0
DEFAULT_REFERENCE_C, REFERENCE_RANGE_C = 20.0, (5.0, 50.0)
ENERGY_RANGE_KJ_MOL, PER_10_C_RANGE = (10.0, 200.0), (1.0, 6.0)
VALID_HALF_WIDTH_C = 4.0
DRAIN_S, SHEET_DRAIN_S = 10.0, 5.0
READY_S, READY_RANGE_S = 30.0, (15.0, 60.0)
APPEARANCE_RANGE = (1.5, 60.0)
"""Factors from appearance in old texts: about 5 for pyro, 14 for metol-hydroquinone, 30 for metol."""
EXIT_GAP_S = 3.0
"""Planned exits of sheets are at least the drain plus this apart."""
SD_ENERGY_KJ_MOL = 8.7
"""Used if the recipe gives none: published black-and-white tables lie between 50 and 80 kJ/mol, a uniform spread of 30/sqrt(12)."""
SD_PER_10_C = 0.3
"""The same spread per 10 C: 65 kJ/mol is 2.48 per 10 C, and 2.48 x ln 2.48 x 8.7/65 = 0.30."""
SD_PERCENT_PER_C = 0.5
"""Published tables deviate from one line by 2 to 5 per cent rms over 10 C, which is about half a per cent per C."""
REFERENCE_SAYS = '"5 C" to "50 C"'
TIME_SAYS = '"0:01" to "24:00:00"'
TEMPERATURE_SAYS = '"0 C" to "60 C"'
_STAGES = "one [[stage]] table for each stage"


def _read(document: Document) -> Recipe:
    root = document.root()
    root.whole("schema", 1, 1, "1, the only schema there is", required=True)
    name = root.text("name", required=True)
    film = root.choice("film", get_args(Film), required=True)
    vessel = root.choice("vessel", get_args(VesselKind), required=True)
    contents = root.table("contents", "[contents]")
    what = area = cover_ml = None
    if contents is not None:
        what = contents.text("what")
        area = contents.number("area_units", 0, 1000, "above 0, at most 1000 units of 80 sq in", above=True)
        cover_ml = contents.quantity("cover", read_volume, 1.0, 1e6, '"1 ml" to "1000 l"')
        contents.finish()
    tables = list(root.tables("stage", "[[stage]]", required=True))
    if "stage" in root and root.raw("stage") == []:
        root.wrong("stage", "stage is empty", _STAGES)
    sheets_table = root.table("sheets", "[sheets]")
    root.finish()
    readers = [_StageReader(table, i + 1, film, vessel, sheets_table is not None) for i, table in enumerate(tables)]
    stages = [stage for stage in (reader.read() for reader in readers) if stage is not None]
    sheets = _read_sheets(sheets_table, stages, readers) if sheets_table is not None else None
    if cover_ml is not None:
        _check_cover(stages, readers, cover_ml)
    document.raise_problems()
    if name is None or film is None or vessel is None:
        raise AssertionError("a missing value was not written down")
    recipe = Recipe(name, film, vessel, _with_references(tuple(stages)), sheets, what, area, document.data, cover_ml=cover_ml)
    return replace(recipe, warnings=tuple(warnings(recipe)))


class _StageReader:
    """Reads one `[[stage]]`: its keys first, then how they fit together. Problems go into the document."""

    def __init__(self, table: Table, number: int, film: str | None, vessel: str | None, sheets: bool) -> None:
        self.table = table
        self.number = number
        self._film, self._vessel = film, vessel
        self._default_drain_s = SHEET_DRAIN_S if sheets else DRAIN_S
        self._sheets = sheets

    def read(self) -> Stage | None:
        """The stage, or None if something in it is wrong."""
        table = self.table
        name = table.text("name", required=True)
        role = table.choice("role", get_args(StageRole), required=True)
        time_s = self._time(role)
        counted: Counted = table.choice("counted", get_args(Counted)) or "pour to pour"
        fill_s = self._fill(counted)
        reference_c = table.temperature("reference", *REFERENCE_RANGE_C, REFERENCE_SAYS, required=self._needs_reference())
        valid_c = self._valid()
        law = self._law(reference_c, time_s, valid_c)
        steer = self._steer(role)
        factor = table.number("factor", 0, 3, "above 0, at most 3", above=True)
        until = self._until(role)
        planned_s = None if time_s is None else time_s * (1.0 if factor is None else factor)
        at_most_s = self._at_most(until, planned_s)
        drain_s, ready_s = self._drain_and_ready(role, until, planned_s)
        appearance = self._appearance(role, counted, until)
        continuous, agitation = self._agitation(until, planned_s)
        tempered, in_hand = self._handling(role, bool(agitation))
        band_c = table.difference("band", 0.01, 20.0, '"0.01 C" to "20 C"')
        gate = self._gate(role)
        solution = table.text("solution")
        jug = table.whole("jug", 1, 20, "1 to 20, counted from the left")
        dilution = self._dilution()
        volume_ml = table.quantity("volume", read_volume, 1.0, 1e6, '"1 ml" to "1000 l"')
        table.finish()
        if name is None or role is None or time_s is None or drain_s is None or ready_s is None:
            return None
        reference = DEFAULT_REFERENCE_C if reference_c is None else reference_c
        return Stage(
            number=self.number, line=table.document.line(table.path), name=name, role=role, time_s=time_s, counted=counted,
            fill_s=fill_s, reference_c=reference, steer=steer, law=law, valid_c=law.valid_c if law is not None else None,
            drain_s=drain_s, ready_s=ready_s, agitation=agitation, continuous=continuous, band_c=band_c, gate=gate,
            factor=1.0 if factor is None else factor, solution=solution, jug=jug, until=until, at_most_s=at_most_s,
            dilution=dilution, volume_ml=volume_ml, reference_stated="reference" in table,
            appearance_factor=appearance, tempered=tempered, in_hand=in_hand,
        )  # fmt: skip

    def _time(self, role: str | None) -> float | None:
        if role != "load":
            return self.table.duration("time", 1.0, LONGEST_STAGE_S, TIME_SAYS, required=True)
        if "time" not in self.table:
            self.table.raw("time")
            return 0.0
        return self.table.duration("time", 0.0, LONGEST_STAGE_S, '"0:00" to "24:00:00"')

    def _fill(self, counted: str) -> float:
        full = counted == "full to empty"
        fill_s = self.table.duration("fill", 0.0, 600.0, '"0:00" to "10:00"', required=full)
        if "fill" in self.table and not full:
            self.table.wrong("fill", 'fill without counted = "full to empty"', 'fill only with counted = "full to empty"')
        return fill_s or 0.0

    def _needs_reference(self) -> bool:
        return any(key in self.table for key in ("rate", "gate", "band"))

    def _valid(self) -> tuple[float, float] | None:
        value = self.table.raw("valid")
        if value is None:
            return None
        says = 'two temperatures, the lower first, such as ["18 C", "24 C"]'
        if not isinstance(value, list) or len(value) != 2:
            self.table.wrong("valid", f"valid: {shown(value)} is not a pair of temperatures", says)
            return None
        try:
            low_c, high_c = read_temperature(value[0]), read_temperature(value[1])
        except QuantityWrong as wrong:
            self.table.wrong("valid", f"valid: {wrong.what}", wrong.allowed.removeprefix("allowed: "))
            return None
        if not BOUND_C[0] <= low_c < high_c <= BOUND_C[1]:
            self.table.wrong("valid", "valid: the range is empty, reversed or beyond 0 C to 60 C", says)
            return None
        return low_c, high_c

    def _law(self, reference_c: float | None, time_s: float | None, valid_c: tuple[float, float] | None) -> RateLaw | None:
        table = self.table.table("rate", "rate")
        if table is None:
            return None
        kind = table.choice("law", ("coefficient", "arrhenius", "pairs"), required=True)
        reference = DEFAULT_REFERENCE_C if reference_c is None else reference_c
        around = valid_c or (max(BOUND_C[0], reference - VALID_HALF_WIDTH_C), min(BOUND_C[1], reference + VALID_HALF_WIDTH_C))
        if kind == "coefficient":
            per_10_c = table.number("per_10_c", *PER_10_C_RANGE, "1.0 to 6.0", required=True)
            sd = table.number("sd", 0.0, 3.0, "0 to 3, in the unit of per_10_c")
            table.finish()
            return None if per_10_c is None else Coefficient(reference, per_10_c, SD_PER_10_C if sd is None else sd, around)
        if kind == "arrhenius":
            energy = table.number("activation_energy_kj_mol", *ENERGY_RANGE_KJ_MOL, "10 to 200 kJ/mol", required=True)
            sd = table.number("sd", 0.0, 100.0, "0 to 100 kJ/mol")
            table.finish()
            return None if energy is None else Arrhenius(reference, energy, SD_ENERGY_KJ_MOL if sd is None else sd, around)
        if kind == "pairs":
            sd = table.number("sd_percent_per_c", 0.0, 20.0, "0 to 20 per cent per C")
            pairs = self._pairs(table, reference_c, time_s)
            table.finish()
            if pairs is not None:
                return Pairs(reference, pairs, SD_PERCENT_PER_C if sd is None else sd, valid_c or (pairs[0][0], pairs[-1][0]))
        return None

    def _pairs(self, table: Table, reference_c: float | None, time_s: float | None) -> tuple[tuple[float, float], ...] | None:
        says = 'two or more pairs, such as [["18 C", "12:10"], ["20 C", "10:00"]]'
        value = table.raw("pairs", required=True)
        if value is None:
            return None
        if not isinstance(value, list) or len(value) < 2:
            table.wrong("pairs", "pairs: fewer than two pairs of temperature and time", says)
            return None
        pairs: list[tuple[float, float]] = []
        for i, item in enumerate(value):
            path = (*table.path, "pairs", i)
            if not isinstance(item, list) or len(item) != 2:
                table.document.problem(path, f"pair {i + 1}: {shown(item)} is not a temperature and a time", says)
                continue
            try:
                celsius, seconds = read_temperature(item[0]), read_duration(item[1])
            except QuantityWrong as wrong:
                table.document.problem(path, f"pair {i + 1}: {wrong.what}", wrong.allowed.removeprefix("allowed: "))
                continue
            if not (BOUND_C[0] <= celsius <= BOUND_C[1] and 1.0 <= seconds <= LONGEST_STAGE_S):
                table.document.problem(path, f"pair {i + 1} is out of range", f'{TEMPERATURE_SAYS} and {TIME_SAYS}')
                continue
            pairs.append((celsius, seconds))
        if len(pairs) < len(value) or not self._pairs_in_order(table, pairs):
            return None
        if reference_c is not None and time_s is not None and not self._pair_at_reference(table, pairs, reference_c, time_s):
            return None
        return tuple(pairs)

    def _pairs_in_order(self, table: Table, pairs: list[tuple[float, float]]) -> bool:
        sound = True
        for i in range(1, len(pairs)):
            (before_c, before_s), (celsius, seconds) = pairs[i - 1], pairs[i]
            path = (*table.path, "pairs", i)
            if celsius <= before_c + SAME:
                what = "appears twice" if celsius >= before_c - SAME else "is out of order"
                allowed = "each temperature once, the coldest first"
                table.document.problem(path, f"pair {i + 1}: the temperature {format_number(celsius)} C {what}", allowed)
                sound = False
            elif seconds > before_s:
                what = f"pair {i + 1}: the time grows with temperature, {format_duration(before_s)} to {format_duration(seconds)}"
                table.document.problem(path, what, "times that fall, or stay, as it gets warmer")
                sound = False
        return sound

    def _pair_at_reference(self, table: Table, pairs: list[tuple[float, float]], reference_c: float, time_s: float) -> bool:
        at = [(i, seconds) for i, (celsius, seconds) in enumerate(pairs) if abs(celsius - reference_c) <= SAME]
        pair = f'["{format_number(reference_c)} C", "{format_duration(time_s)}"]'
        if not at:
            table.wrong("pairs", f"pairs: none of them is at the reference, {format_number(reference_c)} C", f"pairs that include {pair}")
            return False
        if abs(at[0][1] - time_s) > SAME:
            what = f"pair {at[0][0] + 1}: {format_duration(at[0][1])} at the reference, but time is {format_duration(time_s)}"
            table.document.problem((*table.path, "pairs", at[0][0]), what, f"{pair}, or the same in time")
            return False
        return True

    def _steer(self, role: str | None) -> bool:
        steer = self.table.flag("steer")
        if steer is None:
            return role == "develop" and "rate" in self.table and self._film != "colour"
        if steer and self._film == "colour":
            reason = "the layers of colour film do not follow one rate, so temperature may not move its time"
            allowed = "steer = false, with a gate and a band to hold the temperature"
            self.table.wrong("steer", f"steer = true for colour film: {reason}", allowed)
        elif steer and "rate" not in self.table:
            self.table.wrong("steer", "steer = true without a rate", "a rate in this stage, or steer = false")
        return steer

    def _until(self, role: str | None) -> Until:
        until = self.table.choice("until", get_args(Until))
        if until == "time" and role == "load":
            self.table.wrong("until", 'until = "time" for loading', '"at least": a press of the person ends the loading')
        return until or ("at least" if role in AT_LEAST_ROLES else "time")

    def _at_most(self, until: str, planned_s: float | None) -> float | None:
        at_most_s = self.table.duration("at_most", 1.0, LONGEST_STAGE_S, TIME_SAYS)
        if "at_most" not in self.table:
            return None
        if until != "at least":
            self.table.wrong("at_most", 'at_most in a stage that ends by time', 'at_most only with until = "at least"')
        elif at_most_s is not None and planned_s is not None and at_most_s <= planned_s:
            what = f"at_most: {format_duration(at_most_s)} is not longer than the stage"
            self.table.wrong("at_most", what, f'more than "{format_duration(planned_s)}"')
        return at_most_s

    def _drain_and_ready(self, role: str | None, until: str, planned_s: float | None) -> tuple[float | None, float | None]:
        """Drain and READY with their defaults; None for a wrong one. A stage too short for its READY simply has none."""
        table = self.table
        drain_s = table.duration("drain", 0.0, 600.0, '"0:00" to "10:00"')
        ready_s = table.duration("ready", *READY_RANGE_S, '"0:15" to "1:00"')
        drain = self._default_drain_s if "drain" not in table and role != "load" else drain_s or 0.0
        ready = READY_S if ready_s is None else ready_s
        if planned_s is not None and role != "load" and drain >= planned_s and ("drain" in table or until == "time"):
            stated = "" if "drain" in table else " (the default)"
            what = f"drain{stated} {format_duration(drain)} is not shorter than the stage, {format_duration(planned_s)}"
            table.wrong("drain" if "drain" in table else "time", what, f'a drain under "{format_duration(planned_s)}"')
        return (None if "drain" in table and drain_s is None else drain), ready

    def _appearance(self, role: str | None, counted: str, until: str) -> float | None:
        """By how much the first trace's time is multiplied; None where the stage's own time rules."""
        factor = self.table.number("appearance_factor", *APPEARANCE_RANGE, "1.5 to 60")
        if "appearance_factor" in self.table:
            if self._sheets or role not in (None, "develop") or until != "time" or counted != "pour to pour":
                what = "appearance_factor where no single print is looked at"
                self.table.wrong("appearance_factor", what, 'a timed develop stage, counted "pour to pour", without [sheets]')
            elif self._film == "colour":
                self.table.wrong("appearance_factor", "appearance_factor for colour: nothing is seen in the dark", "its own time")
        return factor

    def _agitation(self, until: str, planned_s: float | None) -> tuple[bool, tuple[Burst, ...]]:
        value = self.table.raw("agitation")
        if value is None or value == "continuous":
            return value is not None, ()
        if not isinstance(value, list):
            says = '"continuous", or a list such as [{ from = "0:00", for = "0:30" }, { every = "1:00", for = "0:10" }]'
            self.table.wrong("agitation", f"agitation: {shown(value)} is not a known value", says)
            return False, ()
        bursts = [self._burst(table, until, planned_s) for table in self.table.tables("agitation", "agitation")]
        return False, tuple(burst for burst in bursts if burst is not None)

    def _handling(self, role: str | None, moved: bool) -> tuple[bool | None, bool]:
        """Whether the empty vessel is tempered, and whether it is moved in the hands."""
        tempered, in_hand = self.table.flag("tempered"), self.table.flag("in_hand")
        for key in ("tempered", "in_hand"):
            if key in self.table and (role not in (None, "develop") or self._vessel not in (None, "lidded tank")):
                self.table.wrong(key, f"{key} in a stage that develops in no lidded tank", "a develop stage in a lidded tank")
        if in_hand and not moved:
            allowed = 'a list in agitation, such as [{ every = "1:00", for = "0:10" }]'
            self.table.wrong("in_hand", "in_hand = true without movements", allowed)
        return tempered, bool(in_hand)

    def _burst(self, table: Table, until: str, planned_s: float | None) -> Burst | None:
        from_s = table.duration("from", 0.0, LONGEST_STAGE_S, '"0:00" to "24:00:00"')
        every_s = table.duration("every", 1.0, LONGEST_STAGE_S, TIME_SAYS)
        for_s = table.duration("for", 1.0, LONGEST_STAGE_S, TIME_SAYS, required=True)
        if ("from" in table) == ("every" in table):
            allowed = '{ from = "0:00", for = "0:30" } or { every = "1:00", for = "0:10" }'
            table.document.problem(table.path, f"{table.name} needs one of from and every", allowed)
        elif every_s is not None and for_s is not None and for_s > every_s:
            what = f"for: {format_duration(for_s)} is longer than every, {format_duration(every_s)}"
            table.wrong("for", what, 'at most the time of every, or "continuous"')
        elif from_s is not None and planned_s is not None and until == "time" and from_s >= planned_s:
            table.wrong("from", f"from: {format_duration(from_s)} is after the stage's end", f'before "{format_duration(planned_s)}"')
        table.finish()
        return None if for_s is None else Burst(from_s, every_s, for_s)

    def _gate(self, role: str | None) -> Gate | None:
        table = self.table.table("gate", "gate")
        if table is None:
            return None
        band_c = table.difference("band", 0.01, 5.0, '"0.01 C" to "5 C"', required=True)
        for_s = table.duration("for", 1.0, 1800.0, '"0:01" to "30:00"', required=True)
        table.finish()
        if role is not None and role != "develop":
            self.table.wrong("gate", f'gate in a stage of role "{role}"', "a gate before a develop stage only")
        return Gate(band_c, for_s) if band_c is not None and for_s is not None else None

    def _dilution(self) -> Dilution | None:
        value = self.table.raw("dilution")
        if value is None:
            return None
        try:
            return read_dilution(value)
        except QuantityWrong as wrong:
            self.table.wrong("dilution", f"dilution: {wrong.what}", wrong.allowed.removeprefix("allowed: "))
            return None


def _check_cover(stages: list[Stage], readers: list[_StageReader], cover_ml: float) -> None:
    """Report every bath that would leave part of the film dry."""
    tables = {reader.number: reader.table for reader in readers}
    for stage in stages:
        if stage.volume_ml is not None and stage.volume_ml < cover_ml:
            what = f"volume: {format_volume(stage.volume_ml)} does not cover the film"
            tables[stage.number].wrong("volume", what, f'"{format_volume(cover_ml)}" or more, as cover in [contents] says')


def _read_sheets(table: Table, stages: list[Stage], readers: list[_StageReader]) -> Sheets | None:
    count = table.whole("count", 1, 100, "1 to 100", required=True)
    interval_s = table.duration("interval", 1.0, 3600.0, '"0:01" to "1:00:00"', required=True)
    factors = _factors(table, count)
    table.finish()
    developing = [r for r in readers if r.table.raw("role") == "develop"]
    if len(developing) != 1:
        table.document.problem(table.path, f"sheets with {len(developing)} develop stages", "exactly one develop stage with [sheets]")
        return None
    stage = next((s for s in stages if s.number == developing[0].number), None)
    if count is None or interval_s is None or factors is None:
        return None
    sheets = Sheets(count, interval_s, factors)
    if stage is not None:
        _check_exits(table, stage, sheets)
    return sheets


def _factors(table: Table, count: int | None) -> tuple[float, ...] | None:
    value = table.raw("factors")
    if value is None:
        return None if count is None else (1.0,) * count
    if not isinstance(value, list):
        table.wrong("factors", f"factors: {shown(value)} is not a list", "a list of numbers, one a sheet")
        return None
    sound = True
    for i, factor in enumerate(value):
        if isinstance(factor, bool) or not isinstance(factor, (int, float)) or not 0 < factor <= 3:
            table.document.problem((*table.path, "factors", i), f"factors: {shown(factor)} is not a factor", "numbers above 0, at most 3")
            sound = False
    if count is not None and len(value) != count:
        table.wrong("factors", f"factors: {len(value)} for {count} sheets", f"{count} factors, one a sheet")
        sound = False
    return tuple(float(factor) for factor in value) if sound else None


def _check_exits(table: Table, stage: Stage, sheets: Sheets) -> None:
    """Report planned exits that are too close together, and a sheet whose time is no longer than the drain."""
    exits = sorted((exit_s, i) for i, exit_s in enumerate(planned_exits(stage.target_ref_s, sheets)))
    least_s = stage.drain_s + EXIT_GAP_S
    key = "factors" if "factors" in table and len(set(sheets.factors)) > 1 else "interval"
    for (first_s, first), (second_s, second) in pairwise(exits):
        if second_s - first_s < least_s - SAME:
            apart = format_duration(second_s - first_s, 1)
            at = f"{format_duration(first_s)} and {format_duration(second_s)}"
            what = f"sheets {first + 1} and {second + 1} would leave {apart} apart, at {at}"
            table.wrong(key, what, f"exits at least {format_duration(least_s, 1)} apart (drain and 3 s)")
    shortest_s = stage.target_ref_s * min(sheets.factors)
    if stage.drain_s >= shortest_s and stage.drain_s < stage.target_ref_s:
        what = f"factors: the shortest sheet, {format_duration(shortest_s)}, is not longer than the drain, {format_duration(stage.drain_s)}"
        table.wrong("factors", what, "factors that leave each sheet longer than the drain")


def _with_references(stages: tuple[Stage, ...]) -> tuple[Stage, ...]:
    """Stages without a reference of their own take the develop stage's, else the first one stated, else 20 C."""
    given = [s for s in stages if s.reference_stated]
    donor = next((s for s in given if s.role == "develop"), given[0] if given else None)
    if donor is None:
        return stages
    return tuple(s if s.reference_stated else replace(s, reference_c=donor.reference_c) for s in stages)
