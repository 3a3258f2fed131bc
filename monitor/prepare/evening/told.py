"""The plan of an evening in words: answers first, the timeline of both vessels, films, hands, clashes, what to mix, the bath, reels.

Every line fits the width that is asked for; 80 columns unless a terminal is narrower. Pure. Tests: tests/prepare/evening/test_told.py.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from monitor.core.evening.values import USUAL_LOADING_S, USUAL_MIXING_S, Film
from monitor.core.recipe.kinds import CLOSED_VESSELS
from monitor.core.text.degrees import in_unit_shown, plain
from monitor.core.text.fold import NARROWEST, fold
from monitor.core.text.quantities import format_duration, format_number, format_volume
from monitor.prepare.cautions import HABITUAL, RULE, cautions_for
from monitor.prepare.evening.between import LOADING, MIX, MIX_BEFORE_S
from monitor.prepare.evening.clashes import Clash
from monitor.prepare.evening.hands import Moment
from monitor.prepare.evening.planned import Planned, time_factor_of
from monitor.prepare.evening.supplies import Mix, Supplies
from monitor.prepare.evening.timeline import DRIFT, FilmTime, dark_spans

WIDTH = 80
MOST_CLASHES = 8
"""So many are listed; the rest are counted."""
SAME_BATH_C = 0.5
"""References nearer than this are one bath (half a degree: the half-width of the usual band, own choice)."""
REEL_DRIES_S = 900.0
"""A rinsed reel is dry after a quarter of an hour in warm air: common practice, no source."""
SIGNS = {
    "load": "l", "presoak": "p", "develop": "D", "stop": "s", "bleach": "b", "fix": "F", "bleach-fix": "F", "wash": "w", "wash aid": "a",
    "rinse": "r", "hold": "h",
}  # fmt: skip
"""One letter a role in the timeline."""


def told(plan: Planned, needs: Supplies, width: int = WIDTH, cautions: bool = False, timeline: bool = True) -> Iterator[str]:
    """The plan, line by line; no line is longer than `width` (at least 40). `cautions`: also those that are the same each evening;
    `timeline`: with the timeline, which a page has as a picture."""
    width = max(NARROWEST, width)
    for line in (*_lines(plan, needs, width if timeline else None), *_caution_lines(plan, cautions)):
        yield from fold(in_unit_shown(line), width)


def _lines(plan: Planned, needs: Supplies, width: int | None) -> Iterator[str]:
    evening = plan.evening
    yield evening.name
    vessels = len(evening.vessels)
    many = f"{_counted(len(plan.films), 'film')} in {'one vessel' if vessels == 1 else f'{vessels} vessels'}"
    yield f"{many}, {format_duration(plan.end_s)} from the first pour to the last film out."
    yield _hands_answer(plan)
    yield _light_answer(plan)
    yield _ledger_answer(plan)
    yield _mix_answer(needs)
    yield ""
    if width is not None:
        yield from timeline_lines(plan, width)
        yield ""
    yield "Films"
    for film in plan.films:
        yield from _film_lines(plan, film)
    yield ""
    usual = (evening.loading_s, evening.mixing_s) == (USUAL_LOADING_S, USUAL_MIXING_S)
    tasks = usual and any(moment.what == LOADING or moment.what.startswith(MIX) for moment in plan.moments)
    yield "Hands, turning left out (w: may wait" + ("; loading and mixing: common practice)" if tasks else ")")
    yield from (f"  {_moment_words(m)}" for m in plan.moments if not m.what.endswith(": agitate"))
    if plan.clashes:
        yield ""
        yield "Clashes"
        kinds = _alike(plan.clashes)
        yield from (f"  {_clash_words(alike)}" for alike in kinds[:MOST_CLASHES])
        if len(kinds) > MOST_CLASHES:
            yield f"  {len(kinds) - MOST_CLASHES} more kinds: --json"
    yield ""
    yield "To mix, in this order"
    yield from (f"  {_mix_words(mix)}" for mix in needs.mixes)
    yield from (f"  from the bottle: {_mix_words(mix, ready=True)}" for mix in needs.from_bottles)
    yield from _left_lines(needs)
    yield ""
    yield from _bath_lines(plan)
    yield from _reel_lines(plan)
    if plan.concerns:
        yield ""
        yield "Careful"
        yield from (f"  {concern}" for concern in plan.concerns)


def _hands_answer(plan: Planned) -> str:
    bound = f"even if temperature moves an end by {DRIFT * 100:.0f} %"
    if len(plan.films) == 1:
        return "Hands: one film, nothing to clash with."
    if not plan.clashes:
        return f"Hands: no two films want them together, {bound}."
    now = sum(clash.overlap_s > 0 for clash in plan.clashes)
    met = f"Hands: at {'one moment' if len(plan.clashes) == 1 else f'{len(plan.clashes)} moments'} two films need you at once"
    others = "the others" if now else "all of them"
    if_moved = f" ({now} as planned, {others} if temperature moves an end by up to {DRIFT * 100:.0f} %)"
    when = ", as planned" if now == len(plan.clashes) else if_moved
    waiting = sum(clash.may_wait for clash in plan.clashes)
    how_often = f" {_often(waiting)}" if waiting < len(plan.clashes) else " each time" if waiting > 1 else ""
    when += f"; one of them can wait{how_often}" if waiting else ""
    if plan.shift is None:
        return f"{met}{when}; no later start within half an hour clears it."
    mover = f"Film {plan.shift.film} ({_what(plan, plan.shift.film)})"
    return f"{met}{when}. {mover} {format_duration(plan.shift.shift_s)} later clears all of it."


def _what(plan: Planned, number: int) -> str:
    return plan.evening.films[number - 1].what


def media(plan: Planned) -> str:
    """What is developed this evening: "film", "paper", "film or paper"."""
    return " or ".join(sorted({film.recipe.medium for film in plan.films}))


def _light_answer(plan: Planned) -> str:
    """One rule for all films together: what is bare in one vessel darkens the room for the other."""
    spans = [f"{format_duration(from_s)} to {format_duration(to_s)}" for from_s, to_s in dark_spans(plan.films)]
    if spans:
        return f"Light: {media(plan)} is bare from {' and '.join(spans)}: no lamp of any colour, no screen, no phone, for any of the films."
    loads = any(stage.role == "load" for film in plan.films for stage in film.recipe.stages)
    later = [f"{format_duration(m.t_s)} (film {m.film})" for m in plan.moments if m.what == LOADING]
    others = len(plan.evening.vessels) > 1
    at = f" at {', '.join(later)}{', in a bag if the other vessel wants your eyes' if others else ''}" if later else ""
    dark = f"; loading wants the dark{at}" if loads or later else ""
    return f"Light: no stage leaves {media(plan)} bare, as long as the lids stay on{dark}."


def _ledger_answer(plan: Planned) -> str:
    rows = [(film.film.number, standing) for film, row in zip(plan.films, plan.standings, strict=True) for standing in row]
    if not rows:
        return "No bottle in the ledger has the name of a solution used this evening."
    longer = [f"{s.bottle.name} x {format_number(s.time_factor, 2)} for film {number}" for number, s in rows if s.time_factor != 1.0]
    worst = [s for _, s in rows if s.concerns]
    said = f"Ledger: longer times: {', '.join(longer)}" if longer else "Ledger: the recipes' own times"
    return f"{said}; {'see Careful' if worst else 'enough of each bottle'}."


def _mix_answer(needs: Supplies) -> str:
    jugs = _counted(needs.jugs, "jug")
    if all(mix.volume_ml is None for mix in needs.mixes):
        return f"Mix: {jugs}; your recipes do not say how much."
    stock = ", ".join(f"{format_volume(ml)} of {name}" for name, ml in needs.stock_ml.items())
    unsaid = " (where the recipes say how much)" if any(mix.volume_ml is None for mix in needs.mixes) else ""
    return f"Mix: {jugs}, {format_volume(needs.water_ml)} of water{f', concentrate {stock}' if stock else ''}{unsaid}."


def _caution_lines(plan: Planned, everything: bool) -> Iterator[str]:
    """Each caution of any of the recipes once."""
    known = {caution.id: caution for film in plan.films for caution in cautions_for(film.recipe)}
    known[RULE.id] = known.pop(RULE.id)  # which always comes last
    shown = [caution for caution in known.values() if everything or caution.id not in HABITUAL]
    yield ""
    yield "Cautions"
    yield from (f"  - {caution.text} [{caution.source}]" for caution in shown)
    if len(shown) < len(known):
        yield f"  {len(known) - len(shown)} more, the same each evening: --cautions"


def timeline_lines(plan: Planned, width: int) -> Iterator[str]:
    """Both vessels over the whole evening: a scale, for each vessel the films and their stages, and where hands are needed and clash."""
    names = ["vessel" if vessel is None else vessel for vessel in plan.evening.vessels]
    label = min(12, max(len("hands"), *(len(name) for name in names))) + 1
    room = width - label
    step_s = max(1.0, plan.end_s / (room - 1))
    yield " " * label + _scale(plan.end_s, step_s, room)
    for vessel, name in zip(plan.evening.vessels, names, strict=True):
        films = sorted((film for film in plan.films if film.film.vessel == vessel), key=lambda film: film.start_s)
        yield " " * label + _film_row(films, step_s, room).rstrip()
        yield f"{name[: label - 1]:<{label}}{_stage_row(films, step_s, room)}".rstrip()
    yield f"{'hands':<{label}}{_hand_row(plan, step_s, room)}".rstrip()
    roles = dict.fromkeys(at.stage.role for film in plan.films for at in film.stages if at.stage.role != "load" or at.end_s > at.begin_s)
    legend = ", ".join(f"{SIGNS[role]} {role}" for role in roles)
    yield f"{legend}; | hands needed{', X clash' if plan.clashes else ''}; one column is {format_duration(step_s)}"


def _scale(end_s: float, step_s: float, room: int) -> str:
    every_s = next((s for s in (60, 120, 300, 600, 900, 1800, 3600, 7200) if s / step_s >= 9), 14400)
    row = [" "] * room
    for k in range(int(end_s / every_s) + 1):
        text, at = format_duration(k * every_s), round(k * every_s / step_s)
        if at + len(text) <= room:
            row[at : at + len(text)] = text
    return "".join(row).rstrip()


def _film_row(films: Sequence[FilmTime], step_s: float, room: int) -> str:
    row = [" "] * room
    begins = [round(film.start_s / step_s) for film in films]
    for film, at, till in zip(films, begins, [*begins[1:], room + 1], strict=True):
        text = f"{film.film.number} {film.film.what}"[: max(1, till - 1 - at)]
        row[at : at + len(text)] = text
    return "".join(row[:room])


def _stage_row(films: Sequence[FilmTime], step_s: float, room: int) -> str:
    """A letter a column; a stage shorter than a column has one all the same."""
    row = [" "] * room
    longest_first = sorted((at for film in films for at in film.stages), key=lambda at: at.begin_s - at.end_s)
    for at in longest_first:
        first, last = round(at.begin_s / step_s), max(round(at.begin_s / step_s) + 1, round(at.end_s / step_s))
        if at.end_s > at.begin_s:
            row[first : min(room, last)] = SIGNS[at.stage.role] * (min(room, last) - first)
    return "".join(row)


def _hand_row(plan: Planned, step_s: float, room: int) -> str:
    row = [" "] * room
    for moment in plan.moments:
        if not moment.what.endswith(": agitate"):
            row[min(room - 1, round(moment.t_s / step_s))] = "|"
    for clash in plan.clashes:
        row[min(room - 1, round(clash.second.t_s / step_s))] = "X"
    return "".join(row)


def _film_lines(plan: Planned, film: FilmTime) -> Iterator[str]:
    where = "" if film.film.vessel is None else f", {film.film.vessel}"
    yield f"  {film.film.number} {film.film.what}{where}: {format_duration(film.start_s)} to {format_duration(film.end_s)}"
    for at in film.stages:
        if at.stage.role == "load" and at.end_s == at.begin_s:
            yield f"     {at.stage.name}: until your press"
            continue
        least = "at least " if at.stage.until == "at least" else ""
        row = plan.standings[film.film.number - 1]
        _, why = time_factor_of(film.film, at, row)
        because = f" ({why})" if why else ""
        yield f"     {format_duration(at.begin_s)}  {at.stage.name} {least}{format_duration(at.end_s - at.begin_s)}{because}"
    yield from (f"     {standing.sentence}" for standing in plan.standings[film.film.number - 1])


def _moment_words(moment: Moment) -> str:
    wait = " w" if moment.may_wait else ""
    return f"{format_duration(moment.t_s):>7}  film {moment.film}  {moment.what}, {format_duration(moment.busy_s)}{wait}"


def _alike(met: Sequence[Clash]) -> list[list[Clash]]:
    """Clashes of the same two things in the same two films together, in the order of the first of them."""
    found: dict[frozenset[tuple[int, str]], list[Clash]] = {}
    for clash in met:
        found.setdefault(frozenset({(m.film, m.what) for m in (clash.first, clash.second)}), []).append(clash)
    return list(found.values())


def _clash_words(alike: Sequence[Clash]) -> str:
    first = max(alike, key=lambda clash: clash.overlap_s)
    met = f"overlap by {format_duration(first.overlap_s)}" if first.overlap_s > 0 else "apart as planned, not if an end moves"
    more = f"; {_often(len(alike))} in all" if len(alike) > 1 else ""
    waits = next((f"; film {m.film} may wait" for m in (first.first, first.second) if m.may_wait), "")
    return f"{_at(first.first)} and {_at(first.second)}: {met}{more}{waits}"


def _at(moment: Moment) -> str:
    return f"{format_duration(moment.t_s)} film {moment.film} {moment.what}"


def _mix_words(mix: Mix, ready: bool = False) -> str:
    words = [mix.solution if mix.dilution is None else f"{mix.solution} {mix.dilution}"]
    if mix.volume_ml is None:
        words.append("amount: your recipe does not say")
    elif mix.stock_ml is None or mix.water_ml is None or ready:
        words.append(format_volume(mix.volume_ml))
    else:
        words.append(f"{format_volume(mix.stock_ml)} and {format_volume(mix.water_ml)} of water")
    words.append(f"for film {_list(mix.films)}")
    if mix.once and mix.by_s > 0:
        words.append(f"at about {format_duration(mix.by_s)}, used once")
    elif mix.once:
        words.append(f"{format_duration(MIX_BEFORE_S)} before the begin, used once")
    if mix.jug is not None:
        words.append(f"jug {mix.jug}")
    return ", ".join(words)


def _often(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _counted(count: int, word: str) -> str:
    return f"{count} {word}{'' if count == 1 else 's'}"


def _list(numbers: Sequence[int]) -> str:
    return ", ".join(map(str, numbers))


def _left_lines(needs: Supplies) -> Iterator[str]:
    for left in needs.left:
        units = "" if left.units_left is None else f", good for {format_number(left.units_left, 2)} more units of 80 sq in"
        yield f"  left afterwards: {left.solution}, {format_volume(left.volume_ml)}{units}"


def _bath_lines(plan: Planned) -> Iterator[str]:
    """When the bath is warmed or cooled for the next film; one bath serves both vessels."""
    wanted = [(film, at) for film in plan.films for at in film.stages if at.stage.role == "develop"]
    firsts = {film.film.number: (film, at.stage.reference_c) for film, at in reversed(wanted)}
    turns = sorted(firsts.values(), key=lambda turn: (turn[0].start_s, turn[0].film.number))
    if not turns:
        return
    yield "Bath"
    before_c = turns[0][1]
    yield f"  {plain(before_c)} before film {turns[0][0].film.number} begins"
    earlier: list[FilmTime] = [turns[0][0]]
    for film, celsius in turns[1:]:
        own, begins = film.film.number, format_duration(film.start_s)
        other = next((o for o in earlier if o.end_s > film.start_s and abs(firsts[o.film.number][1] - celsius) > SAME_BATH_C), None)
        if other is not None:
            there = f"film {other.film.number} is in at {plain(firsts[other.film.number][1])}"
            yield f"  film {own} wants {plain(celsius)} at {begins} while {there}: give each vessel a bath of its own"
        elif abs(celsius - before_c) > SAME_BATH_C:
            free_s = max((o.end_s for o in earlier if o.end_s <= film.start_s), default=0.0)
            how = "warm" if celsius > before_c else "cool"
            yield f"  {how} it to {plain(celsius)} between {format_duration(free_s)} and {begins}, for film {own}"
            before_c = celsius
        else:
            yield f"  {plain(celsius)} again by {begins}, for film {own}: measure it before you pour"
        earlier.append(film)


def _reel_lines(plan: Planned) -> Iterator[str]:
    """Which reels have to be dry by when, for films that follow another one in a tank or drum."""
    last: dict[str | None, FilmTime] = {}
    lines: list[str] = []
    for film in plan.films:
        before = last.get(film.film.vessel)
        if before is not None and film.recipe.vessel in CLOSED_VESSELS:
            gap_s = film.start_s - before.end_s
            second = f"a reel takes about {format_duration(REEL_DRIES_S)}: have a second, dry one"
            dry = "time enough in warm air" if gap_s >= REEL_DRIES_S else second
            after = f"{_named(film.film)} is loaded within {format_duration(gap_s)} after film {before.film.number} is out"
            lines.append(f"  {after}; {dry} (common practice)")
        last[film.film.vessel] = film
    if lines:
        yield "Reels: a wet one sticks"
        yield from lines


def _named(film: Film) -> str:
    return f"film {film.number} ({film.what})"
