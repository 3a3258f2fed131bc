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


@pytest.mark.parametrize(
    ("left", "said"),
    [
        (("stop", 2, ["fix", "wash"], "lid"), "In stop; fix and wash were never begun. Keep the lid on until it is fixed."),
        (("develop", 1, ["stop", "fix", "wash"], "dark"),
         "In develop; stop, fix and wash were never begun. It may be bare: keep it in the dark until it is fixed."),
        (("fix", 3, ["wash"], "lid"), "In fix; wash was never begun. Keep the lid on until it is fixed."),
        (("wash", 4, [], None), "In wash, the last stage."),
        ((None, 0, ["develop", "fix"], "lid"), "Nothing was begun: all is as it was. Keep the lid on until it is fixed."),
    ],
)  # fmt: skip
def test_what_was_left_is_said(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], left: tuple[str | None, int, list[str], str | None], said: str
) -> None:
    """Where the film was, what it never saw, and what protects it until it is fixed."""
    told = dict(zip(("in", "begun", "never_begun", "keep"), left, strict=True))
    name = "261106-2005a"
    answer: dict[str, Any] = {"ok": True, "session": name, "sessions": [name], "left": [{"session": name, **told}]}
    monkeypatch.setattr("monitor.live.station.control.ask", lambda state, body: answer)
    monkeypatch.setattr("monitor.cli.station.open_station", lambda file: SimpleNamespace(state="state"))
    assert abandon.run(argparse.Namespace(file="laundry.toml", why="enough", session="2005a")) == 0
    assert capsys.readouterr().out.splitlines()[1] == said
