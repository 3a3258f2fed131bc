"""Reads the recipe file for every command that takes one. Tests: tests/cli/test_plan.py."""

from __future__ import annotations

import stat
from pathlib import Path
from typing import TYPE_CHECKING

from monitor.core.errors import InputWrong

if TYPE_CHECKING:
    from monitor.core.recipe.values import Recipe


def open_recipe(name: str) -> Recipe:
    """The recipe in this file. Raises `InputWrong` if it cannot be read and `FileWrong` with everything that is wrong in it."""
    from monitor.core.recipe.reader import load_recipe

    return load_recipe(read_file(name, "recipe"), name)


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
