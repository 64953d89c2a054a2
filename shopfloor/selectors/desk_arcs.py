"""One stretch of arcs that belongs to no run, found by its first arc."""

from __future__ import annotations

from datetime import timedelta

from shopfloor.models import Table
from shopfloor.selectors.arcs import from_us
from shopfloor.selectors.unassigned import Unassigned, unassigned_clusters
from telemetry.models import Arc

AROUND = timedelta(hours=12)


def arcs_loose(first_key: str) -> Unassigned:
    """The stretch an arc lies in. Raises `LookupError` where there is no such arc or it is not
    loose any more."""
    first = Arc.objects.filter(key=first_key).first()
    if first is None:
        raise LookupError("There is no such arc.")
    table = Table.objects.filter(code=first.table).first()
    if table is None:
        raise LookupError(f"There is no table {first.table!r}.")
    at = from_us(first.on_us)
    for cluster in unassigned_clusters(table, at - AROUND, at + AROUND):
        if first_key in cluster.keys:
            return cluster
    raise LookupError("It has been said already what these arcs belonged to.")
