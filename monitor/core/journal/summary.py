"""What happened in a session, in plain words, from its records as they are written. For the end of a rehearsal or a session.

`evenbath review` tells more and recomputes; this only repeats what the session itself said.
Tests: tests/live/test_rehearsal.py, tests/core/journal/test_one_story.py.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from monitor.core.journal.history import History, Key, Passage
from monitor.core.journal.records import BandSummary, CueSounded, GapDoubt, LagFound, Opened, TrustChanged, gap_doubt
from monitor.core.journal.trusted import Trusted, news
from monitor.core.journal.words import BEGUN_CLOSED, OUTSIDE_DATA
from monitor.core.probes.readings import ESTIMATED, EXCHANGED, FIRST_READINGS_S
from monitor.core.text.doubt import said_once, share, two_sd
from monitor.core.text.quantities import format_duration


@dataclass(slots=True)
class _Developer:
    """What the progress records of one film in one stage said of the developer."""

    done_ref_s: float = 0.0
    done_sd_ref_s: float = 0.0
    mean_sum: float = 0.0
    mean_s: float = 0.0
    lowest_c: float = math.inf
    highest_c: float = -math.inf
    estimated_s: float = 0.0
    waits: bool = True
    """Nothing was measured yet, nor held from before."""
    last_s: float | None = None
    past: list[tuple[float, float, float]] = field(default_factory=list)
    """(session time, done, its standard deviation) of each."""

    def done_at(self, end_s: float) -> tuple[float, float]:
        """Done when the stage ended, and its standard deviation: between two records, or what the last one said."""
        after = next((i for i, (t_s, _, _) in enumerate(self.past) if t_s >= end_s), None)
        if not after:
            return self.done_ref_s, self.done_sd_ref_s
        (t0, done0, _), (t1, done1, sd) = self.past[after - 1], self.past[after]
        return done0 + (done1 - done0) * (end_s - t0) / (t1 - t0), sd


class Summary:
    """Add every record in its order; `lines` tells the evening."""

    def __init__(self) -> None:
        self._history = History()
        self._cuts: list[tuple[float, GapDoubt]] = []
        self._opened: Opened | None = None
        self._developer: dict[Key, _Developer] = {}
        self._trust: list[str] = []
        self._trusted = Trusted()
        self._bands: dict[int, str] = {}
        self._faults: list[tuple[float, str | None]] = []
        self._learned: list[str] = []

    def add(self, record: Mapping[str, Any]) -> None:
        """One record."""
        if record["kind"] == "progress":
            self._progress(record)
        if record["kind"] == "session" and record["event"] == "resume":
            self._cuts.append((record["t_s"], gap_doubt(record)))
        told = self._history.fold(record)
        if isinstance(told, Opened):
            self._opened = told
        elif isinstance(told, TrustChanged):
            self._trust_changed(told)
        elif isinstance(told, LagFound):
            self._learned.append(told.sentence)
        elif isinstance(told, CueSounded) and told.cue == "fault":
            self._faults.append((told.t_s, told.why))
        elif isinstance(told, BandSummary) and told.outside_s > 0:
            verified = "" if told.compared else ", not verified (probe not compared)"
            below, above, whole = (format_duration(s) for s in (told.below_s, told.above_s, told.watched_s))
            went = f"mean {told.mean_c:.1f} C, {below} of {whole} below, {above} above{verified}"
            self._bands[told.stage] = f"outside its band, as believed at the time (a review recounts from all readings): {went}"

    def _trust_changed(self, told: TrustChanged) -> None:
        found_out = told.since_t_s is None or told.why.startswith(EXCHANGED)  # since the start, most likely
        since = format_duration(told.t_s if found_out or told.since_t_s is None else told.since_t_s)
        what = news(told.why)
        if what is not None:
            self._trust.append(f"{since} {told.probe} {what}")
        elif told.why.startswith(OUTSIDE_DATA):
            self._trust.append(f"{since} {told.why}")
        elif told.probe in self._trusted.doubts or not told.believed:
            self._trust.append(f"{since} {told.probe} {'believed again' if told.believed else 'not believed'}: {told.why}")
        self._trusted.take(told)

    def _progress(self, record: Mapping[str, Any]) -> None:
        passage = self._history.clock(record["stage"], record.get("sheet"))
        if passage is None:
            return
        told = self._developer.setdefault(passage.key, _Developer())
        t_s, celsius = record["t_s"], record["developer_c"]
        dt_s = t_s - (passage.begin_s if told.last_s is None else told.last_s)
        told.last_s = t_s
        told.mean_sum += celsius * dt_s
        told.mean_s += dt_s
        told.lowest_c, told.highest_c = min(told.lowest_c, celsius), max(told.highest_c, celsius)
        if record["source"] in ESTIMATED:
            told.estimated_s += dt_s
            told.waits &= record["source"] != "held"
        elif told.waits:
            told.waits = False
            told.estimated_s = 0.0 if told.estimated_s < FIRST_READINGS_S else told.estimated_s
        told.done_ref_s, told.done_sd_ref_s = record["done_ref_s"], record["done_sd_ref_s"]
        told.past.append((t_s, told.done_ref_s, told.done_sd_ref_s))

    def lines(self) -> list[str]:
        """The summary, one sentence or stage a line."""
        name, mode = ("", "") if self._opened is None else (self._opened.name, self._opened.mode)
        out = [f"{name} ({mode}): {self._history.close_why or 'not closed'}."]
        for passage in self._history.clocks:
            out += self._tell(passage)
        out += [f"At {line}." for line in self._trust]
        out += [f"Learned: {line}." for line in self._learned]
        out += [f"FAULT at {self._moment(t_s)}{f': {why}' if why else ''}." for t_s, why in self._faults]
        return out

    def _moment(self, t_s: float) -> str:
        """On the clock of the session; where that of the stage shows another time, on that too."""
        begun = [p for p in self._history.clocks if p.begin_s <= t_s]
        stage = max(begun, key=lambda p: p.begin_s, default=None)
        if stage is None or format_duration(t_s - stage.begin_s) == format_duration(t_s):
            return format_duration(t_s)
        return f"{format_duration(t_s)} of the session, {format_duration(t_s - stage.begin_s)} into {stage.name}"

    def _tell(self, passage: Passage) -> list[str]:
        who = passage.name if passage.sheet is None else f"{passage.name}, sheet {passage.sheet}"
        target_ref_s = passage.target_ref_s or 0.0
        planned = "planned" if passage.minimum_s is None else "at least"
        took = f"{planned} {format_duration(target_ref_s)}" if target_ref_s > 0 else "no clock"
        left = self._history.actual_end(passage)
        if left is not None:
            took += f", took {format_duration(left[0] - passage.begin_s, 1)}"
        if passage.end_s is not None and passage.steered:
            moved_s = passage.end_s - passage.begin_s - target_ref_s
            later = "later" if moved_s >= 0 else "earlier"
            took += "; the end did not move" if abs(moved_s) < 0.5 else f"; end moved {abs(moved_s):.0f} s {later}"
        if passage.gate_closed:
            took += f"; {BEGUN_CLOSED}"
        lines = [f"  {who}: {took}{'' if passage.told else ' (begin not told)'}."]
        told = self._developer.get(passage.key)
        if told is not None and told.mean_s > 0 and target_ref_s > 0:
            done_ref_s, sd_ref_s = (told.done_ref_s, told.done_sd_ref_s) if left is None else told.done_at(left[0])
            percent = 100.0 * done_ref_s / target_ref_s
            done = self._share(passage, percent, 100.0 * sd_ref_s / target_ref_s, told.last_s or passage.begin_s)
            compared = "" if self._compared else ", probe not compared"
            known = f"{format_duration(told.estimated_s)} of it estimated" if told.estimated_s >= 1 else "all of it measured"
            mean_c = told.mean_sum / told.mean_s
            if passage.steered:
                lines.append(f"    development done {said_once(done)}{compared};")
            else:
                lines.append(f"    by the clock, temperature did not move the time{compared};")
            lines.append(f"    developer {mean_c:.1f} C on average, {told.lowest_c:.1f} C to {told.highest_c:.1f} C; {known}.")
            if passage.stage in self._bands:
                lines.append(f"    {self._bands[passage.stage]}.")
        return lines

    def _share(self, passage: Passage, percent: float, sd_percent: float, last_s: float) -> str:
        """What was done, with what the time without power leaves in doubt."""
        doubt = sum((d for t_s, d in self._cuts if passage.begin_s < t_s <= last_s), GapDoubt())
        if not (doubt.longer_s or doubt.shorter_s) or last_s <= passage.begin_s:
            return share(percent, sd_percent)
        per_s, around = percent / (last_s - passage.begin_s), two_sd(sd_percent)
        return share(percent, sd_percent, (max(0.0, percent - per_s * doubt.shorter_s - around), percent + per_s * doubt.longer_s + around))

    @property
    def _compared(self) -> bool:
        """A rehearsal says so of its developer's probe; a station says it of each, and those in the developer count, if there are any."""
        opening: Mapping[str, Any] = {} if self._opened is None else self._opened.opening
        if "compared" in opening:
            return bool(opening["compared"])
        probes = opening.get("probes", ())
        return all(p.get("compared") for p in [p for p in probes if p.get("role") in ("developer", "witness")] or probes)
