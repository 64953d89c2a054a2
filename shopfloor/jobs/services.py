"""Writing jobs and their lines."""

from __future__ import annotations

from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from shopfloor.chart.thickness import thickness_of
from shopfloor.models import Customer, Job, JobLine, JobState, Material
from shopfloor.wording.names import first_named

NEXT_STEPS = ("", "weld", "bend", "machine", "coat", "ship")


def customer_named(*, name: str) -> Customer:
    """The customer of that name, whatever the case; made where there is none."""
    name = " ".join(name.split())
    found = first_named(Customer.objects.all(), "name", name)
    if found:
        return found
    customer = Customer(name=name)
    customer.full_clean()
    customer.save()
    return customer


@transaction.atomic
def job_add(
    *,
    number: str,
    customer: str,
    title: str,
    due_at: datetime | None = None,
    quote_minor: int | None = None,
    weight: int = 1,
    source: str = "",
) -> Job:
    job = Job(
        number=number.strip(),
        customer=customer_named(name=customer),
        title=title.strip(),
        due_at=due_at,
        quote_minor=quote_minor,
        weight=weight,
        source=source[:200],
    )
    job.full_clean()
    job.save()
    return job


@transaction.atomic
def job_edit(
    *, job: Job, customer: str, title: str, due_at: datetime | None, weight: int = 1
) -> None:
    job.customer = customer_named(name=customer)
    job.title, job.due_at, job.weight = title.strip(), due_at, weight
    job.full_clean()
    job.save(update_fields=["customer", "title", "due_at", "weight"])


@transaction.atomic
def job_quote(*, job: Job, quote_minor: int | None) -> None:
    """What was quoted, in minor units of the shop's currency; None: not quoted."""
    job.quote_minor = quote_minor
    job.full_clean()
    job.save(update_fields=["quote_minor"])


@transaction.atomic
def job_hold(*, job: Job, reason: str) -> None:
    if job.state == JobState.CLOSED:
        raise ValidationError(_("A closed job cannot be held: open it again first."))
    if not reason.strip():
        raise ValidationError(_("Say what it waits for."))
    job.state, job.hold_reason = JobState.HELD, reason.strip()[:120]
    job.save(update_fields=["state", "hold_reason"])


@transaction.atomic
def job_open(*, job: Job) -> None:
    """Ends a hold, or opens a closed job again."""
    job.state, job.hold_reason, job.closed_at = JobState.OPEN, "", None
    job.save(update_fields=["state", "hold_reason", "closed_at"])


@transaction.atomic
def job_close(*, job: Job, closed_at: datetime | None = None) -> None:
    """Closes a job, short or not: what is owed stays on its page."""
    if job.state == JobState.CLOSED:
        return
    job.state, job.hold_reason = JobState.CLOSED, ""
    job.closed_at = closed_at or timezone.now()
    job.save(update_fields=["state", "hold_reason", "closed_at"])


@transaction.atomic
def line_add(
    *,
    job: Job,
    part: str,
    quantity: int,
    material: Material,
    thickness_text: str,
    number: int | None = None,
    u_range_asked: int | None = None,
    next_step: str = "",
    must_be_fine: bool = False,
) -> JobLine:
    """A part and a quantity; `number` blank takes the next free one."""
    if number is None:
        number = (job.lines.aggregate(last=Max("number"))["last"] or 0) + 1
    size = thickness_of(thickness_text, material)
    line = JobLine(
        job=job,
        number=number,
        part=part.strip(),
        quantity=quantity,
        material=material,
        thickness_mm=size.nominal_mm,
        thickness_text=size.text.strip(),
        u_range_asked=u_range_asked,
        next_step=next_step,
        must_be_fine=must_be_fine,
    )
    line.full_clean()
    line.save()
    return line


@transaction.atomic
def line_edit(
    *,
    line: JobLine,
    part: str,
    quantity: int,
    material: Material,
    thickness_text: str,
    u_range_asked: int | None = None,
    next_step: str = "",
    must_be_fine: bool = False,
) -> None:
    size = thickness_of(thickness_text, material)
    line.part, line.quantity, line.material = part.strip(), quantity, material
    line.thickness_mm, line.thickness_text = size.nominal_mm, size.text.strip()
    line.u_range_asked, line.next_step = u_range_asked, next_step
    line.must_be_fine = must_be_fine
    line.full_clean()
    line.save()


# What keeps a line from going, by the relation to it.
LINE_HELD = {
    "contours": N_("it is on a nest"),
    "results": N_("parts of it were judged"),
    "bench": N_("bench time was booked on it"),
    "postings": N_("money was booked on it"),
}


@transaction.atomic
def line_drop(*, line: JobLine) -> None:
    """Takes a line off a job while nothing hangs on it."""
    for name, what in LINE_HELD.items():
        if getattr(line, name).exists():
            raise ValidationError(
                _("Line {line} stays: {what}.").format(line=line.number, what=_(what))
            )
    line.delete()
