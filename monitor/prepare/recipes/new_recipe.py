"""Blank recipes, and the questions that turn the sheet in a person's hand into a recipe of their own.

A blank is TOML with marks such as "{{time}}" or "{{drain|0:15}}" (a mark and its usual answer) for what the person fills in.
It is a file in monitor/prepare/recipes/blanks, and not a recipe until every mark is answered. No blank claims a maker's
authority. The filled-in text is checked by the recipe reader. Reads the blanks, writes nothing.
Tests: tests/cli/test_new.py.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import get_args

from monitor.core.errors import FileWrong, InputWrong
from monitor.core.recipe.kinds import Film
from monitor.core.recipe.reader import SD_ENERGY_KJ_MOL, load_recipe
from monitor.core.recipe.values import SAME, Recipe
from monitor.core.text.quantities import (
    format_duration,
    read_dilution,
    read_duration,
    read_temperature,
    read_temperature_difference,
    read_volume,
    shown,
)
from monitor.prepare.recipes.fitting import GivenPair, own_rate, read_pair
from monitor.prepare.water.washing import FILL_S, MOVEMENT_S, MOVEMENTS

BLANKS = Path(__file__).parent / "blanks"
_MARK = re.compile(r'"\{\{(\w+)(?:\|([^}"\n]*))?\}\}"')
_COMMENT_COLUMN = 34
DEFAULT_ENERGY_KJ_MOL = 65
"""Used if the person has only one pair: the middle of published black-and-white tables, 50 to 80 kJ/mol."""

Answers = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class AnswerRule:
    """What a mark asks for. `fragment` turns an answer into TOML, given the earlier answers; it raises `InputWrong`."""

    prompt: str
    fragment: Callable[[str, Answers], str]


@dataclass(frozen=True, slots=True)
class BlankQuestion:
    """One question of one blank, with its usual answer if it has one."""

    key: str
    prompt: str
    usual: str | None


@dataclass(frozen=True, slots=True)
class Blank:
    """A blank: its name, its title and its text."""

    key: str
    title: str
    text: str


def blanks() -> tuple[Blank, ...]:
    """All blanks, the simplest first."""
    order = ("roll", "sheets", "drum", "stand", "two-bath", "bench", "colour", "reversal", "print", "colour-print",
             "water-bath", "replenished", "monobath", "bw-reversal", "colour-two-step", "reversal-three-step")
    found = {path.stem: path.read_text(encoding="utf-8") for path in BLANKS.glob("*.toml")}
    keys = [*order, *sorted(found.keys() - set(order))]
    return tuple(Blank(key, found[key].partition("\n")[0].removeprefix("# "), found[key]) for key in keys)


def blank_named(key: str) -> Blank:
    """The blank with this name. Raises `InputWrong`."""
    every = blanks()
    for blank in every:
        if blank.key == key:
            return blank
    raise InputWrong(f"{shown(key)} is not a blank; allowed: {', '.join(blank.key for blank in every)}")


def questions(blank: Blank) -> Iterator[BlankQuestion]:
    """The blank's questions in the order of its marks, each once."""
    asked: set[str] = set()
    for match in _MARK.finditer(blank.text):
        key, usual = match[1], match[2]
        if key not in asked:
            asked.add(key)
            prompt = _PROMPTS_OF_A_BLANK.get((blank.key, key), _QUESTIONS[key].prompt)
            yield BlankQuestion(key, prompt, blank.title if key == "name" else "" if key == "pairs" else usual)


def check(key: str, answer: str, earlier: Answers) -> None:
    """Raises `InputWrong` if the answer does not fit the question."""
    _QUESTIONS[key].fragment(answer, earlier)


def fill_in(blank: Blank, answers: Answers, file: str) -> tuple[str, Recipe]:
    """The recipe's text and the recipe. Raises `FileWrong` if the answers, each valid by itself, do not make a recipe together."""
    text = "\n".join(_filled(line, answers) for line in blank.text.split("\n"))
    return text, load_recipe(text.encode(), file)


