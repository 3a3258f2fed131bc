"""The table of what can be seen on a film that went wrong: complete, plain, and with one change for each cause."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any, get_args

import pytest

from monitor.core.recipe.kinds import VesselKind
from monitor.review.judgement import (
    AGAINST_DENSITY,
    AGAINST_EACH_OTHER,
    Judgement,
    advice,
    contradiction,
    kinds_of,
    not_of_this_kind,
    sight_lines,
)
from monitor.review.load import load
from monitor.review.measures import measure
from monitor.review.numbers import SessionMeasures
from monitor.review.record_says import findings
from monitor.review.sight import Kind, Material
from monitor.review.sights import GROUPS, NEGATIVES, ON_ANY_FILM, SIGHTS

DEMO = Path(__file__).parents[2] / "demo_logs"

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
    "print-black": "light reached the paper",
    "print-grey-border": "the safelight",
    "print-flat": "pulled out too soon",
    "print-light": "too little exposure",
    "print-dark": "too much exposure",
    "print-cast": "the filters are off",
    "print-patches": "it was not moved all the time",
    "print-fingers": "fixer or stop bath on the fingers",
    "print-stain": "not fixed or washed long enough",
    "print-blurred": "the enlarger moved",
}


@pytest.mark.parametrize("key", LIKELIEST)
def test_the_likeliest_cause_leads(key: str) -> None:
    """Without a session nothing else speaks."""
    assert SIGHTS[key].causes[0].cause.startswith(LIKELIEST[key])
    lines = sight_lines(SIGHTS[key])
    assert lines[1].startswith(f"  1. {LIKELIEST[key]}")
    number = " for 1" if len(SIGHTS[key].causes) > 1 else ""
    assert f"  One change{number}: {SIGHTS[key].causes[0].next_time}" in lines


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


@cache
def first_demo() -> SessionMeasures:
    """The numbers of a demonstration evening."""
    return measure(load(next(DEMO.glob("01-*.jsonl")))).numbers


def session_of(film: str, what: str | None, *developers: str) -> SessionMeasures:
    """A demonstration evening as if these had been its material and the names of its developers."""
    told = first_demo()
    (stage,) = [s for s in told.stages if s.role == "develop"]
    return replace(told, film=film, contents=what, stages=[replace(stage, name=name) for name in developers])


def test_a_session_of_paper_has_the_sights_of_a_print() -> None:
    """Colour paper too, which a recipe calls colour; a recipe for film says nothing against a print that was made of its negative."""
    thin, flat = Judgement("", "s", seen=("thin-all",)), Judgement("", "s", seen=("print-flat",))
    for paper in (session_of("paper", None, "develop"), session_of("colour", "one 8x10 print", "colour developer")):
        wrong = not_of_this_kind(thin, paper)
        assert wrong is not None
        assert "seen on film, and this session was of paper; allowed for a print: --seen print-white, " in wrong
        assert not_of_this_kind(flat, paper) is None
    for film in (session_of("panchromatic", None, "develop"), session_of("colour", "one 36-exposure roll", "colour developer")):
        assert not_of_this_kind(thin, film) is None
        assert not_of_this_kind(flat, film) is None


@pytest.mark.parametrize("number", [{"density": "thin"}, {"base_fog": 0.3}, {"contrast": 0.6}])
def test_the_density_of_a_negative_is_not_judged_on_a_print(number: dict[str, Any]) -> None:
    """Nor its contrast; the grade and a measured density are a print's own."""
    wrong = not_of_this_kind(Judgement("", "s", **number), session_of("paper", None, "develop"))
    assert wrong is not None
    assert f"--{next(iter(number)).replace('_', '-')} is of a negative" in wrong
    assert "allowed for a print: --seen print-white" in wrong
    own = Judgement("", "s", grade=2.0, evenness="even", measured_density=0.7)
    assert not_of_this_kind(own, session_of("paper", None, "develop")) is None
    assert not_of_this_kind(Judgement("", "s", **number), session_of("panchromatic", None, "develop")) is None


