"""A phone is paired and writes, in a real Chromium at its name: tick, note, bottle, recipe; it is revoked, and attacked by another page.

The lists, the desk, the ledger and the pairing are the real ones; what the station says is the test's.
"""

from __future__ import annotations

import http.server
import shutil
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from monitor.cli.main import main
from monitor.live.clock import RealClock
from monitor.page import made as made_module
from monitor.page import pairing as pairing_module
from monitor.page import sentences
from monitor.page.desk import Desk
from monitor.page.guards import COOKIE
from monitor.page.lists import Lists
from monitor.page.made import Maker
from monitor.page.pairing import Pairing, shown_code
from monitor.page.writes import Writes
from monitor.prepare.bottles.ledger import read_ledger
from monitor.prepare.logbook.chosen import chosen
from monitor.prepare.logbook.notes import read_notes
from monitor.prepare.logbook.ticks import ticked
from tests.page.served import DEMO, NAME, Served, Told, waiting
from tests.page.test_in_browser import AXE, CHROMIUM, TAGS, Tab
from tests.page.test_journals import put
from tests.page.test_server import _answering

EVIL = "evil.example"
WIDTHS = (320, 390)
FORMS = ("pair", "recipes", "recipes/roll.toml/checklist", "ledger", "notes", "recipes/roll.toml")
pytestmark = pytest.mark.browser


class Phone:
    """The page with all that it may write, and a browser's tab on it."""

    def __init__(self, folder: Path) -> None:
        self.state = folder / "state"
        (self.state / "journals").mkdir(parents=True)
        put(self.state / "journals", "01-cold-laundry", closed=True)
        shutil.copy(DEMO / "roll.toml", folder / "roll.toml")
        shutil.copy(DEMO / "roll.toml", folder / "a roll with a long name, pushed by two stops, in the summer.toml")
        for name in ("fixer", "stop bath"):
            assert main(["bottle", "add", name, "--volume", "1 l", "--role", "fix", "--per-litre", "10", "--state", str(self.state)]) == 0
        clock = RealClock()
        self.source = Told({**waiting(folder), "station_age_s": 0.2})
        self.lit = self.source.told
        self.maker = Maker(lambda: self.source.busy)
        lists = Lists(folder / "station.toml", self.state, self.maker, clock.wall)
        desk = Desk(self.state, lists, clock.wall, lambda: self.served.pulse.free, lambda: self.served.pulse.awake)
        self.pairing = Pairing(self.state, clock)
        self.served = Served(self.source, lists, stale_s=1.5, black_s=4.0, writes=Writes(self.pairing, desk.kinds()))

    def close(self) -> None:
        """End."""
        self.served.close()
        self.maker.close()


