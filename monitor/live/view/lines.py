"""A session in plain lines, for a pipe or a file: one when something changes, and each whole minute once.

The count of minutes never goes back: where the end has moved, that is said once. They hang on the records alone, so the same
records give the same lines. Times are on the clock at the left. Pure. Tests: tests/live/view/test_screen.py, tests/cli/test_demo.py.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

from monitor.core.text.quantities import format_duration
from monitor.live.view import words
from monitor.live.view.state import Watched


class PlainLines:
    """Give it every record in order; it gives the lines that these are worth."""

    def __init__(self, watched: Watched) -> None:
        self._watched = watched
        self._minute: tuple[Any, int] | None = None
        self._now_for: tuple[Any, Any] | None = None

    def record(self, record: Mapping[str, Any]) -> list[str]:
        """The lines for one record."""
        self._watched.record(record)
        said = [line for line in self._of(record) if line]
        for moved_s in self._watched.take_moved():
            said.append(f"{words.moved(moved_s)}: {self._end(self._watched.state)}")
        minute = self._whole_minute()
        if minute is not None:
            said.append(minute)
        return [f"{format_duration(float(record['t_s'])):>8}  {line}" for line in said]

    def _of(self, record: Mapping[str, Any]) -> Iterator[str | None]:
        kind = record["kind"]
        if kind == "stage":
            yield self._stage(record)
        elif kind == "cue":
            yield self._cue(record)
        elif kind == "trust":
            yield self._trust(record)
        elif kind == "gate":
            why = f": {record['why']}" if "why" in record else ""
            yield f"gate {words.GATES.get(record['state'], record['state'])}{why}"
        elif kind == "correction":
            yield f"the begin of stage {record['stage']} is put right by the tap: {format_duration(record['begin_t_s'])}"
        elif kind in ("trouble", "fault"):
            yield f"{record.get('part', 'the tool')}: {record['why']}"
        elif kind == "session" and record["event"] == "resume":
            gap = "" if record["same_boot"] else "; nobody knows how long the power was gone: count on the second clock"
            yield f"taken up again{gap}"
        elif kind == "session" and record["event"] == "close":
            yield f"closed: {record['why']}"

    def _stage(self, record: Mapping[str, Any]) -> str | None:
        state = self._watched.state
        stage = state["stages"][record["stage"] - 1]
        sheet = f", sheet {record['sheet']}" if "sheet" in record else ""
        name, event = f"{record['name'].upper()}{sheet}", record["event"]
        if words.untimed_load(stage) and event in ("begin", "minimum"):
            following = state["stages"][record["stage"]] if record["stage"] < len(state["stages"]) else None
            return f"{name} begins: {words.loading(following)}" if event == "begin" else None
        if event == "begin":
            assumed = " (assumed: no tap said so)" if record.get("assumed") else ""
            if "target_ref_s" not in record:
                return f"{name} begins{assumed}"
            least = "at least " if stage["until"] == "at least" else ""
            return f"{name} begins{assumed}: {words.jug(stage)}, {least}{format_duration(record['target_ref_s'])}{self._following(record)}"
        if event == "ready":
            off, end = format_duration(record["now_t_s"], 1), format_duration(record["end_t_s"], 1)
            return f"READY, {name}: pour off at {off}, end {end}, both fixed from here on{self._following(record)}"
        if event == "minimum":
            return f"{name}: the minimum is over{self._following(record)}"
        if event == "end":
            return None if stage["until"] == "at least" else f"{name}: the end"
        return None

    def _following(self, record: Mapping[str, Any]) -> str:
        stages = self._watched.state["stages"]
        return f"; next {words.next_pour(stages[record['stage']])}" if record["stage"] < len(stages) else "; the last stage"

    def _cue(self, record: Mapping[str, Any]) -> str | None:
        cue = record["cue"]
        if cue in ("tick", "click"):
            return None
        seen = self._watched.seen
        if cue == "now":
            film = (seen["stage"], record.get("sheet"))
            if film == self._now_for:
                return None  # a repeat
            self._now_for = film
        why = f": {record['why']}" if record.get("why") else ""
        return f"sounded {words.SOUNDS.get(cue, cue)}{why}"

    def _trust(self, record: Mapping[str, Any]) -> str:
        since = format_duration(record["since_t_s"])
        if record["believed"]:
            return f"{record['probe']} believed, since {since}: {record['why']}"
        state = self._watched.state
        instead = ""
        if "source" in record:
            instead = f"; from here on {words.source({'source': record['source']}, state['coupled_to'])}; time goes on"
        return f"{record['probe']} NOT believed, since {since}: {record['why']}{instead}"

    def _whole_minute(self) -> str | None:
        """A whole minute to the end, each once and only downwards."""
        state = self._watched.state
        seen, left_s = state["seen"], state["left_s"]
        if left_s is None or seen["stage"] is None or seen["target_ref_s"] < 60.0:
            return None
        film, minute = (seen["stage"], seen.get("sheet"), seen["began_s"]), int(left_s // 60.0)
        if self._minute is None or self._minute[0] != film:
            self._minute = (film, math.ceil(left_s / 60.0) - 1)
            return None
        if minute >= self._minute[1]:
            return None
        self._minute = (film, minute)
        left = f"{minute + 1} min left"
        if seen["role"] != "develop":
            return f"{left} in {seen['name']}"
        figure, where = words.developer(seen, state["coupled_to"])
        limit = words.limit(bool(seen["compared"]), bool(state["colour"]))
        told = [f"developer {figure}" + (f" ({where})" if where else ""), self._done(seen), self._end(state), limit]
        return f"{left}: " + "; ".join(part for part in told if part)

    @staticmethod
    def _done(seen: Mapping[str, Any]) -> str:
        if seen.get("done_ref_s") is None:
            return ""
        share = words.percent(seen["done_ref_s"], seen["target_ref_s"])
        return f"done {share:.1f} % +/- {words.percent(2.0 * seen['done_sd_ref_s'], seen['target_ref_s']):.1f} %"

    @staticmethod
    def _end(state: Mapping[str, Any]) -> str:
        seen = state["seen"]
        doubt = f" +/- {2.0 * (seen.get('end_sd_s') or 0.0):.0f} s" if seen["steered"] else ""
        return f"end {format_duration(seen['end_t_s'])}{doubt}"
