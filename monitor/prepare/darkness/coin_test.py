"""The darkness test: coins on film, the record of what was seen, and whether a room still counts as tested.

Decides the instructions, what a result means, when the next test is due, and the words "never tested for this film". It
lights nothing and times nothing: the person counts the minutes. Records are appended to STATE/learned/darkness.jsonl.

Sources: coins on film for twice the longest open time, NAVEDTRA 14209, chapter 10; five coins laid down after 1, 2, 4, 8 and 16
minutes, a control with the tool off, and again after six months or any change: common practice, no source.
The coins are laid down one after another, not lifted: under the one of a minute the film has then had one minute of light, and its spot is
compared with one that had none. Lifted after a minute, a coin leaves a spot that had all but that minute of the light around it: even
where the fog is heavy, its edge is hardly seen, and an unsafe light would pass.
Tests: tests/prepare/darkness/test_coin_test.py.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Literal

from monitor.core.errors import FileWrong, InputWrong, Problem
from monitor.core.recipe.light import FILMS
from monitor.core.recipe.values import Recipe
from monitor.core.text.quantities import format_duration
from monitor.prepare.days import CalendarSpan, read_day
from monitor.prepare.state.folder import LEARNED
from monitor.prepare.state.kept_lines import read_lines, writing

FILE = "darkness.jsonl"
KINDS = (*FILMS, "colour paper")
"""What a test is of: a recipe's word for film, and colour paper apart from colour film, which a recipe calls alike."""
COINS_S = (60.0, 120.0, 240.0, 480.0, 960.0)
"""When each coin is laid down, seconds after the film was laid out: so long its spot lies in the light."""
DUE_AFTER = CalendarSpan(6, "month")
TIMES_OPEN = 2.0
"""Film must stay clear for this many times as long as it will lie open."""
Standing = Literal["never tested for this film", "due again", "light found", "tested"]


@dataclass(frozen=True, slots=True)
class CoinTest:
    """One test. `visible_s`: the shortest time that shows, seconds: the first spot darker than the one covered all along; None if none
    is. `ran_s`: how long the film lay there.

    `control_shows`: whether a strip with the tool off shows spots too (then it is the room, not the tool); None without one.
    """

    film: str
    place: str
    day: str
    distance_cm: float | None
    ran_s: float
    visible_s: float | None
    control_shows: bool | None = None
    coins_s: tuple[float, ...] = COINS_S
    note: str | None = None

    @property
    def clear_s(self) -> float:
        """How long film stayed clear: the longest time before the first one that shows, else the whole run. Seconds."""
        if self.visible_s is None:
            return self.ran_s
        return max((c for c in self.coins_s if c < self.visible_s), default=0.0)

    @property
    def safe_open_s(self) -> float:
        """The longest open time that this test covers: half of what stayed clear."""
        return self.clear_s / TIMES_OPEN

    @property
    def due(self) -> dt.date:
        """When it is due again, unless something changes before."""
        return DUE_AFTER.after(dt.date.fromisoformat(self.day))


@dataclass(frozen=True, slots=True)
class Change:
    """A change of lamp, place or box: all earlier tests are due again."""

    day: str
    note: str


@dataclass(frozen=True, slots=True)
class Darkness:
    """What is known about darkness for one kind of film on one day: a word and a sentence. `test`: the newest one."""

    film: str
    standing: Standing
    why: str
    test: CoinTest | None

    @property
    def medium(self) -> str:
        """The word for what is developed."""
        return _word_for(self.film)

    @property
    def in_words(self) -> str:
        """The standing, with that word in it."""
        return self.standing.replace("film", self.medium)


def _word_for(kind: str) -> str:
    """The word for what is developed, of one of `KINDS`: "film" or "paper"."""
    return "paper" if kind.endswith("paper") else "film"


def kind_of(recipe: Recipe) -> str:
    """What a test for this recipe has to be of."""
    return recipe.material if recipe.material in KINDS else recipe.film


