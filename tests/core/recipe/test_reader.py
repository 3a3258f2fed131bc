"""The recipe's reader: defaults, every refusal with its line and words, warnings, and what follows from a sound recipe."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.development.handling import Handling, Held
from monitor.core.development.rate import Arrhenius, Coefficient, Pairs
from monitor.core.errors import FileWrong, Problem
from monitor.core.recipe.reader import load_recipe, recipe_from_data
from monitor.core.recipe.values import Burst, Gate, Recipe, Sheets, planned_exits
from tests.core.recipe.samples import ROLL, TRAY, changed


def problems(text: str | bytes) -> list[Problem]:
    """What the reader says against this text."""
    with pytest.raises(FileWrong) as refused:
        load_recipe(text if isinstance(text, bytes) else text.encode(), "r.toml")
    return list(refused.value.problems)


def loaded(text: str) -> Recipe:
    """A sound recipe."""
    return load_recipe(text.encode(), "r.toml")


def line_of(text: str, mark: str) -> int:
    """1-based line of the first occurrence of the mark."""
    return text[: text.index(mark)].count("\n") + 1


# What is done to ROLL, a mark on the line that must be named, and words that must stand in the message.
BROKEN: dict[str, tuple[tuple[str, ...], str, str]] = {
    "schema missing": (("schema = 1\n =>",), "name =", "the file has no schema"),
    "schema of another kind": (("schema = 1 => schema = 2",), "schema", "out of range; allowed: 1"),
    "schema as text": (('schema = 1 => schema = "1"',), "schema", "not a whole number"),
    "name missing": (('name = "Roll film, cold laundry"\n =>',), "schema", "the file has no name"),
    "name empty": (('"Roll film, cold laundry" => ""',), 'name = ""', "empty"),
    "film unknown": (("panchromatic => orange",), "film =", '"orange" is not a known value; allowed: "panchromatic", "orthochromatic"'),
    "film missing": (('film = "panchromatic"\n =>',), "schema", "the file has no film"),
    "vessel unknown": (("lidded tank => bucket",), "vessel", '"lidded tank", "open tank", "open tray", "drum"'),
    "unknown top key": (("\n[contents] => colour = 1\n[contents]",), "colour = 1", 'unknown key "colour" in the file'),
    "unknown table": (("[contents] => [content]",), "[content]", 'unknown key "content" in the file (nearest: "contents")'),
    "unknown key in contents": (
        ("area_units = 1.0 => units = 1.0",), "units = 1.0", 'unknown key "units" in [contents] (nearest: "area_units")',
    ),
    "area as text": (('area_units = 1.0 => area_units = "1"',), "area_units", "not a number"),
    "area below zero": (("area_units = 1.0 => area_units = -1",), "area_units", "out of range"),
    "unknown key in a stage": (
        ('solution = "developer A" => soluton = "developer A"',), "soluton", 'unknown key "soluton" in [[stage]] 1 (nearest: "solution")',
    ),
    "stage name missing": (('name = "develop"\n =>',), "[[stage]]", "[[stage]] 1 has no name"),
    "role unknown": (('role = "develop" => role = "toner"',), 'role = "toner"', '"toner" is not a known value'),
    "time missing": (('time = "10:00"\n =>',), "[[stage]]", "[[stage]] 1 has no time"),
    "time a bare number": (('time = "10:00" => time = 600',), "time = 600", "600 is not a duration"),
    "time of nothing": (('time = "5:00" => time = "0:00"',), 'time = "0:00"', "out of range"),
    "time over a day": (('time = "5:00" => time = "24:00:01"',), "24:00:01", "out of range"),
    "READY too near NOW": (('ready = "0:30" => ready = "0:14"',), "ready", "out of range"),
    "READY too far from NOW": (('ready = "0:30" => ready = "1:01"',), "ready", "out of range"),
    "a range of no width": (('valid = ["18 C", "24 C"] => valid = ["20 C", "20 C"]',), "valid", "the range is empty"),
    "the pair at the reference half a second off": (
        ('["20 C", "10:00"] => ["20 C", "10:00.5"]',), '["20 C", "10:00.5"]', "at the reference, but time is 10:00",
    ),
    "seconds over 59": (('time = "5:00" => time = "4:75"',), "4:75", "is not a duration"),
    "counted unknown": (("pour to pour => full to full",), "counted", "not a known value"),
    "fill without full to empty": (('counted = "pour to pour" => fill = "0:15"',), "fill", "fill without counted"),
    "full to empty without fill": (("pour to pour => full to empty",), "[[stage]]", "[[stage]] 1 has no fill"),
    "reference missing": (('reference = "20 C"\n =>',), "[[stage]]", "[[stage]] 1 has no reference"),
    "reference a bare number": (('reference = "20 C" => reference = 20',), "reference", "20 is not a temperature"),
    "reference too warm": (('reference = "20 C" => reference = "51 C"',), "reference", "out of range"),
    "steer no flag": (("steer = true => steer = 1",), "steer", "neither true nor false"),
    "steer for colour": (("panchromatic => colour",), "steer = true", "the layers of colour film do not follow one rate"),
    "steer without a rate": (('time = "5:00" => time = "5:00"\nsteer = true',), "steer = true\nuntil", "steer = true without a rate"),
    "law unknown": (('law = "pairs" => law = "linear"',), "rate =", '"linear" is not a known value'),
    "unknown key in a rate": (("sd_percent_per_c => sd",), "24 C\", \"6:45", 'unknown key "sd" in rate'),
    "one pair": (('["18 C", "12:10"],\n =>', ',\n  ["24 C", "6:45"] =>'), "rate =", "fewer than two pairs"),
    "pairs out of order": (('["18 C", "12:10"] => ["22 C", "12:10"]',), '["20 C"', "the temperature 20 C is out of order"),
    "a temperature twice": (('["18 C", "12:10"] => ["68 F", "10:00"]',), '["20 C"', "the temperature 20 C appears twice"),
    "a time that grows": (('"6:45" => "12:45"',), '["24 C"', "the time grows with temperature, 10:00 to 12:45"),
    "no pair at the reference": (('["20 C" => ["21 C"',), "rate =", "none of them is at the reference, 20 C"),
    "the pair at the reference unlike time": (
        ('time = "10:00" => time = "11:00"',), '["20 C"', "10:00 at the reference, but time is 11:00",
    ),
    "a pair of bare numbers": (('["24 C", "6:45"] => ["24 C", 405]',), '["24 C"', "405 is not a duration"),
    "a pair of three": (('["24 C", "6:45"] => ["24 C", "6:45", 1]',), '["24 C"', "not a temperature and a time"),
    "a pair that boils": (('["24 C", "6:45"] => ["99 C", "0:10"]',), '["99 C"', "out of range"),
    "valid turned round": (('["18 C", "24 C"] => ["24 C", "18 C"]',), "valid", "reversed"),
    "valid of bare numbers": (('["18 C", "24 C"] => [18, 24]',), "valid", "18 is not a temperature"),
    "valid one temperature": (('["18 C", "24 C"] => ["24 C"]',), "valid", "not a pair of temperatures"),
    "drain as long as the stage": (('drain = "0:15" => drain = "10:00"',), "drain", "drain 10:00 is not shorter than the stage, 10:00"),
    "drain longer than the stage": (
        ('drain = "0:15" => drain = "9:00"', "factor = 1.0 => factor = 0.5"), "drain", "not shorter than the stage, 5:00",
    ),
    "ready too long": (('ready = "0:30" => ready = "1:01"',), "ready", 'allowed: "0:15" to "1:00"'),
    "in the hands without a movement": (
        ('agitation = [{ from = "0:00", for = "0:30" }, { every = "1:00", for = "0:10" }] => in_hand = true',),
        "in_hand", "without movements",
    ),
    "in the hands in another stage": (
        ('until = "at least" => until = "at least"\nin_hand = false',), "in_hand", "develops in no lidded tank",
    ),
    "tempered in an open vessel": (
        ('vessel = "lidded tank" => vessel = "open tank"', "jug = 1 => jug = 1\ntempered = true"), "tempered", "develops in no lidded",
    ),
    "tempered as text": (('jug = 1 => jug = 1\ntempered = "yes"',), "tempered", "neither true nor false"),
    "agitation unknown": (
        ('[{ from = "0:00", for = "0:30" }, { every = "1:00", for = "0:10" }] => "now and then"',), "agitation", "not a known value",
    ),
    "agitation without for": (('{ from = "0:00", for = "0:30" } => { from = "0:00" }',), "agitation", "agitation 1 has no for"),
    "agitation from and every": (('every = "1:00", => every = "1:00", from = "1:00",',), "agitation", "one of from and every"),
    "agitation longer than every": (('every = "1:00" => every = "0:05"',), "agitation", "longer than every"),
    "agitation after the end": (('from = "0:00" => from = "10:00"',), "agitation", "after the stage's end"),
    "band a bare number": (('band = "0.5 C" => band = 0.5',), "band = 0.5", "0.5 is not a temperature difference"),
    "gate without for": ((', for = "1:00" } =>  }',), "gate", "gate has no for"),
    "gate in another stage": (('role = "develop" => role = "stop"', "steer = true\n =>"), "gate", "a gate before a develop stage only"),
    "factor zero": (("factor = 1.0 => factor = 0",), "factor", "above 0, at most 3"),
    "factor over three": (("factor = 1.0 => factor = 3.01",), "factor", "above 0, at most 3"),
    "factor not a number": (("factor = 1.0 => factor = nan",), "factor", "out of range"),
    "jug of nothing": (("jug = 1 => jug = 0",), "jug", "1 to 20"),
    "jug as text": (('jug = 1 => jug = "1"',), "jug", "not a whole number"),
    "until unknown": (('until = "at least" => until = "whenever"',), "until", '"time", "at least"'),
    "at_most in a timed stage": (('until = "at least" => until = "time"',), "at_most", 'at_most only with until = "at least"'),
    "at_most below the minimum": (('at_most = "12:00" => at_most = "5:00"',), "at_most", 'allowed: more than "5:00"'),
    "a date for a name": (('name = "fix" => name = 2026-11-25',), "name = 2026", "is not text"),
    "dilution with a colon": (("jug = 1 => dilution = '1:31'",), "dilution", "can mean two things"),
    "volume a bare number": (("jug = 1 => volume = 500",), "volume", "500 is not a volume"),
    "load that ends by time": (
        ('role = "fix" => role = "load"', 'time = "5:00"\n =>', "at least => time", 'at_most = "12:00"\n =>'),
        "until",
        'until = "time" for loading; allowed: "at least"',
    ),
    "load with a time that ends by time": (
        ('role = "fix" => role = "load"', "at least => time", 'at_most = "12:00"\n =>'), "until", 'until = "time" for loading',
    ),
}  # fmt: skip

BROKEN_RATES: dict[str, tuple[str, str]] = {
    "coefficient too small": ('{ law = "coefficient", per_10_c = 0.9 }', "allowed: 1.0 to 6.0"),
    "coefficient too large": ('{ law = "coefficient", per_10_c = 6.1 }', "allowed: 1.0 to 6.0"),
    "coefficient missing": ('{ law = "coefficient", sd = 0.1 }', "rate has no per_10_c"),
    "coefficient with an energy": (
        '{ law = "coefficient", per_10_c = 2, activation_energy_kj_mol = 60 }', 'unknown key "activation_energy_kj_mol"',
    ),
    "coefficient's sd below zero": ('{ law = "coefficient", per_10_c = 2, sd = -1 }', "sd: -1 is out of range"),
    "energy too small": ('{ law = "arrhenius", activation_energy_kj_mol = 9.9 }', "allowed: 10 to 200"),
    "energy too large": ('{ law = "arrhenius", activation_energy_kj_mol = 201 }', "allowed: 10 to 200"),
    "energy as text": ('{ law = "arrhenius", activation_energy_kj_mol = "65 kJ/mol" }', "is not a number"),
    "law missing": ("{ per_10_c = 2.5 }", "rate has no law"),
    "no table": ("2.5", "2.5 is not a table"),
    "pairs missing": ('{ law = "pairs" }', "rate has no pairs"),
    "pairs no list": ('{ law = "pairs", pairs = "20 C" }', "fewer than two pairs"),
}

BROKEN_SHEETS: dict[str, tuple[tuple[str, ...], str, str]] = {
    "count missing": (("count = 6\n =>",), "[sheets]", "[sheets] has no count"),
    "count of nothing": (("count = 6 => count = 0",), "count", "1 to 100"),
    "interval missing": (('interval = "0:10"\n =>',), "[sheets]", "[sheets] has no interval"),
    "interval a bare number": (('interval = "0:10" => interval = 10',), "interval", "10 is not a duration"),
    "unknown key": (("count = 6 => count = 6\nsheets = 6",), "sheets = 6", 'unknown key "sheets" in [sheets]'),
    "factors of the wrong count": (("count = 6 => count = 6\nfactors = [1, 1, 0.8]",), "factors", "3 for 6 sheets; allowed: 6 factors"),
    "a factor of nothing": (("count = 6 => count = 6\nfactors = [1, 1,\n1, 0, 1, 1]",), "1, 0, 1", "0 is not a factor"),
    "factors no list": (("count = 6 => count = 6\nfactors = 1",), "factors", "not a list"),
    "exits too close by the interval": (('interval = "0:10" => interval = "0:07"',), "interval", "would leave 0:07.0 apart"),
    "exits too close by the drain": (('agitation => drain = "0:08"\nagitation',), "interval", "exits at least 0:11.0 apart"),
    "exits too close by a factor": (
        ("count = 6 => count = 2", 'interval = "0:10" => interval = "1:00"\nfactors = [1, 0.88]'),
        "factors",
        "sheets 1 and 2 would leave",
    ),
    "two develop stages": (
        ('role = "stop" => role = "develop"', 'time = "0:30" => time = "5:00"'), "[sheets]", "sheets with 2 develop stages",
    ),
    "no develop stage": (('role = "develop" => role = "presoak"',), "[sheets]", "sheets with 0 develop stages"),
    "a sheet drained before it is in": (
        ("count = 6 => count = 2", 'interval = "0:10" => interval = "0:10"\nfactors = [1, 0.01]'),
        "factors",
        "the shortest sheet",
    ),
    "a default drain longer than the stage": (
        ('time = "0:30" => time = "0:05"',), 'time = "0:05"', "drain (the default) 0:05 is not shorter",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", BROKEN)
def test_a_broken_recipe_is_refused_on_its_line(case: str) -> None:
    """One thing broken: exactly one problem, on the expected line, with the expected words and what is allowed."""
    edits, mark, words = BROKEN[case]
    text = changed(ROLL, *edits)
    found = problems(text)
    assert [p.line for p in found] == [line_of(text, mark)], found
    assert words in str(found[0])
    assert f"r.toml:{found[0].line}: " in str(found[0])
    assert "; allowed: " in str(found[0])


@pytest.mark.parametrize("case", BROKEN_RATES)
def test_a_broken_rate_is_refused_on_its_line(case: str) -> None:
    """The same for the rate's own table."""
    rate, words = BROKEN_RATES[case]
    text = changed(TRAY, f'{{ law = "coefficient", per_10_c = 2.5, sd = 0.1 }} => {rate}')
    found = problems(text)
    assert {p.line for p in found} == {line_of(text, "rate =")}
    assert any(words in str(p) for p in found)


