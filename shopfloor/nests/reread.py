"""Programs read again after their table reads them in another way."""

from __future__ import annotations

from typing import Any

from planning.calc.program import ProgramError, read_program
from shopfloor.models import Nest, NestRevision
from shopfloor.nests.services import path_hash, revision_add
from shopfloor.site.dialect import dialect_of


def table_reread(*, key: str, payload: dict[str, Any]) -> None:
    """Work kind "reread", key a table's id or "nest:<id>": reads programs as their table reads
    them now. Where another path comes of the same bytes it is a new revision, which voids setup
    sheets and keeps the ties of contours that stayed; where nothing can be read any more the
    revision stays, and its plan says why. Harmless to repeat."""
    nests = Nest.objects.filter(withdrawn_at=None).select_related("table", "material")
    if key.startswith("nest:"):
        nests = nests.filter(pk=int(key[5:]))
    else:
        nests = nests.filter(table=int(key))
    for nest in nests:
        last = nest.revisions.order_by("-revision").select_related("made_by").first()
        if last is not None:
            _reread(nest, last)


def _reread(nest: Nest, last: NestRevision) -> None:
    raw = bytes(last.program)
    try:
        program = read_program(raw, dialect_of(nest.table))
    except ProgramError:
        return
    if program.contours and path_hash(program) != last.path_sha256:
        revision_add(
            nest=nest, file_name=last.file_name, raw=raw, by=last.made_by, reread=True,
            program=program,
        )  # fmt: skip
