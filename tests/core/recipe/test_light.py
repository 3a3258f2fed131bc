"""The light rule over every combination of film, vessel, stage, lid and word, known and unknown."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.recipe.kinds import CLOSED_VESSELS, FIXING_ROLES
from monitor.core.recipe.light import (
    FILMS,
    OPEN_VESSELS,
    ROLES,
    bare_film,
    lamp,
    lamp_allowed,
    session_refusal,
    stages_before_last_fix,
)

YES = (True, False)
# The whole permission, written out by hand: film red-blind or not makes no difference, infrared has no row at all.
# (vessel kind, the film still needs its last fix, lid on) -> lamp allowed when asked for, outside loading.
TABLE = {
    ("closed", True, True): True,
    ("closed", True, False): False,
    ("closed", False, True): True,
    ("closed", False, False): True,
    ("open", True, True): False,
    ("open", True, False): False,
    ("open", False, True): True,
    ("open", False, False): True,
}


@pytest.mark.parametrize("film", FILMS)
def test_every_combination_follows_the_table(film: str) -> None:
    """All 5 films x 4 vessels x 11 stages x fixed or not x lid x asked: 1760 rows, each as the table says."""
    for vessel, role, before, lid_on, asked in product((*CLOSED_VESSELS, *OPEN_VESSELS), ROLES, YES, YES, YES):
        kind = "closed" if vessel in CLOSED_VESSELS else "open"
        expected = asked and film != "infrared" and role != "load" and TABLE[kind, before, lid_on]
        row = f"{vessel}, {role}, {before=}, {lid_on=}, {asked=}"
        verdict = lamp(film, vessel, role, before_last_fix=before, lid_on=lid_on, asked=asked)
        assert verdict.allowed == expected, row
        assert verdict.why, row
        assert lamp_allowed(film, vessel, role, before_last_fix=before, lid_on=lid_on, asked=asked) == expected, row


def test_the_rule_knows_the_words_of_a_recipe_and_no_others() -> None:
    """Films, vessels and roles are those of the contract, and paper, so that no recipe falls into the unknown."""
    assert set(FILMS) == {"panchromatic", "orthochromatic", "blue-sensitive", "colour", "infrared", "paper"}
    assert set(CLOSED_VESSELS) == {"lidded tank", "drum"}
    assert set(OPEN_VESSELS) == {"open tank", "open tray"}
    roles = {"load", "presoak", "develop", "stop", "bleach", "fix", "bleach-fix", "wash", "wash aid", "rinse", "hold"}
    assert set(ROLES) == roles


@given(st.text(max_size=12), st.sampled_from((*CLOSED_VESSELS, *OPEN_VESSELS)), st.sampled_from(ROLES), st.sampled_from((0, 1, 2)))
def test_the_unknown_is_dark(word: str, vessel: str, role: str, place: int) -> None:
    """An unknown film, vessel or stage gets no lamp, whatever else holds."""
    names = ["panchromatic", vessel, role]
    if word in (*FILMS, *CLOSED_VESSELS, *OPEN_VESSELS, *ROLES):
        return
    names[place] = word
    for before, lid_on in product(YES, YES):
        assert not lamp_allowed(names[0], names[1], names[2], before_last_fix=before, lid_on=lid_on, asked=True)


def test_nothing_is_lit_unasked() -> None:
    """Without the person's word every combination is dark."""
    for film, vessel, role, before, lid_on in product(FILMS, (*CLOSED_VESSELS, *OPEN_VESSELS), ROLES, YES, YES):
        assert not lamp_allowed(film, vessel, role, before_last_fix=before, lid_on=lid_on, asked=False)


def test_film_is_bare_while_loading_and_in_open_vessels_until_fixed() -> None:
    """Loading bares film in any vessel; a closed vessel keeps it covered; an unknown vessel counts as open."""
    assert bare_film("lidded tank", "load", False)
    assert not bare_film("drum", "develop", True)
    assert bare_film("open tray", "develop", True)
    assert not bare_film("open tray", "wash", False)
    assert bare_film("bucket", "wash", False)
    assert bare_film("drum", "dance", False)


def test_the_last_fix_counts_and_without_one_nothing_is_ever_fixed() -> None:
    """Stages up to and with the last fixing bath come before its end; with no fixing bath all do."""
    assert stages_before_last_fix(("develop", "fix", "wash", "fix", "wash")) == (True, True, True, True, False)
    assert stages_before_last_fix(("develop", "stop", "wash")) == (True, True, True)
    assert set(FIXING_ROLES) == {"fix", "bleach-fix"}


@pytest.mark.parametrize(
    ("film", "vessel", "roles", "refused"),
    [
        ("panchromatic", "lidded tank", ("load", "develop", "fix", "wash"), False),
        ("panchromatic", "drum", ("develop", "fix"), False),
        ("panchromatic", "open tray", ("develop", "stop", "fix", "wash"), True),
        ("orthochromatic", "open tank", ("load", "develop", "fix"), True),
        ("orthochromatic", "open tray", ("wash",), True),
        ("infrared", "lidded tank", ("load", "develop", "fix"), True),
    ],
)
def test_a_session_may_ask_for_the_lamp_only_if_no_stage_but_loading_bares_film(
    film: str, vessel: str, roles: tuple[str, ...], refused: bool
) -> None:
    """The reason for the refusal names the stage; loading does not count."""
    why = session_refusal(film, vessel, roles)
    assert (why is not None) == refused


def test_bare_paper_gets_the_rooms_safelight_and_none_of_the_tools() -> None:
    """Nobody has tested the colour of the tool's lamp; with the lid of a drum on it is as with film."""
    assert not lamp_allowed("paper", "open tray", "develop", before_last_fix=True, lid_on=False, asked=True)
    assert lamp_allowed("paper", "drum", "develop", before_last_fix=True, lid_on=True, asked=True)
    assert session_refusal("paper", "open tray", ("develop", "stop", "fix")) is not None


def test_the_refusal_says_what_is_bare() -> None:
    """Colour paper in a tray is paper, though its kind is that of film."""
    roles = ("develop", "bleach-fix", "wash")
    for medium in ("paper", "film"):
        why = session_refusal("colour", "open tray", roles, medium)
        assert why == f"stage 1 (develop): the {medium} is bare until the last fixing bath is over"
