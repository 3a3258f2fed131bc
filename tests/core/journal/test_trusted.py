"""What the records of trust come to: one fold for the session, for its restart and for the views."""

from __future__ import annotations

from typing import Any

import pytest

from monitor.core.journal.records import TrustChanged
from monitor.core.journal.trusted import Trusted, news

IN_PART = "in part only: bath and vessel's lag put the developer 0.3 C below what this probe reads"
NOT_ITS_BATH = "the developer does not follow it: it reads 4.0 C below its bath"
EXCHANGED = "exchanged with bowl: this probe is in the bath and that one in the developer; each is now taken for the other"


def word(probe: str, believed: bool, why: str, **more: Any) -> TrustChanged:
    """One record, told at 60 s, true since 55 s."""
    return TrustChanged(**{"t_s": 60.0, "since_t_s": 55.0, "source": "developer", **more}, probe=probe, believed=believed, why=why)


def trusted(*words: TrustChanged) -> Trusted:
    """After these records."""
    fold = Trusted()
    for one in words:
        fold.take(one)
    return fold


def test_a_loss_stands_until_the_probe_is_believed_again() -> None:
    """What is over by that is told: why, and since when."""
    fold = trusted(word("jug", False, "in air", source="held"))
    assert fold.lost == {"jug": ("in air", 55.0)}
    assert fold.take(word("bowl", True, "bath read")) is None
    assert fold.take(word("jug", True, "agrees")) == ("in air", 55.0)
    assert fold.lost == {}


@pytest.mark.parametrize("why", ["moves in steps of 0.25 C", "dry until 8 s after the begin", "inside data again", "outside data: 12 C"])
def test_what_is_said_of_a_register_or_of_the_data_moves_no_belief(why: str) -> None:
    """A probe that is lost, or doubted, is so afterwards."""
    before = word("jug", False, "in air", source="held"), word("other", True, IN_PART)
    fold = trusted(*before, word("jug", True, why), word("other", True, why))
    assert (list(fold.lost), list(fold.doubts)) == (["jug"], ["other"])


def test_a_baths_probe_that_is_not_believed_is_no_loss() -> None:
    """It is doubted until it is put back."""
    fold = trusted(word("bowl", False, NOT_ITS_BATH, loss=False))
    assert (fold.lost, fold.doubts) == ({}, {"bowl": (NOT_ITS_BATH, 55.0)})
    assert trusted(word("bowl", False, NOT_ITS_BATH, loss=False), word("bowl", True, "for 30 s where its bath must be")).doubts == {}


@pytest.mark.parametrize(("believed", "why"), [(True, "whole again: the bath agrees"), (False, "in air"), (False, EXCHANGED)])
def test_a_probe_counts_in_part_until_the_next_word_about_it(believed: bool, why: str) -> None:
    """Whole again, lost, or exchanged."""
    fold = trusted(word("jug", True, IN_PART))
    assert fold.doubts == {"jug": (IN_PART, 55.0)}
    fold.take(word("jug", believed, why))
    assert fold.doubts == {}


def test_exchanged_probes_speak_in_each_others_role_and_neither_is_lost() -> None:
    """Whatever was held against either of them before."""
    roles: dict[str, Any] = {"jug": "developer", "bowl": "bath", "wall": "room"}
    before = (word("jug", False, "in air"), word("bowl", False, NOT_ITS_BATH, loss=False), word("bowl", False, "no reading for 15 s"))
    fold = trusted(*before, word("jug", False, EXCHANGED))
    assert (fold.lost, fold.doubts, fold.exchanged) == ({}, {}, ("jug", "bowl"))
    assert fold.role_of(roles) == {"jug": "bath", "bowl": "developer", "wall": "room"}
    assert trusted().role_of(roles) == roles
    assert fold.role_of({"jug": "developer"}) == {"jug": "developer"}


def test_a_record_of_an_older_version_is_a_loss_where_it_has_a_source() -> None:
    """It had no `loss`."""
    assert list(trusted(word("jug", False, "no reading")).lost) == ["jug"]
    assert trusted(word("jug", False, "no reading", source=None)).lost == {}


def test_what_is_neither_a_loss_nor_a_gain_is_told_after_the_probes_name() -> None:
    """All else as ever."""
    assert news(IN_PART) == f"counts {IN_PART}"
    assert news("whole again: the bath agrees") == "counts whole again: the bath agrees"
    assert news(NOT_ITS_BATH) == f"not believed: {NOT_ITS_BATH}; put it back into the bath"
    assert news(EXCHANGED) == EXCHANGED
    assert news("3 good readings") is None
