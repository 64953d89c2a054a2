"""A start that was scanned for and is not among the next few on the screen."""

from __future__ import annotations

from dataclasses import replace

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from shopfloor.models import Job, Nest, QueueItem, Table
from shopfloor.nests.floor.queue_card import Fitted, Item, items_of, listed, waiting
from shopfloor.nests.waiting import waiting_items
from shopfloor.terminal.scanned_code import plain
from shopfloor.terminal.words import facts_of
from shopfloor.wording.names import first_named


def scanned_item(code: str, table: Table, fitted: Fitted, *, inch: bool = False) -> Item | None:
    """What the code on a setup sheet, a traveler or a sheet starts here: from anywhere on this
    table's list, else from another table's, else a nest on no list. None where the code is none
    of these."""
    wanted = plain(code)
    row, note = _listed(wanted, waiting(table)), ""
    if row is None:
        note = _("Not in {table}’s queue.").format(table=table.name)
        row = _listed(wanted, _on_others(table))
        if row is not None:
            taken = _("It is taken from the queue of {table}.").format(table=row.table.name)
            note = f"{note} {taken}"
    row = row or _on_no_list(wanted, table)
    if row is None:
        return None
    found = listed([row])
    facts = facts_of([one.revision.pk for one in found])
    items = items_of(found, facts, table, fitted, inch=inch)
    return replace(items[0], note=note) if items else None


def _listed(wanted: str, rows: QuerySet[QueueItem]) -> QueueItem | None:
    by_nest = first_named(rows, "nest__name", wanted)
    by_sheet = by_nest or first_named(rows, "sheet__code", wanted)
    if by_sheet is not None or not wanted:
        return by_sheet
    job = first_named(Job.objects.all(), "number", wanted)
    if job is None:
        return None
    return rows.filter(nest__revisions__contours__line__job=job).distinct().first()


def _on_others(table: Table) -> QuerySet[QueueItem]:
    rows = waiting_items().exclude(table=table)
    return rows.select_related("nest__material", "nest__wear_set", "sheet__heat", "table").order_by(
        "table__order", "table__name", "position", "pk"
    )


def _on_no_list(wanted: str, table: Table) -> QueueItem | None:
    nests = Nest.objects.filter(withdrawn_at=None).select_related("material", "wear_set")
    nest = first_named(nests, "name", wanted)
    return QueueItem(nest=nest, table=table) if nest else None
