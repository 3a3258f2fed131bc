"""Small changes of a Python source, one at a time, that some test ought to notice.

Comparisons are moved or turned, numbers and operators changed, conditions negated, calls left out. Docstrings, annotations, imports
and what stands inside formatted strings stay as they are.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass

_COMPARISONS: dict[type[ast.cmpop], str] = {
    ast.Lt: "<=", ast.LtE: "<", ast.Gt: ">=", ast.GtE: ">", ast.Eq: "!=", ast.NotEq: "==",
    ast.Is: "is not", ast.IsNot: "is", ast.In: "not in", ast.NotIn: "in",
}  # fmt: skip
_OPERATORS: dict[type[ast.operator], str] = {ast.Add: "-", ast.Sub: "+", ast.Mult: "/", ast.Div: "*", ast.FloorDiv: "*", ast.Mod: "*"}


@dataclass(frozen=True, slots=True)
class Mutant:
    """A source with one change. `line`: where (from 1); `was`, `becomes`: the text that changed; `source`: all of it."""

    line: int
    was: str
    becomes: str
    source: str


def mutants(source: str) -> list[Mutant]:
    """Every mutant of a source, in the order of its lines. Raises `SyntaxError` where the source is no Python."""
    tree = ast.parse(source)
    lines = [0]
    for line in source.encode().splitlines(keepends=True):
        lines.append(lines[-1] + len(line))
    made = []
    for node, text in _changes(tree):
        begin, end = lines[node.lineno - 1] + node.col_offset, lines[(node.end_lineno or 0) - 1] + (node.end_col_offset or 0)
        raw = source.encode()
        changed = (raw[:begin] + text.encode() + raw[end:]).decode()
        if ast.dump(ast.parse(changed)) != ast.dump(tree):
            made.append(Mutant(node.lineno, raw[begin:end].decode(), text, changed))
    return sorted(made, key=lambda mutant: mutant.line)


def _changes(tree: ast.AST) -> Iterator[tuple[ast.expr, str]]:
    """Expressions and what stands in their place."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.JoinedStr | ast.Import | ast.ImportFrom):
            continue
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            continue
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Call):
            yield node.value, "None"
        if isinstance(node, ast.If | ast.While | ast.IfExp) and not isinstance(node.test, ast.Compare):
            yield node.test, f"(not ({ast.unparse(node.test)}))"
        if isinstance(node, ast.expr):
            yield from ((node, text) for text in _instead(node))
        for field, value in ast.iter_fields(node):
            if field in ("annotation", "returns", "type_params"):
                continue
            parts = [part for part in (value if isinstance(value, list) else [value]) if isinstance(part, ast.AST)]
            yield from _changes(ast.Module(body=parts, type_ignores=[]))  # type: ignore[arg-type]


def _instead(node: ast.expr) -> Iterator[str]:
    if isinstance(node, ast.Compare) and len(node.ops) == 1:
        left, right = ast.unparse(node.left), ast.unparse(node.comparators[0])
        yield f"({left} {_COMPARISONS[type(node.ops[0])]} {right})"
        if isinstance(node.ops[0], ast.Lt | ast.LtE | ast.Gt | ast.GtE):
            yield f"(not ({ast.unparse(node)}))"
    elif isinstance(node, ast.Compare):  # a < b < c: each of them in turn
        for place, op in enumerate(node.ops):
            ops = [*node.ops[:place], _operator(_COMPARISONS[type(op)]), *node.ops[place + 1 :]]
            yield f"({ast.unparse(ast.Compare(node.left, ops, node.comparators))})"
    elif isinstance(node, ast.BinOp) and type(node.op) in _OPERATORS:
        yield f"(({ast.unparse(node.left)}) {_OPERATORS[type(node.op)]} ({ast.unparse(node.right)}))"
    elif isinstance(node, ast.BoolOp):
        turned = ast.And() if isinstance(node.op, ast.Or) else ast.Or()
        yield f"({ast.unparse(ast.BoolOp(turned, node.values))})"
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub):
        yield f"({ast.unparse(node.operand)})"
    elif isinstance(node, ast.Constant) and isinstance(node.value, bool):
        yield str(not node.value)
    elif isinstance(node, ast.Constant) and isinstance(node.value, int | float):
        yield repr(node.value + 1)
        if isinstance(node.value, float):
            yield repr(node.value * 1.01 if node.value else 0.01)


def _operator(text: str) -> ast.cmpop:
    compare = ast.parse(f"a {text} b", mode="eval").body
    assert isinstance(compare, ast.Compare)
    return compare.ops[0]
