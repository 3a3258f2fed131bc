"""`evenbath wedge curve | times | clip | leader`: film tests with a step wedge, a clip of the roll, or pieces of its leader.

Decides nothing itself: monitor.prepare.sensitometry does. Tests: tests/cli/test_wedge.py.
"""

from __future__ import annotations

import argparse
import math
import sys
from typing import TYPE_CHECKING, Any

from monitor.cli.arguments.common import add_json
from monitor.cli.arguments.session_names import add_state

if TYPE_CHECKING:
    from monitor.prepare.sensitometry.growth import Growth
    from monitor.prepare.sensitometry.wedge import Curve

DENSITY_SAYS = "a number from 0 to 6"


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the sub-commands and their arguments."""
    actions = parser.add_subparsers(dest="action", metavar="curve | times | clip | leader", required=True)
    one = actions.add_parser("curve", help="one film's curve: base plus fog, speed point, average gradient", allow_abbrev=False)
    source = one.add_mutually_exclusive_group(required=True)
    source.add_argument("file", metavar="WEDGE.csv", nargs="?", help="columns density and one of log_h, stops, wedge")
    source.add_argument("--densities", metavar="LIST", help='typed, least exposure first: "0.30 0.34 0.45 0.61"')
    one.add_argument("--step", default="0.15", metavar="LOG", help="typed: from one step to the next; 0.15, half a stop, if left out")
    one.add_argument("--index", metavar="NUMBER", help="stops count from the metered grey at this exposure index")
    one.add_argument("--lux-seconds", action="store_true", help="log_h is the logarithm of lux seconds")
    several = actions.add_parser("times", help="times for N-1 to N+2 from your own films", allow_abbrev=False)
    several.add_argument("films", nargs="+", metavar="m:ss=WEDGE.csv",
                         help="developed for this time, or SESSION=WEDGE.csv: as its journal shows; three or more are better than two")
    normal = several.add_mutually_exclusive_group()
    normal.add_argument("--normal", metavar="m:ss", help="the time whose contrast is normal for you")
    normal.add_argument("--gradient", metavar="NUMBER", help="or its average gradient; 0.58 if both are left out")
    clip = actions.add_parser("clip", help="the clip test: how, and the time for the rest of the roll", allow_abbrev=False)
    clip.add_argument("films", nargs="*", metavar="m:ss=WEDGE.csv", help="your own films, for the arithmetic")
    clip.add_argument("--developed", metavar="m:ss", help="the clip's time")
    clip.add_argument("--shows", metavar="NUMBER", help="its average gradient")
    clip.add_argument("--wanted", metavar="NUMBER", help="the one that is wanted")
    clip.add_argument("--into", metavar="EVENING.toml", help="write the factor into the last film of this evening, whose clip this was")
    leader = actions.add_parser("leader", help="pieces of leader at bracketed times: how fast is this developer", allow_abbrev=False)
    leader.add_argument("--fresh", required=True, metavar="m:ss", help="the reference piece's time in fresh developer")
    leader.add_argument("--matched", metavar="m:ss", help="the time of today's piece with the same grey")
    for action in (several, clip):
        add_state(action)
    for action in (one, several, clip):
        action.add_argument("--base-fog", metavar="NUMBER", help="density of film without light; else that row, or the thinnest step")
        action.add_argument("--density-sd", default="0.02", metavar="NUMBER", help="standard deviation of one reading; 0.02 if left out")
    for action in (one, several):
        action.add_argument("--picture", metavar="FILE.svg", help="draw the curves")
        add_json(action)


def run(args: argparse.Namespace) -> int:
    """Run one action. Raises `InputWrong`, `FileWrong`."""
    return {"curve": _curve, "times": _times, "clip": _clip, "leader": _leader}[args.action](args)


def _number(option: str, text: str | None, low: float, high: float, says: str) -> float | None:
    from monitor.cli.arguments.numbers import read_plain
    from monitor.core.errors import InputWrong

    if text is None:
        return None
    value = read_plain(option, text, says)
    if not low <= value <= high:
        raise InputWrong(f"{option} {text}: out of range; allowed: {says}")
    return value


def _reading(args: argparse.Namespace) -> tuple[float | None, float]:
    base_fog = _number("--base-fog", args.base_fog, 0.0, 6.0, DENSITY_SAYS)
    sd = _number("--density-sd", args.density_sd, 0.001, 0.5, "0.001 to 0.5")
    assert sd is not None
    return base_fog, sd


def _read(name: str, base_fog: float | None, sd: float) -> Curve:
    from pathlib import Path

    from monitor.core.errors import InputWrong
    from monitor.prepare.sensitometry.wedge import read_csv

    try:
        text = Path(name).read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise InputWrong(f"{name}: not text; allowed: a CSV file in UTF-8") from None
    except (OSError, ValueError) as wrong:
        why = wrong.strerror if isinstance(wrong, OSError) else "not a valid path"
        raise InputWrong(f"{name}: cannot be read ({why}); allowed: a CSV file") from None
    return read_csv(text, name, base_fog, sd)


def _curve(args: argparse.Namespace) -> int:
    from dataclasses import asdict

    from monitor.prepare.sensitometry.wedge import curve_lines, typed

    base_fog, sd = _reading(args)
    index = _number("--index", args.index, 1.0, 100_000.0, "1 to 100000")
    if args.densities is not None:
        step = _number("--step", args.step, 0.01, 1.0, "0.01 to 1")
        assert step is not None
        found = typed("these densities", args.densities, step, base_fog, sd)
    else:
        found = _read(args.file, base_fog, sd)
    _draw(args.picture, [found])
    if args.json:
        speed, gradient = found.speed_point, found.gradient
        data: dict[str, Any] = {
            "base_fog": found.base_fog,
            "speed_point_log_h": None if speed is None else asdict(speed),
            "gradient": None if gradient is None else asdict(gradient),
            "index": None if index is None else found.index(index),
            "iso_speed": found.iso_speed if args.lux_seconds else None,
            "standard_contrast": found.standard_contrast,
            "steps": [asdict(step) for step in found.steps],
        }
        _json(data)
        return 0
    sys.stdout.write("".join(f"{line}\n" for line in curve_lines(found, index, args.lux_seconds)))
    return 0


def _json(data: dict[str, Any]) -> None:
    import json

    sys.stdout.write(json.dumps(data, ensure_ascii=False) + "\n")


def _developed(args: argparse.Namespace, word: str) -> tuple[float, float]:
    """Seconds at the reference and one standard deviation: as typed, or the development that a session's journal shows."""
    from monitor.cli.arguments.session_names import find_journal, journals_folder
    from monitor.core.errors import InputWrong
    from monitor.core.text.quantities import read_duration

    if ":" in word:
        return read_duration(word), 0.0
    from monitor.review.load import load
    from monitor.review.measures import measure
    from monitor.review.summary import main_stages

    path = find_journal(word, journals_folder(args))
    if not path.is_file():
        raise InputWrong(f"{word}: not one session; allowed: m:ss, or a session's id or journal")
    developed = [stage for stage in main_stages(measure(load(path)).numbers) if stage.role == "develop"]
    if not developed or any(stage.done_ref_s is None or not stage.end_told for stage in developed):
        raise InputWrong(f"{word}: its journal does not show how far it was developed; allowed: a session whose end was told")
    sheets = len([stage for stage in developed if stage.stage == developed[0].stage])  # of several sheets, their mean
    done_s = sum(stage.done_ref_s or 0.0 for stage in developed) / sheets
    return done_s, max(stage.done_sd_ref_s or 0.0 for stage in developed)


