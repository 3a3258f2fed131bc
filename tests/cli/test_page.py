"""`evenbath page` as a process beside a real station on a rig: what it prints, serves, refuses, and that neither needs the other."""

from __future__ import annotations

import json
import signal
import socket
import subprocess
import sys
import threading
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from monitor.cli import page
from monitor.cli.main import main
from monitor.cli.page import BLACK_S, NICE, STALE_S
from monitor.core.errors import InputWrong
from monitor.live.station.telling import LEASE_S
from monitor.prepare.logbook.notes import read_notes
from tests.cli.rigged import DARK, LONG, Rigged


class Paged(Rigged):
    """A rig with a page."""

    process_of_page: subprocess.Popen[str] | None = None
    url = ""

    def serve(self, *more: str) -> None:
        """Start the page; its first line has its address."""
        words = self.command("page", "--file", str(self.file), "--port", "0", *more)
        self.process_of_page = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
        assert self.process_of_page.stdout is not None
        line = self.process_of_page.stdout.readline()
        assert line.startswith("page: http://127.0.0.1:"), line
        self.url = line.removeprefix("page: ").strip()

    def ask(self, path: str) -> tuple[int, bytes]:
        """Status and body."""
        try:
            with urllib.request.urlopen(f"{self.url}{path}", timeout=20) as answer:
                return int(answer.status), answer.read()
        except urllib.error.HTTPError as refused:
            return refused.code, refused.read()

    def seen(self) -> dict[str, Any]:
        """The newest snapshot."""
        told = json.loads(self.ask("snapshot")[1])
        assert isinstance(told, dict)
        return told

    def post(self, path: str, told: object, cookie: str = "") -> tuple[int, str]:
        """Status, and the cookie that is set."""
        headers = {"Content-Type": "application/json", "Origin": self.url.rstrip("/"), "Cookie": cookie}
        request = urllib.request.Request(f"{self.url}{path}", json.dumps(told).encode(), headers)
        try:
            with urllib.request.urlopen(request, timeout=20) as answer:
                return int(answer.status), str(answer.headers.get("Set-Cookie", "")).partition(";")[0]
        except urllib.error.HTTPError as refused:
            refused.read()
            return refused.code, ""

    def stop_page(self) -> None:
        """By SIGTERM."""
        if self.process_of_page is not None:
            self.process_of_page.send_signal(signal.SIGCONT)
            self.process_of_page.send_signal(signal.SIGTERM)
            self.process_of_page.wait(10)
            assert self.process_of_page.stdout is not None
            self.process_of_page.stdout.close()

    def close(self) -> None:
        """Both processes."""
        self.stop_page()
        if self.process is not None:
            self.process.send_signal(signal.SIGCONT)
            self.stop()


@pytest.fixture
def paged(tmp_path: Path) -> Iterator[Paged]:
    """Both end with the test."""
    made = Paged(tmp_path)
    yield made
    made.close()


def test_a_session_is_seen_from_waiting_to_its_report(paged: Paged) -> None:
    """The whole way, with the contract's states; and the page runs behind everything else."""
    paged.serve()
    paged.start()
    paged.wait(lambda: paged.seen().get("station") == "laundry")
    assert paged.seen()["state"] == "waiting"
    name = paged.arm()
    paged.wait(lambda: bool(paged.seen().get("films")))
    assert paged.ask(f"reports/{name}")[0] == 404
    paged.hold(name)
    paged.wait(lambda: paged.seen()["state"] in ("running", "ready", "now"))
    assert paged.seen()["films"][0]["session"] == name
    paged.wait(lambda: bool(paged.records(name, kind="stage", event="minimum")))
    paged.tap()
    paged.wait(lambda: paged.seen()["state"] == "done")
    status, body = paged.ask(f"reports/{name}")
    assert status == 200
    assert b"quick" in body
    assert b"/lease.js" in body
    assert paged.process_of_page is not None
    nice = int(Path(f"/proc/{paged.process_of_page.pid}/stat").read_text().rpartition(")")[2].split()[16])
    assert nice >= NICE