def test_a_negative_has_no_sights_of_a_slide() -> None:
    """Where it is sure that one was made: developed once to the end of the session, nothing bleached."""
    dark, made = Judgement("", "s", seen=("slide-dark",)), session_of("panchromatic", None, "develop")
    wrong = not_of_this_kind(dark, made)
    assert wrong is not None
    assert "seen on a positive, and this session made a negative; allowed for it: --seen blank, " in wrong
    bleach = replace(made.stages[0], name="bleach", role="bleach")
    bleached, ended = replace(made, stages=[*made.stages, bleach]), replace(made, close_why="abandoned")
    for unsure in (bleached, ended, session_of("colour", None, "one", "two")):
        assert not_of_this_kind(dark, unsure) is None


def test_a_reversal_has_the_sights_of_a_positive() -> None:
    """Marks that look alike on any film go; two baths of a split developer make a negative."""
    slide = session_of("colour", "one roll", "first developer", "colour developer")
    wrong = not_of_this_kind(Judgement("", "s", seen=("thin-all",)), slide)
    assert wrong is not None
    assert "allowed for a positive: --seen slide-clear" in wrong
    assert not_of_this_kind(Judgement("", "s", seen=("slide-dark", "scratches")), slide) is None
    assert not_of_this_kind(Judgement("", "s", seen=("thin-all",)), session_of("panchromatic", None, "bath A", "bath B")) is None


@pytest.mark.parametrize("number", [{"density": "dense"}, {"base_fog": 0.3}])
def test_the_density_of_a_negative_is_not_judged_on_a_positive(number: dict[str, Any]) -> None:
    """A dense negative is a dark print; a dense positive is the other way round, and has sights of its own."""
    wrong = not_of_this_kind(Judgement("", "s", **number), session_of("panchromatic", "one roll", "first developer", "second developer"))
    assert wrong is not None
    assert f"--{next(iter(number)).replace('_', '-')} is of a negative" in wrong
    assert "allowed for a positive: --seen slide-clear" in wrong


def test_black_and_white_has_no_tint_of_colour() -> None:
    """Neither its positive nor its print; in colour both are taken."""
    slide, print_ = Judgement("", "s", seen=("slide-cast",)), Judgement("", "s", seen=("print-cast",))
    grey = session_of("panchromatic", "one roll", "first developer", "second developer")
    for seen, session in ((slide, grey), (print_, session_of("paper", "one 8x10 print", "develop"))):
        wrong = not_of_this_kind(seen, session)
        assert wrong is not None
        assert "is seen in colour, and this session was black-and-white; allowed: --seen " in wrong
        assert "-cast" not in wrong.partition("allowed")[2]
    assert not_of_this_kind(slide, session_of("colour", "one roll", "first developer", "colour developer")) is None
    assert not_of_this_kind(print_, session_of("colour", "one 8x10 print", "developer")) is None
    assert not_of_this_kind(print_, session_of("panchromatic", "one roll", "develop")) is None  # a print of its negative


def said(seen: str, film: str, vessel: str) -> str:
    """All that is said to it after such a session."""
    session = replace(session_of(film, None, "first developer", "second developer"), vessel=vessel)
    return "\n".join(advice(Judgement("", "s", seen=(seen,)), None, findings(session), kinds_of(session)))


@pytest.mark.parametrize("seen", ["slide-muddy", "slide-black"])
def test_the_silver_of_a_black_and_white_positive_is_never_bleached_again(seen: str) -> None:
    """It is the picture. The dyes of a slide stay, so there it is the remedy. Without a session the words warn."""
    grey = said(seen, "panchromatic", "lidded tank")
    assert "bleach again now" not in grey
    assert "when you bleach it" not in grey
    colour = SIGHTS[seen].of(frozenset({"colour"}))
    assert any(cause.next_time.startswith("bleach again now") for cause in colour.causes)
    black_and_white = SIGHTS[seen].of(frozenset({"black-and-white"}))
    assert any("this film cannot be put right" in cause.next_time for cause in black_and_white.causes)
    for cause in SIGHTS[seen].causes:
        assert "bleach" not in cause.next_time or "only colour can be bleached again" in cause.next_time


@pytest.mark.parametrize("seen", ["print-black", "print-grey-border", "print-dark", "print-cast"])
def test_colour_paper_is_handled_in_total_darkness(seen: str) -> None:
    """There is no safelight for it that this program would vouch for; black-and-white paper keeps its own."""
    colour = said(seen, "colour", "drum") + "".join(cause.next_time for cause in SIGHTS[seen].of(frozenset({"colour", "drum"})).causes)
    assert "total darkness" in colour
    assert "under the safelight" not in colour
    assert "the safelight:" not in colour
    assert "test the safelight" not in colour
    assert "safelight" not in colour or "takes no safelight" in colour
    assert "total darkness, and close it at once" not in said("print-black", "paper", "open tray")
    assert "under the safelight alone" not in "\n".join(sight_lines(SIGHTS[seen]))


