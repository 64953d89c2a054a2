"""Torches, pieces, what is left in them and in the drawer."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from datetime import datetime
from typing import Any

import pandas as pd
from django.db.models import QuerySet, Subquery, Sum
from django.utils.translation import gettext as _

from planning.calc.said import stored
from planning.reports.frames import currency, frame
from planning.reports.shapes import WearBoard
from shopfloor.models import Fitting, Piece, PieceState, Posting, SetPart
from shopfloor.wear.endings import ending_words

HISTORY = 60
LOOKED_BACK = 200  # pieces that came out, for those like one
Parts = Mapping[int, SetPart]
# Columns of a piece's own and of its outlook, by the names that a frame has for them.
AGES = ("starts", "arc_s")
PIECE = ("piece__label", "piece__price_minor", "piece__part_id")
LEFT = ("pit_mm", "starts_left", "left_low", "left_high")


def wear_board(*, now: datetime) -> WearBoard:
    """Every piece fitted or shelved, the drawer, and the last ones that came out for good. Ages are
    as published, with when in `computed_at` of `fitted`'s attrs. Six queries, of columns: with
    whole pieces, sets and outlooks around each the page would take twice as long."""
    parts = {part.pk: part for part in _parts()}
    fitted, gone, shelf = _fittings_now(now), _fittings_gone(), _on_the_shelf()
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
            [_fitted(row, parts, charged) for row in fitted],
            computed_at=max(
                (at for row in fitted if (at := row.piece__outlook__computed_at)), default=None
            ),
            **money,
        ),
        shelved=frame(
            "piece_id label wear_set kind starts arc_s starts_left due",
            [_shelved(row, parts) for row in shelf],
        ),
        drawer=_drawer(parts, Counter(row.part_id for row in shelf), money),
        history=frame(
            "piece_id label wear_set kind state reason fitted_at removed_at starts arc_s "
            "price_minor charged_minor",
            [_gone(row, parts, charged) for row in gone],
            **money,
        ),
    )


def _parts() -> QuerySet[SetPart]:
    """Every part of every set."""
    return SetPart.objects.select_related("wear_set").order_by("wear_set__current_a", "kind")


def _outlook(*names: str, of: str = "piece__") -> list[str]:
    """Columns of the piece's outlook; each None where it has none yet."""
    return [f"{of}outlook__{name}" for name in names]


def _fittings_now(now: datetime) -> list[Any]:
    return list(
        Fitting.objects.filter(removed_at=None, fitted_at__lte=now)
        .order_by("torch__table__order", "torch__table__name", "torch__code", "piece__part__kind")
        .values_list(
            "piece_id", "torch_id", "fitted_at", *PIECE, "torch__code", "torch__table__name",
            *_outlook(*AGES, *LEFT, "due", "basis", "basis_said", "computed_at"), named=True,
        )
    )  # fmt: skip


def _gone_for_good() -> QuerySet[Fitting]:
    """The last ones first."""
    out = Fitting.objects.exclude(removed_at=None)
    return out.exclude(removal_state__in=("", PieceState.SHELVED)).order_by("-removed_at", "-pk")


def _fittings_gone() -> list[Any]:
    return list(
        _gone_for_good().values_list(
            "piece_id", "fitted_at", "removed_at", "removal_state", "removal_cause",
            "removal_reason", "collateral", *PIECE, *_outlook(*AGES), named=True,
        )[:HISTORY]
    )  # fmt: skip


def pieces_before(piece: int) -> list[int]:
    """Pieces of the same part that came out for good, the last first, of the last 200 of all."""
    part = Subquery(Piece.objects.filter(pk=piece).values("part"))
    gone = _gone_for_good().values_list("piece", "piece__part", part)[:LOOKED_BACK]
    return [one for one, of, part in gone if of == part and one != piece]


def _on_the_shelf() -> list[Any]:
    return list(
        Piece.objects.filter(state=PieceState.SHELVED)
        .order_by("part__wear_set__current_a", "part__kind", "label")
        .values_list(
            "pk", "label", "part_id", *_outlook(*AGES, "starts_left", "due", of=""), named=True
        )
    )


def _shelved(row: Any, parts: Parts) -> tuple[Any, ...]:
    """A row of `shelved`."""
    part = parts[row.part_id]
    return (
        row.pk,
        row.label,
        str(part.wear_set),
        part.kind,
        row.outlook__starts,
        row.outlook__arc_s,
        row.outlook__starts_left,
        "unknown" if row.outlook__due is None else row.outlook__due,
    )


def _gone(row: Any, parts: Parts, charged: dict[int, int]) -> tuple[Any, ...]:
    """A row of `history`."""
    part = parts[row.piece__part_id]
    return (
        row.piece_id,
        row.piece__label,
        str(part.wear_set),
        part.kind,
        row.removal_state,
        ending_words(row.removal_cause, row.removal_reason, collateral=row.collateral),
        row.fitted_at,
        row.removed_at,
        row.piece__outlook__starts,
        row.piece__outlook__arc_s,
        row.piece__price_minor,
        charged.get(row.piece_id, 0),
    )


def _basis(text: str | None, sentence: dict[str, Any] | None) -> dict[str, Any]:
    """What an outlook rests on as it is stored; one of before has its text alone."""
    if text is None:
        return stored(_("not worked out yet"))
    return sentence or stored(text)


def _fitted(row: Any, parts: Parts, charged: dict[int, int]) -> tuple[Any, ...]:
    """A row of `fitted`."""
    part = parts[row.piece__part_id]
    basis = _basis(row.piece__outlook__basis, row.piece__outlook__basis_said)
    return (
        row.piece_id,
        row.piece__label,
        row.torch__table__name,
        row.torch__code,
        row.torch_id,
        str(part.wear_set),
        part.wear_set.duty,
        part.kind,
        row.fitted_at,
        *(getattr(row, name) for name in _outlook(*AGES, *LEFT)),
        row.piece__outlook__due or "unknown",
        basis,
        row.piece__price_minor,
        charged.get(row.piece_id, 0),
    )


def _drawer(parts: Parts, shelved: Counter[int], money: dict[str, Any]) -> pd.DataFrame:
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
                shelved[part.pk],
                part.low_at,
                part.in_drawer <= part.low_at,
            )
            for part in parts.values()
            if part.wear_set.active
        ],
        **money,
    )
