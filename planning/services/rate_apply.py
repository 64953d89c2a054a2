"""A rate dated back, applied to what was booked since its day. Work kind "rate", key: rate id."""

from __future__ import annotations

from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from planning.inputs.chunks import in_chunks
from planning.services.line_figures import lines_write
from planning.services.run_figures import runs_write
from shopfloor.books.rates import bench_since, runs_since
from shopfloor.models import Rate, RateKind, Run, User

WHY = {
    RateKind.MACHINE: N_("machine rate from {day}"),
    RateKind.LABOUR: N_("operator rate from {day}"),
    RateKind.BENCH: N_("bench rate from {day}"),
    RateKind.GAS: N_("gas rate from {day}"),
    RateKind.ENERGY: N_("energy rate from {day}"),
}


@transaction.atomic
def rate_apply(*, key: str, payload: dict[str, Any]) -> None:
    """Works all of it out again at once: the differences are entries that name who asked. Harmless
    to repeat."""
    rate = Rate.objects.select_related("table").get(pk=int(key))
    by = User.objects.filter(pk=payload.get("by") or 0).first()
    why = _(WHY[RateKind(rate.kind)]).format(day=rate.valid_from.isoformat())
    if rate.kind == RateKind.BENCH:
        lines = set(bench_since(rate.valid_from).values_list("line_id", flat=True))
        lines_write(lines, by=by, why=why)
        return
    ids = list(runs_since(rate.valid_from, rate.table).values_list("pk", flat=True))
    for some in in_chunks(ids):
        runs_write(Run.objects.filter(pk__in=some), now=timezone.now(), by=by, why=why)
