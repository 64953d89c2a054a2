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

from planning.calc.dates import dated, timed
from shopfloor.models import Absence, ClosedDay, Run, Shift, Table, TableDown, User
from shopfloor.site.breaks import breaks_read
from shopfloor.site.calendar import span_of, unset_dates, wall_to_utc
from shopfloor.site.holidays import Holiday
from shopfloor.site.queries import shift_patterns, shop_zone

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
    """A table cannot cut from `start` (None: now) until an end. Where it is down then already, as
    planned or not as this, that row gets the new end and reason; what passed of it stays. Rows
    never overlap: the newest holds in its time, and others keep what is left of theirs. Raises
    ValidationError for an end that is not after the start, and for a start in the past."""
    now = timezone.now()
    begun = start or now
    if begun < now - timedelta(minutes=1):
        raise ValidationError({"start": _("It cannot begin in the past.")})
    if not timedelta() < until - begun <= LONGEST:
        raise ValidationError({"until": _("Give an end after its start, within a year.")})
    Table.objects.select_for_update().get(pk=table.pk)
    rows = TableDown.objects.filter(table=table, started_at__lte=begun, ended_at__gt=begun)
    standing = rows.filter(planned=planned).first()
    for other in TableDown.objects.filter(table=table, started_at__lt=until, ended_at__gt=begun):
        if other != standing:
            _make_room(other, begun, until)
    if standing is not None:
        standing.ended_at, standing.why = until, why.strip() or standing.why
        standing.save(update_fields=["ended_at", "why"])
        return standing
    return TableDown.objects.create(
        table=table, started_at=begun, ended_at=until, planned=planned, why=why.strip()
    )


def _make_room(other: TableDown, begun: datetime, until: datetime) -> None:
    """Takes [begun, until) out of a row that overlaps it."""
    before, after = other.started_at < begun, other.ended_at > until
    if before and after:
        TableDown.objects.create(
            table=other.table, started_at=until, ended_at=other.ended_at,
            planned=other.planned, why=other.why,
        )  # fmt: skip
    if before:
        other.ended_at = begun
    elif after:
        other.started_at = until
    else:
        other.delete()
        return
    other.save(update_fields=["started_at", "ended_at"])


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
    """Overtime: a shift on one day, today or to come, closed or not; not from before now where
    runs are on record since."""
    if day < shop_today():
        raise ValidationError({"day": _("Past days keep the calendar they had.")})
    _keeps_the_hours(day, start)
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


def _keeps_the_hours(day: date, start: time) -> None:
    """What runs took of today between its shifts is booked as it was."""
    now, zone = timezone.now(), ZoneInfo(shop_zone())
    begun = wall_to_utc(day, start, zone)
    on_record = Run.objects.filter(opened_at__lt=now).exclude(closed_at__lte=begun)
    if begun < now and on_record.exists():
        said = _("Runs are on record since then: begin it at {now} or later.")
        raise ValidationError({"start": said.format(now=timed(now.astimezone(zone)))})


@transaction.atomic
def absence_add(
    *,
    person: User,
    first: date,
    last: date,
    reason: str,
    tables: Sequence[str],
    shift: str = "",
    stand_in: User | None = None,
) -> Absence:
    """Somebody is missing on these start dates of shifts. Today counts as to come until the first
    of the shifts concerned begins: what of it has passed keeps its calendar."""
    if not first <= last <= first + LONGEST:
        raise ValidationError({"last": _("Give a last day from the first on, within a year.")})
    if not tables:
        raise ValidationError({"tables": _("Name the tables that this leaves without anybody.")})
    if shift and shift not in {one.name for one in shift_patterns()}:
        raise ValidationError({"shift": _("There is no shift {name}.").format(name=shift)})
    if stand_in == person:
        raise ValidationError({"stand_in": _("Nobody stands in for themselves.")})
    _not_begun(first, shift, tables)
    if len(unset_dates(shift_patterns(), first, last)) > (last - first).days:
        raise ValidationError({"first": _("No shift is set for these days: put the table down.")})
    _not_missing_yet(person, first, last, shift, tables)
    return Absence.objects.create(
        person=person, first=first, last=last, reason=reason, tables=sorted(tables), shift=shift,
        stand_in=stand_in,
    )  # fmt: skip


def _not_begun(first: date, name: str, tables: Sequence[str]) -> None:
    if first < shop_today():
        raise ValidationError({"first": _("Past days keep the calendar they had.")})
    now, zone = timezone.now(), ZoneInfo(shop_zone())
    spans = [span_of(pattern, first, zone) for pattern in shift_patterns()]
    begun = [
        one for one in spans
        if one and one.start <= now and name in ("", one.name)
        and any(one.at_table(table) for table in tables)
    ]  # fmt: skip
    if begun:
        said = _("{shift} has begun: put the table down from now on, or begin tomorrow.")
        raise ValidationError({"first": said.format(shift=begun[0].name)})


def _not_missing_yet(
    person: User, first: date, last: date, name: str, tables: Sequence[str]
) -> None:
    """Of two rows of one person one could have a stand-in and the other none: nobody would see why
    the table does not run."""
    User.objects.select_for_update().get(pk=person.pk)  # two entries at once wait for each other
    for one in Absence.objects.filter(person=person, first__lte=last, last__gte=first):
        if set(tables) & set(one.tables) and (name in ("", one.shift) or not one.shift):
            said = _("{name} is missing then already, from {first} to {last}: end that one first.")
            told = said.format(name=person.shown_name, first=dated(one.first), last=dated(one.last))
            raise ValidationError({"person": told})


@transaction.atomic
def absence_end(*, absence: Absence) -> None:
    """Back from tomorrow on; one that has not begun is taken away. The trail keeps it."""
    today = shop_today()
    if absence.last <= today:
        raise ValidationError(_("It is over already."))
    if absence.first > today:
        absence.delete()
        return
    absence.last = today
    absence.save(update_fields=["last"])


@transaction.atomic
def shift_dropped(*, shift: Shift) -> None:
    """An added shift that is not held after all; only before its day."""
    if not shift.added:
        raise ValidationError(_("A regular shift ends on a day; it is not taken away."))
    _to_come(shift.valid_from)
    shift.delete()
