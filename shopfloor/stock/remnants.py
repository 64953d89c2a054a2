"""What is left of sheets: its age, its worth, and what a customer gets back."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db.models import QuerySet

from shopfloor.models import QueueItem, Sheet, SheetState
from shopfloor.site.queries import the_shop

RETURNED_SHOWN = 20


def remnants() -> QuerySet[Sheet]:
    """The shop's own remnants in stock, the oldest first."""
    return (
        Sheet.objects.filter(parent__isnull=False, owner=None, state=SheetState.IN_STOCK)
        .select_related("material", "heat", "parent")
        .order_by("received_at", "code")
    )


def remnants_old(*, now: datetime) -> QuerySet[Sheet]:
    """Those that have lain longer than the shop keeps them, and are promised to nothing."""
    since = now - timedelta(days=the_shop().remnant_days)
    return remnants().filter(received_at__lt=since).exclude(pk__in=promised_sheets())


def promised_sheets() -> QuerySet[QueueItem, int]:
    """Ids of sheets kept for a nest on a list."""
    items = QueueItem.objects.filter(state__in=("waiting", "running"), sheet__isnull=False)
    return items.values_list("sheet", flat=True)


def customers_drop() -> QuerySet[Sheet]:
    """What is left of customers' own sheets and still lies here, by customer."""
    return (
        Sheet.objects.filter(parent__isnull=False, owner__isnull=False, state=SheetState.IN_STOCK)
        .select_related("material", "heat", "parent", "owner")
        .order_by("owner__name", "code")
    )


def customers_returned() -> QuerySet[Sheet]:
    """What went back to customers, sheets and drop, the last few."""
    rows = Sheet.objects.filter(owner__isnull=False, state=SheetState.RETURNED)
    return rows.select_related("material", "owner", "parent").order_by("-pk")[:RETURNED_SHOWN]
