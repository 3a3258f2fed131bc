"""Invented journals for the tests of the review: deterministic, by the contract's section 5, with the truth beside them.

`play` lets a recipe (as data) run over liquids that are plain functions of time. The hands are on time unless they are told
otherwise (`late_s`); the stages end where the true integral of the rate says, so a review can be held against the truth.
This is no rehearsal: the live estimate in the progress records is the truth with a stated error, not a filter's.
"""

from __future__ import annotations

import bisect
import json
import math
import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

Liquid = Callable[[float], float]

LAW: Mapping[str, Any] = {"law": "coefficient", "per_10_c": 2.5, "sd": 0.1}


def coefficient_rate(celsius: float, per_10_c: float = 2.5, reference_c: float = 20.0) -> float:
    """r(T) of `LAW`, written out here a second time so that the tests do not lean on the code under test."""
    return float(per_10_c ** ((celsius - reference_c) / 10.0))


def recipe_data(**changes: Any) -> dict[str, Any]:
    """Presoak 1:00, develop 11:00 at 20 C (drain 0:15), stop 0:30, fix at least 5:00. `changes` go into the develop stage."""
    develop: dict[str, Any] = {
        "name": "develop",
        "role": "develop",
        "time": "11:00",
        "reference": "20 C",
        "rate": dict(LAW),
        "drain": "0:15",
        "band": "0.5 C",
        "agitation": [{"from": "0:00", "for": "0:30"}, {"every": "1:00", "for": "0:10"}],
        "solution": "developer A",
        "jug": 1,
    }
    develop.update(changes)
    return {
        "schema": 1,
        "name": "Roll film, cold laundry",
        "film": "panchromatic",
        "vessel": "lidded tank",
        "contents": {"what": "one 36-exposure roll, marked 14", "area_units": 1.0},
        "stage": [
            {"name": "presoak", "role": "presoak", "time": "1:00"},
            {k: v for k, v in develop.items() if v is not None},
            {"name": "stop", "role": "stop", "time": "0:30"},
            {"name": "fix", "role": "fix", "time": "5:00"},
        ],
    }


@dataclass(frozen=True, slots=True)
class Fault:
    """From `from_s` until `to_s` the developer probe is out: `kind` is a quality, or `air` (reads the room, and is disbelieved
    after `noticed_s`, believed again `back_s` after its return)."""

    kind: str
    from_s: float
    to_s: float
    noticed_s: float = 10.0
    back_s: float = 35.0


@dataclass(slots=True)
class Played:
    """A journal and the truth: records, and for every (stage, sheet) the true integral to the actual end."""

    records: list[dict[str, Any]] = field(default_factory=list)
    true_done_ref_s: dict[tuple[int, int | None], float] = field(default_factory=dict)
    begins: dict[tuple[int, int | None], float] = field(default_factory=dict)
    ends: dict[tuple[int, int | None], float] = field(default_factory=dict)

    def lines(self) -> list[bytes]:
        """The file, as lines of bytes."""
        return [(json.dumps(r, ensure_ascii=False, separators=(",", ":")) + "\n").encode() for r in self.records]

    def write(self, path: Path) -> Path:
        """Write the file and return its path."""
        path.write_bytes(b"".join(self.lines()))
        return path


def _seconds(text: str) -> float:
    minutes, seconds = text.split(":")
    return int(minutes) * 60 + float(seconds)


class _Writer:
    """Collects records and gives them their seq in the order of the time of writing."""

    def __init__(self, session: str, start_wall: int) -> None:
        self.session = session
        self.start_wall = start_wall
        self.pending: list[tuple[float, int, dict[str, Any]]] = []

    def add(self, written_s: float, t_s: float, kind: str, **fields: Any) -> dict[str, Any]:
        record = {"t_s": t_s, "kind": kind, **fields}
        self.pending.append((written_s, len(self.pending), record))
        return record

    def finish(self) -> list[dict[str, Any]]:
        self.pending.sort(key=lambda p: (p[0], p[1]))
        records = []
        for seq, (written_s, _, record) in enumerate(self.pending, 1):
            total = self.start_wall + int(written_s)
            wall = f"2026-03-{1 + total // 86400:02d}T{total // 3600 % 24:02d}:{total // 60 % 60:02d}:{total % 60:02d}Z"
            records.append({"seq": seq, "session": self.session, "t_s": record["t_s"], "wall": wall, **record})
        numbers = {id(p[2]): seq for seq, p in enumerate(self.pending, 1)}
        for record in records:
            if isinstance(record.get("replaces_seq"), list):  # a reference to another record, filled in now
                record["replaces_seq"] = numbers[record["replaces_seq"][0]]
        return records


