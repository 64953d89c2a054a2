"""A run whose source falls silent in the middle: the silence is unknown, and cuts nothing short."""

from __future__ import annotations

import pytest
from django.db.models import Sum

from dashboards.plans.measures import covered
from planning import reports
from planning.inputs.taken import UNHEARD, taken_runs
from planning.reports.measures import measures
from planning.services.run_figures import run_figures
from shopfloor.models import (
    Evidence,
    Piece,
    PieceOutlook,
    PieceUse,
    Posting,
    Rate,
    Run,
    Stoppage,
    Torch,
    Work,
)
from shopfloor.runs.arcs import to_us
from shopfloor.runs.entered_counts import counts_enter, counts_take_back
from shopfloor.runs.unassigned import unassigned_clusters
from telemetry.models import Gap
from tests.planning import cast
from tests.planning.said import open_figure
from tests.shopfloor.floor_shop import MINUTE, SECOND, T0

BACK = T0 + 31 * MINUTE


@pytest.fixture
def silent(floor):
    """Six contours of 30 s are planned. Two burn from 12:00:10 to 12:01:15, then the link is down
    for 29 min, to 12:31; two more burn to 12:33:05, and the sheet is finished at 12:34. Silent for
    longer than the shop's gap of 15 min."""
    run = floor.done("start", T0, queue_item=floor.queue(floor.nest(contours=6)).pk)["run"]
    floor.arcs(T0 + 10 * SECOND, [30.0] * 2)
    Gap.objects.create(
        feed=floor.feed(), key="g", kind="link", at_us=to_us(BACK),
        message="the link was down for 1740.0 s",
    )  # fmt: skip
    end = floor.arcs(BACK + MINUTE, [30.0] * 2)
    floor.follow()
    found = Run.objects.get(pk=run)
    found.plan = cast.plan([30.0] * 6)  # with 1 s of travel to each
    found.save()
    return found, end


def finish(floor, run):
    floor.done("finish", T0 + 34 * MINUTE, exceptions=[])
    run_figures(key=str(run.pk), payload={})
    return reports.run_detail(run_id=str(run.pk))


def test_arcs_after_the_silence_are_still_of_the_run(floor, silent):
    run, end = silent
    assert unassigned_clusters(floor.table, T0, T0 + 60 * MINUTE) == []
    segment = run.segments.get()
    assert (segment.ended_at, segment.last_contour) == (end, 4)  # months ago: assumed
    assert not Stoppage.objects.exists()  # nobody knows of a pause


def test_its_plan_is_whole_and_the_silence_unknown(floor, silent):
    run, _ = silent
    found = finish(floor, run)
    run.refresh_from_db()
    assert run.closed_at == T0 + 34 * MINUTE
    assert found.planned_s == 6 * 31.0  # not of the four contours that were heard
    spent = {row.term: row.actual_s for row in found.terms.itertuples()}
    assert spent["unknown"] == 1740.0
    assert found.elapsed_s == 34 * 60
    assert found.coverage.unknown == 1740.0


def test_a_finish_pressed_in_the_silence_is_the_end(floor):
    run_id = floor.done("start", T0, queue_item=floor.queue(floor.nest(contours=6)).pk)["run"]
    floor.arcs(T0 + 10 * SECOND, [30.0] * 2)
    floor.follow()
    Gap.objects.create(
        feed=floor.feed(), key="g", kind="link", at_us=to_us(BACK),
        message="the link was down for 1740.0 s",
    )  # fmt: skip
    floor.done("finish", T0 + 28 * MINUTE, now=BACK, exceptions=[])
    segment = Run.objects.get(pk=run_id).segments.get()
    assert (segment.ended_at, segment.end_assumed) == (T0 + 28 * MINUTE, False)


def test_a_pause_written_down_before_the_silence_was_known_is_no_stoppage(floor, silent):
    run, _ = silent
    Stoppage.objects.create(
        table=floor.table, run=run, evidence=Evidence.MEASURED,
        started_at=T0 + 75 * SECOND, ended_at=BACK + MINUTE,
    )  # fmt: skip
    found = finish(floor, run)
    spent = {row.term: row.actual_s for row in found.terms.itertuples()}
    assert spent["unknown"] == 1740.0


