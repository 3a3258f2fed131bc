"""What the wheel holds: every file that the program needs, and a note that keeps it out of public registries.

The globs of pyproject.toml are held against the tree. No wheel is built here: that needs a newer setuptools than the one that
comes with Python 3.11, so it would mean a download in every run.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
PACKAGES = ("monitor", "hardware")
DATA: dict[str, list[str]] = PROJECT["tool"]["setuptools"]["package-data"]


def files(package: str) -> set[Path]:
    """Everything in a package's folder but what Python and tools leave behind."""
    return {p for p in (ROOT / package).rglob("*") if p.is_file() and "__pycache__" not in p.parts}


def test_the_packages_are_those_that_are_found() -> None:
    """Two top-level names, each with its rooms."""
    assert PROJECT["tool"]["setuptools"]["packages"]["find"]["include"] == [f"{name}*" for name in PACKAGES]
    assert set(DATA) == set(PACKAGES)


@pytest.mark.parametrize("package", PACKAGES)
def test_every_module_lies_in_a_package(package: str) -> None:
    """A folder without `__init__.py` is left out of the wheel, modules and all."""
    for path in files(package):
        if path.suffix == ".py":
            assert (path.parent / "__init__.py").exists(), path
            assert (path.parent.parent / "__init__.py").exists() or path.parent == ROOT / package, path


@pytest.mark.parametrize("package", PACKAGES)
def test_every_other_file_is_named_by_a_glob(package: str) -> None:
    """Blanks, the demo, the style sheet, unit files, drawings and the typing mark; no glob is there for nothing."""
    found = {glob: set((ROOT / package).glob(glob)) for glob in DATA[package]}
    assert all(found.values()), found
    missing = {p for p in files(package) if p.suffix != ".py"} - set().union(*found.values())
    assert not missing


def test_the_command_is_there() -> None:
    """`evenbath` and the function that it calls."""
    module, _, function = PROJECT["project"]["scripts"]["evenbath"].partition(":")
    text = (ROOT / (module.replace(".", "/") + ".py")).read_text(encoding="utf-8")
    assert f"def {function}(" in text


def test_nobody_uploads_it_by_mistake() -> None:
    """`monitor` and `hardware` are names that others have too."""
    assert "Private :: Do Not Upload" in PROJECT["project"]["classifiers"]


def test_the_classifiers_name_the_pythons_that_are_required() -> None:
    """3.11 up to the one before the bound, and no other."""
    low, high = (int(part.partition("3.")[2]) for part in PROJECT["project"]["requires-python"].split(","))
    named = [c.rpartition(".")[2] for c in PROJECT["project"]["classifiers"] if c.startswith("Programming Language :: Python :: 3.")]
    assert named == [str(minor) for minor in range(low, high)]
