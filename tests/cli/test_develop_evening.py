"""`evenbath develop EVENING.toml`, `abandon --session`, `status` with two films: a real station on a rig with two vessels."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from hardware.ports import Sample
from monitor.cli.main import main
from tests.cli.rigged import AS_IT_WAS, DARK, LONG, QUICK, Rigged

JUG_2 = "28-000000000a04"
EVENING = """schema = 1
name = "Two tanks"
[[film]]
recipe = "roll.toml"
what = "roll 14"
vessel = "left"
[[film]]
recipe = "roll.toml"
what = "roll 15"
vessel = "right"
start = "+0:02"
[[film]]
recipe = "roll.toml"
what = "roll 16"
vessel = "left"
"""


class TwoVessels(Rigged):
    """A rig with a second vessel."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        text = self.file.read_text().replace('role = "developer"\n', 'role = "developer"\nvessel = "left"\n')
        second = f'[probes.jug2]\nid = "{JUG_2}"\nrole = "developer"\nvessel = "right"\n[panel]\n'
        self.file.write_text(text.replace("[panel]\n", second))
        self.tree.show(JUG_2, Sample(JUG_2, 0.0, 19.75))

    def evening(self, recipe: str = LONG, text: str = EVENING) -> str:
        """An evening's file with its recipe beside it."""
        (self.folder / "roll.toml").write_text(recipe)
        (self.folder / "evening.toml").write_text(text)
        return str(self.folder / "evening.toml")

    def told_status(self) -> dict[str, Any]:
        """The status as data."""
        told: dict[str, Any] = json.loads(self.run("status", "--file", str(self.file), "--json").stdout)
        return told

    def arm_all(self, recipe: str = LONG) -> list[str]:
        """Arm the evening; the names of the sessions."""
        done = self.run("develop", self.evening(recipe), "--file", str(self.file), "--detach", "--waive", "a test")
        assert done.returncode == 0, done.stderr
        return [line.removeprefix("armed: ") for line in done.stdout.splitlines()]


@pytest.fixture(scope="module")
def rigged(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TwoVessels]:
    """A station that runs; each test leaves it without a session."""
    rigged = TwoVessels(tmp_path_factory.mktemp("two"))
    rigged.start()
    yield rigged
    rigged.kill()


def test_both_vessels_are_armed_told_and_abandoned_one_by_one(rigged: TwoVessels) -> None:
    """A line `armed: SESSION` each; status tells of both and of what is to come."""
    left, right = rigged.arm_all()
    status = rigged.run("status", "--file", str(rigged.file)).stdout
    assert f"left: roll 14, session {left}" in status
    assert f"right: roll 15, session {right}" in status
    assert "to come: roll 16, left" in status
    told = json.loads(rigged.run("status", "--file", str(rigged.file), "--json").stdout)
    assert [film["session"] for film in told["films"]] == [left, right]
    done = rigged.run("abandon", "--file", str(rigged.file), "--why", "a test", "--session", right)
    assert done.stdout == f"abandoned: {right}\n{AS_IT_WAS}"
    assert rigged.records(right)[-1]["event"] == "close"
    assert rigged.run("abandon", "--file", str(rigged.file), "--why", "a test").stdout == f"abandoned: {left}\n{AS_IT_WAS}"
    assert rigged.run("abandon", "--file", str(rigged.file), "--why", "a test").returncode == 2


def test_two_films_are_developed_and_the_third_is_armed_by_foot(rigged: TwoVessels) -> None:
    """By real presses, over one switch; each journal is whole."""
    left, right = rigged.arm_all(QUICK)
    rigged.press(1.3)
    rigged.wait(lambda: bool(rigged.records(left, kind="stage", event="begin")))
    rigged.press(1.3)
    rigged.wait(lambda: bool(rigged.records(right, kind="stage", event="begin")))
    for _ in range(60):
        rigged.pause(0.4)
        rigged.tap()
        if all(rigged.records(name, kind="session", event="close") for name in (left, right)):
            break
    assert all(rigged.records(name)[-1]["why"] == "finished" for name in (left, right))
    rigged.press(1.3)
    rigged.wait(lambda: len(list((rigged.state / "journals").glob("*.jsonl"))) > 2)
    rigged.wait(lambda: bool(json.loads(rigged.run("status", "--file", str(rigged.file), "--json").stdout)["films"]))
    third = json.loads(rigged.run("status", "--file", str(rigged.file), "--json").stdout)["films"][0]
    assert (third["what"], third["vessel"]) == ("roll 16", "left")
    assert rigged.run("abandon", "--file", str(rigged.file), "--why", "a test").returncode == 0


