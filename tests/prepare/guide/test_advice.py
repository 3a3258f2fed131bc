"""Advice for a beginner: every statement with its source beside it, the answer first, in 60 columns, for reading and not for show."""

from __future__ import annotations

import re

import pytest

from monitor.core.text.degrees import show_in
from monitor.prepare.cautions import CAUTIONS, RULE
from monitor.prepare.guide.advice import TOPICS
from monitor.prepare.guide.hardness import read_hardness
from monitor.prepare.guide.lines import COLUMNS, topic_lines
from monitor.prepare.recipes.new_recipe import blanks

PRACTICE = "common practice, no source"
HAZARDS = "M. McCann, Photographic Processing Hazards"
MEMORY = "from memory, not verified"
NOTES = "the project's practice notes"
SOURCES: dict[str, dict[str, str]] = {
    "shopping": {
        "A tank with lid and reel": PRACTICE,
        "A changing bag": PRACTICE,
        "A roll of film to waste": PRACTICE,
        "A liquid developer, used once": f"liquids rather than powders: {HAZARDS}; used once: {PRACTICE}",
        "Fixer": PRACTICE,
        "Wetting agent": PRACTICE,
        "A thermometer, good to half a degree": f"8 to 10 % a degree near 20 C: {NOTES}, section 9",
        "A syringe or a narrow 25 ml measure": f"a 600 ml jug is read to 25 ml: {NOTES}, section 2",
        "A jug of 600 ml or more, and two bottles": HAZARDS,
        "Nitrile gloves without powder": f"sensitisers: {HAZARDS}; nitrile: a note on pyrogallol; powder on film: {PRACTICE}",
        "Goggles": HAZARDS,
        "Two clips, one of them heavy": PRACTICE,
        "A clock with a second hand": PRACTICE,
        "Scissors, and something to open the cassette": PRACTICE,
        "The safety sheet of each chemical": "design of this project",
        "Stop bath": PRACTICE,
        "Wash aid": PRACTICE,
        "Probes and a board for this program": "design of this project",
        "A drum, a heated bath": PRACTICE,
        "Distilled water by the crate": PRACTICE,
        "An enlarger or a scanner": PRACTICE,
        "Jugs, spoons and funnels that go back to cooking": HAZARDS,
        "Drink bottles": HAZARDS,
        "A meat or jam thermometer": f"two degrees: {MEMORY}; the fifth: 8 to 10 % a degree, {NOTES}, section 9",
        "Washing-up liquid as wetting agent": PRACTICE,
        "Pots of aluminium, copper or zinc": f"{PRACTICE} ({NOTES}, section 7, of probes)",
        "Paper towels on wet film": PRACTICE,
        "Household bleach, to clean up": f"sulphur dioxide and chlorine: {HAZARDS}; chloramines: {MEMORY}",
        "A red bulb": MEMORY,
        "The fridge, beside the food": HAZARDS,
        "White vinegar of 5 % is the exception": f"a stop bath has 1 to 2 % of acid ({NOTES}, section 9); 5 % / 4 = 1.25 %",
    },
    "water": {
        "Find out how hard it is": PRACTICE,
        "The last bath: distilled water and wetting agent": PRACTICE,
        "The developer: distilled, if it turns cloudy": PRACTICE,
        "Boiling helps a little": "boiling drives out carbonate hardness alone: school chemistry",
        "The wash: tap water, always": PRACTICE,
        "Very soft water: handle the film gently": MEMORY,
        "From a softener with salt: for washing only": PRACTICE,
        "Rusty or sandy: through a coffee filter": PRACTICE,
        "From the hot tap: let it run, or use a kettle": MEMORY,
        "Full of fine bubbles: let it stand": f"air bells: {NOTES}, section 10",
        "Chlorine: leave it": MEMORY,
    },
    "drying": {
        "In the bathroom, after a hot shower has run": PRACTICE,
        "No fan and no hair dryer": PRACTICE,
        "Do not wipe it": PRACTICE,
        "Nowhere near a carpet or a pet": PRACTICE,
        "Between 20 C and 30 C": f"{PRACTICE} ({NOTES}, section 9)",
        "Never change the warmth while it dries": PRACTICE,
        "No oven, no radiator, no sun": PRACTICE,
        "A heavy clip at the lower end": PRACTICE,
        "Cut it only when it is dry to the edges": PRACTICE,
        "In its sleeve under a book overnight": PRACTICE,
        "Sheets: each on its own clip by a corner": PRACTICE,
        "Very dry winter air: a wet towel in the room": MEMORY,
        "Drops, rings, dust: wash again for five minutes": PRACTICE,
    },
    "ways": {
        "roll:": PRACTICE,
        "bench:": PRACTICE,
        "monobath:": PRACTICE,
        "replenished:": PRACTICE,
        "two-bath:": f"{PRACTICE}; free of temperature from 18 to 27 C: {NOTES}, section 9",
        "water-bath:": PRACTICE,
        "stand:": PRACTICE,
        "sheets:": f"trays in the dark, sheets one after another: {NOTES}, section 2",
        "drum:": f"10 to 20 % shorter: {NOTES}, section 9",
        "print:": "development by factor: an old rule of the trade, from memory",
        "colour-print:": PRACTICE,
        "bw-reversal:": MEMORY,
        "colour-two-step:": PRACTICE,
        "colour:": PRACTICE,
        "reversal-three-step:": f"first developer within 0.3 C: {NOTES}, section 9",
        "reversal:": PRACTICE,
    },
}


