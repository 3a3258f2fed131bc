"""`evenbath develop RECIPE --file STATION`: hands a recipe to the running station, goes through the pre-flight, follows.

In the terminal of a lidded session the view is shown, but not before a reel is loaded; with bare film the terminal goes black
and stays so. Keys stand for
the foot switch where a station has none, in the light. Tests: tests/cli/test_develop.py.
"""

from __future__ import annotations

import argparse
import os
import select
import signal
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from monitor.core.errors import EvenbathError, InputWrong, NotThere

if TYPE_CHECKING:
    from monitor.core.recipe.values import Recipe
    from monitor.live.station.control import StationLink
    from monitor.live.station.station_file import StationConfig
    from monitor.live.view.screen import PlainView, TerminalView

LIFT_TRIES = 60
INTERRUPTED = 130
"""The exit status of a command that Ctrl-C has ended."""
BLACK = "\x1b[0;40;30m\x1b[2J\x1b[3J\x1b[H\x1b[?25l"
LIGHT_AGAIN = "\x1b[0m\x1b[2J\x1b[H\x1b[?25h"


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the options of the contract, section 8."""
    parser.add_argument("recipe", metavar="RECIPE.toml")
    parser.add_argument("--file", metavar="STATION.toml", required=True, help="the station's file")
    parser.add_argument("--detach", action="store_true", help="print the session's name once it is armed, and return")
    parser.add_argument("--waive", metavar='"why"', help="ask no person; the reason is written into the journal")
    parser.add_argument("--lamp", action="store_true", help="permit the lamp, for this session alone")
    parser.add_argument("--pour-c", metavar='"20.3 C"', help="the developer's temperature, measured at pour-in")
    parser.add_argument("--override-gate", metavar='"why"', help="begin although the gate is closed; the reason is written down")
    parser.add_argument("--red", action="store_true", help="the view of a lidded session in red on black")
    parser.add_argument("--vessel", metavar="NAME", help="whose learned lag counts (default: the one called as the recipe's vessel)")


def run(args: argparse.Namespace) -> int:
    """Start a session. Raises `InputWrong` where it is refused and `NotThere` where no station answers."""
    from monitor.cli.station import open_station
    from monitor.live.station.control import StationLink

    request, recipe = _request(args)
    config = open_station(args.file)
    request["solutions"] = _solutions(config.state, recipe)
    with StationLink(config.state) as link:
        answer = told(link.ask(request))
        for remark in answer.get("remarks", []):
            sys.stderr.write(f"note: {remark}\n")
        if "questions" in answer:
            _ask_person(link, answer)
            answer = told(link.ask({"verb": "arm"}))
        sys.stdout.write(f"armed: {answer['armed']}\n")
        sys.stdout.flush()
        if args.detach:
            return 0
        try:
            return Following(config, recipe, bool(answer["has_switch"]), args.red).run(link)
        except KeyboardInterrupt:
            sys.stdout.write(f"\nOnly this view has ended. Session {answer['armed']} goes on at the station, with its sounds.\n")
            sys.stdout.write(f"`evenbath status --file {args.file}` tells how it stands;\n")
            sys.stdout.write(f'`evenbath abandon --file {args.file} --why "..."` ends it.\n')
            return INTERRUPTED


def _request(args: argparse.Namespace) -> tuple[dict[str, Any], Recipe]:
    from monitor.cli.arguments.recipe_file import read_file
    from monitor.core.recipe.reader import load_recipe
    from monitor.core.text.quantities import read_temperature
    from monitor.live.station.requests import refuse_lamp

    text = read_file(args.recipe, "recipe")
    recipe = load_recipe(text, args.recipe)
    for option, words in (("--waive", args.waive), ("--override-gate", args.override_gate), ("--vessel", args.vessel)):
        if words is not None and not words.strip():
            raise InputWrong(f"{option} without words; allowed: a few words that will be written into the journal")
    if args.lamp:
        refuse_lamp(recipe)
    if args.waive is None and args.detach:
        raise InputWrong('--detach asks no person; allowed: --detach with --waive "why"')
    if args.waive is None and not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise InputWrong('a person must answer the pre-flight, and here is no terminal; allowed: a terminal, or --waive "why"')
    pour_c = None if args.pour_c is None else read_temperature(args.pour_c)
    request = {
        "verb": "develop", "recipe": text.decode("utf-8-sig"), "file": args.recipe, "waive": args.waive, "lamp": args.lamp,
        "pour_c": pour_c, "override_gate": args.override_gate, "vessel": args.vessel,
    }  # fmt: skip
    return request, recipe


def _solutions(state: Path, recipe: Recipe) -> list[dict[str, Any]]:
    """What the ledger knows of the recipe's solutions; a ledger that cannot be read is said and stops nothing."""
    from monitor.live.clock import RealClock
    from monitor.prepare.bottles.booking import solutions_told

    names = [stage.solution for stage in recipe.stages if stage.solution is not None]
    try:
        return solutions_told(state, names, recipe.area_units, RealClock().wall().astimezone().date()) if names else []
    except (EvenbathError, OSError) as wrong:
        sys.stderr.write(f"note: the ledger of bottles cannot be read, the record will not tell the solutions: {wrong}\n")
        return []


