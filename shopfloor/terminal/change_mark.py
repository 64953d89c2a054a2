"""Whether anything the screens show can have changed: a handful of look-ups in place of reading
it all every second or two."""

from __future__ import annotations

import hashlib
from datetime import datetime
from typing import Any

from django.db.models import Max

from shopfloor.models import Action, ArcAssignment, Change, Table, Terminal, User, Watermark
from telemetry.models import Arc


def mark_of(*, table: Table, terminal: Terminal, person: User, now: datetime) -> str:
    """Changes with every audited write, every entry of this screen, every arc, whatever matching
    did with arcs, and with the minute: what planning publishes is at most that old."""
    parts: tuple[Any, ...] = (
        table.pk,
        person.pk,
        now.strftime("%Y-%m-%dT%H:%M"),
        Change.objects.aggregate(newest=Max("pk"))["newest"],
        Action.objects.filter(terminal=terminal).order_by("-at").values_list("pk", "state").first(),
        Arc.objects.aggregate(newest=Max("changed_us"))["newest"],
        ArcAssignment.objects.aggregate(newest=Max("pk"))["newest"],
        sorted(Watermark.objects.values_list("name", "changed_us", "row_id")),
    )
    return hashlib.sha256(repr(parts).encode()).hexdigest()[:16]
