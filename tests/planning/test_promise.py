"""Promises of open jobs, from the lists as they stand."""

from __future__ import annotations

import re
from datetime import date, timedelta

import pytest
from django.urls import reverse

from planning.inputs.open_work import open_work
from planning.reports.openers import open_figure
from planning.reports.promise import LATE, UNSURE, board, loads
from planning.reports.promise_help import helps, new_job
from planning.services import promises
from planning.services.promises import promises_say
from shopfloor.models import (
    Contour,
    JobLine,
    NestPlan,
    QueueItem,
    Shift,
)
from shopfloor.site.calendar_services import day_close, table_down
from tests.planning import cast
from tests.planning.fitted import fitted
from tests.planning.promised import HOUR, NOW, chance_of, costs, planned, work

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("monday")]


def test_an_empty_shop_has_no_promise(db):
    assert board(NOW).jobs == []
    assert loads(board(NOW)) == []


def test_listed_and_unlisted_work_is_promised_in_its_order(days, north, operator):
    """Monday has 6 h left, each day 8: 20 h of plan do not end before Wednesday, whatever the
    handling."""
    soon = work(operator, north, number="J-1", sheets=2, listed=north, due=NOW + timedelta(days=3))
    later = work(operator, north, number="J-2", sheets=18, due=NOW + timedelta(days=2))
    rows = {row.number: row for row in board(NOW).jobs}
    assert rows["J-1"].chance > 0.99
    assert rows["J-1"].late.date() == date(2026, 10, 5)
    assert rows["J-2"].early > NOW + timedelta(days=2)
    assert rows["J-2"].chance < 0.05
    assert rows["J-2"].state == LATE
    assert (rows["J-2"].sheets, rows["J-2"].hours) == (18, 18)
    assert [row.pk for row in board(NOW).jobs] == [later.pk, soon.pk], "the least likely first"
    promised = rows["J-2"].days
    assert list(promised) == sorted(promised)


def test_a_promise_follows_closed_days_and_a_table_that_is_down(days, north, operator):
    job = work(operator, north, sheets=3, listed=north, due=NOW + timedelta(hours=12))
    assert chance_of(job).chance > 0.9
    day_close(day=date(2026, 10, 6), why="stocktaking")
    table_down(table=north, until=NOW + timedelta(hours=6))
    row = chance_of(job)
    assert row.chance == 0
    assert row.early.date() == date(2026, 10, 7)
    notes = [day.note for day in loads(board(NOW))[0].days[:3]]
    assert notes == ["table down", "stocktaking", ""]


def test_what_no_sheet_makes_or_no_plan_tells_is_unknown(days, north, operator):
    short = work(operator, north, number="J-1", sheets=2, listed=north)
    JobLine.objects.filter(job=short).update(quantity=5)
    bare = work(operator, number="J-2", sheets=1)
    rows = {row.number: row for row in board(NOW).jobs}
    assert (rows["J-1"].chance, rows["J-1"].state) == (None, UNSURE)
    assert rows["J-1"].why == "3 of 5 parts are on no nest’s sheets"
    assert rows["J-2"].why == "a nest has no plan"
    assert bare.pk == rows["J-2"].pk


def test_every_part_of_a_sheet_counts_towards_what_is_owed(days, north, operator):
    """Two names on one line, each with copies 1 and 2, of which one contour makes three: six."""
    job, [line] = cast.job("J-1", quantity=6)
    revision = cast.nest(operator, [(line, 1e4, 100)] * 4)
    for number, (part, copy) in enumerate([("a", 1), ("a", 2), ("b", 1), ("b", 2)], 1):
        revision.contours.filter(number=number).update(part=part, copy=copy)
    revision.contours.filter(number=4).update(parts=3)
    Contour.objects.create(
        revision=revision, number=5, line=line, part="a", copy=3, inner=True, cut_mm=10
    )
    planned(revision, north)
    QueueItem.objects.create(nest=revision.nest, table=north, position=0)
    [owed] = open_work(NOW).jobs
    assert (owed.pk, owed.owed, owed.on_no_sheet) == (job.pk, 6, 0)
    JobLine.objects.update(quantity=7)
    assert open_work(NOW).jobs[0].on_no_sheet == 1


