"""Every fault of FAULTS.md names tests that are there, and every numbered test its fault."""

from __future__ import annotations

import ast
import re
from pathlib import Path

ROOM = Path(__file__).parent.parent
NUMBERS = range(1, 37)


def rows() -> dict[int, list[tuple[str, str]]]:
    table = (ROOM / "FAULTS.md").read_text()
    found = re.findall(r"^\| (\d+) \|.*?\|(.*)\|$", table, re.MULTILINE)
    return {int(number): re.findall(r"`([\w/]+\.py)::(\w+)`", held) for number, held in found}


def named_in(path: Path) -> set[str]:
    """Names of the tests a file defines that no mark skips for good."""
    return {
        node.name
        for node in ast.parse(path.read_text()).body
        if isinstance(node, ast.FunctionDef)
        and node.name.startswith("test_")
        and not any("mark.skip" in ast.unparse(mark) for mark in node.decorator_list)
    }


def test_every_fault_is_held_by_tests_that_exist():
    table = rows()
    assert list(table) == list(NUMBERS)
    for number, tests in table.items():
        assert tests, number
        for path, test in tests:
            assert test in named_in(ROOM / path), (number, path, test)


def test_every_test_that_bears_a_number_is_in_the_row_of_that_fault():
    table = rows()
    for path in ROOM.rglob("test_*.py"):
        for test in named_in(path):
            if number := re.match(r"test_(\d\d)_", test):
                named = {name for _, name in table[int(number[1])]}
                assert test in named, (path, test)
