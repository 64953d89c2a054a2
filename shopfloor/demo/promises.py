"""What the demo's jobs were sold for, and the plan each run opened with: made once planning has
planned the nests."""

from __future__ import annotations

from collections import defaultdict
from random import Random
from typing import Any

from django.db.models import Avg, Sum

from shopfloor.audit.actor import acting
from shopfloor.demo import LOADED, cast
from shopfloor.models import Contour, Job, Nest, NestPlan, Run
from shopfloor.runs.services import plan_snapshot

SHEET_MM2 = 2440.0 * 1220.0


def keep_plans() -> None:
    """Gives every run the plan it would have opened with, as the terminal does at a start."""
    plans: dict[tuple[int, int], dict[str, Any]] = {}
    runs = list(Run.objects.filter(plan={}).select_related("revision__nest__wear_set", "table"))
    for run in runs:
        key = (run.revision_id, run.table_id)
        if key not in plans:
            plans[key] = plan_snapshot(run.revision, run.table, run.revision.nest.wear_set)
        run.plan = plans[key]
    with acting("command start", why=LOADED):
        Run.objects.bulk_update(runs, ["plan"], batch_size=200)


def keep_prices(random: Random) -> None:
    """A price for every job: its plan and material with a margin that is not always enough. A nest
    that several jobs share is paid for by area."""
    expected: dict[int, float] = defaultdict(float)
    for plan in NestPlan.objects.filter(problem="").select_related("revision__nest__material"):
        nest = plan.revision.nest
        if (plan.table_id, plan.wear_set_id) == (nest.table_id, nest.wear_set_id):
            expected[nest.pk] = sum(plan.costs_minor.values()) + _material(nest)
    # A model's own order joins what is told apart: without it gone, every contour would count.
    areas = Contour.objects.order_by().values_list(
        "line__job", "revision__nest", "revision__nest__sheets_wanted"
    )
    rows = list(areas.annotate(area=Sum("net_area_mm2")))
    whole: dict[int, float] = defaultdict(float)
    for _job, nest_id, _sheets, area in rows:
        whole[nest_id] += area
    totals: dict[int, float] = defaultdict(float)
    for job, nest_id, sheets, area in rows:
        totals[job] += expected[nest_id] * sheets * area / whole[nest_id]
    jobs = list(Job.objects.filter(pk__in=totals).order_by("pk"))
    for job_row in jobs:
        job_row.quote_minor = round(totals[job_row.pk] * random.uniform(1.06, 1.34) / 500) * 500
    with acting("command start", why=LOADED):
        Job.objects.bulk_update(jobs, ["quote_minor"], batch_size=200)


def _material(nest: Nest) -> float:
    """What its sheets cost on average; a full sheet's price where none was burnt yet."""
    burnt = Run.objects.filter(revision__nest=nest).aggregate(cost=Avg("sheet__cost_minor"))["cost"]
    if burnt is not None:
        return float(burnt)
    kilos = SHEET_MM2 * nest.thickness_mm * nest.material.density_kg_m3 / 1e9
    return kilos * cast.PRICE_PER_KG[nest.material.code] * 100
