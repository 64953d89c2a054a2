"""What happens in a shop, played in as arcs and actions. Expected figures are worked by hand in
each test; how the shop behaves is common practice, no source."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from shopfloor.models import ArcAssignment, Check, PartResult, Run, Segment, Stoppage
from shopfloor.runs.arcs import arcs_by_key, to_us
from shopfloor.runs.late_entries import action_resolve
from shopfloor.runs.part_counts import line_counts
from shopfloor.runs.parts import job_close_if_met
from shopfloor.site.queries import shift_date_of
from tests.shopfloor.floor_shop import MINUTE, SECOND, T0


def burnt(run, **where):
    keys = ArcAssignment.objects.filter(segment__run=run, **where).values_list("arc_key", flat=True)
    return sum(arc.seconds or 0 for arc in arcs_by_key(list(keys))), len(keys)


def test_a_power_cut_leaves_one_run_of_two_segments(floor, supervisor):
    """40 contours of 30 s. Power fails 12 s into the 17th and the off line never comes; 47 min
    later the next shift restarts at 17. Burnt: 16 x 30 + 12 = 492 s, then 24 x 30 = 720 s, in all
    1,212 s and 17 + 24 = 41 starts; the plan is 1,200 s, so 12 s are excess."""
    floor.reason("power")
    line = floor.line(quantity=40)
    revision = floor.nest(contours=40, lines=[line])
    run_id = floor.done("start", T0, queue_item=floor.queue(revision).pk)["run"]
    last = floor.arcs(T0 + 10 * SECOND, [30.0] * 16)
    cut_on = last + 5 * SECOND
    arc = floor.arc(cut_on, None)
    floor.follow()
    dark = cut_on + 12 * SECOND  # the last sample that shows it burning

    restart = dark + 47 * MINUTE
    floor.done("restart_at", restart, contour=17, reason="power", person=supervisor)
    # the next arc_on ends the burning one as lost, at its last sample
    arc.off_us, arc.ended, arc.changed_us = to_us(dark), "lost", next(floor._stamp)
    arc.save()
    end = floor.arcs(restart + 10 * SECOND, [30.0] * 24)
    floor.follow()
    floor.done(
        "finish",
        end + 20 * SECOND,
        exceptions=[{"contour": 17, "outcome": "scrap", "cause": "kerf step"}],
    )

    run = Run.objects.get(pk=run_id)
    first, second = run.segments.all()
    assert Run.objects.count() == 1
    assert (first.end_reason, first.end_assumed, first.ended_at) == ("power", True, dark)
    assert (second.first_contour, second.last_contour, second.end_reason) == (17, 40, "finish")
    assert burnt(run, segment=first) == (492.0, 17)
    assert burnt(run, segment=second) == (720.0, 24)
    assert burnt(run) == (1212.0, 41)
    assert burnt(run, repeat=True) == (12.0, 1)
    stoppage = run.stoppages.get()
    assert stoppage.reason.code == "power"
    assert stoppage.ended_at - stoppage.started_at == 47 * MINUTE
    assert line_counts([line.pk])[line.pk].shortage == 1


def test_scrap_leaves_parts_owed_on_each_line_of_a_shared_nest(floor):
    """Two jobs share a sheet, six contours 1, 3, 5 and 2, 4, 6. One of the second job is scrap."""
    ours, theirs = floor.line("J-1", 3), floor.line("J-2", 3)
    revision = floor.nest(contours=6, lines=[ours, theirs])
    floor.done("start", T0, queue_item=floor.queue(revision).pk)
    result = floor.done(
        "finish",
        T0 + 5 * MINUTE,
        exceptions=[{"contour": 4, "outcome": "scrap", "cause": "double arc"}],
    )
    assert [(part["good"], part["scrap"], part["shortage"]) for part in result["parts"]] == [
        (3, 0, 0),
        (2, 1, 1),
    ]
    ours.job.refresh_from_db()
    theirs.job.refresh_from_db()
    assert (ours.job.state, theirs.job.state) == ("closed", "open")
    scrap = PartResult.objects.get(outcome="scrap")
    assert (scrap.line, scrap.contour_number, scrap.cause) == (theirs, 4, "double arc")


def test_two_torches_of_a_table_lose_no_arc(floor):
    """10:00-10:05 and 10:02-10:04: the table burns 300 s, the torches 420 s together."""
    from shopfloor.models import Torch
    from shopfloor.runs.matching import union_us

    Torch.objects.create(table=floor.table, code="2")
    one = floor.arc(T0, 300.0, torch="1")
    two = floor.arc(T0 + 2 * MINUTE, 120.0, torch="2")
    assert union_us([(one.on_us, one.off_us), (two.on_us, two.off_us)]) == 300_000_000
    run = floor.done("start", T0 - MINUTE, nest=floor.nest(contours=1).nest.name, torch="1")["run"]
    floor.follow()
    assert burnt(Run.objects.get(pk=run)) == (300.0, 1)
    assert not ArcAssignment.objects.filter(arc_key=two.key).exists()


def test_a_heat_is_traced_through_a_swapped_sheet(floor):
    """60 parts; the planned sheet of heat X holds 40, the other 20 come from a remnant of Y."""
    line = floor.line(quantity=60)
    x, y = floor.heat("X"), floor.heat("Y")
    planned = floor.sheet("S-X", heat=x)
    other = floor.sheet("S-Y", heat=y)
    small = floor.nest("N-40", contours=40, lines=[line])
    rest = floor.nest("N-20", contours=20, lines=[line])
    floor.done("start", T0, queue_item=floor.queue(small, planned).pk, sheet="S-X")
    floor.done(
        "finish",
        T0 + 30 * MINUTE,
        exceptions=[],
        remnant={"length_mm": 1500, "width_mm": 1000, "code": "S-X-R"},
    )

    cut_y = floor.nest("N-0", contours=1)
    floor.done("start", T0 + 40 * MINUTE, queue_item=floor.queue(cut_y, other).pk, sheet="S-Y")
    made = floor.done(
        "finish", T0 + 50 * MINUTE, exceptions=[], remnant={"length_mm": 1500, "width_mm": 1500}
    )
    assert made["remnant"] == "S-Y-R1"

    item = floor.queue(rest, planned)
    refused = floor.do("start", T0 + 60 * MINUTE, queue_item=item.pk, sheet="S-Y-R1")
    assert (refused.state, refused.result["ask"]) == ("refused", "swap_reason")
    assert refused.result["details"] == {"expected": "S-X", "scanned": "S-Y-R1"}
    floor.done(
        "start",
        T0 + 61 * MINUTE,
        queue_item=item.pk,
        sheet="S-Y-R1",
        swap_reason="planned one is under the crane",
    )
    result = floor.done("finish", T0 + 80 * MINUTE, exceptions=[])
    assert result["heat_to_mark"] == "Y"

    by_heat = {}
    for row in PartResult.objects.filter(line=line).select_related("run__sheet__heat"):
        number = row.run.sheet.heat.number
        by_heat[number] = by_heat.get(number, 0) + row.quantity
    assert by_heat == {"X": 40, "Y": 20}
    jobs_of_y = set(
        PartResult.objects.filter(run__sheet__heat=y).values_list("line__job__number", flat=True)
    )
    assert jobs_of_y == {"J-1"}
    # 1.5 m x 1.5 m of 3 m x 1.5 m is half; half of $600 times the factor 0.5 is $150
    remnant = other.remnants.get()
    assert (remnant.heat, remnant.cost_minor, remnant.state) == (y, 15_000, "cut")


def test_an_offline_finish_and_a_desk_finish_are_both_kept(floor, supervisor, north):
    """The tablet is 3 min fast and says 14:10, which is 14:07; the supervisor closed at 14:20."""
    line = floor.line(quantity=30)
    revision = floor.nest(contours=20, lines=[line])
    day = datetime(2026, 6, 1, tzinfo=UTC)
    floor.done("start", day.replace(hour=13), queue_item=floor.queue(revision).pk)
    closed = day.replace(hour=14, minute=20)
    floor.done("finish", closed, person=supervisor, parts=[{"line": line.pk, "good": 20}])

    late = floor.do(
        "finish",
        day.replace(hour=14, minute=7),
        now=day.replace(hour=14, minute=40),
        fast_by=3 * MINUTE,
        parts=[{"line": line.pk, "good": 18, "scrap": 2, "cause": "double arc"}],
        run=str(Run.objects.get().pk),
    )
    assert late.state == "conflict"
    assert late.at == day.replace(hour=14, minute=7)
    assert late.device_at == day.replace(hour=14, minute=10)
    assert late.device_offset_ms == 180_000
    assert late.received_at == day.replace(hour=14, minute=40)
    assert late.result["mine"]["by"] == "Milo Brandt"
    assert late.result["theirs"]["by"] == "Dana Okell"
    assert [part["good"] for part in late.result["mine"]["parts"]] == [18]
    assert [part["good"] for part in late.result["theirs"]["parts"]] == [20]
    count = line_counts([line.pk])[line.pk]
    assert (count.good_low, count.good, count.good_high) == (18, 20, 20)

    action_resolve(
        action=late, take=True, by=supervisor, why="counted again", now=closed + 60 * MINUTE
    )
    count = line_counts([line.pk])[line.pk]
    assert (count.good_low, count.good, count.good_high, count.scrap) == (18, 18, 18, 2)
    cancelled = PartResult.objects.filter(line=line, quantity__lt=0).get()
    assert (cancelled.quantity, cancelled.outcome, cancelled.by) == (-20, "good", supervisor)


def test_a_conflict_that_is_set_aside_changes_no_count(floor, supervisor):
    line = floor.line(quantity=20)
    floor.done("start", T0, queue_item=floor.queue(floor.nest(contours=20, lines=[line])).pk)
    run = str(Run.objects.get().pk)
    floor.done("finish", T0 + 9 * MINUTE, person=supervisor, exceptions=[])
    late = floor.do(
        "finish",
        T0 + 8 * MINUTE,
        now=T0 + 12 * MINUTE,
        run=run,
        exceptions=[{"contour": 1, "outcome": "not_cut"}],
    )
    assert late.state == "conflict"
    assert line_counts([line.pk])[line.pk].good_low == 19
    line.job.refresh_from_db()
    assert line.job.state == "closed"
    late = action_resolve(
        action=late, take=False, by=supervisor, why="miscounted", now=T0 + 15 * MINUTE
    )
    assert (late.state, late.result["resolved"]["why"]) == ("refused", "miscounted")
    assert line_counts([line.pk])[line.pk].shortage == 0


def test_a_job_in_doubt_is_not_closed(floor, supervisor):
    """20 good by one person, 18 by another: a job of 20 is closed only once that is settled."""
    line = floor.line(quantity=20)
    floor.done("start", T0, queue_item=floor.queue(floor.nest(contours=20, lines=[line])).pk)
    run = str(Run.objects.get().pk)
    floor.done("finish", T0 + 9 * MINUTE, parts=[{"line": line.pk, "good": 18}])
    floor.do(
        "finish", T0 + 8 * MINUTE, now=T0 + 12 * MINUTE, run=run, person=supervisor, exceptions=[]
    )
    count = line_counts([line.pk])[line.pk]
    assert (count.shortage_low, count.shortage_high) == (0, 2)
    assert not job_close_if_met(job=line.job, at=T0)


def test_a_night_run_over_the_repeated_hour_lasts_as_long_as_it_did(floor):
    """Chicago, 1 November 2026: 01:50 CDT is 06:50 UTC, 01:10 CST is 07:10 UTC: 20 min. The shift
    22:00-06:00 that began on 31 October holds it, so it is October's."""
    start = datetime(2026, 11, 1, 6, 50, tzinfo=UTC)
    end = datetime(2026, 11, 1, 7, 10, tzinfo=UTC)
    floor.done(
        "start", start, queue_item=floor.queue(floor.nest(contours=2, lines=[floor.line()])).pk
    )
    floor.arcs(start + SECOND, [500.0, 600.0])
    floor.follow()
    floor.done("finish", end, exceptions=[])
    segment = Segment.objects.get()
    assert (segment.ended_at - segment.started_at) == timedelta(minutes=20)
    assert not segment.end_assumed
    assert shift_date_of(segment.started_at).isoformat() == "2026-10-31"
    assert shift_date_of(segment.ended_at).isoformat() == "2026-10-31"


