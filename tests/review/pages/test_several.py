"""Several sessions on a page: like with like, the same span for each picture, a season as dots."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from monitor.review.compare import compare_files
from monitor.review.pages.several import write_comparison, write_season

DEMOS = Path(__file__).parents[3] / "demo_logs"


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, str]:
    """The six demo evenings of one film side by side, and as a season."""
    folder = tmp_path_factory.mktemp("several")
    comparison = compare_files(sorted(DEMOS.glob("0[1-6]-*.jsonl")), curves=True)
    write_comparison(comparison, folder / "both.html")
    write_season(comparison, folder / "season.html")
    return (folder / "both.html").read_text(encoding="utf-8"), (folder / "season.html").read_text(encoding="utf-8")


def _degrees(svg: str) -> list[tuple[float, float]]:
    """(degrees, y) of the marks of a picture."""
    return [(float(v), float(y)) for y, v in re.findall(r'text-anchor="end"[^>]* y="([\d.]+)">([\d.]+)', svg)]


def test_films_of_one_recipe_share_a_picture_and_a_colour_film_stretches_none(pages: tuple[str, str]) -> None:
    """Four rolls in one; colour at 37 C in its own, with as many pixels for a degree."""
    figures = re.findall(r"<h2>(.*?)</h2><figure>(.*?)</figure>", pages[0], re.S)
    assert [name for name, _ in figures] == ["Roll film, cold laundry", "Six sheets, warm tray", "Colour negative at 37.8 C"]
    scales = []
    for _, figure in figures:
        marks = _degrees(figure.split('<div class="narrow">')[0])
        (a, ya), (b, yb) = marks[0], marks[-1]
        scales.append((yb - ya) / (a - b))
    assert scales == pytest.approx([scales[0]] * 3, rel=0.01)
    roll = figures[0][1].split('<div class="narrow">')[0]
    assert all(f">{name}<" in roll for name in ("6 Nov 2026, 19:10", "6 Nov 2026, 20:05", "20 Nov 2026, 19:00", "20 Nov 2026, 20:10"))


def test_a_season_has_its_own_page(pages: tuple[str, str]) -> None:
    """A row a film by date: its dot with its doubt, none where it is not known or not counted."""
    assert "<h1>The season: 6 sessions</h1>" in pages[1]
    wide = pages[1].split('<div class="wide">')[1].split('<div class="narrow">')[0]
    assert wide.count('<circle class="full"') == 9  # eleven films: one by the clock, one after a power cut
    assert "3:15 by the clock" in wide
    order = [wide.index(f">{name}<") for name in ("6 Nov 2026, 19:10", "13 Nov 2026, 20:40", "20 Nov 2026, 20:10")]
    assert order == sorted(order)
    assert ">on time<" in wide
    assert ">3:16<" in wide


def test_names_and_days_stand_in_place_of_ids(pages: tuple[str, str]) -> None:
    """On paper nobody types."""
    for text in pages:
        assert "261106-1910a" not in text
        assert "one 36-exposure roll, the footbridge" in text


def test_no_column_is_empty(pages: tuple[str, str]) -> None:
    """What nobody recorded has no column."""
    for text in pages:
        table = text.rsplit("<table>", 1)[1]
        heads = re.findall(r"<th scope=\"col\"[^>]*>(.*?)</th>", table)
        rows = [re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row, re.S) for row in table.split("<tbody>")[1].split("</tr>") if "<td" in row]
        assert all(any(row[i] for row in rows) for i in range(len(heads))), heads
        assert "dilution" not in heads
