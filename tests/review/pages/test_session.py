"""The page: the answer first, one file that asks for nothing, one sheet of paper; looked at in a real Chromium where there is one."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from monitor.core.text.typeset import typeset
from monitor.review.compare import compare_files
from monitor.review.judgement import Judgement, append_judgement
from monitor.review.load import load
from monitor.review.measures import measure
from monitor.review.numbers import Doubted
from monitor.review.pages.html import TABLE_ROWS
from monitor.review.pages.session import session_page, write_report
from monitor.review.pages.several import write_comparison, write_season
from tests.review.journals import Fault, play, recipe_data

CHROMIUM = os.environ.get("EVENBATH_CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
AXE = os.environ.get("EVENBATH_AXE") or "node_modules/axe-core/axe.min.js"
TAGS = ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]
DEMOS = Path(__file__).parents[3] / "demo_logs"
PLAIN_KB, SHEETS_KB = 60, 90


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """An evening with a probe knocked out, six sheets, a power cut, colour out of its band; both first side by side, and as a season."""
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
    journals = {"tank": tank, "tray": tray, "cut": next(DEMOS.glob("06-*.jsonl")), "colour": next(DEMOS.glob("04-*.jsonl"))}
    out = {name: folder / f"{name}.html" for name in NAMES}
    for name, journal in journals.items():
        write_report(load(journal), measure(load(journal)), out[name])
    comparison = compare_files([tank, tray, journals["cut"], journals["colour"]], curves=True)
    write_comparison(comparison, out["both"])
    write_season(comparison, out["season"])
    return out


SESSIONS = ("tank", "tray", "cut", "colour")
NAMES = (*SESSIONS, "both", "season")


@pytest.mark.parametrize("name", NAMES)
def test_the_file_is_small_and_holds_no_address(pages: dict[str, Path], name: str) -> None:
    """Below 60 kB (sheets and several: 90); nothing that a browser would fetch, no script, no frame."""
    text = pages[name].read_text(encoding="utf-8")
    assert len(text.encode()) < 1000 * (PLAIN_KB if name in ("tank", "cut", "colour") else SHEETS_KB)
    assert not re.search(r"https?://|<script|<iframe|@import|url\((?!#)|src=", text)


def test_the_answer_comes_first_and_in_its_order(pages: dict[str, Path]) -> None:
    """Recipe, day, result, five rows; then the picture, then the numbers."""
    text = pages["tank"].read_text(encoding="utf-8")
    order = ["<h1>Roll film, cold laundry", "Sunday 1 March 2026, 19:00", 'class="result"', "<dt>Time", "<dt>Hands", "<dt>Estimated"]
    order += ["<dt>Verified", "<dt>Next time", "<figure>", "Stages. Temperatures", "Calls that sounded", "The session in words"]
    places = [text.index(part) for part in order]
    assert places == sorted(places)
    assert re.search(r'class="result">10[23]\.\d\u00a0% <span class="doubtful">±\d\.\d</span>', text)


def test_degrees_plus_minus_and_minus_have_their_signs(pages: dict[str, Path]) -> None:
    """None of the terminal's stand-ins is left in what we say; what people wrote stays as it is."""
    assert typeset("mean 19.39 C +/- 0.18 C, drift -0.16 C a minute") == "mean 19.39\u00a0°C ±0.18\u00a0°C, drift −0.16\u00a0°C a minute"
    assert typeset("2026-02-20T18:00:00Z, session 261106-1910a, 36-exposure") == "2026-02-20T18:00:00Z, session 261106-1910a, 36-exposure"
    assert typeset("20 Cups") == "20 Cups"
    for name in SESSIONS:
        whole = pages[name].read_text(encoding="utf-8")
        text = re.sub(r"<h1>.*?</h1>|<title>.*?</title>|<pre.*?</pre>|recipe \".*?\"", "", whole, flags=re.S)
        assert not re.findall(r"\+/-|\d C\b", text)


def test_what_a_doubt_means_is_said_beside_the_first(pages: dict[str, Path]) -> None:
    """In the first screen."""
    text = pages["tank"].read_text(encoding="utf-8")
    first = text.index("±", text.index("<main>"))
    assert 0 < text.index("two standard deviations", first) - first < 120


def test_the_page_says_that_its_per_cent_is_temperature_s_part(pages: dict[str, Path]) -> None:
    """Once, where there is a figure of development, of several sessions too; a colour film's time has none."""
    words = r"[^\"<]*s part of the development; agitation, age of the bath[^<]*<"  # a table's name holds its caption once more, unseen
    says = {name: len(re.findall(f">{words}", pages[name].read_text(encoding="utf-8"))) for name in NAMES}
    assert says == {"tank": 1, "tray": 1, "cut": 1, "colour": 0, "both": 1, "season": 1}


