"""Pieces in a torch that are due, soon will be, or will not last for the list."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import datetime
from functools import cache

from planning.calc.said import said_again, stored
from planning.reports.notes.found import Found
from planning.reports.today_data import TableData
from planning.reports.today_table import current_of
from planning.reports.wear_due import due_times
from shopfloor.models import Fitting, PieceOutlook
from shopfloor.runs.arcs import to_us
from shopfloor.wear.fitted import fitted_now

# Up to whole five minutes: a note is not written again for seconds, and never says what is past.
STEP_US = 300_000_000


def of_pieces(tables: Sequence[TableData], now: datetime) -> Iterator[Found]:
    """With the moment by the list, asked for only where a note has one."""
    times = cache(lambda: due_times(now=now))

    def likely_us(piece: int) -> int | None:
        due = times().get(piece)
        at = None if due is None else due.likely
        return None if at is None else -(-to_us(at) // STEP_US) * STEP_US

    for found in _found(tables):
        yield found if found.code == "piece_due" else _timed(found, likely_us)


def _timed(found: Found, likely_us: Callable[[int], int | None]) -> Found:
    return replace(found, values={**found.values, "likely_us": likely_us(int(found.subject))})


def _found(tables: Sequence[TableData]) -> Iterator[Found]:
    by_id = {data.table.pk: data for data in tables}
    torches: dict[int, set[int]] = defaultdict(set)
    for row in fitted_now():
        torches[row.torch.table_id].add(row.torch_id)
    for row in fitted_now():
        outlook: PieceOutlook | None = getattr(row.piece, "outlook", None)
        if outlook is None:
            continue
        data = by_id.get(row.torch.table_id)
        alone = (
            len(torches[row.torch.table_id]) == 1
        )  # of two, nobody knows which one takes a start
        if outlook.due == "due":
            yield _due("piece_due", row, outlook)
        elif data is not None and alone and (short := _short(row, outlook, data)):
            yield short
        elif outlook.due == "soon":
            yield _due("piece_soon", row, outlook)


def sets_fitted() -> dict[int, int]:
    """The set that most pieces in each table's torches belong to."""
    found: dict[int, Counter[int]] = defaultdict(Counter)
    for row in fitted_now():
        found[row.torch.table_id][row.piece.part.wear_set_id] += 1
    return {table: sets.most_common(1)[0][0] for table, sets in found.items()}


def _due(code: str, row: Fitting, outlook: PieceOutlook) -> Found:
    basis = stored(said_again(outlook.basis_said, outlook.basis))
    values = _named(row) | {"basis": basis, "left_starts": outlook.starts_left}
    return Found(code, str(row.piece_id), values, row.torch.table.code)


def _short(row: Fitting, outlook: PieceOutlook, data: TableData) -> Found | None:
    """Where its set goes on burning, the first entry of the list that it will not last through."""
    left, own = outlook.starts_left, row.piece.part.wear_set_id
    if left is None:
        return None
    run, contour = current_of(data)
    wanted = 0
    if run is not None and run.cell[0] == own:
        wanted = max(0, run.contours - (contour or 0))
    for item in data.queue:
        if item.wear_set_id != own:
            continue
        if item.starts is None:
            return None
        wanted += item.starts
        if wanted > left:
            values = _named(row) | {
                "left_starts": left,
                "wanted_starts": wanted,
                "nest": item.nest,
            }
            return Found("piece_short", str(row.piece_id), values, row.torch.table.code)
    return None


def _named(row: Fitting) -> dict[str, object]:
    return {"kind": row.piece.part.kind, "piece": row.piece.label, "piece_id": row.piece_id}
