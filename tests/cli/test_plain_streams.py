"""What commands write, and what they are called with: no control character gets to a terminal, no byte stops anybody."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from monitor.cli.main import main

DEMO = Path(__file__).parents[2] / "demo_logs"
ESCAPES = "\x1b[31m\x9b2J\x07\u202e"


@pytest.mark.parametrize(
    "words",
    [
        [f"dance{ESCAPES}\nforged"], ["review", f"no{ESCAPES}\nforged"], ["plan", f"--{ESCAPES}\nforged"],
        ["mix", "--dilution", f"1{ESCAPES}"], ["temper", "--volume", f"8{ESCAPES}"], ["rehearse", f"{ESCAPES}.toml", "--trace", "x"],
        ["record", "--broker", f"{ESCAPES}", "--into", "x"],
        ["status", "--file", f"x{ESCAPES}"], ["judge", str(DEMO / "06-power-cut.jsonl"), "--seen", f"x{ESCAPES}"],
    ],
    ids=lambda words: words[0][:8],
)  # fmt: skip
def test_an_error_is_one_plain_line_whatever_was_typed(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing forges a second line, moves the cursor or turns the text round."""
    assert main(words) in (2, 3)
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert err[:-1].isprintable()


def of_a_film(rehearsal: Path) -> bytes:
    """The same journal as if film had been in it: of a rehearsal nothing is judged."""
    return rehearsal.read_bytes().replace(b'"mode":"rehearsal"', b'"mode":"live"')


def test_a_judgement_is_shown_plain_and_kept_as_it_was_said(
    brief_journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """In JSON nothing is lost: what is not shown stands there as an escape."""
    journal = tmp_path / "j.jsonl"
    journal.write_bytes(of_a_film(brief_journal))
    assert main(["judge", str(journal), "--notes", f"nice{ESCAPES}"]) == 0
    assert all(c.isprintable() or c == "\n" for c in capsys.readouterr().out)
    assert main(["judge", str(journal), "--json"]) == 0
    out = capsys.readouterr().out
    assert out[:-1].isprintable()
    assert json.loads(out)["judgement"]["notes"] == f"nice{ESCAPES}"


def test_bytes_that_are_no_utf_8_stop_nothing(brief_journal: Path, tmp_path: Path) -> None:
    """As words they are replaced, as the name of a file that is there they are used; no encoding of the terminal stops it either."""
    journal = os.fsencode(tmp_path) + b"/caf\xe9.jsonl"
    Path(os.fsdecode(journal)).write_bytes(of_a_film(brief_journal))
    start = [sys.executable.encode(), b"-m", b"monitor.cli.main"]
    for encoding, words in (
        ("utf-8", [b"judge", journal, b"--notes", b"caf\xe9"]),
        ("ascii", [b"review", journal, b"--json"]),
        ("ascii", [b"review", journal, b"--report", os.fsencode(tmp_path) + b"/r.html", b"--csv", os.fsencode(tmp_path) + b"/r.csv"]),
    ):
        environment = {**os.environ, "PYTHONIOENCODING": encoding}
        done = subprocess.run([*start, *words], capture_output=True, env=environment, check=False, timeout=60)
        assert done.returncode == 0, (words, done.stderr)
    judged = Path(os.fsdecode(journal.replace(b".jsonl", b".judgement.jsonl"))).read_text(encoding="utf-8")
    assert json.loads(judged)["notes"] == "caf\ufffd"


@pytest.mark.parametrize("words", [["rehearse", "RECIPE", "--trace", "TRACE", "--journal", "OUT"], ["judge", "JOURNAL", "--notes", "x"]])
def test_a_umask_that_lets_everybody_write_is_not_taken_up(brief_journal: Path, tmp_path: Path, words: list[str]) -> None:
    """000 still makes private files; what this user usually makes stays as it is."""
    made = {"RECIPE": brief_journal.with_suffix(".toml"), "TRACE": brief_journal.with_suffix(".csv")}
    made |= {"OUT": tmp_path / "out.jsonl", "JOURNAL": tmp_path / "j.jsonl"}
    (tmp_path / "j.jsonl").write_bytes(of_a_film(brief_journal))
    modes = []
    for mask in (0o000, 0o022):
        before = os.umask(mask)
        try:
            assert main([str(made.get(word, word)) for word in words]) == 0
            assert os.umask(mask) == mask
        finally:
            os.umask(before)
        (fresh,) = (path for path in tmp_path.iterdir() if path.name != "j.jsonl")
        modes.append(fresh.stat().st_mode & 0o777)
        fresh.unlink()
    assert modes[0] == 0o640
    assert modes[1] == 0o644


def test_overwriting_follows_no_link_and_waits_for_no_fifo(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`--overwrite` means the journal of this name, not what a link leads to."""
    mine = tmp_path / "mine.txt"
    mine.write_text("mine")
    (tmp_path / "link.jsonl").symlink_to(mine)
    os.mkfifo(tmp_path / "pipe.jsonl")
    for name in ("link.jsonl", "pipe.jsonl"):
        words = ["rehearse", str(DEMO / "roll.toml"), "--trace", str(DEMO / "01-cold-laundry.csv")]
        assert main([*words, "--journal", str(tmp_path / name), "--overwrite"]) == 2
        assert capsys.readouterr().err.count("\n") == 1
    assert mine.read_text() == "mine"


@pytest.mark.parametrize("what", ["link", "FIFO", "folder"])
def test_a_judgement_goes_into_its_own_file_alone(
    brief_journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], what: str
) -> None:
    """Not through a link, and nobody waits for a FIFO."""
    journal, beside = tmp_path / "j.jsonl", tmp_path / "j.judgement.jsonl"
    journal.write_bytes(of_a_film(brief_journal))
    mine = tmp_path / "mine.txt"
    mine.write_text("")
    if what == "link":
        beside.symlink_to(mine)
    elif what == "FIFO":
        os.mkfifo(beside)
    else:
        beside.mkdir()
    assert main(["judge", str(journal), "--notes", "x"]) == 2
    assert capsys.readouterr().err.count("\n") == 1
    assert mine.read_text() == ""