@pytest.fixture(scope="module")
def phone(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Phone]:
    """One for all."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(pairing_module, "ROUNDS", 1)
        patch.setattr(made_module, "LAST_IN_LINE", 0)  # last in line on a busy machine, the list of bottles takes a minute
        made = Phone(tmp_path_factory.mktemp("written"))
        yield made
        made.close()


@pytest.fixture(scope="module")
def tab(phone: Phone) -> Iterator[Tab]:
    """One for all, paired by nobody yet."""
    if not CHROMIUM:
        pytest.skip("browser tests need a browser: apt-get install chromium")
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as running:
        rules = f"--host-resolver-rules=MAP {NAME} 127.0.0.1, MAP {EVIL} 127.0.0.1"
        chromium = running.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", rules])
        yield Tab(chromium, phone.served)
        chromium.close()


@pytest.fixture(autouse=True)
def _fresh(tab: Tab, phone: Phone) -> Iterator[None]:
    """Lit, free, nobody paired, no draft; at the end no complaint but those that a test expects."""
    phone.source.is_free = phone.source.is_awake = True
    phone.source.tell(phone.lit)
    tab.wait(lambda: phone.served.pulse.lit)
    phone.pairing.revoke(None)
    tab.context.clear_cookies()
    tab.page.set_viewport_size({"width": 390, "height": 844})
    shutil.rmtree(phone.state / "logbook", ignore_errors=True)
    tab.goto("notes")
    tab.page.evaluate("localStorage.clear()")
    tab.complaints.clear()
    yield
    tab.wait(lambda: not _answering())  # a connection that the browser has opened ahead is hung up on after five seconds
    assert tab.complaints == []
    assert not [url for url in tab.requests if not url.startswith((tab.url, f"http://{EVIL}:"))]


def pair(tab: Tab, phone: Phone) -> None:
    """With the cookie that the server would have set; the first test does it as a person does."""
    token = phone.pairing.trade(phone.pairing.new_code("test"))
    assert token is not None
    tab.context.add_cookies([{"name": COOKIE, "value": token, "url": tab.url, "httpOnly": True, "sameSite": "Strict"}])


def told(tab: Tab, words: str) -> None:
    """The sentence stands there."""
    tab.page.locator("#said", has_text=words).wait_for(state="attached", timeout=8000)  # over a reload too
    tab.lit()


def test_a_phone_is_paired_by_its_address_and_the_code_stands_nowhere_afterwards(tab: Tab, phone: Phone) -> None:
    """Not in the address bar, not in the history, not in what was asked for; and looking alone sends nothing."""
    code = shown_code(phone.pairing.new_code("Anna's"))
    tab.requests.clear()
    tab.goto(f"pair#{code}")
    tab.lit()
    assert tab.page.url == f"{tab.url}pair"
    assert tab.page.input_value("#code") == code
    assert phone.pairing.devices() == ()
    tab.page.get_by_role("button", name="Pair this phone").click()
    told(tab, sentences.PAIRED)
    assert [device.name for device in phone.pairing.devices()] == ["Anna's"]
    assert not [url for url in tab.requests if code in url and not url.endswith(f"pair#{code}")]
    cookie = next(one for one in tab.context.cookies() if one["name"] == "evenbath")
    assert (cookie["httpOnly"], cookie["sameSite"], cookie["path"], cookie["domain"]) == (True, "Strict", "/", NAME)
    assert tab.page.evaluate("document.cookie") == ""


def test_while_a_phone_is_paired_the_button_says_so_and_then_the_form_is_gone(
    tab: Tab, phone: Phone, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The code takes seconds on a small board: nobody is to wonder, or to leave before the answer."""
    go_on, trade = threading.Event(), phone.pairing.trade
    monkeypatch.setattr(phone.pairing, "trade", lambda code: trade(code) if go_on.wait(20.0) else None)
    tab.goto(f"pair#{shown_code(phone.pairing.new_code('slow'))}")
    tab.lit()
    tab.page.get_by_role("button", name="Pair this phone").click()
    tab.page.get_by_role("button", name="Pairing...", disabled=True).wait_for(timeout=8000)
    go_on.set()
    told(tab, sentences.PAIRED)
    assert not tab.page.locator("form").is_visible()
    assert [device.used for device in phone.pairing.devices()] == [False]
    tab.goto("notes")
    tab.lit()
    assert [device.used for device in phone.pairing.devices()] == [True]


def test_a_wrong_code_is_told_and_pairs_nothing(tab: Tab, phone: Phone) -> None:
    """Typed, on the page that a phone that is not paired is sent to."""
    phone.pairing.new_code()
    tab.goto("ledger")
    tab.lit()
    assert tab.page.locator("form").count() == 0
    tab.page.get_by_role("link", name="Pair this phone").click()
    tab.page.fill("#code", "0000-0000")
    tab.page.get_by_role("button", name="Pair this phone").click()
    told(tab, sentences.CODE_REFUSED)
    assert phone.pairing.devices() == ()
    tab.complaints.clear()  # the browser's own word about the 403


