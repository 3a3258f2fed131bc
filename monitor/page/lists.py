"""The lists beside the page, read only: sessions with their reports, recipes with plan and wall card, the ledger of bottles.

Nothing from a request becomes a path: a name is looked up in a listing that was just made. Tests: tests/page/test_lists.py.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from html import escape
from pathlib import Path
from urllib.parse import quote

from monitor.core.text.controls import for_terminal, one_line
from monitor.core.text.typeset import typeset
from monitor.live.station.ended import Ended, read_session, session_names
from monitor.page import sentences
from monitor.page.made import Made, Maker

MOST_SESSIONS = 60
MOST_RECIPES = 100
LONGEST_RECIPE = 1 << 20
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


class Lists:
    """`station`: the station file, beside which the recipes stand; `state`: its state folder."""

    def __init__(self, station: Path, state: Path, maker: Maker) -> None:
        self._station = station
        self._state = state
        self._journals = state / "journals"
        self._maker = maker

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
        return _leaf(self._maker.make(("report", session, ended.changed), words, "--report"), session, whole=True)

    def recipes(self) -> Leaf:
        """Every recipe and evening beside the station file; an evening has no wall card of its own."""
        rows = "".join(
            f'<li><a href="/recipes/{quote(name)}">{escape(name.removesuffix(".toml"))}</a> '
            + ("" if evening else f'<a href="/recipes/{quote(name)}/card">{escape(sentences.CARD)}</a>')
            + "</li>"
            for name, (_, evening) in self._recipes().items()
        )
        return Leaf(200, sentences.RECIPES_HEAD, f"<ul>{rows}</ul>" if rows else f"<p>{escape(sentences.NO_RECIPES)}</p>")

    def _recipes(self) -> dict[str, tuple[Path, bool]]:
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
        """The plan of a recipe in words, or its wall card."""
        path, evening = self._recipes().get(name, (None, False))
        if path is None or (card and evening):
            return None
        stat = path.stat()
        key = ("card" if card else "plan", name, stat.st_size, stat.st_mtime_ns)
        made = self._maker.make(key, ("plan", str(path), "--state", str(self._state)), "--card" if card else None)
        return _leaf(made, name.removesuffix(".toml"), whole=card)

    def ledger(self) -> Leaf:
        """The ledger of bottles, in the words of `bottle list`."""
        try:
            changed = tuple((p.name, p.stat().st_mtime_ns) for p in sorted(self._state.glob("*bottle*")))
        except OSError:
            changed = ()
        return _leaf(self._maker.make(("ledger", changed), ("bottle", "list", "--state", str(self._state))), sentences.LEDGER_HEAD)


def _leaf(made: Made, title: str, whole: bool = False) -> Leaf:
    if made.well and whole:
        return Leaf(200, title, made.text, whole=True)
    if made.well:
        return Leaf(200, title, f"<pre>{_with_commands(typeset(for_terminal(made.text)))}</pre>")
    return Leaf(503 if made.later else 500, title, f"<p>{_with_commands(one_line(made.text))}</p>", later=made.later)


def _with_commands(text: str) -> str:
    """As HTML; what stands between backticks on a terminal is set as code."""
    return _COMMAND.sub(r"<code>\1</code>", escape(text))


def _row(ended: Ended) -> str:
    recipe = ended.opening.get("recipe")
    name = one_line(str(recipe.get("name"))) if isinstance(recipe, dict) else ""
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


def page_at(lists: Lists, parts: Sequence[str]) -> Page | None:
    """Which list stands at a path, given in its parts; None for any other."""
    if len(parts) == 1 and parts[0] in ("journals", "recipes", "ledger"):
        return {"journals": lists.journals, "recipes": lists.recipes, "ledger": lists.ledger}[parts[0]]
    if len(parts) == 2 and parts[0] == "reports":
        return lambda: lists.report(parts[1])
    if len(parts) == 2 and parts[0] == "recipes":
        return lambda: lists.recipe(parts[1], card=False)
    if len(parts) == 3 and parts[0] == "recipes" and parts[2] == "card":
        return lambda: lists.recipe(parts[1], card=True)
    return None
