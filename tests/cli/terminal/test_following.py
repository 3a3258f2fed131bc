"""A session followed while the station dies, hangs and comes back, while film is bare, and by one who comes late.

The real station on a clock that jumps; only the socket, the keyboard and the screen are fakes.
"""

from __future__ import annotations

import io
import signal
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from shlex import quote
from typing import Any

import pytest

from monitor.cli.terminal.following import BLACK, LIGHT_AGAIN, TO_READ_S, Following, beside_words, refuse_beside, turn_words
from monitor.cli.terminal.pulse import SILENT_S, Pulse
from monitor.core.errors import InputWrong, NotThere
from monitor.core.recipe.reader import load_recipe
from monitor.live.disk.journal_tail import records_after
from monitor.live.view.screen import PlainView
from tests.live.simulated import BOWL, DARK, JUG, SHORT, World

WITHIN_S = 3.0
"""So soon a dead station is seen."""
STEP_S = 0.1


class Wire:
    """One connection: the events that the station has sent to it, until it is cut."""

    def __init__(self, world: World, number: int) -> None:
        self._world = world
        self._number = number
        self._taken = len(world.sent)
        self.cut = False

    @property
    def pending(self) -> bool:
        """Whether an event waits, or the end of the connection."""
        while self._taken < len(self._world.sent) and self._world.sent[self._taken][0] != self._number:
            self._taken += 1
        return self._taken < len(self._world.sent)

    def ask(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """At once."""
        if self.cut:
            raise NotThere("hung up")
        return self._world.ask(self._number, **request)

    def send(self, request: Mapping[str, Any]) -> None:
        """The answer comes among the events; here nobody reads it."""
        self.ask(request)

    def receive(self) -> dict[str, Any]:
        """The next event."""
        if not self.pending:
            raise NotThere("hung up")
        self._taken += 1
        return self._world.sent[self._taken - 1][1]

    def close(self) -> None:
        """Hang up."""
        if not self.cut:
            self._world.hang_up(self._number)
        self.cut = True


class Room:
    """The machine and the room around it. `at`: what happens when, in seconds after now. All that is written is kept with its moment."""

    def __init__(self, world: World, screen: bool) -> None:
        self.world = world
        self.screen = self.keyboard = screen
        self.shown: list[tuple[float, str]] = []
        self.wires: list[Wire] = []
        self.dead = self.hung = False
        self._busy_until_s = 0.0
        self._coming: list[tuple[float, Callable[[], None]]] = []
        self._keys = b""

    # -- what happens ------------------------------------------------------------------------------------------------

    def at(self, after_s: float, what: Callable[[], None]) -> None:
        """Later."""
        self._coming.append((self.now_s() + after_s, what))
        self._coming.sort(key=lambda pair: pair[0])

    def kill(self) -> None:
        """As kill -9 does: the connections are cut, what the disk has not is lost."""
        self.dead = True
        for wire in self.wires:
            wire.cut = True

    def start(self) -> None:
        """Another life of the station."""
        self.dead = False
        self.world.life()

    def hang(self, hung: bool) -> None:
        """As SIGSTOP and SIGCONT do: nothing is said, nothing is cut."""
        self.hung = hung

    def cut(self, seconds: float) -> None:
        """The connection is lost for a while; the station lives."""
        self._busy_until_s = self.now_s() + seconds
        self.wires[-1].close()

    def key(self) -> None:
        """Any key."""
        self._keys = b" "

    def leave(self) -> None:
        """Ctrl-C."""
        raise KeyboardInterrupt

    # -- the surroundings --------------------------------------------------------------------------------------------

    def connect(self) -> Wire:
        """A new one, while the station is there."""
        if self.dead or self.now_s() < self._busy_until_s:
            raise NotThere("no station answers")
        self.wires.append(Wire(self.world, 10 + len(self.wires)))
        return self.wires[-1]

    def wait(self, link: Any, seconds: float) -> tuple[bool, bytes]:
        """Time goes on until something has come."""
        until_s = self.now_s() + seconds
        while True:
            while self._coming and self._coming[0][0] <= self.now_s():
                self._coming.pop(0)[1]()
            keys, self._keys = self._keys, b""
            said = link is not None and (link.pending or link.cut)
            if said or keys or self.now_s() >= until_s:
                return said, keys
            if self.dead or self.hung:
                self.world.clock.to(self.now_s() + STEP_S)
            else:
                self.world.go(STEP_S)

    def now_s(self) -> float:
        """The station's clock."""
        return self.world.clock.mono_s()

    def time_of_day(self) -> str:
        """Seconds, to be recognised."""
        return f"[{self.now_s():.1f}]"

    def journal(self, session: str) -> str:
        """Its path."""
        return str(self.world.journal(session))

    def records_after(self, session: str, seq: int) -> Iterator[dict[str, Any]]:
        """What stands on the disk."""
        return records_after(self.world.journal(session), seq)

    def keys_one_by_one(self) -> AbstractContextManager[None]:
        """They are."""
        return nullcontext()

    def write(self, text: str) -> None:
        """Kept."""
        self.shown.append((self.now_s(), text))

    # -- what was seen -----------------------------------------------------------------------------------------------

    @property
    def text(self) -> str:
        """All of it."""
        return "".join(text for _, text in self.shown)

    def when(self, words: str) -> list[float]:
        """When these words were shown."""
        return [at_s for at_s, text in self.shown if words in text]


class _Out(io.StringIO):
    """The view's stdout goes the same way."""

    def __init__(self, room: Room) -> None:
        super().__init__()
        self._room = room

    def write(self, text: str) -> int:
        self._room.write(text)
        return len(text)


class Evening:
    """A session that is armed and followed."""

    def __init__(self, folder: Path, patch: pytest.MonkeyPatch, recipe: str = SHORT, screen: bool = False) -> None:
        self.world = World(folder, {JUG: lambda _: 20.0, BOWL: lambda _: 20.0})
        self.world.go(5)
        self.room = Room(self.world, screen)
        self._patch = patch
        self.recipe = recipe
        self.name = self.world.develop(recipe)

    def begin(self) -> None:
        """The first stage."""
        self.world.press(1.2)

    def follow(self, late: bool = False) -> int:
        """From the arming on, or late."""
        self._patch.setattr(sys, "stdout", _Out(self.room))  # pytest changes it between a fixture and its test
        wire = self.room.connect()
        answer = wire.ask({"verb": "follow"}) if late else None
        following = Following(self.room, load_recipe(self.recipe.encode(), "r"), self.name, "my station.toml", has_switch=True)
        return following.run(wire, answer)

    def abandon(self) -> None:
        """The end."""
        self.world.ask(99, verb="abandon", why="seen enough")


def refuse(session: str, seq: int) -> Iterator[dict[str, Any]]:
    """A journal that may not be read."""
    raise PermissionError(13, "Permission denied")


@pytest.fixture
def evening(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Evening:
    """In the light, into a pipe."""
    return Evening(tmp_path, monkeypatch)


# -- a station that is gone ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("way", ["killed", "hung"])
def test_a_dead_station_is_seen_within_three_seconds_and_when_it_is_back_too(evening: Evening, way: str) -> None:
    """Said once, with the moment of its last word and the second clock; once that it is back; then the session goes on to its end."""
    evening.begin()
    room, begun_s = evening.room, evening.room.now_s()
    room.at(20, room.kill if way == "killed" else lambda: room.hang(True))
    room.at(32, room.start if way == "killed" else lambda: room.hang(False))
    room.at(40, evening.abandon)
    assert evening.follow() == 0
    (gone_s,) = room.when("STATION GONE")
    (back_s,) = room.when("the station is back")
    assert 0 <= gone_s - (begun_s + 20) <= WITHIN_S
    assert 0 <= back_s - (begun_s + 32) <= 1.5
    line = next(text for _, text in room.shown if "STATION GONE" in text)
    since_s = float(line.split("[")[1].split("]")[0])
    assert begun_s + 18.5 <= since_s <= begun_s + 20
    assert "second clock" in line
    assert "is over: seen enough" in room.text


def test_what_was_missed_is_caught_up_and_nothing_is_told_twice(evening: Evening) -> None:
    """Records that were neither on the disk nor sent when the view began; a stage that began while it was cut off."""
    evening.begin()
    room = evening.room
    room.at(10, lambda: room.cut(100))
    room.at(150, evening.abandon)
    assert evening.follow() == 0
    for words in ("DEVELOP begins", "READY, DEVELOP", "STOP begins"):
        assert room.text.count(words) == 1
    lines = [text for _, text in room.shown if text.startswith("    ")]
    assert len(lines) == len(set(lines))


@pytest.mark.parametrize("readable", [True, False])
def test_a_station_that_comes_back_with_another_session_is_not_followed_into_it(evening: Evening, readable: bool) -> None:
    """Its own is over, whether or not the journal can be asked why; the other has another recipe, and another darkness."""
    evening.begin()
    room = evening.room
    if not readable:
        room.records_after = refuse  # type: ignore[method-assign]

    def another() -> None:
        room.start()
        evening.abandon()
        evening.world.go(2)
        evening.world.develop()

    room.at(10, room.kill)
    room.at(12, another)
    room.at(60, lambda: pytest.fail("it follows the other session"))
    assert evening.follow() == 0
    assert f"session {evening.name} {'is over: seen enough' if readable else 'does not run any more'}" in room.text


# -- the end ------------------------------------------------------------------------------------------------------------


def test_at_the_end_stand_summary_journal_and_the_next_command(evening: Evening) -> None:
    """The close may not be on the disk yet; a name that needs it is quoted."""
    evening.begin()
    evening.room.at(30, evening.abandon)
    assert evening.follow() == 0
    end = evening.room.text.split(" is over: seen enough\n")[1].splitlines()
    assert end[0] == "short (live): seen enough."
    assert end[1].startswith("  develop: planned 2:00, took 0:3")
    assert any("probe not compared" in line for line in end)
    assert f"Journal: {evening.world.journal(evening.name)}" in end
    assert f"Next: evenbath review {evening.name} --file 'my station.toml'" in end


@pytest.mark.parametrize(("worse_c", "source", "asked"), [(0.2, "witness", True), (0.0, "witness", False), (0.2, "vessel model", False)])
def test_a_session_by_a_new_witness_asks_for_the_developer_poured_off(
    evening: Evening, worse_c: float, source: str, asked: bool
) -> None:
    """With the command that tells it; not where the witness has been shown, or did not speak at the end."""
    evening.begin()
    evening.room.at(30, evening.abandon)
    read = evening.room.records_after

    def by_a_witness(session: str, seq: int) -> Iterator[dict[str, Any]]:
        for record in read(session, seq):
            if record["kind"] == "session" and record["event"] == "open":
                record = {**record, "probes": [{**p, "witness_sd_c": worse_c} if p["probe"] == "jug" else p for p in record["probes"]]}
            yield {**record, "source": source} if record["kind"] == "progress" else record

    evening.room.records_after = by_a_witness  # type: ignore[method-assign]
    assert evening.follow() == 0
    journal = evening.world.journal(evening.name)
    command = f"evenbath lag {quote(str(journal))} --file 'my station.toml' --probe jug --poured-off \"19.1 C\" --save"
    assert (command in evening.room.text) is asked
    assert ("Did you measure the developer that you poured off?" in evening.room.text) is asked


@pytest.mark.parametrize(("probe", "which"), [("jug", "--probe jug"), (None, "--vessel 'small tank'")])
def test_a_lag_that_is_offered_comes_with_the_command_that_adopts_it(evening: Evening, probe: str | None, which: str) -> None:
    """Of the probe, or of the vessel by the name that the session began with."""
    evening.begin()
    evening.room.at(30, evening.abandon)
    read = evening.room.records_after
    found = {"kind": "learned", "probe": probe, "lag_s": 160.0, "told_lag_s": 360.0, "log_sd": 0.15, "use": "offered"}

    def with_a_lag(session: str, seq: int) -> Iterator[dict[str, Any]]:
        for record in read(session, seq):
            if record["kind"] == "session" and record["event"] == "open":
                record = {**record, "vessel": {"vessel": "small tank", "lag_s": 360.0, "lag_sd_s": 7.0, "coupled_to": "bath"}}
            frame = {key: record[key] for key in ("seq", "session", "t_s", "wall")}
            yield {**frame, **found} if record["kind"] == "tap" else record

    evening.room.records_after = with_a_lag  # type: ignore[method-assign]
    assert evening.follow() == 0
    assert f"To adopt that lag: evenbath lag --file 'my station.toml' {which} --adopt" in evening.room.text


def test_a_journal_that_may_not_be_read_costs_the_summary_alone(evening: Evening) -> None:
    """Where it stands is told all the same."""
    evening.begin()
    evening.room.records_after = refuse  # type: ignore[method-assign]
    evening.room.at(30, evening.abandon)
    assert evening.follow() == 0
    assert "(live)" not in evening.room.text
    assert "Journal: " in evening.room.text


def test_ctrl_c_ends_the_view_alone_and_says_how_it_comes_back(evening: Evening) -> None:
    """Exit status 130; the session goes on."""
    evening.begin()
    evening.room.at(10, evening.room.leave)
    assert evening.follow() == 130
    assert "status --follow --file 'my station.toml'" in evening.room.text
    assert evening.world.station.running is not None


def test_the_film_beside_is_told_once_a_minute_and_a_bare_one_forbids_the_screen() -> None:
    """The light rule is that of all films of an evening."""
    view = {"stage": 2, "name": "stop", "until": "time", "end_t_s": 200.0, "t_s": 100.0}
    other = {"vessel": "right", "what": "roll 15", "view": view}
    assert beside_words(other) == "right, roll 15: stop, 1 min to its end"
    assert beside_words({**other, "view": {**view, "t_s": 110.0}}) == beside_words(other)
    assert beside_words({**other, "view": {"stage": None}}) == "right, roll 15: waits for its begin"
    waits = {**other, "view": {"stage": None}}
    for in_s, says in (
        (125.0, "begins in 2 min"), (59.0, "begins in less than a minute"), (12.0, "begins in 0:30 or less"), (-5.0, "begins now"),
        (-130.0, "was to begin 2 min ago"),
    ):  # fmt: skip
        assert beside_words({**waits, "begins_in_s": in_s}) == f"right, roll 15: waits for its begin, {says}"
    assert turn_words({"vessel": "right", "what": "roll 2", "begins_in_s": 125.0}) == "right, roll 2: begins in 2 min"
    assert turn_words({"vessel": None, "what": "roll 3", "begins_in_s": None}) == "roll 3: to come"
    refuse_beside({"beside_open": True}, screen=False)
    refuse_beside({"beside_open": False}, screen=True)
    with pytest.raises(InputWrong):
        refuse_beside({"beside_open": True}, screen=True)


# -- who comes late -----------------------------------------------------------------------------------------------------


def test_who_comes_late_sees_what_has_been(evening: Evening) -> None:
    """From the journal: the begin stands there, with its time."""
    evening.begin()
    evening.world.go(20)
    evening.room.at(5, evening.abandon)
    came_s = evening.room.now_s()
    assert evening.follow(late=True) == 0
    assert evening.room.when("DEVELOP begins") == [came_s]


def test_who_comes_late_while_film_is_bare_gets_black_at_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Not one byte of light first, nothing while the station dies and comes back, and a key alone changes nothing."""
    evening = Evening(tmp_path, monkeypatch, DARK, screen=True)
    evening.begin()
    evening.world.go(20)
    room = evening.room
    before = signal.getsignal(signal.SIGINT)
    room.at(5, room.key)
    room.at(10, room.kill)
    room.at(25, room.start)
    room.at(40, evening.abandon)
    room.at(50, room.key)
    assert evening.follow(late=True) == 0
    assert room.shown[0][1] == BLACK
    assert room.shown[1][1] == LIGHT_AGAIN
    assert room.shown[1][0] - room.shown[0][0] >= 50
    assert signal.getsignal(signal.SIGINT) is before


def test_who_comes_after_the_fixing_minimum_sees_the_view(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """To ask for it then is what a key would have said."""
    evening = Evening(tmp_path, monkeypatch, DARK, screen=True)
    evening.begin()
    evening.world.go_until(lambda: bool(evening.world.records(evening.name, "stage", event="minimum", stage=3)))
    evening.world.go(5)
    evening.room.at(5, evening.abandon)
    assert evening.follow(late=True) == 0
    assert BLACK in evening.room.text  # the stage fixes still: as long as nobody has looked at the journal it counts as bare
    assert evening.room.when(LIGHT_AGAIN) == evening.room.when(BLACK)
    assert "DEVELOP begins" in evening.room.text


def test_who_comes_before_the_first_stage_is_told_and_then_it_goes_dark(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The film is in its holder yet: words, time to read them, black."""
    evening = Evening(tmp_path, monkeypatch, DARK, screen=True)
    room = evening.room
    room.at(20, evening.abandon)
    room.at(25, room.key)
    assert evening.follow(late=True) == 0
    assert "this screen goes dark now" in room.shown[0][1]
    assert room.shown[1][1] == BLACK
    assert room.shown[1][0] - room.shown[0][0] >= TO_READ_S


def test_a_screen_without_a_keyboard_is_dark_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Only that there Ctrl-C still ends it: no key could."""
    evening = Evening(tmp_path, monkeypatch, DARK, screen=True)
    evening.room.keyboard = False
    evening.begin()
    evening.room.at(30, evening.room.leave)
    assert evening.follow() == 130
    words = [text for _, text in evening.room.shown]
    assert words[1] == BLACK
    assert "DEVELOP" not in evening.room.text


def test_how_old_the_last_word_is_goes_on_while_the_station_is_silent(evening: Evening, monkeypatch: pytest.MonkeyPatch) -> None:
    """Twice a second; it is near nothing while the station speaks, and it grows before the station counts as gone."""
    ages: list[tuple[float, float]] = []
    monkeypatch.setattr(PlainView, "word", lambda _, age_s: ages.append((evening.room.now_s(), age_s)))
    evening.begin()
    room, begun_s = evening.room, evening.room.now_s()
    room.at(20, lambda: room.hang(True))
    room.at(22, lambda: room.hang(False))
    room.at(30, evening.abandon)
    assert evening.follow() == 0
    assert not room.when("STATION GONE")
    before = [age_s for at_s, age_s in ages if 2 < at_s - begun_s < 20]
    silent = [age_s for at_s, age_s in ages if 20 < at_s - begun_s < 22]
    assert len(before) > 25
    assert max(before) < 1.2
    assert silent == sorted(silent)
    assert silent[-1] > 1.2


# -- the pulse ----------------------------------------------------------------------------------------------------------


def test_two_missing_words_are_borne_and_a_cut_connection_is_not() -> None:
    """A view comes each second; a busy second is no death. A new word brings it back."""
    pulse = Pulse(100.0, "21:04:07")
    assert pulse.gone(100.0 + SILENT_S - 0.01) is None
    gone = pulse.gone(103.0)
    assert gone is not None
    assert (gone.since, gone.for_s) == ("21:04:07", 3.0)
    pulse.heard(104.0, "21:04:11")
    assert pulse.gone(104.1) is None
    pulse.lost()
    gone = pulse.gone(104.1)
    assert gone is not None
    assert gone.since == "21:04:11"
    assert 2.0 < SILENT_S < WITHIN_S - 0.5
