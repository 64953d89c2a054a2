"""Messages with their values: in English alone, in another language once somebody translates."""

from __future__ import annotations

import pickle

import pytest

from telemetry import said as module
from telemetry.errors import ParseError, SourceError
from telemetry.said import restored, said, said_of_many, stored, to_reader


@pytest.fixture
def other(monkeypatch):
    """A language in which every message stands in brackets."""
    monkeypatch.setattr(module, "_one", [lambda text: f"[{text}]"])
    monkeypatch.setattr(module, "_many", [lambda one, many, n: f"[{one if n == 1 else many}]"])


def test_a_message_reads_in_english_alone():
    assert said("{n} columns, needs {least}", n=2, least=3) == "2 columns, needs 3"
    assert said_of_many("{number} line", "{number} lines", 1) == "1 line"
    assert said_of_many("{number} line", "{number} lines", 4) == "4 lines"
    assert said("cannot be read: {error}", error=OSError("gone")) == "cannot be read: gone"


def test_a_list_stands_side_by_side():
    assert said("lost: {names}.", names=["a", "b", "c"]) == "lost: a; b; c."


def test_another_language_gets_the_message_and_every_message_within(other):
    inner = said("has no sum")
    text = said("quarter hours: {examples}", examples=[inner, "x"])
    assert text == "quarter hours: has no sum; x"
    assert to_reader(text) == "[quarter hours: [has no sum]; x]"
    assert to_reader(said_of_many("{number} line", "{number} lines", 2)) == "[2 lines]"
    assert to_reader("plain") == "plain"


def test_what_is_stored_comes_back_with_its_values(other):
    text = said("{at}: {what}", at="x:3", what=said_of_many("{number} arc", "{number} arcs", 2))
    back = restored(stored(text))
    assert back == text
    assert to_reader(back) == to_reader(text) == "[x:3: [2 arcs]]"
    assert pickle.loads(pickle.dumps(text)).values == text.values
    assert restored({"text": "as it was kept before"}) == "as it was kept before"


def test_an_error_keeps_its_values_and_speaks_to_its_reader(other):
    error = SourceError(said("{path}: no such file", path="a.csv"))
    assert (error.said, error.message, str(error)) == (
        "a.csv: no such file", "[a.csv: no such file]", "[a.csv: no such file]",
    )  # fmt: skip
    assert error.said.values == {"path": "a.csv"}
    refused = ParseError("bad time", said("no hour {hour} before noon or after it", hour=13))
    assert refused.reason == "bad time"
    assert str(refused) == "[no hour 13 before noon or after it]"
