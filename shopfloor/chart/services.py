"""The cut chart, sets and materials. Chart rows, like rates, are never edited: a change ends
one and begins another, so that an old plan can show what it was made from."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from planning.calc import chart as calc
from planning.calc.said import to_reader
from planning.calc.units import DENSITY_KG_M3, material_family
from shopfloor.chart.cut_settings import (
    CHART_NAMES,
    OF_CHART,
    SHOP_NAMES,
    same_figures,
)
from shopfloor.chart.cut_settings import (
    faults as cut_faults,
)
from shopfloor.chart.duties import CODES, choice_words
from shopfloor.chart.parts import OF_PART, part_change, plan_again_with
from shopfloor.chart.replan import plan_again
from shopfloor.files.fault import Fault
from shopfloor.models import (
    ChartRow,
    Material,
    SetPart,
    WearSet,
)


def in_force(at: datetime) -> Q:
    """Chart rows that hold at a moment."""
    return Q(valid_from__lte=at) & (Q(valid_to=None) | Q(valid_to__gt=at))


@dataclass(frozen=True, slots=True)
class ChartChange:
    """One row of a chart file against the shop's: new, changed (`before` ends) or same."""

    row: calc.ChartRow
    kind: str
    before: ChartRow | None = None


@dataclass(frozen=True, slots=True)
class ChartPlan:
    changes: list[ChartChange]
    faults: list[Fault]
    doubts: list[Fault]
    new_sets: list[str]
    new_materials: list[str]

    @property
    def writes(self) -> list[ChartChange]:
        return [change for change in self.changes if change.kind != "same"]


def chart_plan(raw: bytes, *, at: datetime | None = None) -> ChartPlan:
    """What a chart file would change. Writes nothing. Raises ChartError naming the line where
    the file cannot be read; rows the shop cannot take are faults and are left out."""
    at = at or timezone.now()
    rows = calc.read_chart(raw)
    sets = {wear_set.code.lower(): wear_set for wear_set in WearSet.objects.all()}
    materials = {material.code.lower(): material for material in Material.objects.all()}
    current = _by_key(ChartRow.objects.filter(in_force(at)))
    to_come = _by_key(ChartRow.objects.filter(valid_from__gt=at).exclude(valid_to__lte=at))
    changes: list[ChartChange] = []
    faults: list[Fault] = []
    seen: dict[tuple[str, str, float], int] = {}
    for row in rows:
        key = (row.set.lower(), row.material.lower(), round(row.thickness_mm, 4))
        fault = _fault(row, sets, materials) or (
            _("the same set, material and thickness as line {key}").format(key=seen[key])
            if key in seen
            else ""
        )
        if not fault and key in to_come:
            fault = _("a row that begins later is there already; end that one first")
        if fault:
            faults.append(Fault(row.line, fault))
            continue
        seen[key] = row.line
        before = current.get(key)
        kept = replace(row, touch_off_s=row.touch_off_s or 0.0)
        same = before is not None and same_figures(before, kept, CHART_NAMES)
        kind = "new" if before is None else "same" if same else "changed"
        changes.append(ChartChange(kept, kind, before))
    return ChartPlan(
        changes,
        faults,
        [Fault(finding.line, to_reader(finding.text, inch=False)) for finding in calc.review(rows)],
        sorted({change.row.set for change in changes} - _names(sets.values())),
        sorted({change.row.material for change in changes} - _names(materials.values())),
    )


def _by_key(rows: QuerySet[ChartRow]) -> dict[tuple[str, str, float], ChartRow]:
    return {
        (row.wear_set.code.lower(), row.material.code.lower(), round(row.thickness_mm, 4)): row
        for row in rows.select_related("wear_set", "material")
    }


def _names(found: Iterable[WearSet] | Iterable[Material]) -> set[str]:
    return {entry.code for entry in found}


def _fault(row: calc.ChartRow, sets: dict[str, WearSet], materials: dict[str, Material]) -> str:
    if len(row.set) > 40 or len(row.material) > 40:
        return _("set and material are words of up to 40 letters")
    if row.set.lower() not in sets:
        if row.duty not in CODES:
            return _("set {set} is new: its duty must be {choices}").format(
                set=row.set, choices=choice_words()
            )
        if not row.current_a:
            return _("set {set} is new: its current_a is missing").format(set=row.set)
    if row.material.lower() not in materials and material_family(row.material) is None:
        return _("material {material} is not known; add it under Materials first").format(
            material=row.material
        )
    wrong = cut_faults({name: getattr(row, name) for name in CHART_NAMES}, OF_CHART)
    return "; ".join(f"{name}: {text}" for name, text in wrong.items())


