"""Quotes: made at today's plan and prices, revised, and decided."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models.functions import Length
from django.utils.translation import gettext as _

from planning.calc.said import Said, stored
from planning.services.quote_pricing import Priced, Wanted
from planning.services.quote_reckoning import Reckoned, reckon
from shopfloor.audit.actor import acting
from shopfloor.models import (
    Customer,
    Drawing,
    DrawingRevision,
    Job,
    Nest,
    NestRevision,
    Quote,
    QuoteLine,
    QuoteState,
    Shop,
    Table,
    User,
    WearSet,
)
from shopfloor.site.queries import shift_date_of

CHANCES = (0.1, 0.2, 0.3)
MOST = 100_000  # sheets, or parts, of one line


class QuoteError(ValueError):
    """What cannot be quoted or decided; the message is for the person asking."""


@dataclass(frozen=True, slots=True)
class LineAsked:
    """A nest so many times, on its own table with its own set; other quantities and set-up as in
    `Wanted`."""

    nest_id: int
    sheets: int
    breaks: tuple[int, ...] = ()
    setup_min: float = 0.0


@dataclass(frozen=True, slots=True)
class PartsAsked:
    """Parts of a drawing, on a table with a set."""

    drawing_id: int
    table_id: int
    wear_set_id: int
    parts: int
    breaks: tuple[int, ...] = ()
    setup_min: float = 0.0


Asked = LineAsked | PartsAsked


def quote_make(
    *,
    customer: str,
    title: str,
    lines: Sequence[Asked],
    chance: float,
    valid_days: int,
    by: User,
    now: datetime,
    price_minor: int | None = None,
) -> Quote:
    """A new quote. `price_minor` blank asks what it comes to. Raises `QuoteError`."""
    wanted = [_wanted(line) for line in lines]
    if not wanted:
        raise QuoteError(_("Name at least one nest or drawing."))
    if not customer.strip() or not title.strip():
        raise QuoteError(_("Say for whom it is, and what."))
    offer = reckon(wanted, chance, now=now)
    with transaction.atomic():
        quote = Quote(
            number=_next_number(),
            customer=Customer.objects.get_or_create(name=customer.strip())[0],
            title=title.strip()[:160],
            overrun_chance=chance,
        )
        return quote_keep(quote, offer, valid_days, price_minor, by, now)


def _next_number() -> str:
    """Q-0001, ... Q-9999, Q-10000. The shop's row is held, so that two quotes made at once get
    two numbers."""
    list(Shop.objects.select_for_update().values_list("pk"))
    last = Quote.objects.order_by(Length("number").desc(), "-number").values_list("number").first()
    return f"Q-{int(last[0].removeprefix('Q-')) + 1 if last else 1:04d}"


def quote_revise(
    *, quote: Quote, by: User, now: datetime, valid_days: int = 30, price_minor: int | None = None
) -> Quote:
    """The next revision: the same lines with the newest programs and drawings at today's prices.
    What the one before said stays."""
    lines = quote.lines.select_related("revision__nest", "drawing__drawing", "table", "wear_set")
    _refuse_unless_newest(Quote.objects.get(pk=quote.pk))
    offer = reckon([_again(line) for line in lines], quote.overrun_chance, now=now)
    with transaction.atomic():
        old = Quote.objects.select_for_update().get(pk=quote.pk)
        _refuse_unless_newest(old)  # somebody may have been quicker
        made = Quote(
            number=old.number,
            revision=old.revision + 1,
            customer_id=old.customer_id,
            title=old.title,
            overrun_chance=old.overrun_chance,
            enquiry=old.enquiry,
            lead_time=old.lead_time,
            terms=old.terms,
        )
        return quote_keep(made, offer, valid_days, price_minor, by, now)


def _refuse_unless_newest(quote: Quote) -> None:
    later = Quote.objects.filter(number=quote.number, revision__gt=quote.revision)
    if quote.state != QuoteState.OPEN or later.exists():
        raise QuoteError(_("Only the newest revision of an open quote is revised."))


@transaction.atomic
def quote_decide(
    *, quote: Quote, won: bool, by: User, now: datetime, why: str = "", job_number: str = ""
) -> Quote:
    """Won (with the job it became, where there is one) or lost. Once, on the newest revision."""
    row = Quote.objects.select_for_update().get(pk=quote.pk)
    if row.state != QuoteState.OPEN:
        raise QuoteError(_("It was decided already."))
    if Quote.objects.filter(number=row.number, revision__gt=row.revision).exists():
        raise QuoteError(_("There is a newer revision: decide that one."))
    if won and job_number.strip():
        row.job = Job.objects.filter(number=job_number.strip()).first()
        if row.job is None:
            raise QuoteError(_("There is no job {job}.").format(job=job_number.strip()))
    with acting(f"user:{by.username}", why=why or "decided"):
        row.state = QuoteState.WON if won else QuoteState.LOST
        row.decided_at, row.decided_by, row.why = now, by, why[:200]
        row.save(update_fields=["state", "decided_at", "decided_by", "why", "job"])
    return row


def quote_found(*, quote_id: int) -> Quote:
    """Raises `QuoteError` where there is none."""
    row = Quote.objects.filter(pk=quote_id).first()
    if row is None:
        raise QuoteError(_("There is no such quote."))
    return row


def _again(line: QuoteLine) -> Wanted:
    breaks = tuple(one["quantity"] for one in line.breaks)
    if line.drawing is not None:
        newest = _newest_drawing(line.drawing.drawing)
        return Wanted(
            None,
            line.table,
            line.wear_set,
            0,
            newest,
            line.parts,
            breaks,
            line.setup_min,
            line.words,
        )
    if line.revision is None:
        raise QuoteError(_("Line {line} names neither nest nor drawing.").format(line=line.number))
    newest_nest = _newest(line.revision.nest)
    return Wanted(
        newest_nest, line.table, line.wear_set, line.sheets, None, None, breaks, line.setup_min,
        line.words,
    )  # fmt: skip


def _parts_wanted(line: PartsAsked) -> Wanted:
    drawing = Drawing.objects.filter(pk=line.drawing_id).select_related("material").first()
    table = Table.objects.filter(pk=line.table_id, active=True).first()
    wear_set = WearSet.objects.filter(pk=line.wear_set_id, active=True).first()
    if drawing is None or table is None or wear_set is None:
        raise QuoteError(_("There is no such drawing, table or set any more."))
    if not 1 <= line.parts <= MOST:
        raise QuoteError(_("{drawing}: how many parts?").format(drawing=drawing.name))
    return Wanted(
        None, table, wear_set, 0, _newest_drawing(drawing), line.parts, line.breaks, line.setup_min
    )


def _newest_drawing(drawing: Drawing) -> DrawingRevision:
    revision = drawing.revisions.select_related("drawing__material").first()
    if revision is None:
        raise QuoteError(_("{drawing} has no revision.").format(drawing=drawing.name))
    return revision


def _wanted(line: Asked) -> Wanted:
    if isinstance(line, PartsAsked):
        return _parts_wanted(line)
    nest = Nest.objects.filter(pk=line.nest_id).select_related("table", "wear_set").first()
    if nest is None:
        raise QuoteError(_("There is no nest {nest_id}.").format(nest_id=line.nest_id))
    if nest.table is None:
        raise QuoteError(
            _("{nest} has no table yet: choose its route first.").format(nest=nest.name)
        )
    if not 1 <= line.sheets <= MOST:
        raise QuoteError(_("{nest}: how many sheets?").format(nest=nest.name))
    return Wanted(
        _newest(nest), nest.table, nest.wear_set, line.sheets, None, None, line.breaks,
        line.setup_min,
    )  # fmt: skip


def _newest(nest: Nest) -> NestRevision:
    revision = nest.revisions.order_by("-revision").first()
    if revision is None:
        raise QuoteError(_("{nest} has no program.").format(nest=nest.name))
    return revision


def quote_keep(
    quote: Quote,
    offer: Reckoned,
    valid_days: int,
    price_minor: int | None,
    by: User,
    now: datetime,
) -> Quote:
    """Stores an offer. Nothing is reckoned here: the caller's transaction holds up all others."""
    found, said = offer.found, offer.said
    allowed = said.lines_minor if said else (None,) * len(found)
    rests_on = said.rests_on if said else ({},) * len(found)
    quote.forecast = said.body if said else {}
    quote.plan_minor = _sum([one.plan_minor for one in found], found)
    quote.cost_minor = _sum(allowed, found)
    quote.price_minor = quote.cost_minor if price_minor is None else price_minor
    quote.unknown = [
        stored(text) if isinstance(text, Said) else text for one in found for text in one.unknown
    ]
    quote.price_date = shift_date_of(now)
    quote.valid_until = quote.price_date + timedelta(days=valid_days)
    quote.made_at, quote.made_by = now, by
    quote.save()
    QuoteLine.objects.bulk_create(
        QuoteLine(
            quote=quote,
            number=number,
            revision=one.wanted.revision,
            drawing=one.wanted.drawing,
            parts=one.wanted.parts,
            table=one.wanted.table,
            wear_set=one.wanted.wear_set,
            sheets=one.wanted.sheets,
            plan_minor=one.plan_minor,
            cost_minor=minor,
            material_minor=one.material_minor,
            setup_min=one.wanted.setup_min,
            setup_minor=one.setup_minor,
            breaks=others,
            words=one.wanted.words,
            made_from=one.made_from | {"rests_on": rests},
        )
        for number, (one, minor, rests, others) in enumerate(
            zip(found, allowed, rests_on, offer.breaks, strict=True), 1
        )
    )
    return quote


def _sum(amounts: Sequence[int | None], found: Sequence[Priced]) -> int | None:
    """With material and set-ups; None where any of it is unknown."""
    parts = [*amounts, *(one.material_minor for one in found), *(one.setup_minor for one in found)]
    return None if any(part is None for part in parts) else sum(part or 0 for part in parts)
