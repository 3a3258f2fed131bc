"""`evenbath darkness guide | record | changed | status`: the darkness test with coins, and its record.

Decides nothing: monitor.prepare.darkness.coin_test does. Tests: tests/cli/test_darkness.py.
"""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING, Any

from monitor.cli.arguments.common import add_json, add_state, today

if TYPE_CHECKING:
    from monitor.core.recipe.values import Recipe


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the sub-commands and their arguments."""
    actions = parser.add_subparsers(dest="action", metavar="guide | record | changed | status", required=True)
    guide = actions.add_parser("guide", help="show the test, step by step", allow_abbrev=False)
    guide.add_argument("recipe", metavar="RECIPE.toml", nargs="?", help="for the film and the open time of this recipe")
    guide.add_argument("--film", default="panchromatic", help="kind of film, if there is no recipe")
    record = _with_state(actions.add_parser("record", help="record what was seen", allow_abbrev=False))
    record.add_argument("--film", required=True, help='one of a recipe, or "colour paper"')
    record.add_argument("--place", required=True, metavar="WORDS", help="where the film lay")
    record.add_argument("--ran", required=True, metavar="m:ss", help="how long the film lay there altogether")
    shows = "the shortest time whose spot is darker than the one covered all along; none if no spot is"
    record.add_argument("--shows", required=True, metavar="m:ss|none", help=shows)
    record.add_argument("--control", choices=("clear", "shows", "none"), default="none", help="what the strip with the tool off shows")
    record.add_argument("--distance-cm", metavar="CM", help="from the tool to the film")
    record.add_argument("--day", metavar="DAY", help="such as 2026-11-25; default today")
    record.add_argument("--coins", metavar="m:ss,...", help="when the coins were laid down; default 1:00,2:00,4:00,8:00,16:00")
    record.add_argument("--note", metavar="WORDS")
    changed = _with_state(actions.add_parser("changed", help="record a change of lamp, place or box: test again", allow_abbrev=False))
    changed.add_argument("what", metavar="WHAT", help="what has changed")
    status = _with_state(actions.add_parser("status", help="show what is known for each kind of film", allow_abbrev=False))
    status.add_argument("recipe", metavar="RECIPE.toml", nargs="?", help="only for this recipe's film and open time")


def _with_state(parser: argparse.ArgumentParser) -> argparse.ArgumentParser:
    add_json(parser)
    add_state(parser)
    return parser


def run(args: argparse.Namespace) -> int:
    """Run one action. Raises `InputWrong`, `FileWrong`."""
    from monitor.prepare.darkness.coin_test import Change, save

    if args.action == "guide":
        return _guide(args)
    if args.action == "status":
        return _status(args)
    from monitor.prepare.state.folder import state_folder

    entry = Change(today().isoformat(), args.what) if args.action == "changed" else _test(args)
    save(state_folder(args.state), entry)
    return _status(args, None if args.action == "changed" else args.film)


def _open_s(recipe: Recipe) -> float:
    """Seconds during which film lies bare, at the references; 0 where that is only while it is loaded, which has no clock."""
    return sum(recipe.stages[number - 1].begin_to_end_s for number in recipe.open_film)


def _guide(args: argparse.Namespace) -> int:
    from monitor.core.errors import InputWrong
    from monitor.prepare.darkness.coin_test import KINDS, guide, kind_of

    film, open_s = args.film, None
    if args.recipe is not None:
        from monitor.cli.arguments.recipe_file import open_recipe

        recipe = open_recipe(args.recipe)
        film, open_s = kind_of(recipe), _open_s(recipe)
    elif film not in KINDS:
        raise InputWrong(f'--film "{film}": not known; allowed: {", ".join(KINDS)}')
    sys.stdout.write("".join(f"{line}\n" for line in guide(film, open_s)))
    return 0


def _test(args: argparse.Namespace) -> Any:
    from monitor.cli.arguments.numbers import read_plain
    from monitor.core.errors import InputWrong
    from monitor.core.text.quantities import read_duration
    from monitor.prepare.darkness.coin_test import COINS_S, CoinTest, coin_test
    from monitor.prepare.days import read_day

    day = today() if args.day is None else read_day(args.day)
    if day > today():
        raise InputWrong(f"--day {args.day}: a day in the future; allowed: today or earlier")
    distance_cm = None if args.distance_cm is None else read_plain("--distance-cm", args.distance_cm, "0 to 2000")
    if distance_cm is not None and not 0 <= distance_cm <= 2000:
        raise InputWrong(f"--distance-cm {args.distance_cm}: out of range; allowed: 0 to 2000")
    return coin_test(
        CoinTest(
            film=args.film,
            place=args.place,
            day=day.isoformat(),
            distance_cm=distance_cm,
            ran_s=read_duration(args.ran),
            visible_s=None if args.shows == "none" else read_duration(args.shows),
            control_shows={"clear": False, "shows": True, "none": None}[args.control],
            coins_s=COINS_S if args.coins is None else tuple(read_duration(word) for word in args.coins.split(",")),
            note=args.note,
        )
    )


def _status(args: argparse.Namespace, film: str | None = None) -> int:
    from monitor.core.text.quantities import format_duration
    from monitor.prepare.darkness.coin_test import KINDS, covers, darkness, kind_of, load
    from monitor.prepare.state.folder import state_folder

    open_s: float | None = None
    if film is None and getattr(args, "recipe", None) is not None:
        from monitor.cli.arguments.recipe_file import open_recipe

        recipe = open_recipe(args.recipe)
        film, open_s = kind_of(recipe), _open_s(recipe)
    entries, day = load(state_folder(args.state)), today()
    known = [darkness(entries, name, day) for name in (KINDS if film is None else (film,))]
    if args.json:
        import json

        rows = [_data(one, open_s) for one in known]
        sys.stdout.write(json.dumps(rows[0] if film is not None else {"films": rows}, ensure_ascii=False) + "\n")
        return 0
    for one in known:
        sys.stdout.write(f"{one.film}: {one.in_words}; {one.why}\n")
        if open_s == 0:
            sys.stdout.write(f"  in this recipe {one.medium} is bare only while you load it\n")
        elif open_s is not None and not covers(one, open_s):
            sys.stdout.write(f"  not covered: {one.medium} lies open for {format_duration(open_s)} in this recipe\n")
    return 0


def _data(known: Any, open_s: float | None) -> dict[str, Any]:
    from dataclasses import asdict

    from monitor.prepare.darkness.coin_test import covers

    test = known.test
    return {
        "film": known.film,
        "status": known.standing,
        "why": known.why,
        "test": None if test is None else {**asdict(test), "clear_s": test.clear_s, "safe_open_s": test.safe_open_s},
        "due": None if test is None else test.due.isoformat(),
        "open_s": open_s,
        "covered": None if not open_s else covers(known, open_s),
    }
