"""The journals of the invented evenings, replayed."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

FOLDER = Path(__file__).parent.parent / "demo_logs"


def maker() -> ModuleType:
    """demo_logs/make.py as a module."""
    spec = importlib.util.spec_from_file_location("demo_logs_make", FOLDER / "make.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["demo_logs_make"] = module
    spec.loader.exec_module(module)
    return module


MAKE = maker()


@pytest.mark.parametrize("evening", MAKE.EVENINGS, ids=lambda e: e.name)
def test_each_journal_is_made_again_byte_for_byte_from_the_recipe_and_trace_beside_it(evening: object) -> None:
    """Run `python demo_logs/make.py` after a change that is meant to change them, and look at the difference."""
    name = evening.name  # type: ignore[attr-defined]
    assert MAKE.journal(evening) == (FOLDER / f"{name}.jsonl").read_bytes()


def test_there_are_six_evenings() -> None:
    """A cold laundry, a probe knocked out, six sheets, colour, bath only, a power cut."""
    assert len(MAKE.EVENINGS) == 6
