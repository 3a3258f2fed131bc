"""Pages that a child makes: kept, one at a time, and none beside a session. The child is a script of the test's own."""

from __future__ import annotations

import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.page import made as page_made
from monitor.page import sentences
from monitor.page.made import Maker

COUNT = "import sys; open(sys.argv[1], 'a').write('x'); print('made', sys.argv[2:])"


class Session:
    """Whether one runs."""

    def __init__(self) -> None:
        self.runs = False

    def __call__(self) -> bool:
        """As the maker asks."""
        return self.runs


@pytest.fixture
def session() -> Session:
    """None runs."""
    return Session()


@pytest.fixture
def maker(session: Session) -> Iterator[Maker]:
    """Its command is Python."""
    made = Maker(session, (sys.executable, "-c"))
    yield made
    made.close()


def test_what_was_made_is_kept_until_its_source_changes(maker: Maker, tmp_path: Path) -> None:
    """One child for one state of a file."""
    log = str(tmp_path / "log")
    first = maker.make(("a", 1), (COUNT, log, "1"))
    assert first.well
    assert "made ['1']" in first.text
    assert maker.make(("a", 1), (COUNT, log, "1")) == first
    maker.make(("a", 2), (COUNT, log, "1"))
    assert (tmp_path / "log").read_text() == "xx"


def test_beside_a_session_nothing_is_made_but_what_is_there_is_given(maker: Maker, session: Session, tmp_path: Path) -> None:
    """The cues go before."""
    log = str(tmp_path / "log")
    maker.make("a", (COUNT, log))
    session.runs = True
    assert maker.make("a", (COUNT, log)).well
    refused = maker.make("b", (COUNT, log))
    assert (refused.well, refused.later) == (False, True)
    assert (tmp_path / "log").read_text() == "x"


def test_one_that_is_being_made_ends_when_a_session_is_armed(maker: Maker, session: Session) -> None:
    """And its child with it."""
    threading.Timer(0.3, lambda: setattr(session, "runs", True)).start()
    refused = maker.make("slow", ("import time; time.sleep(60)",))
    assert (refused.well, refused.later, refused.text) == (False, True, sentences.STILL_RUNS)


def test_one_at_a_time(maker: Maker, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever waits too long for a turn is told to come again."""
    monkeypatch.setattr(page_made, "PATIENCE_S", 0.2)
    first = threading.Thread(target=maker.make, args=("slow", ("import time; time.sleep(1.5)",)))
    first.start()
    threading.Event().wait(0.3)
    refused = maker.make("other", ("print(1)",))
    assert (refused.later, refused.text) == (True, "The board is busy: try again in a moment.")
    first.join()


def test_a_child_that_fails_says_why_in_a_line(maker: Maker) -> None:
    """And nothing is kept of it."""
    failed = maker.make("bad", ("import sys; print('no such thing'); sys.exit(2)",))
    assert not failed.well
    assert failed.text == "It could not be made: no such thing"
    assert maker.make("bad", ("print('now')",)).well


def test_the_child_is_last_in_line_for_the_processor(maker: Maker) -> None:
    """As nice as can be."""
    told = maker.make("nice", ("import os,time; time.sleep(0.3); print(os.getpriority(os.PRIO_PROCESS, 0))",))
    assert told.text.strip() == "19"


def test_what_it_keeps_is_bounded(maker: Maker, monkeypatch: pytest.MonkeyPatch) -> None:
    """The oldest goes."""
    monkeypatch.setattr(page_made, "MOST_KEPT", 2)
    for k in range(3):
        maker.make(k, ("print(1)",))
    assert list(maker._kept) == [1, 2]
