from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import time
from datetime import timedelta
from pathlib import Path

import pytest
from django.core.management import call_command

from shopfloor.audit.history import history_of
from shopfloor.errors import FloorError
from shopfloor.models import ArcAssignment, Change, Run, Segment, Stoppage
from shopfloor.runs.arc_runs import run_from_arcs
from shopfloor.runs.arcs import to_us
from shopfloor.runs.follow import arcs_assign, arcs_unassign, assignments_pruned, follow_arcs
from shopfloor.runs.unassigned import assignments_without_arc, unassigned_clusters
from telemetry.counted import feed_set_master
from telemetry.models import Arc
from tests.shopfloor.floor_shop import MINUTE, ROOT, SECOND, T0


def said():
    return {
        row.arc_key: (str(row.segment.run_id) if row.segment else None, row.contour_number)
        for row in ArcAssignment.objects.select_related("segment")
    }


@pytest.fixture
def twins(floor):
    """Two identical nests of different jobs; 34 arcs that fit both, and no run was started."""
    one = floor.nest("N-A", contours=34, lines=[floor.line("J-A", 34)])
    two = floor.nest("N-B", contours=34, lines=[floor.line("J-B", 34)])
    floor.queue(one)
    floor.queue(two)
    floor.arcs(T0, [30.0] * 34)
    floor.follow()
    return one, two


def test_arcs_of_nobody_are_listed_with_every_nest_they_may_be(floor, twins):
    assert not ArcAssignment.objects.exists()
    (found,) = unassigned_clusters(floor.table, T0, T0 + timedelta(hours=1))
    assert (found.arcs, found.start) == (34, T0)
    assert found.arc_s == 34 * 30.0
    assert [one.nest for one in found.suggestions] == ["N-A", "N-B"]


def test_a_nest_burnt_that_day_comes_before_one_that_waits_with_other_numbers(floor):
    burnt = floor.nest("N-BURNT", contours=4)
    floor.done("start", T0, queue_item=floor.queue(burnt).pk)
    end = floor.arcs(T0 + SECOND, [30.0] * 4)
    floor.follow()
    floor.done("finish", end + SECOND, exceptions=[])
    floor.queue(floor.nest("N-WAITS", contours=9))
    floor.arcs(end + 40 * MINUTE, [30.0] * 4)
    floor.follow()
    (found,) = unassigned_clusters(floor.table, T0, T0 + timedelta(hours=2))
    assert [(one.nest, one.contours) for one in found.suggestions] == [
        ("N-BURNT", 4),
        ("N-WAITS", 9),
    ]


def test_what_the_supervisor_said_survives_a_rebuild_and_names_him(floor, twins, supervisor):
    _, two = twins
    (found,) = unassigned_clusters(floor.table, T0, T0 + timedelta(hours=1))
    run = run_from_arcs(revision=two, arc_keys=found.keys, by=supervisor, why="saw it on the rack")
    before = said()
    assert [before[key] for key in found.keys] == [(str(run.pk), n) for n in range(1, 35)]

    rows = list(Arc.objects.values())
    Arc.objects.all().delete()
    assert assignments_pruned() == 0
    assert len(assignments_without_arc()) == 34
    for row in rows:  # a rebuild writes the same keys in new rows
        row.pop("id")
        Arc.objects.create(**{**row, "changed_us": next(floor._stamp)})
    floor.follow()
    assert said() == before
    assert assignments_without_arc() == []
    assert unassigned_clusters(floor.table, T0, T0 + timedelta(hours=1)) == []

    row = ArcAssignment.objects.get(arc_key=found.keys[0])
    (past, *_) = history_of(ArcAssignment, row.pk)
    assert (past.who, past.why, past.operation) == ("user:dana", "saw it on the rack", "insert")


def test_a_start_that_came_later_leaves_what_was_said_alone(floor, twins, supervisor):
    one, _ = twins
    keys = list(Arc.objects.order_by("on_us").values_list("key", flat=True))
    mine = run_from_arcs(revision=one, arc_keys=keys[:10], by=supervisor, why="before the start")
    other = floor.done("start", T0 - MINUTE, now=T0 + timedelta(hours=1), nest="N-B")["run"]
    got = said()
    assert {run for run, _ in (got[key] for key in keys[:10])} == {str(mine.pk)}
    assert {run for run, _ in (got[key] for key in keys[10:])} == {other}


