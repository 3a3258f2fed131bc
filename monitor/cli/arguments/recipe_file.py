"""Reads the recipe or evening file for every command that takes one. Tests: tests/cli/test_plan.py, tests/cli/test_plan_evening.py."""

from __future__ import annotations

import stat
from pathlib import Path
from typing import TYPE_CHECKING

from monitor.core.errors import InputWrong

if TYPE_CHECKING:
    from monitor.core.evening.values import Evening
    from monitor.core.recipe.values import Recipe


def open_recipe(name: str) -> Recipe:
    """The recipe in this file. Raises `InputWrong` if it cannot be read and `FileWrong` with everything that is wrong in it."""
    from monitor.core.recipe.reader import load_recipe

    return load_recipe(read_file(name, "recipe"), name)


def open_evening(name: str) -> Evening:
    """The evening in this file, or the recipe in it as an evening of one film; recipes stand beside it. Raises as `open_recipe`."""
    from monitor.core.evening.reader import RecipeText, load_evening

    def beside(recipe: str) -> RecipeText:
        path = str(Path(name).parent / recipe)
        return RecipeText(read_file(path, "recipe"), path)

    return load_evening(read_file(name, "recipe or evening"), name, beside)


def read_file(name: str, kind: str) -> bytes:
    """The bytes of a regular file, at most one more than a TOML file may have. Raises `InputWrong`."""
    from monitor.core.text.toml_table import MAX_BYTES

    path = Path(name)
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            raise InputWrong(f"{name}: not a file; allowed: the path of a {kind} in TOML")
        with path.open("rb") as file:
            return file.read(MAX_BYTES + 1)
    except (OSError, ValueError) as wrong:
        if isinstance(wrong, InputWrong):
            raise
        why = wrong.strerror if isinstance(wrong, OSError) and wrong.strerror else "not a valid path"
        raise InputWrong(f"{name}: cannot be read ({why}); allowed: the path of a {kind} in TOML") from None
