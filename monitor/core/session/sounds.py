"""The sounds, as data, and the one rule by which they share one sounder. The player knows nothing of stages.

A pattern is a tuple of seconds, on and off in turn, beginning with on. Four families come unasked (tick, READY, NOW,
FAULT; the sheet's call and the double tick are variants), answers only to a question. Rhythm carries all, one pitch.
`SIGNALS` is the one table of them: README, wall card, lesson and WAV files are made from it.
Their own design by practice of this project, with MIL-STD-1472E 5.3 (at most four signals, told apart in the first half
second) in mind; no conformity is claimed. Forbidden: the evacuation rhythm of ISO 8201 and the carbon-monoxide rhythm.

`Mixer` is pure: sounds go in, levels over time come out; the live player and the rehearsal run the same one.
Tests: tests/core/session/test_sounds.py.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass, field, replace
from typing import Literal

from monitor.core.journal.words import Cue

TICK = (0.040,)
DOUBLE_TICK = (0.040, 0.090, 0.040)
READY = (0.900,)
FIVE_FAST = (0.090, 0.090, 0.090, 0.090, 0.090, 0.090, 0.090, 0.090, 0.090)
NOW = (*FIVE_FAST, 0.090, 0.700)
SHEET_NOW = FIVE_FAST
"""NOW without its long end: a short before a long would be half a FAULT."""
FAULT = (0.090, 0.090, 0.320, 0.300, 0.090, 0.090, 0.320, 0.300)
YES = (0.040, 0.200, 0.040)
OVER = (3.000,)
CLICK = (0.025,)
UNDER_A_MINUTE = (0.040, 0.090, 0.040, 0.090, 0.040)
FIVE_S, ONE_S, GAP_S = 0.500, 0.150, 0.350
TEN = (0.500, 0.100, 0.500)
SECOND = (0.200, 0.090, 0.200, 0.090)
"""What follows READY, NOW and an answer of the second vessel: two short pulses. It begins with the silence before them."""
TENS_FROM = 20
"""Minutes from which an answer tells tens: 19 is three fives and four ones, 20 two tens."""


def answer(minutes: int) -> tuple[float, ...]:
    """Whole minutes, not below 0: fives, then ones; from `TENS_FROM` on tens first; none is three specks."""
    if minutes < 1:
        return UNDER_A_MINUTE
    tens = minutes // 10 if minutes >= TENS_FROM else 0
    left = minutes - 10 * tens
    groups = [TEN] * tens + [(FIVE_S,)] * (left // 5) + [(ONE_S,)] * (left % 5)
    pattern = list(groups[0])
    for group in groups[1:]:
        pattern += [GAP_S, *group]
    return tuple(pattern)


@dataclass(frozen=True, slots=True)
class Signal:
    """One row of the table: a pattern by its name, how it sounds in words, what it says, and what the hands do.

    `name`: a-z and -, also the name of its WAV file. `pattern`: one sounding, seconds; of an answer, an example.
    """

    name: str
    cue: Cue
    pattern: tuple[float, ...]
    heard: str
    says: str
    do: str

    @property
    def on_off_ms(self) -> tuple[int, ...]:
        """The pattern in whole milliseconds."""
        return tuple(round(1000 * part) for part in self.pattern)


SIGNALS = (
    Signal("tick", "tick", TICK, "specks, one a second", "movement is due", "move while they go on, rest when they stop"),
    Signal(
        "double-tick", "tick", DOUBLE_TICK, "a double speck among specks 5 s apart",
        "sheets: a new round begins", "take sheet 1, then one sheet a speck",
    ),
    Signal(
        "ready", "ready", READY, "one steady tone of a second",
        "half a minute to NOW; from here the end does not move any more", "hands to jug or tray, tap water off",
    ),
    Signal("now", "now", NOW, "five fast, one long, again and again", "pour off, lift, go on", "pour off or lift out, then tap"),
    Signal("sheet", "now", SHEET_NOW, "five fast, once", "NOW for one sheet; others follow", "lift this sheet, then tap"),
    Signal(
        "fault", "fault", FAULT, "limping: short-long, short-long",
        "the temperature, or the tool, is not to be trusted; it goes on counting", "finish by the second clock, look later",
    ),
    Signal(
        "yes", "yes", YES, "two specks apart, when you have asked",
        "the temperature is trusted, or the begin is settled", "go on",
    ),
    Signal(
        "answer", "answer", answer(7), "long and short ones, when you have asked",
        "whole minutes to the end", "add up the minutes: a long one is five, a short one is one",
    ),
    Signal(
        "answer-tens", "answer", answer(26), "long ones in close pairs first",
        "20 minutes or more to the end", "add up: a pair is ten, the rest as ever",
    ),
    Signal("answer-none", "answer", answer(0), "three specks, when you have asked", "less than a minute to the end", "stay where you are"),
    Signal(
        "over", "over", OVER, "three seconds steady, when you have asked in the fixer",
        "the fixing minimum is over", "decide about the light",
    ),
    Signal(
        "click", "click", CLICK, "one speck at the press, another after a second",
        "felt; the second one: it has begun", "to begin something, hold until the second one",
    ),
)  # fmt: skip
"""All that can be heard. The first rows come unasked, the rest only after a press."""

UNASKED = frozenset[Cue]({"tick", "ready", "now", "fault"})
"""The families that sound without being asked."""

ASKED = frozenset[Cue]({"answer", "yes", "over"})
"""The families that only answer a press."""

CALLS = frozenset[Cue]({"now", "ready", "fault"})
"""What comes unasked and is heard as a whole: where there are two films, one never cuts into the other's."""