@pytest.mark.parametrize("case", BROKEN_SHEETS)
def test_broken_sheets_are_refused_on_their_line(case: str) -> None:
    """The same for several sheets, whose exits are reckoned with."""
    edits, mark, words = BROKEN_SHEETS[case]
    text = changed(TRAY, *edits)
    found = problems(text)
    assert {p.line for p in found} == {line_of(text, mark)}
    assert words in str(found[0])


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        (b"", 1, "the file has no schema"),
        (b"\n\n# nothing\n", 1, "the file has no stage"),
        (ROLL.encode().replace(b"laundry", b"laundry \xfc"), 2, "not UTF-8"),
        (ROLL.encode("utf-16"), 1, "not UTF-8"),
        (ROLL.encode().replace(b"laundry", b"laundry\x00"), 2, "not TOML"),
        (ROLL.encode().replace(b'time = "5:00"', b'time = "5:00'), 34, "not TOML"),
        (ROLL.encode().replace(b"[contents]", b"[contents"), 6, "not TOML"),
        (b"[" * 10_000_000, 1, "longer than"),
        (b"stage = " + b"[" * 200_000, 1, "nested too deeply"),
        (ROLL.encode() + b"[stage]\nx = 1\n", 37, "not TOML"),
        (b"\x00" * 1000, 1, "not TOML"),
    ],
)
def test_what_is_no_recipe_at_all_is_refused(text: bytes, line: int, words: str) -> None:
    """Nothing, other encodings, NUL, syntax and brackets: one reading, a line, no other exception."""
    found = problems(text)
    assert found[0].line == line
    assert any(words in p.what for p in found)


