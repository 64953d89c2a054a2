from __future__ import annotations

from dataclasses import asdict
from datetime import timedelta

from shopfloor.models import Piece, PieceOutlook, Run
from shopfloor.selectors.floor import (
    floor_contours,
    floor_table,
    open_conflicts,
    recent_actions,
    stop_reasons,
)

from .conftest import MINUTE, SECOND, T0


def test_an_empty_table_says_that_nothing_is_known(floor):
    shown = floor_table(table=floor.table, now=T0)
    assert (shown.run, shown.set_right, shown.burning, shown.last_arc_at) == (None,) * 4
    assert (shown.queue, shown.people, shown.first_piece_needed) == ((), (), False)
    assert shown.torches[0].set is None


def test_a_running_table_shows_progress_and_what_the_plan_still_holds(floor):
    """4 contours of 30 s and 20 s between them. Two done: 2 x 30 + 20 x 2/4 = 70 s are left."""
    floor.tray(label="A")
    floor.done("change_tray", T0 - MINUTE, tray="A")
    line = floor.line(quantity=9)
    heat = floor.heat("H-77")
    revision = floor.nest(contours=4, lines=[line])
    item = floor.queue(revision, floor.sheet(heat=heat))
    for index in range(4):
        floor.queue(floor.nest(f"N-{index + 2}"))
    floor.done("start", T0, queue_item=item.pk, sheet="S-1")
    end = floor.arcs(T0 + SECOND, [30.0] * 2)
    floor.follow()
    shown = floor_table(table=floor.table, now=end)
    run = shown.run
    assert (run.arcs_done, run.contours_done, run.contours_planned) == (2, 2, 4)
    assert (run.contour_now, run.last_arc_at, run.left_s) == (2, end, 70.0)
    assert (run.heat, run.sheet, run.operator) == ("H-77", "S-1", "Milo Brandt")
    assert [(one.on_sheet, one.ordered, one.shortage) for one in run.lines] == [(4, 9, 9)]
    assert shown.set_right is True
    assert shown.burning is False
    assert shown.first_piece_needed is True
    assert [one.nest for one in shown.queue] == ["N-2", "N-3", "N-4"]
    assert [one.set_change for one in shown.queue] == [False] * 3
    floor.arc(end + SECOND, None)
    floor.follow()
    assert floor_table(table=floor.table, now=end + MINUTE).burning is True
    assert [one.state for one in floor_contours(run=Run.objects.get())] == [
        "done",
        "done",
        "burning",
        "not_yet",
    ]
    floor.done("check", end + MINUTE, passed=True)
    assert floor_table(table=floor.table, now=end + 2 * MINUTE).first_piece_needed is False


def test_pieces_show_their_outlook_with_its_age(floor):
    floor.tray(label="A")
    floor.done("change_tray", T0, tray="A")
    PieceOutlook.objects.create(
        piece=Piece.objects.get(label="A-nozzle"),
        starts=200,
        starts_left=40,
        due="soon",
        computed_at=T0,
    )
    pieces = {p.label: p for p in floor_table(table=floor.table, now=T0).torches[0].pieces}
    assert (pieces["A-nozzle"].due, pieces["A-nozzle"].starts_left) == ("soon", 40)
    assert pieces["A-nozzle"].computed_at == T0
    assert (pieces["A-electrode"].due, pieces["A-electrode"].starts) == ("", None)


def test_a_plan_that_is_not_there_leaves_the_time_unknown(floor):
    floor.done("start", T0, queue_item=floor.queue(floor.nest(plan=False)).pk)
    run = floor_table(table=floor.table, now=T0).run
    assert (run.planned_s, run.left_s) == (None, None)


def test_a_stop_without_a_reason_is_asked_about(floor):
    floor.reason("lunch", "lunch")
    stop = floor.done("stop", T0)
    shown = floor_table(table=floor.table, now=T0 + MINUTE)
    assert shown.stoppage.id == stop["stoppage"]
    assert [one.id for one in shown.reasons_wanted] == [stop["stoppage"]]
    floor.done("give_reason", T0 + MINUTE, stoppage=stop["stoppage"], reason="lunch")
    floor.done("resume", T0 + 2 * MINUTE)
    shown = floor_table(table=floor.table, now=T0 + 3 * MINUTE)
    assert (shown.stoppage, shown.reasons_wanted) == (None, ())
    assert [reason.code for reason in stop_reasons()] == ["lunch"]


def test_no_money_is_anywhere_in_it(floor):
    floor.tray(label="A", price=123_457)
    floor.done("change_tray", T0, tray="A")
    floor.done(
        "start", T0, queue_item=floor.queue(floor.nest(), floor.sheet(cost_minor=765_432)).pk
    )
    text = repr(asdict(floor_table(table=floor.table, now=T0 + MINUTE)))
    assert "123457" not in text
    assert "765432" not in text
    assert "minor" not in text


def test_the_page_of_a_table_takes_a_bounded_number_of_queries(
    floor, django_assert_max_num_queries
):
    lines = [floor.line(f"J-{i}") for i in range(8)]
    floor.tray(label="A")
    floor.done("change_tray", T0, tray="A")
    floor.done("start", T0, queue_item=floor.queue(floor.nest(contours=80, lines=lines)).pk)
    floor.arcs(T0 + SECOND, [3.0] * 60)
    floor.follow()
    with django_assert_max_num_queries(45):
        shown = floor_table(table=floor.table, now=T0 + timedelta(minutes=10))
    assert shown.run.arcs_done == 60


def test_the_last_entries_come_newest_first(floor):
    for index in range(7):
        floor.done("note", T0 + index * MINUTE, text=f"note {index}")
    texts = [action.result["text"] for action in recent_actions(terminal=floor.terminal, limit=3)]
    assert texts == ["note 6", "note 5", "note 4"]
    assert list(open_conflicts()) == []
