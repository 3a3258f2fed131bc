"""Breaks the program on purpose, one break at a time, and says which promise no test holds.

    python -m tests.benchmarks.bench_breaks [AREA ...] [--jobs N]
    python -m tests.benchmarks.bench_breaks --random monitor/core/session/calls.py [--count 40] [--seed 7] [--tests FILE ...]

The first applies the breaks of breaks/AREA.toml (all areas, unless some are named), the second random small changes of one module; the
tests of a module are those that its docstring names and the one that mirrors it. Everything happens in temporary copies of the tree.
Exit status: 0 all caught, 1 some survived, 2 a break that cannot be applied or tests that fail without any break.
"""

from __future__ import annotations

import argparse
import ast
import os
import queue
import random
import re
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from tests.benchmarks import likeliest
from tests.benchmarks.mutants import mutants

ROOT = Path(__file__).parents[2]
BREAKS = Path(__file__).parent / "breaks"
KEYS = {"promise": str, "file": str, "was": str, "becomes": str, "caught_by": list}
_LEFT_OUT = (".*", "__pycache__", "*.egg-info", "build", "dist", "node_modules")
_HUNG_S, _ALL_HUNG_S = 600.0, 3600.0
"""The tests of one break, and all tests without any."""
_UNSTEADY = 10
"""More tests than this do not fail together because the machine is busy."""
_FIRST_CHANGE_S = 2_000_000_000
"""Later than any file of the tree."""
_FAILED, _PASSED, _BROKEN_AT_IMPORT = 1, 0, 2
"""Exit statuses of pytest."""


@dataclass(frozen=True, slots=True)
class Break:
    """One change that breaks a promise. `told`: where it is written down; `source`: the whole file with the change in it."""

    promise: str
    file: str
    source: str
    caught_by: tuple[str, ...]
    told: str = ""


class NotApplicable(Exception):
    """A break that does not fit the tree; its text says which and why."""


def areas() -> list[str]:
    """Names of the files of breaks."""
    return sorted(path.stem for path in BREAKS.glob("*.toml"))


def entries(area: str) -> list[dict[str, object]]:
    """The breaks of an area as they stand in its file."""
    path = BREAKS / f"{area}.toml"
    if not path.is_file():
        raise NotApplicable(f"{area}: no such area; there are: {', '.join(areas())}")
    found: list[dict[str, object]] = tomllib.loads(path.read_text(encoding="utf-8")).get("break", [])
    return found


def read(entry: dict[str, object], where: str) -> Break:
    """The break that an entry describes. Raises `NotApplicable` with what is wrong with it."""
    for key, kind in KEYS.items():
        if not isinstance(entry.get(key), kind):
            raise NotApplicable(f"{where}: {key} is missing or of the wrong kind")
    if entry.keys() - KEYS.keys():
        raise NotApplicable(f"{where}: unknown {sorted(entry.keys() - KEYS.keys())}; allowed: {sorted(KEYS)}")
    promise, file, was, becomes = (str(entry[key]) for key in ("promise", "file", "was", "becomes"))
    caught_by = entry["caught_by"]
    assert isinstance(caught_by, list)
    where = f'{where} "{promise}"'
    path = ROOT / file
    if not path.is_file():
        raise NotApplicable(f"{where}: {file} does not exist")
    source = path.read_text(encoding="utf-8")
    if source.count(was) != 1:
        raise NotApplicable(f"{where}: the text to be replaced occurs {source.count(was)} times in {file}; needed: once")
    if was == becomes:
        raise NotApplicable(f"{where}: nothing would change")
    if not caught_by:
        raise NotApplicable(f"{where}: caught_by names no test")
    for test in caught_by:
        name, _, node = str(test).partition("::")
        if not (ROOT / name).is_file():
            raise NotApplicable(f"{where}: {name} does not exist")
        function = re.sub(r"\[.*", "", node.rpartition("::")[2])
        if function and f"def {function}(" not in (ROOT / name).read_text(encoding="utf-8"):
            raise NotApplicable(f"{where}: {name} has no {function}")
    broken = source.replace(was, becomes)
    if path.suffix == ".py" and not _still_parses(source, was, becomes):
        try:
            ast.parse(broken)
        except SyntaxError as wrong:
            raise NotApplicable(f"{where}: what comes of it is no Python (line {wrong.lineno}: {wrong.msg})") from None
    return Break(promise, file, broken, tuple(map(str, caught_by)), where)


