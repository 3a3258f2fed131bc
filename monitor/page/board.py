"""What the page shows at one moment: a whole snapshot, made of the station's word, its age, and the journals on the disk.

Decides whether anything may be lit. Lit needs the station's own word, not older than `black_s`. Where the station is silent the disk is
asked: a session without a close keeps the page dark, so that nothing shines on film that nobody answers for; with none, the page may say
that no station answers. Time is an argument. Tests: tests/page/test_board.py.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from monitor.core.text.controls import one_line
from monitor.core.text.quantities import format_duration
from monitor.core.text.typeset import typeset
from monitor.live.station.ended import Ended, read_session, session_names
from monitor.live.station.left_bare import left_bare_s
from monitor.live.view.words import begins
from monitor.page import sentences
from monitor.page.film import Figures, Film, figures_of, no_figures, whose
from monitor.page.journals import NEWEST, film_may_be_bare, open_sessions
from monitor.page.slots import Slots, nobody, of_probes, sd_c, unread

SILENT_S = 3.0
"""A word that is older is old."""
DONE_S = 3600.0
"""A session that was closed is shown for so long, unless the next one is armed."""
RATE_S, LEAST_RATE_S = 120.0, 45.0
"""How a bath moves is told from the readings of the last two minutes, once there are enough of them."""
DARK: Mapping[str, Any] = {"light": False}


class Board:
    """Feed it each `word` of the station; `snapshot` is what is shown. `wall`: the wall clock, for what was closed before this began."""

    def __init__(self, journals: Path, black_s: float, wall: Callable[[], datetime]) -> None:
        self._journals = journals
        self._black_s = black_s
        self._wall = wall
        self._word: Mapping[str, Any] | None = None
        self._heard_s = -math.inf
        self._films: dict[str, Film] = {}
        self._over: Film | None = None
        self._over_s = -math.inf
        self._looked_back = False
        self._seen: dict[str, deque[tuple[float, float]]] = {}
        self._numbers = 0

    def word(self, word: Mapping[str, Any], now_s: float) -> None:
        """What the station says now."""
        self._word, self._heard_s = word, now_s
        if not word.get("light"):
            self._films.clear()  # what is over once the light is back is asked of the disk
            self._over, self._looked_back = None, False
            return
        films = {str(film["session"]): film for film in word.get("films", ())}
        for session in [s for s in self._films if s not in films]:
            self._over, self._over_s = self._films.pop(session), now_s
        for session, film in films.items():
            self._films.setdefault(session, Film(self._journals, session, film.get("vessel"), film.get("what"))).read()
            self._films[session].seen(film["view"])
        for probe in word.get("probes", ()):
            if probe["celsius"] is not None and probe["age_s"] is not None:
                self._remember(probe["probe"], now_s - probe["age_s"], probe["celsius"])

    def _remember(self, probe: str, at_s: float, celsius: float) -> None:
        kept = self._seen.setdefault(probe, deque())
        if not kept or at_s > kept[-1][0] + 0.3:
            kept.append((at_s, celsius))
        while kept and kept[0][0] < at_s - RATE_S:
            kept.popleft()

    @property
    def session_runs(self) -> bool:
        """Whether anything is armed or runs, as far as is known: then nothing is computed that can wait."""
        return bool(self._films) or (self._word is not None and not self._word.get("light"))

    def awake(self, now_s: float) -> bool:
        """Whether the station itself says, now, that something may be lit. One that is silent or unknown does not."""
        return self.word_age_s(now_s) <= SILENT_S and self._word is not None and self._word.get("light") is True

    def free(self, now_s: float) -> bool:
        """Whether the station itself says, now, that nothing is armed, runs or is to come in its turn, and no journal says otherwise: a
        session's journal is there before the next word."""
        if not self.awake(now_s) or self._word is None or self._word.get("films") != [] or self._word.get("to_come"):
            return False
        return not open_sessions(self._journals)

    def word_age_s(self, now_s: float) -> float:
        """How old the station's word is; infinite where it was never heard."""
        return now_s - self._heard_s

    def light(self, now_s: float) -> bool:
        """Whether anything may be lit now."""
        age_s = self.word_age_s(now_s)
        if age_s <= SILENT_S:
            return self._word is not None and self._word.get("light") is True
        if self._word is not None and not self._word.get("light"):
            return False
        if left_bare_s(self._journals, self._wall()) > 0:
            return False
        if age_s <= self._black_s:
            return not film_may_be_bare(self._journals)
        return not open_sessions(self._journals)

    def snapshot(self, now_s: float) -> dict[str, Any]:
        """Everything, whole; in the dark nothing but that it is dark."""
        if not self.light(now_s):
            return dict(DARK)
        self._numbers += 1
        age_s = self.word_age_s(now_s)
        films = [(film, self._of_film(film, age_s)) for film in self._films.values() if film.state is not None]
        films.sort(key=lambda told: _order(*told))
        figures, slots, about = self._top(films, age_s, now_s)
        told = {**figures, "station_age_s": None if math.isinf(age_s) else age_s, "slots": slots.plain()}
        told["films"] = [told_film for _, told_film in films]
        beside = [*self._clash(age_s), *self._tap_for(), *(_beside(film) for film, _ in films[1:])] if len(films) > 1 else []
        told["others"] = [*beside, *self._turns(age_s)]
        told["station"] = None if self._word is None else self._word.get("station")
        return {**told, "id": f"{about}:{self._numbers}"}

    def _clash(self, age_s: float) -> list[str]:
        """That both films will want the hands at once, and which one goes first, where the station says so."""
        told = None if self._word is None else self._word.get("clash")
        if not told:
            return []
        named = {film.vessel: film.whose for film in self._films.values()}
        first, then = (named.get(told[which]) or str(told[which]).upper() for which in ("first", "then"))
        in_s = told["in_s"] - age_s
        when = sentences.CLASH_NOW if in_s < 1.0 else sentences.CLASH_IN.format(left=format_duration(float(int(in_s))))
        return [typeset(one_line(sentences.CLASH.format(when=when, first=first, then=then, why=told["why"])))]

    def _tap_for(self) -> list[str]:
        """Whose a tap now is, and whose from the next NOW on, where the station says so."""
        word = self._word or {}
        film, then = (self._films.get(str(word.get(field))) for field in ("tap_for", "tap_then"))
        if film is None or not film.whose:
            return []
        if then is None or not then.whose:
            return [sentences.TAP_FOR.format(whose=film.whose)]
        return [sentences.TAP_FOR_THEN.format(whose=film.whose, then=then.whose)]

    def _turns(self, age_s: float) -> list[str]:
        """When the films that wait and the next ones to come are to begin, where the station says so."""
        rows = [] if self._word is None else [*self._word.get("films", ()), *self._word.get("to_come", ())]
        told = [row for row in rows if row.get("begins_in_s") is not None]
        return [typeset(one_line(_turn(row, row["begins_in_s"] - age_s))) for row in told]

    def _of_film(self, film: Film, age_s: float) -> Figures:
        state = film.state
        assert state is not None
        return {**figures_of(state, age_s), "session": film.session, "vessel": film.vessel, "recipe": state.name, "station_age_s": age_s}

    def _top(self, films: list[tuple[Film, Figures]], age_s: float, now_s: float) -> tuple[Figures, Slots, str]:
        """The figures and words of what is shown: the film whose hands are due next, else what is over, else the bath."""
        if films:
            film, told = films[0]
            slots = film.slots()
            assert slots is not None
            return {key: told[key] for key in no_figures()}, slots, film.session
        if self._films and self._word is not None:
            return no_figures("running"), unread(self._word["films"][0]["view"]), next(iter(self._films))
        if math.isinf(age_s) or age_s > self._black_s:
            return no_figures(), nobody(), "-"
        over = self._ended(now_s)
        if over is not None and over.state is not None:
            slots = over.slots(_time_of_day(over.closed_wall))
            assert slots is not None
            developed = over.developed
            figures = {**figures_of(over.state, age_s), "to_pour_s": None}
            if developed is not None:
                figures |= {"done_percent": developed.percent, "done_sd_percent": developed.sd_percent}
            return figures, slots, over.session
        return self._waiting(age_s), of_probes(self._probes, {name: _rate(kept) for name, kept in self._seen.items()}), "-"

    @property
    def _probes(self) -> list[Mapping[str, Any]]:
        return [] if self._word is None else list(self._word.get("probes", ()))

    def _waiting(self, age_s: float) -> Figures:
        """No session: the developer's own probe, if one is read."""
        figures = no_figures()
        own = next((p for p in self._probes if p["role"] == "developer"), None)
        if own is not None:
            measured = own["age_s"] if own["good_age_s"] is None else own["good_age_s"]
            age = None if measured is None else measured + age_s
            around = None if own["celsius"] is None else sd_c(own)
            figures |= {"developer_c": own["celsius"], "developer_sd_c": around, "source": "developer", "age_s": age}
        return figures

    def _ended(self, now_s: float) -> Film | None:
        """The session that is over, for an hour; one that ended before this page began is found on the disk."""
        if self._over is None and not self._looked_back:
            self._over, self._over_s = self._newest_on_disk(now_s)
        if self._over is None or now_s - self._over_s > DONE_S:
            return None
        if not self._over.closed:
            self._over.read()
        return self._over if self._over.closed else None

    def _newest_on_disk(self, now_s: float) -> tuple[Film | None, float]:
        try:
            newest = [read_session(self._journals, session) for session in session_names(self._journals)[:NEWEST]]
        except OSError:
            newest = []
        found = max((ended for ended in newest if ended is not None and ended.close is not None), key=_closed_wall, default=None)
        self._looked_back = all(ended is None or ended.close is not None for ended in newest)  # else its close is still on its way
        if found is None or found.close is None:
            return None, -math.inf
        try:
            ago_s = (self._wall() - datetime.fromisoformat(str(found.close.get("wall")))).total_seconds()
        except (ValueError, TypeError):
            return None, -math.inf
        if not 0.0 <= ago_s <= DONE_S:
            return None, -math.inf
        film = Film(self._journals, found.session)
        film.read()
        return film, now_s - ago_s


