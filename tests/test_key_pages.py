"""The pages of keys say neither more nor less than the readers allow: every key, its words, its defaults."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from hardware.ports import PIN_FACTORIES, SOUNDER_KINDS
from monitor.core.errors import FileWrong
from monitor.core.evening.reader import RecipeText, load_evening
from monitor.core.recipe.reader import load_recipe
from monitor.live.station.station_file import load_station

ROOT = Path(__file__).parent.parent
RECIPE_PAGE = ROOT / "monitor" / "core" / "recipe" / "README.md"
EVENING_PAGE = ROOT / "monitor" / "core" / "evening" / "README.md"
STATION_PAGE = ROOT / "monitor" / "live" / "station" / "README.md"

RECIPE = """schema = 1
name = "x"
film = "panchromatic"
vessel = "open tray"
{film}
[contents]
{contents}
[[stage]]
name = "develop"
role = "develop"
time = "10:00"
reference = "20 C"
rate = {{ {rate} }}
{stage}
[sheets]
count = 2
interval = "0:20"
{sheets}
"""
RATES = (
    'law = "coefficient", per_10_c = 2.5',
    'law = "arrhenius", activation_energy_kj_mol = 65.0',
    'law = "pairs", pairs = [["18 C", "12:00"], ["20 C", "10:00"]]',
)
EVENING = """schema = 1
name = "x"
{evening}
[[film]]
recipe = "x.toml"
{film}
"""
STATION = """schema = 1
name = "x"
{station}
[probes.jug]
id = "28-0316a2795f3c"
role = "developer"
{probe}
[panel]
factory = "lgpio"
sounder = "GPIO18"
{panel}
[mqtt]
host = "broker"
{mqtt}
"""


def rows(page: Path) -> dict[str, dict[str, list[str]]]:
    """The rows of each table, by its heading's first word and its key: allowed, left out, what it says."""
    found: dict[str, dict[str, list[str]]] = {}
    for part in page.read_text(encoding="utf-8").split("\n## ")[1:]:
        heading, _, text = part.partition("\n")
        cells = [re.split(r"(?<!\\) \| ", line.strip("| ")) for line in text.splitlines() if line.startswith("| `")]
        found[heading] = {row[0].strip("` "): row[1:] for row in cells}
    return found


def allowed(read: Callable[[bytes], object], text: str) -> set[str]:
    """Every key that a reader would have taken where it met the key `zzzz`."""
    with pytest.raises(FileWrong) as wrong:
        read(text.encode())
    lines = [line for line in wrong.value.lines if 'unknown key "zzzz"' in line]
    assert len(lines) == 1
    return set(lines[0].split("allowed: ", 1)[1].split(", "))


def recipe_keys(place: str, rate: str = RATES[0]) -> set[str]:
    """Of one table of a recipe."""
    fields = {"film": "", "contents": "", "stage": "", "sheets": "", "rate": rate} | {place: "zzzz = 1"}
    if place == "rate":
        fields["rate"] = f"{rate}, zzzz = 1"
    return allowed(lambda text: load_recipe(text, "x.toml"), RECIPE.format(**fields))


def evening_keys(place: str) -> set[str]:
    """Of one table of an evening."""
    fields = {"evening": "", "film": ""} | {place: "zzzz = 1"}
    recipe = RecipeText(RECIPE.format(film="", contents="", stage="", sheets="", rate=RATES[0]).encode(), "x.toml")
    return allowed(lambda text: load_evening(text, "e.toml", lambda _: recipe), EVENING.format(**fields))


def station_keys(place: str) -> set[str]:
    """Of one table of a station file."""
    fields = {"station": "", "probe": "", "panel": "", "mqtt": ""} | {place: "zzzz = 1"}
    return allowed(lambda text: load_station(text, "x.toml", Path("/x")), STATION.format(**fields))


def test_every_key_of_a_recipe_stands_in_its_table() -> None:
    """And none that is refused."""
    page = rows(RECIPE_PAGE)
    tables = {"contents", "stage", "sheets"}
    assert set(page["The film"]) == recipe_keys("film") - tables
    assert set(page["`[contents]`, what is in it"]) == recipe_keys("contents")
    assert set(page["`[[stage]]`, one for each bath, in their order"]) == recipe_keys("stage")
    assert set(page["`rate`, one of three laws"]) == set().union(*(recipe_keys("rate", rate) for rate in RATES))
    assert set(page["`[sheets]`, one film after another through the develop stage"]) == recipe_keys("sheets")


def test_every_key_of_an_evening_stands_in_its_table() -> None:
    """And none that is refused."""
    page = rows(EVENING_PAGE)
    assert set(page["The evening"]) == evening_keys("evening") - {"film"}
    assert set(page["`[[film]]`, one for each film, in their order; 1 to 24"]) == evening_keys("film")


def test_every_key_of_a_station_file_stands_in_its_table() -> None:
    """And none that is refused."""
    page = rows(STATION_PAGE)
    assert set(page["The station"]) == station_keys("station") - {"probes", "panel", "mqtt"}
    assert set(page["`[probes.NAME]`, one for each probe"]) == station_keys("probe")
    assert set(page["`[panel]`, what hands and ears use"]) == station_keys("panel")
    assert set(page["`[mqtt]`, left out: no network"]) == station_keys("mqtt")


@pytest.mark.parametrize("key", ["film", "vessel", "role", "counted", "until", "law"])
def test_the_words_of_a_key_are_those_that_are_read(key: str) -> None:
    """In their order."""
    page = rows(RECIPE_PAGE)
    said = next(table[key][0] for table in page.values() if key in table)
    text = RECIPE.format(film="", contents="", stage='counted = "pour to pour"\nuntil = "time"', sheets="", rate=RATES[0])
    wrong = re.sub(rf'\b{key} = "[^"]*"', f'{key} = "zzzz"', text, count=1)
    with pytest.raises(FileWrong) as caught:
        load_recipe(wrong.encode(), "x.toml")
    line = next(line for line in caught.value.lines if '"zzzz"' in line)
    assert re.findall(r'"[^"]+"', said) == re.findall(r'"[^"]+"', line.split("allowed: ", 1)[1])


def test_the_words_of_the_panel_are_those_that_are_known() -> None:
    """Factories and sounders."""
    panel = rows(STATION_PAGE)["`[panel]`, what hands and ears use"]
    assert re.findall(r'"([^"]+)"', panel["factory"][0]) == list(PIN_FACTORIES)
    assert re.findall(r'"([^"]+)"', panel["sounder_kind"][0]) == list(SOUNDER_KINDS)