def test_arcs_can_be_said_to_belong_to_no_job_and_that_taken_back(floor, supervisor, operator):
    run = floor.done("start", T0, queue_item=floor.queue(floor.nest(contours=4)).pk)["run"]
    floor.arcs(T0 + SECOND, [30.0] * 3)
    floor.follow()
    keys = sorted(said())
    with pytest.raises(FloorError):
        arcs_assign(arc_keys=keys, run=None, by=operator, why="test")
    assert arcs_assign(arc_keys=keys[:1], run=None, by=supervisor, why="trial cut") == 1
    assert said() == {keys[0]: (None, None), keys[1]: (run, 1), keys[2]: (run, 2)}
    floor.follow()
    assert arcs_unassign(arc_keys=keys[:1], by=supervisor, why="it was the job") == 1
    assert said() == {key: (run, number) for number, key in enumerate(keys, 1)}


def test_taking_back_a_given_run_leaves_no_empty_segment(floor, supervisor):
    run_id = floor.done("start", T0, queue_item=floor.queue(floor.nest(contours=6)).pk)["run"]
    run = Run.objects.get(pk=run_id)
    end = floor.arcs(T0 + SECOND, [30.0] * 2)
    floor.follow()
    floor.done("finish", end + SECOND, exceptions=[])
    floor.arcs(end + 2 * MINUTE, [30.0] * 2)
    floor.follow()
    (found,) = unassigned_clusters(floor.table, T0, T0 + timedelta(hours=1))
    # The run was over and nothing waits in the queue: only its nest may have been burnt again.
    assert [(one.run, one.why) for one in found.suggestions] == [
        (None, "burnt that day, 6 contours")
    ]
    arcs_assign(arc_keys=found.keys, run=run, by=supervisor, why="two were missing")
    assert [said()[key] for key in found.keys] == [(run_id, 3), (run_id, 4)]
    assert run.segments.count() == 2
    arcs_unassign(arc_keys=found.keys, by=supervisor, why="no")
    assert run.segments.count() == 1
    assert len(unassigned_clusters(floor.table, T0, T0 + timedelta(hours=1))) == 1


def test_a_part_of_a_stretch_can_be_another_runs(floor, supervisor):
    """Four arcs under one start: the middle two were another nest's."""
    one = floor.done("start", T0, queue_item=floor.queue(floor.nest("N-1", contours=4)).pk)["run"]
    floor.arcs(T0 + SECOND, [30.0] * 4)
    floor.follow()
    keys = sorted(said())
    other = run_from_arcs(
        revision=floor.nest("N-2", contours=2), arc_keys=keys[1:3], by=supervisor, why="filler"
    )
    assert [said()[key] for key in keys] == [
        (one, 1),
        (str(other.pk), 1),
        (str(other.pk), 2),
        (one, 2),
    ]


def test_arcs_given_before_the_pressed_start_are_the_first_contours(floor, supervisor):
    """Start was pressed after two of four contours were burnt."""
    end = floor.arcs(T0, [30.0] * 2)
    run_id = floor.done("start", end + MINUTE, queue_item=floor.queue(floor.nest()).pk)["run"]
    floor.arcs(end + 2 * MINUTE, [30.0] * 2)
    floor.follow()
    (found,) = unassigned_clusters(floor.table, T0, T0 + timedelta(hours=1))
    arcs_assign(arc_keys=found.keys, run=Run.objects.get(pk=run_id), by=supervisor, why="late")
    assert [said()[key] for key in sorted(said())] == [(run_id, n) for n in (1, 2, 3, 4)]
    assert Run.objects.get(pk=run_id).opened_at == T0


def test_only_runs_whose_arcs_changed_are_wanted_again(floor, runs_wanted):
    from shopfloor.models import Work

    first = floor.done("start", T0, queue_item=floor.queue(floor.nest("N-1")).pk)["run"]
    end = floor.arcs(T0 + SECOND, [30.0] * 4)
    floor.follow()
    floor.done("finish", end + SECOND, exceptions=[])
    second = floor.done("start", end + MINUTE, queue_item=floor.queue(floor.nest("N-2")).pk)["run"]
    Work.objects.all().delete()
    arc = floor.arc(end + 2 * MINUTE, None)
    assert floor.follow() == 1
    assert runs_wanted() == {second}
    Work.objects.all().delete()
    assert floor.follow() == 0
    assert runs_wanted() == set()
    arc.off_us, arc.ended, arc.changed_us = arc.on_us + 30_000_000, "off", next(floor._stamp)
    arc.save()
    floor.follow()
    assert runs_wanted() == {second}
    assert first not in runs_wanted()


