"""Words for what a view shows: temperatures with their place, age and doubt; times; what a sound means for the hands.

One rule above all: no temperature is said without its unit, where it is from, how old it is and its +/-; and where the
probe was never compared, that stands beside it. Two standard deviations everywhere. Pure. Tests: tests/live/view/test_screen.py.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from monitor.core.development.estimator import BATH_ALONE
from monitor.core.development.filter import QUANTUM_C
from monitor.core.journal.snapshot import Snapshot
from monitor.core.journal.trusted import PUT_BACK
from monitor.core.probes.learned import GLASS_SD_C, NOT_COMPARED_SD_C, WITNESS_SD_C
from monitor.core.probes.readings import IN_PART, NOT_ITS_BATH
from monitor.core.recipe.kinds import PLACES, VesselKind
from monitor.core.recipe.values import Stage
from monitor.core.text.degrees import degrees, in_unit_shown, span, unit
from monitor.core.text.doubt import two_sd
from monitor.core.text.quantities import format_duration

if TYPE_CHECKING:
    from monitor.live.view.state import LastReading

SOUNDS = {
    "tick": "TICK: agitate",
    "ready": "READY: stand by",
    "now": "NOW: pour",
    "fault": "FAULT",
    "answer": "ANSWER to the switch",
    "yes": "YES: trusted, or settled",
    "over": "OVER: the fixing minimum is over",
    "click": "click: the switch was felt",
}
QUALITIES = {
    "missing": "is not on the bus",
    "crc": "cannot be read",
    "reset": "says only that it was switched on",
    "stuck": "repeats one value",
    "implausible": "says something impossible",
    "stale": "is silent",
}
GATES = {
    "withheld": "closed: the start is withheld until the developer is steady",
    "open": "open: the start is free",
    "overridden": "overridden by you; your reason stands in the journal",
}


def age(age_s: float | None) -> str:
    """How old, in words."""
    if age_s is None:
        return "never read"
    if age_s < 1.0:
        return "just read"
    return f"{age_s:.0f} s ago" if age_s < 60.0 else f"{format_duration(age_s)} ago"


def begins(in_s: float) -> str:
    """When a film that waits for its turn is to begin by the evening's plan, or was to."""
    if in_s <= -1.0:
        return f"was to begin {format_duration(float(int(-in_s)))} ago"
    return f"begins in {format_duration(float(int(in_s)))}" if in_s >= 1.0 else "begins now"


def begins_coarsely(in_s: float) -> str:
    """The same in words that change once a minute, and half a minute before."""
    if in_s >= 60.0:
        return f"begins in {int(in_s // 60)} min"
    if in_s > -60.0:
        return "begins in less than a minute" if in_s > 30.0 else "begins in 0:30 or less" if in_s > 0.0 else "begins now"
    return f"was to begin {int(-in_s // 60)} min ago"


def doubt(sd_c: float) -> str:
    """Two standard deviations of a temperature, rounded up so that none is ever shown as none."""
    return f"+/- {math.ceil(span(two_sd(sd_c)) * 100.0 - 1e-6) / 100.0:.2f} {unit()}"


def reading_sd(sd_c: float) -> float:
    """The standard uncertainty of one reading, C: that of the probe's comparison (`sd_c`) and of its own steps."""
    return math.hypot(sd_c, QUANTUM_C / math.sqrt(12.0))


def probe_sd_c(probe: Mapping[str, Any]) -> float:
    """The standard uncertainty of a probe's comparison, C, where no session tells it. `probe`: as the station's status has it.

    An older station does not tell it: a compared probe counts then as compared with a glass thermometer.
    """
    told = probe.get("comparison_sd_c")
    if told is not None:
        return float(told)
    sd_c = GLASS_SD_C if probe["compared"] else NOT_COMPARED_SD_C
    return math.hypot(sd_c, WITNESS_SD_C) if probe["role"] == "witness" else sd_c


def source(named: str, coupled_to: str = "bath") -> str:
    """Whose temperature the developer's is."""
    return {
        "developer": "probe in the developer",
        "witness": "probe in the witness vessel",
        "vessel model": f"estimated from the {coupled_to}",
        "held": "held from the last believed reading",
        "clock": "never measured: where the plan puts it",
    }.get(named, named)


def in_doubt(probe: str, why: str, since: str = "") -> str:
    """What is to be known of a probe while the temperature is trusted (`Snapshot.doubts`); `since`: when it began, as words."""
    if why.startswith(IN_PART):
        return f"{probe} counts in part: the bath speaks against it"
    if why.startswith(NOT_ITS_BATH):
        return f"{probe} NOT believed{since}: {in_unit_shown(why.removeprefix(NOT_ITS_BATH))}; {PUT_BACK}"
    return why if why == BATH_ALONE else f"{probe} NOT believed{since}: {in_unit_shown(why)}"


def swapped(exchanged: tuple[str, str]) -> str:
    """What is to be known of two probes that hang in each other's liquid."""
    return f"{exchanged[0]} and {exchanged[1]} are exchanged: each is taken for the other; leave them"


def limit(compared: bool, colour: bool) -> str:
    """What stands on every line with a number that hangs on a probe that was never compared. Empty where it was."""
    if compared:
        return ""
    return "not verified (probe not compared)" if colour else "not compared"


