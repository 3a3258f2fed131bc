"""What is printed, by one real browser for all pages: the wall cards of a recipe and of an evening, the checklist, a topic of advice, the
strip for a sleeve. One page each, nothing cut off, nothing fetched."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from monitor.prepare.archive.negatives import FrameNote
from monitor.prepare.guide.advice import TOPICS
from monitor.prepare.paper.card import card_html
from monitor.prepare.paper.checklist_page import checklist_html
from monitor.prepare.paper.guide_page import guide_html
from monitor.prepare.paper.sleeve import sleeve_html
from monitor.prepare.recipes.new_recipe import Blank, blanks
from tests.prepare.paper.test_card import crowded, from_blank
from tests.prepare.paper.test_evening_card import EVENINGS
from tests.prepare.paper.test_evening_card import card as evening_card
from tests.prepare.paper.test_sleeve import FILM as SLEEVED

BROKEN_WORDS = """() => {
    const broken = [], walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT), range = document.createRange();
    while (walk.nextNode()) {
        const node = walk.currentNode;
        for (const word of node.data.matchAll(/\\S+/g)) {
            range.setStart(node, word.index);
            range.setEnd(node, word.index + word[0].length);
            const tops = new Set([...range.getClientRects()].map(r => Math.round(r.top)));
            if (tops.size > 1 && !word[0].includes("-")) broken.push(word[0]);
        }
    }
    return broken;
}"""
"""The words of a page that stand on two lines; at a hyphen one may."""
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
A4_PX = (718, 1047)
"""190 mm by 277 mm at 96 px an inch."""


@pytest.fixture(scope="module")
def tab() -> Iterator[Any]:
    """A tab of a real Chromium without a network; one for all, since each new one costs more than all prints."""
    if CHROMIUM is None:
        pytest.skip("no chromium on this machine")
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield running.new_page()
        running.close()


def printed(tab: Any, page: str, tmp_path: Path) -> int:
    """Print the page to PDF as a person would; the number of its pages. Nothing may be wider than the paper or be fetched."""
    asked: list[str] = []

    def ask(request: Any) -> None:
        asked.append(request.url)

    tab.set_viewport_size({"width": A4_PX[0], "height": A4_PX[1]})
    tab.on("request", ask)
    tab.set_content(page)
    tab.emulate_media(media="print")
    wide = tab.evaluate("[...document.querySelectorAll('*')].filter(e => e.getBoundingClientRect().right > innerWidth + 1).length")
    cells = "[...document.querySelectorAll('.cell, td, .jug')].filter(e => e.scrollWidth > e.clientWidth + 2).map(e => e.textContent)"
    crowded_cells = tab.evaluate(cells)
    pdf = tab.pdf(prefer_css_page_size=True)
    tab.remove_listener("request", ask)
    tab.emulate_media(media="null")
    assert asked == []
    assert wide == 0
    assert crowded_cells == []
    return _pages(pdf, tmp_path)


def _pages(pdf: bytes, tmp_path: Path) -> int:
    tool = shutil.which("pdfinfo")
    if tool is None:
        return len(re.findall(rb"/Type\s*/Page\b", pdf))
    (tmp_path / "card.pdf").write_bytes(pdf)
    said = subprocess.run([tool, str(tmp_path / "card.pdf")], capture_output=True, text=True, check=True).stdout
    assert "A4" in said
    return int(re.search(r"Pages:\s+(\d+)", said)[1])  # type: ignore[index]


@pytest.mark.browser
@pytest.mark.parametrize("blank", blanks(), ids=lambda blank: blank.key)
def test_every_blank_prints_on_one_page_in_readable_type(tab: Any, tmp_path: Path, blank: Blank) -> None:
    """No smaller than nine points; the stages' times from 36 px, to be read at 1.5 m."""
    page = card_html(from_blank(blank))
    assert printed(tab, page, tmp_path) == 1
    assert float(re.search(r"font: ([0-9.]+)pt", page)[1]) >= 9.0  # type: ignore[index]
    tab.set_content(page)
    sizes = tab.evaluate("[...document.querySelectorAll('td.time, .chart td')].map(e => parseFloat(getComputedStyle(e).fontSize))")
    assert min(sizes) >= 36.0, sizes


