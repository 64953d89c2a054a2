"""A job list: what each row would do, and doing it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import ROUND_HALF_UP, Decimal
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Max
from django.db.models.functions import Lower
from django.utils import timezone
from django.utils.translation import gettext as _

from shopfloor.chart.fit import is_equal
from shopfloor.files.fault import Fault
from shopfloor.files.read_list import Row, read_table
from shopfloor.jobs.list_rows import ALIASES, COLUMNS, NEEDED, JobRow, RowError, read_row
from shopfloor.jobs.services import customer_named
from shopfloor.models import Customer, Job, JobLine, JobList, Material, Units, User
from shopfloor.site.queries import shop_zone, the_shop


@dataclass(slots=True)
class PlannedLine:
    row: JobRow
    number: int
    there: bool = False  # already on the job, the same in every word


@dataclass(slots=True)
class PlannedJob:
    """A job of the list. `existing` is its record where the shop has it already."""

    number: str
    customer: str = ""
    title: str = ""
    due_at: datetime | None = None
    quote_minor: int | None = None
    first_line: int = 0
    existing: Job | None = None
    lines: list[PlannedLine] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class ImportPlan:
    """Good rows by job, and the faults of the others, both in file order."""

    jobs: list[PlannedJob]
    faults: list[Fault]

    @property
    def new_lines(self) -> int:
        return sum(not line.there for job in self.jobs for line in job.lines)

    @property
    def known_lines(self) -> int:
        return sum(line.there for job in self.jobs for line in job.lines)

    @property
    def new_jobs(self) -> int:
        return sum(job.existing is None for job in self.jobs)


Tell = Callable[[int, int], None]
TOLD_EACH = 200


def import_plan(
    raw: bytes,
    *,
    encoding: str = "utf-8",
    date_order: str = "none",
    meaning: Mapping[str, str] | None = None,
    tell: Tell | None = None,
) -> ImportPlan:
    """What the list would do. Writes nothing. `meaning` is that of its own headings, as in
    `HeadingMap`; `tell` hears how many of how many rows are read. Raises ListError where it cannot
    be read."""
    return rows_plan(list_rows(raw, encoding, meaning), date_order=date_order, tell=tell)


def list_rows(raw: bytes, encoding: str, meaning: Mapping[str, str] | None = None) -> list[Row]:
    """The rows of a job list's bytes. Raises ListError."""
    aliases = {**ALIASES, **(meaning or {})}
    return read_table(raw, columns=COLUMNS, needed=NEEDED, aliases=aliases, encoding=encoding)


def rows_plan(rows: Sequence[Row], *, date_order: str, tell: Tell | None = None) -> ImportPlan:
    """What rows would do, against the jobs there are now."""
    families = dict(Material.objects.values_list("code", "family"))
    zone, inch_shop = ZoneInfo(shop_zone()), the_shop().units == Units.INCH
    planner = _Planner({row.text("job").lower() for row in rows})
    for index, row in enumerate(rows):
        if tell is not None and index % TOLD_EACH == 0:
            tell(index, len(rows))
        try:
            read = read_row(
                row, families=families, zone=zone, date_order=date_order, inch_shop=inch_shop
            )
            planner.add(read)
        except RowError as fault:
            planner.faults.append(Fault(row.line, str(fault)))
    return ImportPlan([job for job in planner.jobs.values() if job.lines], planner.faults)


def import_apply(
    raw: bytes,
    *,
    file_name: str,
    by: User,
    encoding: str = "utf-8",
    date_order: str = "none",
    meaning: Mapping[str, str] | None = None,
) -> ImportPlan:
    """Writes exactly the good rows, all or none. Repeating it writes nothing more. The file is
    read before the transaction, compared with what is there within it."""
    rows = list_rows(raw, encoding, meaning)
    with transaction.atomic():
        plan = rows_plan(rows, date_order=date_order)
        plan_write(plan, file_name=file_name, by=by)
    return plan


@transaction.atomic
def plan_write(plan: ImportPlan, *, file_name: str, by: User) -> None:
    """Writes a plan, all of it or nothing, and which list it came with."""
    if not plan.new_lines:
        return
    materials = {material.code: material for material in Material.objects.all()}
    newest = Customer.objects.aggregate(pk=Max("pk"))["pk"] or 0
    came_with = JobList.objects.create(name=file_name[:160], by=by, at=timezone.now())
    fresh = {
        planned.number: Job(
            number=planned.number,
            customer=customer,
            title=planned.title,
            due_at=planned.due_at,
            quote_minor=planned.quote_minor,
            source=f"{file_name}:{planned.first_line}"[:200],
            job_list=came_with,
        )
        for planned, customer in _with_customers([job for job in plan.jobs if not job.existing])
    }
    for job in fresh.values():
        job.clean_fields()
    Job.objects.bulk_create(fresh.values(), batch_size=500)
    JobLine.objects.bulk_create(
        (
            _line(planned.existing or fresh[planned.number], line, materials, came_with)
            for planned in plan.jobs
            for line in planned.lines
            if not line.there
        ),
        batch_size=500,
    )
    made = {job.customer_id for job in fresh.values() if job.customer_id > newest}
    came_with.customers = sorted(made)
    came_with.save(update_fields=["customers"])