@lru_cache(maxsize=64)
def _blocks(source: str) -> list[tuple[int, int, bool]]:
    """First and last line of each statement of a module and of its classes, and whether it stands in a class."""
    top = ast.parse(source).body
    inner = [node for one in top if isinstance(one, ast.ClassDef) for node in one.body]

    def lines(node: ast.stmt) -> tuple[int, int]:
        decorators = getattr(node, "decorator_list", [])
        return min([node.lineno, *(one.lineno for one in decorators)]), node.end_lineno or node.lineno

    return [(*lines(node), False) for node in top] + [(*lines(node), True) for node in inner]


def _still_parses(source: str, was: str, becomes: str) -> bool:
    """Whether the smallest statement around the change is Python by itself: then all is. Where it is not, only the whole can say."""
    at = source.index(was)
    first, last = source.count("\n", 0, at) + 1, source.count("\n", 0, at + len(was.rstrip("\n"))) + 1
    around = [(end - begin, begin, end, in_class) for begin, end, in_class in _blocks(source) if begin <= first and last <= end]
    if not around:
        return False
    _, begin, end, in_class = min(around)
    block = "".join(source.splitlines(keepends=True)[begin - 1 : end])
    if block.count(was) != 1:
        return False
    try:
        ast.parse(("if True:\n" if in_class else "") + block.replace(was, becomes))
    except SyntaxError:
        return False
    return True


def mirrored_tests(module: str) -> tuple[str, ...]:
    """The tests that a module's docstring names and the one that mirrors it; else those of the mirrored folder."""
    path = ROOT / module
    named = re.findall(r"tests/[\w/]+\.py", ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or "")
    mirror = Path("tests", *Path(module).parts[0 if module.startswith("hardware") else 1 :]).with_name(f"test_{path.name}")
    found = [name for name in dict.fromkeys([*named, str(mirror)]) if Path(name).name.startswith("test_") and (ROOT / name).is_file()]
    return tuple(found) or (str(mirror.parent),)


def random_breaks(module: str, count: int, seed: int, tests: Sequence[str]) -> list[Break]:
    """`count` of a module's mutants, drawn with `seed`."""
    caught_by = tuple(tests) or mirrored_tests(module)
    every = mutants((ROOT / module).read_text(encoding="utf-8"))
    drawn = sorted(random.Random(seed).sample(every, min(count, len(every))), key=lambda mutant: mutant.line)
    print(f"{module}: {len(drawn)} of {len(every)} mutants, seed {seed}; tests: {' '.join(caught_by)}")
    return [Break(f"{module}:{m.line}: {_short(m.was)}  ->  {_short(m.becomes)}", module, m.source, caught_by) for m in drawn]


def _short(text: str) -> str:
    words = " ".join(text.split())
    return words if len(words) <= 60 else f"{words[:57]}..."


class Copy:
    """A copy of the tree in which breaks are tried, one after the other."""

    def __init__(self, folder: Path) -> None:
        self.root = folder / "tree"
        shutil.copytree(ROOT, self.root, ignore=shutil.ignore_patterns(*_LEFT_OUT))
        self._changes = 0
        # The copy stands before the installed project on the path, for the tests' child processes too; each is compiled once.
        places = {"PYTHONPATH": self.root, "HYPOTHESIS_STORAGE_DIRECTORY": self.root / ".hypothesis", "PYTHONPYCACHEPREFIX": folder / "pyc"}
        self._environment = os.environ | {name: str(place) for name, place in places.items()}
        self._environment.pop("PYTHONDONTWRITEBYTECODE", None)

    def test(self, tests: Sequence[str], *words: str, hung_s: float = _HUNG_S, promise: str = "") -> tuple[int, list[str]]:
        """(Exit status of pytest, the tests that failed or else its last line). `promise`: those that speak of it run first."""
        plugins = ("-p", "no:cacheprovider", "-p", likeliest.__name__)
        command = [sys.executable, "-m", "pytest", *plugins, "-rfE", "--tb=no", *words, *tests]
        try:
            done = subprocess.run(
                command,
                cwd=self.root,
                env=self._environment | {likeliest.PROMISE: promise},
                capture_output=True,
                text=True,
                timeout=hung_s,
                stdin=subprocess.DEVNULL,
                check=False,
            )
        except subprocess.TimeoutExpired:
            return _FAILED, [f"still running after {hung_s:g} s"]
        failed = re.findall(r"^(?:FAILED|ERROR) (\S+)", done.stdout, re.MULTILINE)
        return done.returncode, failed or [(done.stdout.splitlines() or done.stderr.splitlines() or ["?"])[-1]]

    def without_breaks(self, tests: Sequence[str], jobs: int) -> tuple[list[str], list[str]]:
        """(Tests that fail though nothing is broken, tests that failed beside others but not alone: a busy machine)."""
        status, failed = self.test(tests, "-n", str(jobs), hung_s=_ALL_HUNG_S)
        if status == _PASSED:
            return [], []
        if status != _FAILED or len(failed) > _UNSTEADY:
            return failed, []
        alone = {test: self.test([test], "-n0")[0] == _PASSED for test in failed}
        return [test for test in failed if not alone[test]], [test for test in failed if alone[test]]

    def put(self, file: str, source: str) -> None:
        """Replace a file. It is dated a second after its last change, else one of the same length would pass for what is compiled."""
        path = self.root / file
        path.write_text(source, encoding="utf-8")
        self._changes += 1
        changed_s = _FIRST_CHANGE_S + self._changes
        os.utime(path, (changed_s, changed_s))

    def attempt(self, one: Break) -> tuple[int, str]:
        """Apply a break, run its tests, take it back."""
        self.put(one.file, one.source)
        try:
            status, told = self.test(one.caught_by, "-x", "-n0", promise=one.promise)
            return status, told[0]
        finally:
            self.put(one.file, (ROOT / one.file).read_text(encoding="utf-8"))


