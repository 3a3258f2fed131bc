"""The page in a real Chromium, on a name as phones have it: every state at 320 and 390 px, light by lease alone, old values, waking up.

One browser and one tab for all; the limits of age are short, so that nothing waits.
"""

from __future__ import annotations

import io
import os
import shutil
import threading
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from monitor.page.class_board import ClassBoard
from monitor.page.lists import Leaf
from tests.page.served import NAME, Served, Told, at, gate, waiting
from tests.page.test_class_board import WALL, station
from tests.page.test_journals import put

CHROMIUM = os.environ.get("EVENBATH_CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
AXE = os.environ.get("EVENBATH_AXE")
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
_INK = (("getElementById('ink')", "color"), ("body", "backgroundColor"))
STALE_S, BLACK_S = 1.5, 4.0
pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def states(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, Any]]:
    """One snapshot of each."""
    folder = tmp_path_factory.mktemp("states")
    made = {
        "waiting": waiting(folder),
        "gate": gate(folder),
        "running": at(folder, "02-probe-knocked-out", 320.0),
        "fault": at(folder, "02-probe-knocked-out", 425.0),
        "cut": at(folder, "06-power-cut", 420.0),
        "ready": at(folder, "01-cold-laundry", 661.0),
        "now": at(folder, "01-cold-laundry", 688.0),
        "at least": at(folder, "01-cold-laundry", 900.0),
        "done": at(folder, "02-probe-knocked-out", 1e9),
    }
    return {name: {**told, "station_age_s": 0.2} for name, told in made.items()}


class OneReport:
    """In place of the lists."""

    def report(self, session: str) -> Leaf:
        """White all over, with a dark dress that changes nothing."""
        dress = "@media (prefers-color-scheme:dark){}"
        body = f'<!doctype html><html><head><style>body{{background:#fff}}{dress}</style></head><body class="x">white</body></html>'
        return Leaf(200, session, body, whole=True)

    def recipe(self, name: str, card: bool) -> Leaf:
        """A page for paper: black on white."""
        body = '<!doctype html><html><head><style>html{color:#000;background:#fff}</style></head><body><p id="ink">jug</p></body></html>'
        return Leaf(200, name, body, whole=True)

    def answers(self, session: str) -> dict[str, str]:
        """Rows of a report."""
        result = {"percent": "99.9 %", "doubt": "±1.7", "Time": "2:10, plan 2:00: 10 s longer, as it cooled"}
        return {**result, "Hands": "on time", "Next time": "change nothing"}


def brightest(page: Any) -> int:
    """The largest value of any pixel."""
    image = pytest.importorskip("PIL.Image")
    shot = image.open(io.BytesIO(page.screenshot())).convert("RGB")
    return int(max(high for _, high in shot.getextrema()))


class Tab:
    """A tab of the browser on the served page, at its name, and what it complained about or asked for."""

    def __init__(self, chromium: Any, served: Served) -> None:
        self.served = served
        self.url = f"http://{NAME}:{served.port}/"
        self.context = chromium.new_context(viewport={"width": 390, "height": 844}, is_mobile=True, has_touch=True)
        self.page = self.context.new_page()
        self.complaints: list[str] = []
        self.requests: list[str] = []
        self.page.on("console", lambda m: self.complaints.append(m.text))
        self.page.on("pageerror", lambda e: self.complaints.append(str(e)))
        self.page.on("request", lambda r: self.requests.append(r.url))
        if AXE:
            self.page.add_init_script(path=AXE)

    def goto(self, path: str = "") -> None:
        """Open it."""
        self.page.goto(self.url + path)

    def until(self, expression: str, most: int = 200) -> None:
        """Something is so; the page's policy allows no function from outside, so it is asked again and again."""
        for _ in range(most):
            if self.page.evaluate(expression):
                return
            self.page.wait_for_timeout(30)
        raise AssertionError(f"never: {expression}")

    def wait(self, what: Callable[[], bool]) -> None:
        """Something in this process is so."""
        for _ in range(200):
            if what():
                return
            self.page.wait_for_timeout(30)
        raise AssertionError("it never came")

    def lit(self, lit: bool = True) -> None:
        """It has become lit, or black."""
        self.until(f"document.documentElement.hasAttribute('data-lit') === {str(lit).lower()}")

    def show(self, told: dict[str, Any]) -> None:
        """The station says this now."""
        self.served.source.tell(told)
        self.wait(lambda: self.served.pulse.lit is told["light"])
        if told["light"]:
            self.lit()
            self.until(f"document.title === {told['slots']['head']!r}")

    def brightest(self) -> int:
        """The largest value of any pixel."""
        return brightest(self.page)

    def text(self, selector: str) -> str:
        """What stands there."""
        return str(self.page.text_content(selector))


