"""The rows of the live view: they keep their place whatever happens, and a FAULT always has two of them."""

from __future__ import annotations

import re
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from monitor.core.recipe.values import Recipe
from monitor.live.view.layout import Look, render
from monitor.live.view.state import Gone
from monitor.live.view.text import cells, plain
from tests.evening import FIX, STOP, develop, recipe
from tests.live.view.teller import ROLL, TRAY, Teller

BANDED = recipe(develop("5:00", 'band = "0.5 C"'), STOP, FIX)
SIZES = [(100, 40), (80, 24), (60, 24), (60, 13), (40, 9), (20, 5)]
LABEL = re.compile(r"^(move|done|trust|then|sheets)\b")
REASONS = ("in air", "reading fell 6.2 C a minute, like a probe in air", "x" * 200, "no reading " * 30)
HAPPENS = st.one_of(
    st.tuples(st.just("begin"), st.integers(1, 3), st.booleans()),
    st.tuples(st.just("reading"), st.sampled_from(["jug", "bowl", "air"]), st.sampled_from([None, -5.0, 12.0, 20.0, 38.0])),
    st.tuples(st.just("progress"), st.sampled_from(["developer", "witness", "vessel model", "held", "clock"]), st.floats(60.0, 900.0)),
    st.tuples(st.just("lost"), st.sampled_from(["jug", "bowl"]), st.sampled_from(REASONS)),
    st.tuples(st.just("believed"), st.sampled_from(["jug", "bowl"]), st.just("agrees")),
    st.tuples(st.just("ready"), st.integers(1, 2), st.just(0)),
    st.tuples(st.just("gate"), st.sampled_from(["withheld", "open"]), st.just(0)),
    st.tuples(st.just("cue"), st.sampled_from(["tick", "ready", "now", "fault", "yes"]), st.sampled_from(REASONS)),
    st.tuples(st.just("gone"), st.booleans(), st.just(0)),
    st.tuples(st.just("notice"), st.sampled_from(REASONS), st.just(0)),
    st.tuples(st.just("close"), st.just(0), st.just(0)),
)


def happen(told: Teller, t_s: float, what: tuple[str, Any, Any]) -> None:
    """One thing at this moment."""
    kind, one, two = what
    if kind == "begin":
        told.begin(one, t_s, assumed=two, **({"sheet": 1} if told.plan is TRAY else {}))
    elif kind == "reading":
        role = {"jug": "developer", "bowl": "bath", "air": "room"}[one]
        told.reading(t_s, two, one, role, "good" if two is not None else "missing")
    elif kind == "progress" and told.watched.state.stage is not None:
        told.progress(t_s, told.watched.state.stage.number, source=one, end_t_s=t_s + two)
    elif kind in ("lost", "believed"):
        told.tell("trust", t_s, probe=one, believed=kind == "believed", why=two, since_t_s=max(0.0, t_s - 5.0), source="held")
        if kind == "lost":
            told.tell("cue", t_s, cue="fault", why=f"{one}: {two}")
    elif kind == "ready" and told.watched.state.stage is not None:
        told.moment(told.watched.state.stage.number, "ready", t_s, now_t_s=t_s + 20.0, end_t_s=t_s + 30.0)
    elif kind == "gate":
        told.tell("gate", t_s, state=one)
    elif kind == "cue":
        told.tell("cue", t_s, cue=one, **({"why": two} if one == "fault" else {}))
    elif kind == "gone":
        told.watched.gone = Gone("21:04:07", 72.9) if one else None
    elif kind == "notice":
        told.watched.notice(one)
    elif kind == "close":
        told.tell("session", t_s, event="close", why="finished")


def screen(told: Teller, width: int, height: int, unicode: bool = True) -> list[str]:
    """As it stands on a terminal of this size."""
    return [plain(line) for line in render(told.watched.state, told.watched.trace, width, height, Look(unicode))]


