"""Stores what was learned in STATE/learned: one JSON object per line, only ever appended to. The newest of each name counts; of lags
the newest that a person measured or adopted goes before what sessions have told.

Decides the file format; monitor.prepare.state.kept_lines makes it safe against two shells and power cuts. A damaged line
before the last is refused with file and line: a guessed calibration is worse than none. What is believed of it is for
monitor.core.probes.learned to decide. Tests: tests/prepare/probes/test_learned_store.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, replace
from datetime import date
from pathlib import Path
from typing import Any, Literal, TypeVar

from monitor.core.errors import FileWrong, Problem
from monitor.core.probes.learned import Comparison, ComparisonPoint, Coupled, Learned, ProbeLag, VesselLag, WitnessCheck
from monitor.prepare.state.folder import LEARNED
from monitor.prepare.state.kept_lines import ALLOWED, read_lines, writing

Value = TypeVar("Value")

COMPARISONS, PROBE_LAGS, VESSEL_LAGS = "comparisons.jsonl", "probe_lags.jsonl", "vessel_lags.jsonl"
WITNESS_CHECKS = "witness_checks.jsonl"


def load_learned(state: Path) -> Learned:
    """Everything learned in a state folder; empty if there is nothing. Raises `FileWrong` for a damaged line."""
    comparisons: dict[str, Comparison] = {}
    probe_lags: dict[str, ProbeLag] = {}
    vessel_lags: dict[str, VesselLag] = {}
    witness_checks: dict[str, WitnessCheck] = {}
    found_lags: dict[str, ProbeLag] = {}
    found_vessels: dict[str, VesselLag] = {}
    for comparison in _rows(state, COMPARISONS, _comparison):
        for key in _keys(comparison.probe, comparison.id):
            comparisons[key] = comparison
    for probe_lag in _rows(state, PROBE_LAGS, _probe_lag):
        keys = _keys(probe_lag.probe, probe_lag.id)
        if probe_lag.by_person:
            found_lags = {k: lag for k, lag in found_lags.items() if not {lag.probe, lag.id} & set(keys)}
        if probe_lag.by_person and probe_lag.id is None:  # a dip in a journal knows no number: it is newer than what has one
            probe_lags = {k: lag for k, lag in probe_lags.items() if lag.probe != probe_lag.probe}
        (probe_lags if probe_lag.by_person else found_lags).update(dict.fromkeys(keys, probe_lag))
    for vessel_lag in _rows(state, VESSEL_LAGS, _vessel_lag):
        if vessel_lag.by_person and vessel_lag.learn_again is None:
            found_vessels.pop(vessel_lag.vessel, None)
        (vessel_lags if vessel_lag.by_person else found_vessels)[vessel_lag.vessel] = vessel_lag
    for check in _rows(state, WITNESS_CHECKS, _witness_check):
        for key in _keys(check.probe, check.id):
            witness_checks[key] = check
    return Learned(comparisons, probe_lags, vessel_lags, witness_checks, found_lags, found_vessels)


def save_comparison(state: Path, comparison: Comparison) -> None:
    """Append one comparison. Raises `InputWrong` if the folder cannot be written."""
    _append(state, COMPARISONS, asdict(comparison))


def save_probe_lag(state: Path, lag: ProbeLag) -> None:
    """Append one probe's lag. Raises `InputWrong` if the folder cannot be written."""
    _append(state, PROBE_LAGS, asdict(lag))


def save_vessel_lag(state: Path, lag: VesselLag) -> None:
    """Append one vessel's lag. Raises `InputWrong` if the folder cannot be written."""
    _append(state, VESSEL_LAGS, asdict(lag))


def save_lag(state: Path, lag: ProbeLag | VesselLag) -> None:
    """Append one lag of either kind. Raises `KeptWrong` if the folder cannot be written."""
    (save_probe_lag(state, lag) if isinstance(lag, ProbeLag) else save_vessel_lag(state, lag))


def save_witness_check(state: Path, check: WitnessCheck) -> None:
    """Append one check of a witness. Raises `InputWrong` if the folder cannot be written."""
    _append(state, WITNESS_CHECKS, asdict(check))


