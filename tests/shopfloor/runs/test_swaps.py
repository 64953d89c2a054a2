"""Another sheet under a run that has begun: stock, heat, parts and money follow, and all of it can
be taken back."""

from __future__ import annotations

import pytest

from planning.services.work import run_all_waiting
from shopfloor.models import Change, PartResult, Posting, Run, Segment, Sheet
from shopfloor.runs.part_counts import line_counts
from shopfloor.runs.progress import progress_of
from shopfloor.stock.queries import trace_sheets
from tests.shopfloor.floor_shop import MINUTE, SECOND, T0


@pytest.fixture
def begun(floor):
    """A nest of four parts, two of them burnt, on S-1 of heat X; S-2 of heat Y lies beside it. The
    sheets cost 600.00 and 480.00."""
    floor.tray(label="A")
    floor.done("change_tray", T0 - MINUTE, tray="A")
    floor.first, floor.second = (
        floor.sheet("S-1", heat=floor.heat("X"), cost_minor=60_000),
        floor.sheet("S-2", heat=floor.heat("Y"), cost_minor=48_000),
    )
    floor.of_line = floor.line(quantity=4)
    floor.revision = floor.nest(lines=[floor.of_line])
    floor.revision.contours.update(net_area_mm2=100_000)
    item = floor.queue(floor.revision, sheet=floor.first)
    floor.run = Run.objects.get(pk=floor.done("start", T0, queue_item=item.pk, sheet="S-1")["run"])
    floor.now = floor.arcs(T0 + SECOND, [30.0, 30.0]) + MINUTE
    floor.follow()
    return floor


def states():
    return dict(Sheet.objects.values_list("code", "state"))


def material():
    """What each run was charged for its sheet so far, in minor units."""
    run_all_waiting()
    found = {}
    for run, amount in Posting.objects.filter(kind="material").values_list("run", "amount_minor"):
        found[run] = found.get(run, 0) + amount
    return {run: amount for run, amount in found.items() if amount}


def heats_of_parts():
    """Good parts by the heat they were cut from, as the trace of a certificate gives them."""
    found = {}
    for traced in trace_sheets(Sheet.objects.all()):
        for run in traced.runs:
            for part in run.parts:
                heat = traced.sheet.heat.number
                found[heat] = found.get(heat, 0) + part.good
    return {heat: good for heat, good in found.items() if good}


def test_the_books_named_the_wrong_sheet_and_everything_follows_the_right_one(begun):
    floor = begun
    run_all_waiting()
    result = floor.done(
        "swap_sheet", floor.now, sheet="S-2", swap_reason="another code was scanned", since="start"
    )
    assert (result["run"], result["was"]) == (str(floor.run.pk), "S-1")
    floor.run.refresh_from_db()
    assert (floor.run.sheet.code, floor.run.swap_reason) == ("S-2", "another code was scanned")
    assert floor.run.queue_item.sheet.code == "S-2"
    assert states() == {"S-1": "in_stock", "S-2": "on_table"}
    end = floor.arcs(floor.now + MINUTE, [30.0, 30.0])
    floor.follow()
    floor.done("finish", end + MINUTE, exceptions=[])
    assert states() == {"S-1": "in_stock", "S-2": "cut"}
    assert heats_of_parts() == {"Y": 4}
    assert material() == {floor.run.pk: 48_000}


def test_what_was_charged_for_the_first_sheet_is_answered_by_entries_of_its_own(begun):
    floor = begun
    floor.done("finish", floor.now, exceptions=[])
    assert material() == {floor.run.pk: 60_000}  # charged once the run is over
    before = set(Posting.objects.values_list("pk", flat=True))
    floor.done("swap_sheet", floor.now + MINUTE, run=str(floor.run.pk), sheet="S-2",
               swap_reason="flaw", since="start")  # fmt: skip
    assert states() == {"S-1": "in_stock", "S-2": "cut"}
    assert material() == {floor.run.pk: 48_000}
    kept = Posting.objects.filter(pk__in=before, kind="material")
    assert [one.amount_minor for one in kept] == [60_000]  # it stands as it was posted
    answers = Posting.objects.filter(kind="material").exclude(pk__in=before)
    assert [one.amount_minor for one in answers] == [-12_000]  # 480.00 in place of 600.00


