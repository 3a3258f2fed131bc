"""The live view: what stands on it, what never does, and that the time left never grows unsaid. Content, not layout."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import cache
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hardware.simulated.probes import ProbeOptions, SimulatedProbes
from hardware.simulated.trace import load_trace
from monitor.cli.rehearse import DEMO, ROLES
from monitor.core.development.beliefs import Beliefs, ProbeModel, Vessel
from monitor.core.journal.snapshot import Snapshot
from monitor.core.probes.learned import NOT_COMPARED_SD_C
from monitor.core.recipe.reader import load_recipe
from monitor.core.recipe.values import Burst, Recipe
from monitor.core.session.session import Options, Session
from monitor.live.rehearsal import Rehearsal
from monitor.live.view.hands import hands, next_movement
from monitor.live.view.layout import Look, render
from monitor.live.view.lines import PlainLines
from monitor.live.view.screen import PlainView, drawable, unicode_terminal
from monitor.live.view.state import HOLD_S, LASTING_S, MOST_POINTS, Countdown, Gone, Watched
from monitor.live.view.text import Line, cells, cut, fold, plain
from monitor.live.view.words import jug, next_pour

Event = Mapping[str, Any] | Snapshot
"""A record, or a snapshot."""
FIGURE = re.compile(r"-?\d+\.\d\d \S?C\b(?! a minute)(?:.{0,20})")
AGE = re.compile(r"\d+ s ago|\d:\d\d ago|just read|never read")
PLACE = re.compile(r"probe|estimated|held from|never measured")
ROLL = (DEMO / "evening.toml").read_bytes()
COLOUR = b"""schema = 1
name = "Colour negative at 37.8 C"
film = "colour"
vessel = "lidded tank"
[[stage]]
name = "develop"
role = "develop"
time = "3:15"
reference = "37.8 C"
drain = "0:10"
gate = { band = "0.15 C", for = "1:00" }
[[stage]]
name = "bleach-fix"
role = "bleach-fix"
time = "2:00"
jug = 2
"""
SHEETS = b"""schema = 1
name = "Sheets"
film = "panchromatic"
vessel = "open tray"
[[stage]]
name = "develop"
role = "develop"
time = "6:00"
reference = "20 C"
rate = { law = "coefficient", per_10_c = 2.5 }
[[stage]]
name = "fix"
role = "fix"
time = "3:00"
[sheets]
count = 3
interval = "0:20"
"""
WARM = b"t_s,developer_c,bath_c,room_c\n0,37.0,38.1,20\n120,37.8,38.1,20\n900,37.7,38.0,20\n"


@cache
def events(recipe_text: bytes, trace_text: bytes, sd_c: float, vessel: bool) -> tuple[Recipe, tuple[Event, ...]]:
    """A rehearsal: each record as it is written, and a snapshot about every four seconds, in the order of a terminal that follows."""
    recipe = load_recipe(recipe_text, "recipe")
    probes = (
        ProbeModel("developer", "developer", 8.0, sd_c),
        ProbeModel("bath", "bath", 0.0, sd_c),
        ProbeModel("room", "room", 0.0, NOT_COMPARED_SD_C),
    )
    reference_c = next(s.reference_c for s in recipe.stages if s.role == "develop")
    session = Session(recipe, Beliefs(reference_c, probes, Vessel(360.0, 18.0) if vessel else None), Options("rehearsal"))
    out: list[Event] = []
    trace = load_trace(trace_text)
    rehearsal = Rehearsal(session, SimulatedProbes(trace, ProbeOptions()), ROLES, out.append, trace.end_s)
    told = [{"name": p.name, "role": p.role, "comparison_sd_c": p.comparison_sd_c} for p in probes]
    rehearsal.open({"probes": told, "vessel": {"coupled_to": "bath"} if vessel else None})
    shown_s = -9.0
    while rehearsal.step():
        if rehearsal.t_s >= shown_s + 4.1:
            shown_s = rehearsal.t_s
            out.append(session.snapshot)
    out.append(session.snapshot)
    return recipe, tuple(out)


def demo(sd_c: float = 0.05) -> tuple[Recipe, tuple[Event, ...]]:
    """The built-in evening."""
    return events(ROLL, (DEMO / "evening.csv").read_bytes(), sd_c, True)


def watch(recipe: Recipe, happens: tuple[Event, ...], mode: str = "live") -> Iterator[Watched]:
    """The same view after each snapshot."""
    watched = Watched(recipe, mode)
    for what in happens:
        take(watched, what)
        if isinstance(what, Snapshot):
            yield watched


def records(happens: tuple[Event, ...]) -> list[Mapping[str, Any]]:
    """The records alone."""
    return [what for what in happens if not isinstance(what, Snapshot)]


def take(watched: Watched, what: Event) -> None:
    """A record or a snapshot."""
    if isinstance(what, Snapshot):
        watched.snapshot(what)
    else:
        watched.record(what)


def lines(watched: Watched, width: int = 80, height: int = 24, unicode: bool = True) -> list[str]:
    """As it stands on the screen."""
    return [plain(line) for line in render(watched.state, watched.trace, width, height, Look(unicode))]


def at(t_s: float, recipe: Recipe, happens: tuple[Event, ...]) -> Watched:
    """The view at a moment."""
    return next(w for w in watch(recipe, happens) if w.state.t_s >= t_s)


def item(screen: list[str], label: str) -> str:
    """What stands behind a label, with the lines folded under it."""
    first = next(i for i, line in enumerate(screen) if line.startswith(label + " "))
    told = [screen[first][len(label) :]]
    for line in screen[first + 1 :]:
        if not line.startswith("       ") or not line.strip() or "|" in line or "\u2502" in line:
            break
        told.append(line)
    return " ".join(" ".join(told).split())


# -- what stands there --------------------------------------------------------------------------------------------------

ROW_OF = re.compile(r"^(move|done|trust|then|sheets|keys)\b")


def places(screen: list[str]) -> dict[str, int]:
    """The line of each row that has a label."""
    return {m[0]: i for i, line in enumerate(screen) if (m := ROW_OF.match(line))}


@pytest.mark.parametrize("size", [(80, 24), (40, 24), (120, 50), (61, 12), (20, 8), (7, 3), (1, 1)])
@pytest.mark.parametrize("unicode", [True, False])
def test_it_never_leaves_the_screen(size: tuple[int, int], unicode: bool) -> None:
    """No line is wider and there are no more lines than the terminal has, in any stage; without Unicode all is ASCII."""
    for number, watched in enumerate(watch(*demo())):
        if number % 25:
            continue
        screen = lines(watched, *size, unicode=unicode)
        assert len(screen) <= size[1]
        assert max(cells(line) for line in screen) <= size[0]
        assert unicode or all(line.isascii() for line in screen)


@pytest.mark.parametrize("size", [(100, 40), (80, 24), (60, 24), (60, 14), (40, 10)])
@pytest.mark.parametrize("evening", ["roll", "colour", "sheets"])
def test_rows_keep_their_place_over_a_whole_evening(size: tuple[int, int], evening: str) -> None:
    """Whatever happens: each label stands where it stood first, the hands' figure too, also when the station is gone."""
    trace = b"t_s,developer_c,bath_c\n0,20,20\n900,21,21\n"
    played = {"colour": (COLOUR, WARM), "sheets": (SHEETS, trace)}
    recipe, happens = demo() if evening == "roll" else events(*played[evening], 0.05, False)
    stood: dict[str, int] = {}
    for number, watched in enumerate(watch(recipe, happens)):
        if number % 12:
            continue
        screen = lines(watched, *size)
        stood = stood or places(screen)
        assert places(screen) == stood
        if number % 60 == 0:
            watched.gone = Gone("21:04:07", 3.0)
            assert places(lines(watched, *size)) == stood
            assert len(lines(watched, *size)) == len(screen)
            watched.gone = None
    assert len(stood) >= 3