@pytest.fixture(scope="module")
def tab(states: dict[str, dict[str, Any]]) -> Iterator[Tab]:
    """One for all."""
    if not CHROMIUM:
        pytest.skip("browser tests need a browser: apt-get install chromium")
    playwright = pytest.importorskip("playwright.sync_api")
    served = Served(Told(states["waiting"]), stale_s=STALE_S, black_s=BLACK_S)
    with playwright.sync_playwright() as running:
        rules = f"--host-resolver-rules=MAP {NAME} 127.0.0.1"
        chromium = running.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", rules])
        made = Tab(chromium, served)
        yield made
        chromium.close()
    served.close()


@pytest.fixture(autouse=True)
def _well(tab: Tab, states: dict[str, dict[str, Any]]) -> Iterator[None]:
    """Begins lit and waiting, with answers at hand, and ends without a complaint and without a foreign request."""
    tab.served.server.lists = OneReport()  # type: ignore[assignment]
    tab.served.source.tell(states["waiting"])
    tab.wait(lambda: tab.served.pulse.lit)
    if tab.page.url == "about:blank":
        tab.goto()
    tab.complaints.clear()
    yield
    assert tab.complaints == []
    assert not [url for url in tab.requests if not url.startswith(tab.url)]


@pytest.mark.parametrize("width", [320, 390])
def test_each_state_keeps_every_slot_in_its_place(tab: Tab, states: dict[str, dict[str, Any]], width: int) -> None:
    """No sideways scroll, no slot drifts by a pixel, and no word is cut off but those with dots of their own."""
    tab.page.set_viewport_size({"width": width, "height": 844})
    places = {}
    for name, told in states.items():
        tab.show(told)
        assert tab.page.evaluate("document.documentElement.scrollWidth") <= width, name
        places[name] = tab.page.evaluate(
            "[...document.querySelectorAll('.slot')].map(s => [Math.round(s.getBoundingClientRect().top), Math.round(s.offsetHeight)])"
        )
        assert tab.page.evaluate("document.querySelector('.figure').scrollWidth <= document.querySelector('.figure').clientWidth"), name
        cut = "[...document.querySelectorAll('.temperature p, .trust p, .hint, .verb')].filter(p => p.scrollHeight > p.clientHeight + 3)"
        assert tab.page.evaluate(f"{cut}.map(p => p.textContent)") == [], name
    assert len({str(place) for place in places.values()}) == 1
    tab.page.set_viewport_size({"width": 390, "height": 844})


def test_what_is_said_stands_in_its_slot(tab: Tab, states: dict[str, dict[str, Any]]) -> None:
    """Head, hands, temperature, then; a FAULT in the place of trust; NOW and READY by their frames."""
    tab.show(states["fault"])
    assert tab.text("#trust").startswith("FAULT 6:19")
    assert tab.page.locator("#trust-slot").get_attribute("class") == "trust slot fault"
    assert tab.text("#verb") == "to POUR OFF"
    assert tab.page.locator("#rail svg, #trace svg").count() == 2
    tab.show(states["now"])
    assert tab.text("#figure") == "NOW"
    assert tab.page.locator("#hands").get_attribute("data-frame") == "thick"
    tab.served.server.lists = OneReport()  # type: ignore[assignment]
    tab.show(states["done"])
    assert tab.page.locator("#report a").get_attribute("href") == "/reports/261106-2005a"
    tab.until("document.getElementById('then').textContent === 'Next time: change nothing'")
    assert tab.text("#hint") == "2:10, plan 2:00: 10 s longer; hands: on time"
    assert (tab.text("#figure"), tab.text("#verb")) == ("99.9 %", "developed, ±1.7")