def test_a_corrected_clock_moves_arcs_to_the_run_they_belong_to(floor):
    """Run 1 ended 09:58, run 2 opened 10:02; arcs were stamped from 09:56 by a controller 7 min
    slow. Once intake corrects its stamps, all of them belong to run 2; keys stay."""
    t = T0.replace(hour=9)
    first = floor.done("start", t, queue_item=floor.queue(floor.nest("N-1")).pk)["run"]
    floor.done("finish", t + 58 * MINUTE, exceptions=[])
    second = floor.done("start", t + 62 * MINUTE, queue_item=floor.queue(floor.nest("N-2")).pk)[
        "run"
    ]
    floor.arcs(t + 56 * MINUTE, [30.0] * 4, gap_s=60.0)
    floor.follow()
    keys = sorted(said())
    assert said()[keys[0]][0] == first
    for arc in Arc.objects.all():
        arc.on_us += 420_000_000
        arc.off_us += 420_000_000
        arc.changed_us = next(floor._stamp)
        arc.save()
    floor.follow()
    assert [said()[key] for key in sorted(said())] == [(second, n) for n in (1, 2, 3, 4)]
    assert set(keys) <= set(said())


def test_an_arc_that_is_no_more_is_taken_off_its_run_and_the_run_worked_out_again(
    floor, runs_wanted
):
    from shopfloor.models import Work
    from telemetry.models import GoneArc

    run = floor.done("start", T0, queue_item=floor.queue(floor.nest(contours=4)).pk)["run"]
    floor.arcs(T0 + SECOND, [30.0] * 3)
    floor.follow()
    keys = sorted(said())
    Work.objects.all().delete()
    gone = Arc.objects.get(key=keys[1])
    GoneArc.objects.create(
        key=gone.key, table=gone.table, torch=gone.torch, on_us=gone.on_us,
        changed_us=next(floor._stamp),
    )  # fmt: skip
    gone.delete()
    assert floor.follow() == 1
    assert said() == {keys[0]: (run, 1), keys[2]: (run, 2)}
    assert runs_wanted() == {run}
    assert floor.follow() == 0


def test_the_run_an_arc_moved_away_from_is_put_right_too(floor):
    """An arc of the morning's run is found to have burnt a day later: the morning keeps two."""
    run = floor.done("start", T0, queue_item=floor.queue(floor.nest(contours=4)).pk)["run"]
    floor.arcs(T0 + SECOND, [30.0] * 3)
    floor.follow()
    arc = Arc.objects.order_by("-on_us").first()
    arc.on_us += 86_400_000_000
    arc.off_us += 86_400_000_000
    arc.changed_us = next(floor._stamp)
    arc.save()
    floor.follow()
    assert [said()[key] for key in sorted(said())] == [(run, 1), (run, 2)]
    assert Segment.objects.get().last_contour == 2


def test_arcs_of_a_second_source_are_not_counted_twice(floor):
    from telemetry.models import Feed

    other = Feed.objects.create(
        name="log", table="north", kind="csv_file", created_us=0, master=False
    )
    floor.done("start", T0, queue_item=floor.queue(floor.nest()).pk)
    floor.arc(T0 + SECOND, 30.0)
    floor.arc(T0 + SECOND, 30.0, feed=other)
    floor.follow()
    assert len(said()) == 1
    feed_set_master(feed=other, from_us=0)
    floor.arc(T0 + MINUTE, 30.0, feed=other)
    floor.follow()
    assert {key.split("|")[0] for key in said()} == {"log"}


def test_a_long_pause_in_a_run_asks_for_its_reason_once(floor):
    """Arcs end at 30 s; the next begins 301 s later, the shop asks after 300 s."""
    floor.reason("chat", "chat")
    floor.done("start", T0, queue_item=floor.queue(floor.nest()).pk)
    floor.arc(T0, 30.0)
    floor.arc(T0 + timedelta(seconds=331), 30.0)
    floor.follow()
    stoppage = Stoppage.objects.get()
    assert (stoppage.evidence, stoppage.reason) == ("measured", None)
    assert stoppage.ended_at - stoppage.started_at == timedelta(seconds=301)
    floor.done("give_reason", T0 + 7 * MINUTE, stoppage=stoppage.pk, reason="chat")
    floor.arc(T0 + timedelta(seconds=370), 30.0)
    floor.follow()
    assert Stoppage.objects.get().reason.code == "chat"