def test_each_temperature_has_its_unit_and_doubt_at_the_end_of_its_line() -> None:
    """Where it is from and how old it is stands in the rows of trust; there too that a probe was never compared."""
    for sd_c in (0.05, NOT_COMPARED_SD_C):
        seen = 0
        for number, watched in enumerate(watch(*demo(sd_c))):
            if number % 20 or watched.state.stage is None or watched.state.seen.source == "clock":
                continue
            screen = lines(watched, 100, 30)
            for figure in (FIGURE.findall(line) for line in screen[10:-6]):
                seen += len(figure)
                assert all(re.match(r"-?\d+\.\d\d \u00b0C \u00b1\d", told) or "not believed" in told for told in figure), figure
            trust = " ".join(" ".join(screen[-5:]).split())
            assert PLACE.search(trust), trust
            assert AGE.search(trust), trust
            assert ("not compared" in trust) == (sd_c > 0.1), trust
        assert seen > 20


def test_at_60_columns_room_and_the_second_row_of_trust_go_before_the_picture() -> None:
    """And the values at the ends of their lines stay."""
    wide, narrow = lines(at(500.0, *demo()), 80, 24), lines(at(500.0, *demo()), 60, 14)
    assert any("room" in line for line in wide)
    assert not any("room" in line for line in narrow)
    assert re.search(r"19\.6\d \u00b0C \u00b10\.1\d est\.", "\n".join(narrow))
    at_trust = next(i for i, line in enumerate(narrow) if line.startswith("trust"))
    assert not narrow[at_trust + 1].startswith("   ")


