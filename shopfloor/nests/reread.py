"""Programs read again: after their table reads them in another way, and where an older version of
the reader made their rows."""

from __future__ import annotations

from typing import Any, Final

from django.db import transaction
from django.db.models import OuterRef, Subquery

from planning.calc.program import READER_VERSION, Program, ProgramError, read_program
from planning.calc.said import said, stored
from shopfloor.background.request import failed_lately, request_work
from shopfloor.models import Contour, Nest, NestRevision
from shopfloor.nests.services import contour_rows, path_hash, program_notes, revision_add
from shopfloor.site.dialect import dialect_of

# What a newer reader may say otherwise of a contour without its parts being others.
_FIGURES: Final = (
    "closed", "cut_mm", "net_area_mm2", "pierces", "points", "common_share", "lit_line",
    "lead_in_mm", "lead_out_mm", "faces", "edges",
)  # fmt: skip


def table_reread(*, key: str, payload: dict[str, Any]) -> None:
    """Work kind "reread", key a table's id or "nest:<id>": reads programs as their table reads
    them now. Where another path or other parts come of the same bytes it is a new revision, which
    voids setup sheets and keeps the ties of contours that stayed; other figures of the same parts
    are written over. Where nothing can be read any more the revision stays, and its plan says why.
    Harmless to repeat."""
    nests = Nest.objects.filter(withdrawn_at=None).select_related("table", "material")
    if key.startswith("nest:"):
        nests = nests.filter(pk=int(key[5:]))
    else:
        nests = nests.filter(table=int(key))
    for nest in nests:
        last = nest.revisions.order_by("-revision").select_related("made_by").first()
        if last is not None:
            _reread(nest, last)


def nests_read_before(most: int = 20) -> int:
    """Asks for nests whose newest revision an older reader made, some at a time. Returns how
    many."""
    newest = NestRevision.objects.filter(nest=OuterRef("nest")).order_by("-revision").values("pk")
    rows = NestRevision.objects.filter(
        reader__lt=READER_VERSION, pk=Subquery(newest[:1]), nest__withdrawn_at=None
    ).exclude(nest__in=failed_lately("reread", "nest:"))
    nests = list(rows.order_by("pk").values_list("nest", flat=True)[:most])
    for nest in nests:
        request_work(kind="reread", key=f"nest:{nest}")
    return len(nests)


def _reread(nest: Nest, last: NestRevision) -> None:
    raw = bytes(last.program)
    try:
        program = read_program(raw, dialect_of(nest.table))
    except ProgramError:
        _read_now(last, "reader")
        return
    if not program.contours:
        _read_now(last, "reader")
        return
    before, now = _parts(last.contours.all()), _parts(contour_rows(last, program))
    if path_hash(program) != last.path_sha256 or before != now:
        _revise(nest, last, raw, program)
    elif last.reader < READER_VERSION:
        _write_over(nest, last, program)


def _parts(contours: Any) -> list[tuple[int, bool, int]]:
    """What each contour makes, by which parts are counted."""
    return sorted((each.number, each.inner, each.parts) for each in contours)


def _revise(nest: Nest, last: NestRevision, raw: bytes, program: Program) -> None:
    before = sum(each.parts for each in last.contours.all() if not each.inner)
    with transaction.atomic():
        if _overtaken(nest, last):
            return
        made, _changed = revision_add(
            nest=nest, file_name=last.file_name, raw=raw, by=last.made_by, reread=True,
            program=program,
        )  # fmt: skip
        now = sum(each.parts for each in made.contours.all() if not each.inner)
        if now != before:
            text = said(
                "read again by a newer version: {now} parts where there were {before}",
                now=now, before=before,
            )  # fmt: skip
            made.notes = [{"line": 1, **stored(text)}, *made.notes]
            made.save(update_fields=["notes"])


def _overtaken(nest: Nest, last: NestRevision) -> bool:
    """Whether somebody brought another program while this one was being read, which takes seconds:
    theirs stays the newest. Holds the nest."""
    Nest.objects.select_for_update(no_key=True).get(pk=nest.pk)
    return nest.revisions.filter(revision__gt=last.revision).exists()


@transaction.atomic
def _write_over(nest: Nest, last: NestRevision, program: Program) -> None:
    fresh = {each.number: each for each in contour_rows(last, program)}
    rows = list(last.contours.all())
    for row in rows:
        for name in _FIGURES:
            setattr(row, name, getattr(fresh[row.number], name))
    Contour.objects.bulk_update(rows, _FIGURES, batch_size=200)
    last.notes, last.step_mm = program_notes(program, nest), program.moves.step_mm
    _read_now(last, "reader", "notes", "step_mm")
    request_work(kind="nest", key=str(last.pk))
    request_work(kind="parts", key=f"nest:{last.pk}")


def _read_now(revision: NestRevision, *fields: str) -> None:
    revision.reader = READER_VERSION
    revision.save(update_fields=fields)
