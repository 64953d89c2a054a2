"""A month's frames as the cost page reads them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from dashboards.records import records
from planning.reports.shapes import CostMonth
from shopfloor.chart.duties import CODES

JOB_OFF = 0.05  # of its plan: from here on a job is marked
STEP_OFF = 0.01  # of the month's plan: from here on a step is marked
SHARE_NAMED = 0.8  # of the hours
MOST_NAMED = 15
ORDER = (
    "cutting", "piercing", "cutting with piercing", "travel", "travel with waiting", "waits",
    "loading with waiting", "cutting, travel and waiting", "repeats", "stoppages",
    "burning as entered", "not burning as entered", "unknown",
)  # fmt: skip
WORDS = {
    "cutting": N_("Cutting speed"),
    "piercing": N_("Piercing"),
    "cutting with piercing": N_("Cutting with piercing"),
    "travel": N_("Travel"),
    "travel with waiting": N_("Travel with waiting"),
    "waits": N_("Waiting"),
    "loading with waiting": N_("Loading with waiting"),
    "cutting, travel and waiting": N_("Cutting, travel, waiting"),
    "repeats": N_("Repeats"),
    "stoppages": N_("Stoppages"),
    "burning as entered": N_("Burning (entered by hand)"),
    "not burning as entered": N_("Not burning (entered by hand)"),
    "unknown": N_("Unknown time"),
}
KINDS = {"wear": N_("wear parts"), "energy": N_("power"), "credit": N_("remnant credit")}
REST = N_("Wear, gas, power, bench")
UNPLANNED = N_("Work without a plan")
FOR_CLOSED = N_("Postings for closed months")


@dataclass(frozen=True, slots=True)
class Step:
    """One step from plan to actual, in minor units. `term` opens it where it is a term of time."""

    name: str
    minor: int
    term: str = ""
    off: bool = False


@dataclass(frozen=True, slots=True)
class Bridge:
    """From plan to actual: the steps sum exactly to the difference."""

    planned_minor: int
    steps: tuple[Step, ...]
    actual_minor: int
    unpriced: tuple[str, ...]  # terms that have hours but no rate

    @property
    def over_minor(self) -> int:
        return self.actual_minor - self.planned_minor


@dataclass(frozen=True, slots=True)
class JobRow:
    job_id: int | None
    job: str
    title: str
    customer: str
    quote_minor: int | None
    plan_minor: int | None
    actual_minor: int | None
    margin_minor: int | None
    elapsed_s: float
    evidence: str = ""
    bare_minor: int = 0  # of the actual, from runs without a plan: no part of the difference

    @property
    def off_minor(self) -> int | None:
        if self.plan_minor is None or self.actual_minor is None:
            return None
        return self.actual_minor - self.bare_minor - self.plan_minor

    @property
    def off(self) -> bool:
        over = self.off_minor
        return (
            over is not None and self.plan_minor is not None and (over > JOB_OFF * self.plan_minor)
        )


@dataclass(frozen=True, slots=True)
class JobLedger:
    """The jobs that took most of the hours, the others as one row, and the whole."""

    named: tuple[JobRow, ...]
    rest: JobRow | None
    rest_jobs: int
    total: JobRow
    share: float | None  # of the hours that the named ones took


def bridge(month: CostMonth) -> Bridge:
    """Planned, what each term added, all that is not time, work without a plan, postings for
    closed months, actual."""
    jobs = records(month.jobs)
    planned = {row["job_id"] for row in jobs if row["plan_minor"] is not None}
    names = {row["job"] for row in jobs if row["job_id"] in planned}
    facts = records(month.late)
    late = sum(row["amount_minor"] for row in facts)
    late_planned = sum(row["amount_minor"] for row in facts if row["job"] in names)
    bare = sum(row.get("bare_minor") or 0 for row in jobs if row["job_id"] in planned)
    plan = sum(row["plan_minor"] for row in jobs if row["job_id"] in planned)
    actual = sum(row["actual_minor"] for row in jobs if row["job_id"] in planned)
    money: dict[str, int] = {}
    unpriced: dict[str, None] = {}
    for row in records(month.terms):
        if row["job_id"] not in planned:
            continue
        if row["money_minor"] is None:
            unpriced[row["term"]] = None
        else:
            money[row["term"]] = money.get(row["term"], 0) + row["money_minor"]
    terms = sorted(money, key=lambda term: ORDER.index(term) if term in ORDER else len(ORDER))
    limit = STEP_OFF * plan
    steps = [
        Step(_(WORDS.get(term, term.capitalize())), money[term], term, money[term] >= limit > 0)
        for term in terms
        if money[term]
    ]
    rest = actual - bare - late_planned - plan - sum(money.values())
    if rest:
        steps.append(Step(_(REST), rest, "", rest >= limit > 0))
    bare += month.total_minor - actual - (late - late_planned)
    if bare:
        steps.append(Step(_(UNPLANNED), bare, "", False))
    if late:
        steps.append(Step(_(FOR_CLOSED), late, "", late >= limit > 0))
    return Bridge(plan, tuple(steps), month.total_minor, tuple(unpriced))


def job_ledger(month: CostMonth, *, everything: bool = False) -> JobLedger:
    """By hours on the table, the most first: as many as make up 80 % of them are named."""
    rows = sorted(
        (_job(row) for row in records(month.jobs)), key=lambda row: (-row.elapsed_s, row.job)
    )
    whole = sum(row.elapsed_s for row in rows)
    named: list[JobRow] = []
    running = 0.0
    for row in rows:
        full = running >= SHARE_NAMED * whole or len(named) >= MOST_NAMED
        if full and not everything:
            break
        named.append(row)
        running += row.elapsed_s
    rest = rows[len(named) :]
    return JobLedger(
        tuple(named),
        _summed("", rest) if rest else None,
        len(rest),
        _summed("", rows),
        running / whole if whole else None,
    )


def term_jobs(month: CostMonth, term: str) -> list[dict[str, Any]]:
    """One term job by job, the most money first."""
    rows = [row for row in records(month.terms) if row["term"] == term]
    return sorted(rows, key=lambda row: -(row["money_minor"] or 0))


def kinds(month: CostMonth) -> list[tuple[str, int]]:
    """Amounts by kind, the most first."""
    sums: dict[str, int] = {}
    for row in records(month.kinds):
        sums[row["kind"]] = sums.get(row["kind"], 0) + row["amount_minor"]
    return sorted(sums.items(), key=lambda item: -item[1])


@dataclass(frozen=True, slots=True)
class MetreRow:
    """One material and thickness; what a length costs by each duty, and how much was cut."""

    material: str
    thickness_mm: float
    minor: dict[str, float | None]
    cut_m: dict[str, float]

    @property
    def ratio(self) -> float | None:
        """The squarest duty against the quickest."""
        square, quick = self.minor[CODES[0]], self.minor[CODES[-1]]
        return square / quick if square and quick else None


def metres(month: CostMonth, *, per_foot: bool) -> list[MetreRow]:
    """Cost of a metre (or foot) of cut, duty beside duty; those of no known duty apart."""
    name = "per_ft_minor" if per_foot else "per_m_minor"
    found: dict[tuple[str, float], dict[str, dict[str, Any]]] = {}
    for row in records(month.metres):
        found.setdefault((row["material"], row["thickness_mm"]), {})[row["duty"]] = row
    codes = (*CODES, *sorted({code for of in found.values() for code in of} - {*CODES}))
    return [
        MetreRow(
            material,
            thickness,
            {code: duties.get(code, {}).get(name) for code in codes},
            {code: duties.get(code, {}).get("cut_m") or 0.0 for code in codes},
        )
        for (material, thickness), duties in sorted(found.items())
    ]


def hours(month: CostMonth) -> list[dict[str, Any]]:
    return records(month.hours)


def late(month: CostMonth) -> list[dict[str, Any]]:
    """Postings for closed months of one cause together: their number (`entries`) and sum. A rate
    dated back makes hundreds. Prints of before have no `job_id`."""
    if month.late.empty:
        return []
    causes = [name for name in LATE_CAUSE if name in month.late]
    groups = month.late.groupby(causes, sort=False, dropna=False, observed=True)["amount_minor"]
    found = groups.agg(entries="count", amount_minor="sum").reset_index()
    return records(found)


LATE_CAUSE = ("belongs_to", "job", "job_id", "kind", "why", "by")


def _job(row: dict[str, Any]) -> JobRow:
    return JobRow(
        row["job_id"],
        row["job"],
        row["title"],
        row["customer"],
        row["quote_minor"],
        row["plan_minor"],
        row["actual_minor"],
        row["margin_minor"],
        row["elapsed_s"] or 0.0,
        row["evidence"],
        row.get("bare_minor") or 0,
    )


def _summed(name: str, rows: list[JobRow]) -> JobRow:
    """Sums over the rows; a figure that one of them lacks is unknown for the whole, except quote
    and plan, which the shop's own time never has."""

    def total(values: list[int | None]) -> int | None:
        known = [value for value in values if value is not None]
        return sum(known) if known else None

    jobs = [row for row in rows if row.job_id is not None]
    return JobRow(
        None,
        name,
        "",
        "",
        total([row.quote_minor for row in jobs]),
        total([row.plan_minor for row in rows]),
        total([row.actual_minor for row in rows]),
        total([row.margin_minor for row in jobs]),
        sum(row.elapsed_s for row in rows),
        bare_minor=sum(row.bare_minor for row in rows),
    )
