"""Trays and pieces changed, pieces looked at."""

from __future__ import annotations

import uuid
from typing import Any

from django.utils.translation import gettext as _

from shopfloor.actions.call import ActionRequest
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
    piece_remove,
    pit_limit_mm,
    set_question,
    tray_fit,
)


def change_tray(call: ActionRequest) -> dict[str, Any]:
    label = call.text("tray")
    tray = Tray.objects.filter(label=label).first()
    if tray is None:
        raise FloorError(
            _("There is no tray {label!r}.").format(label=label), _("Scan it again."), ask="tray"
        )
    table = call.table()
    torch = call.torch(table)
    fitted, removed = tray_fit(
        tray=tray,
        torch=torch,
        by=call.person,
        at=call.at,
        state=call.text("state") or PieceState.SHELVED,
        reason=call.text("reason"),
        action=call.action,
        memo=call.memo,
    )
    return {
        "torch": torch.code,
        "set": str(tray.wear_set),
        "fitted": [piece.label for piece in fitted],
        "removed": [piece.label for piece in removed],
        "questions": _continue_in_new_segment(call, table, torch),
    }


def change_piece(call: ActionRequest) -> dict[str, Any]:
    """One piece out, one in, or either. Pieces of one crash share an incident."""
    table = call.table()
    torch = call.torch(table)
    new = _new_piece(call)
    fitting = _old_fitting(call, torch, new)
    if new is None and fitting is None:
        raise FloorError(_("Which piece?"), _("Scan it, or tap it on the torch."), ask="piece")
    incident = _incident(call)
    if fitting is not None:
        state = call.text("state")
        if not state:
            raise FloorError(_("What becomes of the old one?"), ask="state")
        piece_remove(
            fitting=fitting,
            state=state,
            by=call.person,
            at=call.at,
            reason=call.text("reason"),
            incident=incident,
            memo=call.memo,
        )
    if new is not None:
        piece_fit(
            piece=new, torch=torch, by=call.person, at=call.at, action=call.action, memo=call.memo
        )
    return {
        "torch": torch.code,
        "fitted": new.label if new else None,
        "removed": fitting.piece.label if fitting else None,
        "incident": str(incident) if incident else None,
        "questions": _continue_in_new_segment(call, table, torch),
    }


def inspect(call: ActionRequest) -> dict[str, Any]:
    label = call.text("piece")
    piece = Piece.objects.select_related("part").filter(label=label).first()
    if piece is None:
        raise FloorError(
            _("There is no piece {label!r}.").format(label=label), _("Scan it again."), ask="piece"
        )
    stay = Fitting.objects.filter(piece=piece, removed_at=None).select_related("torch__table")
    fitted = stay.first()
    call.belongs(f"{piece.label}", fitted.torch.table if fitted is not None else None)
    round_ = call.payload.get("orifice_round")
    if round_ is not None and not isinstance(round_, bool):
        raise FloorError(_("Is the orifice round: yes or no?"))
    inspection, due = piece_inspect(
        piece=piece,
        by=call.person,
        at=call.at,
        pit_mm=call.number("pit_mm"),
        orifice_round=round_,
        note=call.text("note"),
        memo=call.memo,
    )
    return {"inspection": inspection.pk, "due": due, "limit_mm": pit_limit_mm(piece)}


def _continue_in_new_segment(call: ActionRequest, table: Table, torch: Torch) -> list[str]:
    """A run under way with another set than its segment says goes on in a new segment. Returns
    what to ask the person about it."""
    run = current_run(table, call.at)
    if run is None or run.state not in (RunState.OPEN, RunState.STOPPED):
        return []
    fitted = set_fitted(torch, call.at)
    last = run.segments.filter(torch=torch).order_by("-started_at", "-pk").first()
    if fitted is not None and last is not None and last.wear_set_id != fitted.pk:
        _new_segment(call, run, torch)
    question = set_question(fitted=fitted, wanted=run.revision.nest.wear_set)
    return [question] if question else []


def _new_segment(call: ActionRequest, run: Run, torch: Torch) -> None:
    stopped = run.state == RunState.STOPPED
    last = run.segments.order_by("-started_at", "-pk").first()
    if last is not None and not last.end_reason:
        segment_end(segment=last, at=call.at, reason="change", memo=call.memo)
        operator = last.operator or call.person
    else:
        operator = call.person
    run_restart(run=run, at=call.at, operator=operator, torch=torch, memo=call.memo)
    if stopped:
        call.memo.change(run, state=RunState.STOPPED)
    arcs_matched(table=run.table, start=run.opened_at, end=call.now, now=call.now)


def _new_piece(call: ActionRequest) -> Piece | None:
    label, part = call.text("new"), call.number("new_part")
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
    return piece_from_drawer(part=kind, memo=call.memo)


def _old_fitting(call: ActionRequest, torch: Torch, new: Piece | None) -> Fitting | None:
    """The piece named, else the one of the new piece's kind in this torch."""
    label = call.text("old")
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


def _incident(call: ActionRequest) -> uuid.UUID | None:
    text = call.text("incident")
    if not text:
        return None
    try:
        incident = uuid.UUID(text)
    except ValueError:
        raise FloorError(_("The incident's id cannot be read.")) from None
    crashed = Fitting.objects.filter(incident=incident).select_related("torch__table").first()
    call.belongs(_("That crash"), crashed.torch.table if crashed is not None else None)
    return incident
