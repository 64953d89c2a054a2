"""Writing drawings: a file and the way it is read become a revision."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction
from django.db.models import Max
from django.utils import timezone
from django.utils.translation import gettext as _

from planning.calc import drawing as calc
from planning.calc.said import stored
from shopfloor.background.request import request_work
from shopfloor.chart.thickness import thickness_of
from shopfloor.files.apart import read_apart
from shopfloor.models import Drawing, DrawingRevision, JobLine, Material, User

MAX_DRAWING_BYTES = 32 * 1024 * 1024
MOST_POINTS = 60_000  # of one map; more contours than that are drawn coarser


def drawing_read(raw: bytes, reading: calc.Reading) -> calc.Drawing:
    """A drawing read in a process of its own. Raises DrawingError, and TooCostly where it passes
    a limit of `files.apart`."""
    if len(raw) > MAX_DRAWING_BYTES:
        raise calc.DrawingError(
            _("The drawing is over {max_drawing_bytes} MB.").format(
                max_drawing_bytes=MAX_DRAWING_BYTES // 1024 // 1024
            )
        )
    read: calc.Drawing = read_apart("drawing", raw, reading)
    return read


@transaction.atomic
def drawing_add(
    *,
    name: str,
    file_name: str,
    raw: bytes,
    material: Material,
    thickness_text: str,
    reading: calc.Reading,
    by: User,
    read: calc.Drawing | None = None,
) -> Drawing:
    """A drawing with its first revision; for `read` see `drawing_revise`. Raises DrawingError."""
    size = thickness_of(thickness_text, material)
    made = Drawing(
        name=name.strip(),
        material=material,
        thickness_mm=size.nominal_mm,
        thickness_text=size.text.strip(),
    )
    made.full_clean()
    made.save()
    drawing_revise(drawing=made, file_name=file_name, raw=raw, reading=reading, by=by, read=read)
    return made


@transaction.atomic
def drawing_revise(
    *,
    drawing: Drawing,
    file_name: str,
    raw: bytes,
    reading: calc.Reading,
    by: User,
    read: calc.Drawing | None = None,
) -> tuple[DrawingRevision, bool]:
    """Keeps a file and the way it is read as the newest revision. Returns it and whether it is
    new: the same bytes read in the same way are the revision there was. `read` is what
    `drawing_read` made of the bytes before this transaction began; None only where the program
    wrote the bytes itself."""
    read = read or calc.read_drawing(raw, reading)
    digest = hashlib.sha256(raw).hexdigest()
    seen = {layer.name for layer in read.layers}
    roles = {name: role for name, role in sorted(reading.roles.items()) if name in seen}
    last = drawing.revisions.order_by("-revision").first()
    same = last is not None and (
        (last.bytes_sha256, last.unit, last.gap_mm) == (digest, read.unit, reading.gap_mm)
        and last.layers == layer_rows(read.layers)
    )
    if last is not None and same:
        return last, False
    made = DrawingRevision.objects.create(
        drawing=drawing,
        revision=(drawing.revisions.aggregate(last=Max("revision"))["last"] or 0) + 1,
        file=_kept(digest, raw),
        file_name=file_name[:160],
        bytes_sha256=digest,
        unit=read.unit,
        unit_said=read.unit_said,
        gap_mm=reading.gap_mm,
        roles=roles,
        layers=layer_rows(read.layers),
        contours=contour_rows([*read.contours, *read.marks]),
        notes=[{**stored(note.text), "fault": note.fault} for note in read.notes],
        cut_mm=read.cut_mm,
        mark_mm=read.mark_mm,
        pierces=read.pierces,
        net_area_mm2=read.net_area_mm2,
        extents_mm=[round(value, 4) for value in read.extents_mm],
        made_at=timezone.now(),
        made_by=by,
    )
    request_work(kind="drawing", key=str(made.pk))
    request_work(kind="parts", key=f"drawing:{made.pk}")
    return made, True


def _kept(digest: str, raw: bytes) -> str:
    """The file under its hash; the same bytes are kept once."""
    name = f"drawings/{digest}.dxf"
    if not default_storage.exists(name):
        default_storage.save(name, ContentFile(raw))
    return name


def drawing_bytes(revision: DrawingRevision) -> bytes:
    """The file as it came. Raises ValidationError where it is gone or no longer what it was."""
    try:
        with revision.file.open("rb") as held:
            raw = bytes(held.read())
    except OSError as problem:
        raise ValidationError(_("The drawing's file is not there any more.")) from problem
    if hashlib.sha256(raw).hexdigest() != revision.bytes_sha256:
        raise ValidationError(_("The drawing's file is no longer what it was."))
    return raw


@transaction.atomic
def line_drawing(*, line: JobLine, drawing: Drawing | None) -> None:
    """Says which drawing a job line's part is made to; None: none."""
    line.drawing = drawing
    line.save(update_fields=["drawing"])


def layer_rows(layers: Sequence[calc.Layer]) -> list[dict[str, Any]]:
    return [
        {
            "name": layer.name,
            "role": layer.role,
            "why": layer.why,
            "counts": dict(layer.counts),
            "length_mm": round(layer.length_mm, 6),
        }
        for layer in layers
    ]


def contour_rows(contours: Sequence[calc.Contour]) -> list[dict[str, Any]]:
    """Figures and map points of contours; points in hundredths of a mm."""
    count = sum(len(contour.points) for contour in contours)
    every = max(1, -(-count // MOST_POINTS))
    rows = []
    for contour in contours:
        points = contour.points[::every].round(2).tolist()
        last = contour.points[-1].round(2).tolist()
        if points[-1] != last or len(points) < 2:
            points.append(last)
        rows.append(
            {
                "number": contour.number,
                "role": contour.role,
                "kind": contour.kind,
                "layer": contour.layer,
                "closed": contour.closed,
                "length_mm": round(contour.length_mm, 6),
                "area_mm2": contour.area_mm2,
                "net_area_mm2": contour.net_area_mm2,
                "inside": contour.inside,
                "points": points,
            }
        )
    return rows