@pytest.mark.parametrize(
    "edits",
    [
        ('time = "0:30" => time = "0:30"\nready = "1:00"',),
        ('agitation = "continuous" => agitation = [{ every = "0:30", for = "0:30" }]',),
        ('interval = "0:10" => interval = "0:08"',),
        ('interval = "0:10" => interval = "1:10"', 'time = "0:30" => time = "0:35"\nready = "0:15"'),
        ('time = "10:00" => time = "24:00:00"',),
        ('reference = "20 C" => reference = "5 C"',),
        ('reference = "20 C" => reference = "50 C"',),
        ("per_10_c = 2.5 => per_10_c = 6",),
        ("per_10_c = 2.5 => per_10_c = 1",),
        ('time = "0:30" => time = "0:30"\nfactor = 3',),
    ],
)
def test_the_last_value_that_is_allowed_is_allowed(edits: tuple[str, ...]) -> None:
    """READY that has no room (it is left out), agitation without a pause, exits drain and 3 s apart, and the ends of the ranges."""
    assert loaded(changed(TRAY, *edits)).stages


def test_a_single_stage_table_is_told_to_be_one_of_several() -> None:
    """[stage] for [[stage]] is a common slip."""
    found = problems(changed(TRAY[: TRAY.index("[[stage]]\nname = \"stop")], "[[stage]] => [stage]"))
    assert [(p.line, p.allowed) for p in found] == [(6, "allowed: [[stage]] for each")]