def test_what_hangs_on_a_probe_never_compared_says_so() -> None:
    """Beside the development done, and in the rows of trust; for colour the word is `not verified`."""
    screen = lines(at(200.0, *demo(NOT_COMPARED_SD_C)))
    for label in ("done", "trust"):
        assert "not compared" in item(screen, label)
    assert "not compared" not in " ".join(lines(at(200.0, *demo())))
    colour = lines(at(300.0, *events(COLOUR, WARM, NOT_COMPARED_SD_C, False)))
    assert "not verified" in item(colour, "trust")


def test_trust_lost_is_a_fault_with_reason_and_what_to_do_and_the_gap_stays_marked() -> None:
    """In the two rows kept for it, which are empty again when the probe is believed; the estimated time stays to the end."""
    before = lines(at(400.0, *demo()))
    assert "believed" in item(before, "trust")
    assert "FAULT" not in " ".join(before)
    lost = lines(at(500.0, *demo()))
    assert re.match(r" FAULT 6:\d\d  developer: reading fell .* like a probe in air", lost[2])
    assert "Go on as called. Watch the second clock too." in lost[3]
    assert item(lost, "trust").startswith("developer NOT believed since 6:0")
    assert "estimated from the bath" in item(lost, "trust")
    assert re.search(r"\u00b1\d\.\d\d estimated", "\n".join(lost))
    back = lines(at(680.0, *demo()))
    assert "FAULT" not in " ".join(back)
    assert re.search(r"not believed from 6:0\d to 9:\d\d", item(back, "trust"))
    assert re.search(r"3:\d\d of the development only estimated", item(back, "trust"))


def test_the_hands_moment_is_the_time_that_is_shown() -> None:
    """Not the end: what is counted down is when to pour off, with earliest and latest; READY and NOW in their turn; then the minimum."""
    recipe, happens = demo()
    early = hands(at(160.0, recipe, happens).state)
    assert (early.lead, early.verb, early.rest) == ("to", "POUR OFF", "; then STOP: stop bath, jug 3")
    assert re.match(r"earliest 8:\d\d, latest 9:\d\d.*; settled at READY$", early.under)
    end_s = next(r["t_s"] for r in records(happens) if r["kind"] == "stage" and r["event"] == "end" and r["stage"] == 2)
    ready = hands(at(end_s - 35.0, recipe, happens).state)
    assert re.match(r"0:[12]\d READY to POUR OFF", ready.told)
    assert ready.under.startswith("will not move again: at 10:5")
    now = hands(at(end_s - 10.0, recipe, happens).state)
    assert (now.alarm, now.told) == (True, "NOW POUR OFF; then STOP: stop bath, jug 3, and tap")
    fixing = hands(at(end_s + 80.0, recipe, happens).state)
    assert fixing.told.endswith("to the minimum; then TAP when you pour WASH: running water")
    assert fixing.under == "from 5:00 on, 12:00 at most"
    closed = list(watch(recipe, happens))[-1]
    assert hands(closed.state).told == "OVER nothing more: finished"


