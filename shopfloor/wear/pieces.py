"""Wear parts in and out of torches. A piece is one thing with its own age; a fitting is its stay
in a torch. What comes out half used goes back in the drawer and may be fitted again."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from planning.calc.said import said
from shopfloor.audit.undo_record import UndoRecord
from shopfloor.background.request import request_work
from shopfloor.errors import FloorError
from shopfloor.models import (
    Action,
    Fitting,
    Inspection,
    Piece,
    PieceState,
    SetPart,
    Torch,
    Tray,
    User,
    WearSet,
)
from shopfloor.site.queries import the_shop
from shopfloor.wear.buying import take_one
from shopfloor.wear.fitted import fittings_in
from shopfloor.wear.removing import figures_wanted, pieces_remove

DEEPEST_PIT_MM = 10.0
USABLE = (PieceState.NEW, PieceState.SHELVED)


@transaction.atomic
def piece_fit(
    *,
    piece: Piece,
    torch: Torch,
    by: User,
    at: datetime,
    action: Action | None = None,
    undo_record: UndoRecord | None = None,
) -> Fitting:
    """Puts a piece into a torch. Its kind's place must be empty, and it must not be somewhere
    else or past use."""
    undo_record = undo_record or UndoRecord()
    piece = Piece.objects.select_for_update().get(pk=piece.pk)
    if piece.state not in USABLE:
        raise FloorError(
            _("{piece} is {label}.").format(piece=piece.label, label=PieceState(piece.state).label),
            _("Scan another one.")
            if piece.state != PieceState.FITTED
            else _("Take it out there first."),
        )
    for fitting in fittings_in(torch):
        if fitting.piece.part.kind == piece.part.kind:
            raise FloorError(
                _("{piece} is still in {torch}.").format(piece=fitting.piece.label, torch=torch),
                _("Say what comes out first."),
            )
    fitting = undo_record.create(
        Fitting(piece=piece, torch=torch, fitted_at=at, fitted_by=by, action=action)
    )
    undo_record.change(piece, state=PieceState.FITTED)
    figures_wanted(piece, torch, at)
    return fitting


@transaction.atomic
def tray_fit(
    *,
    tray: Tray,
    torch: Torch,
    by: User,
    at: datetime,
    state: str = PieceState.SHELVED,
    cause: str = "",
    reason: str = "",
    action: Action | None = None,
    undo_record: UndoRecord | None = None,
) -> tuple[list[Piece], list[Piece]]:
    """One scan swaps everything: the torch is emptied and the tray's usable pieces go in.
    Returns what went in and what came out. A piece of the tray that is in this torch stays. Of
    pieces that come out for a failure one failed, the others go with it."""
    undo_record = undo_record or UndoRecord()
    wanted = [piece for piece in _pieces_of(tray) if piece.state in USABLE or _in(piece, torch)]
    if not wanted:
        raise FloorError(_("Tray {tray} holds nothing that can be fitted.").format(tray=tray.label))
    _one_a_kind(wanted, tray)
    inside, own = fittings_in(torch), {piece.pk for piece in wanted}
    staying = {fitting.piece_id for fitting in inside} & own
    out = [fitting for fitting in inside if fitting.piece_id not in own]
    pieces_remove(
        fittings=out, state=state, cause=cause, reason=reason, by=by, at=at,
        undo_record=undo_record,
    )  # fmt: skip
    removed = [fitting.piece for fitting in out]
    fitted = [piece for piece in wanted if piece.pk not in staying]
    for piece in fitted:
        piece_fit(piece=piece, torch=torch, by=by, at=at, action=action, undo_record=undo_record)
    return fitted, removed


@transaction.atomic
def piece_from_drawer(*, part: SetPart, undo_record: UndoRecord | None = None) -> Piece:
    """A fresh piece of a kind, taken off the drawer's count, at the price it was bought at."""
    undo_record = undo_record or UndoRecord()
    price_minor, receipt = take_one(part, undo_record)
    return undo_record.create(
        Piece(
            label=_free_label(part),
            part=part,
            price_minor=price_minor,
            receipt=receipt,
            rated_starts=part.rated_starts,
        )
    )


@transaction.atomic
def piece_inspect(
    *,
    piece: Piece,
    by: User,
    at: datetime,
    pit_mm: float | None = None,
    orifice_round: bool | None = None,
    note: str = "",
    undo_record: UndoRecord | None = None,
) -> tuple[Inspection, bool | None]:
    """What a person saw, and whether the piece is due by it (None: that says nothing)."""
    if pit_mm is None and orifice_round is None and not note:
        raise FloorError(
            _("Nothing was said of the piece."), _("Give the pit's depth or the orifice.")
        )
    if pit_mm is not None and not 0 <= pit_mm <= DEEPEST_PIT_MM:
        again = said("Measure again: 0 to {0}.", DEEPEST_PIT_MM)
        raise FloorError(said("A pit of {0}?", pit_mm), again)
    inspection = (undo_record or UndoRecord()).create(
        Inspection(
            piece=piece,
            at=at,
            by=by,
            pit_mm=pit_mm,
            orifice_round=orifice_round,
            note=note[:200],
        )
    )
    request_work(kind="piece", key=str(piece.pk))
    due: bool | None = None
    if pit_mm is not None:
        due = pit_mm >= pit_limit_mm(piece)
    if orifice_round is not None:
        due = bool(due) or not orifice_round
    return inspection, due


def pit_limit_mm(piece: Piece) -> float:
    """The part's own limit where the shop set one, else the shop's."""
    own = piece.part.pit_limit_mm
    return own if own is not None else the_shop().pit_limit_mm


def set_question(*, fitted: WearSet | None, wanted: WearSet) -> str:
    """A sentence where the set in the torch is not the one a nest was planned for; else ""."""
    if fitted is None:
        return _("Kerfbook does not know what is in the torch; this nest is for {wanted}.").format(
            wanted=wanted
        )
    if fitted.pk == wanted.pk:
        return ""
    return _("{fitted} is fitted, this nest is for {wanted}.").format(fitted=fitted, wanted=wanted)


def _pieces_of(tray: Tray) -> list[Piece]:
    return list(tray.pieces.select_related("part__wear_set").order_by("part__kind", "pk"))


def _in(piece: Piece, torch: Torch) -> bool:
    return piece.fittings.filter(torch=torch, removed_at=None).exists()


def _one_a_kind(pieces: Sequence[Piece], tray: Tray) -> None:
    kinds = [piece.part.kind for piece in pieces]
    twice = {kind for kind in kinds if kinds.count(kind) > 1}
    if twice:
        raise FloorError(
            _("Tray {tray} holds two of a kind: {twice}.").format(
                tray=tray.label, twice=", ".join(sorted(twice))
            ),
            _("Take one out of the tray, or change the pieces one by one."),
        )


def _free_label(part: SetPart) -> str:
    stem = f"{part.wear_set.code}-{part.kind}"[:33]
    number = part.pieces.count() + 1
    while Piece.objects.filter(label=f"{stem}-{number}").exists():
        number += 1
    return f"{stem}-{number}"