def test_an_empty_list_of_stages_is_refused() -> None:
    """A recipe has at least one stage."""
    found = problems('schema = 1\nname = "n"\nfilm = "colour"\nvessel = "drum"\nstage = []\n')
    assert [(p.line, p.what) for p in found] == [(5, "stage is empty")]


def test_all_problems_come_together() -> None:
    """Five unrelated slips are five lines of one refusal, in the order of the file."""
    text = changed(
        ROLL, "panchromatic => orange", "area_units = 1.0 => area_units = 0", 'drain = "0:15" => drain = 15', "jug = 1 => jug = 99",
        'time = "5:00" => time = "5"',
    )  # fmt: skip
    marks = ("film =", "area_units", "drain", "jug = 99", 'time = "5"')
    assert [p.line for p in problems(text)] == [line_of(text, mark) for mark in marks]


def test_a_problem_reads_as_file_line_what_allowed() -> None:
    """The whole message, letter for letter."""
    (found,) = problems(changed(ROLL, 'time = "5:00" => time = 300'))
    assert str(found) == (
        'r.toml:34: time: 300 is not a duration; allowed: "m:ss", "m:ss.s" or "h:mm:ss" with seconds 00-59, such as "10:00" or "1:02:30"'
    )


def test_everything_that_a_stage_says_is_read() -> None:
    """The full example, value for value."""
    recipe = loaded(ROLL)
    develop, fix = recipe.stages
    assert (recipe.name, recipe.film, recipe.vessel, recipe.sheets) == ("Roll film, cold laundry", "panchromatic", "lidded tank", None)
    assert (recipe.what, recipe.area_units, recipe.warnings) == ("one 36-exposure roll, marked 14", 1.0, ())
    assert develop.law == Pairs(20.0, ((18.0, 730.0), (20.0, 600.0), (24.0, 405.0)), 0.5, (18.0, 24.0))
    assert (develop.number, develop.line, develop.time_s, develop.drain_s, develop.ready_s) == (1, 10, 600.0, 15.0, 30.0)
    assert (develop.counted, develop.fill_s, develop.steer, develop.until) == ("pour to pour", 0.0, True, "time")
    assert develop.agitation == (Burst(0.0, None, 30.0), Burst(None, 60.0, 10.0))
    assert (develop.band_c, develop.gate, develop.factor) == (0.5, Gate(0.15, 60.0), 1.0)
    assert (develop.solution, develop.jug, develop.continuous) == ("developer A", 1, False)
    assert (fix.number, fix.line, fix.role, fix.until, fix.at_most_s) == (2, 31, "fix", "at least", 720.0)