def test_unlisted_work_goes_where_it_costs_least(days, north, south, operator):
    _job, [line] = cast.job()
    revision = cast.nest(operator, [(line, 1e4, 100)])
    planned(revision, north, south, costs={"north": costs(wear=90), "south": costs(wear=80)})
    by_table = {one.key: len(one.waits) for one in open_work(NOW).tables}
    assert by_table == {north.pk: 0, south.pk: 1}
    revision.nest.table = north  # somebody chose
    revision.nest.save()
    by_table = {one.key: len(one.waits) for one in open_work(NOW).tables}
    assert by_table == {north.pk: 1, south.pk: 0}


def test_money_tells_the_cheapest_table_only_where_all_of_it_is_known(days, north, south, operator):
    """South's labour has no rate: its sum is less, but it takes twice as long."""
    _job, [line] = cast.job()
    revision = cast.nest(operator, [(line, 1e4, 100)])
    lacking = costs(wear=5)
    del lacking["labour"]
    planned(revision, north, costs={"north": costs()})
    planned(revision, south, total_s=2 * HOUR, costs={"south": lacking})
    assert {one.key: len(one.waits) for one in open_work(NOW).tables} == {north.pk: 1, south.pk: 0}
    NestPlan.objects.filter(table=north).update(costs_minor={})
    assert {one.key: len(one.waits) for one in open_work(NOW).tables} == {north.pk: 1, south.pk: 0}


def test_a_run_that_goes_on_after_its_shift_is_done_today(days, north, operator):
    """Monday 14:30, half an hour behind the shift: 6 of 10 minutes are left by plan, and what waits
    behind it is not cut all night."""
    at = NOW + timedelta(hours=6, minutes=30)
    job, [line] = cast.job("J-1", quantity=1, due_at=NOW + timedelta(days=3))
    revision = cast.nest(operator, [(line, 1e4, 60)] * 10, name="N-1")
    plan = cast.plan([60.0] * 10)
    begun = at - timedelta(minutes=4)
    run = cast.run(revision, north, start=begun, seconds=None, state="open", plan=plan)
    cast.arcs(run, [(n * 60, 60, n + 1) for n in range(4)], start=begun)
    more = work(operator, north, number="J-2", sheets=8, listed=north, due=NOW + timedelta(days=9))
    fitted(north, at)
    rows = {row.pk: row for row in board(at).jobs}
    assert rows[job.pk].late < at + timedelta(hours=1)
    assert rows[more.pk].early > at + timedelta(hours=15), "Tuesday 06:00"


def test_loads_add_up_to_the_time_of_all_sheets_and_open(days, north, operator):
    work(operator, north, sheets=6, listed=north)
    shown = board(NOW)
    [load] = loads(shown)
    took = shown.found.tables[north.pk].staffed[:, -1].mean() / HOUR
    assert sum(day.planned_h for day in load.days) == pytest.approx(took)
    assert [day.staffed_h for day in load.days[:7]] == [6, 8, 8, 8, 8, 0, 0]
    moment = f"@{round(NOW.timestamp() * 1e6)}"
    opened = open_figure(kind="load", id=load.days[0].key + moment)
    assert opened.quantity.value == pytest.approx(load.days[0].planned_h)
    whole = sum(part.quantity.value for part in opened.parts)
    assert whole == pytest.approx(opened.quantity.value, abs=0.02)
    row = shown.jobs[0]
    assert open_figure(kind="promise", id=row.key + moment).parts[0].opens.kind == "plan"
    for key in ("0" + moment, "x@y", "1@99999999999999999999"):
        with pytest.raises(LookupError):
            open_figure(kind="promise", id=key)


def test_what_would_help_a_late_job(days, north, south, operator):
    """Twelve sheets of another job stand before it on North; South is free."""
    work(operator, north, number="J-1", sheets=12, listed=north, due=NOW + timedelta(days=9))
    late = work(operator, north, south, number="J-2", sheets=2, listed=north,
                due=NOW + timedelta(hours=8))  # fmt: skip
    shown = board(NOW)
    assert shown.found.chance(late.pk, late.due_at.timestamp()) < 0.01
    ways = {one.what: one.chance for one in helps(shown, late.pk)}
    assert ways["First on its list"] > 0.9
    assert ways["First on South"] > 0.9
    assert helps(shown, 10**9) == []