def test_the_first_screen_says_what_hindsight_has_corrected() -> None:
    """On the page as in a terminal; where nothing was found there is no row."""
    journal = load(next(DEMOS.glob("01-*.jsonl")))
    review = measure(journal)
    assert "<dt>Afterwards" not in session_page(journal, review)
    review.numbers.doubted = [Doubted("developer drifts, by the end it is 2.0 C below", 81.0, 517.0, "developer", "corrected", 436.0)]
    page = session_page(journal, review)
    assert "<dt>Afterwards</dt><dd>Corrected 1:21 to 8:37 (developer drifts, by the end it is 2.0\u00a0°C below)</dd>" in page


def test_a_power_cut_is_a_bracket_and_colour_is_its_time(pages: dict[str, Path]) -> None:
    """No per cent that nobody knows."""
    cut, colour = (pages[name].read_text(encoding="utf-8") for name in ("cut", "colour"))
    assert re.search(r'class="result long">98 to 145', cut)
    assert "ended between 11:37 and 16:37" in cut
    assert ">no power for 0:24 to 5:24<" in cut
    assert re.search(r'class="result">3:15</p><p class="under">by the clock, outside its band for 2:50, not verified', colour)
    assert "100.0" not in colour.split("The recipe as it was loaded")[0]


@pytest.mark.parametrize(("name", "why"), [("colour", "developer 37.58"), ("cut", "the power was gone; nobody knows for how long")])
def test_fault_has_its_reason_in_the_table_of_calls(pages: dict[str, Path], name: str, why: str) -> None:
    """Beside the word itself."""
    row = re.search(r"<tr><th scope=\"row\">FAULT</th>.*?</tr>", pages[name].read_text(encoding="utf-8"))
    assert row is not None
    assert why in row[0]


def test_planned_is_what_the_recipe_planned(pages: dict[str, Path]) -> None:
    """Not the end that moved."""
    for picture in re.findall(r"<svg.*?</svg>", pages["tank"].read_text(encoding="utf-8"), re.S):
        assert ">plan 11:00<" in picture
        assert ">ended 11:4" in picture
        assert "planned end" not in picture


def test_each_picture_has_its_numbers_in_words_and_its_table_behind_it(pages: dict[str, Path]) -> None:
    """A reader who does not see gets the same."""
    for name in NAMES:
        text = pages[name].read_text(encoding="utf-8")
        found = re.findall(r"<figure>.*?</figure>\s*(?:<details>.*?</details>|<div class=.scroll.*?</table>)", text, re.DOTALL)
        assert len(found) == text.count("<figure>") > 0
        for figure in found:
            alts = re.findall(r'<svg class="strip" role="img" aria-label="([^"]+)"', figure)
            assert len(alts) == 2
            assert all(len(re.findall(r"\d+\.\d+ ?(?:°C|%)|±\d|\d:\d\d", alt.replace("\u00a0", " "))) >= 2 for alt in alts), alts
            assert "<table>" in figure
            assert figure.count("<tr>") <= 2 * TABLE_ROWS + 10
    assert "estimated, not measured: 6:1" in re.findall('aria-label="Develop over time[^"]+"', pages["tank"].read_text(encoding="utf-8"))[0]


def test_what_people_wrote_cannot_become_part_of_the_page(pages: dict[str, Path]) -> None:
    """Notes are text."""
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in pages["tank"].read_text(encoding="utf-8")


def test_a_session_without_a_recipe_or_a_begin_still_has_its_page(tmp_path: Path) -> None:
    """What can be shown is shown; nothing is made up."""
    made = play(recipe_data(), lambda _: 20.0)
    first = [r for r in made.records if r["t_s"] < 1 and r["kind"] in ("session", "reading")]
    for seq, record in enumerate(first, 1):
        record["seq"] = seq
    journal = load(as_file(first, tmp_path / "bare.jsonl"))
    text = session_page(journal, measure(journal))
    assert "no development" in text
    assert "never closed: still running, or lost" in text


def as_file(records: list[dict[str, Any]], path: Path) -> Path:
    """Some records as a file."""
    import json

    path.write_text("".join(json.dumps(r) + "\n" for r in records), encoding="utf-8")
    return path


# --- in a browser ----------------------------------------------------------------------------------------------------


