"""Numbers for other programs: JSON objects, CSV and Parquet with the unit in every name, nothing rounded.

Tests: tests/cli/test_review.py.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from monitor.core.text.controls import FORMULA_SIGNS, INSTEAD, one_line
from monitor.review.numbers import SessionMeasures

Columns = Mapping[str, Sequence[Any]]


def as_json(numbers: SessionMeasures) -> dict[str, Any]:
    """One session as plain values for JSON; what is not known is null, never NaN."""
    plain: dict[str, Any] = _plain(asdict(numbers))
    return plain


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(v) for v in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if value is None or isinstance(value, (str, bool, int, float)):
        return value
    if hasattr(value, "item"):
        return _plain(value.item())
    return str(value)


def rows_as_columns(rows: Sequence[Mapping[str, Any]]) -> dict[str, list[Any]]:
    """A table by columns from a table by rows; a missing cell is None."""
    names = dict.fromkeys(name for row in rows for name in row)
    return {name: [row.get(name) for row in rows] for name in names}


def write_csv(columns: Columns, path: Path) -> None:
    """Comma separated, UTF-8, header row, decimal point; None and NaN are empty cells."""
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(columns)
        for row in zip(*columns.values(), strict=True):
            writer.writerow([_cell(v) for v in row])


def _cell(value: Any) -> Any:
    """A cell as a spreadsheet may read it: text is on one line and begins no formula."""
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    if not isinstance(value, str):
        return value
    text = one_line(value)
    return f"'{text}" if text.lstrip(f" '{INSTEAD}").startswith(FORMULA_SIGNS) else text


def write_parquet(columns: Columns, path: Path) -> None:
    """The same table as Parquet. Needs pyarrow (whoever calls has looked for it)."""
    import pandas as pd

    pd.DataFrame({name: pd.Series(list(values)) for name, values in columns.items()}).to_parquet(path, engine="pyarrow", index=False)
