"""A start that was scanned for and is not among the next few on the screen."""

from __future__ import annotations

from dataclasses import replace

from shopfloor.models import Job, Nest, QueueItem, Table, WearSet
from shopfloor.terminal.board.codes import plain
from shopfloor.terminal.board.items import Item, item_of, waiting


def scanned_item(
    code: str, table: Table, fitted: WearSet | None, *, inch: bool = False
) -> Item | None:
    """What the code on a setup sheet, a traveler or a sheet starts here: from further down this
    table's list, else a nest on no list of this table. None where the code is none of these."""
    wanted = plain(code)
    row = _listed(wanted, table)
    note = ""
    if row is None:
        nest = (
            Nest.objects.filter(name__iexact=wanted, withdrawn_at=None)
            .select_related("material", "wear_set")
            .first()
        )
        if nest is None:
            return None
        row, note = QueueItem(nest=nest, table=table), _elsewhere(nest, table)
    revision = row.nest.revisions.defer("program").order_by("-revision").first()
    if revision is None:
        return None
    return replace(item_of(row, revision, table, fitted, inch=inch), note=note)


def _listed(wanted: str, table: Table) -> QueueItem | None:
    rows = waiting(table)
    by_nest = rows.filter(nest__name__iexact=wanted).first()
    by_sheet = by_nest or rows.filter(sheet__code__iexact=wanted).first()
    if by_sheet is not None or not wanted:
        return by_sheet
    job = Job.objects.filter(number__iexact=wanted).first()
    if job is None:
        return None
    return rows.filter(nest__revisions__contours__line__job=job).distinct().first()


def _elsewhere(nest: Nest, table: Table) -> str:
    others = (
        QueueItem.objects.filter(nest=nest, state="waiting")
        .exclude(table=table)
        .order_by("table__order", "table__name")
        .values_list("table__name", flat=True)
        .distinct()
    )
    planned = f" It waits on the list of {', '.join(others)}." if others else ""
    return f"Not on {table.name}’s list.{planned}"
