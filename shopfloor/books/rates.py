"""Rates from a day on. A new one ends what held before it; only one that begins today or later is
corrected."""

from __future__ import annotations

from datetime import date, time
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from shopfloor.audit.actor import acting, current_who
from shopfloor.background.request import request_work
from shopfloor.chart.replan import plan_again
from shopfloor.models import BenchEntry, Nest, Rate, RateKind, Run, RunState, Table, User
from shopfloor.site.calendar import wall_to_utc
from shopfloor.site.queries import shift_date_of, shop_zone
from shopfloor.wording.counts import count


@transaction.atomic
def rate_set(
    *,
    kind: str,
    amount_minor: int,
    valid_from: date,
    table: Table | None = None,
    note: str = "",
    apply: bool = False,
    by: User | None = None,
) -> Rate:
    """A rate from a day on. One that began earlier stays on record before that day; one of the
    same day is refused, since runs may have been planned with it. Where something of that day or
    later is booked already, it is refused too, unless `apply` says that all of it is to be worked
    out again: in the background, by entries that name `by`."""
    if kind not in RateKind.values:
        raise ValidationError(_("Unknown rate {kind!r}.").format(kind=kind))
    if amount_minor < 0:
        raise ValidationError(_("A rate is not negative."))
    if Rate.objects.filter(kind=kind, table=table, valid_from=valid_from).exists():
        raise ValidationError(_("There is a rate from that day already; begin the new one later."))
    booked = booked_since(kind, valid_from, table)
    if booked and not apply:
        raise ValidationError(
            {
                "valid_from": _(
                    "{booked} since then booked already. Begin it later, or say that it "
                    "applies to them too."
                ).format(booked=booked)
            }
        )
    rate = Rate(
        kind=kind, table=table, amount_minor=amount_minor, valid_from=valid_from, note=note.strip()
    )
    rate.full_clean()
    rate.save()
    plan_again(set(Nest.objects.values_list("material", flat=True)))
    if booked:
        who = by.pk if by else None
        request_work(kind="rate", key=str(rate.pk), payload={"by": who})
    return rate


def booked_since(kind: str, day: date, table: Table | None) -> str:
    """In words, what a rate from that day on would change; blank: nothing."""
    if kind == RateKind.BENCH:
        entries = bench_since(day).count()
        return (
            f"{count(entries, '{n} bench entry', '{n} bench entries')} {_is(entries)}"
            if entries
            else ""
        )
    runs = runs_since(day, table).count()
    return f"{count(runs, '{n} run', '{n} runs')} {_is(runs)}" if runs else ""


def runs_since(day: date, table: Table | None) -> QuerySet[Run]:
    """Finished runs with time on that shift date or a later one."""
    runs = Run.objects.filter(state=RunState.FINISHED, days__shift_date__gte=day)
    return (runs.filter(table=table) if table else runs).distinct()


def bench_since(day: date) -> QuerySet[BenchEntry]:
    return BenchEntry.objects.filter(at__gte=wall_to_utc(day, time(0), ZoneInfo(shop_zone())))


def _is(number: int) -> str:
    return "is" if number == 1 else "are"


@transaction.atomic
def rate_correct(*, rate: Rate, amount_minor: int, why: str, by: User | None = None) -> None:
    """Another amount for a rate that begins today or later; the reason and the amount before stay
    on the audit trail. What is booked with it is worked out again, by entries that name `by`. An
    older rate is followed by another instead."""
    today = min(shift_date_of(timezone.now()), timezone.localdate())
    if rate.valid_from < today:
        raise ValidationError(_("Days are booked at that rate already; begin a new one instead."))
    if amount_minor < 0:
        raise ValidationError({"amount": _("A rate is not negative.")})
    if not why.strip():
        raise ValidationError({"why": _("Say why: it stays beside the change.")})
    with acting(current_who(), why=why):
        rate.amount_minor = amount_minor
        rate.save(update_fields=["amount_minor"])
    plan_again(set(Nest.objects.values_list("material", flat=True)))
    if booked_since(rate.kind, rate.valid_from, rate.table):
        request_work(kind="rate", key=str(rate.pk), payload={"by": by.pk if by else None})
