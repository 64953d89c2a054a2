"""What changes the calendar: closed days, tables down, added shifts. Only time to come changes, so
that past days keep the calendar they had."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from planning.calc.dates import dated
from shopfloor.models import ClosedDay, Shift, Table, TableDown
from shopfloor.site.breaks import breaks_read
from shopfloor.site.holidays import Holiday
from shopfloor.site.queries import shop_zone

LONGEST: Final = timedelta(days=366)
MISTAKE: Final = timedelta(hours=1)  # so long a table put down by mistake can be taken back


def shop_today(now: datetime | None = None) -> date:
    return (now or timezone.now()).astimezone(ZoneInfo(shop_zone())).date()


def _to_come(day: date) -> None:
    today = shop_today()
    if day <= today:
        said = _("{day} is not to come: past days and today keep their calendar.")
        raise ValidationError({"day": said.format(day=dated(day))})


@transaction.atomic
def day_close(*, day: date, why: str) -> ClosedDay:
    """No regular shift begins on a day to come. A day closed already gets the new reason."""
    _to_come(day)
    closed, _made = ClosedDay.objects.update_or_create(day=day, defaults={"why": why.strip()})
    return closed


@transaction.atomic
def days_close(holidays: Iterable[Holiday]) -> int:
    return len([day_close(day=one.day, why=one.name[:80]) for one in holidays])


@transaction.atomic
def day_open(*, closed: ClosedDay) -> None:
    """Its regular shifts are held after all."""
    _to_come(closed.day)
    closed.delete()


@transaction.atomic
def table_down(
    *,
    table: Table,
    until: datetime,
    start: datetime | None = None,
    planned: bool = False,
    why: str = "",
) -> TableDown:
    """A table cannot cut from `start` (None: now) until an end. Where it is down then already, that
    row gets the new end and reason; what passed of it stays. Raises ValidationError for an end
    that is not after the start, and for a start in the past."""
    now = timezone.now()
    begun = start or now
    if begun < now - timedelta(minutes=1):
        raise ValidationError({"start": _("It cannot begin in the past.")})
    if not timedelta() < until - begun <= LONGEST:
        raise ValidationError({"until": _("Give an end after its start, within a year.")})
    Table.objects.select_for_update().get(pk=table.pk)
    rows = TableDown.objects.filter(table=table, started_at__lte=begun, ended_at__gt=begun)
    if (standing := rows.first()) is not None and standing.planned == planned:
        standing.ended_at, standing.why = until, why.strip() or standing.why
        standing.save(update_fields=["ended_at", "why"])
        return standing
    rows.update(ended_at=begun)
    return TableDown.objects.create(
        table=table, started_at=begun, ended_at=until, planned=planned, why=why.strip()
    )


@transaction.atomic
def table_up(*, down: TableDown, mistake: bool = False) -> None:
    """The table cuts again from now on; one that has not begun, or was put down by mistake within
    the last hour, is taken away whole. The trail keeps it."""
    now = timezone.now()
    down = TableDown.objects.select_for_update().get(pk=down.pk)
    if down.ended_at <= now:
        raise ValidationError(_("It is over already."))
    if mistake and now - down.started_at > MISTAKE:
        raise ValidationError(_("It was put down over an hour ago: say that it is up again."))
    if mistake or down.started_at >= now:
        down.delete()
        return
    down.ended_at = now
    down.save(update_fields=["ended_at"])


@transaction.atomic
def shift_added(
    *, day: date, name: str, start: time, end: time, breaks: str = "", tables: Sequence[str] = ()
) -> Shift:
    """Overtime: a shift on one day, today or to come, closed or not."""
    if day < shop_today():
        raise ValidationError({"day": _("Past days keep the calendar they had.")})
    if Shift.objects.filter(added=True, valid_from=day, name=name).exists():
        raise ValidationError({"name": _("{name} is added on this day.").format(name=name)})
    return Shift.objects.create(
        name=name,
        start=start,
        end=end,
        weekdays=str(day.isoweekday()),
        breaks=breaks_read(breaks),
        tables=sorted(tables),
        valid_from=day,
        valid_to=day,
        added=True,
    )


@transaction.atomic
def shift_dropped(*, shift: Shift) -> None:
    """An added shift that is not held after all; only before its day."""
    if not shift.added:
        raise ValidationError(_("A regular shift ends on a day; it is not taken away."))
    _to_come(shift.valid_from)
    shift.delete()
