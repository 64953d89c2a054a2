"""One word a thing on pages and screens, and none that stops a reader."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
# what was said -> what is said
OLD = {
    r">Stands<": "State",
    r">Lists<|heading %\}Lists": "Queue",
    r"Plate wanted|the lists want|Lists want": "Plate needed; queued",
    r"[Cc]ustomers’ (own )?drop|>Drop<": "remnant; Remove",
    r"otherwise than": "two counts",
    r"Taken: |Not taken: ": "Saved; Refused",
    r"Put it right|put it right": "Correct it",
    r"Goes without": "Nests without plate",
    r"table’s list|table's list|on a list\b|on the list\b": "queue",
}
MARKED = re.compile(r"\{% translate ([\"'])(.*?)\1 %\}")
PLACES = [
    *ROOT.glob("shopfloor/**/templates/**/*.html"),
    *ROOT.glob("dashboards/templates/**/*.html"),
    *ROOT.glob("shopfloor/static/kerfbook/**/*.js"),
]


@pytest.mark.parametrize("old", OLD)
def test_pages_use_the_one_word(old):
    assert len(PLACES) > 100
    found = [
        f"{path.relative_to(ROOT)}: {match[0]}"
        for path in PLACES
        for match in re.finditer(old, MARKED.sub(r"\2", path.read_text(encoding="utf-8")))
    ]
    assert not found, f"say {OLD[old]}"


def test_aside_is_a_run_and_nothing_else():
    """Set aside is what a half burnt sheet is; a count is rejected, work fails, arcs get no job."""
    said = [path for path in PLACES if re.search(r"set aside", path.read_text(encoding="utf-8"))]
    assert {path.name for path in said} <= {"floor_start.html", "help.html"}
