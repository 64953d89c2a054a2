"""Numbers and dates for a reader are written in one place each, so that a language can have its own
marks and order."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator

from tests.translation.unmarked import ROOT, modules

# A format that shows names of days or months, or a clock time; and a number with marks in it.
WORDED = re.compile(r"\{[^{}\"']+:%[^{}]*%?[aAbB][^{}]*\}|strftime\(\"[^\"]*%[aAbB]")
CLOCK = re.compile(r"\{[^{}\"']+:%H:%M(:%S)?\}")
WITH_MARKS = re.compile(r"\{\w*:[-+ ]?(,|,?\.[1-9])[\d.]*[fge]?\}")
NO_READER = ("planning/calc/dates.py", "planning/calc/program/", "shopfloor/backup/")


def _formatted(source: str) -> Iterator[int]:
    """Lines on which a message with such a number is filled by `str.format`."""
    for node in ast.walk(ast.parse(source)):
        filled = isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)
        if filled and node.func.attr == "format":
            texts = [
                one.value for one in ast.walk(node.func.value) if isinstance(one, ast.Constant)
            ]
            if any(isinstance(text, str) and WITH_MARKS.search(text) for text in texts):
                yield node.lineno


def test_no_other_module_writes_a_date_or_a_number_with_marks_into_a_message():
    found = []
    for path in modules():
        own = path.relative_to(ROOT).as_posix()
        if own.startswith(("telemetry/", *NO_READER)):
            continue
        source = path.read_text(encoding="utf-8")
        for number, line in enumerate(source.splitlines(), 1):
            codes = "models.py" in own or "breaks.py" in own  # for logs, and a column
            if WORDED.search(line) or (CLOCK.search(line) and not codes):
                found.append(f"{own}:{number}: {line.strip()}")
        if ".format(" in source and WITH_MARKS.search(source):
            found += [f"{own}:{number}: format" for number in _formatted(source)]
    assert not found, "\n".join(found)