def test_a_long_pause_that_was_heard_still_asks_for_its_reason(floor):
    floor.done("start", T0, queue_item=floor.queue(floor.nest(contours=6)).pk)
    end = floor.arcs(T0 + 10 * SECOND, [30.0] * 2)
    floor.arcs(end + 10 * MINUTE, [30.0] * 2)
    floor.follow()
    assert Stoppage.objects.get().started_at == end


def _entered(floor, **change):
    """Of the 29 min from 12:02 on somebody says: 12 starts, 12 min of burning."""
    said = {"torch": floor.torch, "started_at": T0 + 2 * MINUTE, "ended_at": BACK, "starts": 12,
            "arc_s": 720.0, "by": floor.person, "now": BACK + 60 * MINUTE}  # fmt: skip
    return counts_enter(**{**said, **change})


def test_what_was_entered_for_the_silence_is_no_longer_unknown_in_the_run(floor, silent):
    run, _ = silent
    finish(floor, run)
    entered = _entered(floor)
    assert Work.objects.filter(kind="run", key=str(run.pk), state="waiting").exists()
    run_figures(key=str(run.pk), payload={})
    found = reports.run_detail(run_id=str(run.pk))
    spent = {row.term: row.actual_s for row in found.terms.itertuples()}
    assert spent["burning as entered"] == 720.0
    assert spent["not burning as entered"] == 29 * 60 - 720.0
    assert "unknown" not in spent
    assert sum(spent.values()) == found.elapsed_s == 34 * 60
    assert (found.coverage.entered, found.coverage.unknown) == (29 * 60, 0.0)
    opened = open_figure(kind="run_term", id=f"{run.pk}:burning as entered")
    assert (opened.value, opened.evidence) == ("12.0 min", "entered")
    counts_take_back(entered=entered, by=floor.person)
    run_figures(key=str(run.pk), payload={})
    assert reports.run_detail(run_id=str(run.pk)).coverage.unknown == 1740.0


def test_what_was_entered_for_another_torch_says_nothing_of_this_run(floor, silent):
    run, _ = silent
    _entered(floor, torch=Torch.objects.create(table=floor.table, code="2"))
    assert finish(floor, run).coverage.unknown == 1740.0


def test_measures_count_what_was_entered_and_say_what_is_unknown(floor, silent):
    """Of 34 min in the run 5 were heard, 4 x 30 s of it burning; 12 min more burnt as entered for
    the first 20 of the 29 silent ones, and of the last 9 nobody knows."""
    run, _ = silent
    _entered(floor, ended_at=T0 + 22 * MINUTE)
    finish(floor, run)
    day = T0.date()
    [table] = measures(first=day, last=day, now=BACK + 60 * MINUTE).tables
    assert table.elements.apt == pytest.approx((120 + 720) / 3600)
    assert table.busy_h == pytest.approx(34 / 60)
    assert table.measured_h == pytest.approx(5 / 60)
    assert table.unknown_h == pytest.approx(9 / 60)
    assert "unknown (a source was silent), the rest entered" in covered(table)


def test_gas_is_paid_for_what_was_heard_and_what_was_entered(floor, silent):
    """4 x 30 s heard and 12 min entered at 60.00 an hour: 840 s cost 14.00."""
    run, _ = silent
    Rate.objects.create(kind="gas", amount_minor=6000, valid_from=T0.date())
    finish(floor, run)
    gas = Posting.objects.filter(run=run, kind="gas")
    assert gas.aggregate(all=Sum("amount_minor"))["all"] == 200
    _entered(floor)
    run_figures(key=str(run.pk), payload={})
    assert gas.aggregate(all=Sum("amount_minor"))["all"] == 1400


def test_a_run_with_entered_time_teaches_no_factor(floor, silent):
    run, _ = silent
    finish(floor, run)
    Run.objects.filter(pk=run.pk).update(evidence=Evidence.MEASURED)
    _entered(floor)
    run_figures(key=str(run.pk), payload={})
    taken = taken_runs(now=BACK + 60 * MINUTE)
    assert (taken.runs, dict(taken.left_out)) == ([], {UNHEARD: 1})


def _electrode(floor):
    """Fitted in the torch an hour before, new, with no rated life."""
    tray = floor.tray()
    piece = tray.pieces.get(part__kind="electrode")
    Piece.objects.filter(pk=piece.pk).update(prior_starts=0, prior_arc_s=0.0)
    cast.fitting(piece, floor.table, T0 - 60 * MINUTE, by=floor.person)
    return piece