def test_ticks_are_kept_and_stand_again_after_waking_up(tab: Tab, phone: Phone) -> None:
    """With a thumb, on the words as well as on the box."""
    pair(tab, phone)
    tab.goto("recipes/roll.toml/checklist")
    tab.lit()
    tab.page.get_by_text("Are the jugs lined up").click()
    told(tab, "Ticked.")
    now = RealClock().wall()
    assert ticked(phone.state, "roll.toml", now, None) == {"jugs"}
    tab.page.reload()
    tab.lit()
    assert tab.page.locator("[data-tick=jugs]").is_checked()
    tab.page.locator("[data-tick=jugs]").click()
    told(tab, "Tick taken back.")
    assert ticked(phone.state, "roll.toml", RealClock().wall(), None) == frozenset()


def test_a_tick_that_is_refused_does_not_look_ticked(tab: Tab, phone: Phone) -> None:
    """A session was armed since the page was made."""
    pair(tab, phone)
    tab.goto("recipes/roll.toml/checklist")
    tab.lit()
    phone.source.is_free = False
    tab.page.locator("[data-tick=jugs]").click()
    told(tab, sentences.NOT_NOW)
    assert not tab.page.locator("[data-tick=jugs]").is_checked()
    tab.complaints.clear()  # the browser's own word about the 409


def test_a_note_outlives_sleep_and_is_kept_once(tab: Tab, phone: Phone) -> None:
    """Its draft comes back after the page was lost; sent, it is gone from the field and stands below."""
    pair(tab, phone)
    tab.goto("notes")
    tab.lit()
    tab.page.fill("#text", "the tap drips")
    tab.goto()
    tab.goto("notes")
    tab.lit()
    assert tab.page.input_value("#text") == "the tap drips"
    tab.page.select_option("#session", "261106-1910a")
    tab.page.get_by_role("button", name="Keep the note").click()
    told(tab, "The note is kept.")
    assert tab.page.input_value("#text") == ""
    assert [(note.text, note.session) for note in read_notes(phone.state)] == [("the tap drips", "261106-1910a")]
    assert "the tap drips" in tab.text("main ul")


def test_a_note_whose_answer_was_lost_is_sent_again_and_stands_once(tab: Tab, phone: Phone, monkeypatch: pytest.MonkeyPatch) -> None:
    """The draft stays until an answer has come, and with it the key by which it is known."""
    pair(tab, phone)
    tab.goto("notes")
    tab.lit()
    tab.page.fill("#text", "once")
    writes = phone.served.server.writes
    assert writes is not None
    take = writes.take

    def lost(path: str, token: str | None, body: bytes) -> Any:
        take(path, token, body)
        raise ConnectionResetError

    monkeypatch.setattr(writes, "take", lost)
    tab.page.get_by_role("button", name="Keep the note").click()
    told(tab, sentences.NO_ANSWER)
    monkeypatch.undo()
    tab.page.reload()
    tab.lit()
    assert tab.page.input_value("#text") == "once"
    tab.page.get_by_role("button", name="Keep the note").click()
    told(tab, "The note is kept.")
    assert [note.text for note in read_notes(phone.state)] == ["once"]
    tab.complaints.clear()  # the browser's own word about the lost answer


def test_film_is_booked_and_taken_back(tab: Tab, phone: Phone) -> None:
    """Through the forms; the list below is made anew."""
    pair(tab, phone)
    tab.goto("ledger")
    tab.lit()
    before = read_ledger(phone.state).bottle("fixer").units
    tab.page.select_option("#used", label="fixer")
    tab.page.select_option("#size", "4x5")
    tab.page.fill("#count", "6")
    tab.page.get_by_role("button", name="Book film through it").click()
    told(tab, "Booked: 1.5 units through fixer.")
    assert read_ledger(phone.state).bottle("fixer").units == before + 1.5
    tab.lit()
    assert "1.5 units through it" in tab.text("main pre").replace("\u00a0", " ")
    tab.page.get_by_role("button", name="Take back the last entry").click()
    told(tab, "The last entry was taken back.")
    assert read_ledger(phone.state).bottle("fixer").units == before
    tab.lit()
    tab.page.fill("#count", "many")
    tab.page.get_by_role("button", name="Book film through it").click()
    told(tab, '"count" is not right; allowed: a whole number from 1 to 100')
    tab.complaints.clear()  # the browser's own word about the 400