def test_a_paired_phone_writes_until_a_session_is_armed_and_the_page_may_be_restarted(paged: Paged) -> None:
    """With the real station's word: paired by the command's code, across a restart of the page, and not beside a session."""
    paged.start()
    paged.serve()
    paged.wait(lambda: paged.seen().get("station") == "laundry")
    told = paged.run("page", "pair", "--file", str(paged.file)).stdout
    code = told.partition("code: ")[2][:9]
    status, cookie = paged.post("pair", {"code": code})
    assert status == 200
    assert paged.post("pair", {"code": code})[0] == 403
    note = {"text": "the tap drips", "session": None, "key": "k" * 32}
    assert paged.post("writes/note", note, cookie)[0] == 200
    paged.stop_page()
    paged.serve()
    paged.wait(lambda: paged.seen().get("station") == "laundry")
    assert paged.post("writes/tick", {"recipe": "recipe.toml", "item": "jugs", "ticked": True}, cookie)[0] == 400, "no such recipe yet"
    name = paged.arm(LONG)
    before = paged.journal(name).read_bytes()
    assert paged.post("writes/choose", {"recipe": "recipe.toml"}, cookie)[0] == 409
    assert paged.post("writes/note", {**note, "session": name, "key": "l" * 32}, cookie)[0] == 200, "lidded: a note may be kept"
    assert paged.journal(name).read_bytes().startswith(before)
    assert b"tap drips" not in paged.journal(name).read_bytes()
    assert paged.run("abandon", "--file", str(paged.file), "--why", "a test").returncode == 0
    paged.wait(lambda: paged.post("writes/choose", {"recipe": "recipe.toml"}, cookie)[0] == 200)
    assert paged.process is not None
    paged.process.send_signal(signal.SIGSTOP)
    paged.wait(lambda: paged.post("writes/choose", {"recipe": None}, cookie)[0] == 409)
    assert paged.post("writes/note", {**note, "key": "m" * 32}, cookie)[0] == 409
    paged.process.send_signal(signal.SIGCONT)
    assert paged.run("page", "devices", "--revoke", "all", "--file", str(paged.file)).returncode == 0
    assert paged.post("writes/note", {**note, "key": "n" * 32}, cookie)[0] == 401
    assert [kept.text for kept in read_notes(paged.state)] == ["the tap drips"] * 2


def test_with_bare_film_the_page_is_black_and_the_station_waits_for_it(paged: Paged) -> None:
    """Lit pages put the arming off by the lease, which is short here; from the first word on all is dark."""
    lease_s = 6.0
    paged.start("--lease-s", str(lease_s))
    paged.serve("--stale-s", "1", "--black-s", "4")
    paged.wait(lambda: paged.seen().get("station") == "laundry")
    armed = threading.Thread(target=paged.run, args=("develop", paged.recipe(DARK), "--file", str(paged.file), "--detach", "--waive", "x"))
    begun_s = paged.clock.mono_s()
    armed.start()
    paged.wait(lambda: paged.seen() == {"light": False})
    assert paged.clock.mono_s() - begun_s < lease_s
    assert not list((paged.state / "journals").glob("*.jsonl"))
    assert paged.ask("")[0] == 503
    armed.join()
    assert paged.clock.mono_s() - begun_s >= lease_s
    assert list((paged.state / "journals").glob("*.jsonl"))
    paged.kill()
    paged.pause(4.0)
    assert paged.seen() == {"light": False}
    assert paged.ask("journals")[0] == 503


