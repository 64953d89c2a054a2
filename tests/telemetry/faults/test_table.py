"""The table of faults names tests that are there."""

from __future__ import annotations

import re
from pathlib import Path

HERE = Path(__file__).parent


def test_every_fault_is_held_by_tests_that_exist():
    rows = re.findall(r"^\| (\d+) \|.*?\|(.*)\|$", (HERE / "README.md").read_text(), re.MULTILINE)
    assert [int(number) for number, _ in rows] == list(range(1, 37))
    for number, held_by in rows:
        names = re.findall(r"`([\w/]+\.py)(?:::(\w+))?`", held_by)
        assert names, number
        for path, test in names:
            assert f"def {test}" in (HERE.parent / path).read_text(), (number, path, test)