def test_at_now_the_row_of_the_hands_is_inverse_over_the_full_width() -> None:
    """The only such row; before, it is not."""
    recipe, happens = demo()
    end_s = next(r["t_s"] for r in records(happens) if r["kind"] == "stage" and r["event"] == "end" and r["stage"] == 2)
    for t_s, inverse in ((end_s - 20.0, 0), (end_s - 10.0, 1)):
        watched = at(t_s, recipe, happens)
        picture = render(watched.state, watched.trace, 80, 24)
        whole = [line for line in picture if len(line) == 1 and line[0].style == "bold reverse" and cells(line[0].text) == 80]
        assert len(whole) == inverse
    assert "POUR OFF" in plain(whole[0])
    assert picture.index(whole[0]) == 5


def test_a_closed_gate_is_told_with_what_it_waits_for() -> None:
    """And that the start is withheld."""
    told = hands(at(30.0, *events(COLOUR, WARM, 0.05, False)).state)
    assert told.told.startswith("WAIT the start is WITHHELD")
    assert told.under == "until the developer has been within 0.15 C of 37.8 C for 1:00"


def test_sheets_have_an_exit_each() -> None:
    """The next one out is named, the others stand beside it."""
    trace = b"t_s,developer_c,bath_c\n0,20,20\n900,21,21\n"
    screen = lines(at(200.0, *events(SHEETS, trace, 0.05, False)))
    assert "to LIFT SHEET 1" in " ".join(screen)
    assert re.search(r"1 at 5:\d\d, 2 at 6:\d\d, 3 at 6:\d\d", item(screen, "sheets"))


def test_the_trace_is_named_and_marks_what_was_only_estimated() -> None:
    """Without Unicode an `o` is measured and a `?` estimated; both lines have their value and name at the end."""
    plot = lines(at(560.0, *demo()), unicode=False)[11:19]
    assert any(line.endswith("estimated") for line in plot)
    assert any(line.endswith("bath") for line in plot)
    drawn = "".join(line[8:48] for line in plot)
    assert drawn.count("?") >= 5
    assert drawn.count("o") > drawn.count("?")
    assert "?" not in "".join(line[8:48] for line in lines(at(400.0, *demo()), unicode=False)[11:19])
    screen = lines(at(560.0, *demo()))
    assert any(0x2801 <= ord(c) <= 0x28FF for line in screen for c in line)


def test_no_word_that_claims_too_much() -> None:
    """Neither on the screen nor in the plain lines."""
    recipe, happens = demo()
    said = [line for n, w in enumerate(watch(recipe, happens)) if n % 25 == 0 for line in lines(w)]
    said += [line for r in records(happens) for line in PlainLines(Watched(recipe, "")).record(r)]
    assert not [line for line in said if re.search(r"compensat|\bOK\b", line)]


def test_control_characters_do_not_reach_the_terminal() -> None:
    """Nor those of a sentence from elsewhere; wide letters count twice."""
    watched = Watched(load_recipe(ROLL.replace(b"Roll film", "\u6c34\u6c34".encode()), "recipe"), "live \x1b[31m")
    for width in (80, 40, 12):
        screen = lines(watched, width)
        assert "\x1b" not in "".join(screen)
        assert max(cells(line) for line in screen) <= width


def test_a_follower_that_comes_late_says_what_it_cannot_know() -> None:
    """Without the beginning it still shows everything of now; who lost trust before it looked is not dated."""
    recipe, happens = demo()
    late = [e for e in happens if (e.t_s if isinstance(e, Snapshot) else e["t_s"]) > 500.0]
    opening = {"probes": [{"name": "bath", "role": "bath", "comparison_sd_c": 0.05}], "vessel": None}
    watched = Watched(recipe, "live", opening, keys="space is a tap")
    for what in late[:200]:
        take(watched, what)
    screen = lines(watched)
    assert "NOT believed when this view began" in item(screen, "trust")
    assert screen[2].startswith(" FAULT  developer: ")
    assert item(screen, "keys") == "space is a tap"
    assert "to POUR OFF" in screen[5]


