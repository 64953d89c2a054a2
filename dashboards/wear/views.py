"""Each torch's set and pieces, what is left in them, the drawer, and the pieces before."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.views.decorators.http import require_safe

from dashboards import data, theme
from dashboards.access import desk, reader_of
from dashboards.figures.pit import PitChart, Point, pit_figure
from dashboards.figures.stack import left_words, stack
from dashboards.ledgers import wear as ledgers
from dashboards.ledgers.change_pays import pays_rows
from dashboards.ledgers.wear import PieceRow, TorchRow
from dashboards.records import records
from dashboards.wear import failures, lives
from planning.calc.dates import DAY, dated, weekday_time
from planning.calc.numbers import filled
from planning.calc.said import to_reader
from planning.reports.shapes import WearBoard
from planning.reports.survival import PartLife
from shopfloor.wording.cautions import Caution

log = logging.getLogger(__name__)
CAUTION = Caution(
    title=N_("Before a change"),
    lines=(
        N_("Isolate and lock out, let it cool, follow the maker's manual."),
        N_("The model advises, inspection decides: look at the piece."),
    ),
    references=N_("ANSI Z49.1; 29 CFR 1910.147; or the local code, and qualified judgement."),
)
BEFORE = 24  # pieces whose pits stand beside those of the one in use: more hide each other
AIR_SHIFTS = 20


@desk()
@require_safe
def wear(request: HttpRequest) -> HttpResponseBase:
    """The board of one torch, with every torch and the drawer beneath."""
    try:
        board = data.wear_board(data.now())
        context = _board(board, request, inch=reader_of(request.user).inch)
    except Exception:
        log.exception("wear board")
        context = {"failed": True}
    reader = reader_of(request.user)
    return render(
        request, "kerfbook/wear.html", context | {"reader": reader, "caution": CAUTION.to_reader()}
    )


def _board(board: WearBoard, request: HttpRequest, *, inch: bool) -> dict[str, Any]:
    torches = ledgers.torches(board.fitted)
    chosen = _chosen(torches, request)
    drawer = [row for row in records(board.drawer) if row["kind"]]
    context: dict[str, Any] = {
        "torches": torches,
        "chosen": chosen,
        "drawer": drawer,
        "low": [row for row in drawer if row["low"]],
        "shelved": records(board.shelved),
        "history": records(board.history),
        **failures.context(data.failures()),
        "air": records(data.air_by_shift(data.now(), AIR_SHIFTS)),
    }
    if chosen is not None:
        chosen = _read_by(chosen, inch=inch)
        context["now"] = data.now()
        context["by_list"] = any(piece.at is not None for piece in chosen.pieces)
        context["chosen"] = chosen
        context |= {"lede": _lede(chosen), "stacks": _stacks(chosen)}
        kept = data.learned_of_pieces([piece.piece_id for piece in chosen.pieces])
        context["pays"] = pays_rows(chosen.pieces, data.change_pays(kept))
        learned = data.part_lives(kept)
        context |= _pit(chosen, learned, inch=inch)
        context |= lives.context(chosen, learned)
        context["notes"] = [_note(piece) for piece in chosen.pieces if piece.due != "no"]
    return context


def _read_by(torch: TorchRow, *, inch: bool) -> TorchRow:
    """What the outlooks rest on, with its lengths as the person reads them, and when the list ahead
    comes to each piece's end."""
    ends = data.wear_due(data.now(), torch.torch_id)
    pieces = tuple(
        replace(
            one,
            basis=to_reader(one.basis, inch=inch),
            inch=inch,
            at=ends.get(one.piece_id),
        )
        for one in torch.pieces
    )
    return replace(torch, pieces=pieces)


def _chosen(torches: Sequence[TorchRow], request: HttpRequest) -> TorchRow | None:
    """The torch asked for, else the one of the piece asked for, else the one to look at first."""
    asked, piece = request.GET.get("torch", ""), request.GET.get("piece", "")
    for torch in torches:
        if str(torch.torch_id) == asked or piece in {str(one.piece_id) for one in torch.pieces}:
            return torch
    by_need = sorted(
        torches,
        key=lambda torch: (
            ledgers.URGENT.get(torch.urgent.due, 3),
            torch.urgent.left if torch.urgent.left is not None else 10**9,
        ),
    )
    return by_need[0] if by_need else None


def _lede(torch: TorchRow) -> str:
    piece = torch.urgent
    said, between = left_words(piece)
    where = _("{table}’s {kind}").format(table=torch.table, kind=piece.kind)
    if piece.due == "due":
        return _("{where} is due for a change: {basis}.").format(
            where=where, basis=piece.basis or said
        )
    if piece.left is None:
        return _("Nobody knows how long {where} lasts: {basis}.").format(
            where=where, basis=piece.basis or _("not enough data")
        )
    about = _("about {said}").format(said=said)
    if piece.low is not None and piece.high is not None and between:
        about = filled(
            _("about {said} (80 in 100: {low:,} to {high:,})"),
            said=said,
            low=piece.low,
            high=piece.high,
        )
    if piece.at is None or piece.at.likely is None:
        return _("{where} has {about}.").format(where=where, about=about)
    return _("{where} has {about}, most likely {at}.").format(
        where=where, about=about, at=_moment(piece.at.likely)
    )


def _moment(at: datetime) -> str:
    return weekday_time(timezone.localtime(at))


def _note(piece: PieceRow) -> dict[str, Any]:
    said, between = left_words(piece)
    heads = {
        "due": _("{capitalize} is due").format(capitalize=piece.kind.capitalize()),
        "soon": f"{piece.kind.capitalize()}: {said}",
    }
    head = heads.get(
        piece.due, _("{capitalize}: life unknown").format(capitalize=piece.kind.capitalize())
    )
    body = f"{piece.label}: {piece.basis}."
    if between:
        chance = _("80 in 100: {between}.").format(between=between)
        body = f"{body} {chance}"
    return {"kind": "now" if piece.due == "due" else "soon", "head": head, "body": body}


def _stacks(torch: TorchRow) -> list[str]:
    pieces = "; ".join(
        f"{piece.kind} {' '.join(left_words(piece))}".strip() for piece in torch.pieces
    )
    label = _("{table}, torch {torch}: {pieces}").format(
        table=torch.table, torch=torch.torch, pieces=pieces
    )
    return [stack(torch.pieces, label, width) for width in (358, 560)]


def _pit(torch: TorchRow, learned: dict[int, PartLife], *, inch: bool) -> dict[str, Any]:
    """The electrode's pit beside those of the electrodes of this set before it."""
    piece = next((one for one in torch.pieces if one.kind == "electrode"), None)
    if piece is None:
        return {}
    like = data.pieces_before(piece.piece_id)[:BEFORE]
    seen = data.inspections([piece.piece_id, *like])
    zone = data.zone()
    now = tuple(
        Point(one.starts, one.pit_mm, dated(one.at.astimezone(zone), DAY))
        for one in seen
        if one.piece_id == piece.piece_id
    )
    before = (one for one in seen if one.piece_id != piece.piece_id)
    chart = PitChart(
        usual=lives.usual_wear(piece, learned),
        limit_mm=data.pit_limit_mm(),
        now=now,
        before=tuple(Point(one.starts, one.pit_mm) for one in before),
        starts=piece.starts,
        left=piece.left,
        low=piece.low,
        high=piece.high,
        inch=inch,
    )
    drawn = []
    if chart.now or chart.before:
        drawn = [pit_figure(chart, 358, 380), pit_figure(chart)]
    return {"pit": chart, "pit_drawn": drawn, "pit_piece": piece, "theme": theme}
