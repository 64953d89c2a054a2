"""The shop's own settings: its name, zone and rules, its shifts, its reasons."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo, available_timezones

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from planning.calc.dates import dated
from shopfloor.models import Reason, ReasonKind, Run, Shift, Shop, User
from shopfloor.site.breaks import breaks_read
from shopfloor.site.calendar import wall_to_utc
from shopfloor.site.holidays import region_checked
from shopfloor.site.queries import shop_zone, the_shop

# What shops stand still for, and what it counts as (common practice, no source).
USUAL_REASONS = (
    (N_("crane busy"), ReasonKind.STOPPAGE),
    (N_("plate not in"), ReasonKind.STOPPAGE),
    (N_("arc trouble"), ReasonKind.STOPPAGE),
    (N_("slats and slag"), ReasonKind.STOPPAGE),
    (N_("waiting for program"), ReasonKind.STOPPAGE),
    (N_("torch crash"), ReasonKind.CRASH),
    (N_("power lost"), ReasonKind.STOPPAGE),
    (N_("set change"), ReasonKind.CHANGE),
    (N_("break"), ReasonKind.PLANNED),
    (N_("shift change"), ReasonKind.PLANNED),
)
PLANNED = (ReasonKind.PLANNED, ReasonKind.CHANGE)


@transaction.atomic
def shop_set(**values: Any) -> Shop:
    """Changes the shop's one row, or makes it. A change of zone moves how times are shown, never
    the times themselves. With the shop's units everybody changes who read in the former ones."""
    shop = the_shop()
    before = shop.units
    for name, value in values.items():
        setattr(shop, name, value)
    if shop.zone not in available_timezones():
        raise ValidationError(
            {
                "zone": _("{zone!r} is not a time zone such as America/Chicago.").format(
                    zone=shop.zone
                )
            }
        )
    shop.region = region_checked(shop.country, shop.region)
    shop.full_clean()
    shop.save()
    if shop.units != before:
        User.objects.filter(units=before).update(units=shop.units)
    return shop


@transaction.atomic
def shift_add(
    *,
    name: str,
    start: time,
    end: time,
    weekdays: str,
    breaks: str,
    valid_from: date,
    tables: Sequence[str] = (),
) -> Shift:
    """A shift from a date on; one of the same name ends the day before. Shifts of the past stay
    as they were, so that past days keep their dates. `tables`: codes; none: all of them."""
    days = "".join(sorted(set(weekdays)))
    if not days or not set(days) <= set("1234567"):
        raise ValidationError({"weekdays": _("Choose at least one day of the week.")})
    _keeps_the_past(valid_from)
    earlier = Shift.objects.filter(name=name, valid_to=None, added=False)
    if earlier.filter(valid_from__gte=valid_from).exists():
        raise ValidationError(
            {"valid_from": _("{name} has a later beginning already.").format(name=name)}
        )
    earlier.update(valid_to=valid_from - timedelta(days=1))
    return Shift.objects.create(
        name=name,
        start=start,
        end=end,
        weekdays=days,
        breaks=breaks_read(breaks),
        valid_from=valid_from,
        tables=sorted(tables),
    )


def _keeps_the_past(valid_from: date) -> None:
    """Where runs are on record, no shift begins before today: their days would move."""
    today = timezone.localdate(timezone=ZoneInfo(shop_zone()))
    if valid_from >= today:
        return
    since = wall_to_utc(valid_from, time(0), ZoneInfo(shop_zone()))
    until = wall_to_utc(today, time(0), ZoneInfo(shop_zone()))
    if Run.objects.filter(opened_at__gte=since, opened_at__lt=until).exists():
        said = _("Runs are on record since then, and past days keep their calendar: from {today}.")
        raise ValidationError({"valid_from": said.format(today=dated(today))})


@transaction.atomic
def shift_end(*, shift: Shift, last_day: date) -> None:
    """Raises ValidationError where it has ended, or would end before it began."""
    if last_day < shift.valid_from:
        raise ValidationError(_("It cannot end before it began."))
    if shift.valid_to is not None and shift.valid_to <= last_day:
        raise ValidationError(_("It has ended already."))
    shift.valid_to = last_day
    shift.save(update_fields=["valid_to"])


@transaction.atomic
def reason_add(*, label: str, kind: str = ReasonKind.STOPPAGE) -> Reason:
    """A reason operators can give for a stop. A retired one of the same words comes back."""
    code = slugify(label)[:40]
    if not code:
        raise ValidationError({"label": _("A reason needs words.")})
    reason, _made = Reason.objects.update_or_create(
        code=code,
        defaults={"label": label.strip(), "kind": kind, "planned": kind in PLANNED, "active": True},
    )
    return reason


@transaction.atomic
def reason_retire(*, reason: Reason) -> None:
    """No longer offered; what was given it keeps it."""
    reason.active = False
    reason.save(update_fields=["active"])