def test_the_count_goes_on_between_two_words_and_no_further_than_two_seconds(tab: Tab, states: dict[str, dict[str, Any]]) -> None:
    """The figure is the server's until then; nothing runs on by itself."""
    tab.show({**states["running"], "to_pour_s": 120.5, "station_age_s": 0.0})
    tab.until("document.getElementById('figure').textContent === '2:00'", 60)


def test_it_is_black_in_its_html_and_lit_by_the_word_alone(tab: Tab, states: dict[str, dict[str, Any]]) -> None:
    """Before the first word, with a dark word, and within a second of it; the largest pixel is 0."""
    tab.served.source.tell({"light": False})
    tab.lit(False)
    assert tab.brightest() == 0
    assert tab.page.evaluate("getComputedStyle(document.body).display") == "none"
    tab.show(states["running"])
    assert tab.brightest() > 200


def test_hidden_it_is_black_and_its_stream_is_closed_and_shown_again_it_waits_for_a_word(tab: Tab) -> None:
    """As when a phone sleeps and wakes: nothing old is shown, not for a moment."""
    tab.lit()
    tab.page.evaluate(
        "Object.defineProperty(document, 'visibilityState', {value: 'hidden', configurable: true});"
        "document.dispatchEvent(new Event('visibilitychange'))"
    )
    assert tab.brightest() == 0
    tab.wait(lambda: len(tab.served.pulse.streams) == 0)
    seen = tab.page.evaluate(
        "Object.defineProperty(document, 'visibilityState', {value: 'visible', configurable: true});"
        "document.dispatchEvent(new Event('visibilitychange')); document.documentElement.hasAttribute('data-lit')"
    )
    assert seen is False
    tab.lit()


def test_a_frozen_page_wakes_up_black(tab: Tab) -> None:
    """`freeze` and `resume`, as mobile browsers tell them; the wall clock counts where the page's own stood still."""
    tab.lit()
    assert tab.page.evaluate("document.dispatchEvent(new Event('freeze')); document.documentElement.hasAttribute('data-lit')") is False
    tab.page.evaluate("document.dispatchEvent(new Event('resume'))")
    tab.lit()
    tab.page.evaluate("window.realNow = Date.now; Date.now = () => 100 * window.realNow()")
    dark = "dark ||= !document.documentElement.hasAttribute('data-lit')"
    watch = f"new Promise(done => {{ let dark = false; setInterval(() => {dark}, 20); setTimeout(() => done(dark), 1500); }})"
    assert tab.page.evaluate(watch), "an event that is old by the wall clock lights nothing"
    tab.page.evaluate("Date.now = window.realNow")
    tab.lit()


def test_old_values_look_old_and_then_all_is_black(tab: Tab, states: dict[str, dict[str, Any]]) -> None:
    """By the age of the station's word, and by the silence of the page's own server."""
    tab.show({**states["running"], "station_age_s": 7.05})
    tab.until("document.documentElement.hasAttribute('data-stale')")
    assert tab.text("#head") == "OLD VALUES"
    assert tab.text("#word") == "No word from the station for 7 s"
    assert "line-through" in tab.page.evaluate("getComputedStyle(document.getElementById('figure')).textDecorationLine")
    assert tab.page.evaluate("getComputedStyle(document.querySelector('.head')).backgroundColor") == "rgb(233, 234, 234)"
    assert tab.text("#aloud") == "Old values. No word from the station.", "no count is read aloud"
    tab.show(states["running"])
    tab.until("!document.documentElement.hasAttribute('data-stale')")
    pulse, turn = tab.served.pulse, tab.served.pulse.turn
    pulse.turn = lambda timeout_s: threading.Event().wait(timeout_s)  # type: ignore[method-assign, assignment]
    try:
        tab.until("document.documentElement.hasAttribute('data-stale')")
        tab.wait(lambda: not pulse.lit)
        tab.lit(False)
        assert tab.brightest() == 0
    finally:
        pulse.turn = turn  # type: ignore[method-assign]
    tab.lit()