def _films(args: argparse.Namespace, words: list[str], base_fog: float | None, sd: float) -> tuple[Growth, list[Curve]]:
    from dataclasses import replace

    from monitor.core.errors import InputWrong
    from monitor.core.text.quantities import shown
    from monitor.prepare.sensitometry.growth import FilmAt, grow

    films, curves = [], []
    for word in words:
        time, equals, name = word.partition("=")
        if not equals or not name:
            raise InputWrong(f"{shown(word)} is not a film with its time; allowed: m:ss=WEDGE.csv or SESSION=WEDGE.csv")
        (time_s, time_sd_s), curve = _developed(args, time), _read(name, base_fog, sd)
        gradient = curve.gradient
        if gradient is None:
            raise InputWrong(
                f"{name}: no average gradient (evenbath wedge curve says why); allowed: a wedge that reaches 1.30 above its speed point"
            )
        steepest = gradient.value / time_s  # contrast grows more slowly than in proportion
        films.append(FilmAt(time_s, gradient.value, math.hypot(gradient.sd, steepest * time_sd_s)))
        curves.append(replace(curve, name=time))
    return grow(films), curves


def _times(args: argparse.Namespace) -> int:
    from dataclasses import asdict

    from monitor.core.text.quantities import format_duration, read_duration
    from monitor.prepare.sensitometry.growth import NORMAL_GRADIENT, growth_lines, push_times, push_times_from

    growth, curves = _films(args, args.films, *_reading(args))
    gradient = _number("--gradient", args.gradient, 0.1, 3.0, "0.1 to 3")
    if args.normal is not None:
        normal_s = read_duration(args.normal)
        rows, said = push_times_from(growth, normal_s), f"what {format_duration(normal_s)} gives"
    else:
        wanted = NORMAL_GRADIENT if gradient is None else gradient
        whose = ", a navy manual's for a normal grade" if gradient is None else ""
        rows, said = push_times(growth, wanted), f"a gradient of {wanted:.2f}{whose}"
    _draw(args.picture, curves)
    if args.json:
        law = {"end": growth.end, "k_per_s": growth.k_per_s, "films": [asdict(film) for film in growth.films]}
        _json({"growth": law, "times": [asdict(row) for row in rows]})
        return 0
    sys.stdout.write("".join(f"{line}\n" for line in growth_lines(growth, rows, said)))
    return 0


