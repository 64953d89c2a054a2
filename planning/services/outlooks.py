"""A piece's age and what is left of it, published for every page that shows it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from planning.calc.life.learned import Learned
from planning.calc.life.outlook import PieceView, piece_view, readings_of
from planning.calc.said import stored
from planning.inputs.lives import KIND, learned_of
from planning.inputs.pieces import PieceIn
from shopfloor.background.request import request_work
from shopfloor.models import PieceOutlook

ENDED = ("failed", "retired", "crashed", "lost")


def outlooks_keep(
    pieces: Sequence[PieceIn], planned: Mapping[int, int], now: datetime, *, ask: bool = True
) -> None:
    """Writes the outlooks. `planned`: starts of a piece that nobody heard or entered. With `ask`
    parts are learned of anew whose pieces tell something new."""
    learned = learned_of({piece.part_id for piece in pieces})
    rows = []
    for piece in pieces:
        known = piece.prior_starts is not None
        starts = (piece.prior_starts or 0) + piece.arcs + planned.get(piece.pk, 0)
        arc_s = (piece.prior_arc_s or 0.0) + piece.arc_us / 1_000_000
        view = piece_view(
            piece=piece.pk,
            starts=starts if known else None,
            arc_s=arc_s if known else None,
            learned=learned[piece.part_id],
            inspections=piece.inspections,
            out=piece.state in ENDED,
        )
        rows.append(_row(piece, view, now))
    PieceOutlook.objects.bulk_create(
        rows,
        update_conflicts=True,
        unique_fields=["piece"],
        update_fields=[f.name for f in PieceOutlook._meta.fields if f.name not in ("id", "piece")],
        batch_size=500,
    )
    if ask:
        for part in sorted(_news(pieces, rows, learned)):
            request_work(kind=KIND, key=str(part))


def _row(piece: PieceIn, view: PieceView, now: datetime) -> PieceOutlook:
    return PieceOutlook(
        piece_id=piece.pk,
        starts=view.starts,
        arc_s=view.arc_s,
        pit_mm=view.pit_mm,
        pits=[[pit.starts, pit.arc_s, pit.pit_mm] for pit in readings_of(piece.inspections)],
        starts_left=view.starts_left,
        due=view.due,
        left_low=view.left_low,
        left_high=view.left_high,
        basis=view.basis[:200],
        basis_said=stored(view.basis),
        rests_on=view.rests_on,
        computed_at=now,
    )


def _news(
    pieces: Sequence[PieceIn], rows: Sequence[PieceOutlook], learned: Mapping[int, Learned]
) -> set[int]:
    """Parts with a piece that came out, or was looked at, since they were learned of; and those
    with one that was learned from as out and is not any more."""
    told = {
        record.piece: (record.life.age, record.life.ended, len(record.readings))
        for one in learned.values()
        for record in one.records
    }
    found = set()
    for piece, row in zip(pieces, rows, strict=True):
        age, ended, pits = told.get(piece.pk, (None, False, 0))
        out = piece.state in ENDED
        came_out = out and row.starts and row.starts != age
        if came_out or (ended and not out) or len(row.pits) != pits:
            found.add(piece.part_id)
    return found
