"""Quotes of a shop whose records were loaded at once, with what became of each."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from planning.services.quote_forecast import Times
from planning.services.quote_pricing import Priced, Wanted, price_planned
from planning.services.quote_reckoning import Reckoned, reckon_priced
from planning.services.quotes import quote_keep
from shopfloor.models import Customer, Job, Nest, NestRevision, Quote, QuoteState, Table, User

VALID_DAYS = 30


@dataclass(frozen=True, slots=True)
class Offer:
    """Nests so many times, for a customer. `decided_at` None: still open. Won with a job, else
    lost for a reason. `share` of the reckoned cost is its price."""

    customer: Customer
    title: str
    nests: tuple[tuple[Nest, int], ...]
    made_at: datetime
    chance: float
    share: float
    decided_at: datetime | None = None
    job: Job | None = None
    why: str = ""


def quotes_of_history(*, offers: Iterable[Offer], by: User, now: datetime) -> int:
    """Stores them in the order they were made, priced by the plans made last; does nothing where
    there are quotes already. Returns how many."""
    if Quote.objects.exists():
        return 0
    times = Times(list(Table.objects.filter(active=True)))
    newest = {row.nest_id: row for row in NestRevision.objects.order_by("revision")}
    ordered = sorted(offers, key=lambda offer: offer.made_at)
    reckoned = [
        reckon_priced(_lines(offer, newest), times, offer.chance, now=offer.made_at)
        for offer in ordered
    ]
    with transaction.atomic():
        for number, (offer, costs) in enumerate(zip(ordered, reckoned, strict=True), 1):
            _keep(f"Q-{number:04d}", offer, costs, by)
    return len(ordered)


def _lines(offer: Offer, newest: Mapping[int, NestRevision]) -> list[Priced]:
    return [
        price_planned(Wanted(newest[nest.pk], nest.table, nest.wear_set, sheets))
        for nest, sheets in offer.nests
        if nest.table is not None
    ]


def _keep(number: str, offer: Offer, costs: Reckoned, by: User) -> None:
    quote = Quote(
        number=number,
        customer=offer.customer,
        title=offer.title,
        overrun_chance=offer.chance,
    )
    if offer.decided_at is not None:
        quote.state = QuoteState.WON if offer.job else QuoteState.LOST
        quote.decided_at, quote.decided_by = offer.decided_at, by
        quote.job, quote.why = offer.job, offer.why
    price = offer.job.quote_minor if offer.job else None
    quote_keep(quote, costs, VALID_DAYS, price, by, offer.made_at)
    if price is None and quote.cost_minor is not None:
        quote.price_minor = round(quote.cost_minor * offer.share / 500) * 500
        quote.save(update_fields=["price_minor"])
