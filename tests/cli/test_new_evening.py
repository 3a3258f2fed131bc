"""`evenbath new --evening`: a file is written, from recipes that stand anywhere, and nothing is overwritten."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.cli.arguments.recipe_file import open_evening
from monitor.cli.main import main
from tests.core.recipe.samples import ROLL


def new(*words: str) -> int:
    """Run it."""
    return main(["new", *words])


def test_an_evening_is_written_with_its_recipes_beside_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Also where they stand in another folder; an existing file is left as it is."""
    (tmp_path / "recipes").mkdir()
    roll = tmp_path / "recipes" / "roll.toml"
    roll.write_text(ROLL, encoding="utf-8")
    out = str(tmp_path / "sunday.toml")
    words = ("--evening", "in-a-row", "--recipe", str(roll), "--films", "2", "--between", "8:00", "--out", out)
    assert new(*words) == 0
    look = f"Look at it before you use it: evenbath plan {out}"
    assert capsys.readouterr().out.splitlines() == [f"written: {out}", "2 films, 38:00", look]
    evening = open_evening(out)
    assert (evening.between_s, len(evening.films), evening.films[0].recipe_file) == (480.0, 2, str(tmp_path / "recipes/roll.toml"))
    before = Path(out).read_bytes()
    assert new(*words) == 2
    assert Path(out).read_bytes() == before


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--evening", "in-a-row", "--recipe", "ROLL"], "--evening without --out"),
        (["--evening", "in-a-row", "--recipe", "ROLL", "--out", "OUT", "--usual"], "--evening with --from, --set or --usual"),
        (["--evening", "in-a-row", "--recipe", "ROLL", "--out", "OUT", "--films", "two"], "--films two: not a number of films"),
        (["--evening", "in-a-row", "--recipe", "none.toml", "--out", "OUT"], "none.toml: cannot be read"),
        (["--evening", "in-a-row", "--out", "OUT"], "0 recipes for in-a-row; allowed: 1 to 12"),
        (["--evening", "sunday", "--recipe", "ROLL", "--out", "OUT"], '"sunday" is not a kind of evening'),
        (["--recipe", "ROLL", "--from", "roll", "--out", "OUT"], "without --evening"),
    ],
)
def test_what_does_not_fit_is_refused_and_nothing_is_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], words: list[str], says: str
) -> None:
    """Exit status 2."""
    roll, out = tmp_path / "roll.toml", tmp_path / "out.toml"
    roll.write_text(ROLL, encoding="utf-8")
    assert new(*(word.replace("ROLL", str(roll)).replace("OUT", str(out)) for word in words)) == 2
    assert says in capsys.readouterr().err
    assert not out.exists()


def test_the_list_names_the_evenings_after_the_blanks(capsys: pytest.CaptureFixture[str]) -> None:
    """Each with what it is."""
    assert new("--list") == 0
    out = capsys.readouterr().out
    assert "two-tanks   two tanks staggered, so that the hands are free for each" in out.partition("evenings (--evening")[2]