class Browser:
    """A real Chromium with a tab for each size and colour scheme: a new one for each look would cost more than all looks."""

    def __init__(self, chromium: Any) -> None:
        self.chromium = chromium
        self._tabs: dict[tuple[int, str, bool], tuple[Any, list[str], list[str]]] = {}

    def tab(self, width: int, scheme: str, axe: bool) -> tuple[Any, list[str], list[str]]:
        """The tab, the requests that it made and what it complained about, both empty."""
        key = width, scheme, axe
        if key not in self._tabs:
            narrow = width < 500
            viewport = {"width": width, "height": 844}
            context = self.chromium.new_context(viewport=viewport, color_scheme=scheme, is_mobile=narrow, has_touch=narrow)
            page, requests, complaints = context.new_page(), list[str](), list[str]()
            page.on("request", lambda r: requests.append(r.url))
            page.on("console", lambda m: complaints.append(m.text))
            page.on("pageerror", lambda e: complaints.append(str(e)))
            if axe:
                page.add_init_script(path=AXE)
            self._tabs[key] = page, requests, complaints
        page, requests, complaints = self._tabs[key]
        page.goto("about:blank")
        requests.clear()
        complaints.clear()
        return page, requests, complaints


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """It runs for all tests of this file."""
    if not CHROMIUM:
        pytest.skip("browser tests need a browser: apt-get install chromium")
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as running:
        chromium = running.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield Browser(chromium)
        chromium.close()


def opened(browser: Browser, path: Path, width: int, scheme: str = "light", axe: bool = False) -> tuple[Any, list[str], list[str]]:
    """A page, the requests that it made and what it complained about."""
    page, requests, complaints = browser.tab(width, scheme, axe)
    page.goto(path.as_uri())
    return page, requests, complaints


@pytest.mark.browser
@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("width", [320, 390, 1200])
def test_in_a_browser_it_asks_for_nothing_and_never_scrolls_sideways(
    browser: Browser, pages: dict[str, Path], name: str, width: int
) -> None:
    """At phone and desk size; one picture of the two is shown."""
    page, requests, complaints = opened(browser, pages[name], width)
    assert requests == [pages[name].as_uri()]
    assert complaints == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    seen = "f => [...f.querySelectorAll('svg')].filter(s => s.clientWidth > 0).length"
    shown = page.evaluate(f"[...document.querySelectorAll('figure')].map({seen})")
    assert set(shown) == {1}


BOXES = """() => [...document.querySelectorAll('svg.strip')].filter(s => s.clientWidth > 0).map(s => {
  const view = s.viewBox.baseVal;
  return {size: [view.width, view.height], px: s.clientWidth / view.width,
    words: [...s.querySelectorAll('text')].map(t => { const b = t.getBBox();
      return {text: t.textContent, x: b.x, y: b.y, w: b.width, h: b.height, font: parseFloat(getComputedStyle(t).fontSize)} })} })"""


@pytest.mark.browser
@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("width", [390, 1200])
def test_no_word_of_a_picture_is_clipped_or_stands_on_another(browser: Browser, pages: dict[str, Path], name: str, width: int) -> None:
    """Measured by the browser: each word inside its picture, no two boxes on each other; on a phone the text has 13 px and more."""
    page, _, _ = opened(browser, pages[name], width)
    pictures = page.evaluate(BOXES)
    assert pictures
    for picture in pictures:
        wide, high = picture["size"]
        words = picture["words"]
        for w in words:
            assert w["x"] >= -1, w
            assert w["x"] + w["w"] <= wide + 1, w
            assert w["y"] >= -2, w
            assert w["y"] + w["h"] <= high + 2, w
            assert w["font"] * picture["px"] >= 13.0, w
        for i, a in enumerate(words):
            for b in words[i + 1 :]:
                across = min(a["x"] + a["w"], b["x"] + b["w"]) - max(a["x"], b["x"])
                down = min(a["y"] + a["h"], b["y"] + b["h"]) - max(a["y"], b["y"])
                assert across <= 1 or down <= 4, (a["text"], b["text"])


@pytest.mark.browser
def test_the_first_screen_of_a_desk_holds_the_answer_and_the_begin_of_the_picture(browser: Browser, pages: dict[str, Path]) -> None:
    """Without scrolling: result at 54 px and five rows."""
    page, _, _ = opened(browser, pages["tank"], 1200)
    assert page.evaluate("parseFloat(getComputedStyle(document.querySelector('.result')).fontSize)") == 54
    assert page.evaluate("document.querySelector('figure').getBoundingClientRect().top") < 420
    assert page.evaluate("document.querySelectorAll('.answer dt').length") == 5


