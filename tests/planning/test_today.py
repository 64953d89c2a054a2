"""Today's tables: the strip, what is left, and the sentences beside it."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
import time_machine
from django.urls import reverse
from django.utils import timezone

from planning.calc.said import said, stored, to_reader
from planning.reports import jobs_today, today
from shopfloor.models import (
    ArcAssignment,
    ClosedDay,
    Job,
    NestPlan,
    PartResult,
    PieceOutlook,
    QueueItem,
    Shift,
)
from shopfloor.svg.strip import zoom
from shopfloor.svg.strip.words import aria_label, ends_words
from tests.planning import cast
from tests.planning.fitted import fitted
from tests.planning.said import open_figure
from tests.planning.swept import today_swept

pytestmark = pytest.mark.django_db

SHIFT = cast.NOON - timedelta(hours=6)  # 06:00 in Chicago; the early shift ends at 14:00


def _listening(table, now):
    from telemetry.models import Health

    at_us = cast.to_us(now)
    feed = cast.feed(table, f"{table.code}-feed")
    Health.objects.create(feed=feed, link="open", since_us=0, beat_us=at_us, last_byte_us=at_us)
    return feed


@pytest.fixture
def half_burnt(north, operator):
    """A nest of ten contours, 60 s each with 10 s of travel: 700 s, with nothing to load. Begun at
    06:00, four contours were burnt by 06:06 where the plan has 280 s for them."""
    _, [line] = cast.job("J-1")
    revision = cast.nest(operator, [(line, 1e4, 60)] * 10)
    plan = cast.plan([60] * 10, travel_s=10)
    run = cast.run(revision, north, start=SHIFT, seconds=None, state="open", plan=plan)
    cast.arcs(run, [(90 * n + 10, 90 * n + 70, n + 1) for n in range(4)], start=SHIFT)
    return run


def _queue(table, operator, *, total_s, name="N-2", due_at=None):
    revision = cast.nest(operator, [], name=name)
    NestPlan.objects.create(
        revision=revision,
        table=table,
        wear_set=cast.wear_set(),
        cut_s=total_s - 20,
        pierce_s=0,
        total_s=total_s,
        load_s=0,
        arcs_s=[total_s - 20],
        computed_at=SHIFT,
    )
    return QueueItem.objects.create(nest=revision.nest, table=table, position=1, due_at=due_at)


def test_it_says_where_the_run_stands_and_what_is_left(half_burnt, north, operator):
    now = cast.at(SHIFT, 360)
    _listening(north, now)
    _queue(north, operator, total_s=600)
    board = today(now=now)
    [row] = board.tables
    assert (row.shift, row.current.contour, row.current.contours) == ("early", 4, 10)
    assert row.current.rest_s == pytest.approx(420)  # six contours of 70 s
    assert row.shares.burning_s == 240
    assert row.shares.waiting_s == 120
    assert row.outlook.plan_s == pytest.approx(1020)
    assert row.outlook.ends is None
    ends = [plan.to_us for plan in row.strip.planned]
    assert ends == [cast.to_us(now) + 420_000_000, cast.to_us(now) + 1_020_000_000]
    assert len(row.strip.planned[0].arcs_s) == 6
    assert row.strip.forecast is None
    # by the fourth arc's end at 340 s the plan had 280: a minute behind
    assert row.strip.pace[-1].ahead_min == pytest.approx((280 - 340) / 60)


def test_what_is_left_of_a_run_not_begun_to_burn_has_its_loading_in_it(north, operator):
    """Two minutes of loading, two contours of 60 s with 10 s of travel each; once the first is
    burnt the plate was loaded, and 70 s are left."""
    revision = cast.nest(operator, [(None, 1e4, 60)] * 2)
    plan = cast.plan([60] * 2, travel_s=10, load_s=120)
    run = cast.run(revision, north, start=SHIFT, seconds=None, state="open", plan=plan)
    now = cast.at(SHIFT, 30)
    _listening(north, now)
    [row] = today(now=now).tables
    assert row.current.rest_s == pytest.approx(120 + 140)
    cast.arcs(run, [(40, 100, 1)], start=SHIFT)
    [row] = today(now=cast.at(SHIFT, 100)).tables
    assert row.current.rest_s == pytest.approx(70)


def test_an_arc_over_the_shift_s_border_burns_in_it_from_the_border_on(north, operator):
    """Lit a minute before 06:00, out two minutes after: two of the shift's first ten minutes."""
    revision = cast.nest(operator, [(None, 1e4, 180)])
    plan = cast.plan([180])
    run = cast.run(
        revision, north, start=cast.at(SHIFT, -60), seconds=None, state="open", plan=plan
    )
    cast.arcs(run, [(0, 180, 1)], start=cast.at(SHIFT, -60))
    now = cast.at(SHIFT, 600)
    _listening(north, now)
    [row] = today(now=now).tables
    assert row.shift == "early"
    assert row.shares.burning_s == 120
    assert row.shares.torch_s == 120


