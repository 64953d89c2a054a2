"""Counts a person enters for a time no source was heard, and the lines that replace them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from shopfloor.audit.actor import acting
from shopfloor.background.request import request_work
from shopfloor.models import EnteredCount, Fitting, Segment, Table, Torch, User
from shopfloor.runs.arcs import arcs_between, from_us, to_us


@transaction.atomic
def counts_enter(
    *,
    torch: Torch,
    started_at: datetime,
    ended_at: datetime,
    starts: int,
    arc_s: float,
    by: User,
    now: datetime,
    why: str = "",
) -> EnteredCount:
    """Keeps what somebody says was burnt. Raises ValidationError where it cannot be, where arcs
    were heard in that time, or where it was entered already."""
    if not started_at < ended_at <= now:
        raise ValidationError(
            {"ended_at": _("It must end after it begins, and not later than now.")}
        )
    if not 0 <= arc_s <= (ended_at - started_at).total_seconds():
        raise ValidationError({"minutes": _("More burning than there was time.")})
    Torch.objects.select_for_update(no_key=True).get(pk=torch.pk)  # of two at once one counts
    if _heard(torch, started_at, ended_at):
        raise ValidationError(_("Arcs were heard in that time: they count, nothing is to enter."))
    taken = EnteredCount.objects.filter(torch=torch, started_at__lt=ended_at)
    if taken.filter(ended_at__gt=started_at).exists():
        raise ValidationError(_("Something is entered for a part of that time already."))
    with acting(f"user:{by.get_username()}", why=why):
        made = EnteredCount.objects.create(
            torch=torch, started_at=started_at, ended_at=ended_at, starts=starts, arc_s=arc_s,
            by=by, at=now, why=why,
        )  # fmt: skip
    _figures_wanted(made)
    return made


@transaction.atomic
def counts_take_back(*, entered: EnteredCount, by: User) -> None:
    """Takes an entry back; the trail keeps it."""
    with acting(f"user:{by.get_username()}", why=_("taken back")):
        _figures_wanted(entered)
        entered.delete()


def counts_replaced(*, table: Table, moments_us: Sequence[int], now: datetime) -> None:
    """After arcs of these moments came, changed or went: what was entered for their time gives
    way to them, or stands again where none are left."""
    rows = EnteredCount.objects.filter(torch__table=table).select_related("torch__table")
    rows = rows.filter(
        started_at__lte=from_us(max(moments_us)), ended_at__gt=from_us(min(moments_us))
    )
    for row in rows:
        heard = _heard(row.torch, row.started_at, row.ended_at)
        starts = len(heard) or None
        arc_s = sum(heard) / 1e6 if heard else None
        if (row.measured_starts, row.measured_arc_s) == (starts, arc_s):
            continue
        row.measured_starts, row.measured_arc_s = starts, arc_s
        row.replaced_at = (row.replaced_at or now) if heard else None
        row.save(update_fields=["measured_starts", "measured_arc_s", "replaced_at"])
        _figures_wanted(row)


def _heard(torch: Torch, start: datetime, end: datetime) -> list[int]:
    """Microseconds of each arc that counts for this torch and began in the time."""
    arcs = arcs_between(torch.table, to_us(start), to_us(end))
    return [(arc.off_us or arc.on_us) - arc.on_us for arc in arcs if arc.torch == torch.code]


def _figures_wanted(entered: EnteredCount) -> None:
    """Of the pieces that were in the torch then, and of the runs it was on."""
    stays = Fitting.objects.filter(torch=entered.torch, fitted_at__lt=entered.ended_at)
    stays = stays.filter(Q(removed_at=None) | Q(removed_at__gt=entered.started_at))
    for piece in stays.values_list("piece", flat=True).distinct():
        request_work(kind="piece", key=str(piece))
    runs = Segment.objects.filter(torch=entered.torch, started_at__lt=entered.ended_at)
    runs = runs.filter(Q(ended_at=None) | Q(ended_at__gt=entered.started_at))
    for run in runs.values_list("run", flat=True).distinct():
        request_work(kind="run", key=str(run))
