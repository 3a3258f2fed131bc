"""A session followed on a terminal, to its end: the view, but not before a reel is loaded; with bare film the terminal goes black
and stays so. Keys stand for the foot switch where a station has none, in the light.

Decides what is shown when the station is gone, what is caught up from its journal when it is back or when somebody comes late,
and what is said at the end. Tests: tests/cli/terminal/test_following.py, tests/cli/test_develop.py, tests/cli/test_status.py.
"""

from __future__ import annotations

import shlex
from collections import deque
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from monitor.cli.terminal.clash import clash_words
from monitor.cli.terminal.keyboard import Interrupts
from monitor.cli.terminal.pulse import Pulse
from monitor.cli.terminal.questions import folded
from monitor.core.errors import EvenbathError, InputWrong
from monitor.core.journal.summary import Summary
from monitor.core.text.degrees import example, in_unit_shown
from monitor.live.view.words import begins_coarsely

if TYPE_CHECKING:
    from monitor.cli.terminal.surroundings import Link, Surroundings
    from monitor.core.recipe.values import Recipe
    from monitor.live.view.screen import PlainView, TerminalView

MEASURED = "19.1 C"
BLACK = "\x1b[0;40;30m\x1b[2J\x1b[3J\x1b[H\x1b[?25l"
LIGHT_AGAIN = "\x1b[0m\x1b[2J\x1b[H\x1b[?25h"
INTERRUPTED = 130
"""The exit status of a command that Ctrl-C has ended."""
TO_READ_S = 4.0
"""So long the last sentence stands before the screen goes black."""
LOOK_EVERY_S = 0.5
"""A station that is gone is looked for, and how long it has been is shown, twice a second."""
GAP_S = 3.0
"""A record that was missed stands on the disk within a second; longer than this it is not waited for."""
MOST_LATER = 2000
"""Records that came by the socket and may not stand in the file yet: seconds of them."""
LOADING = (
    "Loading wants the dark: this screen goes dark now. The view comes by itself when the next stage begins. "
    "Switch it off or cover it all the same: black is not dark."
)
BARE = (
    "From here on nothing may see light: this screen goes dark now. It stays dark until the fixing minimum is over and you press a key. "
    "Switch it off or cover it all the same: black is not dark."
)