def test_the_end_is_what_this_table_s_runs_take_and_what_lies_between_them(
    half_burnt, north, operator
):
    """420 s left of the run and 580 s of cutting that wait, at 1.2 of their plan, with 240 s of
    unloading, 60 s between and 300 s of loading: 1,800 s."""
    now = cast.at(SHIFT, 360)
    _listening(north, now)
    _queue(north, operator, total_s=580)
    fitted(north, now)
    [row] = today(now=now).tables
    ends = row.outlook.ends
    assert ends.middle - now.timestamp() == pytest.approx(420 * 1.2 + 600 + 580 * 1.2, rel=0.05)
    assert ends.low < ends.middle < ends.high < ends.middle + 900
    assert row.strip.forecast.median_us == pytest.approx(ends.middle * 1e6)
    assert [one.nest for one in ends.listed] == ["N-1", "N-2"]


def test_the_plan_s_end_is_the_expected_end_less_what_the_table_is_ahead(
    half_burnt, north, operator
):
    """However long the table stands, the plan's end stays: each second is one more behind."""
    _listening(north, cast.at(SHIFT, 360))
    fitted(north, SHIFT)
    plan_ends = []
    for passed in (340, 360, 960):
        row = today(now=cast.at(SHIFT, passed)).tables[0]
        last = row.strip.pace[-1]
        assert last.at_us == cast.to_us(cast.at(SHIFT, 340))
        ahead_s = last.ahead_min * 60 - (passed - 340)
        expected = row.outlook.ends.middle + ahead_s
        assert row.strip.plan_end_us / 1e6 == pytest.approx(expected, abs=1)
        plan_ends.append(row.strip.plan_end_us / 1e6)
    assert plan_ends[1:] == pytest.approx(plan_ends[:1] * 2, abs=30)


def test_the_plan_s_end_comes_after_a_break(half_burnt, north, operator):
    """A minute into the 504 s that are left, half an hour of break."""
    now = cast.at(SHIFT, 360)
    _listening(north, now)
    fitted(north, now)
    [plain] = today(now=now).tables
    Shift.objects.filter(name="early").update(breaks=[["06:07", 30, "break"]])
    [row] = today(now=now).tables
    assert row.strip.plan_end_us == pytest.approx(plain.strip.plan_end_us + 1800e6, abs=30e6)


def test_ranges_are_widened_by_what_the_last_ones_missed(half_burnt, north, operator):
    now = cast.at(SHIFT, 360)
    _listening(north, now)
    row = fitted(north, now)
    [plain] = today(now=now).tables
    row.scale, row.computed_at = 1.6, now + timedelta(seconds=1)
    row.save()
    [wide] = today(now=now).tables
    assert wide.outlook.ends.middle == plain.outlook.ends.middle
    assert wide.outlook.ends.low < plain.outlook.ends.low
    assert wide.outlook.ends.high > plain.outlook.ends.high


def test_of_a_long_list_the_end_is_of_what_the_shift_will_most_likely_hold(
    half_burnt, north, operator
):
    """At 12:00, two hours before the end: 504 s of the run, then runs of 3,000 s by plan that take
    4,200 s each with what lies between: one is done at 13:18, the next would be at 14:28."""
    now = cast.NOON
    _listening(north, now)
    for number in range(3):
        _queue(north, operator, total_s=3000, name=f"L-{number}")
    fitted(north, now)
    board = today_swept(now=now)
    [row] = board.tables
    ends = row.outlook.ends
    assert [round(one.chance, 1) for one in ends.listed[:3]] == [1.0, 1.0, 0.0]
    assert ends.last == 1
    assert ends.middle == pytest.approx(now.timestamp() + 504 + 4200, abs=150)
    [note] = [one for one in board.notes if one.head == "More than the shift holds"]
    assert "L-1" in note.body


def test_work_that_goes_on_into_the_next_shift_waits_for_it(half_burnt, north, operator):
    """Twelve minutes before the shift's end, work of half an hour: the rest is tomorrow's."""
    now = cast.at(SHIFT, 8 * 3600 - 720)
    _listening(north, now)
    fitted(north, now)
    half_burnt.revision.nest.name = "N-1"
    ArcAssignment.objects.filter(contour_number__gt=1).delete()
    _queue(north, operator, total_s=1000)
    [row] = today(now=now).tables
    assert row.outlook.ends.listed[-1].chance < 0.05


