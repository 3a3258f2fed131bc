"""`evenbath lesson sounds | dry-run`: learn the sounds by ear, and the foot with scrap film (contract, section 13).

Decides where sounds are played, which options go together, and that a dry run is recorded as a rehearsal and ends with whoever
follows it. Tests: tests/cli/test_lesson.py, tests/cli/test_lesson_dry_run.py.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from monitor.cli.arguments.common import add_json, add_state, state_of, today
from monitor.core.errors import InputWrong

if TYPE_CHECKING:
    from monitor.cli.terminal.teaching import Teaching
    from monitor.cli.terminal.voices import Voice

INTERRUPTED = 130


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the sub-commands and their options."""
    lessons = parser.add_subparsers(dest="lesson", metavar="sounds | dry-run", required=True)
    sounds = lessons.add_parser("sounds", help="each sound with its name and what the hands do, then 40 questions", allow_abbrev=False)
    where = sounds.add_mutually_exclusive_group()
    where.add_argument("--file", metavar="STATION.toml", help="the running station plays them; default: this terminal's bell")
    where.add_argument("--wav", metavar="FOLDER", help="write each as NAME.wav in this folder, and play nothing")
    where.add_argument("--list", action="store_true", help="show them in words, and play nothing")
    sounds.add_argument("--class", action="store_true", dest="whole_class", help="play all questions to many, then print the key")
    sounds.add_argument("--seed", type=int, metavar="N", help="the same questions in the same order as the last time with this number")
    add_json(sounds)
    add_state(sounds)
    dry = lessons.add_parser("dry-run", help="a whole session with scrap film; tells after each press what it meant", allow_abbrev=False)
    dry.add_argument("recipe", metavar="RECIPE.toml")
    dry.add_argument("--file", metavar="STATION.toml", required=True, help="the running station")
    dry.add_argument("--override-gate", metavar='"why"', help="begin although the gate is closed; the reason is written down")


def run(args: argparse.Namespace) -> int:
    """Do it. Raises `InputWrong` for options that do not go together, and `NotThere` where no station answers."""
    if args.lesson == "dry-run":
        return _dry_run(args)
    if args.json and not args.list:
        raise InputWrong("--json shows data in place of words; allowed: --list --json")
    if args.whole_class and (args.list or args.wav is not None):
        raise InputWrong("--class plays the questions; allowed: with --file, or alone on a terminal")
    if args.list:
        return _list(args.json)
    if args.wav is not None:
        return _write_wav(args.wav)
    return _teach(args)


def _list(as_json: bool) -> int:
    from monitor.core.session.sounds import SIGNALS

    if as_json:
        import json

        rows = [{"name": s.name, "on_off_ms": s.on_off_ms, "says": s.says, "do": s.do} for s in SIGNALS]
        sys.stdout.write(json.dumps(rows, ensure_ascii=False) + "\n")
        return 0
    for signal in SIGNALS:
        times = "/".join(str(ms) for ms in signal.on_off_ms)
        sys.stdout.write(f"{signal.name}: {signal.heard}\n    {times} ms\n    says: {signal.says}\n    you: {signal.do}\n")
    return 0


def _write_wav(name: str) -> int:
    from monitor.core.session.sounds import SIGNALS
    from monitor.prepare.lesson.wav import wav_bytes

    folder = Path(name)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for signal in SIGNALS:
            path = folder / f"{signal.name}.wav"
            path.write_bytes(wav_bytes(signal.pattern))
            sys.stdout.write(f"{path}\n")
    except OSError as wrong:
        raise InputWrong(f"--wav {name}: cannot be written ({wrong.strerror}); allowed: a folder of your own") from None
    return 0


def _teach(args: argparse.Namespace) -> int:
    import random

    from monitor.cli.terminal.teaching import Left, Teaching, key, result
    from monitor.cli.terminal.voices import wait_until
    from monitor.live.clock import RealClock
    from monitor.prepare.lesson.quiz import series

    clock, state = RealClock(), state_of(args)
    questions = series(random.Random(args.seed))
    teaching = Teaching(_voice(args), _write, _read, lambda seconds: wait_until(clock, clock.mono_s() + seconds))
    status, left = 0, ""
    try:
        if args.whole_class:
            teaching.ask_class(questions)
        else:
            _tell_last(state)
            teaching.teach()
            teaching.ask_all(questions)
    except KeyboardInterrupt:
        status = INTERRUPTED
    except Left:
        left = "the lesson was left without an answer; allowed: one line for each question"
    if args.whole_class:
        _write("".join(key(questions[: teaching.given])))
        return status
    if teaching.score.asked:
        _write("\n" + "".join(result(teaching.score)))
        _keep(state, teaching)
    if left:
        raise InputWrong(left)
    return status


def _dry_run(args: argparse.Namespace) -> int:
    import shlex

    from monitor.cli.arguments.recipe_file import read_file
    from monitor.cli.station import open_station
    from monitor.cli.terminal.dry_run import DryRun
    from monitor.cli.terminal.refusals import told
    from monitor.core.recipe.reader import load_recipe
    from monitor.live.station.control import StationLink, ask

    text = read_file(args.recipe, "recipe")
    recipe = load_recipe(text, args.recipe)
    if args.override_gate is not None and not args.override_gate.strip():
        raise InputWrong("--override-gate without words; allowed: a few words that will be written into the journal")
    config = open_station(args.file)
    request = {
        "verb": "develop", "recipe": text.decode("utf-8-sig"), "file": args.recipe, "rehearsal": True, "waive": "a dry run with scrap film",
        "override_gate": args.override_gate,
    }  # fmt: skip
    with StationLink(config.state) as link:
        session = str(told(link.ask(request))["armed"])
        try:
            dry_run = DryRun(recipe, told(link.ask({"verb": "follow"})), _write)
            dry_run.begin()
            while not dry_run.over:
                dry_run.take(link.receive())
        except KeyboardInterrupt:
            told(ask(config.state, {"verb": "abandon", "why": "the dry run was ended at the keyboard"}))
            _write(f"\nended: {session}\n")
            return INTERRUPTED
    _write(f"Journal, a rehearsal: {config.journals / f'{session}.jsonl'}\n")
    _write(f"The real one: evenbath develop {shlex.quote(args.recipe)} --file {shlex.quote(args.file)}\n")
    return 0


def _voice(args: argparse.Namespace) -> Voice:
    from monitor.cli.terminal.voices import Bell, StationVoice
    from monitor.live.clock import RealClock

    if args.file is not None:
        from monitor.cli.station import open_station
        from monitor.live.station.control import ask

        state = open_station(args.file).state
        return StationVoice(RealClock(), lambda request: ask(state, request))
    if not sys.stdout.isatty():
        raise InputWrong("nothing here can sound: no station and no terminal; allowed: --file STATION.toml, --wav FOLDER, or a terminal")
    return Bell(RealClock(), _write)


def _tell_last(state: Path) -> None:
    from monitor.cli.terminal.teaching import result
    from monitor.prepare.lesson.scores import load_scores

    scores = load_scores(state)
    if scores:
        day, score = scores[-1]
        _write(f"The last lesson, {day}: {''.join(result(score))}")


def _keep(state: Path, teaching: Teaching) -> None:
    from monitor.prepare.lesson.scores import save_score

    save_score(state, teaching.score, today())


def _write(text: str) -> None:
    sys.stdout.write(text)
    sys.stdout.flush()


def _read(prompt: str) -> str:
    from monitor.cli.terminal.teaching import Left

    _write(prompt)
    line = sys.stdin.readline()
    if not line:
        _write("\n")
        raise Left
    return line.strip()
