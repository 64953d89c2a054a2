"""Small changes of a module's code, each of which some test should notice."""

from __future__ import annotations

import ast
import copy
from collections.abc import Iterator
from dataclasses import dataclass

OPERATORS: dict[type[ast.AST], type[ast.AST]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult,
    ast.Pow: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
    ast.And: ast.Or,
    ast.Or: ast.And,
}
# Types, decorators and the wording of errors are not arithmetic.
LEFT_OUT = {"annotation", "returns", "decorator_list"}


@dataclass(frozen=True, slots=True)
class Change:
    """One change; `start` and `end` are byte offsets of what `new` replaces."""

    path: str
    line: int
    start: int
    end: int
    old: str
    new: str

    def apply(self, source: bytes) -> bytes:
        return source[: self.start] + f"({self.new})".encode() + source[self.end :]

    def __str__(self) -> str:
        return f"{self.path}:{self.line}: {self.old}  ->  {self.new}"


def changes(path: str, source: bytes) -> list[Change]:
    """Every change of one operator, comparison or constant, in the order of the file."""
    starts = [0]
    for text in source.splitlines(keepends=True):
        starts.append(starts[-1] + len(text))
    found = []
    for node in _walk(ast.parse(source)):
        start = starts[node.lineno - 1] + node.col_offset
        end = starts[(node.end_lineno or 0) - 1] + (node.end_col_offset or 0)
        for new in _variants(node):
            found.append(Change(path, node.lineno, start, end, ast.unparse(node), ast.unparse(new)))
    return sorted(found, key=lambda change: (change.start, change.end, change.new))


def _walk(node: ast.AST) -> Iterator[ast.expr]:
    for field, value in ast.iter_fields(node):
        if field in LEFT_OUT:
            continue
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.Raise | ast.JoinedStr) or not isinstance(child, ast.AST):
                continue
            if isinstance(child, ast.expr):
                yield child
            yield from _walk(child)


def _variants(node: ast.expr) -> Iterator[ast.expr]:
    if isinstance(node, ast.BinOp | ast.BoolOp) and type(node.op) in OPERATORS:
        new = copy.deepcopy(node)
        new.op = OPERATORS[type(node.op)]()  # type: ignore[assignment]
        yield new
    elif isinstance(node, ast.Compare):
        for place, op in enumerate(node.ops):
            other = copy.deepcopy(node)
            other.ops[place] = OPERATORS[type(op)]()  # type: ignore[call-overload]
            yield other
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub):
        yield node.operand
    elif isinstance(node, ast.Constant) and isinstance(node.value, bool):
        yield ast.Constant(not node.value)
    elif isinstance(node, ast.Constant) and isinstance(node.value, int | float):
        yield ast.Constant(node.value + 1)
