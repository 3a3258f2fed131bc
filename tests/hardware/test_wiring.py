"""The wiring page and its drawings say what the programs do."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

from hardware.panel_config import cautions
from hardware.ports import PanelConfig

FOLDER = Path(__file__).parents[2] / "hardware" / "wiring"
HEADER = {"GPIO4": 7, "GPIO18": 12, "GPIO23": 16, "GPIO24": 18}
"""Pins of the 40-pin header, by gpiozero's own table below."""


def _words(name: str) -> list[str]:
    root = ElementTree.fromstring((FOLDER / name).read_text(encoding="utf-8"))
    return [element.text or "" for element in root.iter("{http://www.w3.org/2000/svg}text")]


def test_the_header_s_numbers_are_gpiozero_s() -> None:
    """Each pin of the table is where the library says it is."""
    from gpiozero.pins.mock import MockFactory

    for name, number in HEADER.items():
        ((header, info),) = MockFactory().board_info.find_pin(name)
        assert (header.name, info.number) == ("J8", number)


def test_page_and_drawing_name_the_same_pins() -> None:
    """Every pin of the table is in the drawing beside its number, and both are the example's."""
    table = dict(re.findall(r"\| (GPIO\d+) \| (\d+) \|", (FOLDER / "README.md").read_text(encoding="utf-8")))
    assert {name: int(number) for name, number in table.items()} == HEADER
    words = _words("circuits.svg")
    assert {name: words[words.index(name) + 1] for name in HEADER} == {name: f"pin {number}" for name, number in HEADER.items()}
    assert cautions(PanelConfig("lgpio", "GPIO18", "GPIO23", "GPIO24")) == []


@pytest.mark.parametrize("caution", ["opaque box", "residual-current device", "no earth", "no gas or fire alarm"])
def test_the_cautions_are_on_the_drawing_of_the_box_and_on_the_page(caution: str) -> None:
    """Whoever prints only the drawing has them too."""
    assert caution in " ".join(_words("box.svg"))
    assert caution in (FOLDER / "README.md").read_text(encoding="utf-8")
