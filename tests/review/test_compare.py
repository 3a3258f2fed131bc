"""Several sessions: differences, alignment, a season, and that memory holds rows alone."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.review.compare import (
    MOST_CURVES,
    compare_files,
    comparison_age_days,
    comparison_text,
    difference_table,
    like,
    names_of,
    season_table,
    season_text,
    sentence,
)
from monitor.review.judgement import Judgement, append_judgement
from tests.review.journals import play, recipe_data


def steady_sessions(folder: Path, temperatures: list[float]) -> list[Path]:
    """One session of 3:00 and its stop at each temperature, days apart."""
    paths, data = [], recipe_data(time="3:00")
    data["stage"] = data["stage"][:3]
    for i, celsius in enumerate(temperatures):
        made = play(data, lambda _, c=celsius: c, session=f"26030{i}-1", start_day=i, seed=i)  # type: ignore[misc]
        paths.append(made.write(folder / f"26030{i}-1.jsonl"))
    return paths


@pytest.mark.parametrize(
    ("films", "names"),
    [
        (["the heron", "the kiln"], ["1 Mar 2026, the heron", "1 Mar 2026, the kiln"]),
        (["the heron", "the heron"], ["1 Mar 2026, 19:00", "1 Mar 2026, 19:00"]),
        (["the heron", "a roll of thirty-six frames in the large tank"], ["1 Mar 2026, 19:00", "1 Mar 2026, 19:00"]),
    ],
)
def test_films_of_one_evening_are_told_apart_by_their_names(tmp_path: Path, films: list[str], names: list[str]) -> None:
    """They are armed within a minute of each other; where the names do not tell them apart, the time of day must."""
    paths = []
    for number, film in enumerate(films, 1):
        made = play(recipe_data(time="3:00"), lambda _: 20.0, session=f"260301-{number}")
        made.records[0]["evening"] = {"what": film}
        paths.append(made.write(tmp_path / f"260301-{number}.jsonl"))
    comparison = compare_files(paths)
    assert [name.replace("March", "Mar") for name in names_of(comparison.rows)] == names
    says = [row[1] for row in difference_table(comparison)[1]]
    assert says == (["Roll film, cold laundry"] * 2 if "heron" in names[0] else films), "the name says it already"


def test_half_a_degree_is_4_7_per_cent_of_rate(tmp_path: Path) -> None:
    """Two sessions 0.5 C apart with a coefficient of 2.5 per 10 C."""
    comparison = compare_files(steady_sessions(tmp_path, [20.0, 20.5]))
    first, second = comparison.rows
    assert second["rate"] / first["rate"] - 1 == pytest.approx(0.0469, abs=0.001)
    head, rows = difference_table(comparison)
    assert rows[1][head.index("faster by")] == "+4.7 %"
    assert rows[1][head.index("warmer by")] == "+0.50 C"
    assert rows[0][head.index("faster by")] == "", "the first is not held against itself"
    assert "went 4.7 % faster" in sentence(comparison)
    assert sentence(comparison).count(" went ") == 1, "the first is not held against itself"


def test_curves_are_aligned_at_the_begin_of_development(tmp_path: Path) -> None:
    """Whatever came before."""
    comparison = compare_files(steady_sessions(tmp_path, [20.0, 21.0]), curves=True)
    for curve, row in zip(comparison.curves, comparison.rows, strict=True):
        assert comparison.rows[curve.row] is row
        assert curve.since_begin_s[0] == 0.0
        assert curve.since_begin_s[-1] == pytest.approx(row["actual_s"])
        assert len(curve.celsius) <= 240


def test_more_curves_than_can_be_told_apart_are_left_to_the_tables(tmp_path: Path) -> None:
    """And it is said how many."""
    (path,) = steady_sessions(tmp_path, [20.0])
    comparison = compare_files([path] * (MOST_CURVES + 3), curves=True)
    assert len(comparison.curves) == MOST_CURVES
    assert comparison.curves_left_out == 3
    assert len(comparison.rows) == MOST_CURVES + 3


def test_several_processes_give_what_one_gives(tmp_path: Path) -> None:
    """In the same order."""
    paths = steady_sessions(tmp_path, [20.0 + 0.1 * i for i in range(3)])
    one = compare_files(paths)
    many = compare_files(paths * 5)
    assert many.rows[:3] == one.rows
    assert [r["session"] for r in many.rows] == [r["session"] for r in one.rows] * 5


def test_a_season_goes_by_date_and_knows_the_age_of_the_comparison(tmp_path: Path) -> None:
    """The files' order does not matter."""
    paths = steady_sessions(tmp_path, [20.0, 20.2, 20.4])
    comparison = compare_files([paths[2], paths[0], paths[1]])
    head, rows = season_table(comparison)
    assert [r[0] for r in rows] == ["1 Mar 2026", "2 Mar 2026", "3 Mar 2026"]
    assert [r[head.index("plan")] for r in rows] == ["3:00"] * 3
    ages = [r[head.index("probe compared")] for r in rows]
    assert ages == ["9 days before", "10 days before", "11 days before"]
    assert season_text(comparison).splitlines()[0].startswith("film")


