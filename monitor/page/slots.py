"""What stands in each slot of the page, in words: the terminal's own where it has them, else those of `sentences`.

The slots are always the same and keep their places: head, trust or FAULT, hands (hint, figure, verb), rail, temperature, trace, then.
Pure. Tests: tests/page/test_slots.py.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from monitor.core.journal.snapshot import Snapshot
from monitor.core.recipe.values import Stage
from monitor.core.text.controls import one_line
from monitor.core.text.degrees import degrees, difference, in_unit_shown, unit
from monitor.core.text.doubt import share, two_sd
from monitor.core.text.quantities import format_duration
from monitor.core.text.typeset import typeset
from monitor.live.view import words
from monitor.live.view.hands import Hands, agitation, gate, hands, moment_s
from monitor.live.view.state import Point, ViewState
from monitor.live.view.trust import trust
from monitor.page import sentences
from monitor.page.pictures import rail

MOST_TRUST = 118
"""Characters of the trust slot: three lines of 358 px at 16 px."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Slots:
    """`fault`: in place of `trust`. `counts`: the figure counts down with `to_pour_s`. `frame`: none, thin (READY) or thick (NOW). `said`:
    read aloud where it changes. `more`: what stands under Numbers, name and words. `report`: the session whose report is linked.
    `closed`: the time of day at which it was. `whose`: vessel and film, where the station has two vessels.
    """

    head: str
    trust: str = ""
    fault: str = ""
    hint: str = ""
    figure: str = ""
    verb: str = ""
    temperature: str = ""
    temperature_of: str = ""
    rail: str = ""
    trace: str = ""
    then: str = ""
    said: str = ""
    frame: str = ""
    counts: bool = False
    report: str = ""
    closed: str = ""
    whose: str = ""
    more: Sequence[tuple[str, str]] = field(default=())

    def plain(self) -> dict[str, Any]:
        """For the browser. Our own words with their signs; nothing that came from outside has a control character in it."""
        told = asdict(self)
        for name in ("head", "trust", "fault", "hint", "figure", "verb", "temperature", "temperature_of", "then", "said", "whose"):
            told[name] = typeset(one_line(told[name]))
        return {**told, "more": [[typeset(one_line(a)), typeset(one_line(b))] for a, b in self.more]}


def kind(state: ViewState) -> str:
    """Which of the contract's states it is: waiting, gate, running, ready, now or done."""
    seen = state.seen
    if state.closed is not None:
        return "done"
    if seen.stage is None:
        return "gate" if seen.gate == "withheld" else "waiting"
    if hands(state).alarm:
        return "now"
    if seen.began_s is None or seen.end_t_s is None or state.stage is None or state.stage.has_no_clock:
        return "running"
    over = state.t_s >= seen.end_t_s if seen.until != "time" else seen.ready_s is not None and state.t_s >= seen.ready_s
    return "ready" if over else "running"


def fault_told(state: ViewState) -> str | None:
    """The newest FAULT that stands, its reason and what to do; None where none stands."""
    if not state.faults:
        return None
    fault, began_s = state.faults[-1], state.seen.began_s or 0.0
    at = "" if fault.t_s is None or fault.t_s < began_s else f" {format_duration(float(int(fault.t_s - began_s)))}"
    return f"{sentences.FAULT}{at} {in_unit_shown(fault.why)}. {fault.do}"


def of_session(state: ViewState, points: Sequence[Point], picture: str) -> Slots:
    """A session that is armed or runs. `picture`: of its temperatures."""
    seen, stage, told, which = state.seen, state.stage, hands(state), kind(state)
    here = stage or state.stages[(seen.waits_for or 1) - 1]
    name = here.name.upper()
    head = sentences.WAITS.format(stage=name) if which == "waiting" else sentences.HEADS.get(which, name).format(stage=name)
    temperature, temperature_of = _temperature(state)
    slots = Slots(
        head=sentences.OF.format(head=head, stage=here.number, stages=len(state.stages)),
        trust=_trust(state),
        figure=told.figure,
        then=_then(state, here),
        rail=rail(state),
        trace=picture,
        more=_more(state, told),
        temperature=temperature,
        temperature_of=temperature_of,
    )
    if which == "gate":
        slots = _at_the_gate(slots, state, here, points)
    elif stage is None:
        slots = replace(slots, hint=sentences.HOLD_TO_BEGIN, verb=f"{told.verb}{told.rest}".strip())
    elif which == "now":
        slots = replace(slots, hint=_after_now(state), verb=f"{told.verb}{told.rest}".strip(), frame="thick")
    else:
        lead = told.lead.removeprefix("READY ")
        slots = replace(slots, hint=_hint(state, stage), verb=_verb(told, lead), frame="thin" if which == "ready" else "")
    if told.urgent:
        slots = replace(slots, hint=told.under)
    fault = fault_told(state) or ""
    slots = replace(slots, fault=fault, counts=told.left_s is not None and which in ("running", "ready") and not told.urgent)
    return replace(slots, said=". ".join(part for part in (slots.head, _said(which, slots), fault) if part))


