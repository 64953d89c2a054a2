"""A rate dated back changes the books all at once, with a name, or not at all."""

from __future__ import annotations

from datetime import date

import pytest
from django.core.exceptions import ValidationError
from django.db.models import Sum

from planning.services.run_figures import run_figures
from planning.services.work import run_all_waiting
from shopfloor.books.rates import rate_set
from shopfloor.models import Posting, Rate, Work
from tests.planning import cast

pytestmark = pytest.mark.django_db
DAY = date(2026, 10, 6)


@pytest.fixture
def booked(north, operator):
    """Two runs of an hour each at 96.00 an hour, on 6 and on 7 October."""
    cast.rate("machine", 9600)
    _, [line] = cast.job()
    revision = cast.nest(operator, [(line, 1e4, 500)])
    runs = []
    for start in (cast.NOON, cast.at(cast.NOON, 86_400)):
        run = cast.run(revision, north, start=start, plan=cast.plan([500]))
        cast.arcs(run, [(100, 600, 1)], start=start)
        run_figures(key=str(run.pk), payload={})
        runs.append(run)
    Work.objects.all().delete()
    return runs


def machine(run):
    rows = Posting.objects.filter(run=run, kind="machine")
    return rows.aggregate(all=Sum("amount_minor"))["all"]


def test_without_a_word_it_is_refused_and_says_what_it_would_change(booked):
    with pytest.raises(ValidationError, match="2 runs are since then booked already"):
        rate_set(kind="machine", amount_minor=12_000, valid_from=DAY)
    assert Rate.objects.count() == 1
    run_figures(key=str(booked[0].pk), payload={})
    assert [machine(run) for run in booked] == [9600, 9600]


def test_applied_it_changes_every_run_since_by_entries_with_a_name(booked, owner):
    rate_set(
        kind="machine", amount_minor=12_000, valid_from=date(2026, 10, 7), apply=True, by=owner
    )
    run_all_waiting()
    assert [machine(run) for run in booked] == [9600, 12_000]
    made = Posting.objects.get(by=owner)
    assert (made.run, made.amount_minor) == (booked[1], 2400)
    assert made.why == "machine rate from 2026-10-07"


def test_one_from_a_later_day_needs_no_word(booked):
    rate_set(kind="machine", amount_minor=12_000, valid_from=date(2026, 10, 8))
    assert not Work.objects.filter(kind="rate").exists()


def test_a_rate_of_another_table_changes_nothing_here(booked, south):
    rate_set(kind="machine", amount_minor=12_000, valid_from=DAY, table=south)
    assert not Work.objects.filter(kind="rate").exists()
