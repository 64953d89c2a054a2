"""Plans that have grown older than what they rest on. A change made now plans its nests anew at
once; one that was made to begin later does when it begins, by this sweep."""

from __future__ import annotations

from datetime import datetime

from django.db.models import Max, Min, OuterRef, Q, Subquery

from planning.inputs.shifts import ShiftBook
from shopfloor.background.request import request_work
from shopfloor.models import ChartRow, Nest, NestPlan, NestRevision, Rate, Table
from shopfloor.runs.arcs import to_us


def request_stale_plans(*, now: datetime) -> int:
    """Asks for the plans of nests in use that are older than a chart row, a rate or a table's
    figures that have come into force since. Returns how many. Harmless to repeat."""
    newest = NestRevision.objects.filter(nest=OuterRef("pk")).order_by("-revision").values("pk")
    nests = Nest.objects.filter(withdrawn_at=None).annotate(newest=Subquery(newest[:1]))
    wanted = dict(nests.values_list("newest", "material"))
    made = dict(
        NestPlan.objects.filter(revision__in=list(wanted))
        .values("revision")
        .annotate(at=Min("computed_at"))
        .values_list("revision", "at")
    )
    if not made:
        return 0
    changed = _Changed(min(made.values()), now)
    stale = [pk for pk, at in made.items() if changed.since(at, wanted[pk])]
    for pk in sorted(stale):
        request_work(kind="nest", key=str(pk))
    return len(stale)


class _Changed:
    """What came into force between the oldest plan and now."""

    def __init__(self, first: datetime, now: datetime) -> None:
        self.rows: dict[int, datetime] = {}
        for name in ("valid_from", "valid_to"):
            within = Q(**{f"{name}__gt": first, f"{name}__lte": now})
            rows = ChartRow.objects.filter(within).values("material").annotate(at=Max(name))
            for material, at in rows.values_list("material", "at"):
                self.rows[material] = max(at, self.rows.get(material, at))
        self.tables = Table.objects.filter(active=True).aggregate(at=Max("figures_at"))["at"]
        # Rates hold from a shift's date on, so plans are held against the date of their shift.
        self.book = ShiftBook(first, now)
        day = self.book.date_of(to_us(now))
        self.rates = Rate.objects.filter(valid_from__lte=day).aggregate(day=Max("valid_from"))[
            "day"
        ]

    def since(self, made: datetime, material: int) -> bool:
        if any(at is not None and at > made for at in (self.rows.get(material), self.tables)):
            return True
        return self.rates is not None and self.book.date_of(to_us(made)) < self.rates
