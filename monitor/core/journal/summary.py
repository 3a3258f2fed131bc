"""What happened in a session, in plain words, from its records as they are written. For the end of a rehearsal or a session.

`evenbath review` tells more and recomputes; this only repeats what the session itself said. Tests: tests/live/test_rehearsal.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from monitor.core.text.quantities import format_duration

ESTIMATED = ("vessel model", "held", "clock")


@dataclass(slots=True)
class _Told:
    """One film in one stage, as told."""

    name: str
    sheet: int | None
    begin_s: float
    target_ref_s: float
    steered: bool
    assumed: bool = False
    end_s: float | None = None
    left_s: float | None = None
    done_ref_s: float | None = None
    done_sd_ref_s: float = 0.0
    mean_sum: float = 0.0
    mean_s: float = 0.0
    lowest_c: float | None = None
    highest_c: float | None = None
    estimated_s: float = 0.0
    last_s: float | None = None


class Summary:
    """Add every record in its order; `lines` tells the evening."""

    def __init__(self) -> None:
        self._name = ""
        self._mode = ""
        self._compared = True
        self._told: dict[tuple[int, int | None], _Told] = {}
        self._order: list[tuple[int, int | None]] = []
        self._trust: list[str] = []
        self._bands: list[str] = []
        self._why = ""
        self._faults = 0

    def add(self, record: Mapping[str, Any]) -> None:
        """One record."""
        kind = record["kind"]
        if kind == "progress":
            self._progress(record)
        elif kind == "stage":
            self._stage(record)
        elif kind == "session":
            if record["event"] == "open":
                self._name, self._mode = record.get("name", ""), record["mode"]
                self._compared = bool(record.get("compared", True))
            elif record["event"] == "close":
                self._why = record["why"]
        elif kind == "trust" and not record["believed"]:
            self._trust.append(f"{format_duration(record['since_t_s'])} {record['probe']} not believed: {record['why']}")
        elif kind == "trust" and record["why"].startswith("outside data"):
            self._trust.append(f"{format_duration(record['since_t_s'])} {record['why']}")
        elif kind == "cue" and record["cue"] == "fault":
            self._faults += 1
        elif kind == "correction":
            told = self._told.get((record["stage"], record.get("sheet"))) or self._told.get((record["stage"], None))
            if told is not None:
                told.begin_s, told.assumed = record["begin_t_s"], False
            self._leave(record["stage"] - 1, record.get("sheet"), record["begin_t_s"])
        elif kind == "band" and record["event"] == "summary" and record["outside_s"] > 0:
            verified = "" if record["compared"] else ", not verified (probe not compared)"
            below, above, whole = (format_duration(record[k]) for k in ("below_s", "above_s", "watched_s"))
            self._bands.append(f"outside: mean {record['mean_c']:.1f} C, {below} of {whole} below, {above} above{verified}")

    def _stage(self, record: Mapping[str, Any]) -> None:
        key = (record["stage"], record.get("sheet"))
        event = record["event"]
        if event == "begin":
            self._leave(record["stage"] - 1, record.get("sheet"), record["t_s"])
            if "target_ref_s" in record:
                told = _Told(record["name"], key[1], record["t_s"], record["target_ref_s"], record.get("steered", False))
                told.assumed = bool(record.get("assumed"))
                if key not in self._told:
                    self._order.append(key)
                self._told[key] = told
        elif event == "end":
            told_or_none = self._told.get(key)
            if told_or_none is not None:
                told_or_none.end_s = record["t_s"]

    def _leave(self, number: int, sheet: int | None, t_s: float) -> None:
        for key in ((number, sheet), (number, None)):
            if key in self._told:
                self._told[key].left_s = t_s
                return
        for key, told in self._told.items():
            if key[0] == number and told.left_s is None and sheet is None:
                told.left_s = t_s

    def _progress(self, record: Mapping[str, Any]) -> None:
        told = self._told.get((record["stage"], record.get("sheet")))
        if told is None:
            return
        t_s, celsius = record["t_s"], record["developer_c"]
        dt_s = t_s - (told.begin_s if told.last_s is None else told.last_s)
        told.last_s = t_s
        told.mean_sum += celsius * dt_s
        told.mean_s += dt_s
        told.lowest_c = celsius if told.lowest_c is None else min(told.lowest_c, celsius)
        told.highest_c = celsius if told.highest_c is None else max(told.highest_c, celsius)
        if record["source"] in ESTIMATED:
            told.estimated_s += dt_s
        told.done_ref_s, told.done_sd_ref_s = record["done_ref_s"], record["done_sd_ref_s"]

    def lines(self) -> list[str]:
        """The summary, one sentence or stage a line."""
        out = [f"{self._name} ({self._mode}): {self._why or 'not closed'}."]
        for key in self._order:
            out += self._tell(self._told[key])
        out += [f"At {line}." for line in self._trust]
        if self._faults:
            out.append(f"FAULT sounded {self._faults} time{'s' if self._faults > 1 else ''}.")
        return out

    def _tell(self, told: _Told) -> list[str]:
        who = told.name if told.sheet is None else f"{told.name}, sheet {told.sheet}"
        left_s = told.left_s if told.left_s is not None else told.end_s
        took = f"planned {format_duration(told.target_ref_s)}" if told.target_ref_s > 0 else "no clock"
        if left_s is not None:
            took += f", took {format_duration(left_s - told.begin_s, 1)}"
        if told.end_s is not None and told.steered:
            moved_s = told.end_s - told.begin_s - told.target_ref_s
            took += f"; end moved {abs(moved_s):.0f} s {'later' if moved_s >= 0 else 'earlier'}"
        lines = [f"  {who}: {took}{' (begin assumed)' if told.assumed else ''}."]
        if told.done_ref_s is not None and told.mean_s > 0:
            percent = 100.0 * told.done_ref_s / told.target_ref_s
            sd = 200.0 * told.done_sd_ref_s / told.target_ref_s
            compared = "" if self._compared else ", probe not compared"
            known = f"{format_duration(told.estimated_s)} of it estimated" if told.estimated_s >= 1 else "all of it measured"
            mean_c = told.mean_sum / told.mean_s
            if told.steered:
                lines.append(f"    development done {percent:.1f} % +/- {sd:.1f} % (two standard deviations{compared});")
            else:
                lines.append(f"    by the clock, temperature did not move the time{compared};")
            lines.append(f"    developer {mean_c:.1f} C in the mean, {told.lowest_c:.1f} C to {told.highest_c:.1f} C; {known}.")
            lines += [f"    {line}." for line in self._bands]
        return lines
