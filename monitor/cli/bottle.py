"""`evenbath bottle add | use | test | discard | list | undo`: the ledger of bottles.

Passes the arguments to monitor.prepare.bottles.ledger and prints the outcome. Nothing is booked that the person did not
ask for. Tests: tests/cli/test_bottle.py.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from monitor.cli.arguments.common import add_action, state_of, today

if TYPE_CHECKING:
    import datetime as dt

    from monitor.prepare.bottles.bottles import Bottle
    from monitor.prepare.bottles.ledger import Entry, Ledger

ROLES = ("develop", "stop", "bleach", "fix", "bleach-fix", "wash aid", "rinse", "replenisher", "other")
LEAST_UNITS = 0.01
"""Less than a square inch of film nobody develops (a choice)."""


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the sub-commands and their arguments."""
    actions = parser.add_subparsers(dest="action", metavar="add | use | test | discard | list | undo", required=True)
    _configure_add(add_action(actions, "add", "add a bottle to the ledger"))
    _configure_use(add_action(actions, "use", "book film that went through it, or something taken out of it"))
    _configure_test(add_action(actions, "test", "record a clearing test or a leader test; it overrules the count"))
    discard = add_action(actions, "discard", "record that it was thrown away")
    discard.add_argument("name", metavar="NAME")
    listing = add_action(actions, "list", "show what is in the ledger, and whether it is still good")
    listing.add_argument("name", metavar="NAME", nargs="?", help="only this bottle")
    listing.add_argument("--all", action="store_true", help="include discarded bottles")
    add_action(actions, "undo", "take back the last entry; it stays in the file")


def _configure_add(add: argparse.ArgumentParser) -> None:
    add.add_argument("name", metavar="NAME", help="its name, as in the `solution` of a recipe's stages")
    add.add_argument("--volume", required=True, metavar="VOLUME", help='such as "1 l"')
    add.add_argument("--role", choices=ROLES, default="other", help="what it is for")
    add.add_argument("--what", metavar="WORDS", help="what is in it")
    add.add_argument("--dilution", metavar="1+N", help='of a working solution, or "stock"')
    add.add_argument("--mixed", metavar="DAY", help="such as 2026-11-25; default today")
    add.add_argument("--opened", metavar="DAY", help="when it was opened")
    add.add_argument("--one-shot", action="store_true", help="used once, then used up")
    add.add_argument("--per-litre", metavar="UNITS", help="good for this many units of 80 sq in per litre")
    add.add_argument("--discard-at", metavar="UNITS", help="good for this many units in all")
    add.add_argument("--longer", metavar="PERCENT", help="per cent by which each unit lengthens the time, such as 10")
    add.add_argument("--replenish", metavar="VOLUME", help='added for each unit, such as "70 ml"')
    add.add_argument("--replenisher", metavar="NAME", help="the bottle from which it is replenished")
    add.add_argument("--keeps-full", metavar="SPAN", help='such as "6 months"')
    add.add_argument("--keeps-part", metavar="SPAN", help="once opened")
    add.add_argument("--fresh", metavar="m:ss", help="clearing or leader time of the fresh solution")
    add.add_argument("--least", metavar="VOLUME", help='of this concentrate for each unit of film at least, such as "5 ml"')
    add.add_argument("--source", metavar="WORDS", help="where these numbers come from")


def _configure_use(use: argparse.ArgumentParser) -> None:
    use.add_argument("name", metavar="NAME", nargs="?", help="may be left out with --journal: then all bottles of that session")
    use.add_argument("--units", metavar="UNITS", help="film area in units of 80 sq in")
    use.add_argument("--sheets", metavar="SIZE", help='film by its size: "4x5", "9x12 cm", "36", "roll"')
    use.add_argument("--count", metavar="N", default="1", help="how many of that size")
    use.add_argument("--journal", metavar="FILE.jsonl", help="book what this session used")
    use.add_argument("--take", metavar="VOLUME", help='taken out of it or carried over, such as "16 ml"')
    use.add_argument("--added", metavar="VOLUME", help="replenisher actually added, if not by the rule")


def _configure_test(test: argparse.ArgumentParser) -> None:
    from monitor.prepare.bottles import clearing, leader

    test.epilog = f"The clearing test: {clearing.HOW} The leader test: {leader.HOW}"
    test.add_argument("name", metavar="NAME")
    which = test.add_mutually_exclusive_group(required=True)
    which.add_argument("--clearing", metavar="m:ss", help="of a fixer: until the spot has gone")
    which.add_argument("--leader", metavar="m:ss", help="of a developer: until the leader was dark")
    test.add_argument("--fresh", metavar="m:ss", help="the same test when it was fresh; default: from the ledger")
    test.add_argument("--is-fresh", action="store_true", help="this is the fresh time: store it")


