"""The lists beside the page: sessions with their reports, recipes with plan, wall card and checklist, the ledger of bottles, notes.

On a phone that is paired the forms stand in them. Nothing from a request becomes a path: a name is looked up in a listing that was just
made. Tests: tests/page/test_lists.py.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from html import escape
from pathlib import Path
from urllib.parse import quote

from monitor.core.errors import InputWrong
from monitor.core.recipe.reader import load_recipe
from monitor.core.recipe.values import Recipe
from monitor.core.text.controls import for_terminal, one_line
from monitor.core.text.typeset import typeset
from monitor.live.station.ended import Ended, newest_armed, read_session, session_names
from monitor.page import forms, sentences
from monitor.page.made import Made, Maker
from monitor.page.names import names_only
from monitor.prepare.bottles.ledger import ledger_file, read_ledger
from monitor.prepare.logbook.chosen import chosen
from monitor.prepare.logbook.notes import read_notes
from monitor.prepare.logbook.ticks import ticked

MOST_SESSIONS = 60
MOST_RECIPES = 100
LONGEST_RECIPE = 1 << 20
COLUMNS = 38
"""Of a plan: with the signs of degrees that come in, they fit 358 px at 14 px, and 296 px at 11.5 px."""
_ANSWER = re.compile(r"^  (Time|Hands|Next time)  +(\S.*)$", re.MULTILINE)
_RESULT = re.compile(r"^\S+: .*: (\d+\.\d) % (?:\+/- |±)(\d+\.\d)")
_COMMAND = re.compile(r"`([^`\n]+)`")
_RECIPE = re.compile(r"[\w .,+()-]{1,120}\.toml")


@dataclass(frozen=True, slots=True)
class Leaf:
    """A page: its status, and its body's HTML; `whole`: a document of its own, which was made elsewhere."""

    status: int
    title: str
    body: str
    whole: bool = False
    later: bool = False


@dataclass(frozen=True, slots=True)
class Reader:
    """Who looks at a list. `paired`: his phone may write; `free`: so it may now; `awake`: so a note may be written now."""

    paired: bool = False
    free: bool = False
    awake: bool = False

    @property
    def writes(self) -> bool:
        """Anything, now."""
        return self.paired and self.free

    @property
    def notes(self) -> bool:
        """A note, now."""
        return self.paired and self.awake


READER = Reader()
"""Of a phone that is not paired."""


