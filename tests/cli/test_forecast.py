"""`evenbath forecast` from the outside: a journal, a recipe, and the live bath through the station's socket."""

from __future__ import annotations

import json
import random
import re
from pathlib import Path
from typing import Any

import pytest

from monitor.cli.main import main
from monitor.core.probes.learned import VesselLag
from monitor.prepare.probes.learned_store import save_vessel_lag
from tests.prepare.probes.water import newton, series, shown, write_journal

RECIPE = """schema = 1
name = "Roll film, cold laundry"
film = "panchromatic"
vessel = "lidded tank"
[[stage]]
name = "develop"
role = "develop"
time = "10:00"
reference = "20 C"
rate = { law = "coefficient", per_10_c = 2.5 }
band = "BAND"
"""


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    """15 minutes of the practice's bowl, from 22.5 C in a room of 8 C, with the room's probe."""
    truth, rng = newton(22.5, 8.0, 2940.0), random.Random(4)
    bath = series(shown([truth(t) for t in range(901)], rng), "bowl", "bath")
    return write_journal(tmp_path / "j.jsonl", bath, series(shown([8.0] * 901, rng), "air", "room"))


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, Any, str]:
    """(exit status, the object or the text, stderr)."""
    status = main(["forecast", *words])
    out, err = capsys.readouterr()
    return status, json.loads(out) if out.startswith("{") else out, err


def test_the_contract_s_call_answers_with_its_keys(capsys: pytest.CaptureFixture[str], journal: Path) -> None:
    """room_c, tau_s and the forecast by time, near the truth."""
    status, data, _ = run(capsys, str(journal), "--minutes", "15", "--json")
    assert status == 0
    assert data["room_c"] == pytest.approx(8.0, abs=1.0)
    assert data["tau_s"] == pytest.approx(2940.0, rel=0.12)
    last = data["forecast"][-1]
    assert last["t_s"] == 1800.0
    assert last["celsius"] == pytest.approx(newton(22.5, 8.0, 2940.0)(1800.0), abs=0.15)
    assert last["sd_c"] > 0.0
    assert "lasts" not in data


def test_with_a_recipe_it_says_whether_the_bath_lasts(capsys: pytest.CaptureFixture[str], journal: Path, tmp_path: Path) -> None:
    """A band of 4 C is kept for ten minutes, one of 0.5 C is not; then there are amounts."""
    recipe = tmp_path / "r.toml"
    recipe.write_text(RECIPE.replace("BAND", "4 C"))
    assert run(capsys, str(journal), "--recipe", str(recipe), "--json")[1]["lasts"] is True
    recipe.write_text(RECIPE.replace("BAND", "0.5 C"))
    data = run(capsys, str(journal), "--recipe", str(recipe), "--json")[1]
    assert data["lasts"] is False
    assert data["advice"]
    text = run(capsys, str(journal), "--recipe", str(recipe), "--bath", "2.5 l")[1]
    assert text.startswith("it may not last: "), "the answer first"
    assert text.splitlines()[1].startswith("water now: add") or "water now: add" in text.splitlines()[1]
    assert text.count("two standard deviations") == 1
    assert re.search(r"\+/- [0-9.]+ C \(two standard deviations\)", text[: text.index("+/-") + 50])
    assert "water now: add" in text
    assert "the bath is not the developer" in text


def test_a_learned_vessel_is_used_and_an_unknown_one_refused(capsys: pytest.CaptureFixture[str], journal: Path, tmp_path: Path) -> None:
    """With its lag the developer's own temperature counts."""
    recipe = tmp_path / "r.toml"
    recipe.write_text(RECIPE.replace("BAND", "2.2 C"))
    words = [str(journal), "--recipe", str(recipe), "--vessel", "tank", "--state", str(tmp_path), "--json"]
    status, _, err = run(capsys, *words)
    assert status == 2
    assert 'no lag was learned for a vessel "tank"' in err
    save_vessel_lag(tmp_path, VesselLag("tank", 360.0, 5.0, "bath", "2026-03-01"))
    bare = run(capsys, str(journal), "--recipe", str(recipe), "--json")[1]
    inside = run(capsys, *words)[1]
    assert bare["lasts"] is False
    assert inside["lasts"] or inside["leaves_s"] > bare["leaves_s"] + 100.0
    save_vessel_lag(tmp_path, VesselLag("tank", 4500.0, 5.0, "room", "2026-03-01"))
    assert run(capsys, *words)[0] == 2


def test_the_words_have_place_and_uncertainty_beside_every_temperature(capsys: pytest.CaptureFixture[str], journal: Path) -> None:
    """Where, how old, +/-."""
    text = run(capsys, str(journal))[1]
    assert "bowl is at" in text
    assert "newest readings" in text
    assert text.count("two standard deviations") == 1
    assert "OK" not in text


def test_the_live_bath_is_asked_through_the_stations_socket(
    capsys: pytest.CaptureFixture[str], journal: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The station named by the file answers with its last 20 minutes; the answer is the journal's."""
    from monitor.live.station import control

    station = tmp_path / "station.toml"
    station.write_text(f'schema = 1\nname = "laundry"\nstate = "{tmp_path}/state"\n')
    readings = [json.loads(line) for line in journal.read_text().splitlines()[1:]]

    def answer(state: Path, request: dict[str, Any]) -> dict[str, Any]:
        assert (state, request["verb"], request["minutes"]) == (tmp_path / "state", "readings", 20)
        return {"readings": readings}

    monkeypatch.setattr(control, "ask", answer)
    live = run(capsys, "--file", str(station), "--json")[1]
    assert live == run(capsys, str(journal), "--json")[1]


def test_a_station_that_does_not_answer_is_exit_status_3(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """One line, no traceback."""
    station = tmp_path / "station.toml"
    station.write_text(f'schema = 1\nname = "laundry"\nstate = "{tmp_path}/state"\n')
    status, out, err = run(capsys, "--file", str(station))
    assert (status, out) == (3, "")
    assert len(err.splitlines()) == 1


def test_bad_input_is_refused_in_plain_lines(capsys: pytest.CaptureFixture[str], journal: Path, tmp_path: Path) -> None:
    """No source, two sources, no bath, no minutes, no recipe: exit status 2."""
    empty = write_journal(tmp_path / "room.jsonl", series([20.0] * 700, "air", "room"))
    for words in (
        [],
        [str(journal), "--file", "station.toml"],
        [str(empty)],
        [str(journal), "--minutes", "0"],
        [str(journal), "--minutes", "nan"],
        [str(journal), "--probe", "nobody"],
        [str(journal), "--vessel", "tank"],
        [str(journal), "--recipe", str(tmp_path / "nowhere.toml")],
        [str(tmp_path / "nowhere.jsonl")],
    ):
        status, out, err = run(capsys, *words)
        assert (status, out) == (2, ""), words
        assert err


def test_what_is_no_journal_is_told_once(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A recipe in its place has forty lines that are no records."""
    file = tmp_path / "r.toml"
    file.write_text(RECIPE.replace("BAND", "4 C"))
    assert main(["forecast", str(file)]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1