def test_what_hands_and_wall_do_is_for_the_recipe_to_say() -> None:
    """Each movement in the hands, the tank untempered, so much developer in it; left out, nothing of it is known."""
    said = loaded(changed(ROLL, "jug = 1 => jug = 1\nin_hand = true\ntempered = false\nvolume = \"500 ml\"")).stages[0]
    assert said.handling == Handling(False, (Held(0.0, None, 30.0), Held(None, 60.0, 10.0)), 500.0)
    assert loaded(ROLL).stages[0].handling == Handling()


def test_defaults_are_filled_in() -> None:
    """Drain 0:10, READY 0:30, steering only for develop with a rate, valid the reference -4 to +4 C."""
    text = changed(TRAY, "[sheets]\n =>", "count = 6\n =>", 'interval = "0:10"\n =>')
    develop, stop, fix, wash = loaded(text).stages
    assert develop.steer
    assert develop.valid_c == (16.0, 24.0)
    assert develop.law == Coefficient(20.0, 2.5, 0.1, (16.0, 24.0))
    assert [s.drain_s for s in (develop, stop, fix, wash)] == [10.0] * 4
    assert [s.ready_s for s in (develop, stop)] == [30.0, 30.0]
    assert [s.until for s in (develop, stop, fix, wash)] == ["time", "time", "at least", "at least"]
    assert not stop.steer
    assert (stop.law, stop.valid_c, stop.factor, stop.counted) == (None, None, 1.0, "pour to pour")


def test_sheets_drain_in_five_seconds() -> None:
    """With [sheets] the default drain is 0:05, and the factors are ones."""
    recipe = loaded(TRAY)
    assert {s.drain_s for s in recipe.stages} == {5.0}
    assert recipe.sheets == Sheets(6, 10.0, (1.0,) * 6)


@pytest.mark.parametrize("role", ["presoak", "develop", "stop", "bleach", "bleach-fix"])
def test_timed_roles_end_by_time(role: str) -> None:
    """Default of until for what must not go on."""
    assert loaded(changed(TRAY[: TRAY.index("[sheets]")], f'role = "stop" => role = "{role}"')).stages[1].until == "time"


@pytest.mark.parametrize("role", ["load", "fix", "wash", "wash aid", "rinse", "hold"])
def test_waiting_roles_end_at_least(role: str) -> None:
    """Default of until for what may go on."""
    assert loaded(changed(TRAY[: TRAY.index("[sheets]")], f'role = "stop" => role = "{role}"')).stages[1].until == "at least"


@pytest.mark.parametrize("time_key", ["", 'time = "0:00"\n'])
def test_loading_needs_no_time(time_key: str) -> None:
    """A load stage without a time, or with none, is silent and lasts until a press."""
    text = ROLL.replace("[[stage]]", f'[[stage]]\nname = "load"\nrole = "load"\n{time_key}\n[[stage]]', 1)
    load = loaded(text).stages[0]
    assert (load.time_s, load.until, load.drain_s) == (0.0, "at least", 0.0)


def test_colour_is_not_steered_by_default_even_with_a_rate() -> None:
    """The rate is kept, the warning says that it does not move the time."""
    recipe = loaded(changed(ROLL, "panchromatic => colour", "steer = true\n =>"))
    assert not recipe.stages[0].steer
    assert recipe.stages[0].law is not None
    assert any("does not move the time of colour film" in w for w in recipe.warnings)