def test_a_new_job_is_promised_behind_all_open_work(days, north, south, operator):
    """North is full until Tuesday, South free: two hours and a half end today on it."""
    work(operator, north, number="J-1", sheets=8, listed=north)
    small, large = new_job(board(NOW), 2.5), new_job(board(NOW), 40.0)
    assert small[0].date() == date(2026, 10, 5)
    assert list(small) == sorted(small)
    assert large[0] > NOW + timedelta(days=2)


def test_a_saturday_shift_helps_what_is_due_on_monday(days, north, operator):
    job = work(operator, north, sheets=32, listed=north, due=NOW + timedelta(days=6))
    shown = board(NOW)
    before = shown.found.chance(job.pk, job.due_at.timestamp())
    [way] = [one for one in helps(shown, job.pk) if one.what.startswith("A shift on Sat 10 Oct")]
    assert way.chance > before + 0.2


def test_another_set_helps_unless_the_line_must_be_fine(days, north, operator):
    fine = cast.wear_set("fine-60", "fine", 60.0)
    job, [line] = cast.job(quantity=3, due_at=NOW + timedelta(hours=6))
    revision = cast.nest(operator, [(line, 1e4, 100)], the_set=fine)
    planned(revision, north, total_s=2.5 * HOUR, the_set=fine)
    planned(revision, north, total_s=0.5 * HOUR)
    for place in range(3):
        QueueItem.objects.create(nest=revision.nest, table=north, position=place)
    assert any(one.what.startswith("With set fast") for one in helps(board(NOW), job.pk))
    JobLine.objects.update(must_be_fine=True)
    assert not any(one.what.startswith("With set") for one in helps(board(NOW), job.pk))


def test_a_day_without_a_chance_is_drawn_once(days, north, operator, monkeypatch):
    work(operator, number="J-1", due=NOW + timedelta(days=3))  # no table has a plan
    drawn = []
    monkeypatch.setattr(promises, "board", lambda now: drawn.append(now) or board(now))
    for minutes in (0, 5, 10):
        assert promises_say(now=NOW + timedelta(minutes=minutes)) == 0
    assert promises_say(now=NOW + timedelta(days=1)) == 0
    assert drawn == [NOW, NOW + timedelta(days=1)]


def test_the_page_says_it_all_and_its_tables_are_saved(
    days, north, south, operator, client, supervisor
):
    work(operator, north, number="J-1", sheets=12, listed=north, due=NOW + timedelta(days=9))
    late = work(operator, north, south, number="J-2", sheets=2, listed=north,
                due=NOW + timedelta(hours=8))  # fmt: skip
    page = client
    page.force_login(supervisor)
    shown = page.get(reverse("promises"), {"job": late.pk}).content.decode()
    words = " ".join(re.sub(r"<[^>]*>", " ", shown).split())
    assert "1 job will hardly be in time." in words
    assert "What would help J-2" in words
    assert re.search(r'name="hours"[^>]*value=""', shown)
    assert "First on South" in words
    saved = page.get(reverse("promises"), {"table": "Promises", "as": "csv"}).content.decode()
    assert [line.split(",")[0] for line in saved.strip().splitlines()[1:]] == ["J-2", "J-1"]
    opened = re.search(r'href="(/figures/load/[^"]*)"', shown)[1]
    assert page.get(opened).status_code == 200
    asked = page.get(reverse("promises"), {"job": "x", "hours": "2.5"}).content.decode()
    assert asked.count(" in 100 by") >= 8, "four headings, four answers"
    for hours in ("nan", "-1", "1e9", "many"):
        assert page.get(reverse("promises"), {"hours": hours}).status_code == 200


def test_a_night_s_hours_belong_to_the_day_it_began(shop, north, operator):
    Shift.objects.exclude(name="night").delete()
    Shift.objects.update(weekdays="1")  # Monday 22:00 to Tuesday 06:00
    work(operator, north, sheets=1, listed=north)
    [load] = loads(board(NOW))
    assert [day.staffed_h for day in load.days[:3]] == [8, 0, 0]
    assert load.days[0].planned_h > 1
    assert load.days[1].planned_h == 0
