"""A nest's parts to touch: whole parts when a run is finished, contours when it burns again."""

from __future__ import annotations

from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_GET

from shopfloor.models import NestRevision, Run, Table, Terminal
from shopfloor.runs.floor.parts_map import map_contours, map_parts, seen_contours
from shopfloor.runs.progress import Progress
from shopfloor.terminal.access import at_table, crew

TEMPLATE = "runs/floor_map.html"


@require_GET
@at_table
def planned(request: HttpRequest, terminal: Terminal, table: Table, revision: int) -> HttpResponse:
    found = get_object_or_404(NestRevision.objects.defer("program"), pk=revision)
    return drawn(request, terminal, table, found, None)


@require_GET
@at_table
def of_run(request: HttpRequest, terminal: Terminal, table: Table, run: UUID) -> HttpResponse:
    found = get_object_or_404(Run.objects.select_related("revision"), pk=run, table=table)
    return drawn(request, terminal, table, found.revision, seen_contours(found))


def drawn(
    request: HttpRequest,
    terminal: Terminal,
    table: Table,
    revision: NestRevision,
    seen: Progress | None,
) -> HttpResponse:
    if not crew(request, terminal, table):
        return HttpResponse(status=401)
    kind = request.GET.get("for", "finish")
    if kind not in ("finish", "restart"):
        raise Http404(kind)
    draw = map_parts if kind == "finish" else map_contours
    return render(request, TEMPLATE, {"map": draw(revision, seen)})
