"""Templates are laid out to be read: lines of at most 160 characters. Those that are longer still
may only become fewer: lower `STILL_LONG` with each that is laid out."""

from __future__ import annotations

import re
from pathlib import Path

from shopfloor.wording import values

ROOT = Path(__file__).resolve().parents[1]
MOST = 160
STILL_LONG = 63


def test_long_lines_of_templates_only_become_fewer():
    long = [
        f"{path.relative_to(ROOT)}:{number}: {len(line)}"
        for room in ("shopfloor", "dashboards")
        for path in sorted((ROOT / room).glob("**/templates/**/*.html"))
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if len(line) > MOST
    ]
    assert len(long) <= STILL_LONG, f"{len(long)} of them:\n" + "\n".join(long)


REGION = re.compile(r'<div[^>]*role="region"[^>]*>|<table|</table>')
PAPER = {"quote_paper.html"}  # a page to print


def test_every_table_of_a_page_scrolls_in_a_region_that_names_its_file():
    bare = []
    for room in ("shopfloor", "dashboards"):
        for path in sorted((ROOT / room).glob("**/templates/**/*.html")):
            marks = REGION.findall(path.read_text(encoding="utf-8"))
            for before, mark in zip(["", *marks], marks, strict=False):
                if mark == "<table" and not before.startswith("<div") and path.name not in PAPER:
                    bare.append(path.name)
    assert not bare


FILTERS = "|".join(sorted({one.__name__ for one in values.FILTERS} | {"more", "span", "hundred"}))
VALUE = re.compile(
    rf"\|(?:{FILTERS})\b(?![^}}%]*\|striptags)|\|date:\"[^\"]*[MF][^\"]*\"(?!\|striptags)"
)
ATTRIBUTE = re.compile(r"""\s[a-z-]+="((?:[^"{]|\{\{.*?\}\}|\{%.*?%\}|\{)*)\"""", re.DOTALL)
PLAIN = re.compile(
    r"<(text|title|option|textarea)\b[^>]*>(.*?)</\1>|\{% block (title) %\}(.*?)\{% end"
)


def test_values_carry_their_marks_into_no_attribute_and_no_title():
    """There the mark around a value would be shown, or end the attribute: `|striptags` keeps it
    out."""
    assert VALUE.search('{{ a|when:"x" }}')
    assert not VALUE.search("{{ a|when|striptags }}")
    found = [
        f"{path.relative_to(ROOT)}: {match[0][:100]}"
        for room in ("shopfloor", "dashboards")
        for path in sorted((ROOT / room).glob("**/templates/**/*.html"))
        for pattern in (ATTRIBUTE, PLAIN)
        for match in pattern.finditer(path.read_text(encoding="utf-8"))
        if VALUE.search(match[0])
    ]
    assert found == []