@pytest.mark.browser
def test_on_a_phone_the_table_of_stages_has_three_columns(browser: Browser, pages: dict[str, Path]) -> None:
    """The others stand in the words."""
    page, _, _ = opened(browser, pages["tank"], 390)
    assert page.evaluate("[...document.querySelectorAll('.stages thead th')].filter(h => h.offsetWidth > 0).length") == 3


@pytest.mark.browser
def test_dark_and_light_follow_the_reader(browser: Browser, pages: dict[str, Path]) -> None:
    """Ground and ink change places, in the pictures too."""
    found = {}
    for scheme in ("light", "dark"):
        page, _, _ = opened(browser, pages["tank"], 1200, scheme)
        ground = page.evaluate("getComputedStyle(document.body).backgroundColor")
        ink = page.evaluate("getComputedStyle(document.querySelector('figure .wide svg text.b')).fill")
        found[scheme] = (sum(map(int, re.findall(r"\d+", ground)[:3])), sum(map(int, re.findall(r"\d+", ink)[:3])))
        assert found["light"][0] > 700 > 100 > found["light"][1]
    assert found["dark"][0] < 100 < 600 < found["dark"][1]


@pytest.mark.browser
def test_with_forced_colours_lines_and_words_take_the_readers(browser: Browser, pages: dict[str, Path]) -> None:
    """Of the system, none of ours."""
    context = browser.chromium.new_context(viewport={"width": 1200, "height": 844}, forced_colors="active")
    page = context.new_page()
    page.goto(pages["tank"].as_uri())
    words = page.evaluate("getComputedStyle(document.querySelector('.wide svg text.b')).fill")
    line = page.evaluate("getComputedStyle(document.querySelector('.wide svg .main')).stroke")
    assert words == line == page.evaluate("getComputedStyle(document.body).color")
    context.close()


@pytest.mark.browser
def test_on_paper_it_is_black_on_white_and_only_the_calls_are_open(browser: Browser, pages: dict[str, Path]) -> None:
    """Recipe, words and thinned tables are not printed."""
    page, _, _ = opened(browser, pages["tank"], 1200, "dark")
    page.emulate_media(media="print")
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    shown = "[...document.querySelectorAll('details')].filter(d => d.getBoundingClientRect().height > 0)"
    seen = page.evaluate(f"{shown}.map(d => d.className)")
    page.emulate_media(media="null")
    assert seen == ["cues"]


@pytest.mark.browser
@pytest.mark.parametrize("name", NAMES)
def test_on_paper_every_column_is_kept(browser: Browser, pages: dict[str, Path], name: str) -> None:
    """Within the 182 mm between the margins of A4, and none hidden."""
    wide = round(182 / 25.4 * 96)
    page, _, _ = opened(browser, pages[name], wide)
    page.emulate_media(media="print")
    right = "Math.max(...[...document.querySelectorAll('table')].map(t => t.getBoundingClientRect().right))"
    assert page.evaluate(right) <= wide + 1
    hidden = "[...document.querySelectorAll('.stages th, .stages td')].filter(c => c.offsetWidth === 0).length"
    assert page.evaluate(hidden) == 0


@pytest.mark.browser
@pytest.mark.parametrize("name", SESSIONS)
def test_a_session_is_one_page_of_a4(browser: Browser, pages: dict[str, Path], name: str) -> None:
    """Printed by Chromium, and its pages counted; the sheets too."""
    page, _, _ = opened(browser, pages[name], 1200)
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", page.pdf(prefer_css_page_size=True))) == 1


@pytest.mark.browser
@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(("width", "scheme"), [(390, "dark"), (1200, "light")])
def test_axe_finds_nothing(browser: Browser, pages: dict[str, Path], name: str, width: int, scheme: str) -> None:
    """No violation of WCAG 2.2 A and AA that a program can find."""
    _need_axe()
    page, _, _ = opened(browser, pages[name], width, scheme, axe=True)
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    found = page.evaluate("tags => axe.run(document, {runOnly: {type: 'tag', values: tags}})", TAGS)
    assert [(v["id"], v["nodes"][0]["html"][:100]) for v in found["violations"]] == []
    assert len(found["passes"]) >= 15


@pytest.mark.browser
def test_axe_would_find_something(browser: Browser, tmp_path: Path) -> None:
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


def _need_axe() -> None:
    if not Path(AXE).exists():
        pytest.skip("axe-core is not here: npm install axe-core, or set EVENBATH_AXE to its axe.min.js")