def test_the_second_vessel_s_film_is_armed_in_turn(rigged: TwoVessels) -> None:
    """To begin 2:03 after the first one, it is armed three seconds after that begin; a hold before is a question."""
    text = EVENING.replace("+0:02", "+2:03")
    done = rigged.run("develop", rigged.evening(text=text), "--file", str(rigged.file), "--detach", "--waive", "a test")
    (left,) = (line.removeprefix("armed: ") for line in done.stdout.splitlines())
    rigged.press(1.3)
    rigged.wait(lambda: bool(rigged.records(left, kind="stage", event="begin")))
    rigged.press(1.2)
    rigged.wait(lambda: len(rigged.records(left, kind="tap")) == 2)
    assert [r["meaning"] for r in rigged.records(left, kind="tap")] == ["begin", "question"]
    rigged.wait(lambda: len(rigged.told_status()["films"]) == 2)
    first, second = rigged.told_status()["films"]
    assert (first["session"], second["what"]) == (left, "roll 15")
    assert 100.0 < second["begins_in_s"] < 121.0
    armed_s = rigged.records(second["session"])[0]["mono0_s"] - rigged.records(left)[0]["mono0_s"]
    begun_s = rigged.records(left, kind="stage", event="begin")[0]["t_s"]
    assert -5.0 < armed_s - begun_s - 3.0 < 3.0  # its clock begins with the readings of the last five seconds
    assert rigged.records(second["session"])[0]["preflight"] == {"armed by": "its turn"}
    assert rigged.run("abandon", "--file", str(rigged.file), "--why", "a test").returncode == 0


def test_an_evening_may_begin_with_a_later_film(rigged: TwoVessels) -> None:
    """Those before it are done: a clip, or a night that was broken off. A number that is none of its films' is refused."""
    words = ("develop", rigged.evening(), "--file", str(rigged.file), "--detach", "--waive", "a test", "--film")
    done = rigged.run(*words, "3")
    assert done.returncode == 0, done.stderr
    (name,) = (line.removeprefix("armed: ") for line in done.stdout.splitlines())
    assert rigged.records(name)[0]["evening"]["what"] == "roll 16"
    assert rigged.run("abandon", "--file", str(rigged.file), "--why", "a test").returncode == 0
    refused = rigged.run(*words, "4")
    assert (refused.returncode, "allowed: 1 to 3" in refused.stderr) == (2, True)


def test_both_go_on_after_a_kill_minus_nine(tmp_path: Path) -> None:
    """With resume records in both journals, and no gap in either."""
    rigged = TwoVessels(tmp_path)
    rigged.start()
    try:
        names = rigged.arm_all()
        rigged.press(1.3)
        rigged.wait(lambda: bool(rigged.records(names[0], kind="stage", event="begin")))
        rigged.press(1.3)
        rigged.wait(lambda: bool(rigged.records(names[1], kind="stage", event="begin")))
        rigged.kill()
        rigged.start()
        rigged.wait(lambda: all(rigged.records(name, kind="session", event="resume") for name in names))
        for name in names:
            assert rigged.records(name, kind="session", event="resume")[0]["same_boot"] is True
            assert [r["seq"] for r in rigged.records(name)] == list(range(1, len(rigged.records(name)) + 1))
    finally:
        if rigged.process is not None:
            rigged.kill()


@pytest.mark.parametrize(
    ("text", "options", "says"),
    [
        (EVENING.replace('"right"', '"middle"'), (), 'evening.toml:7: vessel "middle" is none of the station\'s; allowed: left or right'),
        (EVENING, ("--vessel", "left"), "--vessel with an evening"),
        (EVENING.replace("recipe", "recipes", 1), (), "evening.toml:4: "),
    ],
)
def test_an_evening_that_does_not_fit_is_refused_before_anything_is_armed(
    rigged: TwoVessels, text: str, options: tuple[str, ...], says: str
) -> None:
    """Exit 2, by line where it is the file's."""
    done = rigged.run("develop", rigged.evening(LONG, text), "--file", str(rigged.file), "--detach", "--waive", "a test", *options)
    assert done.returncode == 2
    assert says in done.stderr


def test_the_lamp_is_refused_for_an_evening_with_bare_film(rigged: TwoVessels) -> None:
    """The light rule is that of all films together."""
    done = rigged.run("develop", rigged.evening(DARK), "--file", str(rigged.file), "--detach", "--waive", "a test", "--lamp")
    assert done.returncode == 2
    assert "--lamp" in done.stderr


def test_what_stands_in_the_journals_can_be_reviewed(rigged: TwoVessels, capsys: pytest.CaptureFixture[str]) -> None:
    """By the same commands as a single session's."""
    journals = sorted((rigged.state / "journals").glob("*.jsonl"))
    assert main(["review", *map(str, journals), "--json"]) == 0
    assert len(capsys.readouterr().out.splitlines()) == len(journals)