# -- the time left ------------------------------------------------------------------------------------------------------


def test_over_a_whole_evening_the_time_left_grows_only_where_that_is_said() -> None:
    """In the stage of one film; and what is said is by how much the end has moved."""
    before: tuple[Any, float] = (None, 0.0)
    for watched in watch(*demo()):
        state = watched.state
        said = watched.take_moved()
        key = (state.seen.stage, state.seen.sheet)
        if state.left_s is not None:
            if before[0] == key and not said:
                assert state.left_s <= before[1] + 1e-9
            before = (key, state.left_s)


@given(st.lists(st.tuples(st.floats(0.1, 30.0), st.floats(-60.0, 60.0), st.booleans()), max_size=60))
def test_whatever_the_forecast_does_the_count_never_goes_back_unsaid(steps: list[tuple[float, float, bool]]) -> None:
    """And it is never off by more than what is being waited out; once frozen it is the truth."""
    countdown, t_s, frozen = Countdown(0.0, 600.0), 0.0, False
    for dt_s, moved_s, freezes in steps:
        before_s, t_s = countdown.left_s, t_s + dt_s
        end_s = 600.0 + (0.0 if frozen else moved_s)
        frozen = frozen or freezes
        said = countdown.update(t_s, end_s, frozen)
        assert said is not None or countdown.left_s <= before_s
        assert countdown.left_s <= max(0.0, end_s - t_s) + 1e-9
        if frozen:
            assert countdown.left_s == pytest.approx(max(0.0, end_s - t_s), abs=0.51)


def test_a_change_that_lasts_is_said_once_and_a_splash_is_not() -> None:
    """Forecasts that come back within twenty seconds are no news; the first seconds of a stage are none either."""
    countdown = Countdown(0.0, 600.0)
    assert [countdown.update(t, 640.0, False) for t in (1.0, LASTING_S)] == [None, None]
    countdown = Countdown(0.0, 600.0)
    assert countdown.update(90.0, 600.0, False) is None
    assert countdown.update(100.0, 630.0, False) is None
    assert countdown.left_s == 510.0
    assert countdown.update(110.0, 600.0 + HOLD_S, False) is None
    assert countdown.left_s == 495.0
    said = [countdown.update(120.0 + t, 624.0, False) for t in range(120)]
    assert [s for s in said if s is not None] == [24.0]
    assert said.index(24.0) == LASTING_S
    assert countdown.left_s == 624.0 - 239.0


def test_the_trace_is_bounded() -> None:
    """A watch of hours keeps no more points, and still reaches back to its beginning."""
    watched = Watched(load_recipe(ROLL, "recipe"), "live")
    seen = Snapshot(t_s=0.0, stages=4, compared=True, developer_c=20.0, source="developer")
    for t_s in range(20000):
        watched.snapshot(replace(seen, t_s=float(t_s)))
    assert len(watched.trace) < MOST_POINTS
    assert watched.trace[0].t_s == 0.0
    assert watched.trace[-1].t_s > 19900.0


# -- plain lines --------------------------------------------------------------------------------------------------------


def said(recipe: Recipe, happens: tuple[Event, ...]) -> list[str]:
    """All plain lines of an evening."""
    told = PlainLines(Watched(recipe, "rehearsal"))
    return [line for record in records(happens) for line in told.record(record)]


def test_each_whole_minute_is_said_once_and_only_downwards() -> None:
    """Stage by stage; with the temperature, its place, age and +/-, where it is the developer's."""
    count: dict[str, list[int]] = {}
    stage = ""
    for line in said(*demo()):
        begun = re.match(r" *[\d:]+  ([A-Z ]+) begins", line)
        stage = begun[1] if begun else stage
        minute = re.match(r" *[\d:]+  (\d+) min (?:left|to the minimum)", line)
        if minute:
            count.setdefault(stage, []).append(int(minute[1]))
            if stage == "DEVELOP":
                assert FIGURE.search(line), line
                assert "+/-" in line, line
                assert PLACE.search(line), line
                assert AGE.search(line), line
    assert count["DEVELOP"] == list(range(count["DEVELOP"][0], 0, -1))
    assert count["FIX"] == [4, 3, 2, 1]
    assert "RINSE" not in count


