"""What a nest takes on each table with each set. Work kind "nest", key: nest revision id."""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from django.utils import timezone
from django.utils.timezone import localtime
from django.utils.translation import gettext as _

from planning.calc.chart import ChartError, ChartFigure, lookup
from planning.calc.cost import RateBook, energy_kwh, rounded, time_amount
from planning.calc.dates import dated
from planning.calc.life.given import Given
from planning.calc.motion import FURTHER_LIMITS
from planning.calc.plan import Cutting, Plan, plan_program
from planning.calc.program import Program, ProgramError, read_program
from planning.calc.said import stored, to_reader, told
from planning.inputs.chart import answered_row_mm, between, calc_rows, rows_in_force
from planning.inputs.lives import given_of
from planning.inputs.rates import rate_book
from planning.inputs.shifts import ShiftBook
from planning.services.factors import factors_in_force
from planning.services.published import publish
from shopfloor.chart.cut_settings import CHART_NAMES
from shopfloor.chart.fit import is_equal
from shopfloor.models import (
    ChartRow,
    Drawing,
    DrawingPlan,
    Factor,
    Nest,
    NestPlan,
    NestRevision,
    SetPart,
    Table,
    ThicknessAnswer,
    WearSet,
)
from shopfloor.runs.arcs import to_us
from shopfloor.site.dialect import dialect_of
from shopfloor.site.tables import motion_of

_PAUSES = ("lift_s", "settle_s", "mark_speed_mm_min")
_CHARTED = ("thickness_mm", *CHART_NAMES, "gas", "current_a")


def nest_plan(*, key: str, payload: dict[str, Any]) -> None:
    """Plans one revision; "nest:<id>" means that nest's newest. Harmless to repeat."""
    revisions = NestRevision.objects.select_related("nest__material")
    if key.startswith("nest:"):
        revision = revisions.filter(nest=int(key[5:])).order_by("-revision").first()
    else:
        revision = revisions.filter(pk=int(key)).first()
    if revision is not None:
        revision_plan(revision=revision, now=timezone.now())


def revision_plan(*, revision: NestRevision, now: datetime) -> list[NestPlan]:
    """Publishes a plan, or a problem, for every active table and every set that has chart rows
    for the nest's material; plans that no longer apply go away."""
    return publish(NestPlan, revision, lambda at: _plans(revision, at), now)


def _plans(revision: NestRevision, now: datetime) -> list[NestPlan]:
    nest = revision.nest
    rows = rows_in_force(material_id=nest.material_id, at=now)
    by_set: dict[int, list[ChartRow]] = defaultdict(list)
    for row in rows:
        by_set[row.wear_set_id].append(row)
    parts: dict[int, list[SetPart]] = defaultdict(list)
    for part in SetPart.objects.filter(wear_set__in=by_set).order_by("pk"):
        parts[part.wear_set_id].append(part)
    gives = given_of(part.pk for own in parts.values() for part in own)
    answers = answered_row_mm(material_id=nest.material_id, thickness_mm=nest.thickness_mm)
    factors = factors_in_force(material_id=nest.material_id, thickness_mm=nest.thickness_mm, at=now)
    rates, today = rate_book(), ShiftBook(now, now).date_of(to_us(now))
    programs: dict[Any, Program | str] = {}
    plans = []
    for table in Table.objects.filter(active=True).order_by("pk"):
        dialect = dialect_of(table)
        if dialect not in programs:
            programs[dialect] = _read(bytes(revision.program), dialect)
        for own in by_set.values():
            own_parts = parts[own[0].wear_set_id]
            costs = Costs(rates, today, table, own[0].wear_set, own_parts, gives)
            plan = NestPlan(
                revision=revision, table=table, wear_set=own[0].wear_set, computed_at=now
            )
            answer = _answer(own, nest.thickness_mm, answers)
            fill(plan, programs[dialect], own, costs, nest, answer)
            if plan.total_s is not None and (factor := factors.get(plan.wear_set_id)):
                _expect(plan, factor)
            plans.append(plan)
    return plans


def _expect(plan: NestPlan, factor: Factor) -> None:
    """What the shop's own factor makes of the bare plan, kept beside it and never in its place:
    runs are held against the bare plan, or the factor would learn from itself."""
    bare_s = (plan.total_s or 0.0) + (plan.load_s or 0.0)
    plan.factor, plan.expected_s = factor, bare_s * factor.value
    plan.snapshot["factor"] = factor_words(factor, plan.expected_s)