def _order(film: Film, told: Figures) -> tuple[int, float]:
    """A developer whose NOW has come waits for nothing; what is past a limit waits for a developer that is about to be poured."""
    to_pour_s = math.inf if told["to_pour_s"] is None else told["to_pour_s"]
    state = film.state
    develops = state is not None and state.seen.role == "develop"
    timed = state is not None and state.seen.until == "time"
    first = (told["state"] == "now" and timed, told["state"] == "ready" and develops)
    return 0 if first[0] and develops else 1 if first[0] else 2 if first[1] else 3, to_pour_s


def _turn(row: Mapping[str, Any], in_s: float) -> str:
    """When one of them is to begin."""
    return sentences.TURN.format(whose=whose(row.get("vessel"), row.get("what") or row.get("recipe")), begins=begins(in_s))


def _beside(film: Film) -> str:
    """The other film in a line: whose, what its hands do next, and its FAULT."""
    slots = film.slots()
    if slots is None:
        return film.whose
    told = " ".join(part for part in (slots.figure, slots.verb, slots.fault) if part)
    line = sentences.OTHER.format(whose=slots.whose, head=slots.head, told=told) if slots.whose else f"{slots.head}: {told}"
    return typeset(one_line(line))


def _closed_wall(ended: Ended) -> str:
    return str(ended.close.get("wall")) if ended.close is not None else ""


def _time_of_day(wall: str) -> str:
    """In this machine's zone."""
    try:
        return datetime.fromisoformat(wall).astimezone().strftime("%H:%M")
    except ValueError:
        return ""


def _rate(kept: deque[tuple[float, float]]) -> float | None:
    """C a minute, by least squares; None where there is too little to tell."""
    if len(kept) < 5 or kept[-1][0] - kept[0][0] < LEAST_RATE_S:
        return None
    mean_s, mean_c = (sum(column) / len(kept) for column in zip(*kept, strict=True))
    spread = sum((t - mean_s) ** 2 for t, _ in kept)
    return 60.0 * sum((t - mean_s) * (c - mean_c) for t, c in kept) / spread if spread > 0 else None
