"""The coin test: what a result means, when it is due again, and that no film is called tested which was not."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace
from pathlib import Path

import pytest

from monitor.core.errors import FileWrong, InputWrong
from monitor.prepare.darkness.coin_test import Change, CoinTest, coin_test, covers, darkness, guide, load, save

TODAY = dt.date(2026, 11, 25)
CLEAR = CoinTest("panchromatic", "developer tray", "2026-11-01", 150.0, 1800.0, None)


def test_a_film_without_a_record_was_never_tested() -> None:
    """Nor is it by a test with another kind of film."""
    assert darkness([], "panchromatic", TODAY).standing == "never tested for this film"
    assert darkness([CLEAR], "orthochromatic", TODAY).standing == "never tested for this film"
    assert darkness([CLEAR], "panchromatic", TODAY).standing == "tested"


def test_half_of_what_stayed_clear_is_the_longest_open_time() -> None:
    """NAVEDTRA 14209: film lies in the test for twice the time. 30 minutes without a coin to be seen cover 15."""
    known = darkness([CLEAR], "panchromatic", TODAY)
    assert covers(known, 900.0)
    assert not covers(known, 901.0)


@pytest.mark.parametrize(("shows_s", "safe_s"), [(60.0, 0.0), (240.0, 60.0), (960.0, 240.0), (1800.0, 480.0)])
def test_the_shortest_coin_that_shows_limits_the_open_time(shows_s: float, safe_s: float) -> None:
    """Half of the longest coin before it."""
    test = coin_test(replace(CLEAR, visible_s=shows_s))
    assert test.safe_open_s == safe_s
    assert darkness([test], "panchromatic", TODAY).standing == "light found"


def test_it_is_due_after_six_months_and_after_any_change() -> None:
    """A change before the test does not count, one after it does, whatever was tested in between with other film."""
    assert darkness([CLEAR], "panchromatic", dt.date(2027, 5, 1)).standing == "tested"
    assert darkness([CLEAR], "panchromatic", dt.date(2027, 5, 2)).standing == "due again"
    change = Change("2026-11-20", "new supply")
    assert darkness([change, CLEAR], "panchromatic", TODAY).standing == "tested"
    other = replace(CLEAR, film="orthochromatic")
    assert darkness([CLEAR, change, other], "panchromatic", TODAY).standing == "due again"
    assert not covers(darkness([CLEAR, change], "panchromatic", TODAY), 1.0)


def test_records_are_kept_and_read_back(tmp_path: Path) -> None:
    """A test and a change."""
    save(tmp_path, CLEAR)
    save(tmp_path, Change("2026-11-20", "new supply"))
    assert load(tmp_path) == [CLEAR, Change("2026-11-20", "new supply")]
    (tmp_path / "learned" / "darkness.jsonl").write_text('{"entry":"test","film":"panchromatic"}\n{"entry":"change"}\n', encoding="utf-8")
    with pytest.raises(FileWrong, match=r"darkness\.jsonl:1: "):
        load(tmp_path)


@pytest.mark.parametrize(
    "wrong",
    [
        replace(CLEAR, film="orange"),
        replace(CLEAR, place=" "),
        replace(CLEAR, ran_s=900.0),
        replace(CLEAR, visible_s=90.0),
        replace(CLEAR, coins_s=(120.0, 60.0)),
        replace(CLEAR, day="yesterday"),
    ],
)
def test_a_record_that_says_nothing_is_refused(wrong: CoinTest) -> None:
    """Each with what is allowed."""
    with pytest.raises(InputWrong, match="allowed: "):
        coin_test(wrong)


@pytest.mark.parametrize("film", ["panchromatic", "paper"])
def test_coins_are_laid_down_beside_one_that_lies_from_the_start(film: str) -> None:
    """A coin that is lifted after a minute leaves a spot with all but a minute of the light around it, which nobody sees."""
    said = " ".join(" ".join(guide(film, 300.0)).split())
    assert "Lay a coin on it, to stay to the end." in said
    assert "ay down one more beside it after 1, 2, 4, 8, 16 minutes." in said
    assert "the first spot darker than the one covered all along is the shortest unsafe time" in said.lower()
    assert not re.search(r"\blift", said.lower())


def test_the_guide_asks_for_twice_the_open_time_and_for_a_control() -> None:
    """20 minutes open: 40 in the test; infrared film wants a camera that sees it."""
    text = "\n".join(guide("infrared", 1200.0))
    assert "40:00" in text
    assert "control" in text
    assert "sees infrared" in text
    assert "pull the power" in text


def test_paper_has_the_fogging_test_of_its_safelight() -> None:
    """The same coins, on paper that was exposed before (ISO 8374, in excerpts), safelight on, and a control with it off."""
    said = "\n".join(guide("paper", 300.0))
    assert "fogging test" in said
    assert "paper that has been" in said
    assert "Safelight on; lay down one more beside it after 1, 2, 4, 8, 16 minutes" in said
    assert "Let it lie for 16:00 at least" in said
    assert "half of the time before it is safe" in said
    assert coin_test(CoinTest("paper", "tray", "2026-11-01", None, 960.0, 480.0)).safe_open_s == 120.0


def test_colour_paper_has_a_test_of_its_own() -> None:
    """It has no safelight here, so its test is that of film, on paper; and a test with colour film says nothing of it."""
    said = "\n".join(guide("colour paper", 0.0))
    assert "Coins on colour paper\n" in said
    assert "lay a sheet where the paper will be" in said
    assert 'evenbath darkness record --film "colour paper"' in said
    assert not re.search(r"\bfilm\b", said.replace("--film", ""))
    film, paper = (replace(CLEAR, film=kind) for kind in ("colour", "colour paper"))
    assert darkness([film], "colour paper", TODAY).in_words == "never tested for this paper"
    assert darkness([film, paper], "colour paper", TODAY).standing == "tested"
    assert darkness([paper], "colour", TODAY).standing == "never tested for this film"