def factor_words(factor: Factor, expected_s: float) -> dict[str, Any]:
    """What a plan keeps of the factor it was expected by."""
    return {
        "id": factor.pk,
        "value": factor.value,
        "low": factor.low,
        "high": factor.high,
        "runs": factor.runs,
        "from": factor.valid_from.isoformat() if factor.valid_from else None,
        "expected_s": expected_s,
    }


def _read(raw: bytes, dialect: Any) -> Program | str:
    try:
        return read_program(raw, dialect)
    except ProgramError as problem:
        return told(problem)


@dataclasses.dataclass(frozen=True)
class Costs:
    rates: RateBook
    day: date
    table: Table
    wear_set: WearSet
    parts: Sequence[SetPart]
    gives: Mapping[int, Given]  # by part, what the shop's own pieces give

    def starts_of(self, part: SetPart) -> float | None:
        """Starts that one piece is planned to give: as the shop's own do, else as it is rated."""
        own = self.gives.get(part.pk)
        return own.starts if own else part.rated_starts

    def rate(self, kind: str) -> Any:
        return self.rates.on(kind, self.day, self.table.pk)


def _answer(
    rows: Sequence[ChartRow], thickness_mm: float, answers: dict[float, ThicknessAnswer]
) -> ThicknessAnswer | None:
    """What a person said of a thickness this set has no row of its own for; the nearest row's."""
    if any(is_equal(row.thickness_mm, thickness_mm) for row in rows):
        return None
    said = [answers[mm] for row in rows if (mm := round(row.thickness_mm, 6)) in answers]
    return min(said, key=lambda answer: abs(answer.row_mm - thickness_mm), default=None)


def fill(
    row: NestPlan | DrawingPlan,
    program: Program | str,
    chart: Sequence[ChartRow],
    costs: Costs,
    of: Nest | Drawing,
    answer: ThicknessAnswer | None = None,
    *,
    loaded: bool = True,
) -> None:
    """Puts the figures into a plan's row, or the reason why there are none. Without `loaded` its
    costs leave the sheet's loading out."""
    if isinstance(program, str):
        row.problem = program[:300]
        row.snapshot = {"problem": stored(program)}
        return
    cut_as_mm = answer.row_mm if answer else of.thickness_mm
    try:
        figure = lookup(calc_rows(chart), costs.wear_set.code, of.material.code, cut_as_mm)
        plan = plan_program(program, motion_of(costs.table), _cutting(figure, costs.table))
    except ChartError as problem:
        row.problem = problem.message[:300]
        row.snapshot = {"problem": stored(problem.message)}
        return
    except ValueError as problem:
        row.problem = str(problem)[:300]
        row.snapshot = {"problem": stored(told(problem))}
        return
    used = [each for each in chart if each.pk in {one.line for one in figure.rows}]
    bench_m = between(used, "bench_min_per_m", cut_as_mm)
    for name in ("cut_mm", "travel_mm", "pierces", "cut_s", "pierce_s", "travel_s", "touch_off_s"):
        setattr(row, name, getattr(plan, name))
    row.total_s = plan.total_s
    row.load_s = costs.table.load_s + costs.table.unload_s if loaded else 0.0
    row.bench_min = None if bench_m is None else bench_m * plan.cut_mm / 1000
    row.arcs_s = [round(each, 6) for each in plan.arcs]
    row.costs_minor, unknown = costs_minor(row, figure.row.arc_v, costs)
    row.snapshot = _snapshot(plan, figure, used, costs, unknown)
    if marking := _marking(plan, figure.row.arc_v, costs):
        row.snapshot["marking"] = marking
    if answer:
        said = _(
            "{thickness_text} is cut by the row for {row}, as {shown_name} said on {at}"
        ).format(
            thickness_text=of.thickness_text,
            row=used[0].thickness_text,
            shown_name=answer.by.shown_name,
            at=dated(localtime(answer.at)),
        )
        row.snapshot["warnings"] = [said, *row.snapshot["warnings"]]


def _cutting(figure: ChartFigure, table: Table) -> Cutting:
    touch = table.touch_off_s if table.touch_off_s is not None else figure.row.touch_off_s
    return Cutting(
        figure.row.speed_mm_min, figure.row.pierce_delay_s or 0.0, touch or 0.0, table.lift_s,
        table.settle_s, table.mark_speed_mm_min,
    )  # fmt: skip


