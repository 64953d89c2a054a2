"""A part that fits several sets is one part: one drawer, one price, bought once."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from shopfloor.audit.undo_record import UndoRecord
from shopfloor.chart.replan import plan_again
from shopfloor.models import ChartRow, SetPart

# What is the part's and not the set's: alike in every set that takes it.
OF_PART = ("name", "price_minor", "in_drawer", "low_at", "lead_days", "pack")


def stock_part(part: SetPart) -> SetPart:
    """The one that receipts and orders of this part stand under."""
    return part.same_as or part


def stock_parts() -> QuerySet[SetPart]:
    """Each part once, in whatever number of sets it is used."""
    return SetPart.objects.filter(same_as=None)


def alike(part: SetPart) -> QuerySet[SetPart]:
    """The part in every set that takes it, itself among them."""
    own = part.same_as_id or part.pk
    return SetPart.objects.filter(Q(pk=own) | Q(same_as=own))


def part_change(part: SetPart, undo_record: UndoRecord | None = None, **values: Any) -> None:
    """Sets what is the part's, in every set that takes it; plans count another price. The caller's
    transaction."""
    undo_record = undo_record or UndoRecord()
    rows = list(alike(part).select_for_update().order_by("pk"))
    price = values.get("price_minor")
    repriced = price is not None and any(one.price_minor != price for one in rows)
    for one in rows:
        undo_record.change(one, **values)
    for name, value in values.items():
        setattr(part, name, value)
    if repriced:
        plan_again_with(part)


def plan_again_with(part: SetPart) -> None:
    """Plans of what is cut with this part, in any set that takes it."""
    rows = ChartRow.objects.filter(wear_set__parts__in=alike(part))
    plan_again(set(rows.values_list("material", flat=True)))


@transaction.atomic
def part_share(*, part: SetPart, same_as: SetPart | None) -> None:
    """Says that a set's part is the same as another set's: their counts are added. None: it is a
    part of its own again, and its drawer is to be counted."""
    rows = {one.pk: one for one in SetPart.objects.select_for_update().order_by("pk")}
    part = rows[part.pk]
    main = stock_part(rows[same_as.pk]) if same_as is not None else None
    if part.same_as_id == (main.pk if main else None):
        return
    if main is None:
        part.same_as, part.in_drawer = None, 0
        part.save(update_fields=["same_as", "in_drawer"])
        return
    if main.pk == part.pk or main.kind != part.kind or part.wear_set_id == main.wear_set_id:
        raise ValidationError({"same_as": _("Choose a part of the same kind in another set.")})
    if part.same_as_id or part.same.exists() or part.orders.exists() or part.receipts.exists():
        raise ValidationError(
            {"same_as": _("This part is bought or shared already: share the other one with it.")}
        )
    count = main.in_drawer + part.in_drawer
    part.same_as = main
    part.save(update_fields=["same_as"])
    known = {name: getattr(main, name) for name in OF_PART}
    part_change(main, **{**known, "in_drawer": count})
