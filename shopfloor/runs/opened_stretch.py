"""One stretch of arcs that belongs to no run, found by one of its arcs; whole, or a part of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from django.utils.translation import gettext as _

from shopfloor.models import Table
from shopfloor.runs.arcs import arcs_by_key, from_us
from shopfloor.runs.matching import Cluster
from shopfloor.runs.unassigned import Unassigned, suggestions_for, unassigned_clusters
from telemetry.models import Arc

AROUND = timedelta(hours=12)
PAUSE_S = 60.0  # our assumption: a shorter one is travel or a slug knocked out, not a change of job
PAUSES_MOST = 40


@dataclass(frozen=True, slots=True)
class Pause:
    """Nothing burnt between two arcs of a stretch: here it can be split. `before` and `after` are
    how many arcs lie on either side, `first_key` the arc the second part begins with."""

    ended_at: datetime
    seconds: float
    before: int
    after: int
    first_key: str


def unassigned_stretch(first_key: str, arcs: int | None = None) -> Unassigned:
    """The stretch an arc lies in; with `arcs`, so many of it from that arc on. Raises
    `LookupError` where there is no such arc or it is not loose any more."""
    whole = _stretch(first_key)
    if arcs is None:
        return whole
    at = whole.keys.index(first_key)
    keys = whole.keys[at : at + max(arcs, 1)]
    if keys == whole.keys:
        return whole
    seen = arcs_by_key(keys)
    ends = max(arc.off_us or arc.on_us for arc in seen)
    arc_s = sum(arc.seconds or 0.0 for arc in seen)
    cluster = Cluster(whole.table, whole.torch, keys, seen[0].on_us, ends, arc_s)
    table = Table.objects.get(code=whole.table)
    return replace(
        whole,
        start=from_us(cluster.start_us),
        end=from_us(ends),
        arcs=len(keys),
        arc_s=arc_s,
        keys=keys,
        suggestions=suggestions_for(table, cluster, whole.programs),
    )


def pauses(loose: Unassigned) -> list[Pause]:
    """Where nothing burnt for a minute or more within a stretch, in order; the longest where there
    are very many."""
    seen = arcs_by_key(loose.keys)
    found, reached = [], seen[0].off_us or seen[0].on_us
    for place, arc in enumerate(seen):
        idle_s = (arc.on_us - reached) / 1e6
        if place and idle_s >= PAUSE_S:
            found.append(Pause(from_us(reached), idle_s, place, len(seen) - place, arc.key))
        reached = max(reached, arc.off_us or arc.on_us)
    longest = sorted(found, key=lambda one: -one.seconds)[:PAUSES_MOST]
    return sorted(longest, key=lambda one: one.before)


def _stretch(first_key: str) -> Unassigned:
    first = Arc.objects.filter(key=first_key).first()
    if first is None:
        raise LookupError(_("There is no such arc."))
    table = Table.objects.filter(code=first.table).first()
    if table is None:
        raise LookupError(_("There is no table {table!r}.").format(table=first.table))
    at = from_us(first.on_us)
    found = unassigned_clusters(table, at - AROUND, at + AROUND, holding=first_key)
    if not found:
        raise LookupError(_("It has been said already what these arcs belonged to."))
    return found[0]
