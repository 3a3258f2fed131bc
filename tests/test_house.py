"""The rooms of the house and the doors between them: who may import whom, who reads a clock, what the daemon never loads."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
SOURCES = sorted([*(ROOT / "monitor").rglob("*.py"), *(ROOT / "hardware").rglob("*.py")])
HEAVY = {"numpy", "pandas", "matplotlib"}
CLOCKS = {"time", "monotonic", "perf_counter", "time_ns", "monotonic_ns", "now", "utcnow", "today", "localtime", "gmtime"}
CORE_MAY_IMPORT = {
    "__future__", "collections", "collections.abc", "dataclasses", "datetime", "enum", "fractions", "functools", "itertools", "json",
    "math", "operator", "re", "statistics", "tomllib", "types", "typing", "bisect", "string", "heapq", "unicodedata", "contextlib",
    "difflib",
}  # fmt: skip
MAY = {
    "core": {"core"},
    "prepare": {"core", "prepare"},
    "live": {"core", "live"},
    "review": {"core", "review"},
    "cli": {"core", "prepare", "live", "review", "cli"},
}

DOORS: dict[str, str] = {
    "core.text": "core",
    "core.probes": "",
    "core.development": "core.probes",
    "core.recipe": "core.text core.probes core.development",
    "core.journal": "core core.text core.probes",
    "core.session": "core.probes core.development core.recipe core.journal",
    "prepare": "core core.text core.recipe",
    "prepare.state": "core core.text",
    "prepare.lesson": "core core.session prepare.state",
    "prepare.darkness": "core core.text core.recipe prepare prepare.state",
    "prepare.bottles": "core core.text core.recipe prepare prepare.state",
    "prepare.probes": "core core.probes prepare.state",
    "prepare.recipes": "core core.text core.development core.recipe prepare prepare.state",
    "prepare.water": "core core.text core.development core.recipe prepare.probes",
    "prepare.paper": "core.text core.recipe core.session prepare prepare.bottles prepare.recipes",
    "live": "core.probes core.session",
    "live.disk": "core core.journal live",
    "live.telemetry": "core core.journal live live.disk",
    "live.station": "core core.text core.probes core.development core.recipe core.journal core.session live live.disk",
    "live.view": "core.text core.probes core.development core.recipe core.journal core.session",
    "review": "core core.text core.probes core.development core.recipe core.journal core.session",
    "cli.terminal": "core core.text core.recipe core.journal core.session live live.disk live.station live.view prepare.lesson",
    "cli.arguments": "core core.text core.probes core.recipe live live.station prepare.state prepare.probes",
}
"""Which room may import which; the same picture stands in DEVELOPERS.md. `cli` itself joins them all."""


def module(path: Path) -> str:
    """Dotted name."""
    return ".".join(path.relative_to(ROOT).with_suffix("").parts)


@cache
def tree(path: Path) -> ast.Module:
    """What a file holds; parsed once, since several tests look at every file."""
    return ast.parse(path.read_text(encoding="utf-8"))


def imports(path: Path) -> Iterator[str]:
    """Every module that a file imports, anywhere in it."""
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            assert node.level == 0, f"{path}: relative import"
            yield node.module


def room(name: str) -> str | None:
    """The room of a module of monitor, None for others."""
    parts = name.split(".")
    return parts[1] if parts[0] == "monitor" and len(parts) > 1 else None


@pytest.mark.parametrize("path", SOURCES, ids=module)
def test_imports_run_one_way(path: Path) -> None:
    """cli -> live, prepare, review -> core; live -> hardware's ports; hardware never monitor; the core only the standard library."""
    here = room(module(path))
    for name in imports(path):
        if module(path).startswith("hardware"):
            assert not name.startswith("monitor"), name
            continue
        there = room(name)
        if here in MAY and there in MAY:
            assert there in MAY[here], f"{here} may not import {name}"
        if here == "core":
            assert there == "core" or name in CORE_MAY_IMPORT, f"the core may not import {name}"
        if name.startswith("hardware") and here != "cli":
            assert here == "live", f"{here} may not import {name}"
            assert name == "hardware.ports", name
        if name.split(".")[0] in HEAVY:
            assert here == "review", f"{name} lives in review only"


def sub_room(name: str) -> str | None:
    """`core.session` for a module of it, `core` for one that stands directly in core, None outside monitor's rooms."""
    parts = name.split(".")
    if parts[0] != "monitor" or len(parts) < 3:
        return None
    return ".".join(parts[1:3]) if (ROOT / "monitor" / parts[1] / parts[2]).is_dir() else parts[1]


