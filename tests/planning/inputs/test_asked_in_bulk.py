"""Many ids in one statement, and instants as numbers: what the database makes of them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest

from planning.inputs.any_of import any_of
from planning.inputs.chunks import in_order
from planning.inputs.microseconds import Microseconds
from shopfloor.models import Run, Segment, Table
from shopfloor.runs.arcs import to_us
from tests.planning import cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def runs(north, operator):
    revision = cast.nest(operator, [])
    return [cast.run(revision, north, start=cast.at(cast.NOON, 3600 * n)) for n in range(3)]


def test_rows_are_found_by_their_own_key_and_by_a_foreign_one(runs, north):
    some = [runs[0].pk, runs[2].pk, uuid4()]
    assert set(Run.objects.filter(**any_of("pk", some))) == {runs[0], runs[2]}
    own = Segment.objects.filter(**any_of("run", some)).values_list("run_id", flat=True)
    assert set(own) == {runs[0].pk, runs[2].pk}
    assert Run.objects.filter(**any_of("table", [north.pk, 0])).count() == 3
    assert not Run.objects.filter(**any_of("table", [])).exists()


def test_ids_may_be_named_by_a_query(runs, north):
    tables = Table.objects.filter(code=north.code).values("pk")
    assert Run.objects.filter(**any_of("table", tables)).count() == 3


def test_ids_come_in_their_order():
    ids = [uuid4() for _ in range(50)]
    assert in_order(ids) == sorted(ids)
    assert in_order({3, 1, 2}) == [1, 2, 3]


@pytest.mark.parametrize("us", [0, 1, 999_999, 120_000, 500_000])
def test_an_instant_is_its_microseconds(runs, us):
    """Also just before 1970, where whole seconds go down and the rest goes up."""
    for day in (datetime(2026, 10, 8, 12, tzinfo=UTC), datetime(1969, 12, 31, 23, tzinfo=UTC)):
        at = day + timedelta(microseconds=us)
        Run.objects.filter(pk=runs[0].pk).update(opened_at=at, closed_at=None)
        row = Run.objects.values_list(Microseconds("opened_at"), Microseconds("closed_at"))
        assert row.get(pk=runs[0].pk) == (to_us(at), None)
