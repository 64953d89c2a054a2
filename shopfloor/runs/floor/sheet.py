"""The sheet under a run: which one lies there, and whether it is the one that was meant."""

from __future__ import annotations

from django.utils.translation import gettext as _

from shopfloor.actions.request import ActionRequest
from shopfloor.errors import FloorError
from shopfloor.models import NestRevision, QueueItem, Sheet, SheetState
from shopfloor.stock.plate_fit import plate_unfit


def sheet_by_code(code: str, *, on_table: int | None = None) -> Sheet:
    """The sheet of that code, free to be burnt; `on_table` is the id of one that lies there
    already."""
    sheet = Sheet.objects.select_related("material", "heat").filter(code=code).first()
    if sheet is None:
        raise FloorError(
            _("There is no sheet {code!r}.").format(code=code), _("Scan it again."), ask="sheet"
        )
    if sheet.state != SheetState.IN_STOCK and sheet.pk != on_table:
        raise FloorError(
            _("Sheet {sheet} is {label}.").format(
                sheet=sheet.code, label=SheetState(sheet.state).label
            ),
            _("Scan the one on the table."),
            ask="sheet",
        )
    return sheet


def sheet_mismatch(
    sheet: Sheet, expected: Sheet | None, revision: NestRevision, *, inch: bool
) -> str:
    """In words, how it is not what was meant; blank where it is."""
    if expected is not None and sheet.pk != expected.pk:
        return _("Sheet {expected} was planned, {sheet} was scanned.").format(
            expected=expected.code, sheet=sheet.code
        )
    return plate_unfit(sheet, revision, revision.nest, inch=inch)


def reserved_for(sheet: Sheet, item: QueueItem | None, *, taken: bool = False) -> str:
    """Whether the sheet was kept for another nest; once it is burnt that one chooses anew.
    `taken`: said when it is another's already."""
    others = QueueItem.objects.filter(sheet=sheet, state__in=("waiting", "running"))
    other = others.exclude(pk=item.pk if item else 0).select_related("nest", "table").first()
    if other is None:
        return ""
    promised = _("was kept for") if taken else _("is promised to")
    return _("Sheet {sheet} {promised} {nest} on {table}.").format(
        sheet=sheet.code, promised=promised, nest=other.nest.name, table=other.table.name
    )


def release_reservations(
    request: ActionRequest, sheet: Sheet | None, item: QueueItem | None
) -> None:
    """A sheet that is being burnt is nobody else's any more."""
    if sheet is None:
        return
    others = QueueItem.objects.filter(sheet=sheet, state__in=("waiting", "running"))
    for other in others.exclude(pk=item.pk if item else 0):
        request.undo_record.change(other, sheet=None)
