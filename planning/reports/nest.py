"""What a nest takes by each admissible set."""

from __future__ import annotations

from typing import Any

import pandas as pd
from django.utils.translation import gettext as _

from planning.calc.cost import PLAN_KINDS
from planning.calc.said import in_units, stored
from planning.reports.frames import currency, frame
from planning.reports.shapes import Coverage
from shopfloor.models import Nest, NestPlan
from shopfloor.nests.warnings import refusal_of

KINDS = PLAN_KINDS
TIMES = "cut_mm pierces cut_s pierce_s travel_s touch_off_s load_s total_s bench_min"


def nest_by_sets(*, nest_id: int) -> pd.DataFrame:
    """One row a table and set, of the newest revision: table_id, table, set_id, wear_set, duty,
    chosen (bool), cut_mm, pierces, cut_s, pierce_s, travel_s, touch_off_s, load_s, total_s,
    bench_min, machine_minor, labour_minor, gas_minor, energy_minor, wear_minor, bench_minor,
    cost_minor (None where a part of it is unknown), least (bool: cheapest known), problem,
    problem_in (the same for who reads inches), computed_at, plan_id. Raises `LookupError` where
    there is no such nest."""
    nest = Nest.objects.filter(pk=nest_id).first()
    if nest is None:
        raise LookupError(_("there is no nest {nest_id}").format(nest_id=nest_id))
    revision = nest.revisions.order_by("-revision").values_list("pk", flat=True).first()
    plans = list(
        NestPlan.objects.filter(revision=revision)
        .select_related("table", "wear_set")
        .defer("arcs_s")
        .order_by("table__order", "table__name", "wear_set__current_a")
    )
    whole = {plan.pk: _whole(plan) for plan in plans}
    least = min((cost for cost in whole.values() if cost is not None), default=None)
    rows = [
        (
            plan.table_id,
            plan.table.name,
            plan.wear_set_id,
            str(plan.wear_set),
            plan.wear_set.duty,
            plan.wear_set_id == nest.wear_set_id and nest.table_id in (None, plan.table_id),
            *(getattr(plan, name) for name in TIMES.split()),
            *(plan.costs_minor.get(kind) for kind in KINDS),
            whole[plan.pk],
            least is not None and whole[plan.pk] == least,
            plan.problem,
            in_units(stored(refusal_of(plan)), inch=True),
            plan.computed_at,
            plan.pk,
        )
        for plan in plans
    ]
    columns = (
        f"table_id table set_id wear_set duty chosen {TIMES} "
        f"{' '.join(f'{kind}_minor' for kind in KINDS)} cost_minor least problem problem_in "
        "computed_at plan_id"
    )
    planned: Any = sum(plan.total_s or 0.0 for plan in plans)
    return frame(columns, rows, coverage=Coverage(planned=planned), **currency())


def _whole(plan: NestPlan) -> int | None:
    costs = plan.costs_minor
    return sum(costs[kind] for kind in KINDS) if all(kind in costs for kind in KINDS) else None