def costs_minor(
    row: NestPlan | DrawingPlan, volts: float | None, costs: Costs
) -> tuple[dict[str, int], list[str]]:
    """Money by posting kind, material apart; a kind without a known figure is not among them."""
    found: dict[str, int] = {}
    unknown: list[str] = []
    table_us = round(((row.total_s or 0.0) + (row.load_s or 0.0)) * 1_000_000)
    arc_us = round(((row.cut_s or 0.0) + (row.pierce_s or 0.0)) * 1_000_000)
    bench_us = None if row.bench_min is None else round(row.bench_min * 60_000_000)
    times = {"machine": table_us, "labour": table_us, "gas": arc_us, "bench": bench_us}
    for kind, us in times.items():
        rate = costs.rate(kind)
        if rate is None or us is None:
            unknown.append(kind)
        else:
            found[kind] = time_amount(us, rate.amount_minor)
    price = costs.rate("energy")
    if price is None or volts is None:
        unknown.append("energy")
    else:
        kwh = energy_kwh(volts, costs.wear_set.current_a, arc_us / 1_000_000)
        found["energy"] = rounded(kwh * price.amount_minor)
    lives = [costs.starts_of(part) for part in costs.parts]
    if not all(lives) or not lives:
        unknown.append("wear")
    else:
        each = sum(
            part.price_minor / starts
            for part, starts in zip(costs.parts, lives, strict=True)
            if starts
        )
        found["wear"] = rounded((row.pierces or 0) * each)
    return found, unknown


def _marking(plan: Plan, volts: float | None, costs: Costs) -> dict[str, Any]:
    """What marking takes of the plan: contours, mm, seconds with the torch burning and with its
    travel and touch-off, and what those cost by kind, as far as it is known (`minor`: all of it, or
    None). It pierces nothing and is planned to wear nothing. Empty where nothing is marked."""
    marks = [contour for contour in plan.contours if not contour.pierces]
    if not marks:
        return {}
    arc_s = sum(contour.arc_on_s for contour in marks)
    all_s = arc_s + sum(contour.travel_s + contour.touch_off_s for contour in marks)
    minor = {}
    for kind, seconds in (("machine", all_s), ("labour", all_s), ("gas", arc_s)):
        if (rate := costs.rate(kind)) is not None:
            minor[kind] = time_amount(round(seconds * 1_000_000), rate.amount_minor)
    if (price := costs.rate("energy")) is not None and volts is not None:
        kwh = energy_kwh(volts, costs.wear_set.current_a, arc_s)
        minor["energy"] = rounded(kwh * price.amount_minor)
    cut_mm = sum(contour.cut_mm for contour in marks)
    return {
        "contours": len(marks), "cut_mm": cut_mm, "arc_s": arc_s, "all_s": all_s,
        "costs_minor": minor, "minor": sum(minor.values()) if len(minor) == 4 else None,
    }  # fmt: skip


def _own_life(gives: Given | None) -> dict[str, Any]:
    """What a plan keeps of the shop's own life of a part."""
    return {"gives": round(gives.starts), "out": gives.out} if gives else {}


def _snapshot(
    plan: Plan,
    figure: ChartFigure,
    used: Sequence[ChartRow],
    costs: Costs,
    unknown: list[str],
) -> dict[str, Any]:
    """What the plan was made from, so that it can be opened years later."""
    chart = {name: getattr(figure.row, name) for name in _CHARTED}
    rows = [
        {
            "id": row.pk,
            "thickness": row.thickness_text,
            "speed_mm_min": row.speed_mm_min,
            "valid_from": row.valid_from.isoformat(),
            "example": row.example,
        }
        for row in used
    ]
    rates = {}
    for kind in ("machine", "labour", "bench", "gas", "energy"):
        if rate := costs.rate(kind):
            rates[kind] = {"minor": rate.amount_minor, "from": rate.valid_from.isoformat()}
    return {
        "set": costs.wear_set.code,
        "duty": costs.wear_set.duty,
        "table": costs.table.code,
        "chart": chart | {"u_mm": between(used, "u_mm", figure.row.thickness_mm)},
        "chart_rows": rows,
        "motion": {
            name: value
            for name, value in dataclasses.asdict(motion_of(costs.table)).items()
            if value is not None or name not in FURTHER_LIMITS
        }
        | {name: value for name in _PAUSES if (value := getattr(costs.table, name))},
        "rates": rates,
        "wear": [
            {
                "part": part.name,
                "price_minor": part.price_minor,
                "rated_starts": part.rated_starts,
                **_own_life(costs.gives.get(part.pk)),
            }
            for part in costs.parts
        ],
        "contours": {
            "pierce_s": [round(each.pierce_s, 6) for each in plan.contours],
            "travel_s": [round(each.travel_s, 6) for each in plan.contours],
        },
        "warnings": [to_reader(each, inch=False) for each in figure.warnings],
        "notes": [{"line": note.line, **stored(note.text)} for note in plan.notes],
        "unknown": unknown,
    }
