"""Lines that bench work is logged for."""

from __future__ import annotations

import json
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from shopfloor.models import Contour, JobLine, JobState, Run, RunState, Table

RUNS_BACK = 6
LINES_MOST = 6
KINDS = (
    ("dross", N_("Dross")),
    ("edge", N_("Edge")),
    ("holes", N_("Holes")),
    ("flatten", N_("Flatten")),
)
MINUTES = (5, 10, 20, 30, 45, 60)


@dataclass(frozen=True, slots=True)
class BenchLine:
    id: int
    title: str
    words: str
    codes: str


def bench_lines(table: Table) -> list[BenchLine]:
    """Lines cut lately on this table, the newest first."""
    runs = list(
        Run.objects.filter(table=table)
        .exclude(state=RunState.VOIDED)
        .order_by("-opened_at")
        .values_list("revision", flat=True)[:RUNS_BACK]
    )
    order = {revision: place for place, revision in reversed(list(enumerate(runs)))}
    pairs = Contour.objects.filter(revision__in=order, line__isnull=False)
    newest: dict[int, int] = {}
    for revision, line in pairs.values_list("revision", "line").distinct():
        newest[line] = min(newest.get(line, RUNS_BACK), order[revision])
    lines = JobLine.objects.filter(pk__in=newest).exclude(job__state=JobState.HELD)
    found = sorted(
        lines.select_related("job", "material"), key=lambda line: (newest[line.pk], line.pk)
    )
    return [
        BenchLine(
            id=line.pk,
            title=_("{job} line {line}, {part}").format(
                job=line.job.number, line=line.number, part=line.part
            ),
            words=_("{quantity} pieces, {thickness_text} {material}").format(
                quantity=line.quantity,
                thickness_text=line.thickness_text,
                material=line.material.name,
            ),
            codes=json.dumps([f"{line.job.number}/{line.number}"]),
        )
        for line in found[:LINES_MOST]
    ]
