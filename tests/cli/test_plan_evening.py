"""`evenbath plan` with an evening."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from monitor.cli.arguments.recipe_file import open_evening
from monitor.cli.main import main
from monitor.core.errors import FileWrong
from tests.core.evening.test_evening_reader import EVENING
from tests.core.recipe.samples import ROLL, TRAY


def written(folder: Path, text: str = EVENING) -> str:
    """An evening beside its recipes."""
    for name, words in (("evening.toml", text), ("roll.toml", ROLL), ("tray.toml", TRAY)):
        (folder / name).write_text(words, encoding="utf-8")
    return str(folder / "evening.toml")


def test_recipes_are_read_beside_the_evening(tmp_path: Path) -> None:
    """From wherever one stands; one that is not there is named with the evening's line."""
    name = written(tmp_path)
    assert [Path(film.recipe_file).name for film in open_evening(name).films] == ["roll.toml", "tray.toml", "roll.toml"]
    (tmp_path / "tray.toml").unlink()
    with pytest.raises(FileWrong, match=r"evening.toml:9: recipe: .*tray.toml: cannot be read"):
        open_evening(name)


def plan(*words: str) -> int:
    """Run the command."""
    return main(["plan", *words])


def test_an_evening_is_one_json_object(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With its supplies."""
    assert plan(written(tmp_path), "--json", "--state", str(tmp_path / "state")) == 0
    data = json.loads(capsys.readouterr().out)
    assert [f["what"] for f in data["films"]] == ["roll 14", "Six sheets", "roll 15"]
    assert {"films", "moments", "clashes", "shift_s", "supplies", "warnings"} <= set(data)


def test_an_evening_is_told_in_lines_that_fit(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Eighty columns, or fewer where the terminal has fewer."""
    name = written(tmp_path)
    for columns, widest in (("200", 80), ("60", 60)):
        monkeypatch.setenv("COLUMNS", columns)
        assert plan(name, "--state", str(tmp_path / "state")) == 0
        out = capsys.readouterr().out.splitlines()
        assert out[0] == "Sunday in the wash-house"
        assert 40 < max(map(len, out)) <= widest


def test_what_is_wrong_in_an_evening_ends_with_2_and_every_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """As a recipe does."""
    name = written(tmp_path, EVENING.replace('"+4:00"', "4").replace("between", "betwen"))
    assert plan(name) == 2
    lines = capsys.readouterr().err.splitlines()
    assert [line.split(":")[1] for line in lines] == ["3", "11"]


def test_a_recipes_plan_says_what_the_ledger_says(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Three films through the developer: 13:00 in place of 10:00, in words and as data."""
    state = ["--state", str(tmp_path / "state")]
    (tmp_path / "roll.toml").write_text(ROLL, encoding="utf-8")
    assert main(["bottle", "add", "developer A", "--volume", "1 l", "--longer", "10", "--per-litre", "10", *state]) == 0
    assert main(["bottle", "use", "developer A", "--units", "3", *state]) == 0
    capsys.readouterr()
    assert plan(str(tmp_path / "roll.toml"), *state) == 0
    out = capsys.readouterr().out
    assert "13:00 (10:00 x 1.3)" in out
    assert "developer A: time x 1.3 (3 units through it, 10 % each), good for 7 films like this one, mixed today" in out
    assert plan(str(tmp_path / "roll.toml"), "--json", *state) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["stages"][0]["planned_s"] == pytest.approx(780.0)
    assert data["ledger"]["solutions"][0]["films_left"] == 7.0
    assert plan(str(tmp_path / "roll.toml"), "--json", "--state", str(tmp_path / "none")) == 0
    assert json.loads(capsys.readouterr().out)["stages"][0]["planned_s"] == 600.0


def test_a_ledger_that_cannot_be_read_is_said_and_stops_no_plan(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A recipe's and an evening's: the times are then the recipes' own."""
    ledger = tmp_path / "state" / "ledger" / "bottles.jsonl"
    ledger.parent.mkdir(parents=True)
    ledger.write_text('{"seq": 7}\n{"seq": 9}\n', encoding="utf-8")
    for name in (written(tmp_path), str(tmp_path / "roll.toml")):
        assert plan(name, "--json", "--state", str(tmp_path / "state")) == 0
        said = capsys.readouterr()
        assert said.err.startswith("note: the ledger of bottles cannot be read, the times are the recipes' own: ")
        assert json.loads(said.out)


def test_an_evenings_page_for_the_wall_is_one_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Told where it is; a name that is no page's is refused."""
    name, page = written(tmp_path), tmp_path / "wall.html"
    assert plan(name, "--state", str(tmp_path / "state"), "--card", str(page)) == 0
    assert capsys.readouterr().out.endswith(f"\nThe card for the wall: {page}\n")
    assert page.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert plan(name, "--state", str(tmp_path / "state"), "--card", str(tmp_path / "wall.toml")) == 2


@pytest.mark.parametrize(
    ("vessels", "status", "said"),
    [
        (("left", "right"), 0, ""),
        (("left", "middle"), 2, 'evening.toml:8: vessel "right" is none of the station\'s; allowed: left or middle'),
        ((None,), 2, 'evening.toml:4: vessel "left" is none of the station\'s; allowed: none named, where the station names none'),
    ],
)
def test_with_a_station_the_vessels_must_be_its_own(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], vessels: tuple[str | None, ...], status: int, said: str
) -> None:
    """Else the evening would be refused only when the first film is about to go in."""
    named = [
        f'[probes.jug{n}]\nid = "28-000000000a0{n}"\nrole = "developer"\n' + ("" if name is None else f'vessel = "{name}"\n')
        for n, name in enumerate(vessels, 1)
    ]
    station = tmp_path / "station.toml"
    panel = '[panel]\nfactory = "lgpio"\nsounder = "GPIO18"\nswitch = "GPIO24"\n'
    station.write_text(f'schema = 1\nname = "laundry"\nstate = "{tmp_path / "state"}"\n' + "".join(named) + panel)
    assert plan(written(tmp_path), "--file", str(station)) == status
    assert said in capsys.readouterr().err