class _Liquids:
    """Truth and its integral on a fine grid, as far as it is asked for."""

    def __init__(self, developer: Liquid, per_10_c: float, reference_c: float) -> None:
        self._rate: Callable[[float], float] = lambda t: coefficient_rate(developer(t), per_10_c, reference_c)
        self._step_s = 0.25
        self._newest = self._rate(0.0)
        self._sums = [0.0]

    def _go_on(self) -> None:
        before, self._newest = self._newest, self._rate(len(self._sums) * self._step_s)
        self._sums.append(self._sums[-1] + 0.5 * (before + self._newest) * self._step_s)

    def upto(self, t_s: float) -> float:
        """The integral from 0 to `t_s`."""
        at = max(t_s, 0.0) / self._step_s
        i = int(at)
        while len(self._sums) < i + 2:
            self._go_on()
        return self._sums[i] + (at - i) * (self._sums[i + 1] - self._sums[i])

    def reaches(self, from_s: float, target_ref_s: float) -> float:
        """When the integral from `from_s` on comes to the target."""
        want = self.upto(from_s) + target_ref_s
        while self._sums[-1] < want:
            self._go_on()
        i = bisect.bisect_left(self._sums, want)
        low, high = self._sums[i - 1], self._sums[i]
        return (i - 1 + (want - low) / (high - low)) * self._step_s


