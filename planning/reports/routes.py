"""A nest's routes side by side: what each takes, costs, leaves and needs, and where it flips."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any, Literal

from django.utils.translation import gettext as _

from planning.calc.cost import rounded
from planning.calc.edge import (
    PredictedU,
    Verdict,
    asked_limit_mm,
    edge_words,
    predict_u,
    range_words,
    verdict,
)
from planning.calc.plan import Cutting, plan_program
from planning.calc.program import ProgramError, read_program
from planning.calc.routes import (
    Flip,
    PieceNeed,
    Prices,
    Route,
    beaten_by,
    cheapest,
    finish_us,
    flips,
    piece_needs,
)
from planning.calc.said import to_reader, told
from planning.inputs.checks import checked_u
from planning.inputs.rates import rate_book
from planning.inputs.shifts import ShiftBook
from planning.inputs.taken import cell_of
from planning.reports import route_data
from planning.reports.frames import currency
from planning.reports.route_data import Asked, Before, HoleMinutes
from shopfloor.chart.duties import SQUARE
from shopfloor.models import Nest, NestPlan, NestRevision, Table
from shopfloor.nests.warnings import refusal_of
from shopfloor.runs.arcs import from_us, to_us
from shopfloor.site.dialect import dialect_of
from shopfloor.site.tables import motion_of

AHEAD = timedelta(days=60)
LEAST_SHARE, MOST_SHARE = 0.5, 1.2  # of the chart's speed: beyond it is no override but a new row
SECOND_US = 1_000_000
Holes = Literal["", "as_cut", "by_hand"]  # the small ones; "" where no hole is small


@dataclass(frozen=True, slots=True)
class RouteRow:
    """One route, without its name: that is said where it is shown. Money in minor units; None is
    unknown. `table_min` is program, load and unload as planned, `expected_min` the same with the
    shop's factor (None: none accepted), `change_min` the set change it would begin with. `flips`
    are prices at which it would become the cheapest."""

    route: Route
    plan_id: int
    set_id: int
    wear_set: str
    speed_share: float
    holes: Holes
    chosen: bool
    least: bool
    expected_min: float | None
    factor: float | None
    change_min: float
    cost_minor: int | None
    range_words: str
    edges: tuple[str, ...]  # kept sentences (`planning.calc.said`)
    needs: tuple[PieceNeed, ...]
    finish_at: datetime | None
    beaten: str  # the key of the route that beats it, or ""
    flips: tuple[Flip, ...]
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class NestRoutes:
    nest_id: int
    nest: str
    table_id: int | None
    table: str
    tables: tuple[tuple[int, str], ...]
    thickness_mm: float
    asked: Asked
    limit_mm: float | None
    rows: tuple[RouteRow, ...]
    refused: tuple[tuple[str, str], ...]
    prices: Prices
    before: Before
    small_holes: int
    hole_minutes: HoleMinutes
    fitted: str
    computed_at: datetime | None
    money: dict[str, Any]


def nest_routes(
    *, nest_id: int, now: datetime, table_id: int | None = None, speed_share: float = 1.0
) -> NestRoutes:
    """Every admissible route of a nest's newest revision on one table: each set as the chart has
    it, at `speed_share` of the chart's speed where that is not 1, and with small holes finished by
    hand where there are any. Raises `LookupError` where there is no such nest or table, and
    `ValueError` for a share that is none."""
    if not LEAST_SHARE <= speed_share <= MOST_SHARE:
        raise ValueError(
            _("the speed must be {least_share:.0%} to {most_share:.0%} of the chart's").format(
                least_share=LEAST_SHARE, most_share=MOST_SHARE
            )
        )
    nest = Nest.objects.filter(pk=nest_id).select_related("material", "table").first()
    if nest is None:
        raise LookupError(_("there is no nest {nest_id}").format(nest_id=nest_id))
    tables = list(Table.objects.filter(active=True))
    revision = nest.revisions.order_by("-revision").first()
    table = _table(nest, tables, table_id)
    if revision is None or table is None:
        raise LookupError(
            _("nest {nest} has no program or there is no table").format(nest=nest.name)
        )
    return _Routes(nest, revision, table, tables, now).all(speed_share)


def _table(nest: Nest, tables: list[Table], asked: int | None) -> Table | None:
    if asked is not None:
        found = next((table for table in tables if table.pk == asked), None)
        if found is None:
            raise LookupError(_("there is no table {asked}").format(asked=asked))
        return found
    return nest.table or (tables[0] if tables else None)


class _Routes:
    """Reads what the routes of one nest on one table share, once."""

    def __init__(
        self, nest: Nest, revision: NestRevision, table: Table, tables: list[Table], now: datetime
    ) -> None:
        self.nest, self.revision, self.table, self.tables, self.now = (
            nest, revision, table, tables, now,
        )  # fmt: skip
        self.plans = list(
            NestPlan.objects.filter(revision=revision, table=table)
            .select_related("wear_set", "factor")
            .order_by("wear_set__current_a")
        )
        self.asked = route_data.asked_of(revision.pk)
        self.holes = route_data.small_holes(revision.pk, nest.thickness_mm)
        self.hole_minutes = route_data.hole_minutes()
        fitted = route_data.fitted_on(table)
        self.fitted = route_data.set_on(fitted)
        sets = [plan.wear_set_id for plan in self.plans]
        self.stock = route_data.stock_of(sets, fitted)
        cells = [cell_of(pk, nest.material_id, nest.thickness_mm) for pk in sets]
        self.checks = checked_u(cells)
        self.before = route_data.before(nest, table, now)
        self.shifts = ShiftBook(now, now + AHEAD)
        self.prices = self._prices()

    def _prices(self) -> Prices:
        rates, day = rate_book(), self.shifts.date_of(to_us(self.now))
        found = {k: rates.on(k, day, self.table.pk) for k in ("machine", "labour", "bench")}
        machine, labour, bench = found["machine"], found["labour"], found["bench"]
        known = machine is not None and labour is not None
        table = machine.amount_minor + labour.amount_minor if known and machine and labour else None
        return Prices(table, None if bench is None else bench.amount_minor)

    def all(self, speed_share: float) -> NestRoutes:
        able = [plan for plan in self.plans if not plan.problem and plan.total_s is not None]
        rows = [row for plan in able for row in self._of_plan(plan, speed_share)]
        routes = [row.route for row in rows]
        best = cheapest(routes, self.prices)
        rows = [self._against(row, routes, best) for row in rows]
        return NestRoutes(
            nest_id=self.nest.pk,
            nest=self.nest.name,
            table_id=self.table.pk,
            table=self.table.name,
            tables=tuple((table.pk, table.name) for table in self.tables),
            thickness_mm=self.nest.thickness_mm,
            asked=self.asked,
            limit_mm=asked_limit_mm(self.asked.u_range, self.nest.thickness_mm),
            rows=tuple(rows),
            refused=tuple(
                (str(plan.wear_set), refusal_of(plan)) for plan in self.plans if plan.problem
            ),
            prices=self.prices,
            before=self.before,
            small_holes=self.holes,
            hole_minutes=self.hole_minutes,
            fitted=str(self.fitted) if self.fitted else "",
            computed_at=min((plan.computed_at for plan in self.plans), default=None),
            money=currency(),
        )

    def _of_plan(self, plan: NestPlan, speed_share: float) -> list[RouteRow]:
        cell = cell_of(plan.wear_set_id, self.nest.material_id, self.nest.thickness_mm)
        chart_u = (plan.snapshot.get("chart") or {}).get("u_mm")
        u = predict_u(self.checks.get(cell, []), chart_u)
        rows = [self._row(plan, u, 1.0, "as_cut" if self.holes else "")]
        if self.holes:
            rows.append(self._row(plan, u, 1.0, "by_hand"))
        if speed_share != 1.0:
            unknown = PredictedU(None, None, None, 0, u.needed, "unknown")
            rows.append(self._row(plan, unknown, speed_share, "as_cut" if self.holes else ""))
        return rows

    def _row(self, plan: NestPlan, u: PredictedU, share: float, holes: Holes) -> RouteRow:
        program_s, arc_share = self._times(plan, share)
        table_min = (program_s + (plan.load_s or 0.0)) / 60
        bench_min = plan.bench_min if share == 1.0 else None
        if bench_min is not None and holes == "by_hand":
            each = self.hole_minutes.minutes
            bench_min = None if each is None else bench_min + self.holes * each
        change_s = 0.0 if self.fitted == plan.wear_set else self.table.change_s
        gas, power = plan.costs_minor.get("gas"), plan.costs_minor.get("energy")
        wear = plan.costs_minor.get("wear")
        found = Route(
            key=f"{plan.pk}:{share:g}:{holes}",
            duty=plan.wear_set.duty,
            table_min=table_min,
            change_min=change_s / 60,
            bench_min=bench_min,
            wear_minor=None if wear is None else float(wear),
            other_minor=None if gas is None or power is None else (gas + power) * arc_share,
            u=u,
            verdict=self._verdict(plan, u),
        )
        factor = plan.factor.value if plan.factor else None
        cost = found.cost_minor(self.prices)
        step = self.asked.next_steps or ("",)
        return RouteRow(
            route=found,
            plan_id=plan.pk,
            set_id=plan.wear_set_id,
            wear_set=str(plan.wear_set),
            speed_share=share,
            holes=holes,
            chosen=plan.wear_set_id == self.nest.wear_set_id
            and share == 1.0
            and holes != "by_hand",
            least=False,
            expected_min=None if factor is None else table_min * factor,
            factor=factor,
            change_min=change_s / 60,
            cost_minor=None if cost is None else rounded(cost),
            range_words=range_words(u, self.nest.thickness_mm),
            edges=tuple(
                edge_words(one, plan.wear_set.gas, by_bench=bool(bench_min)) for one in step
            ),
            needs=tuple(piece_needs(plan.pierces or 0, self.stock.get(plan.wear_set_id, []))),
            finish_at=self._finish(table_min * (factor or 1.0), change_s, bench_min),
            beaten="",
            flips=(),
            warnings=tuple(plan.snapshot.get("warnings") or ()),
        )

    def _times(self, plan: NestPlan, share: float) -> tuple[float, float]:
        """Program seconds at a share of the chart's speed, and arc time against the plan's."""
        if share == 1.0:
            return plan.total_s or 0.0, 1.0
        speed = plan.snapshot["chart"]["speed_mm_min"] * share
        pierce_s = plan.snapshot["chart"]["pierce_delay_s"] or 0.0
        cutting = Cutting(speed, pierce_s, settle_s=self.table.settle_s)
        try:
            program = read_program(bytes(self.revision.program), dialect_of(self.table))
            slow = plan_program(program, motion_of(self.table), cutting)
        except ProgramError as problem:
            raise LookupError(to_reader(told(problem), inch=False)) from None
        whole = (plan.cut_s or 0.0) + (plan.pierce_s or 0.0)
        return slow.total_s + (plan.touch_off_s or 0.0), slow.arc_on_s / whole if whole else 1.0

    def _verdict(self, plan: NestPlan, u: PredictedU) -> Verdict:
        if self.asked.must_be_fine and plan.wear_set.duty not in SQUARE:
            return "fails"
        return verdict(u, self.asked.u_range, self.nest.thickness_mm)

    def _finish(
        self, table_min: float, change_s: float, bench_min: float | None
    ) -> datetime | None:
        """When it is through the bench; None where that, or what stands before it, is unknown."""
        if self.before.seconds is None or bench_min is None:
            return None
        table_s = self.before.seconds + change_s + table_min * 60
        worked = self.shifts.worked_at(self.table.code)
        up = self.shifts.open_at(self.table.code)
        off = finish_us(to_us(self.now), round(table_s * SECOND_US), up)
        done = None if off is None else finish_us(off, round(bench_min * 60 * SECOND_US), worked)
        return None if done is None else from_us(done)

    def _against(self, row: RouteRow, routes: list[Route], best: Route | None) -> RouteRow:
        mine = row.route
        over = beaten_by(mine, routes, self.prices)
        found: tuple[Flip, ...] = ()
        if best is not None and mine is not best and over is None and mine.verdict != "fails":
            found = tuple(flips(best, mine, self.prices))
        return replace(
            row, least=mine is best, beaten="" if over is None else over.key, flips=found
        )
