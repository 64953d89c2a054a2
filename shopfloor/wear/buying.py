"""Parts ordered, received and taken out of the drawer, each at the price it was bought at."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Sum
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from shopfloor.audit.undo_record import UndoRecord
from shopfloor.chart.parts import part_change, stock_part
from shopfloor.files.fault import Fault
from shopfloor.files.read_list import Row, read_table
from shopfloor.jobs.list_rows import RowError, money_of
from shopfloor.models import PartOrder, PartReceipt, SetPart, User
from shopfloor.site.queries import the_shop

MOST = 10_000  # of one part in one receipt; ours, to catch a slip
LIST_COLUMNS = (N_("set"), N_("kind"), N_("quantity"), N_("price"))


@dataclass(frozen=True, slots=True)
class Bought:
    """`price_minor` of one; None: as the shop has it."""

    part: SetPart
    quantity: int
    price_minor: int | None = None


@transaction.atomic
def parts_receive(
    *, bought: Sequence[Bought], day: date, by: User, note: str = ""
) -> list[PartReceipt]:
    """Puts what came into the drawer. Plans count the new price from now on; what lay there before
    keeps its own. What is on order of a part is met, the oldest order first."""
    made = []
    for one in bought:
        if not 1 <= one.quantity <= MOST:
            raise ValidationError(_("A receipt is of 1 to {most} parts.").format(most=MOST))
        part = _locked(one.part)
        _count_in(part, by, day)
        price = part.price_minor if one.price_minor is None else one.price_minor
        receipt = PartReceipt(
            part=part, quantity=one.quantity, left=one.quantity, price_minor=price,
            received_on=day, note=note.strip()[:120], by=by,
        )  # fmt: skip
        receipt.full_clean()
        receipt.save()
        part_change(part, in_drawer=part.in_drawer + one.quantity, price_minor=price)
        _meet_orders(part, one.quantity)
        made.append(receipt)
    return made


@transaction.atomic
def part_order(
    *, part: SetPart, quantity: int, day: date, by: User, expected_on: date | None = None,
    note: str = "",
) -> PartOrder:  # fmt: skip
    if not 1 <= quantity <= MOST:
        raise ValidationError(
            {"quantity": _("An order is of 1 to {most} parts.").format(most=MOST)}
        )
    if expected_on is not None and expected_on < day:
        raise ValidationError({"expected_on": _("It cannot come before it is ordered.")})
    order = PartOrder(
        part=stock_part(part), quantity=quantity, ordered_on=day, expected_on=expected_on,
        note=note.strip()[:120], by=by,
    )  # fmt: skip
    order.full_clean()
    order.save()
    return order


@transaction.atomic
def order_end(*, order: PartOrder, at: datetime) -> None:
    """What has not come of it will not come."""
    order = PartOrder.objects.select_for_update().get(pk=order.pk)
    if order.ended_at is None and order.received < order.quantity:
        order.ended_at = at
        order.save(update_fields=["ended_at"])


def take_one(part: SetPart, undo_record: UndoRecord) -> tuple[int, PartReceipt | None]:
    """Takes one off the drawer's count. Its price: the oldest receipt's that has some left, the
    part's own where more lie there than came by receipts. The count is what someone last wrote
    down: where it says none is left, the piece in the hand is right. The caller's transaction."""
    part = _locked(part)
    if not part.in_drawer:
        return part.price_minor, None
    lots = list(part.receipts.select_for_update().filter(left__gt=0))
    surplus = sum(lot.left for lot in lots) - part.in_drawer
    for lot in lots:  # counted down since: the oldest went
        gone = min(lot.left, max(0, surplus))
        undo_record.change(lot, left=lot.left - gone)
        surplus -= gone
    standing = [lot for lot in lots if lot.left]
    known = sum(lot.left for lot in standing)
    oldest = standing[0] if standing and known >= part.in_drawer else None
    if oldest is not None:
        undo_record.change(oldest, left=oldest.left - 1)
    part_change(part, undo_record, in_drawer=part.in_drawer - 1)
    return (part.price_minor if oldest is None else oldest.price_minor), oldest


def read_receipt(raw: bytes, *, encoding: str = "utf-8") -> tuple[list[Bought], list[Fault]]:
    """A list of what came: set, kind, quantity and, where it is known, the price of one. With
    faults nothing of it is to be taken. Raises ListError where it cannot be read at all."""
    columns = LIST_COLUMNS
    rows = read_table(raw, columns=columns, needed=columns[:3], encoding=encoding)
    found: list[Bought] = []
    faults: list[Fault] = []
    for row in rows:
        try:
            found.append(_bought(row))
        except RowError as problem:
            faults.append(Fault(row.line, str(problem)))
    return ([] if faults else found), faults


def _bought(row: Row) -> Bought:
    code, kind = row.text("set"), row.text("kind").lower().replace(" ", "_")
    part = SetPart.objects.filter(wear_set__code__iexact=code, kind=kind).first()
    if part is None:
        raise RowError(
            _("there is no {kind} of set {code!r}").format(
                kind=row.text("kind")[:30] or "?", code=code[:40]
            )
        )
    said = row.text("quantity")
    if not (said.isascii() and said.isdigit() and len(said) < 6 and 1 <= int(said) <= MOST):
        raise RowError(
            _("quantity {said!r} is not a number from 1 to {most}").format(
                said=said[:20], most=MOST
            )
        )
    price = money_of(row.text("price")) if row.text("price") else None
    digits = the_shop().currency_digits
    return Bought(part, int(said), None if price is None else round(price.scaleb(digits)))


def _locked(part: SetPart) -> SetPart:
    main = stock_part(part)
    return SetPart.objects.select_for_update().get(pk=main.pk)


def _count_in(part: SetPart, by: User, day: date) -> None:
    """What lies in the drawer and came by no receipt keeps the price it has now."""
    known = part.receipts.filter(left__gt=0).aggregate(all=Sum("left"))["all"] or 0
    if part.in_drawer <= known:
        return
    rest = part.in_drawer - known
    first = part.receipts.order_by("received_on").values_list("received_on", flat=True).first()
    PartReceipt.objects.create(
        part=part, quantity=rest, left=rest, price_minor=part.price_minor,
        received_on=min(first or day, day), note=_("counted in the drawer"), by=by,
    )  # fmt: skip


def _meet_orders(part: SetPart, quantity: int) -> None:
    waiting = part.orders.select_for_update().filter(ended_at=None).order_by("ordered_on", "pk")
    for order in waiting:
        met = min(quantity, order.quantity - order.received)
        if met > 0:
            order.received += met
            order.save(update_fields=["received"])
            quantity -= met