def test_a_check_turns_what_was_measured_into_a_range(floor):
    """6 mm, 2 degrees: u = (6 - 2 x 0.3) tan 2 deg = 5.4 x 0.034921 = 0.18857 mm. ISO 9013:2017
    range 2 reaches 0.15 + 0.007 x 6 = 0.192 mm, range 1 only 0.05 + 0.018 = 0.068 mm."""
    line = floor.line(u_range_asked=2)
    floor.done("start", T0, queue_item=floor.queue(floor.nest(contours=4, lines=[line])).pk)
    result = floor.done("check", T0 + MINUTE, angle_deg=2.0)
    assert abs(result["u_mm"] - 0.18857) < 1e-5
    assert (result["u_range"], result["asked"], result["passed"]) == (2, 2, True)
    # sizes 50.0 and 49.5: (5.4 x 0.5 / 2) / 6 = 0.225 mm, range 3 (up to 0.46)
    result = floor.done("check", T0 + 2 * MINUTE, top_mm=50.0, bottom_mm=49.5)
    assert abs(result["u_mm"] - 0.225) < 1e-9
    assert (result["u_range"], result["passed"]) == (3, False)
    assert Check.objects.last().measured == {"top_mm": 50.0, "bottom_mm": 49.5}


def test_a_stop_keeps_the_run_and_a_resume_counts_the_seconds(floor):
    floor.reason("lunch", "lunch")
    floor.done("start", T0, queue_item=floor.queue(floor.nest(contours=4)).pk)
    stop = floor.done("stop", T0 + 5 * MINUTE)
    floor.done("give_reason", T0 + 6 * MINUTE, stoppage=stop["stoppage"], reason="lunch")
    resumed = floor.done("resume", T0 + 35 * MINUTE)
    assert resumed["seconds"] == 1800.0
    run = Run.objects.get()
    assert run.state == "open"
    assert Stoppage.objects.get().reason.code == "lunch"
    assert run.segments.count() == 1


