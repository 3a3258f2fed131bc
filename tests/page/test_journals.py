"""The journals on the disk as a page sees them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from monitor.live.station.ended import read_session, session_names
from monitor.page.journals import Growing, film_may_be_bare, open_sessions
from tests.page.served import DEMO


def lines(journal: str = "01-cold-laundry") -> list[str]:
    """Of a demo evening."""
    return (DEMO / f"{journal}.jsonl").read_text(encoding="utf-8").splitlines(keepends=True)


def put(folder: Path, journal: str, *, closed: bool, until_s: float = 1e9) -> str:
    """A demo journal in a folder as a live one, with its end or without; its session."""
    first, *rest = lines(journal)
    told = [json.dumps({**json.loads(first), "mode": "live"}) + "\n", *(line for line in rest if json.loads(line)["t_s"] <= until_s)]
    session = str(json.loads(first)["session"])
    (folder / f"{session}.jsonl").write_text("".join(told if closed else told[:-1]))
    return session


def test_only_journals_of_sessions_are_listed_the_newest_first(tmp_path: Path) -> None:
    """No judgement, no copy that was put aside, nothing hidden."""
    for name in ("261101-1900aa.jsonl", "261102-1900ab.jsonl", "261101-1900aa.judgement.jsonl", "x.txt", ".hidden.jsonl", "a b.jsonl"):
        (tmp_path / name).write_text("")
    assert session_names(tmp_path) == ["261102-1900ab", "261101-1900aa"]


@pytest.mark.parametrize("attack", ["../../etc/passwd", "..", "/etc/passwd", "a/b", "", ".", "a\x00b", "x" * 300])
def test_no_name_leads_out_of_the_folder(tmp_path: Path, attack: str) -> None:
    """It is no session's, so nothing is opened."""
    assert read_session(tmp_path, attack) is None


def test_a_link_is_not_followed(tmp_path: Path) -> None:
    """Whatever it points to."""
    (tmp_path / "261101-1900aa.jsonl").symlink_to(DEMO / "01-cold-laundry.jsonl")
    with pytest.raises(OSError, match="symbolic link"):
        read_session(tmp_path, "261101-1900aa")


def test_a_session_is_closed_by_its_last_record(tmp_path: Path) -> None:
    """And open without, also where the last line is torn."""
    session = put(tmp_path, "01-cold-laundry", closed=True)
    found = read_session(tmp_path, session)
    assert found is not None
    assert found.close is not None
    with (tmp_path / f"{session}.jsonl").open("a") as file:
        file.write('{"seq":')
    torn = read_session(tmp_path, session)
    assert torn is not None
    assert torn.close is None


def test_an_open_session_with_bare_film_is_found(tmp_path: Path) -> None:
    """Sheets in trays, not a tank with its lid on; a closed one bares nothing; and a folder that is not there has none."""
    assert not film_may_be_bare(tmp_path / "none")
    assert not open_sessions(tmp_path / "none")
    put(tmp_path, "03-six-sheets", closed=True)
    assert not film_may_be_bare(tmp_path)
    put(tmp_path, "01-cold-laundry", closed=False)
    assert not film_may_be_bare(tmp_path)
    assert open_sessions(tmp_path)
    put(tmp_path, "03-six-sheets", closed=False)
    assert film_may_be_bare(tmp_path)


def test_what_cannot_be_read_counts_as_bare(tmp_path: Path) -> None:
    """A recipe of a later version, and a folder that is a file."""
    first = json.loads(lines()[0])
    (tmp_path / f"{first['session']}.jsonl").write_text(json.dumps({**first, "mode": "live", "recipe": {"schema": 9}}) + "\n")
    assert film_may_be_bare(tmp_path)
    (tmp_path / "file").write_text("")
    assert film_may_be_bare(tmp_path / "file")


def test_a_growing_journal_gives_each_whole_record_once(tmp_path: Path) -> None:
    """Not the line that is being written, and not again what was written anew."""
    told = lines()
    path = tmp_path / "s.jsonl"
    grown = Growing(path)
    assert grown.more() == []
    path.write_text("".join(told[:10]) + told[10][:20])
    assert [r["seq"] for r in grown.more()] == list(range(1, 11))
    path.write_text("".join(told[:14]))
    assert [r["seq"] for r in grown.more()] == [11, 12, 13, 14]
    path.write_text("".join(told[:5]))
    assert grown.more() == []
    path.write_text("".join(told[:16]))
    assert [r["seq"] for r in grown.more()] == [15, 16]