class Lists:
    """`station`: the station file, beside which the recipes stand; `state`: its state folder; `wall`: the wall clock, for ticks."""

    def __init__(self, station: Path, state: Path, maker: Maker, wall: Callable[[], datetime]) -> None:
        self._wall = wall
        self._station = station
        self._state = state
        self._journals = state / "journals"
        self._maker = maker

    def names_only(self, text: str) -> str:
        """For a phone: files by their names, without the folders of this machine."""
        return names_only(text, self._state, self._station.parent)

    def _unread(self, title: str, wrong: InputWrong) -> Leaf:
        why = one_line(self.names_only(wrong.lines[0]))
        return Leaf(503, title, f"<p>{escape(sentences.NOT_READ.format(why=why))}</p>")

    def journals(self) -> Leaf:
        """The newest sessions, each with its report where it is over."""
        rows = "".join(map(_row, self._sessions()))
        return Leaf(200, sentences.JOURNALS_HEAD, f"<ul>{rows}</ul>" if rows else f"<p>{escape(sentences.NO_JOURNALS)}</p>")

    def _sessions(self) -> list[Ended]:
        found = []
        try:
            for session in session_names(self._journals)[:MOST_SESSIONS]:
                try:
                    ended = read_session(self._journals, session)
                except OSError:
                    continue
                if ended is not None:
                    found.append(ended)
        except OSError:
            return []
        return found

    def _closed(self, session: str) -> Ended | None:
        """A closed session of the listing; None where there is no such one."""
        try:
            if session not in session_names(self._journals):
                return None
            ended = read_session(self._journals, session)
        except OSError:
            return None
        return None if ended is None or ended.close is None else ended

    def answers(self, session: str) -> dict[str, str] | None:
        """What `review` answers for a closed session in a row each, by the row's name; empty where it cannot be made now, None where there
        is no such session."""
        ended = self._closed(session)
        if ended is None:
            return None
        made = self._maker.make(("answers", session, ended.changed), ("review", str(self._journals / f"{session}.jsonl")))
        text = for_terminal(made.text) if made.well else ""
        rows = _ANSWER.findall(text)
        result = _RESULT.match(text)
        if result is not None:
            rows += [("percent", f"{result[1]} %"), ("doubt", f"+/- {result[2]}")]
        return {name: typeset(one_line(words)) for name, words in rows}

    def report(self, session: str) -> Leaf | None:
        """The report of a closed session; None where there is no such one."""
        ended = self._closed(session)
        if ended is None:
            return None
        words = ("review", str(self._journals / f"{session}.jsonl"))
        return self._leaf(self._maker.make(("report", session, ended.changed), words, "--report"), session, whole=True)

    def recipes(self, reader: Reader) -> Leaf:
        """Every recipe and evening beside the station file; an evening has no checklist of its own."""
        try:
            picked = chosen(self._state)
        except InputWrong:
            picked = None
        rows = "".join(self._recipe_row(name, evening, name == picked, reader) for name, (_, evening) in self.recipe_files().items())
        told = f"<ul>{rows}</ul>" if rows else f"<p>{escape(sentences.NO_RECIPES)}</p>"
        return Leaf(200, sentences.RECIPES_HEAD, told if reader.writes else forms.not_here(reader.paired) + told)

    @staticmethod
    def _recipe_row(name: str, evening: bool, picked: bool, reader: Reader) -> str:
        at, told = f"/recipes/{quote(name)}", escape(name.removesuffix(".toml"))
        links = (("card", sentences.CARD),) if evening else (("card", sentences.CARD), ("checklist", sentences.CHECKLIST))
        more = "".join(f' <a href="{at}/{word}">{escape(words)}</a>' for word, words in links)
        mark = f"<small>{escape(sentences.CHOSEN.format(name=name.removesuffix('.toml')))}</small>" if picked and not reader.writes else ""
        return f'<li><a href="{at}">{told}</a>{more}{mark}{forms.choose_form(name, picked) if reader.writes else ""}</li>'

    def recipe_files(self) -> dict[str, tuple[Path, bool]]:
        """By file name: what looks like a recipe or an evening, and whether it is an evening."""
        found: dict[str, tuple[Path, bool]] = {}
        try:
            for path in sorted(self._station.parent.iterdir())[: 10 * MOST_RECIPES]:
                if _RECIPE.fullmatch(path.name) and path.is_file() and not path.is_symlink() and path.stat().st_size <= LONGEST_RECIPE:
                    with path.open("rb") as file:
                        text = file.read()
                    if b"[[stage]]" in text or b"[[film]]" in text:
                        found[path.name] = (path, b"[[stage]]" not in text)
        except OSError:
            return found
        return dict(list(found.items())[:MOST_RECIPES])

    def recipe(self, name: str, card: bool) -> Leaf | None:
        """The plan of a recipe or an evening in words, or its wall card."""
        path, _ = self.recipe_files().get(name, (None, False))
        if path is None:
            return None
        stat = path.stat()
        key = ("card" if card else "plan", name, stat.st_size, stat.st_mtime_ns)
        made = self._maker.make(key, ("plan", str(path), "--state", str(self._state)), "--card" if card else None, COLUMNS)
        return self._leaf(made, name.removesuffix(".toml"), whole=card)

    def recipe_in(self, name: str) -> Recipe | None:
        """The recipe in a file of the listing; None where there is no such one, or where it is an evening. Raises `FileWrong`."""
        path, evening = self.recipe_files().get(name, (None, False))
        return None if path is None or evening else load_recipe(path.read_bytes(), name)

    def newest_armed(self) -> datetime | None:
        """When the newest session was armed; None where none was, or where its journal does not say."""
        return newest_armed(self._journals)

    def checklist(self, name: str, reader: Reader) -> Leaf | None:
        """The checklist of a recipe, with what is ticked."""
        try:
            recipe = self.recipe_in(name)
            if recipe is None:
                return None
            marks = ticked(self._state, name, self._wall(), self.newest_armed())
        except InputWrong as wrong:
            return self._unread(name, wrong)
        told = forms.checklist(recipe, name, marks, reader.writes)
        return Leaf(200, name.removesuffix(".toml"), told if reader.writes else forms.not_here(reader.paired) + told)

    def notes(self, reader: Reader) -> Leaf:
        """The newest notes, and a form."""
        try:
            told = read_notes(self._state)
        except InputWrong as wrong:
            return self._unread(sentences.NOTES_HEAD, wrong)
        newest = [ended.session for ended in self._sessions()[:8]] if reader.notes else []
        body = forms.notes(told, newest, reader.notes)
        return Leaf(200, sentences.NOTES_HEAD, body if reader.notes else forms.not_here(reader.paired) + body)

    def ledger(self, reader: Reader) -> Leaf:
        """The ledger of bottles, in the words of `bottle list`, and what may be booked."""
        try:
            stat = ledger_file(self._state).stat()
            changed = (stat.st_size, stat.st_mtime_ns)
        except OSError:
            changed = (0, 0)
        booking = self._ledger_forms() if reader.writes else ""  # before the list: what comes in between is not overlooked
        day = self._wall().astimezone().date()
        made = self._maker.make(("ledger", changed, day), ("bottle", "list", "--state", str(self._state)))
        leaf = self._leaf(made, sentences.LEDGER_HEAD)
        if leaf.status != 200 or not reader.writes:
            return replace(leaf, body=leaf.body if leaf.status != 200 else forms.not_here(reader.paired) + leaf.body)
        return replace(leaf, body=leaf.body + booking)

    def _ledger_forms(self) -> str:
        try:
            ledger = read_ledger(self._state)
        except InputWrong as wrong:
            return self._unread(sentences.LEDGER_HEAD, wrong).body
        booked = {session for bottle in ledger.bottles.values() for session in bottle.sessions}
        closed = [ended.session for ended in self._sessions()[:12] if ended.close is not None and ended.session not in booked]
        return forms.ledger_forms(ledger, closed)

    def _leaf(self, made: Made, title: str, whole: bool = False) -> Leaf:
        if made.well and whole:
            return Leaf(200, title, made.text, whole=True)
        text = self.names_only(made.text)
        if made.well:
            return Leaf(200, title, f"<pre>{_with_commands(typeset(for_terminal(text)))}</pre>")
        return Leaf(503 if made.later else 500, title, f"<p>{_with_commands(one_line(text))}</p>", later=made.later)


