"""A wear part opened: its starts run by run, and what was charged for them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from planning.calc.dates import DAY, dated, day_time
from planning.calc.said import said_again
from planning.reports.figure import Figure, Part, Ref, shortened
from planning.reports.ledger import HEAVY, read
from shopfloor.models import Fitting, Piece, PieceOutlook, PieceUse
from shopfloor.site.queries import the_shop
from shopfloor.wear.endings import ending_words
from shopfloor.wording.quantity import Quantity, Remark, Unit, money, seconds, text


def opened(key: str) -> Figure:
    found = Piece.objects.filter(pk=int(key)).select_related("part", "outlook").first()
    if found is None:
        raise LookupError(_("there is no piece {key}").format(key=key))
    outlook, zone = getattr(found, "outlook", None), ZoneInfo(the_shop().zone)
    paid: dict[Any, int] = defaultdict(int)
    for run, _kind, minor in read(["run_id"], piece=found):
        paid[run] += minor
    total = sum(paid.values())
    uses = list(_uses(found))
    starts = outlook.starts if outlook else None
    parts = [Part(_("Starts when first seen"), _starts(found.prior_starts, "entered"))]
    parts += _stays(found, zone)
    parts += shortened([_use(use, paid.pop(use.run_id, None), zone) for use in uses])
    used = (found.prior_starts or 0) + sum(use.starts for use in uses)
    if starts is not None and found.prior_starts is not None and starts != used:
        parts.append(Part(_("Burnt in no run"), _starts(starts - used, "measured", named=True)))
    parts.append(Part(_("Starts in all"), _starts(starts), total=True))
    parts += _left(found, outlook)
    if other := sum(paid.values()):
        parts.append(Part(_("Charged outside these runs"), money(other)))
    price = Remark("of {}", (money(found.price_minor),))
    parts.append(Part(_("Charged so far"), money(total), notes=(price,), total=True))
    return Figure(
        Ref("piece", key),
        f"{found.part.kind.replace('_', ' ')} {found.label}",
        _starts(starts, "measured" if starts is not None else "unknown", named=True),
        said_again(outlook.basis_said, outlook.basis) if outlook else _("not worked out yet"),
        tuple(parts),
        outlook.computed_at if outlook else None,
        Ref("wear", key),
    )


def _left(piece: Piece, outlook: PieceOutlook | None) -> Iterator[Part]:
    """What is left of it, with its range and what it was learned from."""
    if outlook is None or outlook.starts_left is None:
        return
    notes: list[str | Remark] = []
    if outlook.left_low is not None:
        ends = (_starts(outlook.left_low), _starts(outlook.left_high))
        notes.append(Remark(_("80 in 100: {} to {}"), ends))
    rests = outlook.rests_on
    if rests:
        n = rests["ends"]
        notes.append(ngettext("{n} like it ended", "{n} like it ended", n).format(n=n))
    if rests.get("pit_age"):
        told = _starts(rests["pit_age"], named=True)
        notes.append(Remark(_("its own pit says {} in all"), (told,)))
    opens = Ref("life", str(piece.part_id)) if rests else None
    yield Part(_("Starts left"), _starts(outlook.starts_left), opens, tuple(notes))


def _starts(value: int | None, evidence: str = "", *, named: bool = False) -> Quantity:
    return Quantity(value, Unit.STARTS if named else Unit.COUNT, evidence)


def _stays(piece: Piece, zone: ZoneInfo) -> Iterator[Part]:
    """The torches it was in, and how it came out."""
    for fit in Fitting.objects.filter(piece=piece).select_related("torch__table"):
        why = ending_words(fit.removal_cause, fit.removal_reason, collateral=fit.collateral)
        state = f" {fit.removal_state} {why}".rstrip()
        begun, ended = (
            at and day_time(at.astimezone(zone), DAY) for at in (fit.fitted_at, fit.removed_at)
        )
        span = _("{begun} to {ended}").format(begun=begun, ended=ended or _("now, still in"))
        yield Part(
            _("In {torch}").format(torch=fit.torch), text(span, "entered"), notes=(state.strip(),)
        )


def _uses(piece: Piece) -> Iterator[PieceUse]:
    uses = PieceUse.objects.filter(piece=piece).select_related("run__revision__nest").defer(*HEAVY)
    yield from uses.order_by("at")


def _use(use: PieceUse, minor: int | None, zone: ZoneInfo) -> Part:
    arc = Remark("{} of arc", (seconds(use.arc_s),))
    charged: str | Remark = _("charged once the run is finished")
    if minor is not None:
        charged = Remark("charged {}", (money(minor),))
    return Part(
        f"{dated(use.at.astimezone(zone), DAY)}, {use.run.revision.nest.name}",
        _starts(use.starts, use.evidence, named=True),
        Ref("run", str(use.run_id)),
        (arc, charged),
    )
