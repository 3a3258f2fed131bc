"""The page: one file that asks for nothing, whole without sight and without colour; looked at in a real Chromium where there is one."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from monitor.review import figures
from monitor.review.compare import compare_files
from monitor.review.figures import Picture, PlotLine
from monitor.review.judgement import Judgement, append_judgement
from monitor.review.load import load
from monitor.review.measures import measure
from monitor.review.report import TABLE_ROWS, write_comparison, write_report
from tests.review.journals import Fault, play, recipe_data

CHROMIUM = os.environ.get("EVENBATH_CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
AXE = os.environ.get("EVENBATH_AXE") or "node_modules/axe-core/axe.min.js"
TAGS = ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """An evening with a probe knocked out, six sheets, and both side by side."""
    folder = tmp_path_factory.mktemp("pages")
    made = play(
        recipe_data(),
        lambda t: 20.5 - 0.0021 * t,
        bath=lambda t: 20.5 - 0.004 * t,
        room=lambda _: 8.0,
        faults=[Fault("air", 425.0, 605.0)],
        late_s={3: 20.0},
    )
    tank = made.write(folder / "260301-1.jsonl")
    append_judgement(tank, Judgement("2026-03-02T08:00:00Z", "260301-1", density="normal", grade=2.0, notes="<script>alert(1)</script>"))
    data = recipe_data(time="8:00", drain="0:05", agitation=None, band=None)
    data["vessel"] = "open tray"
    data["sheets"] = {"count": 6, "interval": "0:10"}
    tray = play(data, lambda t: 20.0 + 0.002 * t, session="260302-1", start_day=1).write(folder / "260302-1.jsonl")
    out = {name: folder / f"{name}.html" for name in ("tank", "tray", "both")}
    write_report(load(tank), measure(load(tank)), out["tank"])
    write_report(load(tray), measure(load(tray)), out["tray"])
    write_comparison(compare_files([tank, tray], curves=True), out["both"])
    return out


NAMES = ("tank", "tray", "both")


@pytest.mark.parametrize("name", NAMES)
def test_the_file_is_small_and_holds_no_address(pages: dict[str, Path], name: str) -> None:
    """Below a megabyte; nothing that a browser would fetch, no script, no frame."""
    text = pages[name].read_text(encoding="utf-8")
    assert len(text) < 1_000_000
    assert not re.search(r"https?://|<script|<iframe|@import|url\((?!#)|src=", text)


def test_text_comes_before_tables_and_pictures(pages: dict[str, Path]) -> None:
    """The paragraph first."""
    text = pages["tank"].read_text(encoding="utf-8")
    assert text.index("<h1>") < text.index("Develop: planned 11:00") < text.index("<table") < text.index("<figure")


def test_each_picture_has_its_numbers_in_words_and_its_table_behind_it(pages: dict[str, Path]) -> None:
    """A reader who does not see gets the same."""
    for name in NAMES:
        text = pages[name].read_text(encoding="utf-8")
        figures_in_page = re.findall(r"<figure>.*?</figure>\s*(?:<details>.*?</details>|<div class=.scroll.*?</table>)", text, re.DOTALL)
        assert len(figures_in_page) == text.count("<figure>") > 0
        for figure in figures_in_page:
            alts = re.findall(r'<svg role="img" aria-label="([^"]+)"', figure)
            assert len(alts) == 2
            assert all(len(re.findall(r"\d+\.\d+ (?:C|%)", alt)) >= 2 for alt in alts), alts
            assert "<table>" in figure
            assert figure.count("<tr>") <= 6 * TABLE_ROWS + 10
    assert "estimated, not measured: 6:1" in pages["tank"].read_text(encoding="utf-8").split('aria-label="Temperature over')[1][:900]


def test_what_people_wrote_cannot_become_part_of_the_page(pages: dict[str, Path]) -> None:
    """Notes are text."""
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in pages["tank"].read_text(encoding="utf-8")


def test_estimated_stretches_are_dotted_and_gaps_stay_gaps() -> None:
    """In the picture itself, not by colour: another dash pattern over the same points, and no line over a silence."""
    x = np.arange(0.0, 10.0, 0.1)
    marked = ((x > 3) & (x < 6)).astype(float)
    plain = figures.draw(Picture([PlotLine("a", x, x)], (), "x", "y"), "t", "alt")
    dotted = figures.draw(Picture([PlotLine("a", x, x, dotted=marked)], (), "x", "y"), "t", "alt")
    assert "estimated, no probe believed" in dotted
    assert "estimated" not in plain
    assert dotted.count("stroke-dasharray") > plain.count("stroke-dasharray")
    times, values = figures.with_gaps(np.array([0.0, 1.0, 2.0, 60.0, 61.0]), np.ones(5))
    assert np.isnan(values).tolist() == [False, False, False, True, False, False]
    assert times[3] == pytest.approx(2.01)


def test_each_line_of_a_picture_has_its_own_dashes() -> None:
    """Colours may be lost on paper or on the eye."""
    assert len({str(style) for style in figures.STYLES}) == len(figures.STYLES)


def test_a_long_session_is_thinned() -> None:
    """Three hours of readings make no page of ten megabytes; the ends stay."""
    x = np.arange(0.0, 10_800.0)
    thin_x, thin_y = figures.thinned(x, x)
    assert len(thin_x) <= figures.MOST_POINTS + 1
    assert (thin_x[0], thin_y[-1]) == (0.0, 10_799.0)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """A real Chromium."""
    if not CHROMIUM:
        pytest.skip("browser tests need a browser: apt-get install chromium")
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as running:
        chromium = running.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield chromium
        chromium.close()


def opened(browser: Any, path: Path, width: int, scheme: str = "light", axe: bool = False) -> tuple[Any, list[str], list[str]]:
    """A page, the requests that it made and what it complained about."""
    context = browser.new_context(
        viewport={"width": width, "height": 844}, color_scheme=scheme, is_mobile=width < 500, has_touch=width < 500
    )
    page = context.new_page()
    requests: list[str] = []
    complaints: list[str] = []
    page.on("request", lambda r: requests.append(r.url))
    page.on("console", lambda m: complaints.append(m.text))
    page.on("pageerror", lambda e: complaints.append(str(e)))
    if axe:
        page.add_init_script(path=AXE)
    page.goto(path.as_uri())
    return page, requests, complaints


@pytest.mark.browser
@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("width", [320, 390, 1200])
def test_in_a_browser_it_asks_for_nothing_and_never_scrolls_sideways(browser: Any, pages: dict[str, Path], name: str, width: int) -> None:
    """At phone and desk size; one picture of the two is shown."""
    page, requests, complaints = opened(browser, pages[name], width)
    assert requests == [pages[name].as_uri()]
    assert complaints == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    seen = "f => [...f.querySelectorAll('svg')].filter(s => s.clientWidth > 0).length"
    shown = page.evaluate(f"[...document.querySelectorAll('figure')].map({seen})")
    assert set(shown) == {1}
    page.context.close()


@pytest.mark.browser
def test_dark_and_light_follow_the_reader(browser: Any, pages: dict[str, Path]) -> None:
    """Ground and ink change places, in the pictures too."""
    found = {}
    for scheme in ("light", "dark"):
        page, _, _ = opened(browser, pages["tank"], 1200, scheme)
        ground = page.evaluate("getComputedStyle(document.body).backgroundColor")
        ink = page.evaluate("getComputedStyle(document.querySelector('figure .wide svg text')).fill")
        found[scheme] = (sum(map(int, re.findall(r"\d+", ground)[:3])), sum(map(int, re.findall(r"\d+", ink)[:3])))
        page.context.close()
    assert found["light"][0] > 700 > 100 > found["light"][1]
    assert found["dark"][0] < 100 < 600 < found["dark"][1]


@pytest.mark.browser
def test_on_paper_it_is_black_on_white_with_every_table_open(browser: Any, pages: dict[str, Path]) -> None:
    """Print style."""
    page, _, _ = opened(browser, pages["tank"], 1200, "dark")
    page.emulate_media(media="print", color_scheme="dark")
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    heights = page.evaluate("[...document.querySelectorAll('details table')].map(t => t.getBoundingClientRect().height)")
    assert heights
    assert min(heights) > 40
    page.context.close()


@pytest.mark.browser
@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(("width", "scheme"), [(390, "dark"), (1200, "light")])
def test_axe_finds_nothing(browser: Any, pages: dict[str, Path], name: str, width: int, scheme: str) -> None:
    """No violation of WCAG 2.2 A and AA that a program can find."""
    _need_axe()
    page, _, _ = opened(browser, pages[name], width, scheme, axe=True)
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    found = page.evaluate("tags => axe.run(document, {runOnly: {type: 'tag', values: tags}})", TAGS)
    assert [(v["id"], v["nodes"][0]["html"][:100]) for v in found["violations"]] == []
    assert len(found["passes"]) >= 15
    page.context.close()


@pytest.mark.browser
def test_axe_would_find_something(browser: Any, tmp_path: Path) -> None:
    """Negative control: grey on grey, a picture without words."""
    _need_axe()
    bad = tmp_path / "bad.html"
    bad.write_text(
        '<!doctype html><html lang="en"><head><title>x</title></head><body style="background:#777"><p style="color:#666">grey</p>'
        '<svg role="img" width="20" height="20"></svg></body></html>'
    )
    page, _, _ = opened(browser, bad, 1200, axe=True)
    found = page.evaluate("tags => axe.run(document, {runOnly: {type: 'tag', values: tags}})", TAGS)
    assert {"color-contrast", "svg-img-alt"} <= {v["id"] for v in found["violations"]}
    page.context.close()


def _need_axe() -> None:
    if not Path(AXE).exists():
        pytest.skip("axe-core is not here: npm install axe-core, or set EVENBATH_AXE to its axe.min.js")