def test_a_plate_changed_in_the_middle_parts_the_run_and_each_half_has_its_heat(begun):
    floor = begun
    result = floor.done(
        "swap_sheet",
        floor.now,
        sheet="S-2",
        swap_reason="flaw in the plate",
        since="now",
        contour=3,
        cut="good",
    )
    assert result["heat_to_mark"] == "X"
    second = Run.objects.get(pk=result["run"])
    floor.run.refresh_from_db()
    assert (floor.run.state, second.state) == ("finished", "open")
    assert states() == {"S-1": "cut", "S-2": "on_table"}
    assert (second.queue_item_id, second.queue_item.state) == (floor.run.queue_item_id, "running")
    end = floor.arcs(floor.now + MINUTE, [30.0, 30.0])
    floor.follow()
    progress = progress_of(second)
    assert (progress.done, progress.parts, progress.all_seen) == (frozenset({3, 4}), 2, True)
    finished = floor.done("finish", end + MINUTE, exceptions=[])
    # Two of the four were whole on the first plate: the second can only have made the others.
    assert [part["good"] for part in finished["parts"]] == [2]
    assert line_counts([floor.of_line.pk])[floor.of_line.pk].good == 4
    floor.of_line.job.refresh_from_db()
    assert floor.of_line.job.state == "closed"
    assert heats_of_parts() == {"X": 2, "Y": 2}
    assert material() == {floor.run.pk: 60_000, second.pk: 48_000}


def test_what_was_cut_from_a_wrong_plate_is_scrap_and_is_owed_again(begun):
    floor = begun
    floor.done(
        "swap_sheet", floor.now, sheet="S-2", swap_reason="wrong thickness or grade", since="now",
        contour=1, cut="scrap",
    )  # fmt: skip
    rows = PartResult.objects.values_list("outcome", "quantity", "cause")
    assert list(rows) == [("scrap", 2, "plate")]
    end = floor.arcs(floor.now + MINUTE, [30.0] * 4)
    floor.follow()
    floor.done("finish", end + MINUTE, exceptions=[])
    count = line_counts([floor.of_line.pk])[floor.of_line.pk]
    assert (count.good, count.scrap) == (4, 2)


def test_parts_counted_before_the_plate_was_changed_are_not_counted_again(begun):
    floor = begun
    part = {"line": floor.of_line.pk, "good": 1}
    floor.done("finish", floor.now, parts=[part], partial=True)
    floor.done("swap_sheet", floor.now + SECOND, sheet="S-2", swap_reason="flaw", since="now",
               contour=3, cut="good")  # fmt: skip
    assert line_counts([floor.of_line.pk])[floor.of_line.pk].good == 2


@pytest.mark.parametrize("since", ["start", "now"])
def test_both_ways_can_be_taken_back(begun, since):
    floor = begun
    was = (states(), floor.run.queue_item.state, material())
    more = {"contour": 3, "cut": "scrap"} if since == "now" else {}
    action = floor.do("swap_sheet", floor.now, sheet="S-2", swap_reason="flaw", since=since, **more)
    assert action.state == "applied", action.result
    floor.arcs(floor.now + SECOND, [30.0])
    floor.follow()
    floor.done("undo", floor.now + MINUTE, action=str(action.pk))
    run = Run.objects.get(pk=floor.run.pk)
    assert (run.sheet.code, run.swap_reason, run.state) == ("S-1", "", "open")
    assert run.queue_item.sheet.code == "S-1"
    assert (states(), run.queue_item.state, material()) == was
    assert line_counts([floor.of_line.pk])[floor.of_line.pk].scrap == 0
    assert progress_of(run).done == frozenset({1, 2, 3})  # what burnt meanwhile is this run's again


def test_every_step_of_it_is_on_record_with_who_and_why(begun):
    floor = begun
    newest = Change.objects.latest("pk").pk
    action = floor.do("swap_sheet", floor.now, sheet="S-2", swap_reason="flaw", since="start")
    changed = Change.objects.filter(pk__gt=newest)
    assert {"shopfloor_run", "shopfloor_sheet", "shopfloor_queueitem"} <= set(
        changed.values_list("table", flat=True)
    )
    assert {one.who for one in changed} == {f"user:{floor.person.username}"}
    assert all(str(action.pk) in one.why for one in changed)