def test_a_recipe_is_chosen_for_next_time(tab: Tab, phone: Phone) -> None:
    """And given up again."""
    pair(tab, phone)
    tab.goto("recipes")
    tab.lit()
    tab.page.locator("li", has_text="roll Wall").get_by_role("button").click()
    told(tab, "roll is chosen for next time.")
    assert chosen(phone.state) == "roll.toml"
    tab.lit()
    tab.page.get_by_role("button", name="take that back").click()
    told(tab, "No recipe is chosen for next time.")
    assert chosen(phone.state) is None


def test_a_revoked_phone_is_told_so_and_has_no_forms_any_more(tab: Tab, phone: Phone) -> None:
    """At its next write, and on its next page."""
    pair(tab, phone)
    tab.goto("notes")
    tab.lit()
    tab.page.fill("#text", "too late")
    phone.pairing.revoke(phone.pairing.devices()[0].id)
    tab.page.get_by_role("button", name="Keep the note").click()
    told(tab, sentences.NOT_PAIRED)
    assert read_notes(phone.state) == ()
    tab.page.reload()
    tab.lit()
    assert tab.page.locator("form").count() == 0
    tab.complaints.clear()  # the browser's own word about the 401


def test_while_a_session_runs_there_are_no_forms_but_that_for_a_note(tab: Tab, phone: Phone) -> None:
    """And in the dark there is no word at all."""
    pair(tab, phone)
    phone.source.is_free = False
    for path, count in (("recipes", 0), ("ledger", 0), ("recipes/roll.toml/checklist", 0), ("notes", 1)):
        tab.goto(path)
        tab.lit()
        assert tab.page.locator("form").count() == count, path
        assert tab.page.locator("input:enabled:not([type=hidden])").count() == 0, path
    phone.source.is_awake = False
    tab.goto("notes")
    tab.lit()
    assert tab.page.locator("form").count() == 0


def test_no_form_shines_in_the_dark(tab: Tab, phone: Phone) -> None:
    """Every page with a form is black after the word, and its largest pixel is 0; asked for in the dark it is nothing at all."""
    pair(tab, phone)
    for path in FORMS:
        phone.source.tell(phone.lit)
        tab.wait(lambda: phone.served.pulse.lit)
        tab.goto(path)
        tab.lit()
        assert tab.brightest() > 150, path
        phone.source.tell({"light": False})
        tab.lit(False)
        assert tab.brightest() == 0, path
        tab.wait(lambda: not phone.served.pulse.lit)
        tab.goto(path)
        assert tab.page.evaluate("document.body.textContent.trim()") == "", path
        assert tab.brightest() == 0, path
    tab.complaints.clear()  # the browser's own word about the 503


class _Evil(http.server.BaseHTTPRequestHandler):
    """Another site, which the person visits with the same browser."""

    def do_GET(self) -> None:
        """An empty page."""
        body = b"<!doctype html><title>evil</title><body></body>"
        self.send_response(200)
        self.send_header("Content-Type", "text/html")
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, format: str, *args: Any) -> None:
        """Nothing."""


@pytest.fixture
def evil() -> Iterator[str]:
    """Its address."""
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), _Evil)
    thread = threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True)
    thread.start()
    yield f"http://{EVIL}:{server.server_address[1]}/"
    server.shutdown()
    server.server_close()
    thread.join(5.0)