def developer(seen: Snapshot, coupled_to: str = "bath") -> tuple[str, str]:
    """The developer's temperature: the figure with its doubt, and where it is from and how old."""
    if seen.developer_c is None:
        return "not known", ""
    figure = f"{degrees(seen.developer_c, '.2f')} {doubt(seen.developer_sd_c or 0.0)}"
    words = source(seen.source, coupled_to)
    if seen.source in ("developer", "witness", "held"):
        return figure, f"{words}, {age(seen.developer_age_s)}"
    return figure, f"{words}; own probe {age(seen.developer_age_s)}"


def reading(name: str, told: LastReading, sd_c: float, now_s: float) -> tuple[str, str]:
    """A probe's last good reading: the figure with its doubt, and where it is from, how old, and whether the probe still speaks."""
    silent = "" if told.quality == "good" else f"; it {QUALITIES.get(told.quality, told.quality)}"
    if told.celsius is None:
        return "not known", f'probe "{name}"{silent}'
    figure = f"{degrees(told.celsius, '.2f')} {doubt(reading_sd(sd_c))}"
    return figure, f'probe "{name}", {age(max(0.0, now_s - told.t_s))}{silent}'


def bounds(seen: Snapshot) -> tuple[float, float] | None:
    """Earliest and latest end, session seconds, where one figure with +/- would claim too much: after a power cut, and where nothing
    ever measured the developer. None elsewhere."""
    if seen.end_between_s is not None or not seen.steered or seen.source != "clock":
        return seen.end_between_s
    end_s, around_s = seen.end_t_s or 0.0, two_sd(seen.end_sd_s or 0.0)
    return max(seen.began_s or 0.0, end_s - around_s), end_s + around_s


def end(seen: Snapshot, of_it: str = "", from_s: float | None = None) -> str:
    """When the stage ends, on its own clock or on one that began at `from_s` (`of_it`: words that say which): one figure with +/-, or
    two times where that would claim too much."""
    end_s, zero_s = seen.end_t_s or 0.0, (seen.began_s or 0.0) if from_s is None else from_s
    at, between = format_duration(end_s - zero_s), bounds(seen)
    if between is None:
        return f"at {at}{of_it}" + (f" +/- {two_sd(seen.end_sd_s or 0.0):.0f} s" if seen.steered else "")
    first, last = (format_duration(max(0.0, t - zero_s)) for t in between)
    why = "nothing measured the developer" if seen.end_between_s is None else "the power was gone"
    return f"between {first} and {last}{of_it}, counted {at}: {why}"


def done(seen: Snapshot) -> str:
    """The share of the development with its +/-; "not known" where nothing ever measured the developer; empty where nothing counts it,
    and where the clock alone ends it: a share of the time is no development."""
    if not seen.steered or seen.done_ref_s is None or seen.done_sd_ref_s is None or seen.target_ref_s is None:
        return ""
    if seen.source == "clock":
        return "not known"
    return f"{percent(seen.done_ref_s, seen.target_ref_s):.1f} % +/- {percent(two_sd(seen.done_sd_ref_s), seen.target_ref_s):.1f} %"


def left(seconds: float) -> str:
    """Time left, whole seconds, rounded up so that 0:00 is the moment itself."""
    return format_duration(float(math.ceil(max(0.0, seconds) - 1e-6)))


def moved(moved_s: float) -> str:
    """By how much an end has moved, always from the recipe's plan."""
    if abs(moved_s) < 0.5:
        return "end as planned"
    return f"end {abs(moved_s):.0f} s {'later' if moved_s >= 0 else 'earlier'} than planned"


def limit_passed(at_most_s: float, passed_s: float, following: Stage | None, vessel: VesselKind) -> str:
    """A stage is past the longest time that its recipe allows. `passed_s`: by how much."""
    then = "" if following is None else f"; then {next_pour(following, vessel)}"
    return f"LIMIT PASSED {format_duration(float(int(passed_s)))}: take it out{then}"


def jug(stage: Stage, vessel: VesselKind) -> str:
    """What is poured for a stage, or what it is laid into, and where that stands."""
    what = stage.solution or stage.name
    return what if stage.jug is None else f"{what}, {PLACES[vessel]} {stage.jug}"


def next_pour(stage: Stage, vessel: VesselKind) -> str:
    """A stage as the one that comes next."""
    return stage.name.upper() if stage.solution is None and stage.jug is None else f"{stage.name.upper()}: {jug(stage, vessel)}"


def how_long(stage: Stage) -> str:
    """A stage's time as it stands behind its name; empty where it has none."""
    if stage.has_no_clock:
        return ""
    time = f" {format_duration(stage.target_ref_s)}"
    if stage.until != "at least":
        return time
    return f" from{time}" if stage.at_most_s is None else f"{time} to {format_duration(stage.at_most_s)}"


def loading(following: Stage | None) -> str:
    """What there is to say of a loading without a time. `following`: the stage after it, if there is one."""
    then = "ends it" if following is None else "says that the lid is on"
    return f"dark, silent, no clock; a press of a second {then}"


def percent(done_ref_s: float, target_ref_s: float) -> float:
    """Share of the development, %."""
    return 100.0 * done_ref_s / target_ref_s if target_ref_s > 0 else 100.0