def test_starting_the_next_nest_sets_the_running_one_aside(floor):
    """A rush: the half-burnt sheet comes off and later goes on again where it was left."""
    first, rush = floor.nest("N-1", contours=4), floor.nest("N-2", contours=2)
    item = floor.queue(first, floor.sheet("S-1"))
    one = floor.done("start", T0, queue_item=item.pk, sheet="S-1")["run"]
    end = floor.arcs(T0 + SECOND, [30.0, 30.0])
    floor.follow()
    result = floor.done("start", end + MINUTE, queue_item=floor.queue(rush).pk, aside_reason="rush")
    assert result["set_aside"] == one
    assert Segment.objects.get(run=one).end_reason == "rush"
    end = floor.arcs(end + 2 * MINUTE, [30.0, 30.0])
    floor.follow()
    floor.done("finish", end + SECOND, exceptions=[])
    again = floor.done("start", end + MINUTE, queue_item=item.pk, sheet="S-1")
    assert again["run"] == one
    floor.arcs(end + 2 * MINUTE, [30.0, 30.0])
    floor.follow()
    run = Run.objects.get(pk=one)
    contours = ArcAssignment.objects.filter(segment__run=run).order_by("arc_key")
    assert [(row.contour_number, row.repeat) for row in contours] == [
        (1, False),
        (2, False),
        (3, False),
        (4, False),
    ]