OF_A_VESSEL = frozenset[Cue]({"now", "ready", "answer"})
"""What is followed by two pulses where it is about the second vessel."""

Vessel = Literal[1, 2]
"""Which of two vessels a film is in; 1 where there is but one."""


def of_vessel(cue: Cue, pattern: tuple[float, ...], vessel: Vessel) -> tuple[float, ...]:
    """The pattern as it sounds for a film in this vessel."""
    if vessel == 1 or cue not in OF_A_VESSEL:
        return pattern
    if len(pattern) % 2:
        return pattern + SECOND
    return (*pattern[:-1], max(pattern[-1], SECOND[0]), *SECOND[1:])  # it ends with a silence of its own


PRIORITY: dict[Cue, int] = {"now": 6, "ready": 5, "fault": 4, "over": 3, "answer": 3, "yes": 3, "click": 2, "tick": 1}
"""NOW > READY > FAULT > ANSWER > tick. A click answers a press at once and is worked in beside all of them."""

HUSH_S = 0.060
"""Silence before a sound that replaces another, so that its first onset is heard as one."""
AGAIN_S = 0.150
"""Silence after a click, READY or FAULT before the sound that had to wait for it, or was interrupted by it, begins (again)."""


def length_s(pattern: tuple[float, ...]) -> float:
    """Seconds from the first onset to the end of the pattern, a trailing silence included."""
    return math.fsum(pattern)  # not sum: its last digit depends on the version of Python


@dataclass(frozen=True, slots=True)
class Sound:
    """One sounding: `onset_s` is the intended first onset in session time. `number` tells soundings apart; `late_s`: how much later that
    is than it was due, because the program was away; `why`: what a FAULT is about; `vessel`: of whose film; `waited_s`: how long
    it waited until the other film's was over, None where it did not."""

    number: int
    cue: Cue
    onset_s: float
    pattern: tuple[float, ...]
    sheet: int | None = None
    late_s: float | None = None
    why: str | None = None
    vessel: Vessel = 1
    waited_s: float | None = None

    @property
    def end_s(self) -> float:
        """When it is over."""
        return self.onset_s + length_s(self.pattern)


@dataclass(slots=True)
class _Playing:
    sound: Sound
    onset_s: float

    def level(self, t_s: float) -> bool:
        at = self.onset_s
        for i, part in enumerate(self.sound.pattern):
            at += part
            if t_s < at - 1e-9:
                return i % 2 == 0
        return False

    def next_edge_s(self, t_s: float) -> float:
        at = self.onset_s
        for part in self.sound.pattern:
            at += part
            if at > t_s + 1e-9:
                return at
        return at

    def end_s(self) -> float:
        return self.onset_s + length_s(self.sound.pattern)


