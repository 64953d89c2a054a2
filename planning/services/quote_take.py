"""A quote that was taken becomes a job, once."""

from __future__ import annotations

from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from planning.services.quotes import QuoteError, quote_decide
from shopfloor.jobs.services import job_add, line_add
from shopfloor.models import Contour, Job, Quote, QuoteLine, QuoteState, User
from shopfloor.nests.parts_made import parts_made


@transaction.atomic
def quote_take(*, quote: Quote, by: User, now: datetime, why: str = "", number: str = "") -> Job:
    """The job, numbered as said or as the quote is; the one it became already where it is taken
    twice. Raises QuoteError."""
    row = Quote.objects.select_for_update().get(pk=quote.pk)
    if row.state == QuoteState.WON and row.job is not None:
        return row.job
    wanted = number.strip() or row.number
    if Job.objects.filter(number=wanted).exists():
        raise QuoteError(
            _("There is a job {job} already: type another number, or press Won.").format(job=wanted)
        )
    try:
        job = job_add(
            number=wanted, customer=row.customer.name, title=row.title,
            quote_minor=row.price_minor, source=str(row),
        )  # fmt: skip
        for line in row.lines.select_related(
            "revision__nest__material", "drawing__drawing__material"
        ):
            _add_lines(job, line)
    except ValidationError as problem:
        raise QuoteError(" ".join(problem.messages)) from problem
    quote_decide(quote=row, won=True, by=by, now=now, why=why, job_number=job.number)
    return job


def _add_lines(job: Job, line: QuoteLine) -> None:
    """The parts ordered. A program's parts are those it names, so many a sheet; where it names
    none, its sheets are counted until somebody says what they are."""
    if line.drawing is not None:
        drawing = line.drawing.drawing
        made = line_add(
            job=job, part=drawing.name, quantity=line.parts or 0, material=drawing.material,
            thickness_text=drawing.thickness_text,
        )  # fmt: skip
        made.drawing = drawing
        made.save(update_fields=["drawing"])
    elif line.revision is not None:
        nest = line.revision.nest
        for part, count in parts_of(line) or [(line.words or line.quote.title, 1)]:
            line_add(
                job=job, part=part[:80], quantity=count * line.sheets, material=nest.material,
                thickness_text=nest.thickness_text,
            )  # fmt: skip


def parts_of(line: QuoteLine) -> list[tuple[str, int]]:
    """Parts a program names and how many a sheet has of each."""
    named = Contour.objects.filter(revision=line.revision_id).exclude(line=None)
    return [(part, count) for part, count in parts_made(named, "part").order_by("part") if part]