def test_a_stream_that_was_refused_is_made_again(tab: Tab) -> None:
    """A browser gives up for good after one 5xx; the page does not."""
    room = tab.served.pulse.streams._most
    tab.served.pulse.streams._most = 0
    tab.goto()
    tab.until("document.documentElement.hasAttribute('data-lit')", 400)  # by asking for snapshots
    tab.served.pulse.streams._most = room
    tab.wait(lambda: len(tab.served.pulse.streams) == 1)
    tab.complaints.clear()  # the browser's own word about the 503


def test_a_seventh_tab_is_answered(tab: Tab) -> None:
    """A tab behind another one holds no stream: the browser has six connections for all of them."""
    tab.goto()
    more = [tab.context.new_page() for _ in range(6)]
    for page in more:
        page.goto(tab.url)
        page.evaluate(
            "Object.defineProperty(document, 'visibilityState', {value: 'hidden', configurable: true});"
            "document.dispatchEvent(new Event('visibilitychange'))"
        )
    seventh = tab.context.new_page()
    seventh.goto(tab.url, timeout=4000)
    for page in (*more, seventh):
        page.close()
    tab.page.bring_to_front()
    tab.lit()


def test_only_changes_of_state_are_read_aloud(tab: Tab, states: dict[str, dict[str, Any]]) -> None:
    """The count is a timer, which is silent; the status changes with the state."""
    assert tab.page.locator("#figure").get_attribute("role") == "timer"
    tab.show(states["running"])
    said = tab.text("#aloud")
    slots = {**states["running"]["slots"], "figure": "5:59", "hint": "moved", "head": "DEVELOP · 1 of 4"}
    tab.show({**states["running"], "slots": slots})
    assert tab.text("#aloud") == said
    tab.show(states["now"])
    assert tab.text("#aloud") != said


def test_with_forced_colours_the_lines_take_the_readers(tab: Tab, states: dict[str, dict[str, Any]]) -> None:
    """And nothing moves where less motion is wanted."""
    tab.show(states["running"])
    tab.page.emulate_media(forced_colors="active", reduced_motion="reduce")
    line = tab.page.evaluate("getComputedStyle(document.querySelector('#trace .main')).stroke")
    assert line == tab.page.evaluate("getComputedStyle(document.body).color")
    tab.page.emulate_media(forced_colors="none", reduced_motion="no-preference")


@pytest.mark.parametrize("name", ["waiting", "fault", "ready", "now", "done"])
def test_axe_finds_nothing(tab: Tab, states: dict[str, dict[str, Any]], name: str) -> None:
    """No violation of WCAG 2.2 A and AA that a program can find."""
    if not AXE:
        pytest.skip("axe-core is not here: EVENBATH_AXE names its file")
    tab.show(states[name])
    tab.page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    found = tab.page.evaluate("tags => axe.run(document, {runOnly: {type: 'tag', values: tags}})", TAGS)
    tab.page.evaluate("document.querySelectorAll('details').forEach(d => d.open = false)")
    assert [(v["id"], v["nodes"][0]["html"][:100]) for v in found["violations"]] == []
    assert len(found["passes"]) >= 12


def test_axe_would_find_something(tab: Tab) -> None:
    """Negative control: grey on grey, and a link without words, put into our own page."""
    if not AXE:
        pytest.skip("axe-core is not here: EVENBATH_AXE names its file")
    tab.page.evaluate(
        "const p = document.createElement('p'); p.id = 'bad'; p.textContent = 'grey'; p.style.color = '#333';"
        "const a = document.createElement('a'); a.href = '/'; p.append(a); document.querySelector('main').prepend(p)"
    )
    found = tab.page.evaluate("tags => axe.run(document, {runOnly: {type: 'tag', values: tags}})", TAGS)
    tab.page.evaluate("document.getElementById('bad').remove()")
    assert {"color-contrast", "link-name"} <= {v["id"] for v in found["violations"]}


def test_a_wall_card_can_be_read(tab: Tab) -> None:
    """Light ink on a dark ground, though on paper it is black on white."""
    tab.goto("recipes/roll.toml/card")
    tab.lit()
    ink, ground = (tab.page.evaluate(f"getComputedStyle(document.{at}).{what}") for at, what in _INK)
    assert (ink, ground) == ("rgb(233, 234, 234)", "rgb(16, 17, 18)")
    assert tab.brightest() > 150
    tab.goto()