def test_a_run_on_the_table_outside_every_shift_is_overtime(half_burnt, north, operator):
    Shift.objects.exclude(name="early").delete()
    now = cast.at(SHIFT, 8 * 3600 + 600)  # ten minutes after the shift's end
    _listening(north, now)
    fitted(north, now)
    [row] = today(now=now).tables
    assert row.outlook.ends.middle - now.timestamp() == pytest.approx(504, rel=0.1)


def test_what_no_shift_laid_out_holds_ends_beyond_the_calendar(
    half_burnt, north, client, supervisor
):
    """Five minutes before the last shift ahead of a closure of three weeks, 504 s of work."""
    Shift.objects.exclude(name="early").delete()
    now = cast.at(SHIFT, 8 * 3600 - 300)
    for days in range(1, 22):
        ClosedDay.objects.create(day=SHIFT.date() + timedelta(days=days), why="works holiday")
    _listening(north, now)
    fitted(north, now)
    [row] = today(now=now).tables
    ends = row.outlook.ends
    assert ends.known_until == cast.at(SHIFT, 8 * 3600).timestamp()
    assert ends.middle > ends.known_until
    figure = open_figure(kind="outlook", id=f"north@{cast.to_us(now)}")
    assert figure.value == "ends beyond the calendar"
    client.force_login(supervisor)
    with time_machine.travel(now, tick=False):
        assert "ends beyond the calendar" in aria_label(row.strip)
        assert "Ends beyond the calendar." in client.get(reverse("today")).content.decode()


def test_an_end_that_may_lie_beyond_the_calendar_says_after_when(half_burnt, north, operator):
    """Of 504 s that are left the shift, the last before a closure, has 510."""
    Shift.objects.exclude(name="early").delete()
    now = cast.at(SHIFT, 8 * 3600 - 510)
    for days in range(1, 22):
        ClosedDay.objects.create(day=SHIFT.date() + timedelta(days=days), why="works holiday")
    _listening(north, now)
    fitted(north, now)
    key = f"north@{cast.to_us(now)}"
    value = open_figure(kind="outlook", id=key).value
    assert re.fullmatch(r"ends .*; 90 in 100: after 13:5\d", value)
    rows = {row.label: row for row in open_figure(kind="outlook", id=key).rows}
    average = rows["From now to the end, on average"]
    assert re.fullmatch(r"unknown: \d\d in 100 draws end beyond the calendar", average.value)
    assert average.evidence == "unknown"
    [row] = today(now=now).tables
    assert re.fullmatch(r"ends .* \(after 13:5\d\)", ends_words(row.strip))
    assert "after 13:5" in str(zoom(row.strip, row.strip.runs[-1]))


def test_a_run_over_the_weekend_at_a_table_without_a_source_had_its_friday(north, operator):
    """Four hours by plan, begun on Friday two hours before the end of the shift and seen on Monday
    an hour into it: one hour is left, at 1.2 of its plan, and 300 s of it were loading."""
    Shift.objects.exclude(name="early").delete()
    Shift.objects.update(weekdays="12345")
    friday = SHIFT + timedelta(days=(5 - SHIFT.isoweekday()) % 7)
    revision = cast.nest(operator, [(None, 1e4, 1440)] * 10)
    plan = cast.plan([1440] * 10, travel_s=0.0, pierce_s=0.0)
    begun, now = cast.at(friday, 6 * 3600), cast.at(friday, 73 * 3600)
    cast.run(revision, north, start=begun, seconds=None, state="open", plan=plan)
    fitted(north, now)
    [row] = today(now=now).tables
    assert row.outlook.ends.middle - now.timestamp() == pytest.approx(3900 * 1.2, rel=0.1)


def test_without_a_fit_the_end_is_unknown(half_burnt, north, operator):
    now = cast.at(SHIFT, 360)
    _listening(north, now)
    [row] = today(now=now).tables
    assert row.outlook.ends is None
    assert row.strip.forecast is None


def test_what_wants_a_hand_is_said_with_its_action(half_burnt, north, operator):
    now = cast.at(SHIFT, 3600)
    _listening(north, now)
    strays = cast.arcs(
        half_burnt, [(2000 + 10 * n, 2005 + 10 * n, None) for n in range(3)], start=SHIFT
    )
    ArcAssignment.objects.filter(arc_key__in=[arc.key for arc in strays]).delete()
    stop = cast.stoppage(half_burnt, cast.at(SHIFT, 2400), 600)
    due = cast.at(now, 60)
    _queue(north, operator, total_s=600, due_at=due)
    piece = cast.piece("nozzle")
    cast.fitting(piece, north, SHIFT, by=operator)
    PieceOutlook.objects.create(piece=piece, starts=600, due="due", basis="rated 600 starts",
                                computed_at=now)  # fmt: skip
    board = today_swept(now=now)
    said = {act.code: (note, act.target) for note in board.notes for act in note.acts}
    assert said["assign_arcs"][1] == strays[0].key
    assert "3 arcs on North, 06:33 to 06:33, belong to no job" in said["assign_arcs"][0].body
    assert said["reason"][1] == str(stop.pk)
    assert "was stopped 10 min from 06:40" in said["reason"][0].body
    assert said["wear"][1] == str(piece.pk)
    assert "is due" in said["queue"][0].body
    kinds = [note.kind for note in board.notes]
    assert kinds == sorted(kinds, key=lambda kind: kind != "now")
    assert board.lede.endswith("North has a run open.")


