"""What is said of a developer beyond the recipe's data."""

import pytest

from monitor.core.recipe.data_range import KNOWN_ABOVE, KNOWN_BELOW, known_outside
from monitor.core.recipe.reader import load_recipe
from tests.core.recipe.samples import ROLL, changed


@pytest.mark.parametrize(
    ("low_c", "high_c", "celsius", "known"),
    [
        (10, 20.5, 21.0, None),
        (10, 20.5, 22.9, None),
        (10, 20.5, 23.0, KNOWN_ABOVE),
        (18, 24, 24.1, KNOWN_ABOVE),
        (18, 24, 12.5, KNOWN_BELOW),
        (18, 24, 15.0, KNOWN_BELOW),
        (19, 24, 18.5, None),
    ],
)
def test_what_is_known_of_developers_is_said_only_near_where_it_matters(
    low_c: float, high_c: float, celsius: float, known: str | None
) -> None:
    """Soft gelatine from 23 C on, hydroquinone under 18 C: a range that ends elsewhere says only how far it goes."""
    text = changed(ROLL, f'valid = ["18 C", "24 C"] => valid = ["{low_c} C", "{high_c} C"]')
    stage = next(s for s in load_recipe(text.encode(), "r.toml").stages if s.role == "develop")
    said = known_outside(stage, celsius)
    assert said.startswith(f"the recipe's data go from {low_c:g} C to {high_c:g} C; outside them the rate is three times as uncertain")
    assert [word for word in (KNOWN_ABOVE, KNOWN_BELOW) if word in said] == ([] if known is None else [known])
