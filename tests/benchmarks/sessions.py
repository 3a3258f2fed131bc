"""A case of `troubles` as a whole session: recipe, foot switch, sounds and journal are the real ones; then its review.

What differs from driving the estimator alone: READY, NOW and the end are fixed by the session's own rules, and the journal is
what a person would have the next day.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from monitor.core.development.handling import Handling
from monitor.core.recipe.reader import load_recipe
from monitor.core.session.effects import Effect, Hush, Play, Write
from monitor.core.session.session import Options, Session
from monitor.core.session.sounds import Mixer
from monitor.core.text.quantities import format_duration
from monitor.review.load import load
from monitor.review.measures import measure
from tests.benchmarks.troubles import Case

RECIPE = """schema = 1
name = "trouble"
film = "panchromatic"
vessel = "lidded tank"
[[stage]]
name = "develop"
role = "develop"
time = "{minutes}:{seconds:02d}"
reference = "20 C"
drain = "0:15"
{handling}rate = {{ law = "coefficient", per_10_c = 2.5, sd = {sd:g} }}
[[stage]]
name = "stop"
role = "stop"
time = "1:00"
"""
LEAST_SD = 1e-6
"""What a recipe may say of the law's doubt at the least."""
ON_S = 10.0
"""So long the readings go on after the developer has left: the probe stays in its liquid."""
BEGIN_S, TAP_S = 1.2, 0.2
"""How long the foot is down for a begin, and for a tap."""


@dataclass(frozen=True)
class Journaled:
    """A session that is over: where the develop stage ended (the tap came at the planned end), what live believed then, its records."""

    end_s: float
    done_ref_s: float
    sd_ref_s: float
    records: list[dict[str, Any]]


def said_of(handling: Handling) -> str:
    """A recipe's lines for how the vessel is handled."""
    held = [("from" if h.every_s is None else "every", format_duration(h.every_s or h.from_s or 0.0), h.for_s) for h in handling.held]
    bursts = ", ".join(f'{{ {word} = "{at}", for = "{format_duration(for_s)}" }}' for word, at, for_s in held)
    lines = [f"agitation = [{bursts}]", "in_hand = true"] if bursts else []
    lines += [] if handling.tempered is None else [f"tempered = {'true' if handling.tempered else 'false'}"]
    lines += [] if handling.volume_ml is None else [f'volume = "{handling.volume_ml:.0f} ml"']
    return "".join(f"{line}\n" for line in lines)


def play(case: Case) -> Journaled:
    """One press begins at `begin_s`, one tap says poured at the planned end."""
    minutes, seconds = divmod(round(case.target_ref_s), 60)
    if minutes * 60 + seconds != case.target_ref_s:
        raise ValueError(f"a recipe knows whole seconds, not {case.target_ref_s:g}")
    text = RECIPE.format(minutes=minutes, seconds=seconds, sd=LEAST_SD, handling=said_of(case.handling))
    plan = load_recipe(text.encode(), "trouble.toml")
    session = Session(plan, case.beliefs, Options("live", has_switch=True))
    mixer = Mixer()
    records: list[dict[str, Any]] = []

    def do(effects: Sequence[Effect]) -> None:
        for effect in effects:
            if isinstance(effect, Write):
                records.append(effect.record)
            elif isinstance(effect, Play):
                mixer.add(effect.sound, now)
            elif isinstance(effect, Hush):
                mixer.hush(effect.cues, now)

    now = 0.0
    probes: list[dict[str, Any]] = [
        {"probe": p.name, "id": None, "role": p.role, "lag_s": p.lag_s, "comparison_sd_c": p.comparison_sd_c, "compared": {}}
        for p in case.beliefs.probes
    ]
    vessel = None if case.beliefs.vessel is None else {"vessel": "lidded tank", **asdict(case.beliefs.vessel)}
    do(session.open(0.0, {"probes": probes, "vessel": vessel, "pour_c": case.beliefs.pour_c}))
    presses = [(case.begin_s, True), (case.begin_s + BEGIN_S, False)]
    position, end_s = 0, math.inf
    while now < end_s + ON_S and position < len(case.heard):
        at_s = case.heard[position][0]
        for other in (presses[0][0] if presses else None, mixer.next_onset_s, session.next_wake_s):
            if other is not None and other < at_s:
                at_s = other
        now = max(now, at_s)
        if presses and presses[0][0] <= at_s:
            do(session.press(now, presses.pop(0)[1]))
        elif case.heard[position][0] <= at_s:
            do(session.take(case.heard[position][1], now))
            position += 1
        elif mixer.next_onset_s is not None and mixer.next_onset_s <= at_s:
            step = mixer.step(now)
            for sound in step.began:
                do(session.sounded(sound, now, 0.0))
            for sound in step.dropped:
                do(session.dropped(sound, now))
        else:
            do(session.wake(now))
        awaits = session.awaits
        if end_s == math.inf and awaits.what == "pour" and awaits.at_s is not None and not presses:
            end_s = max(awaits.at_s, now)
            presses = [(end_s, True), (end_s + TAP_S, False)]
    told = [r for r in records if r["kind"] == "progress" and r["stage"] == 1]
    return Journaled(min(end_s, now), told[-1]["done_ref_s"], told[-1]["done_sd_ref_s"], records)


@dataclass(frozen=True)
class Reviewed:
    """What the review says of the develop stage to its end; seconds at the reference."""

    end_s: float
    done_ref_s: float
    sd_ref_s: float


def review(played: Journaled, folder: Path) -> Reviewed:
    """By way of the file, as `evenbath review` has it."""
    path = folder / "trouble.jsonl"
    lines = [{"seq": n, "session": "trouble", "wall": "2026-01-01T20:00:00.000Z", **record} for n, record in enumerate(played.records)]
    path.write_text("".join(json.dumps(line) + "\n" for line in lines), encoding="utf-8")
    stage = next(s for s in measure(load(path), only_counted=True).numbers.stages if s.stage == 1)
    assert stage.done_ref_s is not None
    assert stage.done_sd_ref_s is not None
    return Reviewed(stage.actual_end_s, stage.done_ref_s, stage.done_sd_ref_s)