def run(args: argparse.Namespace) -> int:
    """Run one action. Raises `InputWrong`, `FileWrong`."""
    from monitor.live.clock import RealClock

    state = state_of(args)
    if args.action == "list":
        return _list(args, state, today())
    return _write(args, state, RealClock().wall())


def _list(args: argparse.Namespace, state: Path, today: dt.date) -> int:
    from monitor.prepare.bottles.bottles import bottle_data
    from monitor.prepare.bottles.ledger import read_ledger

    ledger = read_ledger(state)
    _tell_damage(ledger)
    if args.name is not None:
        bottles = [ledger.bottle(args.name)]
    else:
        bottles = [b for b in ledger.bottles.values() if args.all or b.discarded is None]
    if args.json:
        _json({"bottles": [bottle_data(bottle, today) for bottle in bottles]})
        return 0
    if not bottles:
        sys.stdout.write('There is no bottle in the ledger. Add one: evenbath bottle add NAME --volume "1 l" --role fix\n')
    for bottle in bottles:
        sys.stdout.write("".join(f"{line}\n" for line in _bottle_lines(bottle, today)))
    return 0


def _tell_damage(ledger: Ledger) -> None:
    if ledger.damaged is not None:
        sys.stderr.write(f"{ledger.damaged}\n")


def _write(args: argparse.Namespace, state: Path, now: dt.datetime) -> int:
    from monitor.prepare.bottles.bottles import bottle_data
    from monitor.prepare.bottles.ledger import discard_entry, undo_last, write_entries

    today = now.astimezone().date()
    makers = {
        "add": lambda ledger: [_add_entry(args, today)],
        "use": lambda ledger: _use_entries(args, ledger),
        "test": lambda ledger: [_test_entry(args, ledger)],
        "discard": lambda ledger: [discard_entry(ledger.bottle(args.name))],
        "undo": undo_last,
    }
    found: list[Ledger] = []

    def make(ledger: Ledger) -> list[Entry]:
        found.append(ledger)
        return list(makers[args.action](ledger))

    after, entries = write_entries(state, now, make)
    _tell_damage(found[0])
    if args.json:
        bottles = [bottle_data(after.bottles[i], today) for i in _touched(entries, found[0]) if i in after.bottles]
        _json({**(bottles[0] if len(bottles) == 1 else {"bottles": bottles}), "entries": list(entries)})
        return 0
    for entry in entries:
        sys.stdout.write("".join(f"{line}\n" for line in _entry_lines(entry, found[0], after, today)))
    return 0


def _touched(entries: tuple[Entry, ...], before: Ledger) -> list[int]:
    """Ids of the bottles that the entries concern; for an undo, the one that the undone entry concerned."""
    earlier = {entry["seq"]: entry for entry in before.entries}
    meant = [earlier[entry["undoes"]] if entry["entry"] == "undo" else entry for entry in entries]
    return [entry["seq"] if entry["entry"] == "add" else entry["bottle"] for entry in meant]