def _filled(line: str, answers: Answers) -> str:
    if not _MARK.search(line):
        return line
    code, hash_mark, comment = line.partition("  #")
    value = _MARK.sub(lambda match: _QUESTIONS[match[1]].fragment(answers[match[1]], answers), code).rstrip()
    first, newline, more = value.partition("\n")
    apart = "" if len(first) < _COMMENT_COLUMN else "   "
    return f"{first:<{_COMMENT_COLUMN}}{apart}#{comment}{newline}{more}" if hash_mark else value


def _text(answer: str, _: Answers) -> str:
    if not answer.strip() or len(answer) > 200 or not answer.isprintable():
        raise InputWrong(f"{shown(answer)} does not fit; allowed: one line of 1 to 200 characters")
    return json.dumps(answer.strip(), ensure_ascii=False)


def _quantity(read: Callable[[object], object]) -> Callable[[str, Answers], str]:
    def fragment(answer: str, _: Answers) -> str:
        read(answer)
        return json.dumps(answer.strip(), ensure_ascii=False)

    return fragment


def _one_of(*words: str) -> Callable[[str, Answers], str]:
    def fragment(answer: str, _: Answers) -> str:
        if answer.strip() not in words:
            raise InputWrong(f"{shown(answer)} is not a known value; allowed: {', '.join(words)}")
        return json.dumps(answer.strip())

    return fragment


def _number(low: float, high: float, says: str, whole: bool = False) -> Callable[[str, Answers], str]:
    pattern = re.compile(r"\d{1,6}" if whole else r"\d{1,6}(\.\d{1,6})?", re.ASCII)

    def fragment(answer: str, _: Answers) -> str:
        if not pattern.fullmatch(answer.strip()) or not low <= float(answer) <= high:
            raise InputWrong(f"{shown(answer)} does not fit; allowed: {says}")
        return str(int(answer)) if whole else str(float(answer))

    return fragment


def _counted(answer: str, earlier: Answers) -> str:
    chosen = _one_of("pour to pour", "full to empty")(answer, earlier)
    if chosen != '"full to empty"':
        return chosen
    fill = 'fill = "0:15"'
    return f"{chosen}\n{fill:<{_COMMENT_COLUMN}}# 10 to 20 s (manual NAVEDTRA 14209): time your own with water"


MOVES = {
    "10 s a minute": '[{ from = "0:00", for = "0:30" }, { every = "1:00", for = "0:10" }]',
    "5 s a minute": '[{ from = "0:00", for = "0:30" }, { every = "1:00", for = "0:05" }]',
    "5 s each 30 s": '[{ from = "0:00", for = "0:30" }, { every = "0:30", for = "0:05" }]',
    "continuous": '"continuous"',
}
"""What sheets say of moving a tank, after the first half minute: common practice; 5 s a minute is the manual's (NAVEDTRA 14209)."""


def _agitation(answer: str, earlier: Answers) -> str:
    _one_of(*MOVES)(answer, earlier)
    return MOVES[answer.strip()]


def _movements(count: int) -> str:
    """One filling that is counted by ear: it is tapped in, ticks begin when it is full, two a movement; its READY says pour out."""
    ticks_s = count * MOVEMENT_S
    time = f'time = "{format_duration(FILL_S + ticks_s)}"'
    agitation = f'agitation = [{{ from = "{format_duration(FILL_S)}", for = "{format_duration(ticks_s)}" }}]'
    how = f"fill in {FILL_S:.0f} s, then {count} times over and back, two ticks each; pour out at READY: teaching texts"
    return (
        f'[[stage]]\nname = "wash, {count} movements"\nrole = "wash"\n{time:<{_COMMENT_COLUMN}}# {how}\n'
        f'until = "at least"\n{agitation}\n'
    )


def _wash_stage(name: str, role: str, time: str, why: str) -> str:
    says = f'time = "{time}"'
    return f'[[stage]]\nname = "{name}"\nrole = "{role}"\n{says:<{_COMMENT_COLUMN}}# {why}\nuntil = "at least"\n'


