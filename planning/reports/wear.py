"""Torches, pieces, what is left in them and in the drawer."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import pandas as pd
from django.db.models import Count, Q, Sum

from planning.reports.frames import currency, frame
from planning.reports.shapes import WearBoard
from shopfloor.models import Fitting, Piece, PieceState, Posting, SetPart

HISTORY = 200


def wear_board(*, now: datetime) -> WearBoard:
    """Every piece fitted or shelved, the drawer, and the last 200 that came out for good. Ages are
    as published, with when in `computed_at` of `fitted`'s attrs. Six queries."""
    fitted = list(
        Fitting.objects.filter(removed_at=None, fitted_at__lte=now)
        .select_related("piece__part__wear_set", "piece__outlook", "torch__table")
        .order_by("torch__table__order", "torch__table__name", "torch__code", "piece__part__kind")
    )
    gone = list(
        Fitting.objects.exclude(removed_at=None)
        .exclude(removal_state__in=("", PieceState.SHELVED))
        .select_related("piece__part__wear_set", "piece__outlook")
        .order_by("-removed_at", "-pk")[:HISTORY]
    )
    shelved = list(
        Piece.objects.filter(state=PieceState.SHELVED)
        .select_related("part__wear_set", "outlook")
        .order_by("part__wear_set__current_a", "part__kind", "label")
    )
    pieces = {row.piece_id for row in [*fitted, *gone]}
    charged = dict(
        Posting.objects.filter(piece__in=pieces)
        .order_by()
        .values_list("piece_id")
        .annotate(all=Sum("amount_minor"))
    )
    money = currency()
    return WearBoard(
        fitted=frame(
            "piece_id label table torch torch_id wear_set duty kind fitted_at starts arc_s pit_mm "
            "starts_left left_low left_high due basis price_minor charged_minor",
            [_fitted(row, charged) for row in fitted],
            computed_at=max((o.computed_at for r in fitted if (o := _of(r.piece))), default=None),
            **money,
        ),
        shelved=frame(
            "piece_id label wear_set kind starts arc_s starts_left due",
            [_shelved(piece) for piece in shelved],
        ),
        drawer=_drawer(money),
        history=frame(
            "piece_id label wear_set kind state reason fitted_at removed_at starts arc_s "
            "price_minor charged_minor",
            [_gone(row, charged) for row in gone],
            **money,
        ),
    )


def _shelved(piece: Piece) -> tuple[Any, ...]:
    """A row of `shelved`."""
    return (
        piece.pk,
        piece.label,
        str(piece.part.wear_set),
        piece.part.kind,
        *_age(piece, "starts", "arc_s", "starts_left"),
        _of(piece).due if _of(piece) else "unknown",
    )


def _gone(row: Fitting, charged: dict[int, int]) -> tuple[Any, ...]:
    """A row of `history`."""
    return (
        row.piece_id,
        row.piece.label,
        str(row.piece.part.wear_set),
        row.piece.part.kind,
        row.removal_state,
        row.removal_reason,
        row.fitted_at,
        row.removed_at,
        *_age(row.piece, "starts", "arc_s"),
        row.piece.price_minor,
        charged.get(row.piece_id, 0),
    )


def _of(piece: Piece) -> Any:
    return getattr(piece, "outlook", None)


def _age(piece: Piece, *names: str) -> list[Any]:
    outlook = _of(piece)
    return [getattr(outlook, name) if outlook else None for name in names]


def _fitted(row: Fitting, charged: dict[int, int]) -> tuple[Any, ...]:
    piece, outlook = row.piece, _of(row.piece)
    return (
        piece.pk,
        piece.label,
        row.torch.table.name,
        row.torch.code,
        row.torch_id,
        str(piece.part.wear_set),
        piece.part.wear_set.duty,
        piece.part.kind,
        row.fitted_at,
        *_age(piece, "starts", "arc_s", "pit_mm", "starts_left", "left_low", "left_high"),
        outlook.due if outlook and outlook.due else "unknown",
        outlook.basis if outlook else "not worked out yet",
        piece.price_minor,
        charged.get(piece.pk, 0),
    )


def _drawer(money: dict[str, Any]) -> pd.DataFrame:
    parts = (
        SetPart.objects.filter(wear_set__active=True)
        .select_related("wear_set")
        .annotate(half_used=Count("pieces", filter=Q(pieces__state=PieceState.SHELVED)))
        .order_by("wear_set__current_a", "kind")
    )
    return frame(
        "set_id wear_set duty kind name price_minor rated_starts in_drawer shelved low_at low",
        [
            (
                part.wear_set_id,
                str(part.wear_set),
                part.wear_set.duty,
                part.kind,
                part.name,
                part.price_minor,
                part.rated_starts,
                part.in_drawer,
                part.half_used,
                part.low_at,
                part.in_drawer <= part.low_at,
            )
            for part in parts
        ],
        **money,
    )