def _add_entry(args: argparse.Namespace, today: dt.date) -> Entry:
    from dataclasses import asdict

    from monitor.core.errors import InputWrong
    from monitor.core.text.quantities import read_dilution, read_duration, read_volume
    from monitor.prepare.bottles.bottles import Rules
    from monitor.prepare.days import read_span

    name = args.name.strip()
    if not name or len(name) > 60 or not name.isprintable():
        raise InputWrong("no name, or one of more than 60 characters; allowed: a name to write on the bottle")
    opened = _past_day("--opened", args.opened, today)
    if args.mixed is None and opened is not None and opened < today.isoformat():
        raise InputWrong(f"--opened {args.opened} without --mixed, which defaults to today; allowed: --mixed too, that day or earlier")
    rules = Rules(
        one_shot=args.one_shot,
        per_litre=_above_zero("--per-litre", args.per_litre),
        discard_at=_above_zero("--discard-at", args.discard_at),
        longer_percent=_above_zero("--longer", args.longer),
        replenish_ml=None if args.replenish is None else read_volume(args.replenish),
        replenisher=args.replenisher,
        keeps_full=None if args.keeps_full is None else str(read_span(args.keeps_full)),
        keeps_part=None if args.keeps_part is None else str(read_span(args.keeps_part)),
        fresh_s=None if args.fresh is None else read_duration(args.fresh),
        least_ml=None if args.least is None else read_volume(args.least),
    )
    if rules.one_shot and (rules.per_litre or rules.discard_at or rules.longer_percent or rules.replenish_ml):
        capacity = "--per-litre, --discard-at, --longer, --replenish"
        raise InputWrong(f"a one-shot bottle with a capacity; allowed: --one-shot alone, or {capacity}")
    if rules.replenisher is not None and (rules.replenish_ml is None or rules.replenisher.casefold() == name.casefold()):
        raise InputWrong("--replenisher without --replenish, or the bottle itself; allowed: another bottle, with the ml for each unit")
    return {
        "entry": "add", "name": name, "volume_ml": read_volume(args.volume), "role": args.role, "what": args.what,
        "dilution": None if args.dilution is None else str(read_dilution(args.dilution)),
        "mixed": _past_day("--mixed", args.mixed, today) or today.isoformat(),
        "opened": opened,
        "rules": asdict(rules), "source": args.source,
    }  # fmt: skip


def _past_day(option: str, text: str | None, today: dt.date) -> str | None:
    from monitor.core.errors import InputWrong
    from monitor.prepare.days import read_day

    if text is None:
        return None
    day = read_day(text)
    if day > today:
        raise InputWrong(f"{option} {text}: a day in the future; allowed: today or earlier")
    return day.isoformat()


def _above_zero(option: str, text: str | None) -> float | None:
    from monitor.cli.arguments.numbers import read_plain
    from monitor.core.errors import InputWrong

    if text is None:
        return None
    number = read_plain(option, text, "above 0, at most 10000")
    if not 0 < number <= 10000:
        raise InputWrong(f"{option} {text}: out of range; allowed: above 0, at most 10000")
    return number


def _use_entries(args: argparse.Namespace, ledger: Ledger) -> list[Entry]:
    from monitor.core.errors import InputWrong
    from monitor.core.text.quantities import read_volume
    from monitor.prepare.bottles.booking import read_booking
    from monitor.prepare.bottles.ledger import booking_entries, use_entry

    units = _units(args)
    if args.journal is not None:
        if args.take is not None or args.added is not None:
            raise InputWrong("--take or --added together with --journal; allowed: separate entries")
        return booking_entries(ledger, read_booking(Path(args.journal)), args.name, units)
    if args.name is None:
        raise InputWrong("which bottle? allowed: a name, or --journal FILE")
    bottle = ledger.bottle(args.name)
    if bottle.rules.one_shot and args.take is not None:
        raise InputWrong(f'"{bottle.name}" is one-shot and is used up completely; allowed: no --take')
    if units is None and args.take is None and args.added is None and not bottle.rules.one_shot:
        raise InputWrong(f'nothing to book for "{bottle.name}"; allowed: --units, --sheets with --count, --take, --added or --journal')
    taken_ml = 0.0 if args.take is None else read_volume(args.take)
    added_ml = None if args.added is None else read_volume(args.added)
    return [use_entry(ledger, bottle, units or 0.0, taken_ml, added_ml)]


def _units(args: argparse.Namespace) -> float | None:
    from monitor.core.errors import InputWrong
    from monitor.prepare.bottles.area import units_of

    if args.sheets is None:
        if args.count != "1":
            raise InputWrong('--count without --sheets; allowed: both, such as --sheets 4x5 --count 6')
        units = _above_zero("--units", args.units)
        if units is not None and units < LEAST_UNITS:
            raise InputWrong(f"--units {args.units}: out of range; allowed: {LEAST_UNITS} to 10000")
        return units
    if args.units is not None:
        raise InputWrong("--units and --sheets; allowed: one of the two")
    if not args.count.isdecimal() or not 1 <= int(args.count[:9]) <= 10000:
        raise InputWrong(f"--count {args.count}: not a number of films; allowed: 1 to 10000")
    return units_of(args.sheets, int(args.count))


