"""Counting another source's arcs, from a day on."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from shopfloor.audit.actor import acting
from shopfloor.background.request import request_work
from shopfloor.models import Fitting, Table, User
from shopfloor.runs.arcs import from_us, to_us
from shopfloor.runs.follow import stretch_matched
from shopfloor.sources.count_queries import count_begins, day_refused
from telemetry.counted import feed_set_master
from telemetry.models import Arc, Feed

CHUNK = 2000


@transaction.atomic
def source_count_from(*, feed: Feed, day: date, by: User, now: datetime) -> None:
    """Of the sources that watch the same torch, this one's arcs count from a day of the shop on.
    What was before stays. Raises ValidationError for a day of a closed month or one to come."""
    if refused := day_refused(feed.table, day, now):
        raise ValidationError(refused)
    begin = count_begins(feed.table, day)
    with acting(f"user:{by.get_username()}", why=_("counts from {day}").format(day=day)):
        feed_set_master(feed=feed, from_us=to_us(begin))
        request_work(kind="recount", key=f"{feed.table} {to_us(begin)}")


def table_recount(*, key: str, payload: dict[str, Any]) -> None:
    """Work kind "recount", key "TABLE MICROSECONDS": matches the table's arcs to runs again from a
    moment on, and asks for the figures of the pieces that were in its torches. Harmless to
    repeat."""
    code, _, begin_us = key.rpartition(" ")
    table = Table.objects.get(code=code)
    arcs = Arc.objects.filter(table=code, on_us__gte=int(begin_us)).order_by("on_us")
    moments = list(arcs.values_list("on_us", flat=True).distinct())
    for at in range(0, len(moments), CHUNK):
        stretch_matched(table, moments[at : at + CHUNK])
    stays = Fitting.objects.filter(torch__table=table)
    since = stays.filter(Q(removed_at=None) | Q(removed_at__gt=from_us(int(begin_us))))
    for piece in since.values_list("piece", flat=True).distinct():
        request_work(kind="piece", key=str(piece))
