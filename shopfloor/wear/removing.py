"""Wear parts out of torches: what becomes of each, and one failure or crash told as one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID, uuid4

from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from shopfloor.audit.undo_record import UndoRecord
from shopfloor.background.request import request_work
from shopfloor.errors import FloorError
from shopfloor.models import FailureCause, Fitting, Piece, PieceState, Segment, Torch, User
from shopfloor.wear.endings import FORMER, failed_kind

OUT = (
    PieceState.SHELVED,
    PieceState.FAILED,
    PieceState.RETIRED,
    PieceState.CRASHED,
    PieceState.LOST,
)


@dataclass(frozen=True, slots=True)
class Ending:
    """What is kept of a removal."""

    state: str
    cause: str
    reason: str
    collateral: bool


def ending(*, state: str, cause: str = "", reason: str = "", collateral: bool = False) -> Ending:
    """Holds state and cause together. One that only went with another is taken out of use, never
    failed. Raises `FloorError` for what no piece can come to."""
    if state not in OUT:
        raise FloorError(
            _("{state!r} is none of {out}.").format(state=state, out=", ".join(OUT)), ask="state"
        )
    if not cause and reason in FORMER:
        cause, reason = FORMER[reason], ""
    if cause and cause not in FailureCause.values:
        raise FloorError(_("{cause!r} is no cause of a failure.").format(cause=cause), ask="cause")
    if state == PieceState.CRASHED:
        cause = cause or FailureCause.CRASH
    elif cause == FailureCause.CRASH:
        raise FloorError(_("Say of the old part that it was a crash."), ask="state")
    collateral = collateral and state in (PieceState.FAILED, PieceState.RETIRED)
    return Ending(PieceState.RETIRED if collateral else state, cause, reason[:40], collateral)


@transaction.atomic
def piece_remove(
    *,
    fitting: Fitting,
    state: str,
    by: User,
    at: datetime,
    cause: str = "",
    reason: str = "",
    collateral: bool = False,
    incident: UUID | None = None,
    undo_record: UndoRecord | None = None,
) -> None:
    """Takes a piece out. `state` is what becomes of it; pieces of one crash or failure share
    `incident`, and in one incident only the first told of failed by itself."""
    undo_record = undo_record or UndoRecord()
    if incident is not None and state == PieceState.FAILED:
        told = Fitting.objects.filter(incident=incident, removal_state=PieceState.FAILED)
        collateral = collateral or told.exclude(pk=fitting.pk).exists()
    end = ending(state=state, cause=cause, reason=reason, collateral=collateral)
    if at < fitting.fitted_at:
        raise FloorError(
            _("It cannot come out before it went in."), _("Check this screen's clock.")
        )
    undo_record.change(
        fitting,
        removed_at=at,
        removed_by=by,
        removal_state=end.state,
        removal_cause=end.cause,
        removal_reason=end.reason,
        collateral=end.collateral,
        incident=incident,
    )
    undo_record.change(fitting.piece, state=end.state)
    figures_wanted(fitting.piece, fitting.torch, at)


def pieces_remove(
    *,
    fittings: Sequence[Fitting],
    state: str,
    by: User,
    at: datetime,
    cause: str = "",
    reason: str = "",
    undo_record: UndoRecord | None = None,
) -> None:
    """Takes several out at once, all to the same end. Where they failed, the one that the cause
    shows on did, and the others went with it."""
    end = ending(state=state, cause=cause, reason=reason)
    fails = end.state == PieceState.FAILED and len(fittings) > 1
    if fails and not end.cause:
        raise FloorError(_("Which part failed, and why?"), ask="cause")
    kind = failed_kind([one.piece.part.kind for one in fittings], end.cause) if fails else None
    together = fails or (end.state == PieceState.CRASHED and len(fittings) > 1)
    incident = uuid4() if together else None
    for fitting in fittings:
        piece_remove(
            fitting=fitting,
            state=end.state,
            by=by,
            at=at,
            cause=end.cause,
            reason=end.reason,
            collateral=fails and fitting.piece.part.kind != kind,
            incident=incident,
            undo_record=undo_record,
        )


def figures_wanted(piece: Piece, torch: Torch, since: datetime) -> None:
    """The piece's outlook, and the runs whose wear this decides: a change may be told late."""
    request_work(kind="piece", key=str(piece.pk))
    request_work(kind="life", key=str(piece.part_id))  # its age may be the same, its end is not
    late = Segment.objects.filter(Q(ended_at=None) | Q(ended_at__gt=since), torch=torch)
    for run in late.values_list("run", flat=True).distinct():
        request_work(kind="run", key=str(run))
