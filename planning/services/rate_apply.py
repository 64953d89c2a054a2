"""A rate dated back, applied to what was booked since its day. Work kind "rate", key: rate id."""

from __future__ import annotations

from typing import Any

from django.db import transaction
from django.utils import timezone

from planning.inputs.chunks import in_chunks
from planning.services.line_figures import lines_write
from planning.services.run_figures import runs_write
from shopfloor.books.rates import bench_since, runs_since
from shopfloor.models import Rate, RateKind, Run, User


@transaction.atomic
def rate_apply(*, key: str, payload: dict[str, Any]) -> None:
    """Works all of it out again at once: the differences are entries that name who asked. Harmless
    to repeat."""
    rate = Rate.objects.select_related("table").get(pk=int(key))
    by = User.objects.filter(pk=payload.get("by") or 0).first()
    why = f"{RateKind(rate.kind).label.split(',')[0]} rate from {rate.valid_from:%Y-%m-%d}"
    if rate.kind == RateKind.BENCH:
        lines = set(bench_since(rate.valid_from).values_list("line_id", flat=True))
        lines_write(lines, by=by, why=why)
        return
    ids = list(runs_since(rate.valid_from, rate.table).values_list("pk", flat=True))
    for some in in_chunks(ids):
        runs_write(Run.objects.filter(pk__in=some), now=timezone.now(), by=by, why=why)
