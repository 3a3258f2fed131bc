"""`evenbath new`: every blank becomes a recipe that loads, answers are checked, and no file is ever overwritten."""

from __future__ import annotations

import io
import json
import re
import shlex
from pathlib import Path

import pytest

from monitor.cli import new
from monitor.cli.main import main
from monitor.core.development.rate import Arrhenius, Pairs
from monitor.core.errors import FileWrong, InputWrong
from monitor.core.recipe.reader import load_recipe
from monitor.core.recipe.values import Recipe
from monitor.prepare.cautions import RULE, cautions_for
from monitor.prepare.recipes.new_recipe import BLANKS, blanks, questions
from monitor.prepare.water.washing import MATERIALS

KEYS = ["roll", "sheets", "drum", "stand", "two-bath", "bench", "colour", "reversal", "print", "colour-print",
        "water-bath", "replenished", "monobath", "bw-reversal", "colour-two-step", "reversal-three-step"]  # fmt: skip
# What the person alone can know; everything else has a usual answer.
OWN = {"stand": ["time=60:00", "dilution=1+100"], "two-bath": ["first_time=4:00", "second_time=4:00"], "colour": [], "reversal": [],
       "print": [], "water-bath": ["soak=1:30"], "colour-two-step": [], "reversal-three-step": []}  # fmt: skip


def sets(*answers: str) -> list[str]:
    """--set for each answer."""
    return [word for answer in answers for word in ("--set", answer)]


def own(key: str) -> list[str]:
    """The least that a person must say for this blank."""
    return sets(*OWN.get(key, ["time=9:30"]))


def made(tmp_path: Path, key: str, *words: str) -> Recipe:
    """The recipe that these words make of a blank, its usual answers taken."""
    out = tmp_path / f"{key}.toml"
    assert main(["new", "--from", key, "--out", str(out), "--usual", *words]) == 0
    return load_recipe(out.read_bytes(), out.name)


class Pipe(io.StringIO):
    """What a shell pipes in: never a terminal."""

    def isatty(self) -> bool:
        """No."""
        return False


class Terminal(io.StringIO):
    """A person at a terminal, whose lines come one by one."""

    def isatty(self) -> bool:
        """Yes."""
        return True


def test_there_is_a_blank_for_every_way_of_working() -> None:
    """Those of the plan, and no file that the list does not show."""
    assert [blank.key for blank in blanks()] == KEYS
    assert {path.stem for path in BLANKS.glob("*.toml")} == set(KEYS)


