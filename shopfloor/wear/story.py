"""A piece's whole story: bought, fitted, taken out, looked at, lost and found."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Case, IntegerField, Q, QuerySet, When
from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from planning.calc.dates import dated
from planning.calc.numbers import filled
from shopfloor.audit.history import history_of
from shopfloor.models import Fitting, Inspection, Piece, PieceState
from shopfloor.wear.endings import ending_words, life_end

SORTS = ("label", "part__kind", "part__wear_set__current_a", "state", "outlook__starts", "made_at")
OPEN = (PieceState.NEW, PieceState.SHELVED, PieceState.FITTED)


def pieces_list(*, text: str = "", state: str = "") -> QuerySet[Piece]:
    """Pieces, the newest first. `text` looks in label, part and tray; `state` one of them, blank
    for all, or "here" for those that are not gone, which are due or soon due before the others."""
    rows = Piece.objects.select_related("part__wear_set", "outlook", "tray")
    if state == "here":
        rows = rows.filter(state__in=OPEN)
    elif state:
        rows = rows.filter(state=state)
    if text:
        rows = rows.filter(
            Q(label__icontains=text)
            | Q(part__name__icontains=text)
            | Q(tray__label__icontains=text)
        )
    if state != "here":
        return rows.order_by("-pk")
    wants = Case(
        When(outlook__due="due", then=0),
        When(outlook__due="soon", then=1),
        default=2,
        output_field=IntegerField(),
    )
    return rows.order_by(wants, "-pk")


@dataclass(frozen=True, slots=True)
class Deed:
    """One line of the story; `look` is the inspection it tells of."""

    at: datetime
    what: str
    who: str
    end: str = ""  # of `life_end`, where a stay ended
    look: Inspection | None = None


def story(piece: Piece) -> list[Deed]:
    """Everything that happened to a piece, the newest first."""
    told: list[Deed] = []
    for stay in piece.fittings.select_related("torch__table", "fitted_by", "removed_by"):
        told += _stay(stay)
    for look in piece.inspections.select_related("by"):
        told.append(Deed(look.at, _("looked at"), str(look.by), look=look))
    told += _in_the_drawer(piece)
    if all(deed.at >= piece.made_at for deed in told):  # else it was put on record afterwards
        told.append(Deed(piece.made_at, _first(piece), ""))
    return sorted(told, key=lambda deed: deed.at, reverse=True)


def _first(piece: Piece) -> str:
    if piece.receipt is not None:
        return _("taken from the drawer; bought {day}").format(day=dated(piece.receipt.received_on))
    if piece.prior_starts is None:
        return _("found; its age is not known")
    if piece.prior_starts:
        return filled(_("found with {starts:,} starts"), starts=piece.prior_starts)
    return _("first on record")


def _stay(stay: Fitting) -> list[Deed]:
    told = [Deed(stay.fitted_at, _("into {torch}").format(torch=stay.torch), str(stay.fitted_by))]
    if stay.removed_at is not None:
        state = "" if stay.collateral else str(PieceState(stay.removal_state).label)
        why = ending_words(stay.removal_cause, stay.removal_reason, collateral=stay.collateral)
        how = ", ".join(word for word in (state, why) if word)
        what = _("out of {torch}: {how}").format(torch=stay.torch, how=how)
        end = life_end(stay.removal_state, collateral=stay.collateral)
        told.append(Deed(stay.removed_at, what, str(stay.removed_by), end))
    return told


def _in_the_drawer(piece: Piece) -> list[Deed]:
    """Lost, found and thrown out without a torch: as the trail of its row tells."""
    told = []
    words = {
        (PieceState.SHELVED, PieceState.LOST): _("lost from the drawer"),
        (PieceState.NEW, PieceState.LOST): _("lost from the drawer"),
        (PieceState.LOST, PieceState.SHELVED): _("found again"),
        (PieceState.LOST, PieceState.NEW): _("found again"),
        (PieceState.SHELVED, PieceState.RETIRED): _("thrown out of the drawer"),
        (PieceState.NEW, PieceState.RETIRED): _("thrown out of the drawer"),
    }
    for past in history_of(Piece, piece.pk):
        before, after = past.changes.get("state", (None, None))
        if past.operation == "update" and (before, after) in words:
            told.append(Deed(past.at, words[before, after], _who(past.who)))
    return told


def _who(who: str) -> str:
    name = who.partition(":")[2]
    return name or pgettext("who did it", "unknown")
