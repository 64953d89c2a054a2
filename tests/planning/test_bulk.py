"""All figures at once: a quarter's runs, and the same result as run by run."""

from __future__ import annotations

import time
from datetime import timedelta

import pytest
from django.db.models import Sum

from planning.services.bulk import recompute_all
from planning.services.run_figures import run_figures
from shopfloor.models import Posting, RunVariance
from tests.planning import cast

pytestmark = pytest.mark.django_db


def _shop(table, operator, *, runs, arcs):
    """Runs of two jobs each, one after another, through electrodes that last twelve runs."""
    for kind, minor in (("machine", 9600), ("labour", 3000), ("gas", 500), ("energy", 12)):
        cast.rate(kind, minor)
    start = cast.NOON - timedelta(days=90)
    made = []
    lines = [cast.job(f"J-{n}")[1][0] for n in range(10)]
    revisions = [
        cast.nest(
            operator,
            [(lines[(n + k % 2) % 10], 1e4, 30) for k in range(arcs)],
            name=f"N-{n}",
        )
        for n in range(10)
    ]
    piece = None
    for number in range(runs):
        begun = start + timedelta(seconds=number * (arcs * 31 + 300))
        if number % 12 == 0:
            if piece is not None:
                piece.fittings.update(removed_at=begun, removal_state="failed")
                piece.state = "failed"
                piece.save()
            piece = cast.piece("electrode", 1900, 1000)
            cast.fitting(piece, table, begun, by=operator)
        run = cast.run(
            revisions[number % 10],
            table,
            start=begun,
            seconds=arcs * 31,
            operator=operator,
            sheet=cast.sheet(60_000 + number),
            plan=cast.plan([30] * arcs),
        )
        cast.arcs(run, [(31 * k, 31 * k + 30, k + 1) for k in range(arcs)], start=begun)
        made.append(run)
    return made


def test_in_bulk_and_run_by_run_come_to_the_same(north, operator):
    runs = _shop(north, operator, runs=14, arcs=5)
    recompute_all()
    bulk = dict(Posting.objects.order_by().values_list("run").annotate(Sum("amount_minor")))
    wear = Posting.objects.filter(kind="wear").aggregate(all=Sum("amount_minor"))["all"]
    rows = Posting.objects.count()
    for run in runs:
        run_figures(key=str(run.pk), payload={})
    assert Posting.objects.count() == rows  # nothing left to correct
    Posting.objects.all().delete()
    for run in runs:
        run_figures(key=str(run.pk), payload={})
    assert dict(Posting.objects.order_by().values_list("run").annotate(Sum("amount_minor"))) == bulk
    # the first electrode failed after 12 runs of 5: its whole price; the second has 10 of 1,000
    assert wear == 1900 + 19


def test_since_does_only_what_is_newer(north, operator):
    runs = _shop(north, operator, runs=4, arcs=3)
    done = recompute_all(since=runs[2].opened_at)
    assert done["runs"] == 2
    assert RunVariance.objects.count() == 2


@pytest.mark.long
def test_a_quarter_is_done_in_seconds(north, operator):
    """1,000 runs and 80,000 arcs, with twice the time that the shop is promised (15 s)."""
    _shop(north, operator, runs=1000, arcs=80)
    begun = time.perf_counter()
    done = recompute_all()
    took = time.perf_counter() - begun
    assert done["runs"] == 1000
    assert took < 30


def test_a_run_takes_as_many_queries_with_many_pieces_and_lines(north, operator):
    """Twice the pieces, lines and arcs may not cost a query more."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    cast.rate("machine", 9600)
    counts = []
    for number, many in enumerate((2, 8)):
        start = cast.NOON + timedelta(hours=number)
        _, lines = cast.job(f"J-{number}", parts=[f"part {n}" for n in range(many)])
        revision = cast.nest(operator, [(line, 1e4, 30) for line in lines], name=f"N-{number}")
        kinds = ("electrode", "nozzle", "shield", "swirl_ring")[: many // 2]
        for kind in kinds:
            piece = cast.piece(kind, 1900, 600)
            cast.fitting(piece, north, start, cast.at(start, 3500), by=operator)
        run = cast.run(revision, north, start=start, sheet=cast.sheet(), operator=operator)
        spans = [(31 * n, 31 * n + 30, n + 1) for n in range(many)]
        cast.arcs(run, spans, start=start)
        with CaptureQueriesContext(connection) as seen:
            run_figures(key=str(run.pk), payload={})
        counts.append(len(seen))
    assert counts[0] >= counts[1] - 1  # a month, made by the first, is the second's to find
    assert max(counts) <= 58