@pytest.mark.parametrize("key", SOURCES)
def test_every_statement_has_its_source_here(key: str) -> None:
    """A new statement needs one."""
    assert [advice.what for _, part in TOPICS[key].parts for advice in part] == list(SOURCES[key])
    assert all(SOURCES[key].values())


@pytest.mark.parametrize("key", TOPICS)
def test_the_answer_comes_first_and_nothing_is_wider_than_a_telephone(key: str) -> None:
    """60 columns, words whole, each piece of advice with its reason as a sentence."""
    lines = list(topic_lines(TOPICS[key]))
    assert " ".join(lines).startswith(TOPICS[key].answer)
    assert max(map(len, lines)) <= COLUMNS == 60
    together = re.sub(r"\s+", " ", " ".join(lines))
    for _, part in TOPICS[key].parts:
        for advice in part:
            assert f"- {advice}" in together
            assert str(advice).endswith(".")
            assert not advice.why or advice.why[0].isupper()


def test_hazards_are_said_as_plan_card_and_label_say_them() -> None:
    """Word for word, so their sources are those of the cautions; dichromate, permanganate, acid, pyro, amidol and selenium are there."""
    known = {re.sub(r"\s+", " ", caution.text): caution.source for caution in (*CAUTIONS, RULE)}
    told = [str(advice) for _, part in TOPICS["hazards"].parts for advice in part]
    assert all(known[text] for text in told)
    everything = " ".join(told).lower()
    assert all(
        word in everything for word in ("dichromate", "permanganate", "sulphuric acid", "pyrogallol", "amidol", "selenium", "local code")
    )
    assert everything.count("not powdered") == 5


def test_every_blank_has_its_word_in_the_ways() -> None:
    """By the name that `new --from` takes, and no other."""
    told = [advice.what.rstrip(":") for _, part in TOPICS["ways"].parts for advice in part]
    assert sorted(told) == sorted(blank.key for blank in blanks())


def test_what_the_water_asks_for_goes_first() -> None:
    """The person's own number, before all that is general."""
    lines = list(topic_lines(TOPICS["water"], read_hardness("14 dH")))
    assert lines[0].startswith("250 mg/l as calcium carbonate is very hard. Use distilled")
    assert max(map(len, lines)) <= 60


def test_the_sums_in_the_advice_are_right() -> None:
    """Vinegar of 5 % in four parts is a stop bath of 1 to 2 %; a degree is almost a tenth of the time (Q10 2.5), two are a fifth."""
    assert 1.0 <= 5.0 / (1 + 3) <= 2.0
    assert 0.08 < 2.5**0.1 - 1.0 < 0.1
    assert 0.19 < 2.5**0.2 - 1.0 < 0.21


def test_degrees_are_said_in_the_unit_that_the_person_chose() -> None:
    """Drying between 20 and 30 C."""
    show_in("F")
    try:
        assert "- Between 68 F and 86 F." in " ".join(topic_lines(TOPICS["drying"]))
    finally:
        show_in(None)