@transaction.atomic
def chart_apply(
    raw: bytes, *, example: bool = False, note: str = "", at: datetime | None = None
) -> ChartPlan:
    """Writes new and changed rows, valid from `at`. Rows the file leaves out stay in force. The
    nests that a changed set and material touch are planned anew."""
    at = at or timezone.now()
    plan = chart_plan(raw, at=at)
    touched: set[tuple[int, int]] = set()
    for change in plan.writes:
        row = change.row
        wear_set, material = _set_of(row), _material_of(row)
        if change.before is not None:
            ChartRow.objects.filter(pk=change.before.pk).update(valid_to=at)
        figures = {name: getattr(row, name) for name in CHART_NAMES}
        figures |= {name: getattr(change.before, name, None) for name in SHOP_NAMES}
        ChartRow.objects.create(
            wear_set=wear_set,
            material=material,
            thickness_mm=row.thickness_mm,
            thickness_text=(row.thickness_text or f"{row.thickness_mm:g} mm")[:40],
            example=example,
            valid_from=at,
            note=note[:200],
            **figures,
        )
        touched.add((wear_set.pk, material.pk))
    plan_again({material for _, material in touched})
    return plan


def _set_of(row: calc.ChartRow) -> WearSet:
    found = WearSet.objects.filter(code__iexact=row.set).first()
    if found is not None:
        return found
    return WearSet.objects.create(
        code=row.set, duty=row.duty, current_a=row.current_a or 0.0, gas=row.gas or "air"
    )


def _material_of(row: calc.ChartRow) -> Material:
    found = Material.objects.filter(code__iexact=row.material).first()
    if found is not None:
        return found
    family = material_family(row.material) or "mild steel"
    return material_add(
        code=row.material,
        name=row.material,
        family=family,
        density_kg_m3=DENSITY_KG_M3[family],
    )


# Which hazard a family brings in itself; common practice, no source.
CAUTIONS = {"stainless": "chromium", "galvanised": "coated", "aluminium": "aluminium"}


@transaction.atomic
def material_add(
    *, code: str, family: str, name: str = "", density_kg_m3: float | None = None, caution: str = ""
) -> Material:
    """Without a name, a density or a caution it gets its code and what is usual of its family."""
    material = Material(
        code=code.strip(),
        name=name.strip() or code.strip(),
        family=family,
        density_kg_m3=density_kg_m3 or DENSITY_KG_M3[family],
        caution=caution or CAUTIONS.get(family, ""),
    )
    material.full_clean()
    material.save()
    return material


@transaction.atomic
def row_end(*, row: ChartRow, at: datetime | None = None) -> None:
    """Takes a row out of force; plans already made keep it. One that was still to come never
    begins, and the row it was to follow goes on."""
    if row.valid_to is not None:
        return
    at = at or timezone.now()
    if row.valid_from > at:
        ChartRow.objects.filter(
            wear_set=row.wear_set_id, material=row.material_id, thickness_mm=row.thickness_mm,
            valid_to=row.valid_from,
        ).update(valid_to=None)  # fmt: skip
    row.valid_to = at
    row.save(update_fields=["valid_to"])
    plan_again({row.material_id})


@transaction.atomic
def part_set(
    *,
    wear_set: WearSet,
    kind: str,
    name: str,
    price_minor: int,
    rated_starts: int | None = None,
    pit_limit_mm: float | None = None,
    in_drawer: int = 0,
    low_at: int = 2,
    lead_days: int | None = None,
    pack: int = 1,
) -> SetPart:
    """What a set takes of one kind. Pieces bought before keep the price they were bought at; plans
    count the new one. What is the part's own changes in every set that takes it."""
    part = SetPart.objects.filter(wear_set=wear_set, kind=kind).first()
    part = part or SetPart(wear_set=wear_set, kind=kind)
    part.name, part.price_minor, part.rated_starts = name.strip(), price_minor, rated_starts
    part.pit_limit_mm, part.in_drawer, part.low_at = pit_limit_mm, in_drawer, low_at
    part.lead_days, part.pack = lead_days, pack
    part.full_clean()
    part.save()
    part_change(part, **{name: getattr(part, name) for name in OF_PART})
    plan_again_with(part)
    return part
