"""What `abandon` says once the station has ended what ran."""

from __future__ import annotations

import argparse
from types import SimpleNamespace
from typing import Any

import pytest

from monitor.cli import abandon


@pytest.mark.parametrize(("bare", "lines"), [(True, 2), (False, 1)])
def test_pages_stay_dark_over_film_that_was_bare_and_abandon_says_so(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], bare: bool, lines: int
) -> None:
    """A second line, and none for a film under its lid."""
    answer: dict[str, Any] = {"ok": True, "session": "261106-2005a", "sessions": ["261106-2005a"], "left_bare": bare}
    monkeypatch.setattr("monitor.live.station.control.ask", lambda state, body: answer)
    monkeypatch.setattr("monitor.cli.station.open_station", lambda file: SimpleNamespace(state="state"))
    assert abandon.run(argparse.Namespace(file="laundry.toml", why="enough", session=None)) == 0
    told = capsys.readouterr().out.splitlines()
    assert len(told) == lines
    assert told[0] == "abandoned: 261106-2005a"
    assert bare is any("pages stay dark for an hour" in line for line in told)