def places(rows: list[str]) -> dict[str, int]:
    """The line of each label."""
    return {m[0]: i for i, line in enumerate(rows) if (m := LABEL.match(line))}


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from([ROLL, BANDED, TRAY]),
    st.sampled_from(SIZES),
    st.booleans(),
    st.lists(st.tuples(st.floats(0.5, 120.0), HAPPENS), max_size=14),
)
@example(TRAY, (80, 24), True, [(1.0, ("begin", 1, False))])
@example(ROLL, (80, 24), True, [(1.0, ("begin", 1, False)), (2.0, ("progress", "developer", 300.0))])
@example(ROLL, (80, 24), True, [(1.0, ("begin", 1, False)), (2.0, ("lost", "jug", REASONS[1])), (2.0, ("gone", True, 0))])
def test_whatever_happens_no_row_moves(
    plan: Recipe, size: tuple[int, int], unicode: bool, story: list[tuple[float, tuple[str, Any, Any]]]
) -> None:
    """Each label in its line, as many lines as at first, none wider than the terminal: over any order of events."""
    told, t_s = Teller(plan), 0.0
    first = screen(told, *size, unicode=unicode)
    stood = places(first)
    for dt_s, what in story:
        t_s += dt_s
        happen(told, t_s, what)
        now = screen(told, *size, unicode=unicode)
        assert len(now) == len(first) <= size[1]
        assert max(cells(line) for line in now) <= size[0]
        assert places(now) == stood


@pytest.mark.parametrize("size", SIZES)
def test_a_fault_never_moves_what_the_hands_look_at(size: tuple[int, int]) -> None:
    """Its rows are kept; the figure of the hands stands in the same line before, during and after."""
    told = Teller()
    told.begin(1, 0.0)
    told.progress(100.0)

    def row() -> int:
        return next(i for i, line in enumerate(screen(told, *size)) if re.match(r" +\d:\d\d  to POUR", line))

    before = row()
    told.tell("trust", 110.0, probe="jug", believed=False, why=REASONS[1], since_t_s=105.0, source="held")
    told.tell("cue", 110.0, cue="fault", why=f"jug: {REASONS[1]}")
    told.progress(112.0, source="held")
    assert row() == before
    told.tell("trust", 150.0, probe="jug", believed=True, why="agrees", since_t_s=140.0, source="developer")
    assert row() == before


@pytest.mark.parametrize("width", [100, 80, 60])
@pytest.mark.parametrize("why", REASONS)
def test_what_to_do_about_a_fault_is_never_cut(width: int, why: str) -> None:
    """However long its reason is."""
    told = Teller()
    told.begin(1, 0.0)
    told.tell("trust", 110.0, probe="jug", believed=False, why=why, since_t_s=105.0, source="held")
    told.tell("cue", 110.0, cue="fault", why=f"jug: {why}")
    rows = screen(told, width, 24)[2:4]
    assert rows[0].startswith(" FAULT 1:50  jug: ")
    assert rows[1].endswith("Go on as called. Watch the second clock too.")


def test_rails_and_picture_share_their_columns_from_begin_to_end() -> None:
    """The plan's whole length stands there from the first second; NOW is where its letter is, and the line has come as far as the rail."""
    told = Teller()
    told.begin(1, 0.0)
    told.progress(2.0)
    width, left = 80, 8

    def rail() -> str:
        return next(line for line in screen(told, width, 24, unicode=False) if line.startswith("done"))[left : left + 44]

    assert rail().rstrip() == rail(), "to the last column"
    now_at = rail().index("N")
    assert now_at == int(285.0 / 300.0 * 44)
    for t_s in range(4, 152, 2):
        told.progress(float(t_s))
    assert rail().count("#") == int(150.0 / 300.0 * 44)
    assert rail().index("N") == now_at
    ends = [line for line in screen(told, width, 24, unicode=False) if "o" in line[left : left + 44] and line.endswith("developer")]
    assert ends
    assert ends[0][left : left + 44].rindex("o") >= rail().count("#") - 1