def test_steering_can_be_turned_off() -> None:
    """steer = false with a rate is the person's right."""
    assert not loaded(changed(ROLL, "steer = true => steer = false")).stages[0].steer


@pytest.mark.parametrize(
    ("rate", "law"),
    [
        ('{ law = "coefficient", per_10_c = 2 }', Coefficient(20.0, 2.0, 0.3, (16.0, 24.0))),
        ('{ law = "arrhenius", activation_energy_kj_mol = 70.6, sd = 5.0 }', Arrhenius(20.0, 70.6, 5.0, (16.0, 24.0))),
        ('{ law = "arrhenius", activation_energy_kj_mol = 10 }', Arrhenius(20.0, 10.0, 8.7, (16.0, 24.0))),
        (
            '{ law = "pairs", pairs = [["68 F", "8:00"], ["75 F", "6:00"]] }',
            Pairs(20.0, ((20.0, 480.0), (43 / 1.8, 360.0)), 0.5, (20.0, 43 / 1.8)),
        ),
    ],
)
def test_the_three_laws_are_read_with_their_default_uncertainty(rate: str, law: Any) -> None:
    """Coefficient, energy, pairs; where no sd is given the documented one stands."""
    assert loaded(changed(TRAY, f'{{ law = "coefficient", per_10_c = 2.5, sd = 0.1 }} => {rate}')).stages[0].law == law


def test_times_that_stay_the_same_between_pairs_are_allowed() -> None:
    """Published charts are rounded, so two temperatures may share a time."""
    assert loaded(changed(ROLL, '"6:45" => "10:00"')).stages[0].law is not None


def test_counting_from_full_keeps_its_filling_time() -> None:
    """full to empty with fill."""
    stage = loaded(changed(ROLL, 'counted = "pour to pour" => counted = "full to empty"\nfill = "0:15"')).stages[0]
    assert (stage.counted, stage.fill_s) == ("full to empty", 15.0)


def test_a_band_in_fahrenheit_is_a_difference() -> None:
    """0.9 F is half a degree Celsius."""
    assert loaded(changed(ROLL, 'band = "0.5 C" => band = "0.9 F"')).stages[0].band_c == pytest.approx(0.5)


def test_dilution_and_volume_are_read() -> None:
    """How much of what belongs to the plan."""
    stage = loaded(changed(ROLL, 'jug = 1 => jug = 1\ndilution = "1+31"\nvolume = "500 ml"')).stages[0]
    assert (str(stage.dilution), stage.volume_ml) == ("1+31", 500.0)


def test_the_target_is_time_times_factor() -> None:
    """11:00 x 1.3 = 14:18."""
    stage = loaded(changed(TRAY, 'time = "8:00" => time = "11:00"\nfactor = 1.3')).stages[0]
    assert stage.target_ref_s == pytest.approx(14 * 60 + 18)


def test_a_short_stage_needs_no_room_for_ready() -> None:
    """A stop bath of half a minute has a READY that is simply left out, by default and where the recipe states it."""
    assert loaded(TRAY).stages[1].time_s == 30.0
    assert loaded(changed(TRAY, 'time = "0:30" => time = "0:30"\nready = "0:30"')).stages[1].ready_s == 30.0


def test_stages_without_a_reference_take_the_developers() -> None:
    """The bleach of a process at 37.8 C is not meant at 20 C; with none stated at all it is 20 C."""
    text = changed(ROLL, "panchromatic => colour", "steer = true\n =>")
    text = changed(text, '"20 C", "10:00" => "37.8 C", "10:00"', '"18 C", "12:10" => "36 C", "12:10"', '"24 C", "6:45" => "40 C", "6:45"')
    text = changed(text, 'reference = "20 C" => reference = "37.8 C"', 'valid = ["18 C", "24 C"]\n =>')
    assert loaded(text).stages[1].reference_c == 37.8
    presoaked = changed(TRAY, 'role = "stop" => role = "develop"', "[sheets]\n =>", "count = 6\n =>", 'interval = "0:10"\n =>')
    presoaked = presoaked.replace('role = "develop"', 'role = "presoak"', 1).replace('reference = "20 C"', 'reference = "24 C"')
    presoaked = changed(presoaked, 'time = "0:30" => time = "0:30"\nreference = "21 C"')
    assert [s.reference_c for s in loaded(presoaked).stages] == [24.0, 21.0, 21.0, 21.0]
    plain = changed(TRAY, 'reference = "20 C"\n =>', 'rate = { law = "coefficient", per_10_c = 2.5, sd = 0.1 }\n =>')
    assert {s.reference_c for s in loaded(plain).stages} == {20.0}


