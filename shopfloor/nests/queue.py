"""Each table's list of nests to burn."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from shopfloor.models import Nest, QueueItem, Sheet, SheetState, Table
from shopfloor.stock.plate_fit import plate_unfit

STEP = 10


@transaction.atomic
def queue_add(
    *, nest: Nest, table: Table, sheet: Sheet | None = None, due_at: datetime | None = None
) -> QueueItem:
    """Puts one burning of a nest at the end of a table's list."""
    if nest.withdrawn_at is not None:
        raise ValidationError(_("The nest was withdrawn."))
    if not table.active:
        raise ValidationError(_("{table} is out of use.").format(table=table.name))
    if sheet is not None:
        # Held, so that of two people promising one sheet at once the second is told.
        _check_plate_serves(nest, Sheet.objects.select_for_update().get(pk=sheet.pk))
    last = QueueItem.objects.filter(table=table).aggregate(last=Max("position"))["last"] or 0
    return QueueItem.objects.create(
        nest=nest, table=table, sheet=sheet, position=last + STEP, due_at=due_at
    )


@transaction.atomic
def queue_add_several(
    *,
    nest: Nest,
    table: Table,
    times: int,
    sheets: Sequence[Sheet] = (),
    due_at: datetime | None = None,
) -> list[QueueItem]:
    """Puts several burnings of a nest at the end of a list, each on a sheet of its own where
    sheets are named: one for each, all or none."""
    if sheets and len(sheets) < times:
        raise ValidationError(
            {
                "times": _("There are {count} free sheets like that one, not {times}.").format(
                    count=len(sheets), times=times
                )
            }
        )
    on: Sequence[Sheet | None] = sheets or [None] * times
    return [queue_add(nest=nest, table=table, sheet=one, due_at=due_at) for one in on[:times]]


def _check_plate_serves(nest: Nest, sheet: Sheet) -> None:
    revision = nest.revisions.defer("program").order_by("-revision").first()
    if unfit := plate_unfit(sheet, revision, nest):
        raise ValidationError(unfit)
    if sheet.state != SheetState.IN_STOCK:
        raise ValidationError(_("Sheet {sheet} is not in stock.").format(sheet=sheet.code))
    promised = QueueItem.objects.filter(sheet=sheet, state__in=("waiting", "running")).first()
    if promised is not None:
        raise ValidationError(
            _("Sheet {sheet} is promised to nest {nest}.").format(
                sheet=sheet.code, nest=promised.nest.name
            )
        )


@transaction.atomic
def queue_first(*, item: QueueItem) -> None:
    """To the head of what waits on the same table; the others keep their order."""
    waiting = _waiting(item)
    if any(other.pk == item.pk for other in waiting):
        _number(sorted(waiting, key=lambda other: other.pk != item.pk))


@transaction.atomic
def queue_move(*, item: QueueItem, up: bool) -> None:
    """One place up or down among what waits on the same table."""
    waiting = _waiting(item)
    at = next((index for index, other in enumerate(waiting) if other.pk == item.pk), None)
    to = -1 if at is None else at + (-1 if up else 1)
    if at is None or not 0 <= to < len(waiting):
        return
    waiting[at], waiting[to] = waiting[to], waiting[at]
    _number(waiting)


def _waiting(item: QueueItem) -> list[QueueItem]:
    rows = QueueItem.objects.select_for_update().filter(table=item.table_id, state="waiting")
    return list(rows.order_by("position", "pk"))


def _number(waiting: list[QueueItem]) -> None:
    for index, other in enumerate(waiting, 1):
        other.position = index * STEP
    QueueItem.objects.bulk_update(waiting, ["position"])


@transaction.atomic
def queue_drop(*, item: QueueItem) -> None:
    """Takes a waiting nest off the list; its sheet is free again."""
    changed = QueueItem.objects.filter(pk=item.pk, state="waiting").update(state="dropped")
    if not changed:
        raise ValidationError(_("It no longer waits: it is being burnt or done."))
