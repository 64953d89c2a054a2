"""Plate coming in, and what becomes of it outside a run."""

from __future__ import annotations

import hashlib
import re
from datetime import datetime
from typing import Final

from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from shopfloor.background.request import request_work
from shopfloor.chart.thickness import thickness_of
from shopfloor.jobs.services import customer_named
from shopfloor.models import Customer, Heat, Material, QueueItem, Sheet, SheetState
from shopfloor.site.queries import shift_date_of
from shopfloor.stock.remnants import remnants_old

MAX_CERTIFICATE_BYTES: Final = 10 * 1024 * 1024
# What a certificate comes as, by its first bytes: the name of a file proves nothing.
KINDS: Final = {b"%PDF-": ".pdf", b"\x89PNG": ".png", b"\xff\xd8\xff": ".jpg", b"II*\0": ".tif",
                b"MM\0*": ".tif"}  # fmt: skip


@transaction.atomic
def heat_named(*, number: str, material: Material) -> Heat:
    """The heat of that number and material, made where there is none."""
    number = " ".join(number.split())
    heat = Heat.objects.filter(number__iexact=number, material=material).first()
    if heat is None:
        heat = Heat(number=number, material=material)
        heat.full_clean()
        heat.save()
    return heat


@transaction.atomic
def certificate_keep(*, heat: Heat, raw: bytes) -> None:
    """Keeps a mill certificate by the hash of its bytes. Another one for the same heat is refused
    while one is there: a certificate is evidence and is not replaced in passing."""
    if len(raw) > MAX_CERTIFICATE_BYTES:
        raise ValidationError(_("The certificate is over 10 MB."))
    ending = next((end for magic, end in KINDS.items() if raw.startswith(magic)), None)
    if ending is None:
        raise ValidationError(_("A certificate is a PDF or a picture (PNG, JPEG, TIFF)."))
    digest = hashlib.sha256(raw).hexdigest()
    if heat.certificate_sha256 == digest:
        return
    if heat.certificate_sha256:
        raise ValidationError(
            _("Heat {heat} has another certificate already.").format(heat=heat.number)
        )
    heat.certificate.save(f"{digest}{ending}", ContentFile(raw), save=False)
    heat.certificate_sha256 = digest
    heat.save(update_fields=["certificate", "certificate_sha256"])


def certificate_read(*, heat: Heat) -> bytes | None:
    """The certificate's bytes; None where the file is gone or no longer has the hash it had."""
    try:
        with heat.certificate.open("rb") as file:
            raw = bytes(file.read())
    except OSError:
        return None
    return raw if hashlib.sha256(raw).hexdigest() == heat.certificate_sha256 else None


@transaction.atomic
def sheets_receive(
    *,
    count: int,
    material: Material,
    thickness_text: str,
    length_mm: float,
    width_mm: float,
    code: str = "",
    heat_number: str = "",
    certificate: bytes | None = None,
    owner: str = "",
    cost_minor: int | None = None,
    place: str = "",
    note: str = "",
    received_at: datetime | None = None,
) -> list[Sheet]:
    """Sheets alike, each with a code of its own. A customer's own plate has no cost. `cost_minor`
    is for one sheet; None: unknown."""
    size = thickness_of(thickness_text, material)
    customer: Customer | None = customer_named(name=owner) if owner.strip() else None
    if customer is not None and cost_minor:
        raise ValidationError(_("A customer's own plate has no cost."))
    heat = heat_named(number=heat_number, material=material) if heat_number.strip() else None
    if certificate and heat is None:
        raise ValidationError(_("A certificate needs its heat number."))
    if certificate and heat is not None:
        certificate_keep(heat=heat, raw=certificate)
    made = []
    for name in _codes(code, count):
        sheet = Sheet(
            code=name,
            material=material,
            thickness_mm=size.nominal_mm,
            thickness_text=size.text.strip(),
            length_mm=length_mm,
            width_mm=width_mm,
            area_mm2=length_mm * width_mm,
            heat=heat,
            owner=customer,
            cost_minor=0 if customer else cost_minor,
            place=place.strip(),
            received_at=received_at or timezone.now(),
            note=note.strip(),
        )
        sheet.full_clean()
        sheet.save()
        made.append(sheet)
    return made


def _codes(code: str, count: int) -> list[str]:
    """The codes of `count` sheets: the one given, numbered on where there are several; with none
    given the next free P number."""
    code = code.strip()
    if code:
        return [code] if count == 1 else [f"{code}-{n}" for n in range(1, count + 1)]
    numbers = [
        int(found[1])
        for name in Sheet.objects.filter(code__startswith="P-").values_list("code", flat=True)
        if (found := re.fullmatch(r"P-(\d{1,9})", name))
    ]
    first = max(numbers, default=1000) + 1
    return [f"P-{first + n}" for n in range(count)]


@transaction.atomic
def sheet_edit(*, sheet: Sheet, place: str, note: str) -> None:
    sheet.place, sheet.note = place.strip(), note.strip()
    sheet.full_clean()
    sheet.save(update_fields=["place", "note"])


@transaction.atomic
def sheet_leave(*, sheet: Sheet, state: str, why: str) -> None:
    """Takes a sheet out of stock without cutting it: returned to its customer, or written off."""
    if state not in (SheetState.RETURNED, SheetState.WRITTEN_OFF):
        raise ValidationError(_("A sheet leaves stock returned or written off."))
    sheet = Sheet.objects.select_for_update().get(pk=sheet.pk)  # against a promise at this moment
    if state == SheetState.RETURNED and sheet.owner_id is None:
        raise ValidationError(_("The sheet is the shop's own: there is nobody to return it to."))
    if sheet.state != SheetState.IN_STOCK:
        raise ValidationError(_("The sheet is not in stock."))
    if QueueItem.objects.filter(sheet=sheet, state__in=("waiting", "running")).exists():
        raise ValidationError(_("The sheet is promised to a nest in a table's queue."))
    if not why.strip():
        raise ValidationError(_("Say why."))
    sheet.state, sheet.note = state, why.strip()[:200]
    sheet.full_clean()
    sheet.save(update_fields=["state", "note"])
    request_work(
        kind="sheet", key=str(sheet.pk), payload={"on": shift_date_of(timezone.now()).isoformat()}
    )


@transaction.atomic
def sheet_back(*, sheet: Sheet, why: str) -> None:
    """Takes a written-off sheet back into stock: it was found, or not meant."""
    sheet = Sheet.objects.select_for_update().get(pk=sheet.pk)
    if sheet.state != SheetState.WRITTEN_OFF:
        raise ValidationError(_("The sheet was not written off."))
    if not why.strip():
        raise ValidationError(_("Say why."))
    sheet.state, sheet.note = SheetState.IN_STOCK, why.strip()[:200]
    sheet.save(update_fields=["state", "note"])
    request_work(kind="sheet", key=str(sheet.pk))


@transaction.atomic
def remnants_write_off(*, now: datetime) -> list[Sheet]:
    """Writes off every remnant of the shop's that has lain longer than the shop keeps them and is
    promised to nothing. Their worth goes to the shop, never to a job."""
    gone = list(remnants_old(now=now))
    for sheet in gone:
        days = (now - sheet.received_at).days
        sheet_leave(
            sheet=sheet, state=SheetState.WRITTEN_OFF, why=_("lay {days} days").format(days=days)
        )
    return gone
