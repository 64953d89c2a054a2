"""Writing and reading what a shift leaves to the next."""

from __future__ import annotations

from datetime import date, datetime
from typing import Final

from django.db import transaction
from django.utils.translation import gettext as _

from shopfloor.errors import FloorError
from shopfloor.models import HandOver, Table, User

LENGTH: Final = 2000


@transaction.atomic
def hand_over_write(
    *,
    table_id: int,
    shift_date: date,
    shift: str,
    text: str,
    drafted: str,
    seen_us: int | None,
    by: User,
    now: datetime,
) -> HandOver | None:
    """Keeps a text, or writes it anew. `seen_us` is when the one that its writer saw was written,
    None where there was none: over a newer one nothing is written. An empty text where nothing
    stands leaves nothing."""
    # Of two who write one is first.
    table = Table.objects.select_for_update(no_key=True).get(pk=table_id)
    text = "\n".join(line.rstrip() for line in text.strip().splitlines())
    if len(text) > LENGTH:
        raise FloorError(
            _("The text for {table} is {count} letters long; {length} fit.").format(
                table=table.name, count=len(text), length=LENGTH
            )
        )
    own = HandOver.objects.select_for_update().select_related("by")
    row = own.filter(table=table, shift_date=shift_date, shift=shift).first()
    if row is not None and row.text == text:
        return row  # pressed twice, or by two who say the same
    if row is not None and written_us(row) != seen_us:
        raise FloorError(
            _("{name} has written for {table} meanwhile.").format(
                name=row.by.shown_name, table=table.name
            ),
            _("Their text stands below yours; save again to put yours in its place."),
        )
    if row is None:
        if not text:
            return None
        row = HandOver(table=table, shift_date=shift_date, shift=shift, drafted=drafted)
    row.text, row.by, row.at = text, by, now
    row.save()
    return row


def written_us(row: HandOver) -> int:
    """When it was written, as a form carries it."""
    return round(row.at.timestamp() * 1_000_000)


def hand_overs_of(shift_date: date, shift: str) -> dict[int, HandOver]:
    """By table."""
    rows = HandOver.objects.filter(shift_date=shift_date, shift=shift).select_related("by", "table")
    return {row.table_id: row for row in rows}


def hand_overs_left(
    since: datetime, until: datetime, not_of: tuple[date, str] | None = None
) -> list[HandOver]:
    """What was left in [since, until), but what a shift has written itself."""
    rows = HandOver.objects.filter(at__gte=since, at__lt=until).exclude(text="")
    if not_of is not None:
        rows = rows.exclude(shift_date=not_of[0], shift=not_of[1])
    return list(rows.select_related("by", "table").order_by("table__order", "table__name", "-at"))


def latest_at(table: Table, since: datetime) -> HandOver | None:
    """What was last left at a table, no longer ago than `since`."""
    rows = HandOver.objects.filter(table=table, at__gte=since).exclude(text="")
    return rows.select_related("by").order_by("-at").first()
