"""Trays and pieces changed, pieces looked at."""

from __future__ import annotations

import uuid
from typing import Any

from django.utils.translation import gettext as _

from shopfloor.actions.request import ActionRequest
from shopfloor.errors import FloorError
from shopfloor.models import Fitting, Piece, PieceState, Run, RunState, SetPart, Table, Torch, Tray
from shopfloor.runs.assigning import arcs_matched
from shopfloor.runs.queries import current_run
from shopfloor.runs.services import run_restart, segment_end
from shopfloor.wear.fitted import fittings_in, set_fitted
from shopfloor.wear.pieces import (
    piece_fit,
    piece_from_drawer,
    piece_inspect,
    pit_limit_mm,
    set_question,
    tray_fit,
)
from shopfloor.wear.removing import piece_remove


def change_tray(request: ActionRequest) -> dict[str, Any]:
    label = request.text("tray")
    tray = Tray.objects.filter(label=label).first()
    if tray is None:
        raise FloorError(
            _("There is no tray {label!r}.").format(label=label), _("Scan it again."), ask="tray"
        )
    table = request.table()
    torch = request.torch(table)
    fitted, removed = tray_fit(
        tray=tray,
        torch=torch,
        by=request.person,
        at=request.at,
        state=request.text("state") or PieceState.SHELVED,
        cause=request.text("cause"),
        reason=request.text("reason"),
        action=request.action,
        undo_record=request.undo_record,
    )
    return {
        "torch": torch.code,
        "set": str(tray.wear_set),
        "fitted": [piece.label for piece in fitted],
        "removed": [piece.label for piece in removed],
        "questions": _continue_in_new_segment(request, table, torch),
    }


def change_piece(request: ActionRequest) -> dict[str, Any]:
    """One piece out, one in, or either. Pieces of one crash or failure share an incident;
    `collateral` says that this one only went with the one that failed."""
    table = request.table()
    torch = request.torch(table)
    new = _new_piece(request)
    fitting = _old_fitting(request, torch, new)
    if new is None and fitting is None:
        raise FloorError(_("Which piece?"), _("Scan it, or tap it on the torch."), ask="piece")
    incident = _incident(request)
    if fitting is not None:
        state = request.text("state")
        if not state:
            raise FloorError(_("What becomes of the old one?"), ask="state")
        piece_remove(
            fitting=fitting,
            state=state,
            by=request.person,
            at=request.at,
            cause=request.text("cause"),
            reason=request.text("reason"),
            collateral=request.payload.get("collateral") is True,
            incident=incident,
            undo_record=request.undo_record,
        )
    if new is not None:
        piece_fit(
            piece=new,
            torch=torch,
            by=request.person,
            at=request.at,
            action=request.action,
            undo_record=request.undo_record,
        )
    return {
        "torch": torch.code,
        "fitted": new.label if new else None,
        "removed": fitting.piece.label if fitting else None,
        "incident": str(incident) if incident else None,
        "questions": _continue_in_new_segment(request, table, torch),
    }


def inspect(request: ActionRequest) -> dict[str, Any]:
    label = request.text("piece")
    piece = Piece.objects.select_related("part").filter(label=label).first()
    if piece is None:
        raise FloorError(
            _("There is no piece {label!r}.").format(label=label), _("Scan it again."), ask="piece"
        )
    stay = Fitting.objects.filter(piece=piece, removed_at=None).select_related("torch__table")
    fitted = stay.first()
    request.belongs(f"{piece.label}", fitted.torch.table if fitted is not None else None)
    round_ = request.payload.get("orifice_round")
    if round_ is not None and not isinstance(round_, bool):
        raise FloorError(_("Is the orifice round: yes or no?"))
    inspection, due = piece_inspect(
        piece=piece,
        by=request.person,
        at=request.at,
        pit_mm=request.number("pit_mm"),
        orifice_round=round_,
        note=request.text("note"),
        undo_record=request.undo_record,
    )
    return {"inspection": inspection.pk, "due": due, "limit_mm": pit_limit_mm(piece)}


def _continue_in_new_segment(request: ActionRequest, table: Table, torch: Torch) -> list[str]:
    """A run under way with another set than its segment says goes on in a new segment. Returns
    what to ask the person about it."""
    run = current_run(table, request.at)
    if run is None or run.state not in (RunState.OPEN, RunState.STOPPED):
        return []
    fitted = set_fitted(torch, request.at)
    last = run.segments.filter(torch=torch).order_by("-started_at", "-pk").first()
    if fitted is not None and last is not None and last.wear_set_id != fitted.pk:
        _new_segment(request, run, torch)
    question = set_question(fitted=fitted, wanted=run.revision.nest.wear_set)
    return [question] if question else []


def _new_segment(request: ActionRequest, run: Run, torch: Torch) -> None:
    stopped = run.state == RunState.STOPPED
    last = run.segments.order_by("-started_at", "-pk").first()
    if last is not None and not last.end_reason:
        segment_end(segment=last, at=request.at, reason="change", undo_record=request.undo_record)
        operator = last.operator or request.person
    else:
        operator = request.person
    run_restart(
        run=run, at=request.at, operator=operator, torch=torch, undo_record=request.undo_record
    )
    if stopped:
        request.undo_record.change(run, state=RunState.STOPPED)
    arcs_matched(table=run.table, start=run.opened_at, end=request.now, now=request.now)


def _new_piece(request: ActionRequest) -> Piece | None:
    label, part = request.text("new"), request.number("new_part")
    if label:
        found = Piece.objects.select_related("part").filter(label=label).first()
        if found is None:
            raise FloorError(
                _("There is no piece {label!r}.").format(label=label),
                _("Scan it again."),
                ask="piece",
            )
        return found
    if part is None:
        return None
    kind = SetPart.objects.select_related("wear_set").filter(pk=int(part)).first()
    if kind is None:
        raise FloorError(_("There is no such part."))
    return piece_from_drawer(part=kind, undo_record=request.undo_record)


def _old_fitting(request: ActionRequest, torch: Torch, new: Piece | None) -> Fitting | None:
    """The piece named, else the one of the new piece's kind in this torch."""
    label = request.text("old")
    fittings = fittings_in(torch)
    if label:
        found = next((one for one in fittings if one.piece.label == label), None)
        if found is None:
            raise FloorError(
                _("{label!r} is not in {torch}.").format(label=label, torch=torch),
                _("Look at the torch again."),
            )
        return found
    if new is None:
        return None
    return next((one for one in fittings if one.piece.part.kind == new.part.kind), None)


def _incident(request: ActionRequest) -> uuid.UUID | None:
    text = request.text("incident")
    if not text:
        return None
    try:
        incident = uuid.UUID(text)
    except ValueError:
        raise FloorError(_("The incident's id cannot be read.")) from None
    crashed = Fitting.objects.filter(incident=incident).select_related("torch__table").first()
    request.belongs(_("That incident"), crashed.torch.table if crashed is not None else None)
    return incident