def _test_entry(args: argparse.Namespace, ledger: Ledger) -> Entry:
    from monitor.core.errors import InputWrong
    from monitor.core.text.quantities import read_duration

    bottle = ledger.bottle(args.name)
    kind = "clearing" if args.clearing is not None else "leader"
    today_s = read_duration(args.clearing if args.clearing is not None else args.leader)
    if args.is_fresh and args.fresh is not None:
        raise InputWrong("--is-fresh and --fresh; allowed: one of the two")
    fresh_s = today_s if args.is_fresh else bottle.rules.fresh_s if args.fresh is None else read_duration(args.fresh)
    if fresh_s is None:
        raise InputWrong(f'no fresh time of "{bottle.name}" is known; allowed: --fresh m:ss, or --is-fresh if it is fresh now')
    return {"entry": "test", "bottle": bottle.id, "name": bottle.name, "test": kind, "today_s": today_s, "fresh_s": fresh_s}


def _json(data: dict[str, Any]) -> None:
    import json

    sys.stdout.write(json.dumps(data, ensure_ascii=False) + "\n")


def _entry_lines(entry: Entry, before: Ledger, after: Ledger, today: dt.date) -> list[str]:
    if entry["entry"] == "undo":
        undone = next(e for e in before.entries if e["seq"] == entry["undoes"])
        return [f'taken back: {undone["entry"]} of "{undone["name"]}" on {undone["day"]}']
    bottle = after.bottles[entry["seq"] if entry["entry"] == "add" else entry["bottle"]]
    lines = _bottle_lines(bottle, today)
    if entry["entry"] == "use":
        return [*_use_lines(entry, before.bottles[bottle.id], bottle), *lines]
    if entry["entry"] == "test":
        return [*_test_lines(entry), *lines]
    if entry["entry"] == "discard":
        return [*lines, *_discard_lines(bottle)]
    return lines


def _use_lines(entry: Entry, before: Bottle, after: Bottle) -> list[str]:
    from monitor.core.text.quantities import format_number, format_volume

    lines = [f"booked: {format_number(entry['units'], 2)} unit{_s(entry['units'])} through it"] if entry["units"] else []
    if entry["taken_ml"]:
        lines.append(f"taken out: {format_volume(entry['taken_ml'])}")
    if entry["added_ml"]:
        over = after.poured_off_ml - before.poured_off_ml
        lines.append(f"replenish: {format_volume(entry['added_ml'])} in; {format_volume(over)} poured off, because it no longer fits")
    state, why = before.state(_day(entry))
    if state not in ("good",):
        lines.append(f"careful: before this use it was {state} ({why})")
    return lines


def _s(number: float) -> str:
    """The plural's ending."""
    return "" if number == 1 else "s"


def _day(entry: Entry) -> dt.date:
    import datetime as dt

    return dt.date.fromisoformat(entry["day"])


def _test_lines(entry: Entry) -> list[str]:
    from monitor.prepare.bottles.clearing import clearing, clearing_lines
    from monitor.prepare.bottles.leader import leader_lines, leader_test

    if entry["test"] == "clearing":
        return clearing_lines(clearing(entry["fresh_s"], entry["today_s"]))
    return leader_lines(leader_test(entry["fresh_s"], entry["today_s"]))


def _discard_lines(bottle: Bottle) -> list[str]:
    from monitor.prepare.cautions import RULE, discard_cautions

    return [caution.text for caution in (*discard_cautions(bottle.role, f"{bottle.name} {bottle.what or ''}"), RULE)]


def _bottle_lines(bottle: Bottle, today: dt.date) -> list[str]:
    from monitor.core.text.quantities import format_duration, format_number, format_volume

    _, why = bottle.state(today)
    words = [w for w in (bottle.what, bottle.dilution) if w]
    contents = f" ({', '.join(words)})" if words else ""
    parts = [f"{format_volume(bottle.volume_ml)} left of {format_volume(bottle.filled_ml)}", f"mixed {bottle.mixed}"]
    if bottle.opened is not None:
        parts.append(f"opened {bottle.opened}")
    if bottle.units:
        parts.append(f"{format_number(bottle.units, 2)} unit{_s(bottle.units)} through it")
    if bottle.keeps_until is not None:
        parts.append(f"keeps until {bottle.keeps_until.isoformat()}")
    lines = [f"{bottle.name}{contents}: {bottle.called(today)}; {why}", f"  {', '.join(parts)}"]
    if bottle.rules.longer_percent and bottle.units:
        lines.append(f"  next film: time x {format_number(bottle.time_factor, 3)}")
    if bottle.fix_least_s is not None and bottle.tested is not None:
        lines.append(f"  fix at least {format_duration(bottle.fix_least_s)}: twice the clearing time of {bottle.tested.day}")
    return lines