@pytest.mark.browser
@pytest.mark.parametrize("width", [390, 800, 1200])
@pytest.mark.parametrize("blank", blanks(), ids=lambda blank: blank.key)
def test_nothing_is_cut_on_a_phone_or_at_the_right_border(tab: Any, blank: Blank, width: int) -> None:
    """Nothing reaches over the right border, nothing touches it, and no word is broken inside."""
    tab.set_viewport_size({"width": width, "height": 900})
    tab.set_content(card_html(from_blank(blank)))
    over = "[...document.querySelectorAll('body *')].filter(e => e.getBoundingClientRect().right > innerWidth - 8).map(e => e.outerHTML)"
    assert tab.evaluate(over) == []
    assert tab.evaluate("document.documentElement.scrollWidth") <= width
    assert tab.evaluate(BROKEN_WORDS) == []
    assert tab.locator("meta[name=viewport]").count() == 1


@pytest.mark.browser
def test_even_a_crowded_recipe_prints_on_one_page(tab: Any, tmp_path: Path) -> None:
    """In smaller type."""
    assert printed(tab, card_html(crowded()), tmp_path) == 1


@pytest.mark.browser
@pytest.mark.parametrize("name", EVENINGS)
def test_an_evening_prints_on_one_page(tab: Any, tmp_path: Path, name: str) -> None:
    """Four films in type of at least nine points, their times at least 18 points high."""
    films, more = EVENINGS[name]
    page = evening_card(films, more=more)
    assert printed(tab, page, tmp_path) == 1
    size_pt, clock_pt = (float(re.search(found, page)[1]) for found in (r"font: ([0-9.]+)pt", r"clocks td b { font-size: ([0-9.]+)pt"))  # type: ignore[index]
    if name in ("two tanks", "one tank"):
        assert size_pt >= 9.0
        assert clock_pt >= 18.0


@pytest.mark.browser
@pytest.mark.parametrize("width", [390, 800])
@pytest.mark.parametrize("name", EVENINGS)
def test_nothing_of_an_evening_is_cut_on_a_phone(tab: Any, name: str, width: int) -> None:
    """Nothing reaches over the right border, and no word is broken inside."""
    films, more = EVENINGS[name]
    tab.set_viewport_size({"width": width, "height": 900})
    tab.set_content(evening_card(films, more=more))
    over = "[...document.querySelectorAll('body *')].filter(e => e.getBoundingClientRect().right > innerWidth - 4).map(e => e.outerHTML)"
    assert tab.evaluate(over) == []
    assert tab.evaluate(BROKEN_WORDS) == []


@pytest.mark.browser
@pytest.mark.parametrize("blank", blanks(), ids=lambda blank: blank.key)
def test_every_list_prints_on_one_page_in_two_columns(tab: Any, tmp_path: Path, blank: Blank) -> None:
    """In type of seven points and more; on a phone it is one column and nothing is cut."""
    page = checklist_html(from_blank(blank), ["developer A: no bottle; there is none with this name in the ledger"])
    assert printed(tab, page, tmp_path) == 1
    assert float(re.search(r"font: ([0-9.]+)pt", page)[1]) >= 7.0  # type: ignore[index]
    for width, columns in ((1000, 2), (390, 1)):
        tab.set_viewport_size({"width": width, "height": 900})
        tab.set_content(page)
        assert (
            len(set(tab.evaluate("[...document.querySelectorAll('h2')].map(e => Math.round(e.getBoundingClientRect().left))"))) == columns
        )
        assert tab.evaluate("document.documentElement.scrollWidth") <= width
        assert tab.evaluate(BROKEN_WORDS) == []


@pytest.mark.browser
@pytest.mark.parametrize("key", TOPICS)
def test_every_topic_prints_on_one_page(tab: Any, tmp_path: Path, key: str) -> None:
    """In type of eight points and more."""
    page = guide_html(TOPICS[key])
    assert printed(tab, page, tmp_path) == 1
    assert float(re.search(r"font: ([0-9.]+)pt", page)[1]) >= 8.0  # type: ignore[index]


@pytest.mark.browser
def test_the_strip_is_ten_millimetres_high_and_all_is_on_one_page(tab: Any, tmp_path: Path) -> None:
    """A film with notes on 36 frames; long words widen nothing."""
    notes = tuple(FrameNote(str(n), aperture="f/11", exposed_s=0.25, words="a wall in the rain") for n in range(1, 37))
    assert printed(tab, sleeve_html(replace(SLEEVED, notes=notes)), tmp_path) == 1
    tab.set_content(sleeve_html(replace(SLEEVED, developed=None, session=None)))
    assert tab.evaluate("document.querySelector('.strip').getBoundingClientRect().height") <= 10.5 / 25.4 * 96
    tab.set_viewport_size({"width": 390, "height": 800})
    tab.set_content(sleeve_html(replace(SLEEVED, film="x" * 120)))
    assert tab.evaluate("document.documentElement.scrollWidth") <= 390
