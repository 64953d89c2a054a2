"""The runs of a month by material, thickness and duty: the month page's hours and metres, and the
opened plate, are sums over the same runs."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import NamedTuple

from django.db.models import Sum
from django.utils.translation import gettext_noop as N_

from planning.calc.dates import MONTH, dated
from planning.calc.said import said, said_in_each
from planning.calc.units import M_PER_FT
from planning.inputs.any_of import any_of
from planning.inputs.chunks import among
from planning.reports.figure import Figure, Part, Ref, whole, with_total
from planning.reports.ledger import MATERIAL, month_of
from planning.reports.month_runs import MonthRun, month_runs
from planning.reports.run_names import run_names
from planning.reports.terms import as_printed, run_ids
from shopfloor.chart.duties import duty_word
from shopfloor.models import Month, Posting
from shopfloor.wording.quantity import Quantity, Remark, Unit, money, seconds

RULE = said_in_each(
    "elapsed time of the runs; a metre's cost is all that was posted for them but the material, "
    "over what they cut",
    N_(
        "elapsed time of the runs; a foot's cost is all that was posted for them but the material, "
        "over what they cut"
    ),
)
Spent = Mapping[uuid.UUID, int]


class Plate(NamedTuple):
    material: str
    thickness_mm: float
    duty: str


class Cut(NamedTuple):
    """What runs of one plate took. Length and cost are of those that something was posted for."""

    elapsed_s: float
    cut_mm: float
    minor: int
    priced: int  # runs that something was posted for

    @property
    def per_m_minor(self) -> float | None:
        return self.minor / (self.cut_mm / 1000) if self.cut_mm else None

    @property
    def per_ft_minor(self) -> float | None:
        return None if self.per_m_minor is None else self.per_m_minor * M_PER_FT


def by_plate(runs: Iterable[MonthRun], spent: Spent) -> dict[Plate, Cut]:
    groups: dict[Plate, list[MonthRun]] = defaultdict(list)
    for run in runs:
        groups[Plate(run.material, run.thickness_mm, run.duty)].append(run)
    return {plate: cut_of(own, spent) for plate, own in groups.items()}


def cut_of(runs: Iterable[MonthRun], spent: Spent) -> Cut:
    runs = list(runs)
    priced = [run for run in runs if run.run_id in spent]
    return Cut(
        sum(run.elapsed_s for run in runs),
        sum(run.cut_mm for run in priced),
        sum(spent[run.run_id] for run in priced),
        len(priced),
    )


def of_month(key: str) -> Figure:
    """Hours, metres and cost of a plate in a month ("2026-10-01:MATERIAL:MM:DUTY")."""
    day, rest = key.split(":", 1)
    material, thick, duty = rest.rsplit(":", 2)
    month = month_of(day)
    alike = month_runs(
        run_ids(month), costs=False, terms=False, revision__nest__material__code=material,
        revision__nest__thickness_mm=float(thick),
    )  # fmt: skip
    own = {pk: run for pk, run in alike.items() if run.duty == duty}
    if not own:
        raise LookupError(f"no run of {day} was of {rest}")
    spent, names = _spent(month, list(own)), run_names(own)
    parts = [
        Part(
            names[pk][1],
            seconds(own[pk].elapsed_s, own[pk].evidence),
            Ref("run", str(pk)),
            (_cut_note(own[pk].cut_mm, spent.get(pk)),),
        )
        for pk in sorted(own, key=lambda pk: names[pk])
    ]
    cut = cut_of(own.values(), spent)
    hours = cut.elapsed_s / 3600
    total = replace(whole(parts, seconds(0)), value=hours, unit=Unit.HOURS)
    label = said(
        "{material} {0}, {duty}, in {month}",
        float(thick),
        material=material,
        duty=duty_word(duty),
        month=dated(month.first_day, MONTH),
    )
    rule = as_printed(RULE) if month.closed_at else RULE
    ended = with_total(parts, total, _cut_note(cut.cut_mm, cut.minor, cut.per_m_minor))
    return Figure(Ref("month_plate", key), label, total, rule, ended, page=Ref("cost", day[:7]))


def _cut_note(cut_mm: float, minor: int | None, per_m: float | None = None) -> Remark:
    of = (Quantity(cut_mm, Unit.LENGTH), money(minor))
    if per_m is None:
        return Remark("{} cut, {} without material", of)
    each = Quantity(per_m, Unit.MONEY_PER_M, right=money(0).right)
    return Remark("{} cut, {} without material: {}", (*of, each))


def _spent(month: Month, runs: list[uuid.UUID]) -> Spent:
    """All that was posted for these runs in a month but the material."""
    own = Posting.objects.filter(month=month).exclude(kind__in=MATERIAL).order_by()
    return dict(
        among(
            runs,
            lambda some: own.filter(**any_of("run", some)).values_list("run_id").annotate(
                all=Sum("amount_minor")
            ),
        )
    )  # fmt: skip
