"""Closing a month: from then on it is read as it was printed, and nothing is posted into it."""

from __future__ import annotations

from datetime import date, datetime

from django.db import transaction
from django.utils.translation import gettext as _

from planning.calc import dates
from planning.reports.cost import month_now
from planning.reports.printed import postings_print, to_print
from planning.reports.squareness import square_now
from planning.reports.squareness import to_print as square_to_print
from planning.reports.summaries import MONTH
from planning.services.postings import next_month
from shopfloor.audit.actor import acting
from shopfloor.models import Month, Summary, User, Work
from shopfloor.site.queries import shift_date_of


class MonthError(ValueError):
    """A month that cannot be closed, or opened again; the message is for the person asking."""


@transaction.atomic
def month_close(*, first_day: date, by: User, now: datetime) -> Month:
    """Closes a month for good. Months close in order, when their shift dates are over (so not while
    the night that began on the last of them goes on, nor at midnight in UTC), once
    nothing that would change them waits to be worked out. Runs still unfinished do not hold it:
    what they cost is posted later and says which month it belongs to."""
    month = Month.objects.select_for_update().filter(first_day=first_day).first()
    if first_day.day != 1:
        raise MonthError(
            _("{first_day} is not the first day of a month.").format(first_day=first_day)
        )
    if month is None:
        raise MonthError(
            _("Nothing was posted in {first_day}.").format(
                first_day=dates.dated(first_day, dates.MONTH)
            )
        )
    if month.closed_at is not None:
        raise MonthError(
            _("{first_day} is closed already.").format(
                first_day=dates.dated(first_day, dates.MONTH)
            )
        )
    if Month.objects.filter(first_day__lt=first_day, closed_at=None).exists():
        raise MonthError(_("An earlier month is still open: close that one first."))
    if shift_date_of(now) < next_month(first_day):
        raise MonthError(
            _("{first_day} is not over yet.").format(first_day=dates.dated(first_day, dates.MONTH))
        )
    if Work.objects.filter(kind__in=("run", "piece", "line"), state="waiting").exists():
        raise MonthError(_("Figures are still being worked out: try again in a moment."))
    with acting(
        f"user:{by.username}",
        why=_("month {first_day} closed").format(first_day=dates.dated(first_day, dates.MONTH)),
    ):
        month.printed = to_print(month_now(month)) | {
            "squareness": square_to_print(square_now(first_day)),
            "postings": postings_print(month),
        }
        month.closed_at, month.closed_by = now, by
        month.save(update_fields=["printed", "closed_at", "closed_by"])
        Summary.objects.filter(kind=MONTH, key=first_day.isoformat()).delete()
    return month
