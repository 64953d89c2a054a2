"""Single rows of the cut chart, and what is done about a thickness that nearly has one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from planning.calc import chart as calc
from planning.calc.said import to_reader
from shopfloor.background.plans import request_plan
from shopfloor.chart.cut_settings import CHART_NAMES, ROW_NAMES, SHOP_NAMES, faults
from shopfloor.chart.fit import equal_mm, is_equal
from shopfloor.chart.services import in_force
from shopfloor.chart.thickness import thickness_of
from shopfloor.models import ChartRow, Material, Nest, ThicknessAnswer, User, WearSet


def row_warnings(
    *, wear_set: WearSet, material: Material, thickness_mm: float, figures: Mapping[str, Any],
    current_a: float | None = None, at: datetime,
) -> list[calc.Finding]:  # fmt: skip
    """What is odd about a row beside the others of its set and material that hold at `at`. Its own
    line is 1; findings about other rows are left out."""

    def known(line: int, thickness: float, amps: float, values: Mapping[str, Any]) -> calc.ChartRow:
        told: dict[str, Any] = {name: values.get(name) for name in CHART_NAMES}
        return calc.ChartRow(
            set=wear_set.code, material=metal, thickness_mm=thickness, gas=wear_set.gas,
            duty=wear_set.duty, current_a=amps, line=line, **told,
        )  # fmt: skip

    metal = material.family or material.code
    others = ChartRow.objects.filter(in_force(at), wear_set=wear_set, material=material)
    rows = [known(1, thickness_mm, current_a or wear_set.current_a, figures)]
    rows += [
        known(line, row.thickness_mm, wear_set.current_a, vars(row))
        for line, row in enumerate(others, 2)
        if not is_equal(row.thickness_mm, thickness_mm)
    ]
    return [
        replace(finding, text=to_reader(finding.text, inch=False))
        for finding in calc.review(rows)
        if finding.line == 1
    ]


@transaction.atomic
def save_row(
    *,
    wear_set: WearSet,
    material: Material,
    thickness_text: str,
    figures: Mapping[str, float | None],
    valid_from: datetime | None = None,
    note: str = "",
    now: datetime | None = None,
) -> ChartRow:
    """A row in force from a moment, now or later; the one before it ends then and is kept. Nests
    of the material are planned anew, now or by the sweep once it is in force.

    Raises ValidationError for a moment that is past, a later row already there, a figure that
    cannot be, and a speed that needs more power than the arc has.
    """
    now = now or timezone.now()
    begin = valid_from or now
    size = thickness_of(thickness_text, material, typed=False)
    if begin < now:
        raise ValidationError({"valid_from": _("A row cannot begin before now: plans rest on it.")})
    if strange := set(figures) - set(ROW_NAMES):
        raise ValueError(
            _("no figures of a chart row: {strange}").format(strange=", ".join(sorted(strange)))
        )
    if wrong := faults(figures):
        raise ValidationError(wrong)
    doubts = row_warnings(
        wear_set=wear_set, material=material, thickness_mm=size.nominal_mm, figures=figures, at=now
    )
    if worst := next((doubt for doubt in doubts if doubt.impossible), None):
        raise ValidationError(_("This row {text}.").format(text=worst.text))
    same = ChartRow.objects.filter(
        wear_set=wear_set, material=material,
        thickness_mm__range=equal_mm(size.nominal_mm),
    )  # fmt: skip
    if same.filter(valid_from__gt=begin).exclude(valid_to__lte=begin).exists():
        raise ValidationError({"valid_from": _("A row for this thickness begins later already.")})
    before = same.filter(in_force(begin)).first()
    if before is not None:
        before.valid_to = begin
        before.save(update_fields=["valid_to"])
    kept = {name: getattr(before, name, None) for name in SHOP_NAMES}
    row = ChartRow(
        wear_set=wear_set, material=material, thickness_mm=size.nominal_mm,
        thickness_text=size.text.strip()[:40], valid_from=begin, note=note.strip()[:200],
        **{**kept, **figures, "touch_off_s": figures.get("touch_off_s") or 0.0},
    )  # fmt: skip
    row.full_clean()
    row.save()
    if begin <= now:
        for nest in Nest.objects.filter(material=material, withdrawn_at=None):
            request_plan(nest=nest)
    return row


@transaction.atomic
def thickness_answer(
    *, material: Material, thickness_mm: float, row_mm: float, by_row: bool, by: User,
    at: datetime | None = None,
) -> ThicknessAnswer:  # fmt: skip
    """Remembers whether plate of a thickness is cut by the row for another, nearly the same one.
    Said once for all nests; saying it again replaces it, and the trail keeps both."""
    answer, _ = ThicknessAnswer.objects.update_or_create(
        material=material,
        thickness_mm=round(thickness_mm, 6),
        row_mm=round(row_mm, 6),
        defaults={"by_row": by_row, "by": by, "at": at or timezone.now()},
    )
    near = equal_mm(thickness_mm)
    nests = Nest.objects.filter(material=material, withdrawn_at=None, thickness_mm__range=near)
    for nest in nests:
        request_plan(nest=nest)
    return answer