def coin_test(test: CoinTest) -> CoinTest:
    """The same test, checked. Raises `InputWrong`."""
    if test.film not in KINDS:
        raise InputWrong(f'film "{test.film}" is not known; allowed: {", ".join(KINDS)}')
    if not test.place.strip():
        raise InputWrong("the test has no place; allowed: where the film lay, in a word or two")
    read_day(test.day)
    if not test.coins_s or list(test.coins_s) != sorted(set(test.coins_s)) or test.coins_s[0] <= 0:
        raise InputWrong("the times of the coins do not rise; allowed: times such as 1:00,2:00,4:00,8:00,16:00")
    if test.ran_s < test.coins_s[-1]:
        last = format_duration(test.coins_s[-1])
        raise InputWrong(f"the test ran {format_duration(test.ran_s)}; allowed: at least until the last coin is laid down, {last}")
    if test.visible_s is not None and test.visible_s not in (*test.coins_s, test.ran_s):
        coins = ", ".join(format_duration(c) for c in test.coins_s)
        raise InputWrong(f"no coin was laid down at {format_duration(test.visible_s)}; allowed: {coins}, or none")
    return test


def save(state: Path, entry: CoinTest | Change) -> None:
    """Append a test or a change. Raises `InputWrong` where the folder cannot be written."""
    kind = "test" if isinstance(entry, CoinTest) else "change"
    with writing(state / LEARNED / FILE) as file:
        file.append({"entry": kind, **asdict(entry)})


def load(state: Path) -> list[CoinTest | Change]:
    """Everything recorded, in its order. Raises `FileWrong`."""
    path = state / LEARNED / FILE
    entries: list[CoinTest | Change] = []
    for row in read_lines(path).rows:
        try:
            entries.append(_entry(row.data))
        except (InputWrong, KeyError, TypeError, ValueError) as wrong:
            what = f"not a record of a darkness test ({str(wrong)[:80]})"
            raise FileWrong([Problem(str(path), row.line, what, "allowed: as evenbath darkness writes it")]) from None
    return entries


def _entry(data: Mapping[str, Any]) -> CoinTest | Change:
    if data["entry"] == "change":
        return Change(read_day(data["day"]).isoformat(), str(data["note"]))
    fields = {key: value for key, value in data.items() if key not in ("entry", "coins_s")}
    return coin_test(CoinTest(**fields, coins_s=tuple(float(c) for c in data["coins_s"])))


def darkness(entries: Iterable[CoinTest | Change], film: str, today: dt.date) -> Darkness:
    """What the records say about one kind of film. Tests with other kinds of film do not count."""
    newest: CoinTest | None = None
    changed: Change | None = None
    for entry in entries:
        if isinstance(entry, Change):
            changed = entry if newest is not None else None
        elif entry.film == film:
            newest, changed = entry, None
    if newest is None:
        return Darkness(film, "never tested for this film", "no coin test is on record", None)
    if changed is not None:
        return Darkness(film, "due again", f"changed on {changed.day}: {changed.note}", newest)
    if today > newest.due:
        return Darkness(film, "due again", f"the last test was on {newest.day}, due on {newest.due.isoformat()}", newest)
    if newest.visible_s is not None:
        blame = " with the tool off too: the room itself" if newest.control_shows else ""
        shows = f"the coin of {format_duration(newest.visible_s)} showed on {newest.day}{blame}"
        return Darkness(film, "light found", f"{shows}; open time at most {format_duration(newest.safe_open_s)}", newest)
    shows = f"nothing showed on {newest.day} after {format_duration(newest.ran_s)} ({newest.place})"
    open_time = f"open time up to {format_duration(newest.safe_open_s)}"
    return Darkness(film, "tested", f"{shows}; {open_time}; again by {newest.due.isoformat()}", newest)


def covers(known: Darkness, open_s: float) -> bool:
    """Whether the tests cover a session whose film lies open for `open_s`: tested, not due again, and for at least twice that time."""
    return known.standing in ("tested", "light found") and known.test is not None and known.test.safe_open_s >= open_s


