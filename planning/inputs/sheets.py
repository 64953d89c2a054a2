"""The sheets runs were burnt on, what is left of them, and who else burnt on them."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterable, Sequence

from django.db.models import Sum

from planning.inputs.chunks import chunked, in_chunks
from planning.inputs.types import SheetIn
from shopfloor.models import Contour, Run, RunState, Sheet


def sheets_of(sheets: Iterable[Sheet]) -> dict[int, SheetIn]:
    """Sheets by id, in at most three queries."""
    rows = {sheet.pk: sheet for sheet in sheets}
    left: dict[int, list[tuple[float, int | None]]] = defaultdict(list)
    found = chunked(
        sorted(rows),
        lambda some: (
            Sheet.objects.filter(parent__in=some)
            .order_by("pk")
            .values_list("parent_id", "area_mm2", "cost_minor")
        ),
    )
    for parent, area, cost in found:
        left[parent].append((area, cost))
    burnt = _burnt_on(sorted(rows))
    return {
        pk: SheetIn(
            pk,
            sheet.cost_minor,
            sheet.owner_id is not None,
            sheet.area_mm2,
            tuple(left.get(pk, ())),
            tuple(burnt.get(pk, ())),
        )
        for pk, sheet in rows.items()
    }


def _burnt_on(sheets: Sequence[int]) -> dict[int, list[tuple[uuid.UUID, float]]]:
    """The runs on each sheet that count, with their net area. Areas only where it matters."""
    on_sheet: dict[int, list[tuple[uuid.UUID, int]]] = defaultdict(list)
    rows = chunked(
        sheets,
        lambda some: (
            Run.objects.filter(sheet__in=some)
            .exclude(state=RunState.VOIDED)
            .order_by("opened_at", "pk")
            .values_list("sheet_id", "pk", "revision_id")
        ),
    )
    for sheet, run, revision in rows:
        on_sheet[sheet].append((run, revision))
    shared = {revision for own in on_sheet.values() if len(own) > 1 for _, revision in own}
    areas: dict[int, float] = {}
    for some in in_chunks(sorted(shared)):
        sums = Contour.objects.filter(revision__in=some).values("revision")
        areas.update(
            sums.annotate(area=Sum("net_area_mm2")).values_list("revision", "area").order_by()
        )
    return {
        sheet: [(run, areas.get(revision) or 0.0) for run, revision in own]
        for sheet, own in on_sheet.items()
    }