def test_a_pause_longer_than_the_gap_belongs_to_the_run_once_it_has_a_reason(floor):
    """Nothing for 20 min, the gap is 15: the arcs after it are nobody's until somebody says that
    the table stood for lunch."""
    floor.reason("lunch", "lunch")
    run = floor.done("start", T0, queue_item=floor.queue(floor.nest()).pk)["run"]
    end = floor.arcs(T0, [30.0] * 2)
    floor.arcs(end + 20 * MINUTE, [30.0] * 2)
    floor.follow()
    assert len(said()) == 2
    segment = Segment.objects.get()
    assert (segment.end_assumed, segment.ended_at) == (True, end)
    floor.done("resume", end + 25 * MINUTE)
    assert [said()[key] for key in sorted(said())] == [(run, n) for n in (1, 2, 3, 4)]


def test_a_run_nobody_finished_ends_at_its_last_arc(floor):
    floor.done("start", T0, queue_item=floor.queue(floor.nest(contours=2)).pk)
    end = floor.arcs(T0, [30.0] * 2)
    floor.follow()
    floor.done("finish", end + timedelta(hours=6), exceptions=[])
    run = Run.objects.get()
    assert run.closed_at == end
    assert run.segments.get().end_assumed


def test_the_command_does_what_is_there_and_ends(floor):
    floor.done("start", T0, queue_item=floor.queue(floor.nest()).pk)
    floor.arc(T0 + SECOND, 30.0)
    call_command("follow", "--once")
    assert len(said()) == 1
    Arc.objects.all().delete()
    call_command("follow", "--once")
    assert said() == {}
    # what matching says is no person's deed and fills no audit trail
    assert not Change.objects.filter(table="shopfloor_arcassignment").exists()


def test_matching_a_long_run_again_takes_few_queries(floor, django_assert_max_num_queries):
    floor.done("start", T0, queue_item=floor.queue(floor.nest(contours=400)).pk)
    floor.arcs(T0 + SECOND, [10.0] * 399)
    floor.follow()
    floor.arc(T0 + timedelta(seconds=399 * 15 + 5), 10.0)
    # Seven of them ask what was not heard: sources, the days they count (twice), gaps, cursors,
    # counts entered instead (twice).
    with django_assert_max_num_queries(40):
        follow_arcs()
    assert len(said()) == 400
    assert to_us(T0) < Arc.objects.last().on_us


FILL = """
from tests.shopfloor.floor_shop import *
from shopfloor.models import *
table = Table.objects.create(code="north", name="North")
Torch.objects.create(table=table, code="1")
floor = Floor(table, User.objects.create(username="milo", is_superuser=True))
floor.done("start", T0, queue_item=floor.queue(floor.nest()).pk)
floor.feed()
"""
ARC = (
    'INSERT INTO telemetry_arc (key, feed_id, "table", torch, on_us, off_us, ended, feed_version, '
    "clock_version, changed_us) VALUES (?, 1, 'north', '1', ?, ?, 'off', 1, 0, ?)"
)


@pytest.mark.slow
def test_the_command_ties_an_arc_within_half_a_second_and_ends_when_told_to(real_data):
    """The real program on a database file; from the arc's row to its assignment, the best of
    three, since the machine has other things to do."""
    manage, env = [sys.executable, str(ROOT / "manage.py")], {**os.environ, **real_data}
    subprocess.run([*manage, "shell", "-v0", "-c", FILL], env=env, check=True)
    follower = subprocess.Popen([*manage, "follow"], env=env)
    try:
        base = sqlite3.connect(
            Path(real_data["KERFBOOK_DATA"]) / "kerfbook.sqlite3", isolation_level=None, timeout=20
        )
        waits = [_wait_for(base, number) for number in (1, 2, 3)]
        base.close()
    finally:
        follower.send_signal(signal.SIGTERM)
        code = follower.wait(timeout=20)
    assert code == 0
    assert min(waits) < 0.5


def _wait_for(base, number):
    on_us = to_us(T0) + number * 60_000_000
    base.execute(ARC, [f"k{number}", on_us, on_us + 30_000_000, number])
    begun = time.monotonic()
    held = "SELECT contour_number FROM shopfloor_arcassignment WHERE arc_key = ?"
    while time.monotonic() - begun < 30:
        if found := base.execute(held, [f"k{number}"]).fetchone():
            assert found == (number,)
            return time.monotonic() - begun
        time.sleep(0.01)
    raise AssertionError(f"arc {number} was not tied within 30 s")