def test_a_tables_place_may_be_a_header_or_inline() -> None:
    """[stage.rate] under its stage is the same recipe as rate = { ... }, and its problems have its own header's line."""
    header = '[stage.rate]\nlaw = "coefficient"\nper_10_c = 2.5\nsd = 0.1\n'
    text = changed(
        TRAY,
        'rate = { law = "coefficient", per_10_c = 2.5, sd = 0.1 }\n =>',
        f'agitation = "continuous"\n => agitation = "continuous"\n{header}',
    )
    assert loaded(text).stages[0].law == loaded(TRAY).stages[0].law
    broken = changed(text, "per_10_c = 2.5\n =>")
    assert [(p.line, p.what) for p in problems(broken)] == [(line_of(broken, "[stage.rate]"), "rate has no per_10_c")]


@pytest.mark.parametrize(
    ("vessel", "edits", "bare"),
    [
        ("lidded tank", (), (1,)),
        ("drum", (), (1,)),
        ("open tray", (), (1, 2, 3, 4)),
        ("open tank", (), (1, 2, 3, 4)),
        ("open tray", ('role = "fix" => role = "bleach-fix"',), (1, 2, 3, 4)),
        ("open tray", ('role = "fix" => role = "hold"',), (1, 2, 3, 4, 5)),
        ("open tray", ('role = "wash" => role = "fix"',), (1, 2, 3, 4, 5)),
    ],
)
def test_film_is_bare_while_loading_and_in_an_open_vessel_until_fixed(vessel: str, edits: tuple[str, ...], bare: tuple[int, ...]) -> None:
    """load, develop, stop, fix, wash: which of them find the film open."""
    text = changed(TRAY, "open tray => " + vessel, *edits, "[sheets]\n =>", "count = 6\n =>", 'interval = "0:10"\n =>')
    text = text.replace("[[stage]]", '[[stage]]\nname = "load"\nrole = "load"\n\n[[stage]]', 1)
    assert loaded(text).open_film == bare


def test_planned_exits_follow_interval_and_factor() -> None:
    """Sheet k goes in at k intervals and out its own time later; a sheet at N-1 overtakes."""
    assert planned_exits(480.0, Sheets(4, 10.0, (1.0, 1.0, 0.8, 1.0))) == pytest.approx((480.0, 490.0, 404.0, 510.0))
    text = changed(TRAY, "count = 6 => count = 6\nfactors = [1, 1, 0.8, 1, 1, 1]")
    assert loaded(text).sheet_exits_s == pytest.approx((480.0, 490.0, 404.0, 510.0, 520.0, 530.0))


FIX_AT_20 = 'time = "4:00" => time = "4:00"\nreference = "20 C"'


@pytest.mark.parametrize(
    ("edits", "words"),
    [
        (('time = "8:00" => time = "4:30"',), "4:30 is under 5:00"),
        (('time = "8:00" => time = "4:59"',), "4:59 is under 5:00"),
        ((FIX_AT_20, 'time = "10:00" => time = "10:00"\nreference = "12 C"'), "reticulation"),
        (('time = "8:00" => time = "6:00"',), "at 24 C it is 4:10, under 5:00"),
        (('agitation = "c => valid = ["21 C", "24 C"]\nagitation = "c',), "the reference 20 C is outside the data, 21 C to 24 C"),
        ((FIX_AT_20, 'time = "10:00" => time = "10:00"\nreference = "15 C"'), "common practice keeps baths within 3 C"),
        ((FIX_AT_20, 'time = "10:00" => time = "10:00"\nreference = "11 C"'), "reticulation"),
        (("count = 6 => count = 7",), "7 sheets at once"),
        (('role = "fix" => role = "hold"',), "no stage fixes"),
        (
            (
                'time = "0:30" => time = "0:30"\njug = 1\nsolution = "stop"',
                'time = "4:00" => time = "4:00"\njug = 1\nsolution = "fixer"',
            ),
            "one jug for each solution",
        ),
    ],
)
def test_what_is_allowed_but_unwise_is_a_warning(edits: tuple[str, ...], words: str) -> None:
    """The recipe loads, and says so."""
    assert any(words in warning for warning in loaded(changed(TRAY, *edits)).warnings)


@pytest.mark.parametrize(
    ("edits", "words"),
    [
        (('time = "8:00" => time = "5:00"',), "5:00 is under 5:00"),
        ((FIX_AT_20, 'time = "10:00" => time = "10:00"\nreference = "17 C"'), "C away from"),
        ((FIX_AT_20, 'time = "10:00" => time = "10:00"\nreference = "12.1 C"'), "reticulation"),
        (("count = 6 => count = 6",), "sheets at once"),
    ],
)
def test_a_warning_begins_only_beyond_its_bound(edits: tuple[str, ...], words: str) -> None:
    """Exactly five minutes, exactly 3 C and six sheets are common practice itself."""
    assert not any(words in warning for warning in loaded(changed(TRAY, *edits)).warnings)


