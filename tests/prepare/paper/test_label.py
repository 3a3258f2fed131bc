"""What stands on a bottle's label."""

from __future__ import annotations

import re
from pathlib import Path

from monitor.prepare.paper.label import NEVER_FOOD, label_html, label_lines
from tests.prepare.bottles.test_ledger import added, put


def test_a_label_names_dates_limits_and_that_it_is_never_food(tmp_path: Path) -> None:
    """A litre for four units: four boxes; full until, part-full from opening; discard at twice the fresh time."""
    entry = added("Fixer <A>", discard_at=4.0, keeps_full="6 months", keeps_part="1 month", fresh_s=40.0)
    bottle = put(tmp_path, {**entry, "what": "rapid fixer", "dilution": "1+4"}).bottle("Fixer <A>")
    lines = label_lines(bottle)
    text = "\n".join(lines)
    assert lines[0] == "Fixer <A>"
    assert NEVER_FOOD in lines
    assert "mixed 2026-11-01" in text
    assert "full until 2027-05-01; part-full 1 month from opening" in text
    assert text.count("[ ]") == 4 + 2
    assert "from 1:20 on do not use it any more" in text
    assert "throw it away" not in text
    assert "Used fixer carries silver: collect it, never down the drain." in lines
    assert "silver" in text
    page = label_html(bottle)
    assert page.count('<span class="box"></span>') == 4 + 2, "drawn, not typed"
    assert "[" not in re.sub(r"(?s)<style>.*</style>", "", page)
    assert "Fixer &lt;A&gt;" in page
    assert "<A>" not in page
    assert NEVER_FOOD in page


def test_an_opened_bottle_shows_the_day_until_which_it_keeps(tmp_path: Path) -> None:
    """And a one-shot says so."""
    bottle = put(tmp_path, added(opened="2026-11-10", keeps_part="2 weeks", one_shot=True)).bottle("fixer")
    text = "\n".join(label_lines(bottle))
    assert "opened 2026-11-10" in text
    assert "part-full until 2026-11-24" in text
    assert "ONE-SHOT" in text


def test_a_label_has_forty_boxes_at_most(tmp_path: Path) -> None:
    """As many as the bottle is good for, up to forty; beyond that dots say that it goes on."""
    for units, boxes, more in ((40.0, 40, False), (41.0, 40, True)):
        text = "\n".join(label_lines(put(tmp_path, added(f"fixer {units}", discard_at=units)).bottle(f"fixer {units}")))
        assert text.count("[ ]") == boxes + 2
        assert ("[ ] ..." in text) is more


def test_a_bleach_fix_is_not_stoppered_and_has_its_own_colour(tmp_path: Path) -> None:
    """It gives off gas, and is dark red-brown when it is good."""
    text = "\n".join(label_lines(put(tmp_path, {**added("kit part 2"), "role": "bleach-fix"}).bottle("kit part 2")))
    assert "Bleach-fix gives off gas: do not stopper it tight." in text
    assert "Yellow" not in text
    assert "Fixer:" not in text


def test_a_developer_for_paper_is_tested_with_paper(tmp_path: Path) -> None:
    """There is no leader in a box of paper, and no roll."""
    entry = {**added("paper developer", discard_at=4.0, fresh_s=40.0), "role": "develop"}
    text = "\n".join(label_lines(put(tmp_path, entry).bottle("paper developer")))
    assert "Test a strip of paper before each session" in text
    assert "strip of paper dark in 0:40" in text
    assert "(one 8x10, four 4x5)" in text
    assert "leader" not in text
