"""The built-in evening: what a person sees who types `evenbath rehearse` and nothing else."""

from __future__ import annotations

import contextlib
import io
import json
import os
import pty
import re
import select
import subprocess
import sys
from pathlib import Path

import pytest

from monitor.cli.main import main
from monitor.cli.rehearse import DEMO
from monitor.core.probes.learned import ComparisonPoint
from monitor.core.recipe.reader import load_recipe
from monitor.prepare.probes.comparing import ICE, ICE_SD_C, combine


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> tuple[list[str], Path]:
    """Its lines in a pipe, and the journal that they name; as fast as the machine can."""
    folder = tmp_path_factory.mktemp("evening")
    with pytest.MonkeyPatch.context() as patch, contextlib.redirect_stdout(io.StringIO()) as out:
        patch.chdir(folder)
        assert main(["rehearse", "--speed", "max"]) == 0
    lines = out.getvalue().splitlines()
    return lines, folder / lines[-1].removeprefix("Journal: ")


def test_it_ends_with_a_summary_and_the_path_of_the_journal(played: tuple[list[str], Path]) -> None:
    """The journal is there and closed; the evening takes 20 to 35 s at sixty times real time."""
    said, journal = played
    records = [json.loads(line) for line in journal.read_text().splitlines()]
    assert (records[-1]["event"], records[-1]["why"]) == ("close", "finished")
    assert 20.0 <= records[-1]["t_s"] / 60.0 <= 35.0
    assert "Roll film, cold laundry (rehearsal): finished." in said
    assert any("development done" in line and "+/-" in line for line in said)


def test_trust_is_lost_and_regained_and_every_stage_passes(played: tuple[list[str], Path]) -> None:
    """One FAULT, then belief again; the stages come in their order."""
    said, journal = played
    records = [json.loads(line) for line in journal.read_text().splitlines()]
    changes = [r["believed"] for r in records if r["kind"] == "trust"]
    assert changes == [True, False, True]
    assert len([r for r in records if r["kind"] == "cue" and r["cue"] == "fault"]) == 1
    begun = [m[1] for m in (re.match(r" *[\d:]+  ([A-Z]+) begins", line) for line in said) if m]
    assert begun == ["PRESOAK", "DEVELOP", "STOP", "FIX", "WASH", "RINSE"]


def test_its_probes_are_as_sure_as_melting_ice_makes_them(played: tuple[list[str], Path]) -> None:
    """What `compare --ice` leaves at 20 C, rounded up; no better thermometer is pretended."""
    ice = ComparisonPoint(0.0, 0.1, 0.01, ICE, ICE_SD_C)
    kept = combine([ice], probe="jug", number=None, reference=ICE, reference_sd_c=ICE_SD_C, who="", day="2026-11-01")
    told = {p["name"]: p for p in json.loads(played[1].read_text().splitlines()[0])["probes"]}
    for name in ("developer", "bath"):
        assert kept.sd_at(20.0) <= told[name]["comparison_sd_c"] <= 1.1 * kept.sd_at(20.0)
        assert told[name]["compared"] is True


def test_its_recipe_gives_no_warning() -> None:
    """What is shown first is as it should be."""
    assert load_recipe((DEMO / "evening.toml").read_bytes(), "evening.toml").warnings == ()


SHORT = """schema = 1
name = "a short one"
film = "panchromatic"
vessel = "lidded tank"
[[stage]]
name = "develop"
role = "develop"
time = "1:30"
reference = "20 C"
rate = { law = "coefficient", per_10_c = 2.5 }
"""


def on_a_terminal(folder: Path, *words: str, **environ: str) -> bytes:
    """The bytes that a rehearsal sends to a terminal of 80 by 24; slow enough that a busy machine has time to draw."""
    (folder / "short.toml").write_text(SHORT)
    (folder / "steady.csv").write_text("t_s,developer_c,bath_c\n0,20.0,20.0\n600,20.0,20.0\n")
    master, slave = pty.openpty()
    own = ("NO_COLOR", "COLORTERM", "FORCE_COLOR", "LC_ALL", "LC_CTYPE", "PYTHONIOENCODING")
    kept = {k: v for k, v in os.environ.items() if k not in own}
    kept |= {"TERM": "xterm-256color", "LANG": "C.UTF-8", "COLUMNS": "80", "LINES": "24", **environ}
    command = [sys.executable, "-m", "monitor.cli.main", "rehearse", "short.toml", "--trace", "steady.csv", "--speed", "120", *words]
    kept["PYTHONPATH"] = str(Path(__file__).parents[2])
    process = subprocess.Popen(command, stdin=slave, stdout=slave, stderr=slave, cwd=folder, env=kept)
    os.close(slave)
    seen = b""
    while select.select([master], [], [], 30.0)[0]:
        try:
            data = os.read(master, 65536)
        except OSError:
            break
        if not data:
            break
        seen += data
    os.close(master)
    assert process.wait(30) == 0
    return seen


@pytest.fixture(scope="module")
def on_a_good_terminal(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """What a rehearsal sends to a terminal that can do everything."""
    return on_a_terminal(tmp_path_factory.mktemp("good"))


def test_a_terminal_gets_the_view_without_colours_and_is_given_back(on_a_good_terminal: bytes) -> None:
    """On the other screen; then the summary and the path stand on the person's own."""
    seen = on_a_good_terminal
    view, _, after = seen.rpartition(b"\x1b[?1049l")
    assert b"\x1b[?1049h" in view
    assert "\u2588".encode() in view
    assert "development done" in after.decode()
    assert re.search(rb"Journal: rehearsal-\S+\.jsonl\r\n$", after)
    assert not re.search(rb"\x1b\[[0-9;]*\b(3[0-7]|4[0-7]|9[0-7]|38|48)\b[0-9;]*m", seen)


def test_no_colour_is_ever_drawn_and_none_can_be_asked_for(on_a_good_terminal: bytes, tmp_path: Path) -> None:
    """A red screen would claim a safety that nobody can promise; NO_COLOR changes nothing, for there is nothing to take away."""
    colours = rb"\x1b\[(?:[0-9;]*;)?(?:3[0-8]|4[0-8]|9[0-7]|10[0-7])(?:;[0-9;]*)?m"
    for seen in (on_a_good_terminal, on_a_terminal(tmp_path, NO_COLOR="1")):
        assert b"\x1b[1m" in seen
        assert not re.search(colours, seen)
    for command in (["rehearse", "--red"], ["develop", "x", "--file", "y", "--red"], ["status", "--file", "y", "--follow", "--red"]):
        assert main(command) == 2


def test_a_poor_terminal_gets_ascii_and_a_dumb_one_plain_lines(tmp_path: Path) -> None:
    """No escape sequence where none is understood."""
    assert on_a_terminal(tmp_path, TERM="vt100").isascii()
    dumb = on_a_terminal(tmp_path, TERM="dumb")
    assert b"\x1b" not in dumb
    assert b"DEVELOP begins" in dumb
