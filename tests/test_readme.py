"""The README does what it says: its blocks are there, its recipe and its station load, its commands exist."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from monitor.cli.main import COMMANDS, main
from monitor.core.development.rate import Pairs
from monitor.core.recipe.reader import load_recipe
from monitor.core.session.presses import TAUGHT
from monitor.core.session.sounds import SIGNALS
from monitor.core.text.doubt import two_sd

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def section(title: str) -> str:
    """The text of one section."""
    return README.split(f"\n## {title}\n", 1)[1].split("\n## ", 1)[0]


def test_the_start_has_two_blocks_the_evening_and_the_tests() -> None:
    """Each complete by itself on a new machine."""
    blocks = re.findall(r"```(\w*)\n(.*?)```", section("Start"), re.S)
    assert [language for language, _ in blocks] == ["sh", "sh"]
    assert "evenbath rehearse" in blocks[0][1]
    assert "pytest" in blocks[1][1]
    assert all("venv" in text and "pip install" in text for _, text in blocks)


def test_it_opens_with_the_job_in_one_paragraph() -> None:
    """Before any heading of a second level."""
    opening = README.split("\n## ", 1)[0].strip().split("\n\n")
    assert "bath that drifts" in opening[1]
    assert len(opening[1].split()) <= 100


def test_the_evening_in_it_is_what_plan_says(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Its timeline, to the letter."""
    block = re.findall(r"```\n(.*?)```", section("Several films"), re.S)[0]
    assert main(["plan", str(ROOT / "demo_logs" / "two-tanks.toml"), "--state", str(tmp_path)]) == 0
    assert block in capsys.readouterr().out


def test_the_recipe_in_it_loads_without_a_warning() -> None:
    """Examples run."""
    (text, *_) = re.findall(r"```toml\n(.*?)```", section("A recipe"), re.S)
    assert load_recipe(text.encode(), "README.md").warnings == ()


def test_what_pairs_without_a_doubt_count_as_is_said_beside_the_recipe() -> None:
    """Its own pairs carry none, and +/- is two standard deviations."""
    text = section("A recipe")
    (recipe, *_) = re.findall(r"```toml\n(.*?)```", text, re.S)
    law = load_recipe(recipe.encode(), "README.md").stages[0].law
    assert isinstance(law, Pairs)
    assert "sd_percent_per_c" not in recipe
    said = f"Pairs without `sd_percent_per_c` count as good to +/- {two_sd(law.sd_percent_per_c):g} % for each C from the reference."
    assert said in text.replace("\n", " ")


@pytest.mark.parametrize("command", sorted(set(re.findall(r"^evenbath ([a-z]+)|`evenbath ([a-z]+)", README, re.M))))
def test_every_command_in_it_exists(command: tuple[str, str]) -> None:
    """No command was renamed without the README."""
    assert (command[0] or command[1]) in COMMANDS


def test_its_table_of_sounds_is_the_one_table() -> None:
    """Row by row, in its order."""
    table = README.split("| name | you hear | it says | you do |\n| --- | --- | --- | --- |\n", 1)[1].split("\n\n", 1)[0]
    assert table.splitlines() == [f"| `{signal.name}` | {signal.heard} | {signal.says} | {signal.do} |" for signal in SIGNALS]


def test_what_the_foot_does_is_taught_as_the_program_understands_it() -> None:
    """Row by row, from the one table."""
    rows = [f"| {do} | {means} |" for do, means in TAUGHT]
    assert "\n".join(rows) in README


def test_it_is_short() -> None:
    """What is longer has a page of its own."""
    assert len(README.splitlines()) <= 250


PAGES = [page for page in ROOT.rglob("*.md") if not re.search(r"/\.|/node_modules/", str(page.relative_to(ROOT.parent)))]


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_what_a_page_links_to_is_there(page: Path) -> None:
    """Files, folders, and headings of other pages."""
    text = page.read_text(encoding="utf-8")
    links = re.findall(r"\]\(([^)\s]+)\)", text) + re.findall(r"(?:src|srcset)=\"([^\"]+)\"", text)
    for link in links:
        if "://" in link:
            continue
        name, _, anchor = link.partition("#")
        target = page if not name else page.parent / name
        assert target.exists(), link
        if anchor:
            headings = re.findall(r"^#+ (.*)$", target.read_text(encoding="utf-8"), re.M)
            assert anchor in [re.sub(r"[^a-z0-9 -]", "", heading.lower()).replace(" ", "-") for heading in headings], link