ATTACKS = {
    "fetch json": "fetch(T, {method: 'POST', credentials: 'include', headers: {'Content-Type': 'application/json'}, body: B})",
    "fetch text": "fetch(T, {method: 'POST', credentials: 'include', mode: 'no-cors', headers: {'Content-Type': 'text/plain'}, body: B})",
    "beacon": "Promise.resolve(navigator.sendBeacon(T, B))",
    "beacon of json": "Promise.resolve(navigator.sendBeacon(T, new Blob([B], {type: 'application/json'})))",
    "form": "new Promise(done => { const [f, i, w] = ['form', 'input', 'iframe'].map(name => document.createElement(name));"
    " w.name = 'w'; f.method = 'post'; f.action = T; f.enctype = 'text/plain'; f.target = 'w'; i.name = B.slice(0, -2); i.value = '\"}';"
    " f.append(i); document.body.append(w, f); f.submit(); setTimeout(done, 400); })",
    "framed": "new Promise(done => { const w = document.createElement('iframe'); w.src = T.replace(/writes.*/, 'notes');"
    " document.body.append(w); setTimeout(done, 400); })",
    "script": "new Promise(done => { const s = document.createElement('script'); s.src = T; s.onerror = done; document.body.append(s); })",
}


@pytest.mark.parametrize("attack", ATTACKS)
def test_another_page_in_the_same_browser_writes_nothing(tab: Tab, phone: Phone, evil: str, attack: str) -> None:
    """Though the phone is paired, and whatever the other page sends; and it is told nothing."""
    pair(tab, phone)
    other = tab.context.new_page()
    other.goto(evil)
    body = '{"text":"forged","session":null,"key":"' + "k" * 32 + '"}'
    other.evaluate(f"([T, B]) => ({ATTACKS[attack]}).then(() => 0, () => 0)", [f"{tab.url}writes/note", body])
    other.wait_for_timeout(150)
    other.close()
    assert read_notes(phone.state) == ()
    tab.page.bring_to_front()
    tab.goto("notes")
    tab.lit()
    assert tab.page.locator("form").count() == 1, "the phone is paired all the while"


@pytest.mark.parametrize("width", WIDTHS)
def test_a_plan_keeps_its_lines_on_every_screen(tab: Tab, phone: Phone, width: int) -> None:
    """Each line of it is a line of the screen, with its indents."""
    tab.page.set_viewport_size({"width": width, "height": 844})
    tab.goto("recipes/roll.toml")
    tab.lit()
    lines = tab.text("main pre").rstrip("\n").count("\n") + 1
    high = "const p = document.querySelector('pre'), s = getComputedStyle(p); p.clientHeight / parseFloat(s.lineHeight)"
    assert round(tab.page.evaluate(high)) in (lines, lines + 1)


@pytest.mark.parametrize("path", FORMS)
def test_every_form_fits_its_screen_and_axe_finds_nothing(tab: Tab, phone: Phone, path: str) -> None:
    """No sideways scroll, targets of 56 px, and no violation that a program can find, where axe-core is (`EVENBATH_AXE`)."""
    pair(tab, phone)
    tab.goto(path)
    tab.lit()
    small = "[...document.querySelectorAll('button, select, textarea, .tick, nav a')].filter(b => b.getBoundingClientRect().height < 56)"
    inside = "[...document.querySelectorAll('nav a')].every(a => a.scrollWidth <= a.clientWidth && a.scrollHeight <= a.clientHeight)"
    for width in WIDTHS:
        tab.page.set_viewport_size({"width": width, "height": 844})
        assert tab.page.evaluate("document.documentElement.scrollWidth") <= width
        assert tab.page.evaluate(f"{small}.map(b => b.outerHTML.slice(0, 80))") == []
        assert tab.page.evaluate("new Set([...document.querySelectorAll('nav a')].map(a => a.getBoundingClientRect().top)).size") == 1
        assert tab.page.evaluate(inside)
        assert tab.page.evaluate("[...document.querySelectorAll('pre')].every(p => p.scrollWidth <= p.clientWidth)")
    if AXE:
        found = tab.page.evaluate("tags => axe.run(document, {runOnly: {type: 'tag', values: tags}})", TAGS)
        assert [(v["id"], v["nodes"][0]["html"][:100]) for v in found["violations"]] == []