WASHES = {
    "running water": _wash_stage("wash", "wash", "10:00", "running water; hardening fixers need 20 to 30 minutes: common practice"),
    "fill and dump": "\n".join(_movements(count) for count in MOVEMENTS),
    "wash aid": "\n".join(
        (
            _wash_stage("rinse after the fixer", "wash", "1:00", "so that the wash aid lasts: common practice"),
            _wash_stage("wash aid", "wash aid", "2:00", "one to two minutes, mixed fresh: common practice"),
            _wash_stage("wash", "wash", "5:00", "running water after wash aid: common practice"),
        )
    ),
}
"""Ways of washing, as stages."""


_REUSE = re.compile(r"(\d{1,3})\s+of\s+(.+)")


def _reuse(answer: str, earlier: Answers) -> str:
    """The factor for this film by the kit's own table: its time over the first film's, which must be the time that was given."""
    if not answer.strip():
        return "1.0   # fresh"
    match = _REUSE.fullmatch(answer.strip())
    if match is None:
        raise InputWrong(f'{shown(answer)} does not fit; allowed: this film and the times of all, such as "3 of 3:15, 3:15, 3:30"')
    film, times_s = int(match[1]), [read_duration(word) for word in match[2].split(",")]
    if not 1 <= film <= len(times_s):
        raise InputWrong(f"film {film} of a table for {len(times_s)}; allowed: a film that the kit's table has, or fresh chemicals")
    first_s = read_duration(earlier["time"])
    if abs(times_s[0] - first_s) > SAME:
        raise InputWrong(f"the table begins with {format_duration(times_s[0])}, the time is {format_duration(first_s)}; allowed: the same")
    if any(after < before for before, after in pairwise(times_s)):
        raise InputWrong("the table's times fall; allowed: times that stay or grow from film to film")
    return f"{times_s[film - 1] / first_s:.4f}   # {format_duration(times_s[film - 1])} for film {film}, by the kit's own table"


PAPER_WASHES = {
    "resin-coated": _wash_stage("wash", "wash", "4:00", "running water, 2 to 4 minutes; longer soaks its edges: common practice"),
    "fibre": "\n".join(
        (
            _wash_stage("rinse after the fixer", "wash", "5:00", "so that the wash aid lasts: common practice"),
            _wash_stage("wash aid", "wash aid", "3:00", "double weight; single weight 2 minutes; mixed fresh: common practice"),
            _wash_stage("wash", "wash", "20:00", "running water after wash aid, an hour without: common practice; test it (evenbath wash)"),
        )
    ),
}
"""Papers, as the stages of their washing."""


def _wash_paper(answer: str, earlier: Answers) -> str:
    _one_of(*PAPER_WASHES)(answer, earlier)
    return PAPER_WASHES[answer.strip()].rstrip("\n")


def _wash(answer: str, earlier: Answers) -> str:
    _one_of(*WASHES)(answer, earlier)
    return WASHES[answer.strip()].rstrip("\n")


FIRST_BATH_KINDS = {
    "only soaks": 'steer = false\nband = "4 C"                      # hardly depends on temperature from 18 to 27 C: common practice',
    "develops": (
        f'rate = {{ law = "arrhenius", activation_energy_kj_mol = {DEFAULT_ENERGY_KJ_MOL}, sd = {SD_ENERGY_KJ_MOL} }}'
        "   # it does most of the work: its time and temperature count; published tables lie between 50 and 80 kJ/mol"
    ),
}
"""What the first of two baths does, as lines of its stage: common practice, no source."""
AFTER_SECOND_BATH = {
    "plain water": (
        '[[stage]]\nname = "water"\nrole = "stop"\n'
        'time = "1:00"                     # two changes; carbonate and acid make bubbles in the layer: common practice\n'
        'drain = "0:10"                    # the last 10 s of every step: manual SS0514\nagitation = "continuous"\n'
        'solution = "water"\njug = 3'
    ),
    "stop bath": (
        '[[stage]]\nname = "stop bath"\nrole = "stop"\n'
        'time = "0:30"                     # 15 to 60 s, common practice; not after carbonate\n'
        'drain = "0:10"                    # the last 10 s of every step: manual SS0514\nagitation = "continuous"\n'
        'solution = "stop bath"\njug = 3'
    ),
}
"""What comes between the second bath and the fixer, as a stage: common practice, no source."""