def test_a_line_for_each_change_and_none_for_ticks() -> None:
    """Stages, READY, NOW once, FAULT, trust both ways, what comes next; the same input gives the same lines."""
    told = said(*demo())
    text = "\n".join(told)
    assert not re.search(r"(?i)sounded (tick|click)", text)
    assert len([line for line in told if "sounded NOW" in line]) == 3
    for words in (
        "DEVELOP begins: developer A, jug 2, 11:00; next STOP: stop bath, jug 3",
        "sounded FAULT: developer: reading fell",
        "developer NOT believed, since 7:0",
        "developer believed, since 10:",
        "FIX: the minimum is over",
        "closed: finished",
    ):
        assert words in text
    assert told == said(*demo())
    assert not [line for line in said(*demo(NOT_COMPARED_SD_C)) if "min left: developer" in line and "not compared" not in line]


def test_what_is_said_of_an_end_is_one_statement_from_the_plan() -> None:
    """A colder developer ends later; it is said early, and each time by how much in all: no sums are left to the reader."""
    trace = b"t_s,developer_c,bath_c\n0,19.4,19.0\n1500,19.4,19.0\n"
    moved = [line for line in said(*events(ROLL, trace, 0.05, True)) if "than planned" in line]
    assert 1 <= len(moved) <= 3
    later_s = 0
    for line in moved:
        part = re.search(r"end (\d+) s later than planned: end (\d+):(\d\d) \+/- \d+ s", line)
        assert part is not None, line
        later_s = int(part[1])
        assert later_s == pytest.approx(int(part[2]) * 60 + int(part[3]) - 720, abs=1)
    assert later_s == pytest.approx(660 * (2.5**0.06 - 1), abs=5)


def test_plain_lines_fit_the_encoding_and_outlive_their_reader() -> None:
    """A pipe that was closed ends what is said, not what is done."""

    class Gone(StringIO):
        def flush(self) -> None:
            raise BrokenPipeError

    out = Gone()
    view = PlainView(Watched(load_recipe(ROLL, "recipe"), "x"), out)
    view.notice("one \x1b line")
    view.show()
    view.notice("two")
    view.close()
    assert out.getvalue() == "one ? line\n"


# -- small parts --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("environ", "encoding", "expected"),
    [
        ({"TERM": "xterm-256color", "LANG": "en_GB.UTF-8"}, "utf-8", True),
        ({"TERM": "xterm-256color", "LANG": "C.UTF-8"}, "UTF-8", True),
        ({"TERM": "xterm", "LANG": "C", "LC_CTYPE": "C.UTF-8"}, "utf-8", False),
        ({"TERM": "xterm", "LC_ALL": "C", "LANG": "en_GB.UTF-8"}, "utf-8", False),
        ({"TERM": "xterm", "LANG": "en_GB.UTF-8"}, "iso8859-1", False),
        ({"TERM": "vt100", "LANG": "en_GB.UTF-8"}, "utf-8", False),
        ({"TERM": "linux", "LANG": "en_GB.UTF-8"}, "utf-8", False),
        ({"LANG": "en_GB.UTF-8"}, "utf-8", False),
    ],
)
def test_braille_is_drawn_only_where_it_can_be_read(environ: dict[str, str], encoding: str, expected: bool) -> None:
    """Encoding, locale as the person set it, and kind of terminal must all allow it."""

    class Terminal(StringIO):
        @property
        def encoding(self) -> str:  # type: ignore[override]
            return encoding

        def isatty(self) -> bool:
            return True

    assert unicode_terminal(Terminal(), environ) is expected
    assert drawable(Terminal(), environ) is ("TERM" in environ)
    assert not drawable(Terminal(), {**environ, "TERM": "dumb"})
    assert not drawable(StringIO(), environ)


