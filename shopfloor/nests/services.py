"""Writing nests: a program becomes a revision with its contours, contours become parts of jobs."""

from __future__ import annotations

import hashlib
from datetime import datetime
from typing import Any

import numpy as np
import shapely
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max
from django.utils import timezone
from django.utils.translation import gettext as _

from planning.calc.program import READER_VERSION, Program, read_program
from planning.calc.program import Contour as ReadContour
from planning.calc.program.checks import edge_notes, in_order, outside_sheet, small_holes
from planning.calc.program.common import own_shares
from planning.calc.program.contours import CHORD_MM
from planning.calc.program.leads import loop_span
from planning.calc.said import stored, to_reader, told
from shopfloor.background.plans import request_plan
from shopfloor.background.request import request_work
from shopfloor.chart.thickness import thickness_of
from shopfloor.files.apart import Limits, Tell, TooCostly, read_apart
from shopfloor.models import (
    Contour,
    Material,
    Nest,
    NestRevision,
    QueueItem,
    Table,
    User,
    WearSet,
)
from shopfloor.nests.part_groups import groups_of, shape_of_contour
from shopfloor.site.dialect import dialect_of

MAX_PROGRAM_BYTES = 64 * 1024 * 1024
MANY_POINTS = 200  # of one contour


def path_hash(program: Program) -> str:
    """SHA-256 of what the torch and the axes do, blind to comments, line numbers and layout.
    Places count to a micrometre."""
    moves = program.moves
    digest = hashlib.sha256()
    digest.update(np.asarray(moves.kind, np.int8).tobytes())
    for values in (moves.x, moves.y, moves.cx, moves.cy, moves.sweep_rad, moves.feed_mm_min):
        steps = np.nan_to_num(np.asarray(values, np.float64), nan=-1.0) * 1000
        digest.update(np.rint(steps).astype(np.int64).tobytes())
    for flags in (moves.torch, moves.exact_stop, moves.stop_after):
        digest.update(np.asarray(flags, np.bool_).tobytes())
    digest.update(repr([(d.seconds, d.torch, d.arc) for d in program.dwells]).encode())
    return digest.hexdigest()


def program_read(
    raw: bytes, table: Table | None, *, limits: Limits | None = None, tell: Tell | None = None
) -> Program:
    """A program somebody brought, read as the table reads it, its contours found, in a process of
    its own. Raises ProgramError, and ValidationError where it passes a limit."""
    try:
        read: Program = read_apart("program", raw, dialect_of(table), limits=limits, tell=tell)
    except TooCostly as problem:
        raise ValidationError(to_reader(told(problem), inch=False)) from None
    return read


@transaction.atomic
def nest_add(
    *,
    name: str,
    file_name: str,
    raw: bytes,
    material: Material,
    thickness_text: str,
    wear_set: WearSet,
    table: Table | None,
    by: User,
    sheets_wanted: int = 1,
    sheet_length_mm: float | None = None,
    sheet_width_mm: float | None = None,
    program: Program | None = None,
) -> Nest:
    """A nest with its first revision. `program` is what the bytes read as on the table, where that
    is known already: always where a person brought them (`program_read`). Raises ProgramError
    where the program cannot be read."""
    size = thickness_of(thickness_text, material)
    nest = Nest(
        name=name.strip(),
        material=material,
        thickness_mm=size.nominal_mm,
        thickness_text=size.text.strip(),
        wear_set=wear_set,
        table=table,
        sheets_wanted=sheets_wanted,
        sheet_length_mm=sheet_length_mm,
        sheet_width_mm=sheet_width_mm,
    )
    nest.full_clean()
    nest.save()
    revision_add(nest=nest, file_name=file_name, raw=raw, by=by, program=program)
    return nest


@transaction.atomic
def revision_add(
    *, nest: Nest, file_name: str, raw: bytes, by: User, reread: bool = False,
    program: Program | None = None,
) -> tuple[NestRevision, str]:  # fmt: skip
    """Keeps a program's bytes as the nest's newest revision. Returns it and what changed:
    "nothing" (the same bytes: no new revision, unless they are `reread` in another way), "comment"
    (the same path: setup sheets stay good and every tie is kept) or "path" (ties are kept where a
    contour stayed as it was)."""
    if len(raw) > MAX_PROGRAM_BYTES:
        raise ValidationError(
            _("The program is over {max_program_bytes} MB.").format(
                max_program_bytes=MAX_PROGRAM_BYTES // 1024 // 1024
            )
        )
    digest = hashlib.sha256(raw).hexdigest()
    last = nest.revisions.order_by("-revision").first()
    if last is not None and last.bytes_sha256 == digest and not reread:
        return last, "nothing"
    program = program or read_program(raw, dialect_of(nest.table))
    if not program.contours:
        raise ValidationError(
            _("The program never lights the torch; check the table's torch codes.")
        )
    revision = NestRevision.objects.create(
        nest=nest,
        revision=(nest.revisions.aggregate(last=Max("revision"))["last"] or 0) + 1,
        program=raw,
        file_name=file_name[:160],
        bytes_sha256=digest,
        path_sha256=path_hash(program),
        notes=program_notes(program, nest),
        extents_mm=_extents(program),
        step_mm=program.moves.step_mm,
        reader=READER_VERSION,
        made_by=by,
    )
    Contour.objects.bulk_create(contour_rows(revision, program), batch_size=500)
    if last is not None:
        _carry_ties(last, revision)
    request_work(kind="nest", key=str(revision.pk))
    request_work(kind="parts", key=f"nest:{revision.pk}")
    same = last is not None and last.path_sha256 == revision.path_sha256
    return revision, "comment" if same else "path"