def _first_bath_kind(answer: str, earlier: Answers) -> str:
    _one_of(*FIRST_BATH_KINDS)(answer, earlier)
    return FIRST_BATH_KINDS[answer.strip()]


def _after_second_bath(answer: str, earlier: Answers) -> str:
    _one_of(*AFTER_SECOND_BATH)(answer, earlier)
    return AFTER_SECOND_BATH[answer.strip()]


def _pairs(answer: str, earlier: Answers) -> str:
    """The rate: the person's pairs including the one at the reference, or a usual energy if there are none."""
    given = [read_pair(part.strip()) for part in re.split(r"[,;]", answer) if part.strip()]
    reference_text, time_text = earlier["reference"].strip(), earlier["time"].strip()
    reference_c, time_s = read_temperature(reference_text), read_duration(time_text)
    given = [pair for pair in given if not (abs(pair.celsius - reference_c) <= SAME and abs(pair.seconds - time_s) <= SAME)]
    if not given:
        rate = f'{{ law = "arrhenius", activation_energy_kj_mol = {DEFAULT_ENERGY_KJ_MOL}, sd = {SD_ENERGY_KJ_MOL} }}'
        return f"{rate}   # no second pair: published black-and-white tables lie between 50 and 80 kJ/mol"
    rows = sorted([*given, GivenPair(reference_c, time_s, reference_text, time_text)], key=lambda pair: pair.celsius)
    for before, after in pairwise(rows):
        if after.celsius - before.celsius <= SAME:
            raise InputWrong(f"{after.celsius_text} appears twice with different times; allowed: each temperature once")
        if after.seconds > before.seconds:
            what = f"the time grows from {before.celsius_text} to {after.celsius_text}"
            raise InputWrong(f"{what}; allowed: times that fall as it gets warmer")
    pairs = ", ".join(f'["{pair.celsius_text}", "{pair.time_text}"]' for pair in rows)
    own = own_rate([f"{pair.celsius_text}={pair.time_text}" for pair in rows], reference_text)
    rate = f'{{ law = "pairs", pairs = [{pairs}], sd_percent_per_c = {own.sd_percent_per_c:.2f} }}'
    return f"{rate}   # the pairs that you typed"


