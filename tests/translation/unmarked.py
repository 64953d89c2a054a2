"""Finds text in Python that a person may read and that no function marks for translation."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent
ROOMS = ("shopfloor", "planning", "dashboards", "telemetry")
# Output of commands, logs, made-up shops and proofs: installers' and developers' English.
NOBODY_READS = re.compile(
    r"/(migrations|management|bench|demo|moving|collector)/|/example_quotes\.py"
    r"|/(settings|env|launch|supervisor|logfiles|demo|locks|privacy|rebuild|thinning)\.py"
    r"|/backup/(?!office|services)|/audit/(coverage|kept|postgresql|sqlite|triggers)\.py"
    r"|/telemetry/(store|journal|models|feeds/push|database)|/(headings|push_intake)\.py"
    r"|/worker/(?!clocks|log|trouble)"
)
MARKS = {
    "_", "_lazy", "N_", "gettext", "gettext_lazy", "gettext_noop", "ngettext", "pgettext", "said",
    "said_in_each", "said_of_many", "count", "count_fractional", "Remark", "plural",
}  # fmt: skip
# What these are given is a code, a name or a pattern, or is raised for programmers.
CODE_CALLS = {
    "RuntimeError", "TypeError", "AssertionError", "NotImplementedError", "KeyError", "LookupError",
    "ValueError", "Http404", "getattr", "setattr", "hasattr", "compile", "sub", "match", "search",
    "fullmatch", "execute", "executemany", "filter", "exclude", "values", "values_list", "get",
    "order_by", "select_related", "prefetch_related", "only", "defer", "warning", "info", "error",
    "exception", "debug", "TypeVar", "reverse", "redirect", "path", "startswith", "endswith",
    "replace", "split", "partition", "rpartition", "strftime", "strptime", "cast", "acting",
    "frame", "RunSQL", "RawSQL", "Column", "get_model", "RowError", "DescriptionError",
    "_whole", "_words", "_flag", "JsonResponse", "Label", "text", "_svg",
}  # fmt: skip
# Of these the argument at this place is a code.
CODE_AT = {"ParseError": 0, "_reject": 1, "RawLine": 2, "Finding": 0, "found": 0, "_told": 0}
# Texts that look like words and are codes: stored, compared, or a format's own.
CODES = {
    # columns of lists, as they stand in the file in every language
    "rated starts", "in drawer", "low at", "lead days", "asked u range", "next step",
    "must be fine",
    # terms of a run's time and what a cut was for, as they are stored
    "cutting with piercing", "travel with waiting", "loading with waiting", "burning as entered",
    "not burning as entered", "cutting, travel and waiting", "asked for", "no fast route",
    "not enough checks", "not asked for", "fine was cheaper", "mild steel", "swirl ring",
    "retaining cap",
    # units of a quantity and of a frame
    "money a metre", "minor units",
    # what is counted of attempts, and notes of the log
    "screen code", "many addresses", "sign-in anywhere", "arcs gone", "arc open",
    "the broker does not answer",
    # faults of files and of runs
    "file missing", "file unreadable", "file changed", "refused lines",
    # words of programs; where a description is from, as a file's name; classes of a drawing
    "SUB {x}", "PLAIN {x}", "DO {x}", "{x} version {x}", "remark off", "remark pencil", "tick em",
}  # fmt: skip
CODE_NAMES = {
    "className", "css", "id", "type", "name", "method", "related_name", "db_table", "fields",
    "content_type", "style", "by", "autocomplete", "code", "kind", "key", "pattern", "why",
}  # fmt: skip
TECHNICAL = re.compile(
    r"<[a-z/!]|https?://|^attachment;|\b(SELECT|FROM|WHERE|INSERT|UPDATE|CREATE|DROP|NULL|COPY)\b"
    r"|default-src|charset|^[\w .,{}]*_\w+[\w ,{}]*$|stroke-width|\{(new|old)\}|%[sd]| IN \("
    r"|\[source\]|^ISO 9013-|serif$"
)
SENTENCE = re.compile(r"[A-Za-z’']{2,}[,.:;)]* +\S*[A-Za-z{(]")


def modules() -> Iterator[Path]:
    for room in ROOMS:
        for path in sorted((ROOT / room).rglob("*.py")):
            if not NOBODY_READS.search(f"/{path.relative_to(ROOT)}"):
                yield path


def unmarked(source: str) -> Iterator[tuple[int, str]]:
    """Line and text of each string of two words or more that is nowhere marked."""
    yield from _Reader().read(ast.parse(source))


def marked(source: str) -> Iterator[tuple[int, str]]:
    """Line and text of each message."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and _called(node) in MARKS:
            for text in node.args:
                if isinstance(text, ast.Constant) and isinstance(text.value, str):
                    yield text.lineno, text.value


class _Reader:
    def read(self, node: ast.AST) -> Iterator[tuple[int, str]]:
        if isinstance(node, ast.Call) and _called(node) in MARKS | CODE_CALLS:
            return
        if isinstance(node, ast.keyword) and node.arg in CODE_NAMES:
            return
        if isinstance(node, ast.Compare | ast.Assert | ast.Expr) and _bare(node):
            return
        if isinstance(node, ast.FunctionDef) and node.name in ("__str__", "__repr__"):
            return
        text = _text(node)
        if text is not None:
            if SENTENCE.search(text) and not TECHNICAL.search(text) and text not in CODES:
                yield node.lineno, text
            return
        for child in _children(node):
            if child is _code_of(node):
                continue
            yield from self.read(child)


def _code_of(node: ast.AST) -> ast.AST | None:
    place = CODE_AT.get(_called(node)) if isinstance(node, ast.Call) else None
    return node.args[place] if isinstance(node, ast.Call) and place is not None else None


def _bare(node: ast.AST) -> bool:
    """A docstring, or what is only compared."""
    return not isinstance(node, ast.Expr) or isinstance(node.value, ast.Constant)


def _children(node: ast.AST) -> Iterator[ast.AST]:
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "decorator_list", "slice", "args_default"):
            continue
        if isinstance(node, ast.Dict) and name == "keys":
            continue
        if isinstance(node, ast.Assign) and _is_code(node):
            return
        for each in value if isinstance(value, list) else [value]:
            if isinstance(each, ast.AST):
                yield each


def _is_code(node: ast.Assign) -> bool:
    target = node.targets[0]
    return isinstance(target, ast.Subscript) or (
        isinstance(target, ast.Name) and target.id.startswith("__")
    )


def _called(node: ast.Call) -> str:
    if isinstance(node.func, ast.Attribute):
        own = isinstance(node.func.value, ast.Name) and node.func.value.id == "messages"
        return "" if own else node.func.attr
    return node.func.id if isinstance(node.func, ast.Name) else ""


def _text(node: ast.AST) -> str | None:
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        parts = (one.value if isinstance(one, ast.Constant) else "{x}" for one in node.values)
        return "".join(str(part) for part in parts)
    return None