def program_notes(program: Program, nest: Nest) -> list[dict[str, Any]]:
    """What the reader and the checks say of a program for a nest's plate, in order of line."""
    contours = program.contours
    notes = [*program.notes, *small_holes(contours, nest.thickness_mm), *edge_notes(contours)]
    if nest.sheet_length_mm and nest.sheet_width_mm:
        notes += outside_sheet(contours, nest.sheet_length_mm, nest.sheet_width_mm)
    return [{"line": note.line, **stored(note.text)} for note in in_order(notes)]


def _extents(program: Program) -> list[float]:
    boxes = np.array([contour.extents_mm for contour in program.contours])
    low, high = boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)
    return [round(float(value), 3) for value in (*low, *high)]


def contour_rows(revision: NestRevision, program: Program) -> list[Contour]:
    """The rows of a program's contours, not saved, tied to no job."""
    outer = [contour.outer for contour in program.contours]
    shares = own_shares(program.contours)
    points = [_drawn(contour) for contour in program.contours]
    groups = groups_of(
        shape_of_contour(contour, outline, contour.length_mm, path, _rings(contour))
        for contour, outline, path in zip(program.contours, outer, points, strict=True)
    )
    named = {
        number: (group.label, copy)
        for group in groups
        for copy, part in enumerate(group.parts, 1)
        for number in part
    }
    return [
        Contour(
            revision=revision,
            number=contour.number,
            part=_("shape {group}").format(group=named[contour.number][0]),
            copy=named[contour.number][1],
            inner=outline != contour.number,
            closed=contour.closed and not contour.marks,
            cut_mm=contour.length_mm,
            net_area_mm2=contour.net_area_mm2 if outline == contour.number else None,
            pierces=contour.pierces,
            points=path,
            common_share=shares[contour.number],
            lit_line=contour.line,
            lead_in_mm=contour.lead_in_mm,
            lead_out_mm=contour.lead_out_mm,
            parts=contour.parts,
            faces=_rings(contour),
            edges=list(contour.edges),
        )
        for contour, outline, path in zip(program.contours, outer, points, strict=True)
    ]


def _drawn(contour: ReadContour) -> list[list[float]]:
    """A contour's points in hundredths of a mm. Fine chords are drawn as coarsely as arcs are, with
    the ends of leads kept: a page draws every point of a nest."""
    points = contour.points
    if len(points) > MANY_POINTS:
        first, last = loop_span(points, contour.lead_in_mm, contour.lead_out_mm)
        pieces = [points[: first + 1], points[first : last + 1], points[last:]]
        kept = [
            shapely.get_coordinates(shapely.simplify(shapely.linestrings(piece), CHORD_MM))
            for piece in pieces
            if len(piece) > 1
        ]
        points = np.concatenate([kept[0], *(piece[1:] for piece in kept[1:])])
    drawn: list[list[float]] = np.round(points, 2).tolist()
    return drawn


def _rings(contour: ReadContour) -> list[list[list[float]]]:
    return [np.round(ring, 2).tolist() for ring in contour.faces]


def _carry_ties(old: NestRevision, new: NestRevision) -> None:
    """A part keeps its job line where all of its contours kept number, length and place."""
    before = {contour.number: contour for contour in old.contours.all()}
    fresh = list(new.contours.all())
    by_part: dict[tuple[str, int], list[Contour]] = {}
    for contour in fresh:
        by_part.setdefault((contour.part, contour.copy), []).append(contour)
    for part in by_part.values():
        was = [before.get(contour.number) for contour in part]
        if not all(_same(old, now) for old, now in zip(was, part, strict=True)):
            continue
        for contour, former in zip(part, was, strict=True):
            # An untied part keeps its fresh name: old names could meet new ones.
            if former is not None and former.line_id is not None:
                contour.line_id, contour.part, contour.copy = (
                    former.line_id,
                    former.part,
                    former.copy,
                )
    Contour.objects.bulk_update(fresh, ["line", "part", "copy"], batch_size=500)


def _same(old: Contour | None, new: Contour) -> bool:
    return (
        old is not None
        and (old.inner, old.parts) == (new.inner, new.parts)
        and abs(old.cut_mm - new.cut_mm) < 0.01
        and old.points[:1] == new.points[:1]
    )


@transaction.atomic
def nest_edit(*, nest: Nest, wear_set: WearSet, table: Table | None, sheets_wanted: int) -> None:
    """Changes the route a nest is planned on. Its plan is worked out anew, and its program read
    again where the new table reads programs in another way."""
    if dialect_of(nest.table) != dialect_of(table):
        request_work(kind="reread", key=f"nest:{nest.pk}")
    nest.wear_set, nest.table, nest.sheets_wanted = wear_set, table, sheets_wanted
    nest.full_clean()
    nest.save(update_fields=["wear_set", "table", "sheets_wanted"])
    request_plan(nest=nest)


@transaction.atomic
def nest_withdraw(*, nest: Nest, at: datetime | None = None) -> None:
    """Takes a nest out of the lists; its runs and revisions stay. Not while it is on a queue."""
    if QueueItem.objects.filter(nest=nest, state__in=("waiting", "running")).exists():
        raise ValidationError(_("It waits in a table's queue: remove it there first."))
    nest.withdrawn_at = at or timezone.now()
    nest.save(update_fields=["withdrawn_at"])
