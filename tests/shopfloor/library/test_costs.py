"""A piece's share of its runs, by hand."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from shopfloor.library.costs import part_runs, per_piece
from shopfloor.library.recognise import parts_recognise
from shopfloor.models import KnownPart, Month, Posting, Run, RunVariance
from shopfloor.nests.part_lines import assign_parts_to_lines, revision_groups
from shopfloor.nests.queries import revision_contours
from shopfloor.nests.services import nest_add
from tests.shopfloor.library.test_recognise import path

SMALL = [(0, 0), (50, 0), (50, 50), (0, 50), (0, 0)]  # 200 mm round
LARGE = [(0, 0), (200, 0), (200, 100), (0, 100), (0, 0)]  # 600 mm round


@pytest.fixture
def run(floor):
    text = path(*SMALL) + path(*SMALL, dx=80) + path(*LARGE, dy=80)
    nest = nest_add(
        name="mix", file_name="m.nc", raw=text.encode(), material=floor.steel,
        thickness_text="6 mm", wear_set=floor.fast, table=floor.table, by=floor.person,
    )  # fmt: skip
    revision = nest.revisions.get()
    line = floor.line(quantity=3)
    groups = revision_groups(revision_contours(revision))
    assign_parts_to_lines(revision=revision, ties={group.label: [(line, None)] for group in groups})
    parts_recognise(key=f"nest:{revision.pk}", payload={})
    now = timezone.now()
    plan = {"total_s": 80.0, "load_s": 20.0, "costs_minor": {
        "machine": 100, "labour": 50, "gas": 10, "energy": 10, "wear": 30, "bench": 999,
    }}  # fmt: skip
    run = Run.objects.create(
        revision=revision, table=floor.table, state="finished", opened_at=now, closed_at=now,
        plan=plan,
    )  # fmt: skip
    RunVariance.objects.create(run=run, elapsed_s=150.0, computed_at=now)
    month = Month.objects.create(first_day=now.date().replace(day=1))
    for kind, minor in (("machine", 300), ("wear", 100), ("material", 5000)):
        Posting.objects.create(
            key=f"{kind}:v1", month=month, shift_date=now.date(), kind=kind, line=line, run=run,
            amount_minor=minor, evidence="measured",
        )  # fmt: skip
    return run


def test_a_piece_has_its_share_of_the_run_by_length_cut(run):
    """Small: 400 of 1,000 mm, in two pieces: 0.2 of the run each. It took 150 s and was planned at
    100; the table cost 400 and was planned at 200; material and bench are left out."""
    small = KnownPart.objects.get(around_mm__lt=300)
    piece = per_piece(part_runs(small))
    assert (piece.runs, piece.pieces) == (1, 2)
    assert piece.seconds == pytest.approx(30)
    assert piece.planned_s == pytest.approx(20)
    assert (piece.minor, piece.planned_minor) == (80, 40)
    large = per_piece(part_runs(KnownPart.objects.get(around_mm__gt=300)))
    assert (large.seconds, large.minor) == (pytest.approx(90), 240)


def test_what_is_not_known_stays_unknown(run):
    RunVariance.objects.all().delete()
    Posting.objects.all().delete()
    Run.objects.update(plan={})
    [row] = part_runs(KnownPart.objects.get(around_mm__lt=300))
    assert (row.seconds, row.planned_s, row.minor, row.planned_minor) == (None,) * 4
    piece = per_piece([row])
    assert (piece.runs, piece.pieces, piece.seconds, piece.minor) == (0, 2, None, None)


def test_only_finished_runs_count_and_the_newest_of_them(run):
    part = KnownPart.objects.get(around_mm__lt=300)
    Run.objects.create(
        revision=run.revision, table=run.table, state="voided", opened_at=run.opened_at
    )
    later = Run.objects.create(
        revision=run.revision, table=run.table, state="finished",
        opened_at=run.opened_at + timedelta(hours=1),
    )  # fmt: skip
    assert [row.run.pk for row in part_runs(part)] == [later.pk, run.pk]
    assert [row.run.pk for row in part_runs(part, most=1)] == [later.pk]