def run(breaks: Sequence[Break], jobs: int, first: int = 1) -> int:
    """Try all from the `first` on and print the table. The exit status."""
    of, breaks = len(breaks), breaks[first - 1 :]
    survived: list[Break] = []
    unsure: list[Break] = []
    with tempfile.TemporaryDirectory(prefix="evenbath-breaks-") as folder:
        copies: queue.SimpleQueue[Copy] = queue.SimpleQueue()
        for job in range(max(1, jobs)):
            (Path(folder) / str(job)).mkdir()
            copies.put(Copy(Path(folder) / str(job)))
        whole = copies.get()
        files = sorted({test.partition("::")[0] for one in breaks for test in one.caught_by})
        failed, unsteady = whole.without_breaks(files, max(1, jobs))
        copies.put(whole)
        if failed:
            print(f"the tests fail without any break: {' '.join(failed)}")
            return 2
        for test in unsteady:
            print(f"unsteady: {test} failed beside other tests, not alone", flush=True)

        def attempt(one: Break) -> tuple[int, str]:
            copy = copies.get()
            try:
                return copy.attempt(one)
            finally:
                copies.put(copy)

        with ThreadPoolExecutor(max(1, jobs)) as pool:
            for number, (one, (status, by)) in enumerate(zip(breaks, pool.map(attempt, breaks), strict=True), first):
                if status == _PASSED:
                    survived.append(one)
                elif status not in (_FAILED, _BROKEN_AT_IMPORT):
                    unsure.append(one)
                verdict = {_PASSED: "SURVIVED", _FAILED: by, _BROKEN_AT_IMPORT: f"at import: {by}"}.get(status, f"NOT TRIED: {by}")
                print(f"{number}/{of} {one.promise}\n    {verdict}", flush=True)
    for one in survived:
        print(f"survived: {one.told or one.promise}")
    print(f"caught {len(breaks) - len(survived) - len(unsure)} of {len(breaks)}")
    return 2 if unsure else 1 if survived else 0


def main(words: Sequence[str] | None = None) -> int:
    """The command line."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.bench_breaks", description=(__doc__ or "").splitlines()[0])
    parser.add_argument("areas", nargs="*", metavar="AREA", help=f"of: {', '.join(areas()) or 'none yet'}; all if none is named")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1, help="how many at a time (default: one for each core)")
    parser.add_argument("--random", metavar="MODULE", help="random changes of this module instead")
    parser.add_argument("--count", type=int, default=40, help="how many random changes (default 40)")
    parser.add_argument("--seed", type=int, default=7, help="which ones (default 7)")
    parser.add_argument("--tests", nargs="+", default=[], metavar="FILE", help="tests that should notice (default: the module's own)")
    parser.add_argument("--first", type=int, default=1, metavar="K", help="go on with the K-th: a run that was cut off")
    args = parser.parse_args(words)
    try:
        if args.random is not None:
            breaks = random_breaks(args.random, args.count, args.seed, args.tests)
        else:
            breaks = [read(entry, f"{area}.toml:{k}") for area in args.areas or areas() for k, entry in enumerate(entries(area), 1)]
    except (NotApplicable, OSError) as wrong:
        print(wrong, file=sys.stderr)
        return 2
    return run(breaks, args.jobs, max(1, args.first))


if __name__ == "__main__":
    sys.exit(main())
