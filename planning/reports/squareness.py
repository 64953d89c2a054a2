"""The price of squareness of a month: what was cut fine though nobody asked for it."""

from __future__ import annotations

import dataclasses
import uuid
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import pandas as pd
from django.db.models import Min, Sum
from django.utils.translation import gettext as _

from planning.calc.cost import rounded
from planning.calc.dates import MONTH, dated
from planning.calc.edge import PredictedU, predict_u
from planning.calc.said import said
from planning.calc.squareness import FineCut, metres_by_standing, per_tenth_mm
from planning.inputs.checks import checked_u
from planning.inputs.chunks import chunked
from planning.inputs.set_plans import SetPlan, run_plans
from planning.inputs.taken import Cell, cell_of
from planning.reports.cost_parts import SHOP
from planning.reports.frames import currency, frame, from_records, to_records
from planning.reports.month_runs import month_run_ids
from planning.reports.nest import KINDS
from planning.reports.summaries import kept_body
from planning.services.postings import next_month
from shopfloor.chart.duties import QUICK, SQUARE
from shopfloor.models import Contour, Month, Run, RunDay

COLUMNS = "job_id job title asked run_id nest day cut_m hours_more more_minor"
TENTHS = "material thickness_mm fine_set fast_set fine_u_mm fast_u_mm per_m_minor per_tenth_minor"


@dataclass(frozen=True)
class Squareness:
    """runs: job_id, job, title, asked (u range, None: nothing), run_id, nest, day, cut_m,
        hours_more, more_minor  (only what nobody asked for)
    tenths: material, thickness_mm, fine_set, fast_set, fine_u_mm, fast_u_mm, per_m_minor,
        per_tenth_minor  (what a metre costs more for each 0.1 mm of u, by the checks)
    standing: metres cut fine by why they were; they sum to all of them
    kept: whether it is as it was when the month closed."""

    runs: pd.DataFrame
    tenths: pd.DataFrame
    standing: dict[str, float]
    kept: bool

    @property
    def total_minor(self) -> int:
        return int(sum(self.runs["more_minor"]))


def squareness(*, first_day: date) -> Squareness:
    """One month. A closed one is read as it was printed; one that closed before this report was
    kept is worked out from what is known now. Raises `LookupError` where nothing was posted."""
    month = Month.objects.filter(first_day=first_day).first()
    if month is None:
        raise LookupError(
            _("nothing was posted in {first_day}").format(first_day=dated(first_day, MONTH))
        )
    if month.closed_at is None:
        kept = kept_body(first_day)
        return _from_print(kept["squareness"], closed=False) if kept else square_now(first_day)
    printed = (month.printed or {}).get("squareness")
    return _from_print(printed, closed=True) if printed else square_now(first_day)


def square_now(first_day: date) -> Squareness:
    """One month worked out from what is known now."""
    return _Fine(first_day).report()


def to_print(found: Squareness) -> dict[str, Any]:
    return {
        "runs": to_records(found.runs),
        "tenths": to_records(found.tenths),
        "standing": found.standing,
    }


def _from_print(printed: Mapping[str, Any], *, closed: bool) -> Squareness:
    money = currency()
    runs = from_records(printed["runs"], **money)
    runs["day"] = [date.fromisoformat(str(day)) for day in runs["day"]]
    return Squareness(
        runs, from_records(printed["tenths"], **money), dict(printed["standing"]), closed
    )


@dataclass(frozen=True, slots=True)
class _Line:
    share: float
    asked: int | None
    must_be_fine: bool
    job_id: int | None
    job: str
    title: str


@dataclass(frozen=True, slots=True)
class _Burnt:
    """A run's cutting with one fine set."""

    run_id: uuid.UUID
    set_id: int
    cut_m: float
    revision_id: int
    table_id: int
    nest: str
    material_id: int
    material: str
    thickness_mm: float
    day: date