@pytest.mark.parametrize("vessel", ["open tray", "open tank"])
def test_nobody_is_told_to_tip_an_open_vessel_or_to_look_at_a_reel_in_it(vessel: str) -> None:
    """What was said of a tank with a lid stays there; each vessel has its own remedy."""
    for seen in NEGATIVES:
        words = said(seen, "panchromatic", vessel)
        for wrong in ("turn the tank over", "at a slant", "poured in", "pour it in", "reel", "turns of the film", "always pour"):
            assert wrong not in words.replace("the rewind", ""), (seen, wrong)
    assert "turn the tank over in two seconds" in said("edge-marks", "panchromatic", "lidded tank")
    assert "the reel slid up" in said("undeveloped-band", "panchromatic", "lidded tank")
    assert "the reel slid up" not in said("undeveloped-band", "panchromatic", "drum")
    assert {"open tray": "shuffle", "open tank": "holes of their frames"}[vessel] in said("edge-marks", "panchromatic", vessel)
    assert "two sheets touched" in said("undeveloped-band", "panchromatic", vessel)
    assert "two sheets touched" not in said("undeveloped-band", "panchromatic", "lidded tank")


def test_a_print_in_a_drum_is_asked_about_the_drum() -> None:
    """And nobody rocks it."""
    drum, tray = said("print-patches", "colour", "drum"), said("print-patches", "paper", "open tray")
    assert "Ask: Did the drum turn level and without a pause?" in drum
    assert "tray" not in drum
    assert "Ask: Did you rock the tray all the time?" in tray
    assert "drum" not in tray


def test_without_a_session_the_words_fit_every_vessel() -> None:
    """A cause that is only of some says so; the change tips nothing."""
    lines = sight_lines(SIGHTS["undeveloped-band"])
    assert "  2. the reel slid up on its column (handling; lidded tank only)" in lines
    assert sight_lines(SIGHTS["edge-marks"])[-1] == "  One change for 1: agitate more gently"
    grey = sight_lines(SIGHTS["print-grey-border"])
    assert grey[-2].startswith("  One change for 1: test it with coins")
    assert grey[-1].startswith("  One change for 2: handle it in total darkness")


@pytest.mark.parametrize("material", get_args(Material))
@pytest.mark.parametrize("vessel", get_args(VesselKind))
def test_every_sight_keeps_a_cause_in_every_vessel(vessel: Kind, material: Kind) -> None:
    """And a question where there are several; nothing is left open that the session knows."""
    for key, sight in SIGHTS.items():
        here = sight.of(frozenset({vessel, material}))
        assert here.causes, key
        assert (here.question is not None) or len(here.causes) == 1, key
        assert not any(cause.only_in for cause in here.causes), key
        for cause in here.causes:
            assert len(cause.next_time) < 120
    assert SIGHTS["edge-marks"].of(frozenset()) == SIGHTS["edge-marks"]


def test_white_paper_whose_strip_blackens_may_have_met_the_fixer_first() -> None:
    """A developer that works says nothing of the order of the trays."""
    assert "Yes: the exposure, or the fixer came first." in (SIGHTS["print-white"].question or "")


def test_too_much_of_a_colour_is_filtered_with_that_colour() -> None:
    """For a print from a negative (common practice): the way is said, not only that there is one."""
    assert SIGHTS["print-cast"].causes[0].next_time.startswith("add filter of the colour that there is too much of")


def test_sheets_in_a_tray_have_no_rewind_knob_and_no_cassette() -> None:
    """A holder and its dark slide stand in their place; what may be a roll keeps both."""
    tray, tank = frozenset[Kind](("open tray",)), frozenset[Kind](("open tank",))
    for key in ("blank-numbers", "scratches"):
        of_sheets, of_any = (" ".join(sight_lines(SIGHTS[key].of(kinds))) for kinds in (tray, tank))
        assert not re.search("rewind|wind on|cassette|never pull a roll", of_sheets), of_sheets
        assert re.search("rewind|cassette", of_any), of_any
    assert "dark slide out" in " ".join(sight_lines(SIGHTS["blank-numbers"].of(tray)))