def _clip(args: argparse.Namespace) -> int:
    from monitor.core.errors import InputWrong
    from monitor.core.text.quantities import format_duration, read_duration
    from monitor.prepare.sensitometry.clips import CLIP_STEPS, clip_time

    given = [args.developed, args.shows, args.wanted]
    if not args.films and not any(given):
        sys.stdout.write("".join(f"{number}. {step}\n" for number, step in enumerate(CLIP_STEPS, 1)))
        return 0
    if not args.films or not all(given):
        raise InputWrong("a clip's arithmetic with a part missing; allowed: your films, --developed, --shows and --wanted together")
    growth, _ = _films(args, args.films, *_reading(args))
    shows, wanted = (_number(option, text, 0.1, 3.0, "0.1 to 3") for option, text in (("--shows", args.shows), ("--wanted", args.wanted)))
    assert shows is not None
    assert wanted is not None
    found = clip_time(growth, read_duration(args.developed), shows, wanted)
    sys.stdout.write(f"the rest of the roll: {format_duration(round(found.time_s))}, {found.factor:.2f} of the clip's time\n")
    if found.limited:
        sys.stdout.write("That is as far as one clip is to be trusted: cut a second one at this time first.\n")
    if args.into is not None:
        _carry(args.into, found.factor)
    return 0


def _carry(name: str, factor: float) -> None:
    """Write the factor into the last film of this evening. Raises `InputWrong` and `FileWrong`, and leaves a file that would not load."""
    from pathlib import Path

    from monitor.cli.arguments.recipe_file import open_evening
    from monitor.core.errors import InputWrong
    from monitor.core.evening.reader import RecipeText, load_evening
    from monitor.prepare.evening.carried import carried

    evening, path = open_evening(name), Path(name)
    if evening.from_recipe or len(evening.films) < 2:
        raise InputWrong(f"--into {name}: no evening with a clip and a film after it; allowed: evenbath new --evening clip-first")
    text, film, own = carried(path.read_text(encoding="utf-8"), evening, factor)
    load_evening(text.encode(), name, lambda recipe: RecipeText((path.parent / recipe).read_bytes(), str(path.parent / recipe)))
    fresh = path.with_suffix(".new")
    try:
        fresh.write_text(text, encoding="utf-8")
        fresh.replace(path)
    except OSError as wrong:
        raise InputWrong(f"{name}: cannot be written ({wrong.strerror}); allowed: a file that you may write") from None
    sys.stdout.write(f"written: {name}: film {film.number} ({film.what}), factor {own:g}\n")
    sys.stdout.write(f"It alone is then developed: evenbath develop {name} --film {film.number} --file STATION.toml\n")


def _leader(args: argparse.Namespace) -> int:
    from monitor.core.text.quantities import read_duration
    from monitor.prepare.sensitometry.clips import bracket_lines

    matched_s = None if args.matched is None else read_duration(args.matched)
    sys.stdout.write("".join(f"{line}\n" for line in bracket_lines(read_duration(args.fresh), matched_s)))
    return 0


def _draw(name: str | None, curves: list[Curve]) -> None:
    if name is None:
        return
    from pathlib import Path

    from monitor.core.drawing.strips import alone
    from monitor.core.errors import InputWrong
    from monitor.prepare.sensitometry.picture import curves_picture

    if not name.endswith(".svg"):
        raise InputWrong(f"--picture {name}: not a picture; allowed: a name that ends in .svg")
    try:
        Path(name).write_text(alone(curves_picture(curves)), encoding="utf-8")
    except (OSError, ValueError) as wrong:
        why = wrong.strerror if isinstance(wrong, OSError) else "not a valid path"
        raise InputWrong(f"--picture {name}: cannot be written ({why}); allowed: a file in a writable folder") from None