def test_what_was_judged_stands_beside(tmp_path: Path) -> None:
    """From the file beside the journal."""
    paths = steady_sessions(tmp_path, [20.0, 20.2])
    append_judgement(paths[1], Judgement("2026-03-03T08:00:00Z", "260301-1", density="thin", grade=3.5))
    comparison = compare_files(paths)
    assert comparison.rows[1]["judged_density"] == "thin"
    assert comparison.rows[1]["judged_grade"] == 3.5
    assert "thin" in comparison_text(comparison)


def test_a_file_that_is_no_journal_is_told_and_the_others_are_compared(tmp_path: Path) -> None:
    """Nothing stops."""
    paths = steady_sessions(tmp_path, [20.0, 20.2])
    wrong = tmp_path / "wrong.jsonl"
    wrong.write_text("t_s,developer_c\n")
    comparison = compare_files([paths[0], wrong, paths[1]])
    assert len(comparison.rows) == 2
    assert [p for p in comparison.problems if "wrong.jsonl:1: not a journal" in p]


def test_sheets_are_rows_of_their_own(tmp_path: Path) -> None:
    """With their number in the name."""
    data = recipe_data(time="5:00", drain="0:05", agitation=None)
    data["vessel"] = "open tray"
    data["sheets"] = {"count": 2, "interval": "0:12"}
    comparison = compare_files([play(data, lambda _: 20.0).write(tmp_path / "s.jsonl")])
    assert [row["sheet"] for row in comparison.rows] == [1, 2]
    assert "1 Mar 2026, sheet 2" in comparison_text(comparison)


def test_the_age_of_a_comparison() -> None:
    """From a date or a time, with or without a zone; nothing from nonsense."""
    assert comparison_age_days({"date": "2026-02-20"}, "2026-03-01T12:00:00Z") == pytest.approx(9.5)
    assert comparison_age_days({"wall": "2026-02-28T12:00:00Z"}, "2026-03-01T12:00:00Z") == pytest.approx(1.0)
    assert comparison_age_days({"wall": "yesterday"}, "2026-03-01T12:00:00Z") is None
    assert comparison_age_days(None, "2026-03-01T12:00:00Z") is None
    assert sentence(compare_files([])) == "No session could be read."


def test_only_like_is_held_against_like(tmp_path: Path) -> None:
    """Another time by the same recipe's name is another development: it is the first of its own."""
    paths = [
        play(recipe_data(time=time), lambda _, c=celsius: c, session=f"26030{i}-1", start_day=i).write(tmp_path / f"{i}.jsonl")  # type: ignore[misc]
        for i, (time, celsius) in enumerate((("3:00", 20.0), ("2:00", 20.2), ("3:00", 20.5)))
    ]
    comparison = compare_files(paths)
    assert like(comparison.rows) == [[0, 2], [1]]
    head, rows = difference_table(comparison)
    assert [row[head.index("warmer by")] for row in rows] == ["", "+0.50 C", ""]
