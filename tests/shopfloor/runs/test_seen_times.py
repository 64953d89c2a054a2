"""Seen against planned seconds by length of contour; figures by hand."""

from __future__ import annotations

import pytest

from shopfloor.models import ArcAssignment, Run, Segment
from shopfloor.nests.services import nest_add
from shopfloor.runs.arcs import to_us
from shopfloor.runs.seen_times import Seen, seen_kinds, table_kinds, table_runs
from telemetry.models import Arc
from tests.shopfloor.floor_shop import T0
from tests.shopfloor.library.test_recognise import path


def test_kinds_are_told_apart_by_length():
    short = [Seen(100, 2.0, 2.0 + k / 10) for k in range(11)]
    long = [Seen(900, 10.0, 10.0)] * 9
    found = seen_kinds([*short, Seen(150, 0.0, 5.0), *long])
    # Ratios 1.00, 1.05 ... 1.50: the median is the sixth; the quarters lie at 2.5 and 7.5.
    assert (found[0].n, found[0].ratio) == (11, pytest.approx(1.25))
    assert (found[0].low, found[0].high) == (pytest.approx(1.1), pytest.approx(1.4))
    assert (found[1].n, found[2].n, found[2].ratio) == (0, 9, None)


def test_only_whole_arcs_of_finished_runs_count(floor):
    square = [(0, 0), (20, 0), (20, 20), (0, 20), (0, 0)]
    nest = nest_add(
        name="few", file_name="f.nc", raw=path(*square).encode(), material=floor.steel,
        thickness_text="6 mm", wear_set=floor.fast, table=floor.table, by=floor.person,
    )  # fmt: skip
    for state in ("finished", "voided"):
        run = Run.objects.create(
            revision=nest.revisions.get(), table=floor.table, state=state, opened_at=T0,
            plan={"arcs_s": [4.0]},
        )  # fmt: skip
        segment = Segment.objects.create(
            run=run, torch=floor.table.torches.first(), wear_set=floor.fast, started_at=T0
        )
        key = f"src|{state}"
        ArcAssignment.objects.create(arc_key=key, segment=segment, contour_number=1, at=T0)
        began = to_us(T0)
        Arc.objects.create(
            key=key, feed_id=1, table=floor.table.code, torch="1", on_us=began, ended="off",
            off_us=began + 5_000_000, changed_us=began, feed_version=1,
        )  # fmt: skip
    assert [kind.n for kind in table_kinds(table_runs(floor.table))] == [1, 0, 0]