def mark_learn_again(state: Path, vessel: str, why: str) -> None:
    """Record that a vessel's lag failed its check. Does nothing for a vessel without a lag."""
    lag = load_learned(state).vessel_lag(vessel)
    if lag is not None:
        save_vessel_lag(state, replace(lag, learn_again=why))


def _keys(name: str, number: str | None) -> list[str]:
    return [name] if number is None else [name, number]


def _comparison(row: Mapping[str, Any]) -> Comparison:
    points = tuple(_point(point) for point in row["points"])
    if not points:
        raise ValueError("no points")
    return Comparison(
        probe=_text(row, "probe"),
        id=_maybe_text(row, "id"),
        at_c=_number(row, "at_c"),
        offset_c=_number(row, "offset_c"),
        slope_per_c=_number(row, "slope_per_c"),
        sd_offset_c=_number(row, "sd_offset_c"),
        sd_slope_per_c=_number(row, "sd_slope_per_c"),
        reference=_text(row, "reference"),
        reference_sd_c=_number(row, "reference_sd_c"),
        who=_text(row, "who"),
        date=_day(row),
        points=points,
    )


def _point(row: Mapping[str, Any]) -> ComparisonPoint:
    own_sd_c = None if row.get("reference_sd_c") is None else _number(row, "reference_sd_c")
    return ComparisonPoint(
        _number(row, "reference_c"), _number(row, "offset_c"), _number(row, "sd_c"), _maybe_text(row, "reference"), own_sd_c
    )


def _probe_lag(row: Mapping[str, Any]) -> ProbeLag:
    return ProbeLag(
        _text(row, "probe"), _maybe_text(row, "id"), _positive(row, "lag_s"), _number(row, "sd_s"), _day(row),
        _maybe_text(row, "session"), row.get("adopted") is True,
    )  # fmt: skip


def _witness_check(row: Mapping[str, Any]) -> WitnessCheck:
    return WitnessCheck(_text(row, "probe"), _maybe_text(row, "id"), _number(row, "difference_c"), _day(row))


def _vessel_lag(row: Mapping[str, Any]) -> VesselLag:
    return VesselLag(
        vessel=_text(row, "vessel"),
        lag_s=_positive(row, "lag_s"),
        sd_s=_number(row, "sd_s"),
        coupled_to=_coupled(row["coupled_to"]),
        date=_day(row),
        volume_ml=None if row.get("volume_ml") is None else _number(row, "volume_ml"),
        agitation=_maybe_text(row, "agitation"),
        learn_again=_maybe_text(row, "learn_again"),
        session=_maybe_text(row, "session"),
        adopted=row.get("adopted") is True,
    )


def _coupled(value: object) -> Coupled:
    words: tuple[Literal["bath"], Literal["room"]] = ("bath", "room")
    for word in words:
        if value == word:
            return word
    raise ValueError("coupled_to is neither bath nor room")


def _number(row: Mapping[str, Any], key: str) -> float:
    value = row[key]
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise ValueError(f"{key} is not a number")
    return float(value)


def _positive(row: Mapping[str, Any], key: str) -> float:
    value = _number(row, key)
    if value <= 0.0:
        raise ValueError(f"{key} is not above 0")
    return value


def _text(row: Mapping[str, Any], key: str) -> str:
    value = row[key]
    if not isinstance(value, str):
        raise ValueError(f"{key} is not text")
    return value


def _maybe_text(row: Mapping[str, Any], key: str) -> str | None:
    return None if row.get(key) is None else _text(row, key)


def _day(row: Mapping[str, Any]) -> str:
    return date.fromisoformat(_text(row, "date")).isoformat()


def _rows(state: Path, name: str, read: Callable[[Mapping[str, Any]], Value]) -> Iterator[Value]:
    """Every value of one file, oldest first."""
    path = state / LEARNED / name
    for row in read_lines(path).rows:
        try:
            yield read(row.data)
        except (ValueError, KeyError, TypeError, AttributeError) as wrong:
            what = f"no {wrong}" if isinstance(wrong, KeyError) else str(wrong)
            raise FileWrong([Problem(str(path), row.line, f"a damaged line ({what[:80]})", ALLOWED)]) from None


def _append(state: Path, name: str, row: Mapping[str, Any]) -> None:
    with writing(state / LEARNED / name) as file:
        file.append(row)