_STAGE_TIME = _quantity(read_duration)
_QUESTIONS: dict[str, AnswerRule] = {
    "name": AnswerRule("What shall the recipe be called?", _text),
    "film": AnswerRule("What is the film sensitive to?", _one_of(*get_args(Film))),
    "what": AnswerRule("What is in it, in your words?", _text),
    "agitation": AnswerRule(f"How does your sheet move it, after the first half minute: {', '.join(MOVES)}?", _agitation),
    "area": AnswerRule(
        "How much film: 1 for each roll, 0.25 for each sheet of 4x5 inches (a unit is 80 square inches)?",
        _number(0.01, 1000, "a number above 0, such as 1.5"),
    ),
    "paper_area": AnswerRule(
        "How much paper: 1 for each print of 8x10 inches (a unit is 80 square inches)?",
        _number(0.01, 1000, "a number above 0, such as 1.5"),
    ),
    "time": AnswerRule("The developer's time at its reference temperature, from the sheet in your hand?", _STAGE_TIME),
    "soak": AnswerRule("How long is each soak in developer (1 to 2 min)?", _STAGE_TIME),
    "rest": AnswerRule("How long does it stand in the water each time?", _STAGE_TIME),
    "first_time": AnswerRule("How long in the first bath (3 to 5 min)?", _STAGE_TIME),
    "first_bath_kind": AnswerRule(
        'Which kind: the first bath "only soaks" the film, or, in a divided developer, it "develops" already?', _first_bath_kind
    ),
    "after_second_bath": AnswerRule(
        f"After the second bath: {', '.join(AFTER_SECOND_BATH)}? (after carbonate, acid makes bubbles in the layer)", _after_second_bath
    ),
    "second_time": AnswerRule("The second developer's time, from the sheet in your hand?", _STAGE_TIME),
    "counted": AnswerRule('How does your sheet count: "pour to pour", or "full to empty"?', _counted),
    "reference": AnswerRule("At which temperature?", _quantity(read_temperature)),
    "pairs": AnswerRule('More pairs from your sheet, such as "18 C=12:10, 24 C=6:45"? None: just press return', _pairs),
    "factor": AnswerRule(
        "Multiply that time? By 0.80 to 0.90 if it is a tank's and the drum gets no presoak, else by 1",
        _number(0.01, 3, "a number above 0, at most 3"),
    ),
    "drain": AnswerRule("How long does the vessel take to empty?", _quantity(read_duration)),
    "band": AnswerRule(
        "How far from that may the developer be when you begin with it?", _quantity(read_temperature_difference)
    ),
    "developer": AnswerRule("What do you call the developer?", _text),
    "first_bath": AnswerRule("What do you call the first bath?", _text),
    "second_bath": AnswerRule("What do you call the second bath?", _text),
    "dilution": AnswerRule('Its dilution, such as "1+31" or "stock"?', _quantity(read_dilution)),
    "volume": AnswerRule("How much of it?", _quantity(read_volume)),
    "wash": AnswerRule(f"How do you wash: {', '.join(WASHES)}? (evenbath wash says more)", _wash),
    "wash_paper": AnswerRule(f"Which paper, for its washing: {', '.join(PAPER_WASHES)}?", _wash_paper),
    "longest": AnswerRule("The longest that a print may lie in the developer?", _STAGE_TIME),
    "appearance": AnswerRule(
        "How many times as long as its first trace took does a print need: from your own prints?", _number(1.5, 60, "a number, 1.5 to 60")
    ),
    "reuse": AnswerRule(
        'A kit that is used again: which film is this, of the times in its own table, such as "3 of 3:15, 3:15, 3:30"? Fresh: just press'
        " return",
        _reuse,
    ),
    "bleach_fix": AnswerRule("The bleach-fix's time, from your kit's sheet?", _STAGE_TIME),
    "bleach": AnswerRule("The bleach's time, from the sheet in your hand?", _STAGE_TIME),
    "fix": AnswerRule("How long do you fix: twice today's clearing time, three times for flat-grain film?", _STAGE_TIME),
    "count": AnswerRule("How many sheets?", _number(1, 100, "a whole number, 1 to 100", whole=True)),
    "interval": AnswerRule("How long between one sheet and the next going in?", _quantity(read_duration)),
}

_KIT_FIX = "The fixer's time, from your kit's sheet?"
_PROMPTS_OF_A_BLANK: Mapping[tuple[str, str], str] = {
    ("colour", "fix"): _KIT_FIX,
    ("reversal", "fix"): _KIT_FIX,
    ("reversal", "second_time"): "The colour developer's time, from your kit's sheet?",
    ("reversal-three-step", "second_time"): "The colour developer's time, from your kit's sheet?",
    ("reversal-three-step", "reuse"): (
        'A kit that is used again: which film is this, of the times in its own table, such as "3 of 6:15, 6:15, 6:30"? Fresh: just press'
        " return"
    ),
    ("two-bath", "second_time"): "How long in the second bath (3 to 5 min)?",
    ("print", "fix"): "How long do you fix: what the fixer's sheet says for paper?",
}
"""Where a blank asks for something in other words: (blank, key)."""
NO_WASH_AID = "colour is washed without a wash aid: its kit has a last bath of its own"
"""Common practice, no source."""


def said_together(wrong: FileWrong) -> InputWrong:
    """The problems of a filled-in blank for the person who answered: no file was written, so no lines are named."""
    return InputWrong("these answers do not make a recipe; nothing was written", *(f"  {p.what}; {p.allowed}" for p in wrong.problems))
