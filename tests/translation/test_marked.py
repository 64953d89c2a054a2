"""Text in Python that a person may read is marked for translation."""

from __future__ import annotations

import re

import pytest

from tests.translation.unmarked import ROOT, marked, modules, unmarked


def test_no_text_of_two_words_is_unmarked():
    """Codes that look like words are listed in `unmarked.CODES`, each with its reason."""
    found = []
    for path in modules():
        for line, text in unmarked(path.read_text(encoding="utf-8")):
            found.append(f"{path.relative_to(ROOT)}:{line}: {text!r}")
    assert not found, "\n".join(found)


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
