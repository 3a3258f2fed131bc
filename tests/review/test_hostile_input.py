"""Journals that somebody made, by mistake or on purpose: lines without end, lone surrogates, FIFOs, text that means something elsewhere."""

from __future__ import annotations

import csv
import json
import os
from pathlib import Path

import pytest

from monitor.cli.main import main
from monitor.review.export import write_csv

DEMO = Path(__file__).parents[2] / "demo_logs"


def journal_with(journal: Path, tmp_path: Path, at: int, line: bytes) -> Path:
    """A copy of this journal with one more line before line `at` (from 1)."""
    lines = journal.read_bytes().splitlines(keepends=True)
    lines.insert(at - 1, line)
    path = tmp_path / "j.jsonl"
    path.write_bytes(b"".join(lines))
    return path


@pytest.mark.parametrize("length", [(1 << 20) + 1, (1 << 20) + 2, (1 << 20) + 3, 2 << 20, 5 << 20])
@pytest.mark.parametrize("option", ["--check", "--json"])
def test_a_line_over_a_mebibyte_is_told_and_the_rest_is_read(
    brief_journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], length: int, option: str
) -> None:
    """With file and line, exit status 2; the lines behind it count as ever."""
    path = journal_with(brief_journal, tmp_path, 6, b'{"x":"' + b"x" * (length - 9) + b'"}\n')
    assert main(["review", str(path), option]) == 2
    out, err = capsys.readouterr()
    told = [line for line in err.splitlines() if f"{path}:6: a line of more than" in line]
    assert len(told) == 1
    assert main(["review", str(brief_journal), option]) == 0
    sound = capsys.readouterr().out
    if option == "--json":
        rest = {"file": "", "problems": []}
        assert json.loads(out) | rest == json.loads(sound) | rest


def test_a_last_line_over_a_mebibyte_is_told_too(brief_journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """No loss of power leaves such a remainder."""
    path = tmp_path / "j.jsonl"
    body = brief_journal.read_bytes()
    path.write_bytes(body + b"x" * (3 << 20))
    assert main(["review", str(path), "--check"]) == 2
    assert f"{path}:{body.count(bytes([10])) + 1}: a line of more than" in capsys.readouterr().err


@pytest.mark.parametrize("where", ["session", "why", "key"])
def test_a_lone_surrogate_is_told_with_its_line(
    brief_journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], where: str
) -> None:
    """It is no character and cannot be written anywhere."""
    record = json.loads(brief_journal.read_bytes().splitlines()[4])
    fields = {"session": {**record, "session": "\ud800"}, "why": {**record, "why": ["\udfff x"]}, "key": {**record, "\ud83d": 1}}[where]
    path = journal_with(brief_journal, tmp_path, 6, json.dumps(fields).encode() + b"\n")
    assert main(["review", str(path), "--json"]) == 2
    assert f"{path}:6: a lone surrogate" in capsys.readouterr().err
    pair = journal_with(brief_journal, tmp_path, 6, json.dumps({**record, "kind": "note", "why": "\U0001f39e"}).encode() + b"\n")
    main(["review", str(pair), "--json"])
    assert "a lone surrogate" not in capsys.readouterr().err


@pytest.mark.parametrize("what", ["FIFO", "device", "folder without journals"])
@pytest.mark.parametrize(
    "words",
    [
        ["review", "PATH"], ["review", "PATH", "--check"], ["judge", "PATH"], ["forecast", "PATH", "--minutes", "15"],
        ["lag", "PATH", "--probe", "developer"], ["compare", "PATH", "--probe", "developer", "--against", "20 C", "--at", "300"],
        ["rehearse", str(DEMO / "roll.toml"), "--trace", "PATH", "--journal", "OUT"], ["plan", "PATH"],
        ["rehearse", str(DEMO / "roll.toml"), "--trace", str(DEMO / "01-cold-laundry.csv"), "--foot", "PATH", "--journal", "OUT"],
    ],
    ids=lambda words: " ".join(Path(w).name for w in words),
)  # fmt: skip
def test_what_is_no_file_is_refused_at_once(tmp_path: Path, capsys: pytest.CaptureFixture[str], words: list[str], what: str) -> None:
    """Exit status 2, one line, and nobody waits for a writer that never comes."""
    path = tmp_path / "thing"
    if what == "FIFO":
        os.mkfifo(path)
    elif what == "device":
        path = Path("/dev/zero")
    else:
        path.mkdir()
    said = [{"PATH": str(path), "OUT": str(tmp_path / "out.jsonl")}.get(word, word) for word in words]
    assert main(said) == 2
    out, err = capsys.readouterr()
    assert (out, len(err.splitlines())) == ("", 1)
    assert str(path) in err


def test_a_folder_with_a_fifo_in_it_is_reviewed_all_the_same(
    brief_journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The FIFO is told, the journals are shown."""
    (tmp_path / "b.jsonl").write_bytes(brief_journal.read_bytes())
    os.mkfifo(tmp_path / "a.jsonl")
    (tmp_path / "c.jsonl").mkdir()
    (tmp_path / "d.jsonl").symlink_to("nowhere")
    assert main(["review", str(tmp_path), "--json"]) == 2
    out, err = capsys.readouterr()
    assert len(out.splitlines()) == 1
    assert [name for name in ("a.jsonl", "c.jsonl", "d.jsonl") if name in err] == ["a.jsonl", "c.jsonl", "d.jsonl"]


NASTY = "\x1b[2J\x9b31m\x07\r\n=HYPERLINK\u202e"


def test_no_control_character_of_a_journal_reaches_a_terminal(
    brief_journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Wherever it stands: in a name, a reason, a session, a path; in every form of output."""
    lines = [json.loads(line) for line in brief_journal.read_bytes().splitlines()]
    for record in lines:
        record["session"] = f"s{NASTY}"
        for key in ("why", "version", "zone", "probe", "station"):
            if isinstance(record.get(key), str):
                record[key] = NASTY + record[key]
        if record["kind"] == "stage":
            record["name"] = NASTY
    folder = tmp_path / f"f{NASTY.strip()}"
    folder.mkdir()
    path = folder / "j.jsonl"
    path.write_text("".join(json.dumps(record) + "\n" for record in lines))
    for options in ([], ["--json"], ["--check"], ["--compare"], ["--season"], ["--report", str(tmp_path / "r.html")]):
        main(["review", str(path), *options])
        text = "".join(capsys.readouterr())
        assert not [c for c in text if not c.isprintable() and c != "\n"], (options, text)
    page = (tmp_path / "r.html").read_text(encoding="utf-8")
    assert not [c for c in page if not c.isprintable() and c not in "\n\t\u00a0"]  # the last is ours, between a number and its unit


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t=", "\r=", "＝", " =", "\n+", "|"])
def test_no_cell_begins_a_formula(tmp_path: Path, sign: str) -> None:
    """Text from outside; numbers keep their sign, and cells of one line stay on one."""
    write_csv({"name": [f"{sign}cmd()", "plain"], "celsius": [-1.5, 2.0]}, tmp_path / "t.csv")
    with (tmp_path / "t.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.reader(file))
    assert rows[1][0].lstrip()[0] not in "=+-@＝"
    assert rows[1][0].isprintable()
    assert (rows[1][1], rows[2]) == ("-1.5", ["plain", "2.0"])
