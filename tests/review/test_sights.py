"""The table of what can be seen on a film that went wrong: complete, plain, and with one change for each cause."""

from __future__ import annotations

import pytest

from monitor.review.judgement import AGAINST_DENSITY, AGAINST_EACH_OTHER, Judgement, contradiction, sight_lines
from monitor.review.sights import SIGHTS

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