def _said(which: str, slots: Slots) -> str:
    """What is read aloud beside the head: the verb where it does not count down with the figure."""
    return slots.verb if which in ("now", "ready", "waiting") else ""


def _verb(told: Hands, lead: str) -> str:
    """In a timed stage the moment alone; where a tap has to be explained, the sentence."""
    return f"{lead} {told.verb}" if told.verb.startswith(("POUR", "LIFT", "LAY", "LOWER")) else f"{lead} {told.verb}{told.rest}".strip()


def _trust(state: ViewState) -> str:
    parts = [part for part in trust(state) if part]
    news = [*([gate(state)] if gate(state) else []), *dict.fromkeys(state.notices[-1:])]
    parts = [*news, *parts]
    while len(parts) > 1 and len("; ".join(parts)) > MOST_TRUST:
        parts.pop()
    told = "; ".join(parts)
    told = _whose_probe(state, told)
    return f"{told[:1].upper()}{told[1:]}." if told else ""


def _whose_probe(state: ViewState, told: str) -> str:
    """The view's words; after the development nothing is said to be in the developer, which is in the drain by then."""
    if state.stage is None or state.stage.role in ("load", "presoak", "develop"):
        return told
    return told.replace(words.source("developer"), sentences.OWN_PROBE)


def _end(seen: Snapshot, stage: Stage) -> str:
    """Of this stage, on its own clock; where no NOW ends it the earliest and the latest."""
    if seen.until == "time" or seen.end_t_s is None or seen.began_s is None:
        return words.end(seen)
    at = format_duration(seen.end_t_s - seen.began_s)
    if stage.at_most_s is None:
        return sentences.AT_LEAST.format(at=at)
    return sentences.AT_MOST.format(at=at, most=format_duration(stage.at_most_s))


def _hint(state: ViewState, stage: Stage) -> str:
    """What to move now, and when the hands are wanted, on the stage's own clock."""
    seen, moves = state.seen, agitation(state)
    if seen.until != "time" or seen.began_s is None:
        return moves
    if words.bounds(seen) is not None:  # never one confident time where there are two
        return f"end {words.end(seen)}"
    at = format_duration(float(math.floor(moment_s(seen, stage) - seen.began_s + 0.5)))
    sheet = seen.sheet is not None
    about, fixed = (sentences.LIFT_ABOUT, sentences.LIFT_FIXED) if sheet else (sentences.POUR_ABOUT, sentences.POUR_FIXED)
    when = (fixed if seen.frozen or not seen.steered else about).format(at=at)
    return "; ".join(part for part in (moves, when) if part)


def _after_now(state: ViewState) -> str:
    seen = state.seen
    if seen.until != "time" or seen.end_t_s is None or seen.began_s is None:
        return agitation(state)
    end = format_duration(float(round(seen.end_t_s - seen.began_s)))
    if state.t_s >= seen.end_t_s:
        return sentences.END_IS_OVER.format(ago=format_duration(float(int(state.t_s - seen.end_t_s))))
    return sentences.TO_THE_END.format(left=words.left(seen.end_t_s - state.t_s), end=end)


def _temperature(state: ViewState) -> tuple[str, str]:
    """The figure, and where it is from and how old."""
    figure, where = words.developer(state.seen, state.coupled_to)
    where = _whose_probe(state, where)
    figure = figure.removesuffix(f" {unit()}") if "+/-" in figure else figure
    limit = words.limit(state.seen.compared, state.colour) if state.seen.developer_c is not None else ""
    return figure, " · ".join(part for part in (limit, where) if part)


def _then(state: ViewState, here: Stage) -> str:
    after = [s for s in state.stages if s.number > here.number]
    told = [_jug(f"{s.number} {s.name.upper()}{words.how_long(s)}", s) for s in after]
    return sentences.THEN.format(stages=" · ".join(told)) if told else sentences.THEN_NOTHING


def _jug(told: str, stage: Stage) -> str:
    return told if stage.jug is None else sentences.JUG.format(words=told, jug=stage.jug)


