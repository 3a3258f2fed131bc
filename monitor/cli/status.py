"""`evenbath status --file STATION [--json | --follow]`: what the station is doing now, in its own words; or the live view."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from monitor.cli.terminal.clash import clash_words
from monitor.core.text.doubt import said_once

if TYPE_CHECKING:
    from monitor.live.station.station_file import StationConfig


UNSAFE = 5
"""So many records may wait for the disk while all is well: a sync takes less than a second."""


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("--file", metavar="STATION.toml", required=True, help="the station file")
    shown = parser.add_mutually_exclusive_group()
    shown.add_argument("--json", action="store_true", help="one JSON object")
    shown.add_argument("--follow", action="store_true", help="the live view of the running session, dark by the same rules as develop's")


def run(args: argparse.Namespace) -> int:
    """Ask and show. Raises `NotThere` where no station answers."""
    from monitor.cli.station import open_station
    from monitor.cli.terminal.fit import fitted
    from monitor.cli.terminal.refusals import told
    from monitor.live.station.control import ask

    config = open_station(args.file)
    if args.follow:
        return _follow(config, args)
    answer = dict(told(ask(config.state, {"verb": "status"})))
    answer.pop("ok")
    if args.json:
        sys.stdout.write(json.dumps(answer, ensure_ascii=False) + "\n")
        return 0
    in_dark = _film_is_bare(answer)
    if in_dark and sys.stdout.isatty():
        sys.stdout.write("film or paper may be bare, so nothing is shown here (--json or a pipe shows all)\n")
        return 0
    sys.stdout.write(fitted(said_once("".join(f"{line}\n" for line in lines(answer)))))
    if in_dark:
        sys.stderr.write("film or paper may be bare: a screen gives light\n")
    return 0


def _follow(config: StationConfig, args: argparse.Namespace) -> int:
    """To the session's end, or to Ctrl-C. Raises `NotThere` where no station answers and `InputWrong` where no session runs."""
    from monitor.cli.terminal.following import Following, refuse_beside
    from monitor.cli.terminal.refusals import told
    from monitor.cli.terminal.surroundings import RealSurroundings
    from monitor.core.recipe.reader import recipe_from_data
    from monitor.live.station.control import StationLink

    with StationLink(config.state) as link:
        answer = told(link.ask({"verb": "follow"}))
        refuse_beside(answer, sys.stdout.isatty())
        recipe, has_switch = recipe_from_data(answer["recipe"]), config.panel.switch is not None
        following = Following(RealSurroundings(config), recipe, answer["session"], args.file, has_switch=has_switch)
        return following.run(link, answer)


def _film_is_bare(answer: Mapping[str, Any]) -> bool:
    return bool(answer.get("bare_now"))


def lines(answer: Mapping[str, Any]) -> Iterator[str]:
    """The status in words, line by line. Every temperature with its place, its age and how far it can be trusted; of the machine itself
    only what is wrong."""
    yield f"station {answer['station']} {answer['version']}: {_session(answer)}"
    films = answer.get("films") or []
    if len(films) > 1:
        for film in films:
            yield f"  {film['vessel']}: {film['what']}, session {film['session']}, {film['recipe']}"
            yield from (f"  {line}" for line in _view(film["view"], film))
    elif answer.get("view") is not None:
        yield from _view(answer["view"], films[0] if films else {})
    yield from _next_tap(answer, films)
    if clash := answer.get("clash"):
        yield f"  {clash_words(clash, clash['in_s'])}"
    for film in answer.get("to_come") or []:
        yield f"  to come: {film['what']}" + (f", {film['vessel']}" if film["vessel"] else "") + "".join(_turn(film))
    roles = _exchanged_roles(answer, films)
    for probe in answer["probes"]:
        yield f"  {probe['probe']} ({roles.get(probe['probe'], probe['role'])}): {_probe(probe)}"
    yield from (f"  {lag['said']}" for lag in answer.get("lags") or [])
    if answer.get("lags_not_kept"):
        yield f"  lags: {answer['lags_not_kept']}"
    yield from _disk(answer)
    if answer.get("journal_disturbed"):
        yield f"  journal: {answer['journal_disturbed']}"
    if answer.get("throttled"):
        yield f"  supply: the board says 0x{answer['throttled']:x}: too little voltage, or too warm"
    if answer.get("switch") is False or answer.get("switch_lost_edges"):
        yield f"  foot switch: {'its edges arrive' if answer.get('switch') else 'its edges no longer arrive'}" + _lost_edges(answer)
    if answer.get("realtime_cues") is False:
        yield "  cues: ordinary priority; they can be late while the machine is busy"
    if not answer["wall_set"]:
        yield "  wall clock: not set by network time"
    if answer.get("broker") == "away":
        yield "  broker: not connected"
    if mishaps := answer.get("mishaps"):
        yield f"  {mishaps} fault{'s' if mishaps > 1 else ''} of the program itself since its start, told on the station's own output"


