"""What the arcs say of a run that was interrupted. Contours of the small shop take 12 s (odd, a
hole) and 48 s (even, an outline); an arc under 0.6 of its plan did not cut its contour (our
assumption): 7.2 and 28.8 s."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from shopfloor.models import Run, Segment, Terminal
from shopfloor.runs.arcs import to_us
from shopfloor.runs.floor.run_card import restart_at
from shopfloor.runs.progress import progress_of
from shopfloor.runs.queries import last_segment
from shopfloor.runs.services import run_open, run_restart
from shopfloor.terminal.board import board_of
from telemetry.models import Arc, Gap
from tests.shopfloor.terminal import cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def run(floor, north, operator, token):
    made = run_open(
        revision=floor.revision, table=north, torch=north.torches.get(), operator=operator,
        at=timezone.now() - timedelta(hours=1), queue_item=floor.items[0],
    )  # fmt: skip
    cast.burn(floor, made, range(1, 9), ended_before_s=60)
    return made


def words(run):
    person, terminal = run.segments.get().operator, Terminal.objects.get()
    board = board_of(table=run.table, terminal=terminal, person=person, now=timezone.now())
    return board["restart_at"], board["restart_words"]


def last_arc():
    return Arc.objects.order_by("-on_us").first()


def test_whole_arcs_one_after_the_other_are_certain(run):
    at, said = words(run)
    assert at == 9
    assert "8 seen burnt, the first not seen is 9." in said
    assert said.endswith("The last certain one is 8.")


def test_a_contour_that_was_only_begun_is_where_to_go_on(run):
    """20 of 48 s is less than 28.8."""
    arc = last_arc()
    arc.off_us = arc.on_us + 20_000_000
    arc.save()
    at, said = words(run)
    assert at == 8
    assert "8 was begun: 20 of about 48 s burnt." in said
    assert said.endswith("The last certain one is 7.")
    assert progress_of(run).parts_done == 3  # plates of two contours each: 8 is not cut through


def test_an_arc_a_little_short_cut_its_contour(run):
    """30 of 48 s is more than 28.8: an override of 160 %, or a shorter path."""
    arc = last_arc()
    arc.off_us = arc.on_us + 30_000_000
    arc.save()
    assert words(run)[0] == 9


def test_an_arc_whose_end_was_never_told_is_not_taken_for_cut(run):
    Arc.objects.filter(pk=last_arc().pk).update(off_us=None, ended="open")
    at, said = words(run)
    assert at == 8
    assert "8 was begun, and no line says that it ended." in said


def test_restarted_at_a_contour_and_nothing_burnt_yet_it_is_that_contour(floor, north, operator):
    bare = run_open(
        revision=floor.revision, table=north, torch=north.torches.get(), operator=operator,
        at=timezone.now() - timedelta(hours=1), queue_item=floor.items[0],
    )  # fmt: skip
    assert restart_at(progress_of(bare), last_segment(bare)) == 1
    run_restart(run=bare, at=timezone.now(), operator=operator, contour=5)
    assert restart_at(progress_of(bare), last_segment(bare)) == 5


def test_restarted_behind_contours_left_out_it_is_the_first_left_out(run, floor):
    """1 to 8 were burnt; restarted at 11, 11 and 12 too: 9 is the first not seen."""
    run_restart(run=run, at=timezone.now(), operator=run.segments.get().operator, contour=11)
    cast.burn(floor, run, range(11, 13))
    assert restart_at(progress_of(run), last_segment(run)) == 9


def test_behind_missing_lines_nothing_is_certain(run, floor):
    """Lines are missing after the fifth arc: what came after may have been any contour."""
    sixth = Arc.objects.order_by("on_us")[5]
    Gap.objects.create(feed=floor.feed, key="g", kind="seq", at_us=sixth.on_us - 1, first_seq=9,
                       last_seq=12)  # fmt: skip
    at, said = words(run)
    assert at == 9
    assert said.endswith("the last certain one is 5. Look at the plate.")


def test_lines_missing_before_the_run_began_do_not_matter(run, floor):
    before = to_us(Run.objects.get().opened_at) - 1
    Gap.objects.create(feed=floor.feed, key="g", kind="link", at_us=before)
    assert words(run)[1].endswith("The last certain one is 8.")
    assert Segment.objects.count() == 1


@pytest.mark.parametrize(
    ("ago_s", "said"), [(100, "The torch burns now."), (200, "has no end yet.")]
)
def test_an_arc_long_past_its_plan_is_not_said_to_burn_still(run, ago_s, said):
    """Contour 8 takes 48 s; three times that is 144 s (our assumption)."""
    arc = last_arc()
    arc.on_us, arc.off_us, arc.ended = to_us(timezone.now() - timedelta(seconds=ago_s)), None, ""
    arc.save()
    person, terminal = run.segments.get().operator, Terminal.objects.get()
    board = board_of(table=run.table, terminal=terminal, person=person, now=timezone.now())
    assert said in board.cutting.evidence