def test_the_wanted_band_stands_at_the_right_edge_and_the_scale_has_whole_degrees() -> None:
    """From 19.5 to 20.5."""
    told = Teller(BANDED)
    told.begin(1, 0.0)
    for t_s in range(2, 60, 2):
        told.progress(float(t_s))
    rows = screen(told, 80, 30)
    plot = rows[11 : next(i for i, line in enumerate(rows) if line.startswith("trust")) - 1]
    assert [line.split()[0] for line in plot if line[:8].strip()][:3] == ["21", "20", "19"]
    edge = [line[79:] for line in plot if len(line) == 80]
    assert (edge[0], edge[-1]) == ("\u2510", "\u2518")
    assert any("wanted" in line for line in plot)


def test_readings_that_are_not_believed_are_dotted_and_named() -> None:
    """Beside the estimate that stands in for them."""
    told = Teller()
    told.begin(1, 0.0)
    for t_s in range(2, 100, 2):
        told.progress(float(t_s))
    told.tell("trust", 100.0, probe="jug", believed=False, why="in air", since_t_s=95.0, source="held")
    for t_s in range(102, 200, 2):
        told.reading(t_s - 0.5, 19.2, "jug", "developer")
        told.progress(float(t_s), source="held")
    rows = screen(told, 100, 30, unicode=False)
    assert any(line.rstrip().endswith("19.20 C not believed") and ". " not in line[:20] and "....." in line for line in rows)
    assert any(line.rstrip().endswith("held") and "?????" in line for line in rows)


def test_a_baths_probe_that_is_not_believed_says_so_at_the_end_of_its_line() -> None:
    """Without a figure of doubt; believed again it is the bath's."""
    told = Teller()
    told.begin(1, 0.0)
    told.progress(2.0)
    why = "the developer does not follow it: it reads 1.0 C below its bath"
    told.tell("trust", 100.0, probe="bowl", believed=False, why=why, since_t_s=95.0, source="developer", loss=False)
    for t_s in range(102, 150, 2):
        told.reading(t_s - 0.5, 19.2, "bowl", "bath")
        told.progress(float(t_s))
    assert any(line.rstrip().endswith("19.20 C bath, not believed") for line in screen(told, 100, 30, unicode=False))
    assert any(line.rstrip().endswith("19.20 C not so") for line in screen(told, 70, 30, unicode=False))
    told.tell("trust", 152.0, probe="bowl", believed=True, why="for 30 s where its bath must be", since_t_s=120.0, source="developer")
    assert any(line.rstrip().endswith(" bath") and "19.20 C +/-" in line for line in screen(told, 100, 30, unicode=False))


def test_what_plus_minus_means_is_said_once_above_the_first() -> None:
    """In the rule below the title."""
    told = Teller()
    told.begin(1, 0.0)
    told.progress(100.0)
    rows = screen(told, 80, 24)
    assert [i for i, line in enumerate(rows) if "two standard deviations" in line] == [1]
    assert min(i for i, line in enumerate(rows) if "\u00b1" in line) == 1


def test_where_nothing_was_measured_the_view_gives_two_times_and_no_share() -> None:
    """Also after the end is fixed."""
    told = Teller()
    told.begin(1, 0.0)
    told.progress(100.0, source="clock", end_sd_s=60.0)
    told.moment(1, "ready", 255.0, now_t_s=285.0, end_t_s=300.0)
    text = "\n".join(screen(told, 80, 24))
    assert "end between 3:00 and 7:00" in text
    assert re.search(r"done .* not known", text)


def test_the_title_has_stage_name_and_how_old_the_stations_word_is() -> None:
    """Where no station is followed, what is played."""
    told = Teller()
    assert re.match(r"DEVELOP 1 of 3, waits  evening +live$", screen(told, 80, 24)[0])
    told.begin(1, 0.0)
    told.watched.word_s = 0.44
    assert re.match(r"DEVELOP 1 of 3  evening +word 0\.4 s old$", screen(told, 80, 24)[0])