@dataclass(slots=True)
class MixerStep:
    """What the sounder does at a moment: its level, for whose film, what began, what will never sound, and when to look again."""

    on: bool
    vessel: Vessel = 1
    began: list[Sound] = field(default_factory=list)
    dropped: list[Sound] = field(default_factory=list)
    next_s: float | None = None


class Mixer:
    """Shares one sounder between sounds by priority. Times given to `step` never fall.

    Two films share it too: a call of one waits until the other's is over, of two waiting ones NOW comes first, and two NOWs take turns.
    An answer of the other film is broken off for NOW. What had to wait keeps its intended onset, so that its lateness is told.
    """

    def __init__(self) -> None:
        self._playing: _Playing | None = None
        self._silent_from_s = -HUSH_S - 1e9
        self._waiting: list[tuple[float, Sound, bool]] = []  # onset, sound, whether it is one that was interrupted
        self._now_of: Vessel | None = None  # whose NOW was the last to sound

    def add(self, sound: Sound, t_s: float) -> None:
        """A sound that is to begin at its onset; one that lies in the past begins at `t_s`."""
        onset_s = max(sound.onset_s, t_s)
        if sound.cue == "click":
            loud = self._playing is not None and self._playing.level(t_s)
            onset_s = max(onset_s, (t_s if loud else self._silent_from_s) + HUSH_S)
            sound = replace(sound, onset_s=onset_s)  # the silence before it is meant, and no lateness
        self._wait(onset_s, sound, False)

    @property
    def next_onset_s(self) -> float | None:
        """When the first sound that waits will begin, None if none waits."""
        return self._waiting[0][0] if self._waiting else None

    def hush(self, cues: Collection[Cue], t_s: float, vessel: Vessel = 1) -> None:
        """Silence sounds of these families at once, those of this vessel's film, waiting ones included."""
        if self._playing is not None and self._playing.sound.cue in cues and self._playing.sound.vessel == vessel:
            if self._playing.level(t_s):
                self._silent_from_s = t_s
            self._playing = None
            self._move_up(t_s + AGAIN_S)
        self._waiting = [w for w in self._waiting if w[1].cue not in cues or w[1].vessel != vessel]

    def step(self, t_s: float) -> MixerStep:
        """Go on to `t_s`."""
        result = MixerStep(on=False)
        while True:
            if self._playing is not None and self._playing.end_s() <= t_s + 1e-9:
                self._playing = None
            if not self._waiting or self._waiting[0][0] > t_s + 1e-9:
                break
            self._waiting.sort(key=self._order)  # whose turn it is may have changed
            onset_s, sound, again = self._waiting.pop(0)
            self._start(onset_s, sound, again, result)
        playing = self._playing
        times = [w[0] for w in self._waiting[:1]]
        if playing is not None:
            result.on = playing.level(t_s) and not self._hushed(playing, t_s)
            result.vessel = playing.sound.vessel
            times.append(playing.next_edge_s(t_s))
            times += [at - HUSH_S for at in self._louder_onsets(playing) if at - HUSH_S > t_s + 1e-9]
        result.next_s = min(times) if times else None
        return result

    def _start(self, onset_s: float, sound: Sound, again: bool, result: MixerStep) -> None:
        if sound.cue == "tick" and self._in_the_way(onset_s, sound):
            result.dropped.append(sound)
            return
        if sound.cue in CALLS and self._gives_way(onset_s, sound, again, result):
            return
        playing = self._playing
        if sound.cue == "tick" and onset_s < self._silent_from_s + HUSH_S:
            result.dropped.append(sound)  # it would only lengthen the pulse that was just silenced
            return
        if playing is not None and playing.end_s() > onset_s + 1e-9:
            if sound.cue == "click":
                others_now = playing.sound.cue == "now" and playing.sound.vessel != sound.vessel
                if playing.sound.cue in ("ready", "fault", "answer", "yes", "over") or others_now:
                    self._behind(onset_s + CLICK[0], playing.sound, True)
                self._move_up(onset_s + CLICK[0] + AGAIN_S)
            elif PRIORITY[sound.cue] <= PRIORITY[playing.sound.cue]:
                if sound.cue in ASKED:
                    self._behind(playing.end_s(), sound, again)
                elif not again:
                    result.dropped.append(sound)
                return
            elif playing.sound.cue in ASKED and sound.cue in ("ready", "fault"):
                self._behind(onset_s + length_s(sound.pattern), playing.sound, True)
        self._playing = _Playing(sound, onset_s)
        if sound.cue == "now":
            self._now_of = sound.vessel
        if not again:
            result.began.append(sound if sound.waited_s is None else replace(sound, waited_s=onset_s - sound.onset_s))

    def _behind(self, end_s: float, sound: Sound, again: bool) -> None:
        """It sounds when what is over at `end_s` is over: what was asked for is told late and whole. `again`: it has begun once already."""
        onset_s = end_s + AGAIN_S
        self._wait(onset_s, sound if again else replace(sound, onset_s=onset_s), again)

    def _wait(self, onset_s: float, sound: Sound, again: bool) -> None:
        self._waiting.append((onset_s, sound, again))
        self._waiting.sort(key=self._order)

    def _order(self, waiting: tuple[float, Sound, bool]) -> tuple[float, int, bool, int]:
        onset_s, sound, _ = waiting
        return onset_s, -PRIORITY[sound.cue], sound.cue == "now" and sound.vessel == self._now_of, sound.number

    def _gives_way(self, onset_s: float, sound: Sound, again: bool, result: MixerStep) -> bool:
        """Whether a call has to wait for what sounds, or is about to sound, for the other film. A repeat of NOW that waited until the next
        one was due is left out."""
        if sound.cue == "now" and any(
            at_s <= onset_s + 1e-9 and (newer.cue, newer.vessel, newer.sheet) == ("now", sound.vessel, sound.sheet)
            for at_s, newer, _ in self._waiting
        ):
            result.dropped.append(sound)
            return True
        playing = self._playing
        if playing is not None and playing.end_s() > onset_s + 1e-9 and self._waits_for(sound, playing):
            self._wait(playing.end_s() + AGAIN_S, replace(sound, waited_s=0.0), again)
            return True
        for at_s, first, _ in self._waiting:
            soon = onset_s + 1e-9 < at_s <= onset_s + AGAIN_S
            if soon and self._held_up(at_s, first) and first.vessel != sound.vessel and PRIORITY[first.cue] >= PRIORITY[sound.cue]:
                self._wait(at_s, replace(sound, waited_s=0.0), again)
                return True
        return False

    def _move_up(self, onset_s: float) -> None:
        """What the calls that wait had to wait for has been interrupted: they need not wait for its end."""
        self._waiting = [
            (min(at_s, onset_s) if sound.cue in CALLS and self._held_up(at_s, sound) else at_s, sound, again)
            for at_s, sound, again in self._waiting
        ]
        self._waiting.sort(key=self._order)

    @staticmethod
    def _held_up(at_s: float, sound: Sound) -> bool:
        return at_s > sound.onset_s + 1e-9

    @staticmethod
    def _waits_for(sound: Sound, playing: _Playing) -> bool:
        """Whether a call lets what sounds end first: another film's call, and of its answers all but for NOW."""
        if playing.sound.vessel == sound.vessel:
            return False
        return playing.sound.cue in CALLS or (playing.sound.cue in ASKED and sound.cue != "now")

    def _in_the_way(self, onset_s: float, tick: Sound) -> bool:
        """A tick that would run into the silence before a cue would be hushed: it is dropped, not told as one that sounded."""
        end_s = onset_s + length_s(tick.pattern)
        return any(at - HUSH_S < end_s and PRIORITY[sound.cue] > PRIORITY["click"] for at, sound, _ in self._waiting)

    def _louder_onsets(self, playing: _Playing) -> list[float]:
        return [
            at
            for at, sound, _ in self._waiting
            if at < playing.end_s()
            and (sound.cue == "click" or (PRIORITY[sound.cue] > PRIORITY[playing.sound.cue] and not self._waits_for(sound, playing)))
        ]

    def _hushed(self, playing: _Playing, t_s: float) -> bool:
        return any(at - HUSH_S <= t_s + 1e-9 for at in self._louder_onsets(playing))
