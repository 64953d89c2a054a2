"""The shop's own settings: its name, zone and rules, its shifts, its reasons."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, time, timedelta
from typing import Any
from zoneinfo import available_timezones

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from shopfloor.models import Reason, ReasonKind, Shift, Shop, User
from shopfloor.site.queries import the_shop

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
        raise ValidationError({"weekdays": _("Digits 1 (Monday) to 7 (Sunday), such as 12345.")})
    earlier = Shift.objects.filter(name=name, valid_to=None)
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
        breaks=_breaks(breaks),
        valid_from=valid_from,
        tables=sorted(tables),
    )


@transaction.atomic
def shift_end(*, shift: Shift, last_day: date) -> None:
    if last_day < shift.valid_from:
        raise ValidationError(_("It cannot end before it began."))
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


def _breaks(text: str) -> list[list[object]]:
    """One a line: `10:00 15 break`."""
    found: list[list[object]] = []
    for line in filter(None, (line.strip() for line in text.splitlines())):
        parts = line.split(maxsplit=2)
        try:
            at, minutes = time.fromisoformat(parts[0]), int(parts[1])
        except (ValueError, IndexError):
            raise ValidationError(
                {
                    "breaks": _(
                        "{line!r}: give start, minutes and a word, such as 10:00 15 break."
                    ).format(line=line)
                }
            ) from None
        if not 0 < minutes <= 240:
            raise ValidationError({"breaks": _("{line!r}: 1 to 240 minutes.").format(line=line)})
        found.append([f"{at:%H:%M}", minutes, parts[2] if len(parts) > 2 else "break"])
    return found