def test_a_station_that_is_stopped_makes_old_values_and_then_black_and_neither_needs_the_other(paged: Paged) -> None:
    """SIGSTOP and SIGKILL of each: the other goes on."""
    paged.start()
    paged.serve("--stale-s", "1", "--black-s", "4")
    name = paged.arm(LONG)
    paged.hold(name)
    paged.wait(lambda: paged.seen().get("state") == "running")
    assert paged.process is not None
    paged.process.send_signal(signal.SIGSTOP)
    paged.wait(lambda: paged.seen().get("station_age_s", 0.0) > 1.0)
    paged.wait(lambda: paged.seen() == {"light": False})
    paged.process.send_signal(signal.SIGCONT)
    paged.wait(lambda: paged.seen().get("state") == "running")
    assert paged.process_of_page is not None
    paged.process_of_page.send_signal(signal.SIGSTOP)
    at = len(paged.records(name, kind="reading"))
    paged.wait(lambda: len(paged.records(name, kind="reading")) > at + 8)
    paged.process_of_page.send_signal(signal.SIGCONT)
    paged.process_of_page.kill()
    at = len(paged.records(name, kind="reading"))
    paged.wait(lambda: len(paged.records(name, kind="reading")) > at + 4)


@pytest.mark.parametrize(("more", "lease_s"), [((), "3"), (("--rig", "x"), "21"), (("--rig", "x"), "0"), (("--rig", "x"), "nan")])
def test_the_lease_is_shortened_on_a_rig_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], more: tuple[str, ...], lease_s: str
) -> None:
    """A station with probes waits for as long as any display may shine."""
    assert main(["station", "--file", str(Rigged(tmp_path).file), "--lease-s", lease_s, *more]) == 2
    assert "allowed: on a rig, up to 20" in capsys.readouterr().err


def test_what_is_wrong_is_said_in_a_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A port that is taken, a number that is none, a folder that is not there; exit 2."""
    rigged = Rigged(tmp_path)
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        assert main(["page", "--file", str(rigged.file), "--port", port]) == 2
    assert main(["page", "--file", str(rigged.file), "--port", "99999"]) == 2
    assert main(["page", "--class", str(tmp_path / "none")]) == 2
    assert main(["page", "--file", str(rigged.file), "--black-s", "30"]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 4
    assert all("allowed:" in line for line in lines)


def test_a_display_is_black_before_the_station_stops_waiting_for_it() -> None:
    """Old first, then black, both within the lease, with room for an event that is on its way."""
    assert STALE_S < BLACK_S <= LEASE_S - 4.0


def test_the_process_loads_nothing_that_weighs() -> None:
    """No numpy, no pandas, no broker's client, no pins."""
    code = (
        "import sys, importlib, pkgutil, monitor.page\n"
        "for m in pkgutil.iter_modules(monitor.page.__path__): importlib.import_module('monitor.page.' + m.name)\n"
        "bad = {'numpy', 'pandas', 'paho', 'gpiozero', 'w1thermsensor'} & set(sys.modules); assert not bad, bad"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_on_the_lan_both_addresses_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """The name and the number, after the line that is always first; without --lan there is that line alone."""

    class Server:
        port = 8410
        address = "192.168.178.42"

    monkeypatch.setattr(page, "_own_name", lambda: "laundry.local")
    first, second, third = page._told([Server(), Server()], lan=True)  # type: ignore[list-item]
    assert first == "page: http://127.0.0.1:8410/"
    assert "http://laundry.local:8410/ or, where that is not found, http://192.168.178.42:8410/" in second
    assert "nobody can start, stop or light anything" in third
    assert page._told([Server()], lan=False) == [first]  # type: ignore[list-item]


@pytest.mark.parametrize("address", ["8.8.8.8", "127.0.0.1", "100.64.1.2"])
def test_a_machine_without_a_private_address_does_not_serve_the_lan(monkeypatch: pytest.MonkeyPatch, address: str) -> None:
    """Nor one that has none but its own."""

    class Socket(socket.socket):
        def connect(self, to: Any) -> None:
            """Nothing is sent."""

        def getsockname(self) -> Any:
            """As the kernel would say."""
            return (address, 1)

    monkeypatch.setattr(socket, "socket", Socket)
    with pytest.raises(InputWrong, match="private network"):
        page._lan_address()
