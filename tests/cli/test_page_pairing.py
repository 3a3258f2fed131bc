"""`evenbath page pair` and `page devices`: what they print, when a QR code is among it, and whom they let in."""

from __future__ import annotations

import io
import os
import re
import shutil
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest

from monitor.cli import page, page_pairing
from monitor.cli.main import main
from monitor.cli.page_pairing import COLUMNS, qr_lines
from monitor.core.errors import InputWrong
from monitor.live.clock import RealClock
from monitor.page import pairing as pairing_module
from monitor.page.pairing import Pairing
from tests.page.test_journals import put

STATION = """schema = 1
name = "laundry"
state = "{state}"
[probes.jug]
id = "28-000000000a01"
role = "developer"
[panel]
factory = "lgpio"
sounder = "GPIO18"
"""
COMES = {"light": True, "films": [], "to_come": [{"vessel": "left"}]}


class Terminal(io.StringIO):
    """Standard output, to a person."""

    def isatty(self) -> bool:
        """It is."""
        return True


class Station:
    """A station file, and what `page` prints."""

    def __init__(self, folder: Path, patch: pytest.MonkeyPatch) -> None:
        self.state = folder / "state"
        (self.state / "journals").mkdir(parents=True)
        self.file = folder / "station.toml"
        self.file.write_text(STATION.format(state=self.state))
        self.patch = patch
        self.pairing = Pairing(self.state, RealClock())
        self.word: Mapping[str, Any] | None = None
        self.errors = ""
        patch.setattr("monitor.page.hearing.word_within", lambda state, wait_s: self.word)
        patch.setattr(page, "_own_name", lambda: "laundry.local")
        patch.setattr(page, "_lan_address", lambda: "192.168.178.42")

    def run(self, *words: str, columns: int = 80, terminal: bool = True, status: int = 0) -> str:
        """All that it prints."""
        out, errors = Terminal() if terminal else io.StringIO(), io.StringIO()
        self.patch.setattr(shutil, "get_terminal_size", lambda: os.terminal_size((columns, 40)))
        with self.patch.context() as patched:
            patched.setattr(sys, "stdout", out)
            patched.setattr(sys, "stderr", errors)
            assert main(["page", *words, "--file", str(self.file)]) == status
        self.errors = errors.getvalue()
        return out.getvalue()


@pytest.fixture
def station(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Station]:
    """With the quick hash."""
    monkeypatch.setattr(pairing_module, "ROUNDS", 1)
    return Station(tmp_path, monkeypatch)  # type: ignore[return-value]


def test_both_addresses_and_a_code_that_counts_are_told(station: Station) -> None:
    """The code stands in the fragment, which no log ever sees; then the phone is in the list under its name."""
    told = station.run("pair", "--name", "Anna's phone")
    code = re.findall(r"code: (\w{4}-\w{4}),", told)[0]
    assert f"pair a phone: http://laundry.local:8410/pair#{code}\n" in told
    assert f"or, where that is not found, http://192.168.178.42:8410/pair#{code}\n" in told
    token = station.pairing.trade(code)
    line = r"\w{4}  Anna's phone, paired \d{4}-\d\d-\d\d \d\d:\d\d"
    assert re.fullmatch(f"{line}, never used\n", station.run("devices")), "whoever left before the answer has no cookie"
    assert station.pairing.device(token) is not None
    assert re.fullmatch(f"{line}\n", station.run("devices"))


def test_phones_are_revoked_one_by_one_and_all_at_once(station: Station) -> None:
    """And a phone that is none is told of in a line."""
    for name in ("one", "two", "three"):
        station.pairing.trade(station.pairing.new_code(name))
    first = station.pairing.devices()[0].id
    told = station.run("devices", "--revoke", first)
    assert told.startswith(f"revoked: {first}  one, paired")
    assert [device.name for device in station.pairing.devices()] == ["two", "three"]
    station.run("devices", "--revoke", first, status=2)
    assert station.errors.count("\n") == 1
    assert "allowed:" in station.errors
    assert station.run("devices", "--revoke", "all").endswith("No phone is paired. To pair one: evenbath page pair\n")


def modules(lines: list[str]) -> list[list[bool]]:
    """What is dark on the terminal, module by module."""
    halves = {" ": (True, True), "▄": (True, False), "▀": (False, True), "█": (False, False)}
    return [row for line in lines for row in zip(*(halves[sign] for sign in line), strict=True)]  # type: ignore[misc]


def test_the_code_is_drawn_where_a_person_looks_and_it_fits(station: Station) -> None:
    """33 columns by 17 lines, as the library makes it; nothing on 34 columns, and nothing where no person looks."""
    segno = pytest.importorskip("segno")
    drawn = station.run("pair", columns=COLUMNS).splitlines()[3:]
    assert (len(drawn), {len(line) for line in drawn}) == (17, {33})
    url = "http://192.168.178.42:8410/pair#K7QF-29MX"
    made = [list(map(bool, row)) for row in segno.make(url, error="m", micro=False).matrix_iter(border=2)]
    assert [list(row) for row in modules(qr_lines(url))][: len(made)] == made
    for columns, terminal in ((COLUMNS - 1, True), (200, False)):
        assert len(station.run("pair", columns=columns, terminal=terminal).splitlines()) == 3