class _Fine:
    """Everything fine cutting of a month is held against, in a fixed number of queries."""

    def __init__(self, first_day: date) -> None:
        self.burnt = _burnt(month_run_ids(first_day, next_month(first_day)))
        revisions = sorted({one.revision_id for one in self.burnt})
        self.lines = _lines(revisions)
        self.plans = run_plans(self.burnt)
        self.checks = checked_u() if self.burnt else {}
        self._u: dict[Cell, PredictedU] = {}

    def report(self) -> Squareness:
        money = currency()
        rows: list[tuple[Any, ...]] = []
        cuts: list[FineCut] = []
        tenths: dict[tuple[Any, ...], tuple[Any, ...]] = {}
        for one in self.burnt:
            fine, fast = self._pair(one)
            for line in self.lines.get(one.revision_id, (_NOBODY,)):
                cut = self._cut(one, line, fine, fast)
                cuts.append(cut)
                if cut.standing == "not asked for":
                    rows.append(_row(one, line, cut))
            if fine is not None and fast is not None:
                self._tenth(one, fine, fast, tenths)
        rows.sort(key=lambda row: (-row[-1], str(row[1])))
        standing = {str(word): metres for word, metres in metres_by_standing(cuts).items()}
        return Squareness(
            frame(COLUMNS, rows, **money),
            frame(TENTHS, [tenths[key] for key in sorted(tenths)], **money),
            standing,
            False,
        )

    def _pair(self, one: _Burnt) -> tuple[SetPlan | None, SetPlan | None]:
        """The plan of the set that cut it, and of the cheapest fast set that could have."""
        plans = [
            plan for plan in self.plans[one.run_id] if not plan.problem and plan.total_s is not None
        ]
        fine = next((plan for plan in plans if plan.wear_set.pk == one.set_id), None)
        fast = [plan for plan in plans if plan.wear_set.duty in QUICK]
        return fine, min(fast, key=_dear, default=None)

    def _cut(self, one: _Burnt, line: _Line, fine: SetPlan | None, fast: SetPlan | None) -> FineCut:
        return FineCut(
            metres=one.cut_m * line.share,
            thickness_mm=one.thickness_mm,
            asked=line.asked,
            must_be_fine=line.must_be_fine,
            fast=fast is not None,
            u=self._predicted(one, fast.wear_set.pk if fast else 0),
            fine_minor=_per_m(fine),
            fast_minor=_per_m(fast),
            fine_h=_hours_m(fine),
            fast_h=_hours_m(fast),
        )

    def _predicted(self, one: _Burnt, set_id: int) -> PredictedU:
        cell = cell_of(set_id, one.material_id, one.thickness_mm)
        if cell not in self._u:
            self._u[cell] = predict_u(self.checks.get(cell, []))
        return self._u[cell]

    def _tenth(
        self, one: _Burnt, fine: SetPlan, fast: SetPlan, tenths: dict[Any, tuple[Any, ...]]
    ) -> None:
        """The first run of each pair of sets stands for its material and thickness."""
        key = (one.material, one.thickness_mm, str(fine.wear_set), str(fast.wear_set))
        ours, theirs = (self._predicted(one, plan.wear_set.pk).u_mm for plan in (fine, fast))
        dear, cheap = _per_m(fine), _per_m(fast)
        if key in tenths or None in (ours, theirs, dear, cheap):
            return
        each = per_tenth_mm(dear or 0.0, cheap or 0.0, ours or 0.0, theirs or 0.0)
        more = rounded((dear or 0.0) - (cheap or 0.0))
        tenths[key] = (*key, ours, theirs, more, None if each is None else rounded(each))


_NOBODY = _Line(1.0, None, False, None, SHOP, said("parts that belong to no job"))


def _row(one: _Burnt, line: _Line, cut: FineCut) -> tuple[Any, ...]:
    return (
        line.job_id, line.job, line.title, line.asked, str(one.run_id), one.nest, one.day,
        cut.metres, cut.more_h, rounded(cut.more_minor or 0.0),
    )  # fmt: skip


def _dear(plan: SetPlan) -> tuple[bool, float]:
    each = _per_m(plan)
    return each is None, each or plan.total_s or 0.0


def _per_m(plan: SetPlan | None) -> float | None:
    """Minor units a metre, wear and bench included; None where a kind is unknown."""
    if plan is None or not plan.cut_mm or any(kind not in plan.costs_minor for kind in KINDS):
        return None
    return float(sum(plan.costs_minor[kind] for kind in KINDS)) / (plan.cut_mm / 1000)


def _hours_m(plan: SetPlan | None) -> float:
    if plan is None or not plan.cut_mm:
        return 0.0
    return ((plan.total_s or 0.0) + (plan.load_s or 0.0)) / 3600 / (plan.cut_mm / 1000)


def _burnt(ids: Iterable[uuid.UUID]) -> list[_Burnt]:
    ids = sorted(set(ids))
    days = chunked(
        ids,
        lambda some: (
            RunDay.objects.filter(run__in=some, wear_set__duty__in=SQUARE)
            .order_by()
            .values_list("run_id", "wear_set_id")
            .annotate(Sum("cut_mm"), Min("shift_date"))
        ),
    )
    facts = {
        run.pk: run
        for run in chunked(
            sorted({day[0] for day in days}),
            lambda some: (
                Run.objects.filter(pk__in=some)
                .select_related("revision__nest__material")
                .defer("plan", "revision__program", "revision__notes")
            ),
        )
    }
    return [
        _one(facts[run], wear_set, cut_mm / 1000, first)
        for run, wear_set, cut_mm, first in sorted(days, key=lambda day: (day[3], str(day[0])))
        if cut_mm > 0
    ]


def _one(run: Run, set_id: int, cut_m: float, day: date) -> _Burnt:
    nest = run.revision.nest
    return _Burnt(
        run_id=run.pk,
        set_id=set_id,
        cut_m=cut_m,
        revision_id=run.revision_id,
        table_id=run.table_id,
        nest=nest.name,
        material_id=nest.material_id,
        material=nest.material.code,
        thickness_mm=nest.thickness_mm,
        day=day,
    )


def _lines(revisions: Sequence[int]) -> dict[int, tuple[_Line, ...]]:
    """By revision, its job lines with their share of the cutting; a common edge counts half."""
    rows = chunked(
        revisions,
        lambda some: (
            Contour.objects.filter(revision__in=some)
            .order_by("revision", "number")
            .values_list(
                "revision_id", "line_id", "cut_mm", "common_share", "line__u_range_asked",
                "line__must_be_fine", "line__job_id", "line__job__number", "line__job__title",
            )
        ),
    )  # fmt: skip
    lengths: dict[int, dict[int | None, float]] = defaultdict(lambda: defaultdict(float))
    facts: dict[int | None, _Line] = {None: _NOBODY}
    for revision, line, cut_mm, share, asked, fine, job_id, job, title in rows:
        lengths[revision][line] += cut_mm * share
        if line is not None:
            facts[line] = _Line(0.0, asked, fine, job_id, job, title)
    found = {}
    for revision, own in lengths.items():
        whole = sum(own.values())
        if whole > 0:
            found[revision] = tuple(
                dataclasses.replace(facts[line], share=mm / whole) for line, mm in own.items()
            )
    return found
