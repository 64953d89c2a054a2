"""The list of small changes itself."""

from __future__ import annotations

import ast

import pytest

from tests.mutants.belonging import files, own_tests
from tests.mutants.changes import changes
from tests.test_docs import ROOT

SOURCE = b'''"""A docstring with 1 and 2."""
LIMIT: float = 3


@cache(size=5)
def over(a: int = 7, \xc3\xa9: int | None = None) -> bool:
    if a < LIMIT and not b:
        raise ValueError(f"{a + 1} is over {LIMIT}", 9)
    return -a + 2 <= 1
'''


def test_each_operator_comparison_and_constant_is_changed_once():
    found = [f"{change.line}: {change.old} -> {change.new}" for change in changes("x.py", SOURCE)]
    assert sorted(found) == sorted(
        [
            "2: 3 -> 4",
            "6: 7 -> 8",
            "7: a < LIMIT and (not b) -> a < LIMIT or not b",
            "7: a < LIMIT -> a <= LIMIT",
            "7: not b -> b",
            "9: -a + 2 <= 1 -> -a + 2 < 1",
            "9: -a + 2 -> -a - 2",
            "9: -a -> a",
            "9: 2 -> 3",
            "9: 1 -> 2",
        ]
    )


@pytest.mark.parametrize("change", changes("x.py", SOURCE), ids=str)
def test_a_change_is_python_and_changes_its_own_line_only(change):
    changed = change.apply(SOURCE)
    assert ast.dump(ast.parse(changed)) != ast.dump(ast.parse(SOURCE))
    before, after = SOURCE.splitlines(), changed.splitlines()
    assert [
        n for n, pair in enumerate(zip(before, after, strict=True), 1) if pair[0] != pair[1]
    ] == [change.line]


@pytest.mark.parametrize("name", files(ROOT))
def test_every_file_has_tests_and_something_to_change(name):
    source = (ROOT / name).read_bytes()
    assert own_tests(ROOT, name)
    for change in changes(name, source):
        ast.parse(change.apply(source))
