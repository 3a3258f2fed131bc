"""The hardness of water in seven units, against their definitions, and what it asks for."""

from __future__ import annotations

import pytest

from monitor.core.errors import InputWrong
from monitor.prepare.guide.hardness import ANSWERS, CLASSES, read_hardness


@pytest.mark.parametrize(
    ("text", "mg_per_l"),
    [
        # factors as chemistry tables print them: 1 dH 17.848, 1 fH 10, 1 eH 14.254, 1 gpg 17.118 mg/l, 1 mmol/l 100.09 mg/l
        ("1 dH", 17.848),
        ("14 dH", 249.9),
        ("1 fH", 10.0),
        ("1 eH", 14.254),
        ("1 gpg", 17.118),
        ("1 mmol/l", 100.09),
        ("250 mg/l", 250.0),
        ("250 ppm", 250.0),
        ("14 °dH", 249.9),
    ],
)
def test_every_unit_is_what_its_definition_says(text: str, mg_per_l: float) -> None:
    """As calcium carbonate."""
    assert read_hardness(text).mg_per_l == pytest.approx(mg_per_l, rel=1e-3)


@pytest.mark.parametrize(
    ("text", "called"),
    [("60 mg/l", "soft"), ("61 mg/l", "moderately hard"), ("121 mg/l", "hard"), ("180 mg/l", "hard"), ("181 mg/l", "very hard")],
)
def test_the_classes_are_those_of_the_geological_survey(text: str, called: str) -> None:
    """0 to 60, 61 to 120, 121 to 180, more than 180 mg/l (US Geological Survey, "Hardness of Water")."""
    assert read_hardness(text).called == called


def test_the_harder_the_water_the_more_is_distilled() -> None:
    """Nothing, the last bath, the developer too: common practice, no source."""
    assert set(ANSWERS) == {name for _, name in CLASSES}
    assert "distilled" not in ANSWERS["soft"]
    assert all("distilled water for the last bath" in ANSWERS[name] for name in ("moderately hard", "hard", "very hard"))
    assert "developer" not in ANSWERS["moderately hard"]
    assert "developer" in ANSWERS["hard"]
    assert "developer" in ANSWERS["very hard"]


@pytest.mark.parametrize("text", ["14", "-1 dH", "14 degrees", "9999 dH", "dH", "1e3 ppm"])
def test_a_hardness_has_a_unit(text: str) -> None:
    """And no tap has two grams of lime a litre."""
    with pytest.raises(InputWrong, match="is not a hardness"):
        read_hardness(text)