def test_a_handover_carries_on_with_the_next_contour(floor, supervisor):
    run = floor.done("start", T0, queue_item=floor.queue(floor.nest(contours=4)).pk)["run"]
    end = floor.arcs(T0 + SECOND, [30.0, 30.0])
    floor.follow()
    floor.done("handover", end + SECOND, person=supervisor)
    floor.arcs(end + 10 * SECOND, [30.0, 30.0])
    floor.follow()
    first, second = Segment.objects.filter(run=run)
    assert (first.operator, second.operator) == (floor.person, supervisor)
    assert (first.first_contour, first.last_contour) == (1, 2)
    assert (second.first_contour, second.last_contour) == (3, 4)


def test_parts_counted_while_the_sheet_burns_are_not_counted_twice(floor):
    """8 on the sheet: 3 taken off early, one of them scrap; at the end another one is scrap. So
    8 - 2 = 6 are good, and counting 6 more by hand would make 9."""
    line = floor.line(quantity=8)
    floor.done("start", T0, queue_item=floor.queue(floor.nest(contours=8, lines=[line])).pk)
    early = {"line": line.pk, "good": 2, "scrap": 1, "cause": "nick"}
    floor.done("finish", T0 + MINUTE, partial=True, parts=[early])
    assert Run.objects.get().state == "open"
    refused = floor.do("finish", T0 + 2 * MINUTE, parts=[{"line": line.pk, "good": 6}])
    assert refused.state == "refused"
    floor.done(
        "finish",
        T0 + 3 * MINUTE,
        exceptions=[{"contour": 8, "outcome": "scrap", "cause": "slug"}],
    )
    count = line_counts([line.pk])[line.pk]
    assert (count.good, count.scrap, count.shortage) == (6, 2, 2)


def test_a_nest_taken_from_another_tables_list_waits_there_no_more_until_undone(floor, south):
    item = floor.queue(floor.nest(contours=2), floor.sheet("S-1"))
    item.table = south
    item.save()
    action = floor.do("start", T0, queue_item=item.pk, sheet="S-1")
    item.refresh_from_db()
    assert (item.state, item.table) == ("running", floor.table)
    assert Run.objects.get().table == floor.table
    floor.done("undo", T0 + MINUTE, action=str(action.pk))
    item.refresh_from_db()
    assert (item.state, item.table) == ("waiting", south)


def test_a_set_aside_sheet_that_was_on_no_list_is_known_by_its_sheet(floor):
    """Another sheet of the same nest is another run; the half burnt one goes on, and no third is
    opened where no sheet is scanned."""
    revision = floor.nest("N-1", contours=4)
    floor.sheet("S-1"), floor.sheet("S-2")
    one = floor.done("start", T0, nest="N-1", sheet="S-1")["run"]
    rush = floor.nest("N-2", contours=1)
    floor.done("start", T0 + 5 * MINUTE, nest=rush.nest.name, aside_reason="rush")
    floor.done("finish", T0 + 8 * MINUTE, exceptions=[])
    two = floor.done("start", T0 + 9 * MINUTE, nest="N-1", sheet="S-2")["run"]
    assert two != one
    floor.done("finish", T0 + 12 * MINUTE, exceptions=[])
    again = floor.done("start", T0 + 13 * MINUTE, revision=revision.pk)
    assert (again["run"], again["sheet"]) == (one, "S-1")
