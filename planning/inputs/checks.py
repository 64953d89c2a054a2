"""Measured u by set, material and thickness."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from planning.inputs.chunks import chunked
from planning.inputs.taken import Cell, cell_of
from shopfloor.models import Check, RunState, Segment

NEWEST = 1_000  # older checks are of other pieces, gas and people; and the list is bounded


def checked_u(cells: Iterable[Cell] | None = None) -> dict[Cell, list[float]]:
    """u in mm of the newest `NEWEST` checks whose run was cut with one set (a check does not say
    which of two it was), oldest first; all cells, or only these. Two queries for up to 400 checked
    runs."""
    wanted = None if cells is None else set(cells)
    plates = None if wanted is None else {cell[1:] for cell in wanted}
    checks = Check.objects.exclude(u_mm=None).exclude(run__state=RunState.VOIDED)
    newest = checks.order_by("-at", "-pk").values_list(
        "run_id",
        "u_mm",
        "run__revision__nest__material_id",
        "run__revision__nest__thickness_mm",
    )[:NEWEST]
    rows = [row for row in newest if plates is None or (row[2], round(row[3], 2)) in plates]
    rows.reverse()
    sets: dict[object, set[int]] = defaultdict(set)
    for run, wear_set in chunked(
        sorted({row[0] for row in rows}),
        lambda some: Segment.objects.filter(run__in=some).values_list("run_id", "wear_set_id"),
    ):
        sets[run].add(wear_set)
    found: dict[Cell, list[float]] = defaultdict(list)
    for run, u_mm, material, thickness in rows:
        if len(sets[run]) == 1 and u_mm is not None:
            cell = cell_of(next(iter(sets[run])), material, thickness)
            if wanted is None or cell in wanted:
                found[cell].append(u_mm)
    return dict(found)