def _paper_guide(open_s: float | None) -> Iterator[str]:
    """The fogging test of a safelight: the same coins. That exposed paper fogs sooner, and half of the longest time without a change:
    ISO 8374, in excerpts."""
    yield "Coins on paper: the fogging test"
    yield "  5. Safelight off. Under the enlarger give a strip of paper the exposure that alone prints a faint grey: paper that has been"
    yield "     exposed fogs sooner than fresh paper. Lay it where paper lies longest, emulsion up."
    minutes = ", ".join(f"{c / 60:g}" for c in COINS_S)
    yield f"  6. Lay a coin on it, to stay to the end. Safelight on; lay down one more beside it after {minutes} minutes."
    if open_s:
        yield f"  7. Let it lie for {format_duration(max(TIMES_OPEN * open_s, COINS_S[-1]))} at least: twice the time in the trays."
    else:
        yield "  7. Let it lie for at least twice as long as paper will ever lie in that light."
    yield "  8. Do a second strip with the safelight off, as a control: what shows there too is not the safelight's."
    yield "  9. Develop both with the safelight off. The first spot darker than the one covered all along is the shortest unsafe time;"
    yield "     half of the time before it is safe. Darker around the coins alone: the whole time that it lay there is the unsafe one."
    yield ""
    yield "Then write it down: evenbath darkness record --film paper --place ... --ran ... --shows none (or that m:ss)"
    yield "Test again in six months, with each new paper, and after any change of lamp, filter or place (evenbath darkness changed WHAT)."


def guide(film: str, open_s: float | None) -> Iterator[str]:
    """The test step by step, to be read in the light and done in the dark. `film`: one of `KINDS`."""
    medium = _word_for(film)
    yield "Eyes first"
    yield "  1. Everything running, the tool in a rehearsal in its box. Light off. Wait ten minutes."
    yield f"  2. Look at where the {medium} will be, and look around from there: at its height, and from above."
    yield "  3. Press the switch, pull a probe so that it sounds FAULT, end the program, pull the power and give it back."
    yield "     If anything glows at all: stop, cover it, begin again."
    yield "A camera, if you have one"
    yield f"  4. Put it on the table at the {medium}'s height, and expose for 30 s while you do step 3 once more."
    if film == "infrared":
        yield "     Take a second picture through an infrared-pass filter, or with a camera that sees infrared."
    if film == "paper":
        yield from _paper_guide(open_s)
        return
    yield f"Coins on {film}" if film.endswith(medium) else f"Coins on {film} {medium}"
    piece = "a sheet" if medium == "paper" else "a sheet or 20 cm of roll film"
    yield f"  5. In the dark, lay {piece} where the {medium} will be, emulsion up."
    yield f"     Better: first expose it to a light that alone gives a faint grey. Exposed {medium} shows added fog sooner."
    minutes = ", ".join(f"{c / 60:g}" for c in COINS_S)
    yield "  6. Lay a coin on it, to stay to the end. Let the tool do its worst: sound, FAULT, restart."
    yield f"     Lay down one more beside it after {minutes} minutes."
    if open_s is None:
        yield f"  7. Let it lie for at least twice as long as {medium} will ever lie open here."
    elif open_s == 0:
        yield f"  7. In this recipe {medium} is bare only while you load it: let it lie at least twice as long as that takes you."
    else:
        need_s = max(TIMES_OPEN * open_s, COINS_S[-1])
        yield f"  7. Let it lie for {format_duration(need_s)} at least: twice the open time of the recipe, and until the last coin."
    yield "  8. Do a second strip with the tool off, as a control; otherwise a gap in the door is blamed on the tool."
    yield "  9. Develop both in the dark. Look at them when dry: the first spot darker than the one covered all along is the shortest"
    yield "     unsafe time; darker around the coins alone: the whole time that it lay there."
    yield ""
    quoted = f'"{film}"' if " " in film else film
    yield f"Then write it down: evenbath darkness record --film {quoted} --place ... --ran ... --shows none (or that m:ss)"
    yield "Test again in six months, and after any change of lamp, place or box (evenbath darkness changed WHAT)."
