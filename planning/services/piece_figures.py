"""What each run pays for a piece, and the piece's outlook. Work kind "piece", key: piece id."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext_noop as N_

from planning.calc.allocation import share_out
from planning.calc.wear import Charges, charges
from planning.inputs.chunks import chunked, in_chunks
from planning.inputs.pieces import PieceIn, load_pieces
from planning.inputs.shifts import ShiftBook
from planning.services.outlooks import ENDED, outlooks_keep
from planning.services.postings import MonthPicker, TargetPosting, post_differences
from planning.services.run_types import CRASH, FINISHED
from planning.services.summaries import months_changed
from shopfloor.models import PartResult, PieceUse, Posting
from shopfloor.runs.arcs import from_us, to_us


@dataclass(frozen=True, slots=True)
class UseRow:
    run_id: uuid.UUID
    run_state: str
    opened_us: int
    starts: int
    weights: dict[str, float]
    evidence: str
    known_starts: int


def piece_figures(*, key: str, payload: dict[str, Any]) -> None:
    """Does one piece. Harmless to repeat."""
    pieces_write([int(key)], now=timezone.now())


@transaction.atomic
def pieces_write(ids: Iterable[int], *, now: datetime, months: MonthPicker | None = None) -> None:
    """Outlook and postings of these pieces, in bulk. `months`: the caller's, which tells of the
    months changed itself."""
    pieces = load_pieces(ids)
    if not pieces:
        return
    keys = [piece.pk for piece in pieces]
    uses = _uses(keys)
    edges = [use.opened_us for own in uses.values() for use in own]
    edges += [edge for piece in pieces for edge in (piece.made_us, piece.last_us)]
    shifts = ShiftBook(from_us(min(edges)), from_us(max(edges)))
    crash_lines = _crash_lines([piece for piece in pieces if piece.state == "crashed"], uses)
    wants: list[TargetPosting] = []
    for piece in pieces:
        wants += wear_wants(piece, uses[piece.pk], shifts, crash_lines)
    book = months or MonthPicker()
    for some in in_chunks(keys):
        own = set(some)
        post_differences(
            [want for want in wants if want.piece_id in own],
            Posting.objects.filter(piece__in=some),
            months=book,
        )
    if months is None:
        months_changed(book.changed)
    outlooks_keep(pieces, _planned_starts(uses), now)


def outlooks_write(ids: Iterable[int], *, now: datetime) -> None:
    """Outlooks alone: what was learned of their part has changed, not what they cost."""
    pieces = load_pieces(ids)
    outlooks_keep(pieces, _planned_starts(_uses([piece.pk for piece in pieces])), now, ask=False)


def _planned_starts(uses: dict[int, list[UseRow]]) -> dict[int, int]:
    """By piece, starts that nobody heard or entered."""
    return {piece: sum(use.starts - use.known_starts for use in own) for piece, own in uses.items()}


def _uses(pieces: list[int]) -> dict[int, list[UseRow]]:
    found: dict[int, list[UseRow]] = defaultdict(list)
    rows = chunked(
        pieces,
        lambda some: (
            PieceUse.objects.filter(piece__in=some)
            .order_by("at", "run_id")
            .values_list(
                "piece_id",
                "run_id",
                "run__state",
                "run__opened_at",
                "starts",
                "weights",
                "evidence",
                "known_starts",
            )
        ),
    )
    for piece, run, state, opened, *rest in rows:
        found[piece].append(UseRow(run, state, to_us(opened), *rest))
    return found


def _crash_lines(
    crashed: list[PieceIn], uses: dict[int, list[UseRow]]
) -> dict[uuid.UUID, int | None]:
    """Whose part a crash spoilt, by run: who bears the pieces it took."""
    runs = {uses[piece.pk][-1].run_id for piece in crashed if uses[piece.pk]}
    rows = PartResult.objects.filter(run__in=runs, outcome="scrap", cause__startswith=CRASH)
    return dict(rows.order_by("quantity", "-line_id").values_list("run_id", "line_id"))


def wear_wants(
    piece: PieceIn,
    uses: list[UseRow],
    shifts: ShiftBook,
    crash_lines: dict[uuid.UUID, int | None],
) -> list[TargetPosting]:
    """A piece's postings. Runs that are not finished yet have their share worked out and not
    posted; starts that belong to no run are the shop's, like those before the piece was known."""
    nowhere = max(0, piece.arcs - sum(use.known_starts for use in uses))
    ended = piece.state if piece.state in ENDED else ""
    due = charges(
        piece.price_minor,
        [use.starts for use in uses] + [nowhere],
        rated_starts=piece.rated_starts,
        prior_starts=piece.prior_starts,
        ended=ended,
    )
    by_starts = ended in ("failed", "retired")  # else by a rated life, which is a plan
    wants = []
    for use, minor in zip(uses, due.by_use, strict=False):
        if use.run_state == FINISHED:
            evidence = use.evidence if by_starts else "planned"
            wants += _of_run(piece, use, minor, evidence, shifts)
    return wants + _of_shop(piece, uses, due, nowhere, ended, shifts, crash_lines)


def _of_run(
    piece: PieceIn, use: UseRow, minor: int, evidence: str, shifts: ShiftBook
) -> list[TargetPosting]:
    whole = sum(use.weights.values()) or 1.0
    return [
        TargetPosting(
            key=f"wear:{piece.pk}:{use.run_id}:{line or 'shop'}",
            kind="wear",
            amount_minor=amount,
            shift_date=shifts.date_of(use.opened_us),
            evidence=evidence,
            line_id=int(line) if line else None,
            run_id=use.run_id,
            piece_id=piece.pk,
            quantity=use.starts * use.weights[line] / whole,
            unit="start",
        )
        for line, amount in share_out(minor, use.weights or {"": 1.0}).items()
    ]


def _of_shop(
    piece: PieceIn,
    uses: list[UseRow],
    due: Charges,
    nowhere: int,
    ended: str,
    shifts: ShiftBook,
    crash_lines: dict[uuid.UUID, int | None],
) -> list[TargetPosting]:
    first_us = piece.fittings[0].from_us if piece.fittings else piece.made_us
    last = shifts.date_of(piece.last_us)
    key = f"wear:{piece.pk}"
    wants = [
        _unearned(piece, "before", due.before, shifts.date_of(first_us), piece.prior_starts),
        _unearned(piece, N_("no run"), due.by_use[-1], last, nowhere),
    ]
    if ended == "crashed":
        run = uses[-1].run_id if uses else None
        line = crash_lines.get(run) if run else None
        crash = _unearned(piece, CRASH, due.rest, last, None)
        wants.append(replace(crash, kind=CRASH, run_id=run, line_id=line))
    else:
        wants.append(replace(_unearned(piece, ended, due.rest, last, None), key=f"{key}:rest"))
    return [want for want in wants if want.amount_minor]


def _unearned(
    piece: PieceIn, cause: str, minor: int, day: date, starts: int | None
) -> TargetPosting:
    """A part of a piece's price that no run's line pays."""
    return TargetPosting(
        key=f"wear:{piece.pk}:{cause}",
        kind="wear",
        amount_minor=minor,
        shift_date=day,
        evidence="planned" if starts else "entered",
        piece_id=piece.pk,
        quantity=starts,
        unit="start" if starts else "",
        cause=cause,
    )
