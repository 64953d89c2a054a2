"""Which files are changed, and which tests are theirs."""

from __future__ import annotations

import re
from pathlib import Path

# The readers of programs and drawings are left out: their tests hold them against a second reading
# of thousands of made-up files, which takes too long to repeat for every change.
CHANGED = (
    "planning/calc/*.py",
    "planning/calc/chart/*.py",
    "telemetry/arcs/*.py",
    "planning/services/postings.py",
    "shopfloor/runs/matching/*.py",
    "shopfloor/site/calendar.py",
)
# Tests that reach a file through others; the rest import it by name.
THROUGH = {
    "planning/services/postings.py": (
        "tests/planning/test_postings.py",
        "tests/planning/test_wear_postings.py",
    ),
    "planning/calc/chart/": ("tests/planning/calc/chart",),
    "planning/calc/chords.py": ("tests/planning/calc/test_chords.py",),
    "planning/calc/inches.py": ("tests/planning/calc/test_said.py",),
    "planning/calc/translated.py": ("tests/planning/calc/test_said.py",),
    "shopfloor/runs/matching/": ("tests/shopfloor/runs/test_matching.py",),
}


def files(root: Path) -> list[str]:
    found = {path for pattern in CHANGED for path in root.glob(pattern)}
    named = {path for path in found if path.stat().st_size and path.name != "__init__.py"}
    return sorted(str(path.relative_to(root)) for path in named)


def own_tests(root: Path, name: str) -> list[str]:
    """Paths of the tests that import `name`, then of those that reach it through others."""
    package, _, module = name.removesuffix(".py").replace("/", ".").rpartition(".")
    imports = re.compile(
        rf"^ *(from {re.escape(package)}\.{module} import |import {re.escape(package)}\.{module}\b"
        rf"|from {re.escape(package)} import [^\n]*\b{module}\b)",
        re.MULTILINE,
    )
    found = [
        str(path.relative_to(root))
        for path in sorted((root / "tests").rglob("test_*.py"))
        if imports.search(path.read_text(encoding="utf-8"))
    ]
    through = [test for start, own in THROUGH.items() if name.startswith(start) for test in own]
    return [
        test for test in found if not any(test.startswith(f"{folder}/") for folder in through)
    ] + [test for test in through if test not in found]
