"""`evenbath plan` with an evening."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.cli.arguments.recipe_file import open_evening
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