def test_two_developing_baths_in_a_row_count_as_one() -> None:
    """Three minutes and three minutes are no short development; two and two are."""
    text = changed(TRAY[: TRAY.index("[sheets]")], 'role = "stop" => role = "develop"', 'time = "8:00" => time = "3:00"')

    def short(time: str) -> list[str]:
        return [w for w in loaded(changed(text, f'time = "0:30" => time = "{time}"')).warnings if "under 5:00" in w]

    assert short("3:00") == []
    (warning,) = short("1:30")
    assert "Stage 1 (develop) and 2 (stop): 4:30 is under 5:00" in warning


def test_a_valid_range_beyond_the_pairs_is_a_warning() -> None:
    """There the end slope is all there is."""
    assert any("valid goes beyond the pairs" in w for w in loaded(changed(ROLL, '["18 C", "24 C"] => ["16 C", "26 C"]')).warnings)


def test_a_sound_recipe_has_no_warning() -> None:
    """Warnings that always come are never read."""
    assert loaded(ROLL).warnings == ()
    assert loaded(TRAY).warnings == ()


@pytest.mark.parametrize("text", [ROLL, TRAY])
def test_a_recipe_comes_back_from_the_journal_as_it_was(text: str) -> None:
    """Through JSON and back: the same recipe, lines apart, which the journal has none of."""
    recipe = loaded(text)
    again = recipe_from_data(json.loads(json.dumps(recipe.data)))
    assert {s.line for s in again.stages} == {0}
    for field in ("name", "film", "vessel", "sheets", "what", "area_units", "data", "warnings"):
        assert getattr(again, field) == getattr(recipe, field)
    for before, after in zip(recipe.stages, again.stages, strict=True):
        for field in before.__dataclass_fields__:
            assert field == "line" or getattr(after, field) == getattr(before, field)


def test_damaged_data_in_a_journal_is_refused_like_a_file() -> None:
    """All problems, with the line 0 that says that there is none."""
    data = json.loads(json.dumps(loaded(ROLL).data))
    data["film"] = "orange"
    data["stage"][1]["time"] = 300
    with pytest.raises(FileWrong) as refused:
        recipe_from_data(data)
    assert [(p.file, p.line) for p in refused.value.problems] == [("recipe in the journal", 0)] * 2


WORDS = st.sampled_from(["20 C", "10:00", "develop", "1+31"])
JSONISH = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=8), WORDS),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["law", "pairs", "band", "for", "from", "every", "x"]), inner, max_size=3)
    ),
    max_leaves=6,
)


def read_or_refused(data: dict[str, Any]) -> tuple[Problem, ...]:
    """The problems of data, none where they are a recipe; any other exception is the test's failure."""
    try:
        recipe_from_data(data)
    except FileWrong as refused:
        return refused.problems
    return ()


@given(st.sampled_from(["film", "stage", "sheets", "contents", "name", "schema"]), JSONISH)
def test_any_value_anywhere_is_read_or_refused(key: str, value: Any) -> None:
    """No value of any kind brings out anything but a recipe or a refusal."""
    data = json.loads(json.dumps(loaded(TRAY).data))
    data[key] = value
    assert all("; allowed: " in str(p) for p in read_or_refused(data))


@given(st.sampled_from(sorted(loaded(ROLL).data["stage"][0])), JSONISH)
def test_any_value_in_a_stage_is_read_or_refused(key: str, value: Any) -> None:
    """The same for every key of a stage."""
    data = json.loads(json.dumps(loaded(ROLL).data))
    data["stage"][0][key] = value
    assert all("; allowed: " in str(p) for p in read_or_refused(data))


@given(st.data())
def test_a_cut_or_spoiled_file_is_read_or_refused(data: st.DataObject) -> None:
    """A recipe with a stretch cut out or replaced is never anything but a recipe or a refusal with lines in the file."""
    begin = data.draw(st.integers(0, len(ROLL)))
    end = data.draw(st.integers(begin, len(ROLL)))
    text = ROLL[:begin] + data.draw(st.text(st.sampled_from(list('[]{}"=,.\n 019aC')), max_size=6)) + ROLL[end:]
    lines = [1]
    try:
        load_recipe(text.encode(), "r.toml")
    except FileWrong as refused:
        lines = [p.line for p in refused.problems]
    assert lines
    assert all(1 <= line <= text.count("\n") + 1 for line in lines)


def test_a_first_trace_that_nobody_sees_and_a_late_loading_are_warned_of() -> None:
    """By stage, since a lid is on; and film is loaded before anything else."""
    trace = changed(ROLL, 'role = "develop" => role = "develop"\nappearance_factor = 6')
    (said,) = (w for w in load_recipe(trace.encode(), "r.toml").warnings if "first trace" in w)
    assert said == "Stage 1 (develop): nobody sees a first trace in a lidded tank; without a tap its time is the limit."
    late = ROLL + '\n[[stage]]\nname = "load"\nrole = "load"\n'
    assert any(w.endswith("(load) loads film, but is not the first stage.") for w in load_recipe(late.encode(), "r.toml").warnings)
