"""A session followed on a terminal, to its end: the view, but not before a reel is loaded; with bare film the terminal goes black
and stays so. Keys stand for the foot switch where a station has none, in the light. Tests: tests/cli/test_develop.py.
"""

from __future__ import annotations

import os
import select
import sys
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from monitor.cli.terminal.keyboard import Interrupts, raw_keyboard
from monitor.core.errors import EvenbathError

if TYPE_CHECKING:
    from monitor.core.recipe.values import Recipe
    from monitor.live.station.control import StationLink
    from monitor.live.station.station_file import StationConfig
    from monitor.live.view.screen import PlainView, TerminalView

BLACK = "\x1b[0;40;30m\x1b[2J\x1b[3J\x1b[H\x1b[?25l"
LIGHT_AGAIN = "\x1b[0m\x1b[2J\x1b[H\x1b[?25h"


def _pause(seconds: float) -> None:
    select.select([], [], [], seconds)


class Following:
    """Shows a session until it is over; black while film is bare."""

    def __init__(self, config: StationConfig, recipe: Recipe, has_switch: bool, red: bool = False) -> None:
        from monitor.live.view.curtain import Curtain

        self._config = config
        self._recipe = recipe
        self._has_switch = has_switch
        self._red = red
        self._curtain = Curtain(recipe)
        self._terminal = sys.stdin.isatty() and sys.stdout.isatty()
        self._over = False
        self._awaits_first = True
        self._opening: Mapping[str, Any] = {}
        self._view: TerminalView | PlainView | None = None
        self._last_words = ""
        self._interrupts = Interrupts()

    def run(self, link: StationLink) -> int:
        """Follow to the end. In the dark nothing ends it but its own end and a key."""
        with raw_keyboard(self._terminal):
            try:
                if self._dark:
                    self._interrupts.hold()
                self._go_dark()
                self._to_the_end(link)
            finally:
                self._interrupts.let_go()
                if self._view is not None:
                    self._view.close()
        sys.stdout.write(self._last_words)
        return 0

    def _to_the_end(self, link: StationLink | None) -> None:
        while not self._finished:
            try:
                link = self._follow(link)
            except Exception:  # words about a fault of ours would be light: stay black, and try again
                if not self._dark:
                    raise
                link = None
                self._wait_key(None)

    @property
    def _dark(self) -> bool:
        """A pipe is no light; a terminal is."""
        return self._curtain.down and self._terminal

    @property
    def _finished(self) -> bool:
        return self._over and not self._dark

    def _go_dark(self) -> None:
        if not self._curtain.down:
            return
        if self._curtain.for_loading:
            sys.stdout.write(
                "The film is bare while it is loaded: this screen goes dark now. The view comes by itself when the next stage\n"
            )
            sys.stdout.write("begins. ")
        else:
            sys.stdout.write("The film will be bare: this screen goes dark now. It stays dark until the fixing minimum\n")
            sys.stdout.write("is over and you press a key. ")
        sys.stdout.write("Switch it off or cover it all the same: black is not dark.\n")
        sys.stdout.flush()
        if self._terminal:
            _pause(4.0)
            sys.stdout.write(BLACK)
            sys.stdout.flush()

    def _lift(self) -> None:
        """The curtain has risen: the view, with all that was kept. From here on Ctrl-C ends it as ever."""
        self._interrupts.let_go()
        sys.stdout.write(LIGHT_AGAIN)
        sys.stdout.flush()
        view = self._show()
        for record in self._curtain.kept:
            view.record(record)
        view.show()

    def _show(self) -> TerminalView | PlainView:
        """The view, made when it may be seen for the first time."""
        from monitor.live.view.screen import follow_view

        if self._view is None:
            keys = "" if self._has_switch or not self._terminal else "space is a tap, ? asks for the minutes left"
            self._view = follow_view(self._recipe, self._opening, keys, self._red)
        return self._view

    def _follow(self, link: StationLink | None) -> StationLink | None:
        """One connection, until it is lost or the session over. In the dark a lost station is looked for in silence."""
        from monitor.live.station.control import StationLink

        try:
            if link is None:
                link = StationLink(self._config.state)
            answer = link.ask({"verb": "follow"})
            if not answer.get("ok"):
                self._end("nothing is running any more")
                self._wait_key(None)
                return None
            self._opening = answer
            self._take({"event": "view", "view": answer["view"]})
            while not self._finished:
                self._wait_key(link)
        except EvenbathError:
            if link is not None:
                link.close()
            if not self._dark:
                self._show().notice("the station does not answer; it takes the session up when it is back")
                self._show().show()
            self._wait_key(None)
            return None
        return link

    def _end(self, why: str) -> None:
        self._over = True
        self._curtain.take({"event": "closed"})
        self._last_words = f"{why}\n"

    def _wait_key(self, link: StationLink | None) -> None:
        """Wait for the station or for a key, at most a second."""
        if link is not None and link.pending:
            self._take(link.receive())
            return
        ends: list[Any] = [] if link is None or self._over else [link]
        if self._terminal:
            ends.append(sys.stdin)
        ready, _, _ = select.select(ends, [], [], 1.0)
        if sys.stdin in ready:
            self._key(os.read(sys.stdin.fileno(), 64), link)
        if link is not None and link in ready:
            self._take(link.receive())

    def _take(self, event: Mapping[str, Any]) -> None:
        was_dark = self._dark
        self._curtain.take(event)
        if was_dark and not self._dark:
            self._lift()
        record = event.get("record", {})
        if record.get("kind") == "stage" and record.get("event") == "begin":
            self._awaits_first = False
        if record.get("kind") == "session" and record.get("event") == "close":
            self._end(f"session {record['session']} is over: {record['why']}")
        elif event.get("event") == "closed" and not self._over:
            self._end(f"session {event['session']} is over")
        if self._dark:
            return
        view = self._show()
        if record:
            view.record(record)
        if event.get("event") == "view":
            view.seen(event["view"])
        if event.get("event") != "record" or record["kind"] in ("stage", "cue", "session"):
            view.show()

    def _key(self, keys: bytes, link: StationLink | None) -> None:
        if self._dark:
            if self._curtain.key():
                self._lift()
            return
        if b"\x03" in keys:
            raise KeyboardInterrupt
        if self._has_switch or link is None:
            return
        if b"?" in keys:
            link.send({"verb": "press", "kind": "hold"})
        elif keys.strip(b"\x00") in (b" ", b"\r", b"\n"):
            link.send({"verb": "press", "kind": "hold" if self._awaits_first else "tap"})
