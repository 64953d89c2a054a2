"""A table's list at a moment of the past, as it was then cut: which runs came, but not when."""

from __future__ import annotations

from typing import Final

import numpy as np

from planning.calc.ahead.book import RunLog, TableBook, now_at
from planning.calc.ahead.clock import week_of
from planning.calc.ahead.draws import Ahead, Now

MOST_AHEAD: Final = 12


def shift_spans(book: TableBook) -> tuple[list[float], list[float]]:
    """Wall start and end of each shift of a clock."""
    clock = book.clock
    first = np.concatenate([[True], clock.ends_shift[:-1]])
    return clock.starts[first].tolist(), clock.ends[clock.ends_shift].tolist()


def list_at(book: TableBook, at: float) -> tuple[list[RunLog], list[Ahead], Now]:
    """What is under way and what was cut next, as it was listed."""
    run, under_way = now_at(book, at)
    begun = [one for one in book.runs if one.opened <= at]
    coming = [one for one in book.runs if one.opened > at][:MOST_AHEAD]
    runs, ahead = [], []
    fitted = begun[-1].wear_set if begun else None
    for one in ([run] if run else []) + coming:
        whole = next(each for each in book.runs if each.run == one.run)
        if one.cut_plan_s is None or not whole.arcs:
            continue
        change = fitted is not None and one.wear_set != fitted and one is not run
        runs.append(whole)
        ahead.append(Ahead(one.cut_plan_s, one.cell, one.nest, change))
        fitted = one.wear_set
    return runs, ahead, Now(at, book.day(at), week_of(at), under_way)
