"""The cut chart, sets and rates as the office reads them."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime

from django.db.models import Count, Prefetch, Q, QuerySet
from django.utils import timezone

from planning.calc.chart import Finding
from shopfloor.chart.fit import equal_mm
from shopfloor.chart.rows import row_warnings
from shopfloor.chart.services import in_force
from shopfloor.models import (
    ChartRow,
    ChartTrial,
    Material,
    Piece,
    SetPart,
    Tray,
    WearSet,
)


def chart_rows(
    *, wear_set: int | None = None, material: int | None = None, ended: bool = False
) -> QuerySet[ChartRow]:
    """Rows in force or to come, or with `ended` those that no longer are, by set, material,
    thickness."""
    over = Q(valid_to__lte=timezone.now())
    rows = ChartRow.objects.select_related("wear_set", "material").filter(over if ended else ~over)
    if wear_set is not None:
        rows = rows.filter(wear_set=wear_set)
    if material is not None:
        rows = rows.filter(material=material)
    return rows.order_by("wear_set__current_a", "material__code", "thickness_mm", "-valid_from")


def row_history(row: ChartRow) -> QuerySet[ChartRow]:
    """Every row there was or will be for the same set, material and thickness, newest first."""
    return (
        ChartRow.objects.filter(
            wear_set=row.wear_set_id,
            material=row.material_id,
            thickness_mm__range=equal_mm(row.thickness_mm),
        )
        .select_related("trial")
        .order_by("-valid_from")
    )


def row_trials(row: ChartRow) -> QuerySet[ChartTrial]:
    return _trials().filter(
        wear_set=row.wear_set_id,
        material=row.material_id,
        thickness_mm__range=equal_mm(row.thickness_mm),
    )


def row_doubts_now(row: ChartRow) -> list[Finding]:
    """What is odd about a row beside its neighbours."""
    return row_warnings(
        wear_set=row.wear_set, material=row.material, thickness_mm=row.thickness_mm,
        figures=vars(row), at=timezone.now(),
    )  # fmt: skip


def trials_list(*, material: int | None = None) -> QuerySet[ChartTrial]:
    """Trials, the newest first."""
    found = _trials()
    return found if material is None else found.filter(material=material)


def trials_beside(trial: ChartTrial) -> QuerySet[ChartTrial]:
    """Other trials of the same set, material and thickness."""
    return (
        _trials()
        .filter(
            wear_set=trial.wear_set_id, material=trial.material_id,
            thickness_mm__range=equal_mm(trial.thickness_mm),
        )
        .exclude(pk=trial.pk)
    )  # fmt: skip


def row_now(trial: ChartTrial, now: datetime) -> ChartRow | None:
    """The row in force for what a trial tried, None where there is none."""
    return ChartRow.objects.filter(
        in_force(now), wear_set=trial.wear_set_id, material=trial.material_id,
        thickness_mm__range=equal_mm(trial.thickness_mm),
    ).first()  # fmt: skip


def trial_doubts(trial: ChartTrial) -> list[Finding]:
    return row_warnings(
        wear_set=trial.wear_set, material=trial.material, thickness_mm=trial.thickness_mm,
        figures=vars(trial), current_a=trial.current_a, at=timezone.now(),
    )  # fmt: skip


def _trials() -> QuerySet[ChartTrial]:
    return ChartTrial.objects.select_related("wear_set", "material", "table", "by", "row")


def sets_list() -> QuerySet[WearSet]:
    """Sets with how many chart rows and parts each has."""
    return WearSet.objects.annotate(
        rows=Count("chart_rows", filter=Q(chart_rows__valid_to=None), distinct=True),
        part_count=Count("parts", distinct=True),
    ).order_by("current_a")


def set_parts(wear_set: WearSet) -> list[SetPart]:
    """Its parts, each with the other sets that take the same one as `sharing`."""
    parts = list(wear_set.parts.order_by("kind"))
    mains = {part.same_as_id or part.pk for part in parts}
    shared = SetPart.objects.filter(Q(pk__in=mains) | Q(same_as__in=mains))
    others: dict[int, list[WearSet]] = defaultdict(list)
    for one in shared.exclude(wear_set=wear_set).select_related("wear_set"):
        others[one.same_as_id or one.pk].append(one.wear_set)
    for part in parts:
        vars(part)["sharing"] = others[part.same_as_id or part.pk]
    return parts


def trays_of(wear_set: WearSet) -> QuerySet[Tray]:
    pieces = Prefetch("pieces", Piece.objects.order_by("part__kind", "label"))
    return wear_set.trays.prefetch_related(pieces).order_by("label")


def materials_list() -> QuerySet[Material]:
    return Material.objects.annotate(
        rows=Count("chart_rows", filter=Q(chart_rows__valid_to=None), distinct=True)
    )