@pytest.mark.parametrize("path", [p for p in SOURCES if sub_room(module(p)) in DOORS], ids=module)
def test_rooms_within_rooms_are_joined_by_the_doors_of_the_map_alone(path: Path) -> None:
    """`DOORS` is the map."""
    here = sub_room(module(path))
    assert here is not None
    for name in imports(path):
        there = sub_room(name)
        assert there is None or there == here or there in DOORS[here].split(), f"there is no door from {here} to {name}"


def test_the_map_in_the_developers_page_names_every_room() -> None:
    """Each folder with modules in it, by its name and a slash."""
    told = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    for path in {p.parent for p in SOURCES}:
        assert f"{path.name}/" in told, path


def test_docstrings_name_no_test_that_is_not_there() -> None:
    """Sources and tests that a source mentions by their path exist."""
    gone = [
        f"{path.relative_to(ROOT)}: {name}"
        for path in [*SOURCES, *(ROOT / "tests").rglob("*.py"), *ROOT.glob("*.md")]
        for name in re.findall(r"(?<![\w/])(?:tests|monitor|hardware)/[\w/]+\.py", path.read_text(encoding="utf-8"))
        if not (ROOT / name).exists()
    ]
    assert not gone


@pytest.mark.parametrize("path", SOURCES, ids=module)
def test_one_module_reads_the_clock_and_nobody_sleeps(path: Path) -> None:
    """Time is an argument. Tools of hardware that run alone are given theirs in `main`."""
    for node in ast.walk(tree(path)):
        if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and isinstance(node.func.value, ast.Name)):
            continue
        called = (node.func.value.id, node.func.attr)
        assert called != ("time", "sleep"), f"{path}:{node.lineno} sleeps"
        reads = called[0] in ("time", "datetime", "date", "dt") and called[1] in CLOCKS
        assert not reads or module(path) in CLOCK_READERS, f"{path}:{node.lineno} reads a clock"


CLOCK_READERS = {"monitor.live.clock"}


def test_there_is_no_import_cycle() -> None:
    """Among imports at module level."""
    graph: dict[str, set[str]] = {}
    names = {module(p).removesuffix(".__init__") for p in SOURCES}
    for path in SOURCES:
        top = [n for n in tree(path).body if isinstance(n, ast.Import | ast.ImportFrom)]
        found: set[str] = set()
        for node in top:
            if isinstance(node, ast.ImportFrom) and node.module:
                found |= {f"{node.module}.{a.name}" for a in node.names} | {node.module}
            elif isinstance(node, ast.Import):
                found |= {a.name for a in node.names}
        graph[module(path).removesuffix(".__init__")] = found & names
    done: set[str] = set()

    def visit(name: str, path: tuple[str, ...]) -> None:
        assert name not in path, " -> ".join((*path, name))
        if name not in done:
            for other in graph[name] - {name}:
                visit(other, (*path, name))
            done.add(name)

    for name in graph:
        visit(name, ())


def test_the_daemons_process_never_loads_pandas_numpy_or_matplotlib() -> None:
    """Everything that the station imports, imported."""
    code = "import sys\n" + "\n".join(
        f"import {module(p)}"
        for p in SOURCES
        if room(module(p)) in ("core", "live") or module(p) in ("monitor.cli.station", "monitor.cli.develop")
    )
    code += "\nbad = {'numpy', 'pandas', 'matplotlib'} & set(sys.modules); assert not bad, bad"
    subprocess.run([sys.executable, "-c", code], check=True, cwd=ROOT)


def test_nothing_prints_outside_the_command_line() -> None:
    """The command line writes to its streams by name."""
    for path in SOURCES:
        for node in ast.walk(tree(path)):
            assert not (isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "print"), f"{path}:{node.lineno}"


def test_a_class_of_over_400_lines_or_25_methods_says_why() -> None:
    """In a sentence of its docstring that speaks of its methods or its lines."""
    silent = []
    for path in SOURCES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.ClassDef):
                continue
            methods = sum(isinstance(part, ast.FunctionDef) for part in node.body)
            lines = (node.end_lineno or node.lineno) - node.lineno + 1
            if (methods > 25 or lines > 400) and not re.search(r"\b(?:methods|lines)\b", ast.get_docstring(node) or ""):
                silent.append(f"{path.relative_to(ROOT)}: {node.name}, {lines} lines, {methods} methods")
    assert not silent
