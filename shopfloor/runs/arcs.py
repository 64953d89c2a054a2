"""Intake's arcs as the shop reads them: by code of table and torch, from the source that counts."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta

from django.db.models import Q, QuerySet

from shopfloor.models import Table
from shopfloor.runs.matching import ArcInput
from telemetry.counted import counted
from telemetry.models import Arc, Feed, Gap
from telemetry.selectors import arcs_gone_since

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MICROSECOND = timedelta(microseconds=1)
CHUNK = 500  # keys in one query: SQLite's parameter limit is higher, its planner is not


def to_us(moment: datetime) -> int:
    """Integer microseconds since 1970 UTC, exact."""
    return (moment - EPOCH) // MICROSECOND


def from_us(at_us: int) -> datetime:
    return EPOCH + timedelta(microseconds=at_us)


def master_arcs(table: Table) -> QuerySet[Arc]:
    """Arcs that count for a table."""
    return counted(Arc.objects.filter(table=table.code))


def arcs_between(table: Table, start_us: int, end_us: int) -> list[ArcInput]:
    """Arcs that began in [start, end), in order."""
    return _seen(master_arcs(table).filter(on_us__gte=start_us, on_us__lt=end_us))


def arcs_by_key(keys: Sequence[str]) -> list[ArcInput]:
    found: list[ArcInput] = []
    for index in range(0, len(keys), CHUNK):
        found += _seen(Arc.objects.filter(key__in=keys[index : index + CHUNK]))
    return sorted(found, key=lambda arc: (arc.on_us, arc.key))


def arcs_in_range(keys: Iterable[str]) -> set[str]:
    """Which of these keys intake has an arc for."""
    keys = list(keys)
    found: set[str] = set()
    for index in range(0, len(keys), CHUNK):
        found.update(
            Arc.objects.filter(key__in=keys[index : index + CHUNK]).values_list("key", flat=True)
        )
    return found


def arcs_changed(changed_us: int, row_id: int, limit: int) -> list[tuple[int, int, str, int, str]]:
    """(changed_us, id, table, on_us, key) of arcs written after a watermark, in that order."""
    later = Q(changed_us__gt=changed_us) | Q(changed_us=changed_us, pk__gt=row_id)
    return list(
        Arc.objects.filter(later, changed_us__gte=changed_us)
        .order_by("changed_us", "pk")
        .values_list("changed_us", "pk", "table", "on_us", "key")[:limit]
    )


def arcs_gone(changed_us: int, row_id: int, limit: int) -> list[tuple[int, int, str, int, str]]:
    """(changed_us, id, table, on_us, key) of arcs that went after a watermark, in that order."""
    return [
        (row.changed_us, row.pk, row.table, row.on_us, row.key)
        for row in arcs_gone_since(changed_us, row_id, limit)
    ]


def table_listens(table: Table) -> bool:
    """Whether any source is set up for this table; without one its runs are entered by hand."""
    return Feed.objects.filter(table=table.code, enabled=True).exists()


def first_missing_us(table: Table, since_us: int) -> int | None:
    """When the first line of the table's sources since then went missing; None where none did."""
    since = Gap.objects.filter(at_us__gte=since_us)
    gaps = counted(since, at="at_us", heard_at=table.code)
    return gaps.order_by("at_us").values_list("at_us", flat=True).first()


def _seen(arcs: QuerySet[Arc]) -> list[ArcInput]:
    return [
        ArcInput(*row)
        for row in arcs.order_by("on_us", "key").values_list(
            "key", "table", "torch", "on_us", "off_us", "pierces"
        )
    ]
