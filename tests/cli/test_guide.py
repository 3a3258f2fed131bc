"""`evenbath guide` as a person runs it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from monitor.cli.main import main
from monitor.prepare.guide.advice import TOPICS


def test_the_answer_comes_first(capsys: pytest.CaptureFixture[str]) -> None:
    """Then what to get now."""
    assert main(["guide", "shopping"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("For a first film: a tank with its reel")
    assert out.index("Get now") < out.index("Can wait") < out.index("From the kitchen: no")


def test_the_page_is_written_and_json_has_all(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Beside the words."""
    page = tmp_path / "water.html"
    assert main(["guide", "water", "--hardness", "14 dH", "--html", str(page), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["hardness"]["called"] == "very hard"
    assert told["parts"][0][1][0]["what"] == "Find out how hard it is"
    assert "very hard" in page.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("watr",), 'did you mean "water"?'),
        (("--hardness", "14 dH"), "no topic named; allowed: shopping, water"),
        (("water", "--hardness", "14"), "is not a hardness"),
        (("drying", "--hardness", "14 dH"), "--hardness belongs to water"),
        (("drying", "--html", "drying.txt"), "allowed: a name that ends in .html"),
    ],
)
def test_bad_input_is_one_line(words: tuple[str, ...], says: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit status 2."""
    assert main(["guide", *words]) == 2
    err = capsys.readouterr().err
    assert says in err
    assert len(err.splitlines()) == 1


def test_without_a_topic_the_topics_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    """One line each, in words and as data."""
    assert main(["guide"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in lines] == list(TOPICS)
    assert lines[1] == "water     hard and soft water, and where it matters"
    assert main(["guide", "--json"]) == 0
    assert list(json.loads(capsys.readouterr().out)["topics"]) == list(TOPICS)