def play(
    data: Mapping[str, Any],
    developer: Liquid,
    *,
    bath: Liquid | None = None,
    room: Liquid | None = None,
    session: str = "260301-1",
    mode: str = "live",
    lag_s: float = 8.0,
    noise_c: float = 0.02,
    probe_start_c: float | None = None,
    comparison_sd_c: float = 0.1,
    offset_c: float = 0.0,
    faults: Sequence[Fault] = (),
    late_s: Mapping[int, float] | None = None,
    missed: Sequence[int] = (),
    live_error_percent: float = 0.0,
    estimated_source: str = "held",
    seed: int = 1,
    close: bool = True,
    wash_s: float = 0.0,
    start_day: int = 0,
) -> Played:
    """Play a recipe over liquids. `late_s`: how late the hands are at the begin of a stage (by number); `missed`: stages whose
    begin was assumed and corrected `late_s` afterwards. Steered stages use the coefficient law of the stage's `rate`."""
    made = Played()
    writer = _Writer(session, start_day * 86400 + 19 * 3600)
    stages = data["stage"]
    late_s = late_s or {}
    probes: list[dict[str, Any]] = [{"probe": "developer", "role": "developer", "lag_s": lag_s, "comparison_sd_c": comparison_sd_c}]
    if comparison_sd_c < 0.28:
        probes[0]["compared"] = {
            "wall": "2026-02-20T18:00:00Z",
            "against": "glass thermometer 3",
            "at_c": 20.1,
            "offset_c": 0.12,
            "sd_c": comparison_sd_c,
        }
    probes += [{"probe": n, "role": n, "lag_s": 0.0, "comparison_sd_c": 0.29} for n, liquid in (("bath", bath), ("room", room)) if liquid]
    writer.add(
        -0.5,
        0.0,
        "session",
        event="open",
        schema=1,
        recipe=dict(data),
        mode=mode,
        version="0.1.0",
        zone="Europe/Dublin",
        probes=probes,
        solutions=[{"solution": "developer A", "dilution": "1+31", "mixed": "2026-03-01T18:40:00Z", "area_units": 1.0, "age_s": 1500.0}],
    )
    liquids: dict[int, _Liquids] = {}
    at = 0.0
    steered: list[tuple[float, float, int, int | None, float, Callable[[float], float], float]] = []
    last_number = len(stages)
    sheets = data.get("sheets")
    begins_by_sheet: dict[int | None, float] = {None: 0.0}
    for number, stage in enumerate(stages, 1):
        factor = float(stage.get("factor", 1.0))
        time_s = _seconds(stage["time"]) * factor
        until = stage.get("until", "at least" if stage["role"] in ("load", "fix", "wash", "wash aid", "rinse", "hold") else "time")
        drain_s = _seconds(stage["drain"]) if "drain" in stage else (5.0 if sheets else 10.0)
        law = stage.get("rate")
        if law is not None and law["law"] == "coefficient":
            reference = float(stage["reference"].split()[0])
            liquids[number] = _Liquids(developer, law["per_10_c"], reference)
        keys: list[int | None] = [None]
        if sheets and (stage["role"] == "develop" or None not in begins_by_sheet):
            keys = list(range(1, sheets["count"] + 1)) if stage["role"] in ("develop", "stop") else [None]
        if stage["role"] == "develop" and sheets:
            begins_by_sheet = {k: at + (k - 1) * _seconds(sheets["interval"]) for k in keys if k is not None}
        elif keys == [None]:
            begins_by_sheet = {None: at}
        next_begins: dict[int | None, float] = {}
        for key in keys:
            begin = begins_by_sheet[key]
            made.begins[number, key] = begin
            extra = {"sheet": key} if key is not None else {}
            if number in missed:
                actual = begin + late_s.get(number, 0.0)
                first = writer.add(begin, begin, "stage", stage=number, name=stage["name"], event="begin", assumed=True, **extra)
                writer.add(actual, actual, "tap", meaning="poured", length_s=0.3)
                writer.add(actual, actual, "correction", stage=number, begin_t_s=actual, replaces_seq=[id(first)], **extra)
                made.begins[number, key] = begin = actual
            else:
                begin += late_s.get(number, 0.0)
                made.begins[number, key] = begin
                writer.add(begin, begin, "tap", meaning="begin" if number == 1 else "poured", length_s=1.2 if number == 1 else 0.3)
                writer.add(begin, begin, "stage", stage=number, name=stage["name"], event="begin", **extra)
            share = float(sheets["factors"][key - 1]) if sheets and key is not None and "factors" in sheets else 1.0
            target = time_s * (share if stage["role"] == "develop" else 1.0)
            moves = law is not None and stage.get("steer", True)
            if moves:
                end = liquids[number].reaches(begin, target)
            else:
                end = begin + target
            if until == "time":
                now = end - drain_s
                if key in (None, 1):
                    writer.add(now - 30.0, now - 30.0, "stage", stage=number, name=stage["name"], event="ready", **extra)
                    writer.add(now - 30.0, now - 30.0, "cue", cue="ready", lateness_s=0.004 if mode == "live" else None, **extra)
                writer.add(now, now, "stage", stage=number, name=stage["name"], event="now", **extra)
                writer.add(now, now, "cue", cue="now", lateness_s=0.006 if mode == "live" else None, **extra)
                writer.add(end, end, "stage", stage=number, name=stage["name"], event="end", **extra)
            else:
                writer.add(end, end, "stage", stage=number, name=stage["name"], event="minimum", **extra)
                writer.add(end, end, "cue", cue="ready", lateness_s=0.002 if mode == "live" else None, **extra)
                writer.add(end, end, "stage", stage=number, name=stage["name"], event="end", **extra)
            made.ends[number, key] = end
            next_begins[key] = end
            if moves:
                until_s = end + (late_s.get(number + 1, 0.0))
                steered.append((begin, until_s, number, key, target, developer, end))
            if stage.get("agitation"):
                for k in range(30):
                    writer.add(begin + k + 1, begin + k + 1, "cue", cue="tick", lateness_s=0.003 if mode == "live" else None, **extra)
        begins_by_sheet = next_begins
        at = max(next_begins.values())
    total = at + wash_s
    _reading_records(writer, developer, bath, room, total, lag_s, noise_c, probe_start_c, offset_c, faults, seed)
    _progress_records(writer, steered, liquids, faults, live_error_percent, comparison_sd_c, estimated_source)
    for fault in faults:
        writer.add(
            fault.from_s + fault.noticed_s,
            fault.from_s + fault.noticed_s,
            "trust",
            probe="developer",
            believed=False,
            why=fault.kind,
            since_t_s=fault.from_s + 1.0,
        )
        if fault.to_s + fault.back_s < total:
            back = fault.to_s + fault.back_s
            writer.add(back, back, "trust", probe="developer", believed=True, why="agrees again", since_t_s=back)
    if close:
        writer.add(total + 0.01, total, "session", event="close", why="finished")
    made.records = writer.finish()
    for number in range(1, last_number + 1):
        for (n, key), begin in made.begins.items():
            if n == number and number in liquids:
                following = made.begins.get((number + 1, key), made.begins.get((number + 1, None), total if number == last_number else at))
                made.true_done_ref_s[n, key] = liquids[number].upto(following) - liquids[number].upto(begin)
    return made


