"""The cut chart, sets and rates as the office reads them."""

from __future__ import annotations

from datetime import date

from django.db.models import Count, Prefetch, Q, QuerySet

from shopfloor.models import ChartRow, Material, Piece, Rate, SetPart, Tray, WearSet


def chart_rows(
    *, wear_set: int | None = None, material: int | None = None, ended: bool = False
) -> QuerySet[ChartRow]:
    """Rows in force, or with `ended` those that no longer are, by set, material, thickness."""
    rows = ChartRow.objects.select_related("wear_set", "material").filter(
        valid_to__isnull=not ended
    )
    if wear_set is not None:
        rows = rows.filter(wear_set=wear_set)
    if material is not None:
        rows = rows.filter(material=material)
    return rows.order_by("wear_set__current_a", "material__code", "thickness_mm", "-valid_from")


def sets_list() -> QuerySet[WearSet]:
    """Sets with how many chart rows and parts each has."""
    return WearSet.objects.annotate(
        rows=Count("chart_rows", filter=Q(chart_rows__valid_to=None), distinct=True),
        part_count=Count("parts", distinct=True),
    ).order_by("current_a")


def set_parts(wear_set: WearSet) -> QuerySet[SetPart]:
    return wear_set.parts.order_by("kind")


def trays_of(wear_set: WearSet) -> QuerySet[Tray]:
    pieces = Prefetch("pieces", Piece.objects.order_by("part__kind", "label"))
    return wear_set.trays.prefetch_related(pieces).order_by("label")


def materials_list() -> QuerySet[Material]:
    return Material.objects.annotate(
        rows=Count("chart_rows", filter=Q(chart_rows__valid_to=None), distinct=True)
    )


def rates_list(*, wages: bool, today: date) -> list[tuple[Rate, bool]]:
    """Every rate with whether it is in force today; wages only where the reader may see them."""
    rates = Rate.objects.select_related("table").order_by("kind", "table__name", "-valid_from")
    if not wages:
        rates = rates.exclude(kind__in=WAGES)
    seen: set[tuple[str, int | None]] = set()
    rows = []
    for rate in rates:
        key = (rate.kind, rate.table_id)
        now = rate.valid_from <= today and key not in seen
        if now:
            seen.add(key)
        rows.append((rate, now))
    return rows


WAGES = ("labour", "bench")