def test_a_job_past_its_due_date_that_owes_parts_is_said(half_burnt, north):
    now = cast.at(SHIFT, 3600)
    _listening(north, now)
    job = half_burnt.revision.contours.first().line.job
    job.due_at = SHIFT - timedelta(days=1)
    job.save()
    [note] = [note for note in today_swept(now=now).notes if note.head == "A job is late"]
    assert "J-1 for Fallow Gate Farms was due Mon 5 Oct 06:00 and owes 50 parts" in note.body
    assert note.acts[0].target == str(job.pk)


def test_today_and_the_list_of_jobs_agree_on_what_is_late(north, client, owner, operator):
    """Late: past due and owing a part, held or not. Not late: owing nothing, closed, due later,
    without a due time. Ten plates too many make up for no missing rib."""
    now = timezone.now()
    due = now - timedelta(days=1)
    cast.job("late", due_at=due)
    cast.job("held", due_at=due, state="held", hold_reason="no plate")
    cast.job("closed", due_at=due, state="closed", closed_at=now)
    cast.job("later", due_at=now + timedelta(days=1))
    cast.job("no time")
    cast.job("no lines", parts=(), due_at=due)
    _, [whole] = cast.job("nothing owed", quantity=2, due_at=due)
    _, [surplus, _] = cast.job("rib owed", ("plate", "rib"), quantity=2, due_at=due)
    burnt = cast.run(cast.nest(operator, [(whole, 1e4, 60)]), north)
    for line, quantity in ((whole, 2), (surplus, 12)):
        PartResult.objects.create(
            run=burnt, line=line, outcome="good", quantity=quantity, by=operator, at=now
        )
    wanted = {"late", "held", "rib owed"}
    found = jobs_today(now=now)
    assert set(found[found.late].job) == wanted == set(found[found.late & (found.shortage > 0)].job)
    client.force_login(owner)
    page = client.get("/jobs/?state=all").content.decode()
    assert "3 jobs are late" in page
    rows = re.findall(r'<th scope="row".*?</tr>', page, re.S)
    marked = [row for row in rows if '<td class="off">' in row]
    assert {re.search(r'">([^<]+)</a>', row).group(1) for row in marked} == wanted
    for job in Job.objects.all():
        body = client.get(f"/jobs/{job.pk}/").content.decode()
        assert ("Past due since" in body) == (job.number in wanted), job.number


def test_why_a_nest_has_no_plan_keeps_its_lengths(north, operator):
    """In mm as it was stored; 25.4 mm is 1 in. A text that was stored without numbers stays."""
    plain = _queue(north, operator, total_s=600, name="N-3")
    _queue(north, operator, total_s=600, name="N-2")
    why = said("no row for {0}", 25.4)
    NestPlan.objects.update(total_s=None, problem=str(why), snapshot={"problem": stored(why)})
    NestPlan.objects.filter(revision__nest=plain.nest).update(snapshot={})
    notes = [note for note in today_swept(now=SHIFT).notes if note.head == "A nest without a plan"]
    assert {to_reader(note.body, inch=True) for note in notes} == {
        "N-2 waits on North and has no plan: no row for 1 in.",
        "N-3 waits on North and has no plan: no row for 25.4 mm.",
    }


@pytest.mark.parametrize(
    ("jobs", "words"),
    [
        (3, None),
        (4, "It is past its due date and owes parts."),
        (6, "3 more jobs are past their due date and owe parts."),
    ],
)
def test_what_is_past_the_few_named_is_counted_in_good_english(north, jobs, words):
    now = cast.at(SHIFT, 3600)
    for number in range(jobs):
        job, _ = cast.job(f"J-{number}", quantity=1)
        job.due_at = SHIFT - timedelta(days=1)
        job.save()
    notes = today_swept(now=now).notes
    assert [note.body for note in notes if "ore job" in note.head] == ([words] if words else [])
    assert all("owes 1 part." in note.body for note in notes if note.head == "A job is late")