def told(answer: Mapping[str, Any]) -> Mapping[str, Any]:
    """An answer of the station, or its refusal as the error that it is."""
    if answer.get("ok"):
        return answer
    lines = [str(line) for line in answer.get("lines", ["the station refused"])]
    if answer.get("status") == 3:
        raise NotThere(*lines)
    raise InputWrong(*lines)


# -- the questions ----------------------------------------------------------------------------------------------------


def _ask_person(link: StationLink, answer: Mapping[str, Any]) -> None:
    questions = answer["questions"]
    sys.stdout.write(f"\nBefore the film: {len(questions)} questions. y is yes, n is no; Ctrl-C ends it, nothing is armed.\n")
    for number, question in enumerate(questions, 1):
        sys.stdout.write(f"\n{number}/{len(questions)}  {question['text']}\n")
        if question["kind"] == "yes":
            told(link.ask({"verb": "answer", "id": question["id"], "yes": _yes()}))
        elif question["kind"] == "press":
            _wait_for(link, question, "well", "press it now")
        elif question["kind"] == "lift":
            _wait_for(link, question, "moved", "its reading should move within half a minute")
        else:
            _count(link, question, bool(answer["has_switch"]))


def _yes() -> bool:
    while True:
        word = _line("     y or n: ").lower()
        if word in ("y", "yes"):
            return True
        if word in ("n", "no"):
            return False


def _line(prompt: str) -> str:
    sys.stdout.write(prompt)
    sys.stdout.flush()
    line = sys.stdin.readline()
    if not line:
        raise InputWrong("the pre-flight was left without an answer; nothing is armed")
    return line.strip()


def _pause(seconds: float) -> None:
    select.select([], [], [], seconds)


def _wait_for(link: StationLink, question: Mapping[str, Any], key: str, hint: str) -> None:
    number = question["id"]
    while True:
        told(link.ask({"verb": "answer", "id": number, "phase": "begin"}))
        sys.stdout.write(f"     {hint} ...\n")
        for _ in range(LIFT_TRIES):
            _pause(0.5)
            seen = told(link.ask({"verb": "answer", "id": number, "phase": "look"}))
            if seen.get(key):
                sys.stdout.write("     seen\n")
                return
        if not _again():
            raise InputWrong(f"pre-flight: {question['text']} Nothing was seen; nothing is armed")


def _again() -> bool:
    sys.stdout.write("     nothing seen. Once more?\n")
    return _yes()


def _count(link: StationLink, question: Mapping[str, Any], has_switch: bool) -> None:
    while True:
        _line("     enter, then count: ")
        begun = told(link.ask({"verb": "answer", "id": question["id"], "phase": "begin"}))
        look: dict[str, Any] = {"verb": "answer", "id": question["id"], "phase": "look"}
        if has_switch:
            sys.stdout.write("     tap the same number with the foot\n")
            sys.stdout.flush()
            _pause(float(begun["sounds_for_s"]) + 4.0)
        else:
            _pause(float(begun["sounds_for_s"]) + 0.5)
            word = _line("     how many: ")
            look["count"] = int(word) if word.isdigit() else 0
        seen = told(link.ask(look))
        sys.stdout.write("     right\n" if seen["right"] else "     wrong: nearer to the head? The three begin again\n")
        if seen["well"]:
            return


# -- following --------------------------------------------------------------------------------------------------------


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
        self._interrupts = _Interrupts()

    def run(self, link: StationLink) -> int:
        """Follow to the end. In the dark nothing ends it but its own end and a key."""
        with _raw_keyboard(self._terminal):
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


@contextmanager
def _raw_keyboard(terminal: bool) -> Iterator[None]:
    """Keys one by one and unseen, while a session is followed."""
    if not terminal:
        yield
        return
    import termios
    import tty

    before = termios.tcgetattr(sys.stdin.fileno())
    tty.setcbreak(sys.stdin.fileno())
    try:
        yield
    finally:
        termios.tcsetattr(sys.stdin.fileno(), termios.TCSADRAIN, before)


class _Interrupts:
    """In the dark the keyboard cannot end the program: its last words, and the prompt, would be light."""

    def __init__(self) -> None:
        self._held: dict[signal.Signals, Any] = {}

    def hold(self) -> None:
        """Deaf from here on."""
        self._held = {number: signal.signal(number, signal.SIG_IGN) for number in (signal.SIGINT, signal.SIGTSTP, signal.SIGQUIT)}

    def let_go(self) -> None:
        """As before."""
        while self._held:
            signal.signal(*self._held.popitem())
