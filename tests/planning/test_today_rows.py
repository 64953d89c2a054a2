"""What today's page reads of its arcs, and that it reads no more than that."""

from __future__ import annotations

from datetime import timedelta
from types import SimpleNamespace

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import given
from hypothesis import strategies as st

from planning.calc.spans import intersect, length, subtract, union
from planning.reports import today
from planning.reports.notes.finding import find_all
from planning.reports.today_data import ArcNow
from planning.reports.today_figures import _burnt
from shopfloor.models import ArcAssignment, RunState, Torch
from telemetry.models import Arc
from tests.planning import cast
from tests.planning.swept import today_swept
from tests.planning.test_today import SHIFT, _listening, half_burnt

__all__ = ["half_burnt"]
NOW = cast.at(SHIFT, 3600)


@pytest.mark.django_db
@pytest.mark.parametrize("why", ["its stretch is of yesterday", "its run was voided"])
def test_an_arc_that_was_given_away_is_not_loose_whatever_holds_it(half_burnt, north, why):
    """Read by the segments of the shift, but for what others hold."""
    _listening(north, NOW)
    segment = half_burnt.segments.get()
    if why == "its run was voided":
        half_burnt.state = RunState.VOIDED
        half_burnt.save()
    else:
        segment.started_at -= timedelta(days=1)
        segment.ended_at = segment.started_at + timedelta(hours=1)
        segment.save()
    assert [arc.state for arc in today(now=NOW).tables[0].strip.arcs] == ["run"] * 4
    ArcAssignment.objects.all().delete()
    assert [arc.state for arc in today(now=NOW).tables[0].strip.arcs] == ["unassigned"] * 4


@pytest.mark.django_db
def test_no_statement_joins_arcs_to_all_assignments_there_ever_were(half_burnt, north):
    """PostgreSQL would read the whole table for it."""
    _listening(north, NOW)
    with CaptureQueriesContext(connection) as asked:
        today(now=NOW)
    of_assignments = [one["sql"] for one in asked if 'FROM "shopfloor_arcassignment"' in one["sql"]]
    assert of_assignments
    assert not [sql for sql in of_assignments if "telemetry_arc" in sql]


@pytest.mark.django_db
def test_amps_of_the_shift_are_asked_for_once(half_burnt, north, operator):
    """More torches take no more queries where the shift's own arcs say enough."""
    _listening(north, NOW)
    counts = []
    for code in ("1", "2"):
        torch, _ = Torch.objects.get_or_create(table=north, code=code)
        cast.arcs(
            half_burnt, [(1000 + 9 * n, 1005 + 9 * n, None) for n in range(6)], start=SHIFT,
            torch=code, amps=130.0,
        )  # fmt: skip
        fitted = cast.fitting(cast.piece(label=f"E-{code}"), north, SHIFT, by=operator)
        fitted.torch = torch
        fitted.save()
        with CaptureQueriesContext(connection) as asked:
            find_all(NOW)
        counts.append(len(asked))
    assert counts[0] == counts[1]
    Arc.objects.filter(torch="2").update(amps=45.0)
    [note] = [one for one in today_swept(now=NOW).notes if one.head == "The amps say another set"]
    assert "about 45 A" in note.body


def _slow(arcs, staffed):
    """As it was worked out before: each arc's part that no earlier one covers, arc by arc."""
    covered, spent = [], {}
    for arc in sorted(arcs, key=lambda arc: (arc.on_us, arc.off_us)):
        fresh = subtract(intersect(union([(arc.on_us, arc.off_us)]), staffed), covered)
        covered = union([*covered, *fresh])
        us, many = spent.get(arc.said, (0, 0))
        spent[arc.said] = us + length(fresh), many + bool(fresh)
    return covered, spent


minute = st.integers(0, 60).map(lambda n: n * 60_000_000)
burns = st.tuples(minute, minute, st.booleans()).map(
    lambda one: ArcNow("k", "1", min(one[:2]), max(one[:2]), False, None, one[2], None)
)


@given(st.lists(burns, max_size=12), st.lists(st.tuples(minute, minute), max_size=3))
def test_time_burnt_is_counted_once_by_whoever_lit_first(arcs, spans):
    staffed = union((min(pair), max(pair)) for pair in spans)
    covered, spent = _slow(arcs, staffed)
    rows, burnt = _burnt(SimpleNamespace(runs=[], arcs=arcs), staffed)
    assert burnt == covered
    said = {"burnt, and marked as no job": True, "burnt in no run yet": False}
    found = {said[row.label]: (row.quantity.value, row.notes[0].split()[0]) for row in rows}
    wanted = {key: (us / 1_000_000, str(many)) for key, (us, many) in spent.items() if us}
    assert found == wanted