def _reading_records(
    writer: _Writer,
    developer: Liquid,
    bath: Liquid | None,
    room: Liquid | None,
    total: float,
    lag_s: float,
    noise_c: float,
    probe_start_c: float | None,
    offset_c: float,
    faults: Sequence[Fault],
    seed: int,
) -> None:
    chance = random.Random(seed)
    probe = developer(0.0) if probe_start_c is None else probe_start_c
    seconds = int(total) + 1
    stuck: float | None = None
    for second in range(seconds):
        t = float(second)
        fault = next((f for f in faults if f.from_s <= t < f.to_s), None)
        if second:
            liquid, lag = developer(t), lag_s
            if fault is not None and fault.kind == "air":
                liquid, lag = (room or (lambda _: 8.0))(t), 120.0
            elif any(f.kind == "air" and f.to_s <= t < f.to_s + 200 for f in faults):
                lag = lag_s
            probe = liquid + (probe - liquid) * math.exp(-1.0 / lag) if lag > 0 else liquid
        code = round((probe + offset_c + chance.gauss(0.0, noise_c)) / 0.0625) * 0.0625
        raw: float | None = code
        quality = "good"
        if fault is not None and fault.kind != "air":
            quality = fault.kind
            stuck = code if stuck is None else stuck
            raw = {"missing": None, "crc": None, "reset": 85.0, "stuck": stuck}[fault.kind]
        celsius = raw if quality == "good" else None
        writer.add(t + 0.4, t, "reading", probe="developer", role="developer", raw_c=raw, celsius=celsius, quality=quality)
        for name, other in (("bath", bath), ("room", room)):
            if other is not None:
                value = round((other(t) + chance.gauss(0.0, noise_c)) / 0.0625) * 0.0625
                writer.add(t + 0.5, t, "reading", probe=name, role=name, raw_c=value, celsius=value, quality="good")


def _progress_records(
    writer: _Writer,
    steered: Sequence[tuple[float, float, int, int | None, float, Liquid, float]],
    liquids: Mapping[int, _Liquids],
    faults: Sequence[Fault],
    live_error_percent: float,
    comparison_sd_c: float,
    estimated_source: str,
) -> None:
    for begin, until_s, number, key, target, developer, end in steered:
        t = begin
        while t <= until_s + 1e-9:
            out = any(f.from_s + f.noticed_s <= t < f.to_s + f.back_s for f in faults)
            done = (liquids[number].upto(t) - liquids[number].upto(begin)) * (1 + live_error_percent / 100.0)
            extra = {"sheet": key} if key is not None else {}
            writer.add(
                t,
                t,
                "progress",
                stage=number,
                **extra,
                developer_c=developer(t),
                developer_sd_c=0.3 if out else max(0.02, comparison_sd_c),
                done_ref_s=done,
                target_ref_s=target,
                done_sd_ref_s=0.03 * done,
                end_t_s=end,
                source=estimated_source if out else "developer",
            )
            t += 2.0
