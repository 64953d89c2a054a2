"""Text in Python that a person may read is marked for translation."""

from __future__ import annotations

import re
from collections import Counter

import pytest

from tests.translation.unmarked import ROOT, marked, modules, unmarked

# By room; a number may only fall. What is left are codes, names of columns and stored choices, but
# for telemetry, which is not marked yet.
STILL_UNMARKED = {
    "dashboards": 2,
    "dashboards/ledgers": 8,
    "dashboards/pages": 1,
    "dashboards/wear": 1,
    "planning/calc": 27,
    "planning/inputs": 1,
    "planning/reports": 6,
    "planning/services": 3,
    "shopfloor": 1,
    "shopfloor/background": 1,
    "shopfloor/books": 3,
    "shopfloor/chart": 2,
    "shopfloor/jobs": 4,
    "shopfloor/nests": 2,
    "shopfloor/people": 10,
    "shopfloor/quality": 1,
    "shopfloor/runs": 1,
    "shopfloor/site": 9,
    "shopfloor/sources": 1,
    "shopfloor/svg": 4,
    "shopfloor/wording": 1,
    "telemetry": 33,
    "telemetry/decode": 18,
    "telemetry/description": 32,
    "telemetry/feeds": 38,
    "telemetry/lanes": 1,
    "telemetry/models": 24,
    "telemetry/parsers": 65,
}


def test_no_room_has_more_unmarked_text_than_it_had():
    found = Counter[str]()
    where = []
    for path in modules():
        own = path.relative_to(ROOT)
        room = "/".join(own.parts[:2]) if len(own.parts) > 2 else own.parts[0]
        for line, text in unmarked(path.read_text(encoding="utf-8")):
            found[room] += 1
            where.append(f"{room}: {own}:{line}: {text!r}")
    more = {room for room, number in found.items() if number > STILL_UNMARKED.get(room, 0)}
    assert not more, "\n".join(line for line in where if line.partition(":")[0] in more)


# What begins or ends so is a piece of a sentence: other languages put it elsewhere.
PIECE = re.compile(r"^[\s,.;:)(–-]|[\s,;(]$")
# Signs of a file and of an address, and what the screens' scripts put between names.
NO_PIECES = {":", "\n", " and ", ", and "}


def test_a_message_is_a_whole_sentence_and_no_piece_of_one():
    pieces = []
    for path in modules():
        for line, text in marked(path.read_text(encoding="utf-8")):
            if PIECE.search(text) and text not in NO_PIECES:
                pieces.append(f"{path.relative_to(ROOT)}:{line}: {text!r}")
    assert not pieces, "\n".join(pieces)


@pytest.mark.parametrize(
    ("source", "texts"),
    [
        ('_("Sheet {sheet}").format(sheet=x)', ["Sheet {sheet}"]),
        ('ngettext("a sheet", ", {n} sheets", n)', ["a sheet", ", {n} sheets"]),
        ('f(" and ", x)', []),
    ],
)
def test_the_reading_of_messages(source, texts):
    assert [text for _line, text in marked(source)] == texts


@pytest.mark.parametrize(
    ("source", "found"),
    [
        ('def f():\n    return "Sheet is cut"', ["Sheet is cut"]),
        ('def f(x):\n    return f"{x} is not in stock"', ["{x} is not in stock"]),
        ('def f():\n    return _("Sheet is cut")', []),
        ('def f(n):\n    return said("{n} runs of its own", n=n)', []),
        ('"""Sheets and their heats."""\nX = {"in stock": 1}', []),
        ('def f(x):\n    return x == "in stock"', []),
        ('def f(r):\n    messages.error(r, "It is gone.")', ["It is gone."]),
        ('def f():\n    log.error("it is gone")', []),
    ],
)
def test_the_finder_tells_text_from_code(source, found):
    assert [text for _line, text in unmarked(source)] == found
