"""Trays: the pieces of one set carried and fitted together by one scan."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from shopfloor.models import Piece, PieceState, Tray, WearSet
from shopfloor.wear.pieces import piece_from_drawer

# What a tray can be fitted with: new, half used, or in a torch at this moment.
USABLE = (PieceState.NEW, PieceState.SHELVED, PieceState.FITTED)


@transaction.atomic
def tray_make_up(*, wear_set: WearSet, label: str) -> Tray:
    """Makes a tray, or fills one up again: of every kind the set takes and the tray lacks, a
    fresh piece comes off the drawer's count. Pieces that failed or were retired leave it."""
    label = label.strip()
    if not label:
        raise ValidationError({"label": _("A tray needs a label to scan.")})
    tray = Tray.objects.filter(label=label).first()
    if tray is None:
        tray = Tray(label=label, wear_set=wear_set)
        tray.full_clean()
        tray.save()
    if tray.wear_set_id != wear_set.pk:
        raise ValidationError(
            {
                "label": _("{label} is a tray of {wear_set}.").format(
                    label=label, wear_set=tray.wear_set
                )
            }
        )
    if not wear_set.parts.exists():
        raise ValidationError(_("Nothing is known of this set's parts yet: add them first."))
    Piece.objects.filter(tray=tray).exclude(state__in=USABLE).update(tray=None)
    held = set(Piece.objects.filter(tray=tray).values_list("part__kind", flat=True))
    for part in wear_set.parts.exclude(kind__in=held).order_by("pk"):
        piece = piece_from_drawer(part=part)
        piece.tray = tray
        piece.save(update_fields=["tray"])
    return tray
