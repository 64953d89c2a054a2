"""Promises of jobs in simulated shops: from what was known then, scored by what came."""

from __future__ import annotations

from dataclasses import replace

import pytest

from planning.bench.tomorrow import promised
from planning.bench.tomorrow.promised import Told, missed, scored, summed, told, words
from planning.bench.tomorrow.worlds import PLAIN, book_of, simulate
from planning.calc.ahead.book import Pause, TableBook
from planning.calc.ahead.past_list import shift_spans

SHIFT = 6


@pytest.fixture(scope="module")
def book():
    return book_of(simulate(replace(PLAIN, days=14), 3))


@pytest.fixture(autouse=True)
def small(monkeypatch):
    monkeypatch.setattr(promised, "SWEEPS", 24)
    monkeypatch.setattr(promised, "KEPT", 12)


def test_times_to_come_change_nothing_that_is_said(book):
    at = shift_spans(book)[0][SHIFT] - 60

    def later(run):
        if run.opened <= at:
            cut = tuple((on, off if off <= at else off + 7e4, c) for on, off, c in run.arcs)
            closed = run.closed + 9e4 if run.closed and run.closed > at else run.closed
            return replace(run, arcs=cut, closed=closed)
        arcs = tuple((on + 5e5, off + 5e5, c) for on, off, c in run.arcs)
        closed = run.closed + 5e5 if run.closed else None
        return replace(run, opened=run.opened + 5e5, arcs=arcs, closed=closed)

    pauses = [*book.pauses, Pause(at + 100, at + 9000, planned=False)]
    poisoned = TableBook([later(run) for run in book.runs], pauses, book.clock, 0)
    plain, moved = (list(told(one, [SHIFT], 1)) for one in (book, poisoned))
    assert len(plain) > 2
    said = [(one.said, [chance for chance, _done in one.by_day]) for one in plain]
    assert said == [(one.said, [chance for chance, _done in one.by_day]) for one in moved]
    assert any(0 < chance < 1 for _due, days in said for chance in days)
    assert [one.by_day for one in plain] != [one.by_day for one in moved], "what came differs"


def test_a_day_that_is_more_likely_is_later(book):
    for one in told(book, [SHIFT, SHIFT + 1], 1):
        assert list(one.held) == sorted(one.held)
        chances = [chance for chance, _done in one.by_day]
        assert chances == sorted(chances)


def test_scores_of_promises_by_hand():
    found = [
        Told(0.9, True, ((0.2, False), (0.9, True)), (False, True, True, True)),
        Told(0.3, False, ((0.1, False),), (False, False, True, True)),
    ]
    answer = summed(found)
    # dates: ((0.9-1)^2 + 0.3^2) / 2 = 0.05 against 0.25 of always saying one half
    assert answer["dates"]["brier"] == pytest.approx(0.05)
    assert answer["dates"]["skill"] == pytest.approx(0.8)
    assert [one["n"] for one in answer["days"]["tenths"]] == [1, 1, 1]
    assert [one["kept"] for one in answer["held"]] == [0, 1, 2, 2]
    assert missed("a shop", answer, 0.2) == []
    assert missed("a shop", answer, 0.8) == ["a shop: promises of dates have a skill of 0.80"]
    assert any("a shop" in line and "0.050" in line for line in words({"a shop": answer}))


def test_nothing_promised_has_no_score():
    assert scored([]) == {"n": 0, "tenths": []}
    assert "unknown" in "".join(words({"a shop": summed([])}))


def test_a_day_of_which_it_is_not_known_what_came_is_not_counted_as_missed():
    told = [Told(0.9, True, (), (True, None, False, None)), Told(0.9, True, (), (True,) * 4)]
    counted = [(one["n"], one["kept"]) for one in summed(told)["held"]]
    assert counted == [(2, 2), (1, 1), (2, 1), (1, 1)]