@pytest.mark.parametrize("key", KEYS)
def test_every_blank_becomes_a_recipe_without_warnings(key: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With the person's own numbers and the usual rest it loads, and plan reads it back."""
    recipe = made(tmp_path, key, *own(key))
    assert recipe.warnings == ()
    assert "{{" not in (tmp_path / f"{key}.toml").read_text(encoding="utf-8")
    assert main(["plan", str(tmp_path / f"{key}.toml")]) == 0
    assert f"Read it back before you use it: evenbath plan {tmp_path}" in capsys.readouterr().out


@pytest.mark.parametrize("key", KEYS)
def test_a_blank_itself_is_no_recipe(key: str) -> None:
    """Used as it is, unanswered, it is refused."""
    with pytest.raises(FileWrong):
        load_recipe((BLANKS / f"{key}.toml").read_bytes(), key)


@pytest.mark.parametrize("key", [k for k in KEYS if k != "print" and any(word.startswith("time=") for word in own(k))])
def test_the_developers_time_is_left_to_the_person(key: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Without it nothing is written."""
    out = tmp_path / "r.toml"
    answers = [word for word in own(key) if not word.startswith("time=") and word != "--set"]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("sys.stdin", Pipe(""))
        assert main(["new", "--from", key, "--out", str(out), "--usual", *sets(*answers)]) == 2
    assert "no answer to: The developer's time" in capsys.readouterr().err
    assert not out.exists()


@pytest.mark.parametrize("key", KEYS)
def test_every_number_of_a_blank_says_where_it_comes_from(key: str) -> None:
    """Each line with a duration or a band of the blank's own has a comment, and the head says that the sheet rules."""
    text = (BLANKS / f"{key}.toml").read_text(encoding="utf-8")
    assert "A blank, not a maker's sheet" in text
    for line in text.splitlines():
        name = line.split(" = ")[0]
        if name in ("time", "agitation", "band", "at_most", "interval") and "continuous" not in line:
            covered = "#" in line or "{{second_time" in line or "from memory, not verified" in text
            assert covered, line


def test_film_developed_in_a_closed_tank_is_bare_only_while_loading(tmp_path: Path) -> None:
    """The blanks have a load stage, dark and without a clock; the tray is dark to the end of the fix."""
    assert made(tmp_path, "roll", *own("roll")).open_film == (1,)
    assert made(tmp_path, "sheets", *own("sheets")).open_film == (1, 2, 3, 4)


def test_steering_follows_the_way_of_working(tmp_path: Path) -> None:
    """Roll, tray, drum and bench are steered; stand, two baths and colour are not."""
    steered = {key: any(s.steer for s in made(tmp_path, key, *own(key)).stages) for key in KEYS}
    assert steered == {
        "roll": True, "sheets": True, "drum": True, "bench": True, "stand": False, "two-bath": False, "colour": False, "reversal": False,
        "print": True, "colour-print": False, "water-bath": False, "replenished": True, "monobath": False, "bw-reversal": False,
        "colour-two-step": False, "reversal-three-step": False,
    }  # fmt: skip


def test_colour_waits_at_its_gate(tmp_path: Path) -> None:
    """37.8 C within 0.15 C for a minute, 3:15, never steered."""
    stage = next(s for s in made(tmp_path, "colour").stages if s.role == "develop")
    assert stage.gate is not None
    assert (stage.reference_c, stage.gate.band_c, stage.gate.for_s, stage.time_s, stage.steer) == (37.8, 0.15, 60.0, 195.0, False)


def test_ones_own_pairs_become_the_rate(tmp_path: Path) -> None:
    """Typed in any order, the one at the reference added from the time; as sure as `fit` finds them: 2 kJ/mol are 0.28 % per C at 20 C."""
    recipe = made(tmp_path, "roll", *sets("time=10:00", "pairs=24 C=6:45, 18 C=12:10"))
    law = next(s.law for s in recipe.stages if s.role == "develop")
    assert law == Pairs(20.0, ((18.0, 730.0), (20.0, 600.0), (24.0, 405.0)), 0.28, (18.0, 24.0))


def test_ones_own_pair_at_the_reference_counts_once(tmp_path: Path) -> None:
    """Whoever types the whole row of the sheet types the time at the reference a second time."""
    recipe = made(tmp_path, "roll", *sets("time=10:00", "pairs=18 C=12:10, 20 C=10:00, 24 C=6:45"))
    law = next(s.law for s in recipe.stages if s.role == "develop")
    assert law == Pairs(20.0, ((18.0, 730.0), (20.0, 600.0), (24.0, 405.0)), 0.28, (18.0, 24.0))


@pytest.mark.parametrize(
    ("said", "bursts", "continuous"),
    [
        ("10 s a minute", [(0.0, None, 30.0), (None, 60.0, 10.0)], False),
        ("5 s a minute", [(0.0, None, 30.0), (None, 60.0, 5.0)], False),
        ("5 s each 30 s", [(0.0, None, 30.0), (None, 30.0, 5.0)], False),
        ("continuous", [], True),
    ],
)
def test_how_the_tank_is_moved_is_asked(tmp_path: Path, said: str, bursts: list[tuple[float | None, ...]], continuous: bool) -> None:
    """Never silently one of them: movement is development."""
    stage = next(s for s in made(tmp_path, "roll", *own("roll"), *sets(f"agitation={said}")).stages if s.role == "develop")
    assert [(b.from_s, b.every_s, b.for_s) for b in stage.agitation] == bursts
    assert stage.continuous is continuous


def test_a_drum_turns_in_every_bath_that_must_cover_the_film(tmp_path: Path) -> None:
    """Film in a drum is covered only while it turns (common practice, no source)."""
    stages = made(tmp_path, "drum", *own("drum")).stages
    assert [s.name for s in stages if s.role in ("presoak", "develop", "stop", "fix") and not s.continuous] == []


def test_without_pairs_the_middle_of_published_tables_is_taken_and_said(tmp_path: Path) -> None:
    """65 kJ/mol with the spread between tables, and a comment that says so."""
    recipe = made(tmp_path, "roll", *own("roll"))
    law = next(s.law for s in recipe.stages if s.role == "develop")
    assert law == Arrhenius(20.0, 65.0, 8.7, (16.0, 24.0))
    assert "no second pair: published black-and-white tables" in (tmp_path / "roll.toml").read_text(encoding="utf-8")


def test_counting_from_full_brings_its_filling_time(tmp_path: Path) -> None:
    """The answer makes two lines of the recipe."""
    stage = made(tmp_path, "roll", *own("roll"), *sets("counted=full to empty")).stages[1]
    assert (stage.counted, stage.fill_s) == ("full to empty", 15.0)


def test_quotes_in_an_answer_cannot_break_the_recipe(tmp_path: Path) -> None:
    """Text is written as TOML text, whatever is in it."""
    name = 'My "best" \\ film # 1 = {{time}}'
    assert made(tmp_path, "roll", *own("roll"), *sets(f"name={name}")).name == name


def test_the_questions_can_be_answered_from_a_pipe(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line for each question, the blank's and the file's too; an empty line takes the usual answer."""
    asked = list(questions(blanks()[0]))
    answers = {"name": "Tuesday", "time": "11:00", "dilution": "1+31", "reference": "68 F"}
    lines = ["roll", *(answers.get(question.key, "") for question in asked), str(tmp_path / "tuesday.toml")]
    monkeypatch.setattr("sys.stdin", Pipe("\n".join(lines) + "\n"))
    assert main(["new"]) == 0
    recipe = load_recipe((tmp_path / "tuesday.toml").read_bytes(), "t")
    assert recipe.name == "Tuesday"
    assert (recipe.stages[1].time_s, str(recipe.stages[1].dilution), recipe.stages[1].reference_c) == (660.0, "1+31", 20.0)
    out = capsys.readouterr().out
    assert "The developer's time at its reference temperature, from the sheet in your hand?" in out


def test_bytes_that_are_no_text_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """A pipe in another encoding is the person's input, not the program's fault."""
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(b"\xff\n"), encoding="utf-8"))
    assert main(["new", "--from", "roll", "--out", str(tmp_path / "r.toml"), "--usual"]) == 2
    assert "is not text; allowed: UTF-8" in capsys.readouterr().err


def test_a_person_at_a_terminal_is_asked_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """A slip is answered with what is allowed, and the question comes again."""
    monkeypatch.setattr("sys.stdin", Terminal("600\n10 minutes\n10:00\n"))
    assert made(tmp_path, "roll").stages[1].time_s == 600.0
    out = capsys.readouterr().out
    assert out.count("The developer's time") == 3
    assert '"600" is not a duration; allowed: ' in out


@pytest.mark.parametrize(
    ("answer", "told"),
    [
        ("time=600", "is not a duration"),
        ("reference=20", "is not a temperature"),
        ("dilution=1:31", "can mean two things"),
        ("volume=500", "is not a volume"),
        ("film=orange", "allowed: panchromatic, orthochromatic"),
        ("area=0", "a number above 0"),
        ("area=nan", "a number above 0"),
        ("counted=whole", "pour to pour, full to empty"),
        ("name=", "one line of 1 to 200 characters"),
        ("name=a\x1b[31mb", "one line of 1 to 200 characters"),
        ("pairs=24 C", "is not a pair"),
        ("pairs=24 C=12:00", "the time grows from 20 C to 24 C"),
        ("pairs=20 C=9:00", "20 C appears twice"),
        ("colour=red", 'the blank "roll" does not ask that'),
        ("time", "no answer"),
        ("drain=20:00", "these answers do not make a recipe"),
        ("time=0:00", "these answers do not make a recipe"),
        ("fix=13:00", "these answers do not make a recipe"),
    ],
)
def test_a_wrong_answer_writes_nothing(answer: str, told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 2, what is allowed, no file."""
    out = tmp_path / "r.toml"
    words = sets(answer) if answer.startswith("time") else sets("time=10:00", answer)
    assert main(["new", "--from", "roll", "--out", str(out), "--usual", *words]) == 2
    err = capsys.readouterr().err
    assert told in err
    assert "Traceback" not in err
    assert "\x1b" not in err
    assert not out.exists()


def test_sheets_too_close_for_their_drain_write_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The recipe's own reader has the last word."""
    out = tmp_path / "r.toml"
    assert main(["new", "--from", "sheets", "--out", str(out), "--usual", *sets("time=8:00", "interval=0:05")]) == 2
    assert "exits at least 0:08.0 apart" in capsys.readouterr().err
    assert not out.exists()


def test_an_existing_file_is_left_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Refused before anything is asked."""
    out = tmp_path / "r.toml"
    out.write_text("mine", encoding="utf-8")
    assert main(["new", "--from", "roll", "--out", str(out), "--usual", *own("roll")]) == 2
    assert "exists already and is left as it is" in capsys.readouterr().err
    assert out.read_text(encoding="utf-8") == "mine"


def test_a_link_to_nowhere_is_an_existing_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing is written where it points to, and "written" is not said."""
    out = tmp_path / "r.toml"
    out.symlink_to(tmp_path / "elsewhere.toml")
    assert main(["new", "--from", "roll", "--out", str(out), "--usual", *own("roll")]) == 2
    told = capsys.readouterr()
    assert "exists already and is left as it is" in told.err
    assert "written" not in told.out
    assert not (tmp_path / "elsewhere.toml").exists()


def test_a_file_that_appears_meanwhile_is_left_alone(tmp_path: Path) -> None:
    """Between the question and the writing."""
    out = tmp_path / "r.toml"
    out.write_text("mine", encoding="utf-8")
    with pytest.raises(InputWrong, match="left as it is"):
        new._write(str(out), "theirs")
    assert out.read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize(("name", "told"), [("no/r.toml", "cannot be written"), ("r.txt", "ends in .toml"), ("\udcff.toml", "not a name")])
def test_a_place_that_cannot_be_written_is_refused(name: str, told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One line, exit 2."""
    assert main(["new", "--from", "roll", "--out", str(tmp_path / name), "--usual", *own("roll")]) == 2
    assert told in capsys.readouterr().err


def test_an_unknown_blank_is_refused_with_those_there_are(capsys: pytest.CaptureFixture[str]) -> None:
    """All eight are named."""
    assert main(["new", "--from", "bucket", "--out", "x.toml"]) == 2
    assert "allowed: roll, sheets, drum, stand, two-bath, bench, colour, reversal" in capsys.readouterr().err


def test_blanks_and_their_questions_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    """--list shows the blanks; with --from the keys that --set takes, with their usual answers."""
    assert main(["new", "--list"]) == 0
    assert ["two-bath", "Two", "baths"] in [line.split() for line in capsys.readouterr().out.splitlines()]
    assert main(["new", "--list", "--from", "sheets"]) == 0
    out = capsys.readouterr().out
    assert "count      How many sheets? [6]\n" in out
    assert "interval" in out


def test_washing_is_asked_and_wash_aid_has_its_rinse(tmp_path: Path) -> None:
    """Common practice, no source: rinse 1:00, wash aid 2:00, wash 5:00."""
    recipe = made(tmp_path, "roll", *own("roll"), *sets("wash=wash aid"))
    washing = [(s.role, s.time_s) for s in recipe.stages if s.role in ("wash", "wash aid")]
    assert washing == [("wash", 60.0), ("wash aid", 120.0), ("wash", 300.0)]
    assert recipe.warnings == ()


def test_a_print_by_its_first_trace_from_the_blank_to_the_review(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A cold tray: put in, the trace after 30 s, tapped; NOW at six times that; the review says what it was and that it was done."""
    recipe = made(tmp_path, "print")
    stage = recipe.stages[0]
    assert (recipe.film, recipe.vessel, stage.appearance_factor, stage.steer) == ("paper", "open tray", 6.0, True)
    assert recipe.open_film == (1, 2, 3)
    trace, foot, journal = tmp_path / "t.csv", tmp_path / "foot.csv", tmp_path / "j.jsonl"
    trace.write_text("t_s,developer_c,bath_c\n0,15,15\n1200,15,15\n", encoding="utf-8")
    foot.write_text("down_s,up_s\n2,3.2\n32,32.2\n182,182.2\n212,212.2\n340,340.2\n470,470.2\n", encoding="utf-8")
    words = [str(tmp_path / "print.toml"), "--trace", str(trace), "--journal", str(journal), "--speed", "max", "--seed", "7"]
    assert main(["rehearse", *words, "--foot", str(foot)]) == 0
    capsys.readouterr()
    assert main(["review", str(journal), "--json"]) == 0
    (develop, *_) = json.loads(capsys.readouterr().out)["stages"]
    assert develop["actual_s"] == pytest.approx(180.0, abs=3.0)
    assert develop["planned_s"] == pytest.approx(6 * 30.0 * 0.627, abs=5.0)  # 65 kJ/mol from 20 C to 15 C: 0.629 (arithmetic)
    assert develop["done_percent"] == pytest.approx(100.0, abs=2.0)
    assert main(["review", str(journal), "--check"]) == 0
    capsys.readouterr()
    assert main(["review", str(journal)]) == 0
    said = capsys.readouterr().out
    assert "Time       3:00, 6 times its first trace at 0:30" in said
    assert "warmer to finish" not in said  # its time was set by the trace, not by a plan
    assert main(["plan", str(tmp_path / "print.toml")]) == 0
    said = capsys.readouterr().out
    assert "Tap when the first trace appears: it is done at 6 times that" in said
    assert "your tested safelight alone" in said


def test_colour_prints_in_a_drum_have_short_steps_and_no_steering(tmp_path: Path) -> None:
    """A minute in the developer, READY 15 s before NOW; in the drum the light may be lit once the lid is on."""
    recipe = made(tmp_path, "colour-print", *sets("time=1:00"))
    stage = next(s for s in recipe.stages if s.role == "develop")
    assert (stage.target_ref_s, stage.drain_s, stage.ready_s, stage.steer, stage.continuous) == (60.0, 10.0, 15.0, False, True)
    assert recipe.open_film == (1,)
    assert recipe.warnings == ()


def test_a_kits_own_table_makes_the_factor_of_this_film(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The third film by the kit's table (the person's own, no source of ours): 3:30 over 3:15."""
    recipe = made(tmp_path, "colour-two-step", *sets("reuse=3 of 3:15, 3:15, 3:30, 3:45"))
    stage = next(s for s in recipe.stages if s.role == "develop")
    assert stage.target_ref_s == pytest.approx(210.0, abs=0.1)
    assert "3:30 for film 3, by the kit's own table" in (tmp_path / "colour-two-step.toml").read_text(encoding="utf-8")
    for answer in ("5 of 3:15, 3:30", "1 of 3:00, 3:30", "2 of 3:15, 3:00", "3:15"):
        out = str(tmp_path / "no.toml")
        assert main(["new", "--from", "colour-two-step", "--out", out, "--usual", "--set", f"reuse={answer}"]) == 2
        assert not Path(out).exists()
    capsys.readouterr()


def test_the_dangerous_blanks_bring_their_hazards(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Dichromate, permanganate, acid (from memory, not verified); the gas of a bleach-fix (common practice, no source)."""
    for key, says in (
        ("bw-reversal", "Dichromate causes cancer"),
        ("colour-two-step", "loosen the cap"),
        ("colour-print", "open it away from your face"),
    ):
        made(tmp_path, key, *own(key))
        capsys.readouterr()
        assert main(["plan", str(tmp_path / f"{key}.toml")]) == 0
        said = " ".join(capsys.readouterr().out.split())
        assert says in said, key
        assert "not powdered" in said or key == "bw-reversal"


def test_water_bath_and_monobath_run_to_their_end_by_the_clock(tmp_path: Path) -> None:
    """Three soaks and three rests that count as one development; a monobath lasts at least its time."""
    soaked = made(tmp_path, "water-bath", *own("water-bath"))
    assert [s.role for s in soaked.stages[1:7]] == ["develop"] * 6
    mono = made(tmp_path, "monobath", *sets("time=6:00"))
    assert (mono.stages[1].until, mono.stages[1].steer) == ("at least", False)
    assert mono.stages[1].gate is not None


def test_a_comment_never_touches_what_it_speaks_of(tmp_path: Path) -> None:
    """However long the line."""
    for key in KEYS:
        made(tmp_path, key, *own(key))
        for line in (tmp_path / f"{key}.toml").read_text(encoding="utf-8").splitlines():
            code, mark, _ = line.partition("#")
            assert not mark or not code or code.endswith(" "), line


def test_the_ledger_entry_that_the_replenished_blank_names_can_be_typed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Word for word; and a film that went through it asks for what it names."""
    text = (BLANKS / "replenished.toml").read_text(encoding="utf-8")
    named = re.search(r"evenbath (bottle add [^\n]+)", text)
    assert named is not None
    words, state = shlex.split(named[1]), ["--state", str(tmp_path)]
    assert main(["bottle", "add", "replenisher", "--volume", "1 l", "--role", "replenisher", *state]) == 0
    assert main([*words, *state]) == 0
    recipe = made(tmp_path, "replenished", *own("replenished"))
    assert words[2] in [s.solution for s in recipe.stages]
    capsys.readouterr()
    assert main(["bottle", "use", words[2], "--units", "1", *state]) == 0
    assert "70 ml" in capsys.readouterr().out


def test_a_rehearsed_print_is_tapped_at_its_first_trace(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By the simulated person, at half of the longest time over the factor: 25 s, so 2:30 in place of 5:00."""
    made(tmp_path, "print")
    trace, journal = tmp_path / "t.csv", tmp_path / "j.jsonl"
    trace.write_text("t_s,developer_c,bath_c\n0,20,20\n1200,20,20\n", encoding="utf-8")
    words = [str(tmp_path / "print.toml"), "--trace", str(trace), "--journal", str(journal), "--speed", "max", "--seed", "7"]
    assert main(["rehearse", *words]) == 0
    assert "develop: planned 2:30, took 2:30" in capsys.readouterr().out


def test_the_replenished_blank_sends_to_a_ledger_that_counts(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Its own command, word for word; then each film takes 70 ml from the replenisher (an example: the sheet rules)."""
    text = (BLANKS / "replenished.toml").read_text(encoding="utf-8").replace("\n# ", " ")
    command = shlex.split(text[text.index("evenbath bottle add") : text.index("(70 ml is an example")])[1:]
    state = ["--state", str(tmp_path)]
    assert main([*command, *state]) == 0
    assert main(["bottle", "add", "replenisher", "--volume", "1 l", "--role", "replenisher", *state]) == 0
    capsys.readouterr()
    recipe = made(tmp_path, "replenished", *own("replenished"))
    assert recipe.stages[1].solution == "replenished developer"
    assert main(["bottle", "use", "replenished developer", "--units", "1", *state]) == 0
    assert "replenish: 70 ml in; 70 ml poured off" in capsys.readouterr().out


def test_a_water_bath_asks_for_its_soaks_and_never_for_the_sheets_time(capsys: pytest.CaptureFixture[str]) -> None:
    """Ten minutes from a sheet, three times over, would be thirty."""
    assert main(["new", "--list", "--from", "water-bath"]) == 0
    said = capsys.readouterr().out
    assert "How long is each soak in developer (1 to 2 min)?" in said
    assert "How long does it stand in the water each time?" in said
    assert "from the sheet in your hand" not in said


def test_two_baths_ask_for_the_first_baths_time_and_kind(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """In a divided developer the first bath does most of the work: temperature moves its end. Else it only soaks. Common practice."""
    assert main(["new", "--list", "--from", "two-bath"]) == 0
    assert "How long in the first bath (3 to 5 min)?" in capsys.readouterr().out
    soaks = made(tmp_path, "two-bath", *own("two-bath"))
    assert not soaks.stages[1].steer
    (tmp_path / "two-bath.toml").unlink()
    works = made(tmp_path, "two-bath", *own("two-bath"), *sets("first_bath_kind=develops"))
    assert works.stages[1].steer
    assert works.stages[1].law is not None


def test_after_a_carbonate_bath_plain_water_is_offered_in_place_of_an_acid_stop(tmp_path: Path) -> None:
    """Carbonate and acid make bubbles in the layer (common practice, no source)."""
    assert made(tmp_path, "two-bath", *own("two-bath")).stages[3].solution == "water"
    (tmp_path / "two-bath.toml").unlink()
    assert made(tmp_path, "two-bath", *own("two-bath"), *sets("after_second_bath=stop bath")).stages[3].solution == "stop bath"


def test_a_fix_ends_before_it_may_bleach() -> None:
    """The comment says from about 10 minutes on; the longest time must not be beyond it."""
    for path in BLANKS.glob("*.toml"):
        for line in path.read_text(encoding="utf-8").splitlines():
            assert "about 10 minutes on it may begin to bleach" not in line or line.startswith('at_most = "10:00"'), path.name


def test_a_print_is_paper_in_its_own_words(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Developer for paper is diluted; the time is the first trace times the factor, the limit is called a limit, no film is spoken of."""
    assert main(["new", "--list", "--from", "print"]) == 0
    assert "How much paper" in capsys.readouterr().out
    recipe = made(tmp_path, "print")
    assert str(recipe.stages[0].dilution) == "1+9"
    capsys.readouterr()
    assert main(["plan", str(tmp_path / "print.toml")]) == 0
    said = capsys.readouterr().out
    assert "1. develop: first trace x 6, limit 5:00 at 20 C." in said
    assert "Paper: one 8x10 print" in said
    assert "Paper: one 8x10 print; in an open tray" in said
    assert "film" not in said.lower().partition("cautions")[0]


def test_colour_is_never_asked_for_a_clearing_time(capsys: pytest.CaptureFixture[str]) -> None:
    """A kit's fixing time is its sheet's, and paper shows no clearing; film asks for twice or three times (practice.md 9)."""
    asked = {}
    for key in ("roll", "colour", "reversal", "print"):
        assert main(["new", "--from", key, "--list"]) == 0
        (asked[key],) = (line for line in capsys.readouterr().out.splitlines() if line.startswith("fix "))
    assert "three times for flat-grain film" in asked["roll"]
    assert all("clearing" not in asked[key] for key in ("colour", "reversal", "print"))
    assert "for paper" in asked["print"]


@pytest.mark.parametrize("key", ["colour", "colour-two-step", "reversal", "reversal-three-step", "colour-print", "monobath"])
def test_the_gate_is_as_wide_as_the_band_that_was_answered(key: str, tmp_path: Path) -> None:
    """The question says that the start waits for it, and the comment says so too."""
    (stage,) = (s for s in made(tmp_path, key, *own(key), "--set", "band=0.4 C").stages if s.gate is not None)
    assert stage.gate is not None
    assert (stage.band_c, stage.gate.band_c) == (0.4, 0.4)


def test_keys_and_questions_do_not_run_into_each_other(capsys: pytest.CaptureFixture[str]) -> None:
    """The longest key of a blank makes the column."""
    assert main(["new", "--from", "two-bath", "--list"]) == 0
    assert "first_bath_kind    Which kind" in capsys.readouterr().out


def test_whoever_asks_for_a_wash_aid_in_colour_is_told_why_there_is_none(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Common practice, no source; and the recipe says it where the wash stands."""
    assert main(["new", "--from", "colour", "--set", "wash=wash aid", "--out", str(tmp_path / "a.toml")]) == 2
    assert "colour is washed without a wash aid" in capsys.readouterr().err
    made(tmp_path, "colour")
    assert "# No wash aid" in (tmp_path / "colour.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("key", "answer", "material", "aid"),
    [
        ("roll", "wash=running water", "film", False),
        ("roll", "wash=wash aid", "film", True),
        ("print", "wash_paper=resin-coated", "resin-coated paper", False),
        ("print", "wash_paper=fibre", "fibre paper", True),
    ],
)
def test_a_blank_washes_as_long_as_the_command_says(key: str, answer: str, material: str, aid: bool, tmp_path: Path) -> None:
    """Two answers to one question would be one too many."""
    last = [s for s in made(tmp_path, key, *own(key), "--set", answer).stages if s.role == "wash"][-1]
    assert last.time_s == MATERIALS[material][aid]


COLOUR = {"sensitisers", "colour agents", "hot water", "powders", "pregnancy"}
DANGERS = {
    # what can hurt in each way of working; sources beside each caution
    "roll": {"acid into water", "powders"}, "bench": {"acid into water", "powders"}, "drum": {"acid into water", "powders"},
    "sheets": {"acid into water", "sensitisers", "dark room", "powders"}, "stand": {"acid into water"}, "two-bath": {"powders"},
    "water-bath": {"acid into water", "powders"}, "replenished": {"acid into water", "powders"}, "monobath": {"powders"},
    "print": {"acid into water", "sensitisers", "dark room"}, "bw-reversal": {"reversal bleach", "powders"},
    "colour": {*COLOUR, "persulphate"}, "reversal": {*COLOUR, "persulphate"}, "colour-two-step": {*COLOUR, "bleach-fix gas"},
    "reversal-three-step": {*COLOUR, "bleach-fix gas"}, "colour-print": {*COLOUR, "bleach-fix gas in a drum", "acid into water"},
}  # fmt: skip


@pytest.mark.parametrize("key", KEYS)
def test_each_blank_names_what_can_hurt_in_it(key: str, tmp_path: Path) -> None:
    """Beside what every evening has: mains near water, eyes, gases, the dark, fixer that goes to be collected; the data sheet last."""
    told = cautions_for(made(tmp_path, key, *own(key)))
    everywhere = {"mains and water", "eyes", "gases", "kitchen", "opaque box", "silver", "no alarm"}
    assert {caution.id for caution in told} >= DANGERS[key] | everywhere
    assert told[-1] is RULE
