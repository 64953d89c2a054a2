"""Pieces out of a torch: found with or without a known age, put on a tray, lost and found again,
thrown out of the drawer, looked at with a photo."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from typing import Final

from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.db import transaction
from django.utils.translation import gettext as _

from planning.calc.said import to_reader
from shopfloor.background.request import request_work
from shopfloor.chart.parts import alike
from shopfloor.files.apart import read_apart
from shopfloor.models import Inspection, Piece, PieceState, SetPart, Tray
from shopfloor.wear.pieces import USABLE

MOST_AT_ONCE: Final = 200
MOST_PHOTO_BYTES: Final = 16 * 1024 * 1024
# By its first bytes: the name of a file proves nothing.
KINDS: Final = {b"\xff\xd8\xff": ".jpg", b"\x89PNG": ".png", b"RIFF": ".webp"}


@transaction.atomic
def pieces_found(
    *,
    part: SetPart,
    labels: Sequence[str],
    prior_starts: int | None,
    prior_arc_s: float | None,
    price_minor: int | None = None,
) -> list[Piece]:
    """Pieces that were here before Kerfbook knew them. An age nobody knows stays unknown, and takes
    no part in life estimates. Of a used one the part already spent is the shop's."""
    labels = [label for text in labels if (label := text.strip())]
    if not 1 <= len(labels) <= MOST_AT_ONCE:
        raise ValidationError(
            {"labels": _("Give 1 to {most} labels, one a line.").format(most=MOST_AT_ONCE)}
        )
    there = Piece.objects.filter(label__in=labels).values_list("label", flat=True)
    twice = sorted({*there, *(label for label in labels if labels.count(label) > 1)})
    if twice:
        raise ValidationError(
            {"labels": _("These labels are taken: {labels}.").format(labels=", ".join(twice))}
        )
    made = []
    for label in labels:
        piece = Piece(
            label=label,
            part=part,
            state=PieceState.NEW if prior_starts == 0 else PieceState.SHELVED,
            price_minor=part.price_minor if price_minor is None else price_minor,
            rated_starts=part.rated_starts,
            prior_starts=prior_starts,
            prior_arc_s=prior_arc_s,
        )
        piece.full_clean()
        piece.save()
        request_work(kind="piece", key=str(piece.pk))
        made.append(piece)
    return made


@transaction.atomic
def piece_put(*, piece: Piece, do: str, tray: Tray | None = None) -> Piece:
    """What becomes of a piece that is in no torch: "lost", "found", "out" (thrown out), "on_tray",
    "off_tray". Raises ValidationError where it is not there any more, or the tray has one."""
    piece = Piece.objects.select_for_update().select_related("part").get(pk=piece.pk)
    if piece.state == PieceState.FITTED:
        raise ValidationError(
            _("{piece} is in a torch: take it out at the screen beside the table.").format(
                piece=piece.label
            )
        )
    wanted = (PieceState.LOST,) if do == "found" else USABLE
    if piece.state not in wanted:
        label = PieceState(piece.state).label
        raise ValidationError(_("{piece} is {label}.").format(piece=piece.label, label=label))
    if do == "on_tray":
        piece.tray = _tray_for(piece, tray)
    elif do == "off_tray":
        piece.tray = None
    else:
        piece.tray = None
        used = piece.prior_starts != 0 or piece.fittings.exists()
        found = PieceState.SHELVED if used else PieceState.NEW
        ends = {"lost": PieceState.LOST, "out": PieceState.RETIRED, "found": found}
        piece.state = ends[do]
    piece.save(update_fields=["state", "tray"])
    request_work(kind="piece", key=str(piece.pk))
    return piece


def _tray_for(piece: Piece, tray: Tray | None) -> Tray:
    if tray is None:
        raise ValidationError(_("Which tray?"))
    tray = Tray.objects.select_for_update().get(pk=tray.pk)
    if not alike(piece.part).filter(wear_set=tray.wear_set_id).exists():
        raise ValidationError(
            _("{tray} is for {wear_set}.").format(tray=tray.label, wear_set=tray.wear_set)
        )
    there = tray.pieces.filter(part__kind=piece.part.kind, state__in=(*USABLE, PieceState.FITTED))
    if other := there.exclude(pk=piece.pk).first():
        raise ValidationError(
            _("{tray} has {other} already.").format(tray=tray.label, other=other.label)
        )
    return tray


def photo_checked(raw: bytes) -> None:
    """Whether it is a photo that can be opened, in a process of its own, under limits."""
    if len(raw) > MOST_PHOTO_BYTES:
        raise ValidationError({"photo": _("The photo is over 16 MB. Take a smaller one.")})
    try:
        read_apart("photo", raw)
    except ValueError as problem:
        raise ValidationError({"photo": to_reader(str(problem), inch=False)}) from problem


@transaction.atomic
def photo_keep(*, inspection: Inspection, raw: bytes) -> None:
    """Keeps a photo that `photo_checked` took, by the hash of its bytes."""
    ending = next((end for magic, end in KINDS.items() if raw.startswith(magic)), ".jpg")
    digest = hashlib.sha256(raw).hexdigest()
    inspection.photo.save(f"{digest}{ending}", ContentFile(raw), save=False)
    inspection.photo_sha256 = digest
    inspection.save()


def photo_read(*, inspection: Inspection) -> bytes | None:
    """The photo's bytes; None where the file is gone or no longer what was kept."""
    try:
        with inspection.photo.open("rb") as file:
            raw = bytes(file.read())
    except OSError:
        return None
    return raw if hashlib.sha256(raw).hexdigest() == inspection.photo_sha256 else None
