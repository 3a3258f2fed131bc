"""The working in CSV: a spreadsheet gets the same per cent, step by step, without any code of the review."""

from __future__ import annotations

import csv
from itertools import pairwise
from pathlib import Path

import pytest

from monitor.review.export import as_json, write_csv, write_parquet
from monitor.review.load import load
from monitor.review.measures import Review, measure
from monitor.review.working import MEANING, columns_of
from tests.review.journals import Fault, Played, play, recipe_data


@pytest.fixture(scope="module")
def played() -> Played:
    """A cooling developer, its probe out for a while."""
    return play(recipe_data(), lambda t: 20.5 - 0.0021 * t, room=lambda _: 8.0, faults=[Fault("air", 425.0, 605.0)], late_s={3: 12.0})


@pytest.fixture(scope="module")
def review(played: Played, tmp_path_factory: pytest.TempPathFactory) -> Review:
    """The same, measured."""
    return measure(load(played.write(tmp_path_factory.mktemp("j") / "s.jsonl")))


def test_a_spreadsheet_gets_the_per_cent(review: Review, played: Played, tmp_path: Path) -> None:
    """SUM of rate x counted_s over target x 100, with the rate worked out from the temperature by the recipe's own numbers."""
    path = tmp_path / "working.csv"
    write_csv(columns_of(review), path)
    rows = [row for row in csv.DictReader(path.read_text(encoding="utf-8").splitlines()) if row["stage"] == "2"]
    by_formula = sum(2.5 ** ((float(r["celsius"]) - 20.0) / 10.0) * float(r["counted_s"]) for r in rows)
    by_columns = sum(float(r["rate"]) * float(r["counted_s"]) for r in rows)
    target = float(rows[0]["target_ref_s"])
    told = next(s for s in review.numbers.stages if s.stage == 2).done_percent
    assert told is not None
    assert 100 * by_formula / target == pytest.approx(told, abs=0.001)
    assert 100 * by_columns / target == pytest.approx(told, abs=0.001)
    assert float(rows[-1]["done_ref_s"]) == pytest.approx(by_columns)
    assert 100 * by_formula / target == pytest.approx(100 * played.true_done_ref_s[2, None] / target, abs=0.5)


def test_a_plain_trapezoid_over_the_rows_gets_it_too(review: Review) -> None:
    """Without the column of weights: time and temperature alone, within 0.1 %."""
    columns = columns_of(review)
    rows = [(t, c) for s, t, c in zip(columns["stage"], columns["t_s"], columns["celsius"], strict=True) if s == 2]
    done = sum(0.5 * (2.5 ** ((a[1] - 20) / 10) + 2.5 ** ((b[1] - 20) / 10)) * (b[0] - a[0]) for a, b in pairwise(rows))
    told = next(s for s in review.numbers.stages if s.stage == 2).done_percent
    assert 100 * done / 660.0 == pytest.approx(told, abs=0.1)


def test_estimated_rows_are_marked(review: Review) -> None:
    """As many seconds as the numbers say."""
    columns = columns_of(review)
    marked = sum(
        counted
        for stage, mark, counted in zip(columns["stage"], columns["estimated"], columns["counted_s"], strict=True)
        if stage == 2 and mark
    )
    told = next(s for s in review.numbers.stages if s.stage == 2).estimated_s
    assert marked == pytest.approx(told, abs=3.0)
    assert set(columns) == set(MEANING)


def test_parquet_holds_the_same_table(review: Review, tmp_path: Path) -> None:
    """Names and numbers."""
    pytest.importorskip("pyarrow")
    import pandas as pd

    path = tmp_path / "working.parquet"
    columns = columns_of(review)
    write_parquet(columns, path)
    frame = pd.read_parquet(path)
    assert list(frame.columns) == list(columns)
    assert frame["celsius"].tolist() == columns["celsius"]


def test_json_has_the_contracts_names_and_no_number_that_json_does_not_know(review: Review) -> None:
    """Nothing rounded, NaN never."""
    shown = as_json(review.numbers)
    wanted = {
        "name",
        "sheet",
        "planned_s",
        "actual_s",
        "done_ref_s",
        "target_ref_s",
        "done_percent",
        "mean_c",
        "min_c",
        "max_c",
        "estimated_s",
    }
    assert all(wanted <= set(stage) for stage in shown["stages"])
    assert {"session", "stages", "max_cue_lateness_s"} <= set(shown)
    assert shown["stages"][1]["done_ref_s"] == next(s for s in review.numbers.stages if s.stage == 2).done_ref_s
