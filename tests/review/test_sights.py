"""The table of what can be seen on a film that went wrong: complete, plain, and with one change for each cause."""

from __future__ import annotations

import pytest

from monitor.review.judgement import AGAINST_DENSITY, AGAINST_EACH_OTHER, Judgement, contradiction, not_on_paper, sight_lines
from monitor.review.sights import GROUPS, NEGATIVES, ON_ANY_FILM, SIGHTS

LIKELIEST = {
    # what a beginner asks about, and the cause that comes first: common practice, no source, unless said otherwise
    "blank": "the developer was dead, or a part of it was missing",
    "blank-numbers": "the film never moved through the camera",
    "black": "light reached the film outside the pictures",
    "milky": "not fixed to the end",
    "undeveloped-band": "too little developer",
    "streaks": "too little movement",
    "edge-marks": "surge",  # which is dark and which is light: from memory, not verified
    "crescents": "film kinked in loading",  # dark or clear: from memory, not verified
    "scratches": "grit under a cloth",
    "drying-marks": "drops of hard water",
    "powder-frost": "powder from gloves",
    "slide-clear": "the second image never came",
    "slide-black": "the first developer was dead",
    "slide-dark": "too little exposure",  # a positive: more light makes it lighter
    "slide-light": "too much exposure",
    "slide-muddy": "the bleach was too short",
    "slide-stain": "the bleach was not cleared out",
    "slide-cast": "the light had a colour",
    "print-white": "it was exposed from the back",
    "print-black": "white light reached the paper",
    "print-grey-border": "the safelight",
    "print-flat": "pulled out too soon",
    "print-light": "too little exposure",
    "print-dark": "too much exposure",
    "print-cast": "the filters are off",
    "print-patches": "the tray was not rocked",
    "print-fingers": "fixer or stop bath on the fingers",
    "print-stain": "fixed or washed too short",
    "print-blurred": "the enlarger moved",
}


@pytest.mark.parametrize("key", LIKELIEST)
def test_the_likeliest_cause_leads(key: str) -> None:
    """Without a session nothing else speaks."""
    assert SIGHTS[key].causes[0].cause.startswith(LIKELIEST[key])
    lines = sight_lines(SIGHTS[key])
    assert lines[1].startswith(f"  1. {LIKELIEST[key]}")
    assert SIGHTS[key].causes[0].next_time in lines[-1]


@pytest.mark.parametrize("key", SIGHTS)
def test_where_there_are_several_causes_one_question_tells_them_apart(key: str) -> None:
    """One question mark, and an answer for more than one side of it."""
    sight = SIGHTS[key]
    assert (sight.question is not None) == (len(sight.causes) > 1)
    if sight.question is not None:
        asked, _, answers = sight.question.partition("?")
        assert "?" not in answers
        assert answers.count(":") >= 2, asked


@pytest.mark.parametrize("key", SIGHTS)
def test_each_cause_has_one_change_and_no_word_is_twice(key: str) -> None:
    """A change is something to do, in one line, without a full stop."""
    for cause in SIGHTS[key].causes:
        assert cause.next_time
        assert len(cause.next_time) < 120
        assert not cause.next_time.endswith(".")
    assert len({c.cause for c in SIGHTS[key].causes}) == len(SIGHTS[key].causes)


def test_the_edge_numbers_tell_a_dead_developer_from_an_empty_camera() -> None:
    """They are printed at the factory: only a development that failed loses them. Common practice, no source."""
    assert {c.about for c in SIGHTS["blank"].causes} == {"solutions", "development"}
    assert "exposure" in {c.about for c in SIGHTS["blank-numbers"].causes}
    assert "solutions" not in {c.about for c in SIGHTS["blank-numbers"].causes}


@pytest.mark.parametrize(
    ("seen", "density", "why"),
    [
        (("blank", "blank-numbers"), None, "cannot both be seen"),
        (("blank", "black"), None, "cannot both be seen"),
        (("blank-numbers", "thin-shadows"), None, "cannot both be seen"),
        (("blank",), "normal", "does not go with"),
        (("black",), "thin", "does not go with"),
        (("slide-dark", "slide-light"), None, "cannot both be seen on one film"),
        (("print-flat", "print-hard"), None, "cannot both be seen on one print"),
        (("thin-all", "print-light"), None, "are judged each by itself"),
        (("slide-dark", "scratches", "thin-all"), None, "are judged each by itself"),
        (("print-flat", "scratches"), None, "are judged each by itself"),
    ],
)
def test_what_one_film_cannot_show_is_refused(seen: tuple[str, ...], density: str | None, why: str) -> None:
    """Clear film has no density; black film has nothing else."""
    said = contradiction(Judgement("", "s", density=density, seen=seen))
    assert said is not None
    assert why in said


def test_what_contradicts_is_named_by_sights_that_exist() -> None:
    """A sight that is renamed is renamed everywhere."""
    assert {key for pair in AGAINST_EACH_OTHER for key in pair} | set(AGAINST_DENSITY) <= set(SIGHTS)
    assert contradiction(Judgement("", "s", density="thin", seen=("blank",))) is None
    assert contradiction(Judgement("", "s", seen=("slide-dark", "scratches"))) is None
    assert set(ON_ANY_FILM) <= set(NEGATIVES)


def test_more_light_makes_a_positive_lighter_and_a_negative_denser() -> None:
    """Each table has its own way round; a slide that is too dark was exposed too little."""
    assert SIGHTS["slide-dark"].causes[0].cause == SIGHTS["thin-shadows"].causes[0].cause == "too little exposure"
    assert "more time" in SIGHTS["slide-dark"].causes[1].next_time
    assert "less time" in SIGHTS["slide-light"].causes[1].next_time


def test_every_sight_stands_in_one_group() -> None:
    """None is lost on the way into the list, and none is in two."""
    assert [key for group in GROUPS.values() for key in group] == list(SIGHTS)
    assert len(set(SIGHTS)) == sum(len(group) for group in GROUPS.values())


def test_a_session_of_paper_has_the_sights_of_a_print() -> None:
    """A recipe for film says nothing against a print that was made of its negative."""
    assert not_on_paper(Judgement("", "s", seen=("thin-all",)), "paper") is not None
    assert not_on_paper(Judgement("", "s", seen=("print-flat",)), "paper") is None
    assert not_on_paper(Judgement("", "s", seen=("thin-all",)), "panchromatic") is None