def beside_words(other: Mapping[str, Any]) -> str:
    """The film in the other vessel, in a line that changes once a minute."""
    view = other["view"]
    who = f"{other['vessel']}, {other['what']}"
    if view["stage"] is None:
        in_s = other.get("begins_in_s")
        return f"{who}: waits for its begin" + ("" if in_s is None else f", {begins_coarsely(in_s)}")
    if view.get("end_t_s") is None:
        return f"{who}: {view['name']}"
    minutes = int(max(0.0, view["end_t_s"] - view["t_s"]) // 60)
    return f"{who}: {view['name']}, {minutes} min to its {'minimum' if view['until'] == 'at least' else 'end'}"


def turn_words(film: Mapping[str, Any]) -> str:
    """The next film to come in a vessel, in a line that changes once a minute."""
    who = f"{film['vessel']}, {film['what']}" if film["vessel"] else film["what"]
    return f"{who}: {'to come' if film['begins_in_s'] is None else begins_coarsely(film['begins_in_s'])}"


def refuse_beside(answer: Mapping[str, Any], screen: bool) -> None:
    """Raise `InputWrong` where another film of the evening is or will be bare and this is a screen: the light rule is that of all."""
    if screen and answer.get("beside_open"):
        raise InputWrong("another film of this evening is or will be bare, and a screen gives light; allowed: a pipe, or a page elsewhere")


def _offered(record: Mapping[str, Any], opened: Mapping[str, Any]) -> list[str]:
    """How the command is told which lag to adopt, where this record offers one."""
    if record["kind"] != "learned" or record.get("use") != "offered":
        return []
    if record["probe"] is not None:
        return [f"--probe {shlex.quote(str(record['probe']))}"]
    vessel = opened.get("vessel") or {}
    return [f"--vessel {shlex.quote(str(vessel['vessel']))}"] if "vessel" in vessel else []


class Following:
    """Shows a session until it is over; black while film is bare. `file`: the station's, for the commands that are named."""

    def __init__(self, around: Surroundings, recipe: Recipe, session: str, file: str, *, has_switch: bool) -> None:
        from monitor.live.view.curtain import Curtain

        self._around = around
        self._recipe = recipe
        self._file = shlex.quote(file)
        self._has_switch = has_switch
        self._curtain = Curtain(recipe)
        self._interrupts = Interrupts()
        self._pulse = Pulse(around.now_s(), around.time_of_day())
        self._session = session
        self._seq = 0
        self._later: deque[Mapping[str, Any]] = deque(maxlen=MOST_LATER)
        self._held: list[Mapping[str, Any]] = []
        self._held_since_s = self._filled_s = around.now_s()
        self._readable = True
        self._opening: Mapping[str, Any] = {}
        self._view: TerminalView | PlainView | None = None
        self._waits = True
        self._black = False
        self._catching_up = False
        self._over: str | None = None
        self._beside = ""
        self._shown_s: int | None = None
        self._aged_s = around.now_s()

    def run(self, link: Link, answer: Mapping[str, Any] | None = None) -> int:
        """Follow to the end. In the dark nothing ends it but its own end and a key. `answer`: to `follow`, by one who comes late."""
        try:
            with self._around.keys_one_by_one():
                try:
                    self._to_the_end(link, answer)
                finally:
                    self._interrupts.let_go()
                    if self._view is not None:
                        self._view.close()
        except KeyboardInterrupt:
            self._around.write(f"\nOnly this view has ended. Session {self._session} goes on at the station, with its sounds.\n")
            self._around.write(f"`evenbath status --follow --file {self._file}` shows it again;\n")
            self._around.write(f'`evenbath abandon --file {self._file} --why "..."` ends it.\n')
            return INTERRUPTED
        self._around.write("".join(f"{line}\n" for line in self._last_words()))
        return 0

    def _to_the_end(self, first: Link, answer: Mapping[str, Any] | None) -> None:
        if answer is not None and self._dark and answer.get("bare_now", True):
            self._go_black()  # at once: whoever comes late finds film bare, and words would be light
        link = self._with(first, lambda: self._join(first, answer))
        if answer is not None and self._dark and self._curtain.key():
            self._lift()  # to come after the fixing minimum is what a key would have said
        if self._dark and not self._black:
            self._around.write(f"{folded(LOADING if self._curtain.for_loading else BARE)}\n")
            until_s = self._around.now_s() + TO_READ_S
            while self._around.now_s() < until_s:
                self._around.wait(None, until_s - self._around.now_s())
            self._go_black()
        while not self._finished:
            link = self._with(link, lambda now=link: self._turn(now))

    def _with(self, link: Link | None, do: Any) -> Link | None:
        """One step of a connection; a station that is lost meanwhile is looked for again. In the dark nothing at all is said."""
        try:
            kept: Link | None = do()
            return kept
        except EvenbathError:
            self._pulse.lost()
        except Exception:  # words about a fault of ours would be light: stay black, and try again
            if not self._dark:
                raise
        if link is not None:
            link.close()
        self._look(self._around.wait(None, LOOK_EVERY_S)[1], None)
        return None

    # -- the station ------------------------------------------------------------------------------------------------

    def _turn(self, link: Link | None) -> Link | None:
        """Wait for the station or for a key, half a second at most."""
        if link is None and self._over is None:
            link = self._around.connect()
            return self._with(link, lambda: self._join(link, None))
        if link is not None and link.pending and self._over is None:
            self._take(link.receive())
            return link
        said, keys = self._around.wait(None if self._over is not None else link, LOOK_EVERY_S)
        if link is not None and said:
            self._take(link.receive())
        self._look(keys, link)
        return link

    def _join(self, link: Link, answer: Mapping[str, Any] | None) -> Link | None:
        """Be told of the session from now on, and catch up with what was missed."""
        answer = link.ask({"verb": "follow", "session": self._session}) if answer is None else answer
        self._heard()
        if not answer.get("ok"):
            self._catch_up()
            self._end(f"session {self._session} does not run any more")
            link.close()
            return None
        self._opening = answer
        self._catch_up()
        self._take({"event": "view", "view": answer["view"]})
        return link

    def _catch_up(self) -> None:
        """What the journal has and this view has not; a journal that may not be read is no loss but of the past."""
        self._catching_up = True
        try:
            for record in self._around.records_after(self._session, self._seq):
                self._take_record(record)
        except OSError:
            self._readable = False
        finally:
            self._catching_up = False

    def _fill(self, wait: bool = True) -> None:
        """Records are held because one before them has not come: look for it in the journal, but not for long."""
        now_s = self._around.now_s()
        waited = not wait or not self._readable or now_s - self._held_since_s > GAP_S
        if not waited and now_s - self._filled_s < LOOK_EVERY_S:
            return
        self._filled_s = now_s
        if not waited:
            self._catch_up()
        held, self._held = self._held, []
        for record in held:
            if waited or record["seq"] <= self._seq + 1:
                self._take_record(record)
            else:
                self._held.append(record)

    def _heard(self) -> None:
        self._pulse.heard(self._around.now_s(), self._around.time_of_day())

    def _take(self, event: Mapping[str, Any]) -> None:
        """Something that the station has sent."""
        self._heard()
        record = event.get("record")
        if record is not None and record["seq"] > self._seq + 1:
            if not self._held:
                self._held_since_s = self._around.now_s()
            self._held.append(record)
        elif record is not None:
            self._take_record(record)
        elif event.get("event") == "closed":
            self._fill(wait=False)
            self._end(f"session {event['session']} is over")
        else:
            self._happened(event)
        if self._held:
            self._fill()

    def _take_record(self, record: Mapping[str, Any]) -> None:
        """The next one; whether it came by the socket or stood in the journal, each counts once."""
        if record["seq"] <= self._seq:
            return
        self._seq = record["seq"]
        if not self._catching_up:
            self._later.append(record)
        self._happened({"event": "record", "record": record})

    def _happened(self, event: Mapping[str, Any]) -> None:
        was_dark = self._dark
        self._curtain.take(event)
        if was_dark and not self._dark:
            self._lift()
        record = event.get("record", {})
        if "view" in event:
            self._waits = event["view"]["stage"] is None
        self._note(record)
        if not self._dark:
            self._tell(event, record)

    def _note(self, record: Mapping[str, Any]) -> None:
        if record.get("kind") == "stage" and record.get("event") == "begin":
            self._waits = False
        if record.get("kind") == "session" and record.get("event") == "close":
            self._end(f"session {record['session']} is over: {record['why']}")

    def _end(self, why: str) -> None:
        if self._over is None:
            self._over = why
            self._curtain.take({"event": "closed"})

    # -- the screen -------------------------------------------------------------------------------------------------

    @property
    def _dark(self) -> bool:
        """A pipe is no light; a screen is."""
        return self._curtain.down and self._around.screen

    @property
    def _finished(self) -> bool:
        return self._over is not None and not self._dark

    def _go_black(self) -> None:
        """From here on Ctrl-C ends nothing, as long as there is a key that can."""
        if self._around.keyboard:
            self._interrupts.hold()
        self._black = True
        self._around.write(BLACK)

    def _lift(self) -> None:
        """The curtain has risen: the view, with all that was kept. From here on Ctrl-C ends it as ever."""
        self._interrupts.let_go()
        if self._black:
            self._black = False
            self._around.write(LIGHT_AGAIN)
        view = self._show()
        for record in self._curtain.kept:
            view.record(record)
        if not self._catching_up:
            view.gone(self._gone)
            view.show()

    def _show(self) -> TerminalView | PlainView:
        """The view, made when it may be seen for the first time."""
        from monitor.live.view.screen import follow_view

        if self._view is None:
            keys = "" if self._has_switch or not self._around.keyboard else "space is a tap, ? asks for the minutes left"
            self._view = follow_view(self._recipe, self._opening, keys)
        return self._view

    def _tell(self, event: Mapping[str, Any], record: Mapping[str, Any]) -> None:
        view = self._show()
        if record:
            view.record(record)
        if self._catching_up:
            return
        if record.get("kind") == "clash":
            view.notice(clash_words(record, record["at_s"] - record["t_s"]))
        view.gone(None)
        if event.get("event") == "view":
            view.seen(event["view"])
            others = [beside_words(other) for other in event.get("beside", ())]
            beside = "; ".join([*others, *(turn_words(film) for film in event.get("to_come", ()))])
            if beside != self._beside:
                self._beside = beside
                view.notice(beside)
        for line in event.get("lines", ()):  # the station's answer to a key
            view.notice(str(line))
        if event.get("event") != "record" or record["kind"] in ("stage", "cue", "session"):
            view.show()

    @property
    def _gone(self) -> Any:
        return None if self._over is not None else self._pulse.gone(self._around.now_s())

    def _look(self, keys: bytes, link: Link | None) -> None:
        """Keys, and whether the station still speaks: its silence is shown each second."""
        if keys:
            self._key(keys, link)
        gone = self._gone
        if self._dark or gone is None:
            self._shown_s = None
            self._age()
        elif int(gone.for_s) != self._shown_s:
            self._shown_s = int(gone.for_s)
            self._show().gone(gone)
            self._show().show()

    def _age(self) -> None:
        """How old the station's last word is, while all is well."""
        now_s = self._around.now_s()
        if not self._dark and self._view is not None and now_s - self._aged_s >= LOOK_EVERY_S:
            self._aged_s = now_s
            self._view.word(self._pulse.age_s(now_s))
            self._view.show()

    def _key(self, keys: bytes, link: Link | None) -> None:
        if self._dark:
            if self._curtain.key():
                self._lift()
            return
        if b"\x03" in keys:
            raise KeyboardInterrupt
        if self._has_switch or link is None:
            return
        if b"?" in keys:
            link.send({"verb": "press", "kind": "question"})
        elif keys.strip(b"\x00") in (b" ", b"\r", b"\n"):
            link.send({"verb": "press", "kind": "hold" if self._waits else "tap"})

    # -- the end ----------------------------------------------------------------------------------------------------

    def _last_words(self) -> Iterator[str]:
        """What became of it, as the journal tells it, where that stands, and what to do next."""
        if self._over is not None:
            yield self._over
        summary, seq = Summary(), 0
        offered: list[str] = []
        opened: Mapping[str, Any] = {}
        source = None
        try:
            for record in self._around.records_after(self._session, 0):
                summary.add(record)
                seq = record["seq"]
                if seq == 1:
                    opened = record
                source = record["source"] if record["kind"] == "progress" else source
                offered += _offered(record, opened)
        except OSError:
            seq = 0
        if seq:
            for late in self._later:
                if late["seq"] > seq:
                    summary.add(late)
                    offered += _offered(late, opened)
            yield from map(in_unit_shown, summary.lines())
        journal = self._around.journal(self._session)
        yield f"Journal: {journal}"
        new = [p["probe"] for p in opened.get("probes", ()) if p.get("witness_sd_c")] if source == "witness" else []
        for witness in new:
            yield f"Did you measure the developer that you poured off? It shows whether the witness {witness} speaks for it:"
            poured = f'--poured-off "{example(MEASURED)}"'
            yield f"      evenbath lag {shlex.quote(str(journal))} --file {self._file} --probe {witness} {poured} --save"
        yield from (f"To adopt that lag: evenbath lag --file {self._file} {which} --adopt" for which in offered)
        yield f"Next: evenbath review {self._session} --file {self._file}"
        yield f"      evenbath judge {self._session} --file {self._file}, when the film is dry"