def _more(state: ViewState, told: Hands) -> list[tuple[str, str]]:
    seen = state.seen
    rows = [(sentences.NUMBERS["recipe"], state.name)]
    if seen.steered and words.done(seen):
        rows.append((sentences.NUMBERS["done"], words.done(seen)))
    if state.stage is not None and seen.end_t_s is not None and not state.stage.has_no_clock:
        rows.append((sentences.NUMBERS["end"], _end(seen, state.stage)))
    if state.moved_s is not None and seen.steered:
        rows.append((sentences.NUMBERS["moved"], words.moved(state.moved_s)))
    rows.append((sentences.NUMBERS["trust"], _whose_probe(state, "; ".join(filter(None, trust(state))))))
    for name, last in state.readings.items():
        known = state.probes.get(name)
        figure, where = words.reading(name, last, 0.0 if known is None else known.sd_c, state.t_s)
        rows.append((last.role, f"{figure}, {where}"))
    return [row for row in rows if row[1]]


def _at_the_gate(slots: Slots, state: ViewState, here: Stage, points: Sequence[Point]) -> Slots:
    """The figure is how long the developer has been inside the band."""
    if here.gate is None:
        return slots
    now_c = state.seen.developer_c
    off_c = None if now_c is None else now_c - here.reference_c
    low, high = (degrees(here.reference_c + d * here.gate.band_c, ".2f") for d in (-1, 1))
    span = format_duration(here.gate.for_s)
    inside_s = min(inside_for_s(points, here.reference_c, here.gate.band_c, state.t_s), here.gate.for_s)
    if off_c is None:
        hint, do = sentences.NOT_MEASURED, sentences.KEEP
    elif abs(off_c) <= here.gate.band_c:
        hint, do = sentences.IN_BAND, sentences.KEEP
    else:
        off = difference(abs(off_c), ".2f")
        hint = (sentences.TOO_COLD if off_c < 0 else sentences.TOO_WARM).format(off=off)
        do = sentences.WARM if off_c < 0 else sentences.COOL
    return replace(
        slots,
        head=sentences.OF.format(head=sentences.HEADS["gate"], stage=here.number, stages=len(state.stages)),
        trust=sentences.WITHHELD.format(low=low, high=high, span=span),
        hint=hint,
        figure=format_duration(float(int(inside_s))),
        verb=sentences.INSIDE.format(span=span),
        then=sentences.MEND_GATE.format(do=do),
    )


def inside_for_s(points: Sequence[Point], reference_c: float, band_c: float, now_s: float) -> float:
    """For how long the developer has been within the band, by what is drawn of it; 0 where it is outside or not known."""
    since_s = None
    for point in reversed(points):
        if point.developer_c is None or abs(point.developer_c - reference_c) > band_c:
            break
        since_s = point.t_s
    return 0.0 if since_s is None else max(0.0, now_s - since_s)


# -- no session -----------------------------------------------------------------------------------------------------


def of_probes(probes: Sequence[Mapping[str, Any]], rates_c_per_min: Mapping[str, float | None]) -> Slots:
    """No session runs: the bath (else a developer probe) and how it moves. `probes`: as the station's word has them."""
    order = {"bath": 0, "developer": 1, "witness": 2}
    told = sorted((p for p in probes if p["role"] in order), key=lambda p: order[p["role"]])
    first = told[0] if told else None
    own = next((p for p in told if p["role"] in ("developer", "witness") and p is not first), None)
    slots = Slots(
        head=sentences.HEADS["waiting"], trust=sentences.NO_SESSION, then=sentences.NOTHING_STARTS_HERE, said=sentences.NO_SESSION,
        more=[(p["probe"], _probe(p)) for p in probes],
    )  # fmt: skip
    if own is not None:
        temperature = "not known" if own["celsius"] is None else _with_doubt(own["celsius"], sd_c(own))
        slots = replace(slots, temperature=temperature, temperature_of=_where(own))
    if first is None:
        return slots
    figure = sentences.NO_READING if first["celsius"] is None else degrees(first["celsius"], ".1f")
    return replace(
        slots, hint=sentences.NOW_HERE[first["role"]], figure=figure, verb=_moves(first["role"], rates_c_per_min.get(first["probe"]))
    )


def _with_doubt(celsius: float, sd_c: float) -> str:
    """One unit for both."""
    return f"{degrees(celsius, '.2f')} {words.doubt(sd_c).removesuffix(f' {unit()}')}"


def sd_c(probe: Mapping[str, Any]) -> float:
    """Standard uncertainty of a probe's reading where no session tells it, C."""
    return words.reading_sd(words.probe_sd_c(probe))


def _moves(role: str, rate_c_per_min: float | None) -> str:
    if rate_c_per_min is None:
        return sentences.MOVES[""].format(role=role)
    rate = difference(abs(rate_c_per_min), ".1f")
    which = "holds" if abs(rate_c_per_min) < 0.05 else "falls" if rate_c_per_min < 0 else "rises"
    return sentences.MOVES[which].format(role=role, rate=rate)


