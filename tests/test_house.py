"""The rooms of the house and the doors between them: who may import whom, who reads a clock, what the daemon never loads."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parent.parent
SOURCES = sorted([*(ROOT / "monitor").rglob("*.py"), *(ROOT / "hardware").rglob("*.py")])
HEAVY = {"numpy", "pandas", "matplotlib"}
CLOCKS = {"time", "monotonic", "perf_counter", "time_ns", "monotonic_ns", "now", "utcnow", "today", "localtime", "gmtime"}
CORE_MAY_IMPORT = {
    "__future__", "collections", "collections.abc", "dataclasses", "datetime", "enum", "fractions", "functools", "itertools", "json",
    "math", "operator", "re", "statistics", "tomllib", "types", "typing", "bisect", "string", "heapq", "unicodedata", "contextlib",
    "textwrap", "difflib", "html",
}  # fmt: skip
MAY = {
    "core": {"core"},
    "prepare": {"core", "prepare"},
    "live": {"core", "live"},
    "review": {"core", "review"},
    "page": {"core", "prepare", "live", "page"},
    "cli": {"core", "prepare", "live", "review", "page", "cli"},
}

DOORS: dict[str, str] = {
    "core.text": "core",
    "core.drawing": "core.text",
    "core.probes": "",
    "core.development": "core.probes",
    "core.recipe": "core.text core.probes core.development",
    "core.evening": "core core.text core.recipe",
    "core.journal": "core core.text core.probes",
    "core.session": "core.probes core.development core.recipe core.journal",
    "prepare": "core core.text core.recipe",
    "prepare.state": "core core.text",
    "prepare.logbook": "core core.text prepare.state",
    "prepare.lesson": "core core.session prepare.state",
    "prepare.darkness": "core core.text core.recipe prepare prepare.state",
    "prepare.archive": "core core.text prepare prepare.state",
    "prepare.guide": "core core.text prepare",
    "prepare.bottles": "core core.text core.recipe prepare prepare.state",
    "prepare.probes": "core core.text core.probes prepare.state",
    "prepare.recipes": "core core.text core.development core.recipe core.session prepare prepare.state prepare.water",
    "prepare.water": "core core.text core.development core.recipe prepare.probes",
    "prepare.evening": "core core.text core.drawing core.evening core.recipe core.session prepare prepare.bottles prepare.water",
    "prepare.sensitometry": "core core.text core.drawing",
    "prepare.paper": (
        "core.text core.recipe core.evening core.session prepare prepare.archive prepare.bottles prepare.evening prepare.guide "
        "prepare.recipes"
    ),
    "live": "core.evening core.journal core.probes core.session",
    "live.disk": "core core.journal live",
    "live.telemetry": "core core.journal live live.disk",
    "live.station": "core core.text core.evening core.probes core.development core.recipe core.journal core.session live live.disk",
    "live.view": "core.text core.probes core.development core.recipe core.journal core.session",
    "review": "core core.text core.probes core.development core.recipe core.journal core.session",
    "review.pages": "core core.text core.drawing core.development review",
    "page": (
        "core core.text core.drawing core.probes core.recipe core.journal prepare.bottles prepare.logbook "
        "live live.disk live.station live.view"
    ),
    "cli.terminal": "core core.text core.recipe core.journal core.session live live.disk live.station live.view prepare.lesson",
    "cli.arguments": (
        "core core.text core.probes core.recipe core.evening live live.station prepare.state prepare.probes prepare.bottles prepare.evening"
    ),
}
"""Which room may import which; the same picture stands in DEVELOPERS.md. `cli` itself joins them all."""


def module(path: Path) -> str:
    """Dotted name."""
    return ".".join(path.relative_to(ROOT).with_suffix("").parts)


@cache
def tree(path: Path) -> ast.Module:
    """What a file holds; parsed once, since several tests look at every file."""
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def nodes(path: Path) -> tuple[ast.AST, ...]:
    """Everything in a file that is imported, called or a class: what the tests here look at."""
    return tuple(node for node in ast.walk(tree(path)) if isinstance(node, ast.Import | ast.ImportFrom | ast.Call | ast.ClassDef))


def imports(path: Path) -> Iterator[str]:
    """Every module that a file imports, anywhere in it."""
    for node in nodes(path):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            assert node.level == 0, f"{path}: relative import"
            yield node.module


def room(name: str) -> str | None:
    """The room of a module of monitor, None for others."""
    parts = name.split(".")
    return parts[1] if parts[0] == "monitor" and len(parts) > 1 else None


def may_import(path: Path, name: str) -> bool:
    """Whether a module may import another one, by the arrows between rooms."""
    here, there = room(module(path)), room(name)
    if module(path).startswith("hardware"):
        return not name.startswith("monitor")
    if here in MAY and there in MAY and there not in MAY[here]:
        return False
    if here == "core" and there != "core" and name not in CORE_MAY_IMPORT:
        return False
    if name.startswith("hardware") and here != "cli" and not (here == "live" and name == "hardware.ports"):
        return False
    return name.split(".")[0] not in HEAVY or here == "review"


def test_imports_run_one_way() -> None:
    """cli -> live, prepare, review -> core; live -> hardware's ports; hardware never monitor; the core only the standard library."""
    assert not [f"{module(path)} imports {name}" for path in SOURCES for name in imports(path) if not may_import(path, name)]


def sub_room(name: str) -> str | None:
    """`core.session` for a module of it, `core` for one that stands directly in core, None outside monitor's rooms."""
    parts = name.split(".")
    if parts[0] != "monitor" or len(parts) < 3:
        return None
    return ".".join(parts[1:3]) if (ROOT / "monitor" / parts[1] / parts[2]).is_dir() else parts[1]


def test_rooms_within_rooms_are_joined_by_the_doors_of_the_map_alone() -> None:
    """`DOORS` is the map."""
    no_door = [
        f"{module(path)} imports {name}"
        for path in SOURCES
        if (here := sub_room(module(path))) in DOORS
        for name in imports(path)
        if (there := sub_room(name)) is not None and there != here and there not in DOORS[here].split()
    ]
    assert not no_door


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


CLOCK_READERS = {"monitor.live.clock"}


def test_one_module_reads_the_clock_and_nobody_sleeps() -> None:
    """Time is an argument. Tools of hardware that run alone are given theirs in `main`."""
    found = []
    for path in SOURCES:
        for node in nodes(path):
            if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and isinstance(node.func.value, ast.Name)):
                continue
            of, called = node.func.value.id, node.func.attr
            reads = of in ("time", "datetime", "date", "dt") and called in CLOCKS and module(path) not in CLOCK_READERS
            if (of, called) == ("time", "sleep") or reads:
                found.append(f"{path.relative_to(ROOT)}:{node.lineno}: {of}.{called}")
    assert not found


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
        for node in nodes(path):
            assert not (isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "print"), f"{path}:{node.lineno}"


def test_a_class_of_over_400_lines_or_25_methods_says_why() -> None:
    """In a sentence of its docstring that speaks of its methods or its lines."""
    silent = []
    for path in SOURCES:
        for node in nodes(path):
            if not isinstance(node, ast.ClassDef):
                continue
            methods = sum(isinstance(part, ast.FunctionDef) for part in node.body)
            lines = (node.end_lineno or node.lineno) - node.lineno + 1
            if (methods > 25 or lines > 400) and not re.search(r"\b(?:methods|lines)\b", ast.get_docstring(node) or ""):
                silent.append(f"{path.relative_to(ROOT)}: {node.name}, {lines} lines, {methods} methods")
    assert not silent