def _next_tap(answer: Mapping[str, Any], films: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    """Whose the next tap is, by the station's own rule, and which begin that was assumed waits for an answer."""
    named = {film["session"]: film["vessel"] for film in films}
    first, then = answer.get("tap_for"), answer.get("tap_then")
    asked = {film["session"]: film["assumed"] for film in films if film.get("assumed") is not None}
    about = f", {_asks(asked[first])}" if first in asked else ""
    if first in named:
        yield f"  next tap: {named[first]}{about}" + (f"; from NOW on: {named[then]}" if then in named else "")
    for session in asked:
        if session != first:
            vessel = f"{named[session]}, " if len(films) > 1 else ""
            yield f"  not answered yet: {vessel}{_asks(asked[session])}"


def _asks(assumed: str) -> str:
    """The question that stands open after a begin that was assumed (the name of its stage; empty: the end of the last one)."""
    what = f"did {assumed} go in" if assumed else "did it come out"
    return f"when {what}? (tap: now; hold: on time)"


def _session(answer: Mapping[str, Any]) -> str:
    return "no session" if answer["session"] is None else f"session {answer['session']}, {answer['recipe']}"


def _disk(answer: Mapping[str, Any]) -> Iterator[str]:
    from monitor.core.recipe.checklist import FREE_MIB

    free, waiting = answer.get("free_bytes"), answer.get("unsafe_records") or 0
    if free is None or free < FREE_MIB << 20 or waiting > UNSAFE:
        room = "free space not known" if free is None else f"{free / (1 << 20):.0f} MiB free"
        yield f"  disk: {room}" + (f", {waiting} records wait to be written" if waiting > UNSAFE else "")


def _lost_edges(answer: Mapping[str, Any]) -> str:
    lost = answer.get("switch_lost_edges") or 0
    return f", {lost} edges lost to a fault of the program since its start" if lost else ""


def _turn(film: Mapping[str, Any]) -> Iterator[str]:
    """When a film to come begins, and what arms it."""
    from monitor.core.text.quantities import format_duration
    from monitor.live.view.words import begins

    if film.get("begins_in_s") is not None:
        yield f", {begins(film['begins_in_s'])}"
    holds = {1.0: "a hold of a second", 3.0: "a hold of three seconds"}
    hold = holds.get(film.get("hold_s") or 0.0)
    before = f"{format_duration(film['armed_before_s'])} before" if film.get("armed_before_s") else ""
    if film.get("arms_itself"):
        yield f"; armed by itself {before}" + (f", {hold} arms it now" if hold else "")
    elif hold:
        yield f"; {hold} arms it now, another one begins it"
    elif before:
        yield f"; armed by a hold of a second, from {before} on"


def _view(view: Mapping[str, Any], film: Mapping[str, Any]) -> Iterator[str]:
    """`film`: what the station tells of the film besides its view; empty where it tells nothing."""
    from monitor.core.journal.snapshot import Snapshot
    from monitor.core.journal.words import OUTSIDE_DATA
    from monitor.core.text.degrees import in_unit_shown
    from monitor.live.view.words import begins, developer, in_doubt, limit, swapped

    if view["stage"] is None:
        waits = view.get("waits_for")
        what = "armed" if waits in (None, 1) else f"stage {waits} of {view['stages']} waits"
        told = "" if film.get("begins_in_s") is None else f", {begins(film['begins_in_s'])}"
        yield f"  {what}{told}: hold the switch for a second to begin" + (", once the gate is open" if view["gate"] == "withheld" else "")
    else:
        sheet = f", sheet {view['sheet']}" if view.get("sheet") is not None else ""
        hands = _hands(view, lifted=film.get("lifted") is True)
        yield f"  stage {view['stage']} of {view['stages']}, {view['name']}{sheet}: {hands}{_time(view)}"
    figure, where = developer(Snapshot.read(view))
    yield f"  developer {', '.join(word for word in (figure, where, limit(view['compared'], False)) if word)}"
    if view.get("outside_data"):
        yield f"  {OUTSIDE_DATA}: {in_unit_shown(view['outside_data'])}"
    for probe, why in view["lost"].items():
        yield f"  {probe} not believed: {in_unit_shown(why)}"
    if view.get("exchanged") is not None:
        yield f"  {swapped(view['exchanged'])}"
    for probe, why in (view.get("doubts") or {}).items():
        yield f"  {in_doubt(probe, why)}"


def _exchanged_roles(answer: Mapping[str, Any], films: Sequence[Mapping[str, Any]]) -> dict[str, str]:
    """Of probes that are taken for each other: where each is taken to hang."""
    views = [film.get("view") for film in films] or [answer.get("view")]
    pairs = [view["exchanged"] for view in [*views, answer.get("view")] if view is not None and view.get("exchanged") is not None]
    roles = {probe["probe"]: probe["role"] for probe in answer["probes"]}
    return {probe: f"exchanged: {roles[other]}" for one, two in pairs for probe, other in ((one, two), (two, one)) if other in roles}


def _hands(view: Mapping[str, Any], lifted: bool) -> str:
    """How long it is to the hands' moment in a timed stage, which is not its end; empty where that is not known."""
    from monitor.live.view.words import left

    if view["until"] != "time" or view.get("now_s") is None:
        return ""
    off = "LIFT IT OUT" if lifted or view.get("sheet") is not None else "POUR OFF"
    left_s = view["now_s"] - view["t_s"]
    return f"{left(left_s)} to {off}; " if left_s > 0 else f"NOW: {off}; "


def _time(view: Mapping[str, Any]) -> str:
    """The time on the stage's own clock, as the view tells it."""
    from monitor.core.journal.snapshot import Snapshot
    from monitor.core.text.quantities import format_duration
    from monitor.live.view import words

    if view["role"] == "load" and not view.get("target_ref_s"):
        return "loading: dark, silent, no clock; a press of a second ends it"
    began_s = view["began_s"]
    told = f"{format_duration(float(int(view['t_s'] - began_s)))} in {view['name']}"
    if view.get("end_t_s") is None:
        return told
    what = "minimum over" if view["until"] == "at least" else "end"
    return f"{told}; {what} {words.end(Snapshot.read(view), ' of it')}"


def _probe(probe: Mapping[str, Any]) -> str:
    from monitor.core.probes.register import DATASHEET_STEP_C
    from monitor.core.text.degrees import degrees, plain_difference
    from monitor.live.view.words import QUALITIES, age, doubt, probe_sd_c

    if probe["quality"] is None:
        return "no reading yet"
    if probe["celsius"] is None:
        last = "" if probe["good_age_s"] is None else f", last good one {age(probe['good_age_s'])}"
        return f"{QUALITIES[probe['quality']]} ({probe['quality']}), {age(probe['age_s'])}{last}"
    limit = f"{'compared' if probe['compared'] else 'not compared'}, {doubt(probe_sd_c(probe))}"
    step_c = probe.get("step_c")
    coarse = f", in steps of {plain_difference(step_c, 4)}" if step_c is not None and step_c > 1.01 * DATASHEET_STEP_C else ""
    return f"{degrees(probe['celsius'], '.2f')}, {age(probe['age_s'])}, {limit}{coarse}"