@pytest.mark.parametrize("word", [{"light": False}, {"light": True, "films": [{}]}, {"light": True}, {}, COMES])
def test_no_bright_patch_while_the_station_says_that_something_is_armed(station: Station, word: dict[str, Any]) -> None:
    """Bare film, a lidded session, and a word that says neither."""
    station.word = word
    *_, last = station.run("pair").splitlines()
    assert last == "No QR code: it is bright, and a session is open, or film or paper may be bare."


def test_no_bright_patch_while_a_journal_is_open(station: Station) -> None:
    """The station may be dead, and the film in the tank; once it is closed there is one."""
    pytest.importorskip("segno")
    put(station.state / "journals", "01-cold-laundry", closed=False)
    for station.word in (None, {"light": True, "films": []}):
        assert "█" not in station.run("pair")
    (station.state / "journals" / "261106-1910a.jsonl").unlink()
    assert "█" in station.run("pair")


def test_no_bright_patch_for_an_hour_after_film_was_left_bare(station: Station, monkeypatch: pytest.MonkeyPatch) -> None:
    """By the same rule as the page itself."""
    monkeypatch.setattr("monitor.page.light.left_bare_s", lambda journals, wall: 1.0)
    assert "█" not in station.run("pair")


def test_without_the_library_a_line_says_so(station: Station, monkeypatch: pytest.MonkeyPatch) -> None:
    """And the code and addresses are there all the same."""
    monkeypatch.setitem(sys.modules, "segno", None)
    told = station.run("pair").splitlines()
    assert told[-1] == 'No QR code: segno is not installed; pip install "evenbath[page]" brings it.'
    assert len(told) == 4


def test_a_service_prints_no_code_and_a_person_gets_one(station: Station) -> None:
    """What stands in a log is read by others; and where nothing can be paired the page is served all the same."""

    class Server:
        port = 8410
        address = "192.168.178.42"

    config = type("Config", (), {"state": station.state, "journals": station.state / "journals"})()
    for out, has_code in ((io.StringIO(), False), (Terminal(), True)):
        with station.patch.context() as patched:
            patched.setattr(sys, "stdout", out)
            page._invite(config, [Server(), Server()])  # type: ignore[list-item]
        assert ("code:" in out.getvalue()) is has_code
    (station.state / "page" / "paired.json").write_text("{")
    with station.patch.context() as patched:
        patched.setattr(sys, "stdout", out := Terminal())
        page._invite(config, [Server(), Server()])  # type: ignore[list-item]
    assert out.getvalue().startswith("No phone can be paired: ")
    assert out.getvalue().count("\n") == 1


def test_without_a_private_address_the_machines_own_is_told(station: Station, monkeypatch: pytest.MonkeyPatch) -> None:
    """A browser on the same machine is paired with it."""

    def none() -> str:
        raise InputWrong("--lan: none")

    monkeypatch.setattr(page, "_lan_address", none)
    assert station.run("pair", "--port", "9000").startswith("pair a phone: http://127.0.0.1:9000/pair#")


def test_a_spoiled_list_is_one_line(station: Station) -> None:
    """With its file, and what to do."""
    station.run("pair")
    (station.state / "page" / "paired.json").write_text("{")
    for words in (("pair",), ("devices",), ("devices", "--revoke", "all")):
        station.run(*words, status=2)
        assert station.errors.count("\n") == 1
        assert "paired.json: damaged; nobody is paired; allowed: remove it and pair each phone anew" in station.errors


@pytest.mark.parametrize(
    "words", [("pair", "--lan"), ("devices", "--name", "x"), ("pair", "--revoke", "x"), ("--revoke", "x"), ("pair", "--name", "x" * 41)]
)
def test_options_of_another_action_are_refused(station: Station, words: tuple[str, ...]) -> None:
    """In a line."""
    station.run(*words, status=2)
    assert "allowed:" in station.errors


def test_a_class_has_no_pairing(station: Station, capsys: pytest.CaptureFixture[str]) -> None:
    """It only reads."""
    assert main(["page", "pair", "--class", str(station.state)]) == 2
    assert "allowed: --file" in capsys.readouterr().err


def test_segno_is_imported_nowhere_else() -> None:
    """Not by the page's own process, nor by the station's."""
    root = Path(page_pairing.__file__).parents[2]
    files = [path for folder in ("monitor", "hardware") for path in (root / folder).rglob("*.py")]
    found = [path.name for path in files if "import segno" in path.read_text()]
    assert found == ["page_pairing.py"]