def old(age_s: float | None) -> str:
    """How old a measurement is: in whole seconds, from a minute on in minutes."""
    if age_s is None:
        return sentences.NEVER
    if age_s < 60.0:
        return sentences.SECONDS_OLD.format(age=age_s)
    return sentences.MINUTES_OLD.format(age=format_duration(float(int(age_s))))


def _where(probe: Mapping[str, Any]) -> str:
    limit = "" if probe["compared"] else f"{words.limit(False, False)} · "
    return limit + sentences.PROBE.format(role=probe["role"], name=probe["probe"], age=old(probe["good_age_s"]))


def _probe(probe: Mapping[str, Any]) -> str:
    if probe["celsius"] is None:
        return words.QUALITIES.get(str(probe["quality"]), "no reading yet")
    return f"{degrees(probe['celsius'], '.2f')}, {_where(probe)}"


# -- a session that is over -----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Developed:
    """What became of the develop stage, as its own records say. `moved_s`: longer than planned; `mean_c`, `last_c`: of the developer."""

    stage: str
    steered: bool
    took_s: float
    moved_s: float
    percent: float | None
    sd_percent: float | None
    mean_c: float | None
    last_c: float | None
    last_sd_c: float | None


def of_closed(state: ViewState, session: str, developed: Developed | None, closed_at: str) -> Slots:
    """A session that has been closed."""
    trust_told = [sentences.CLOSED.format(session=session, why=state.closed)]
    slots = Slots(
        head=sentences.HEADS["done"], figure=sentences.ENDED, closed=closed_at, report=session,
        more=[(sentences.NUMBERS["recipe"], state.name), (sentences.NUMBERS["session"], session)],
    )  # fmt: skip
    if developed is not None:
        took = format_duration(float(round(developed.took_s)))
        if state.estimated_s >= 1.0:
            spent = format_duration(float(round(state.estimated_s)))
            trust_told.append(sentences.ESTIMATED.format(estimated=spent, whole=took))
        trust_told.append(sentences.COMPARED if state.seen.compared else sentences.NOT_COMPARED)
        slots = _result(slots, developed, took)
    return replace(slots, trust=" ".join(trust_told), said=" ".join([sentences.HEADS["done"], *trust_told]))


def _result(slots: Slots, developed: Developed, took: str) -> Slots:
    by_s = round(abs(developed.moved_s))
    moved = (sentences.LONGER if developed.moved_s > 0 else sentences.SHORTER).format(by=by_s) if by_s else sentences.AS_PLANNED
    slots = replace(slots, hint=sentences.TOOK.format(took=took, moved=moved))
    if not developed.steered or developed.percent is None or developed.sd_percent is None:
        slots = replace(slots, figure=took, verb=sentences.BY_CLOCK.format(stage=developed.stage), hint="")
    elif share(developed.percent, developed.sd_percent).startswith("not known"):
        slots = replace(slots, figure=sentences.NOT_KNOWN, verb=sentences.DEVELOPED_NOT_KNOWN)
    else:
        doubt = f"+/- {two_sd(developed.sd_percent):.1f}"
        slots = replace(slots, figure=f"{developed.percent:.1f} %", verb=sentences.DEVELOPED.format(doubt=doubt))
    if developed.mean_c is None or developed.last_c is None:
        return slots
    temperature = _with_doubt(developed.mean_c, developed.last_sd_c or 0.0)
    return replace(slots, temperature=temperature, temperature_of=sentences.MEAN.format(last=degrees(developed.last_c, ".1f")))


def unread(view: Mapping[str, Any]) -> Slots:
    """A session of which only the station's snapshot is known."""
    seen = Snapshot.read(view)
    head = sentences.UNREAD_STAGE if seen.name is None else seen.name.upper()
    slots = Slots(head=head, trust=sentences.UNREAD, said=sentences.UNREAD, temperature=words.developer(seen)[0])
    if seen.until != "time" or seen.now_s is None:
        return slots
    left_s, off = max(0.0, seen.now_s - seen.t_s), "POUR OFF" if seen.sheet is None else f"LIFT SHEET {seen.sheet}"
    if left_s <= 0:
        return replace(slots, figure="NOW", verb=off, frame="thick")
    return replace(slots, figure=words.left(left_s), verb=f"to {off}")


def nobody() -> Slots:
    """No station answers, and no session was left open."""
    return Slots(head=sentences.HEADS["waiting"], trust=sentences.SILENT, then=sentences.SILENT_THEN, said=sentences.SILENT)