def _with_commands(text: str) -> str:
    """As HTML; what stands between backticks on a terminal is set as code."""
    return _COMMAND.sub(r"<code>\1</code>", escape(text))


def _row(ended: Ended) -> str:
    recipe = ended.opening.get("recipe")
    name = one_line(str(recipe.get("name"))) if isinstance(recipe, dict) else ""
    evening = ended.opening.get("evening")
    if isinstance(evening, dict):  # two that were armed in one second differ by a character of their ids
        name = ", ".join(one_line(str(word)) for word in (evening.get("vessel"), evening.get("what"), name) if word)
    told = f"{escape(ended.session)} {escape(name)}"
    when = _day(str(ended.opening.get("wall", "")))
    if ended.close is None:
        return f"<li>{told}<small>{escape(when)} · {escape(sentences.RUNS)}</small></li>"
    why = one_line(str(ended.close.get("why", "")))
    return f'<li><a href="/reports/{escape(ended.session)}">{told}</a><small>{escape(when)} · {escape(why)}</small></li>'


def _day(wall: str) -> str:
    try:
        return datetime.fromisoformat(wall).astimezone().strftime("%Y-%m-%d %H:%M")
    except ValueError:
        return ""


Page = Callable[[], Leaf | None]


def page_at(lists: Lists, parts: Sequence[str], reader: Reader = READER) -> Page | None:
    """Which list stands at a path, given in its parts; None for any other."""
    if parts == ["journals"]:
        return lists.journals
    if len(parts) == 1 and parts[0] in ("recipes", "ledger", "notes"):
        made = {"recipes": lists.recipes, "ledger": lists.ledger, "notes": lists.notes}[parts[0]]
        return lambda: made(reader)
    if len(parts) == 3 and parts[0] == "recipes" and parts[2] == "checklist":
        return lambda: lists.checklist(parts[1], reader)
    if len(parts) == 2 and parts[0] == "reports":
        return lambda: lists.report(parts[1])
    if len(parts) == 2 and parts[0] == "recipes":
        return lambda: lists.recipe(parts[1], card=False)
    if len(parts) == 3 and parts[0] == "recipes" and parts[2] == "card":
        return lambda: lists.recipe(parts[1], card=True)
    return None
