"""`evenbath lesson dry-run`: a whole session on a real station on a rig, with a foot that taps, and what is refused."""

from __future__ import annotations

import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.cli.rigged import LONG, QUICK, Rigged


@pytest.fixture
def rigged(tmp_path: Path) -> Iterator[Rigged]:
    """A station that runs."""
    rigged = Rigged(tmp_path)
    rigged.start()
    yield rigged
    rigged.kill()


def begun(rigged: Rigged, text: str) -> tuple[subprocess.Popen[str], str]:
    """A dry run that is armed, and its session."""
    words = rigged.command("lesson", "dry-run", rigged.recipe(text), "--file", str(rigged.file))
    process = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    rigged.wait(lambda: bool(list((rigged.state / "journals").glob("*.jsonl"))))
    (journal,) = (rigged.state / "journals").glob("*.jsonl")
    rigged.wait(lambda: bool(rigged.records(journal.stem, kind="session")))
    return process, journal.stem


def test_a_whole_session_tells_each_press_and_leaves_a_rehearsal(rigged: Rigged) -> None:
    """Begin, a tap when it was poured, and the end."""
    process, name = begun(rigged, QUICK)
    rigged.hold(name)
    for stage in (1, 2):
        rigged.wait(lambda stage=stage: bool(rigged.records(name, kind="stage", event="end", stage=stage)))  # type: ignore[misc]
        rigged.tap()
    rigged.wait(lambda: bool(rigged.records(name, kind="stage", event="minimum", stage=3)))
    rigged.tap()
    out, err = process.communicate(timeout=40)
    assert process.returncode == 0, err
    meanings = [tap["meaning"] for tap in rigged.records(name, kind="tap")]
    assert [line.split("FOOT: ")[1].split(":")[0] for line in out.splitlines() if "FOOT: " in line] == meanings
    assert meanings[0] == "begin"
    assert rigged.records(name, kind="session", event="open")[0]["mode"] == "rehearsal"
    assert f"Journal, a rehearsal: {rigged.journal(name)}\n" in out


def test_ctrl_c_ends_the_dry_run_at_the_station_too(rigged: Rigged) -> None:
    """There is no film in it; exit status 130, and the record says why."""
    process, name = begun(rigged, LONG)
    rigged.hold(name)
    assert process.stdout is not None
    while "FOOT: begin" not in process.stdout.readline():
        pass
    process.send_signal(signal.SIGINT)
    _, err = process.communicate(timeout=40)
    assert process.returncode == 130, err
    (close,) = rigged.records(name, kind="session", event="close")
    assert "keyboard" in close["why"]


def test_a_second_session_and_a_recipe_that_is_none_are_refused(rigged: Rigged, tmp_path: Path) -> None:
    """Exit status 2, in one line."""
    name = rigged.arm(LONG)
    refused = rigged.run("lesson", "dry-run", rigged.recipe(QUICK), "--file", str(rigged.file))
    assert (refused.returncode, len(refused.stderr.splitlines())) == (2, 1)
    assert name in refused.stderr
    missing = rigged.run("lesson", "dry-run", str(tmp_path / "none.toml"), "--file", str(rigged.file))
    assert (missing.returncode, len(missing.stderr.splitlines())) == (2, 1)
