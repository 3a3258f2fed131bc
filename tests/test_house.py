"""The rooms of the house and the doors between them: who may import whom, who reads a clock, what the daemon never loads."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
SOURCES = sorted([*(ROOT / "monitor").rglob("*.py"), *(ROOT / "hardware").rglob("*.py")])
HEAVY = {"numpy", "pandas", "matplotlib"}
CLOCKS = {"time", "monotonic", "perf_counter", "time_ns", "monotonic_ns", "now", "utcnow", "today", "localtime", "gmtime"}
CORE_MAY_IMPORT = {
    "__future__", "collections", "collections.abc", "dataclasses", "datetime", "enum", "fractions", "functools", "itertools", "json",
    "math", "operator", "re", "statistics", "tomllib", "types", "typing", "bisect", "string", "heapq", "unicodedata", "contextlib",
}  # fmt: skip
MAY = {
    "core": {"core"},
    "prepare": {"core", "prepare"},
    "live": {"core", "live"},
    "review": {"core", "review"},
    "cli": {"core", "prepare", "live", "review", "cli"},
}


def module(path: Path) -> str:
    """Dotted name."""
    return ".".join(path.relative_to(ROOT).with_suffix("").parts)


def imports(path: Path) -> Iterator[str]:
    """Every module that a file imports, anywhere in it."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
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


@pytest.mark.parametrize("path", SOURCES, ids=module)
def test_one_module_reads_the_clock_and_nobody_sleeps(path: Path) -> None:
    """Time is an argument. Tools of hardware that run alone are given theirs in `main`."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
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
        top = [n for n in ast.parse(path.read_text(encoding="utf-8")).body if isinstance(n, ast.Import | ast.ImportFrom)]
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
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            assert not (isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "print"), f"{path}:{node.lineno}"