def _starts(run, piece):
    """Starts of the piece in the run, on what evidence, and in all."""
    run_figures(key=str(run.pk), payload={})
    use = PieceUse.objects.get(run=run, piece=piece)
    return use.starts, use.evidence, PieceOutlook.objects.get(piece=piece).starts


def test_entered_starts_are_the_runs_and_the_pieces_alike(floor, silent):
    """4 starts heard and 12 entered for 29 min that all lie within the run."""
    run, _ = silent
    piece = _electrode(floor)
    finish(floor, run)
    assert _starts(run, piece) == (4, "measured", 4)
    _entered(floor)
    assert _starts(run, piece) == (16, "entered", 16)


def test_a_piece_fitted_within_an_entrys_time_has_its_share_of_it(floor, silent):
    """12 starts in 28 min; the piece came 7 min before its end: 3 of them."""
    run, _ = silent
    piece = _electrode(floor)
    piece.fittings.update(fitted_at=T0 + 24 * MINUTE)
    finish(floor, run)
    _entered(floor, started_at=T0 + 3 * MINUTE)
    assert _starts(run, piece) == (5, "entered", 5)  # and two of the arcs heard


@pytest.fixture
def unheard(floor):
    """A run of 34 min of which nothing was heard; six contours of 30 s are planned."""
    run = floor.done("start", T0, queue_item=floor.queue(floor.nest(contours=6)).pk)["run"]
    Gap.objects.create(
        feed=floor.feed(), key="g", kind="link", at_us=to_us(T0 + 40 * MINUTE),
        message="the link was down for 3600.0 s",
    )  # fmt: skip
    found = Run.objects.get(pk=run)
    found.plan = {**cast.plan([30.0] * 6), "pierces": 6}
    found.evidence = Evidence.MEASURED
    found.save()
    Rate.objects.create(kind="gas", amount_minor=6000, valid_from=T0.date())
    return found


def _gas(run):
    found = Posting.objects.filter(run=run, kind="gas")
    return found.aggregate(all=Sum("amount_minor"))["all"], found.latest("pk").evidence


def test_an_entry_for_part_of_an_unheard_run_is_not_the_whole_of_it(floor, unheard):
    """Planned: 180 s and 6 starts, at 60.00 an hour 3.00. 2 starts and 20 s entered for 5 of the
    34 min say nothing of the other 29."""
    piece = _electrode(floor)
    finish(floor, unheard)
    assert _gas(unheard) == (300, "planned")
    assert _starts(unheard, piece) == (6, "planned", 6)
    _entered(floor, ended_at=T0 + 7 * MINUTE, starts=2, arc_s=20.0)
    assert _starts(unheard, piece) == (6, "planned", 6)
    assert _gas(unheard) == (300, "planned")


def test_an_entry_for_part_of_an_unheard_run_is_the_least_it_took(floor, unheard):
    """4 min and 8 starts entered for 5 of the 34 min are more than the plan of all of it."""
    piece = _electrode(floor)
    finish(floor, unheard)
    _entered(floor, ended_at=T0 + 7 * MINUTE, starts=8, arc_s=240.0)
    assert _starts(unheard, piece) == (8, "entered", 8)
    assert _gas(unheard) == (400, "entered")


def test_an_entry_for_all_of_an_unheard_run_counts_for_it(floor, unheard):
    """One minute and 2 starts entered for the whole of it: 1.00, not the plan's 3.00."""
    piece = _electrode(floor)
    finish(floor, unheard)
    _entered(floor, started_at=T0, ended_at=T0 + 34 * MINUTE, starts=2, arc_s=60.0)
    assert _starts(unheard, piece) == (2, "entered", 2)
    assert _gas(unheard) == (100, "entered")


def test_of_an_entry_that_began_before_the_run_its_part_within_counts_for_it(floor, unheard):
    """12 starts in the 68 min around the run's beginning: half are its own, all the piece's."""
    piece = _electrode(floor)
    finish(floor, unheard)
    _entered(floor, started_at=T0 - 34 * MINUTE, ended_at=T0 + 34 * MINUTE)
    assert _starts(unheard, piece) == (6, "entered", 12)