def test_the_waiting_page_stands_on_one_screen(tab: Tab, states: dict[str, dict[str, Any]]) -> None:
    """Links and all, in one row."""
    for width in (390, 320):
        tab.page.set_viewport_size({"width": width, "height": 844})
        tab.show(states["waiting"])
        assert tab.page.evaluate("document.documentElement.scrollHeight") <= 844
        assert tab.page.evaluate("new Set([...document.querySelectorAll('nav a')].map(a => a.getBoundingClientRect().top)).size") == 1
        assert tab.page.evaluate("document.documentElement.scrollWidth") <= width
    tab.page.set_viewport_size({"width": 390, "height": 844})


def test_a_report_is_under_the_lease_too(tab: Tab, states: dict[str, dict[str, Any]], tmp_path: Path) -> None:
    """A document that was made elsewhere is black as soon as the word is, with its own colours and all."""
    tab.served.server.lists = OneReport()  # type: ignore[assignment]
    tab.goto("reports/1")
    tab.lit()
    assert tab.brightest() == 255
    tab.served.source.tell({"light": False})
    tab.lit(False)
    assert tab.brightest() == 0
    tab.served.source.tell(states["waiting"])
    tab.wait(lambda: tab.served.pulse.lit)
    tab.goto()
    tab.lit()


def test_one_dark_station_makes_the_whole_class_black(tab: Tab, tmp_path: Path) -> None:
    """The rows of twenty stations go with it: largest pixel 0, no text, and what is asked for then is a black page."""
    wall = WALL.timestamp()
    for k in range(20):
        station(tmp_path, f"bench-{k:02}", "01-cold-laundry", 300.0 + 20.0 * k)
    made = ClassBoard(tmp_path, lambda: WALL + timedelta(seconds=20.0))  # all are silent, which takes more room
    served = Served(made, stale_s=STALE_S, black_s=BLACK_S, template="class.html")
    page = tab.context.new_page()
    try:
        for width in (1200, 390, 320):
            page.set_viewport_size({"width": width, "height": 844})
            page.goto(f"http://{NAME}:{served.port}/")
            page.locator("html[data-lit]").wait_for(state="attached")
            page.locator("#rows tr").nth(19).wait_for()
            assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert brightest(page) > 200
        station(tmp_path, "bench-20", "03-six-sheets", 100.0)
        page.locator("html:not([data-lit])").wait_for(state="attached", timeout=4000)
        assert brightest(page) == 0
        page.goto(f"http://{NAME}:{served.port}/")
        assert page.evaluate("document.body.textContent.trim()") == ""
        assert brightest(page) == 0
        journal = next((tmp_path / "bench-20").iterdir())
        journal.unlink()
        put(tmp_path / "bench-20", "03-six-sheets", closed=True)
        os.utime(journal, (wall, wall))
        tab.wait(lambda: served.pulse.lit)
        page.goto(f"http://{NAME}:{served.port}/")
        page.locator("html[data-lit]").wait_for(state="attached", timeout=8000)
        assert brightest(page) > 200
    finally:
        page.close()
        served.close()
    tab.page.bring_to_front()


@pytest.mark.parametrize("width", [320, 390])
def test_a_clash_of_two_films_stands_first_among_the_lines_below(tab: Tab, states: dict[str, dict[str, Any]], width: int) -> None:
    """Whole, in its own box, and no other slot moves."""
    tab.page.set_viewport_size({"width": width, "height": 844})
    tab.show(states["running"])
    before = tab.page.evaluate("[...document.querySelectorAll('.slot')].map(s => s.getBoundingClientRect().top)")
    clash = "In 1:35 both films want your hands: LEFT · roll 1 first, then RIGHT · roll 2 (develop before fix: development does not wait)."
    tab.show({**states["running"], "others": [clash, "A tap now counts for LEFT · roll 1."]})
    tab.until("!document.getElementById('others').hidden")
    assert tab.page.locator("#others li").all_text_contents()[0] == clash
    assert tab.page.evaluate("document.documentElement.scrollWidth") <= width
    assert tab.page.evaluate("[...document.querySelectorAll('.slot')].map(s => s.getBoundingClientRect().top)") == before
    tab.page.set_viewport_size({"width": 390, "height": 844})