@pytest.mark.parametrize(
    ("payload", "words"),
    [
        ({"swap_reason": "flaw", "since": "start"}, "Which sheet is on the table?"),
        ({"sheet": "S-2", "since": "start"}, "Why another sheet?"),
        ({"sheet": "S-2", "swap_reason": "flaw"}, "Since when does it lie there?"),
        ({"sheet": "S-9", "swap_reason": "flaw", "since": "start"}, "There is no sheet 'S-9'."),
        ({"sheet": "S-1", "swap_reason": "flaw", "since": "start"}, "on sheet S-1 already"),
        ({"sheet": "S-3", "swap_reason": "flaw", "since": "start"}, "Sheet S-3 is cut."),
        ({"sheet": "S-2", "swap_reason": "flaw", "since": "now"}, "At which contour"),
        ({"sheet": "S-2", "swap_reason": "flaw", "since": "now", "contour": 3}, "good or scrap?"),
        (
            {"sheet": "S-2", "swap_reason": "flaw", "since": "now", "contour": 5, "cut": "good"},
            "contours 1 to 4, not 5",
        ),
    ],
)
def test_what_is_missing_or_wrong_is_said_and_nothing_is_written(begun, payload, words):
    floor = begun
    floor.sheet("S-3", state="cut")
    segments, was = list(Segment.objects.values()), states()
    action = floor.do("swap_sheet", floor.now, **payload)
    assert action.state == "refused"
    assert words in action.result["message"]
    assert (list(Segment.objects.values()), states()) == (segments, was)


def test_a_plate_is_not_changed_under_a_run_that_is_over(begun):
    floor = begun
    floor.done("finish", floor.now, exceptions=[])
    action = floor.do("swap_sheet", floor.now + MINUTE, run=str(floor.run.pk), sheet="S-2",
                      swap_reason="flaw", since="now", contour=3, cut="good")  # fmt: skip
    assert (action.state, action.result["message"]) == ("refused", "That sheet is finished.")


def test_a_sheet_of_another_thickness_raises_the_question_with_the_reason(begun):
    floor = begun
    Sheet.objects.filter(code="S-2").update(thickness_mm=8.0, thickness_text="8 mm")
    result = floor.done("swap_sheet", floor.now, sheet="S-2", swap_reason="flaw", since="start")
    assert result["questions"] == ["Sheet S-2 is 8 mm, the nest is for 6 mm."]


def test_a_sheet_kept_for_another_nest_is_taken_from_it_and_said(begun):
    floor = begun
    other = floor.queue(floor.nest("N-2"), sheet=floor.second)
    result = floor.done("swap_sheet", floor.now, sheet="S-2", swap_reason="flaw", since="start")
    assert result["questions"] == ["Sheet S-2 was kept for N-2 on North."]
    other.refresh_from_db()
    assert other.sheet is None


def test_a_remnant_in_stock_from_the_wrong_sheet_stops_it(begun):
    floor = begun
    floor.done("finish", floor.now, exceptions=[], remnant={"length_mm": 900, "width_mm": 600})
    action = floor.do("swap_sheet", floor.now + MINUTE, run=str(floor.run.pk), sheet="S-2",
                      swap_reason="flaw", since="start")  # fmt: skip
    assert action.state == "refused"
    assert action.result["message"] == "What is left of sheet S-1 is in stock already."


def test_a_sheet_another_run_burnt_on_stays_cut(begun):
    """Two nests on one sheet: the first run's share stays, so the sheet is no whole one again."""
    floor = begun
    Run.objects.create(
        revision=floor.nest("N-3"), sheet=floor.first, table=floor.table, state="finished",
        opened_at=T0 - 90 * MINUTE, closed_at=T0 - 60 * MINUTE,
    )  # fmt: skip
    floor.done("swap_sheet", floor.now, sheet="S-2", swap_reason="flaw", since="start")
    assert states() == {"S-1": "cut", "S-2": "on_table"}
