"""Months as they are kept: read instead of grouped anew, and never once something has changed."""

from __future__ import annotations

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from planning import reports
from planning.services.run_figures import run_figures
from planning.services.summaries import month_write
from planning.services.work import run_all_waiting
from shopfloor.models import (
    Job,
    Posting,
    Rate,
    Run,
    RunState,
    Summary,
    Work,
)
from tests.planning import cast

pytestmark = pytest.mark.django_db
OCTOBER = date(2026, 10, 1)
NOW = cast.at(cast.NOON, 4000)


def test_a_jobs_cost_reads_no_month_as_it_was_printed(a_shop):
    """Each of a job's postings brought the whole report of its month along."""
    with CaptureQueriesContext(connection) as asked:
        found = reports.job_cost(job_id=Job.objects.get().pk)
    assert len(found.postings) > 1
    assert [one["sql"] for one in asked.captured_queries if '"printed"' in one["sql"]] == []


def test_no_month_is_grouped_with_what_was_printed_of_it(a_shop):
    """13 months of ten tables wrote 44 GB of temporary file."""
    with CaptureQueriesContext(connection) as asked:
        reports.months()
        reports.cost_month(first_day=OCTOBER)
    grouped = [query["sql"] for query in asked.captured_queries if "GROUP BY" in query["sql"]]
    assert grouped
    assert not [sql for sql in grouped if '"printed"' in sql or '"plan"' in sql]


def test_an_open_month_is_read_as_it_was_kept_until_something_changes(a_shop):
    live = reports.cost_month(first_day=OCTOBER)
    month_write(key="2026-10-01", payload={})
    with CaptureQueriesContext(connection) as asked:
        kept = reports.cost_month(first_day=OCTOBER)
        reports.squareness(first_day=OCTOBER)
    read = " ".join(query["sql"] for query in asked.captured_queries)
    assert '"shopfloor_posting"' not in read
    assert '"shopfloor_run"' not in read
    assert kept.total_minor == live.total_minor == sum(kept.jobs["actual_minor"])
    for name in ("jobs", "kinds", "terms", "metres", "hours"):
        one, other = getattr(kept, name), getattr(live, name)
        assert one.astype(object).to_numpy().tolist() == other.astype(object).to_numpy().tolist()


def test_what_was_kept_is_never_shown_once_a_posting_was_made(a_shop):
    month_write(key="2026-10-01", payload={})
    before = reports.cost_month(first_day=OCTOBER).total_minor
    cast.rate("gas", 6000)
    run_figures(key=str(Run.objects.first().pk), payload={})
    after = reports.cost_month(first_day=OCTOBER)
    assert after.total_minor > before
    assert after.total_minor == sum(Posting.objects.values_list("amount_minor", flat=True))
    assert Work.objects.filter(kind="month", key="2026-10-01", state="waiting").count() == 1
    run_all_waiting()
    row = Summary.objects.get(kind="month", key="2026-10-01")
    assert row.version == row.wanted
    assert row.body["total_minor"] == after.total_minor


def test_a_change_while_a_month_is_worked_out_leaves_it_old(a_shop, monkeypatch):
    """A second worker finishes a run between the reading and the keeping."""
    from planning.services import summaries

    worked_out = summaries.month_now

    def meanwhile(month):
        found = worked_out(month)
        summaries.months_changed([OCTOBER])
        return found

    month_write(key="2026-10-01", payload={})
    monkeypatch.setattr(summaries, "month_now", meanwhile)
    month_write(key="2026-10-01", payload={})
    row = Summary.objects.get(kind="month")
    assert row.version < row.wanted


def test_jobs_of_a_kept_month_are_called_and_quoted_as_now(a_shop):
    from shopfloor.models import Job

    month_write(key="2026-10-01", payload={})
    Job.objects.update(quote_minor=99_000, title="new title")
    jobs = reports.cost_month(first_day=OCTOBER).jobs
    [row] = [row for row in jobs.to_dict("records") if row["job"] == "J-1"]
    assert (row["quote_minor"], row["title"]) == (99_000, "new title")
    assert row["margin_minor"] == 99_000 - row["actual_minor"]


def test_a_kept_month_is_old_once_a_run_in_it_is_opened_again(a_shop):
    """Also where nothing was posted for the run, so that no posting is taken back."""
    Posting.objects.all().delete()
    Rate.objects.all().delete()
    made = Run.objects.order_by("opened_at").first()
    run_figures(key=str(made.pk), payload={})
    month_write(key="2026-10-01", payload={})
    made.state = RunState.OPEN
    made.save(update_fields=["state"])
    run_figures(key=str(made.pk), payload={})
    assert not Posting.objects.exists()
    row = Summary.objects.get(kind="month")
    assert row.version < row.wanted


def test_a_run_that_goes_on_leaves_a_kept_month_as_it_is(a_shop, north, operator):
    made = cast.run(a_shop, north, start=NOW, operator=operator, state=RunState.OPEN)
    month_write(key="2026-10-01", payload={})
    run_figures(key=str(made.pk), payload={})
    row = Summary.objects.get(kind="month")
    assert row.version == row.wanted
