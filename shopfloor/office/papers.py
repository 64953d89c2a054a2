"""Papers that go with the work: a job's traveler and a nest's setup sheet. No money on either."""

from __future__ import annotations

from typing import Any

import segno
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.html import format_html
from django.utils.safestring import SafeString

from shopfloor.models import Job, Nest, NestPlan, QueueItem
from shopfloor.office.access import ANY, DeskRequest, right
from shopfloor.partsmap import Svg, extents, parts_map
from shopfloor.selectors.jobs import job_heats, job_lines
from shopfloor.selectors.nests import (
    chosen_plan,
    group_rows,
    map_parts,
    newest_revision,
    revision_contours,
    revision_plans,
)
from shopfloor.services.nests import revision_groups

HEIGHTS = [
    ("cutting speed, mm/min", "speed_mm_min"), ("pierce delay, s", "pierce_delay_s"),
    ("pierce height, mm", "pierce_height_mm"), ("cut height, mm", "cut_height_mm"),
    ("arc voltage, V", "arc_v"), ("kerf, mm", "kerf_mm"), ("gas", "gas"),
]  # fmt: skip


def code_svg(text: str) -> SafeString:
    """A QR code (ISO/IEC 18004) with the text under it, for a scanner or a tired eye."""
    drawn = segno.make(text, error="m", micro=False).svg_inline(scale=2.6, light="#fff")
    return format_html(
        '<figure class="qr" aria-label="Code {}">{}<figcaption>{}</figcaption></figure>',
        text,
        Svg(drawn),
        text,
    )


@right(*ANY)
def traveler(request: DeskRequest, pk: int) -> HttpResponse:
    job = get_object_or_404(Job.objects.select_related("customer"), pk=pk)
    lines = job_lines(job)
    rows = [(stands, code_svg(f"{job.number}/{stands.line.number}")) for stands in lines]
    return render(
        request,
        "kerfbook/office/traveler.html",
        {"job": job, "rows": rows, "code": code_svg(job.number), "heats": job_heats(job)},
    )


@right(*ANY)
def setup(request: DeskRequest, pk: int) -> HttpResponse:
    """The page for the next burning of a nest; `?item=` names a place on a table's list."""
    nest = get_object_or_404(Nest.objects.select_related("material", "wear_set", "table"), pk=pk)
    revision = newest_revision(nest)
    if revision is None:
        raise Http404
    item = _item(nest, request.GET.get("item", ""))
    contours = revision_contours(revision)
    parts = map_parts(contours)
    sheet = item.sheet if item else None
    outline = (sheet.length_mm, sheet.width_mm) if sheet else None
    plan = _plan(nest, item, revision_plans(revision))
    return render(
        request,
        "kerfbook/office/setup.html",
        {
            "nest": nest, "revision": revision, "item": item, "sheet": sheet, "plan": plan,
            "figures": _figures(plan), "code": code_svg(nest.name),
            "sheet_code": code_svg(sheet.code) if sheet else None,
            "example": any(r.get("example") for r in plan.snapshot.get("chart_rows", []))
            if plan
            else False,
            "map": parts_map(parts, outline, width=860, font_px=15) if parts else None,
            "box": extents([points for part in parts for points in part.contours])
            if parts
            else None,
            "groups": group_rows(revision_groups(contours), contours),
        },
    )  # fmt: skip


def _item(nest: Nest, asked: str) -> QueueItem | None:
    waiting = QueueItem.objects.filter(nest=nest, state__in=("running", "waiting")).select_related(
        "sheet__heat", "table"
    )
    if asked.isascii() and asked.isdigit() and len(asked) < 12:
        return get_object_or_404(waiting, pk=int(asked))
    return waiting.order_by("state", "position").first()


def _plan(nest: Nest, item: QueueItem | None, plans: list[NestPlan]) -> NestPlan | None:
    if item is None:
        return chosen_plan(nest, plans)
    here = (item.table_id, nest.wear_set_id)
    return next((plan for plan in plans if (plan.table_id, plan.wear_set_id) == here), None)


def _figures(plan: NestPlan | None) -> list[dict[str, Any]]:
    """What to dial in, as the plan's snapshot has it; a figure the chart lacks is unknown."""
    chart = plan.snapshot.get("chart", {}) if plan else {}
    rows = []
    for label, name in HEIGHTS:
        value = chart.get(name)
        shown = f"{value:g}" if isinstance(value, int | float) else value
        rows.append({"label": label, "value": "unknown" if value is None else shown})
    return rows