def test_loading_without_a_time_has_no_clock() -> None:
    """Neither an end nor a share of it, on the screen and in lines; it ends by a press of a second, and then the next stage waits."""
    text = b"""schema = 1
name = "Roll, loaded here"
film = "panchromatic"
vessel = "lidded tank"
[[stage]]
name = "load"
role = "load"
[[stage]]
name = "develop"
role = "develop"
time = "6:00"
reference = "20 C"
rate = { law = "coefficient", per_10_c = 2.5 }
"""
    recipe, happens = events(text, (DEMO / "evening.csv").read_bytes(), 0.05, True)
    begun = next(i for i, r in enumerate(happens) if not isinstance(r, Snapshot) and r["kind"] == "stage")
    loading = Watched(recipe, "live")
    for record in records(happens[: begun + 1]):
        loading.record(record)
    assert loading.state.seen.stage == 1
    screen = lines(loading)
    assert hands(loading.state).told == "LOAD the film; LID ON: hold the switch for a full second"
    assert hands(loading.state).under == "dark, silent, no clock; then DEVELOP"
    assert not re.search("minimum|% of the time", " ".join(screen))
    plain_lines = PlainLines(Watched(recipe, "live"))
    said = [line for record in records(happens) for line in plain_lines.record(record)]
    assert any(line.endswith("LOAD begins: dark, silent, no clock; a press of a second says that the lid is on") for line in said)
    assert not any("LOAD: the minimum" in line for line in said)
    assert sum(line.endswith("the lid is on; next DEVELOP: it waits for a press of a second") for line in said) == 1
    waiting = Watched(recipe, "live")
    waiting.snapshot(Snapshot(t_s=90.0, stages=2, waits_for=2))
    screen = lines(waiting)
    assert screen[0].startswith("DEVELOP 2 of 2, waits")
    assert screen[5].split() == ["BEGIN", "hold", "the", "switch", "for", "a", "full", "second", "and", "POUR", "DEVELOP"]
    assert screen[6].strip() == "no clock runs"


def test_the_next_movement_is_that_of_the_ticks() -> None:
    """The burst at the begin, then each minute; what would run into the last half minute before NOW is left out."""
    bursts = [Burst(0.0, None, 30.0), Burst(None, 60.0, 10.0)]
    assert next_movement(bursts, 10.0, 300.0) == (0.0, 30.0)
    assert next_movement(bursts, 30.0, 300.0) == (60.0, 70.0)
    assert next_movement(bursts, 65.0, 300.0) == (60.0, 70.0)
    assert next_movement(bursts, 70.0, 300.0) == (120.0, 130.0)
    assert next_movement(bursts, 251.0, 300.0) is None
    assert next_movement(bursts, 251.0, None) == (300.0, 310.0)
    assert next_movement([], 0.0, None) is None


@given(st.text(max_size=60), st.integers(1, 30))
def test_text_is_cut_and_folded_within_its_width(text: str, width: int) -> None:
    """Whatever letters it has; folding loses none but spaces."""
    assert cells(cut(text, width)) <= width
    folded = fold(text, max(2, width))
    assert all(cells(line) <= max(2, width) for line in folded)
    assert "".join("".join(folded).split()) == "".join(text.split())


def test_looking_at_the_module_does_not_load_what_draws() -> None:
    """rich is loaded only where a terminal is drawn on; pandas and the like never."""
    code = "import sys, monitor.live.view.screen; print([m for m in ('rich', 'pandas', 'numpy', 'matplotlib') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=Path(__file__).parents[3])
    assert done.stdout.strip() == "[]"


def test_styles_are_bold_and_dim_alone() -> None:
    """No meaning hangs on a colour: there is none."""
    picture: list[Line] = render(at(500.0, *demo()).state, at(500.0, *demo()).trace, 80, 24)
    assert {piece.style for line in picture for piece in line} <= {"", "bold", "dim", "bold reverse"}


def test_a_bath_stands_in_what_its_vessel_has() -> None:
    """A tray is no jug."""
    stage = next(stage for stage in demo()[0].stages if stage.jug is not None)
    assert jug(stage, "lidded tank").endswith(f", jug {stage.jug}")
    assert jug(stage, "open tray").endswith(f", tray {stage.jug}")
    assert next_pour(stage, "open tank").endswith(f", tank {stage.jug}")