def _with_customers(jobs: list[PlannedJob]) -> list[tuple[PlannedJob, Customer]]:
    named: dict[str, Customer] = {}
    for job in jobs:
        if job.customer not in named:
            named[job.customer] = customer_named(name=job.customer)
    return [(job, named[job.customer]) for job in jobs]


def _line(
    job: Job, planned: PlannedLine, materials: dict[str, Material], came_with: JobList
) -> JobLine:
    row = planned.row
    return JobLine(
        job=job,
        number=planned.number,
        part=row.part,
        quantity=row.quantity,
        material=materials[row.material],
        thickness_mm=row.thickness_mm,
        thickness_text=row.thickness_text,
        u_range_asked=row.u_range_asked,
        next_step=row.next_step,
        must_be_fine=row.must_be_fine,
        job_list=came_with,
    )


class _Planner:
    """Groups rows into jobs and holds each against what the shop already has."""

    def __init__(self, numbers: set[str]) -> None:
        self.jobs: dict[str, PlannedJob] = {}
        self.faults: list[Fault] = []
        self._counted: dict[str, int] = {}
        self._digits = the_shop().currency_digits
        self._known = {
            job.number.lower(): job
            for job in Job.objects.alias(lower=Lower("number"))
            .filter(lower__in=numbers)
            .select_related("customer")
            .prefetch_related("lines__material")
        }

    def add(self, row: JobRow) -> None:
        """Raises RowError where the row contradicts the list or the shop."""
        key = row.job.lower()
        self._counted[key] = self._counted.get(key, 0) + 1
        number = row.number or self._counted[key]
        job = self.jobs.get(key) or self._begin(row)
        self._agree(job, row)
        if any(line.number == number for line in job.lines):
            raise RowError(
                _("line {number} of {job} is in the list twice").format(number=number, job=row.job)
            )
        there = self._already(job, number, row)
        self.jobs[key] = job
        job.lines.append(PlannedLine(row, number, there))

    def _begin(self, row: JobRow) -> PlannedJob:
        existing = self._known.get(row.job.lower())
        if existing:
            return PlannedJob(
                number=existing.number,
                customer=existing.customer.name,
                title=existing.title,
                due_at=existing.due_at,
                quote_minor=existing.quote_minor,
                first_line=row.line,
                existing=existing,
            )
        for column, value in (("customer", row.customer), ("title", row.title)):
            if not value:
                raise RowError(
                    _("{column} is empty on the first row of {job}").format(
                        column=column, job=row.job
                    )
                )
        return PlannedJob(
            number=row.job,
            customer=row.customer,
            title=row.title,
            due_at=row.due_at,
            quote_minor=self._minor(row.quote),
            first_line=row.line,
        )

    def _agree(self, job: PlannedJob, row: JobRow) -> None:
        where = (
            _("the shop has")
            if job.existing
            else _("line {first_line} says").format(first_line=job.first_line)
        )
        if row.customer and row.customer.lower() != job.customer.lower():
            raise RowError(
                _("customer of {job}: {where} {customer!r}").format(
                    job=row.job, where=where, customer=job.customer
                )
            )
        if row.title and row.title != job.title:
            raise RowError(
                _("title of {job}: {where} {title!r}").format(
                    job=row.job, where=where, title=job.title
                )
            )
        if row.due_at and row.due_at != job.due_at:
            raise RowError(_("due of {job}: {where} another time").format(job=row.job, where=where))
        if row.quote is not None and self._minor(row.quote) != job.quote_minor:
            raise RowError(
                _("quote of {job}: {where} another amount").format(job=row.job, where=where)
            )

    def _already(self, job: PlannedJob, number: int, row: JobRow) -> bool:
        if job.existing is None:
            return False
        for line in job.existing.lines.all():
            if line.number != number:
                continue
            same = (
                (line.part, line.quantity, line.material.code)
                == (row.part, row.quantity, row.material)
                and is_equal(line.thickness_mm, row.thickness_mm)
                and line.u_range_asked == row.u_range_asked
                and (line.next_step, line.must_be_fine) == (row.next_step, row.must_be_fine)
            )
            if not same:
                raise RowError(
                    _(
                        "line {number} of {job} is there already with other figures ({quantity} "
                        "of {part}); change it on the job's page"
                    ).format(number=number, job=row.job, quantity=line.quantity, part=line.part)
                )
            return True
        return False

    def _minor(self, amount: Decimal | None) -> int | None:
        if amount is None:
            return None
        return int((amount * 10**self._digits).to_integral_value(ROUND_HALF_UP))
